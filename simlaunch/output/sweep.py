"""A sweep in words, tables and JSON: estimate, progress, ranking and verdict."""

from __future__ import annotations

import json
import math
import shlex
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import isfinite
from typing import Any

import numpy as np
from numpy.typing import NDArray

from simlaunch.launching.goals import WORTH_NAMING
from simlaunch.metrics.many import Measure
from simlaunch.output.as_json import Object, number
from simlaunch.output.groups import with_unit
from simlaunch.output.layout import (
    WIDTH,
    Row,
    Table,
    clean,
    command_text,
    fits,
    label_room,
    paragraph,
    short,
    tables_text,
)
from simlaunch.output.layout import (
    columns as width_of,
)
from simlaunch.output.words import CAUTION, Numbers, caution
from simlaunch.scenario.model import SIDES, UNLIKE_SIDES, Alternative, unlike_sides
from simlaunch.simulation.bench import DEFAULT_TOLERANCE
from simlaunch.sweeping.axes import ALTERNATIVE, Axis, Kind, Role
from simlaunch.sweeping.campaign import Estimate, Progress
from simlaunch.sweeping.casting import BETWEEN_FAULTS
from simlaunch.sweeping.chunk import Study, time_error
from simlaunch.sweeping.completion import complete
from simlaunch.sweeping.export import table
from simlaunch.sweeping.export import with_unit as column_name
from simlaunch.sweeping.plan import Plan
from simlaunch.sweeping.ranking import MOST_GROUPS, Findings, Group, Ranked
from simlaunch.sweeping.store import Reader
from simlaunch.sweeping.study import SweepResult
from simlaunch.sweeping.winners import Tally
from simlaunch.units.gate import quoted
from simlaunch.units.spelling import Dimension, System

_ALSO_SHOWN = ("wheelspin time", "steady pull gearbox input", "peak torque gearbox input")
_MARKS = ("a", "b", "c")
_ENDLESS = 10_000  # more letters than any case has
_AND = " / "
_KIB = 1024.0
_NOT_CHOSEN = {
    Role.CONDITION: ", a condition that nobody chooses",
    Role.VALUE: ", a value of the car that nobody chooses",
}
_MOST_CELLS = 10_000  # of who wins where in JSON; the file holds them all


def duration(seconds: float) -> str:
    """A rounded time for progress and estimates."""
    if not isfinite(seconds):
        return "unknown"
    if seconds < 0.95:
        return "under 1 s"
    if seconds < 100.0:
        return f"{seconds:.0f} s"
    minutes, hours = seconds / 60.0, seconds / 3600.0
    return f"{minutes:.0f} min" if minutes < 100.0 else f"{hours:.1f} h"


def _room(size: int) -> str:
    value, unit = size / _KIB, "KiB"
    for larger in ("MiB", "GiB"):
        if value >= _KIB:
            value, unit = value / _KIB, larger
    return f"{value:.0f} {unit}"


def value_text(value: float, measure: Measure, numbers: Numbers) -> str:
    """A measure with its unit."""
    return numbers.with_unit(value, measure.dimension)


def progress_line(progress: Progress, numbers: Numbers) -> str:
    """Progress of a sweep on one line: share done, rate, time left, best result so far."""
    share = 100.0 * progress.done / progress.total
    line = f"{progress.done} of {progress.total} launches ({share:.0f} %)"
    if progress.rate > 0.0:
        line += f", {progress.rate:.0f} a second, {duration(progress.left)} left"
    if progress.best is not None and progress.by is not None:
        line += f", best {value_text(progress.best, progress.by, numbers)}"
    return short(line, WIDTH - 1)


def estimate_text(estimate: Estimate, plan: Plan, corners: Sequence[tuple[int, Mapping[str, str], str]]) -> str:
    """Time and disk space that a sweep would need, and the cases at its corners."""
    facts = (
        ("launches", "", f"{estimate.launches}"),
        ("one launch", "s", f"{estimate.seconds_each:.4f}"),
        (f"all, {estimate.workers} at a time", "", duration(estimate.seconds)),
        ("disk space", "", _room(estimate.bytes)),
    )
    varied = Table("Varied", ("values",), tuple(Row(axis.name, "", (_extent(axis),)) for axis in plan.axes))
    basis = f"An estimate from {estimate.trials} trial launches; other work on the same cores makes it longer"
    return "\n\n".join(
        [
            *tables_text(
                [Table("Estimate", ("about",), tuple(Row(a, unit, (text,)) for a, unit, text in facts)), varied]
            ),
            paragraph(f"{basis}. It leaves out the time for compiling once and for starting workers."),
            "\n".join([_corner_head(plan, len(corners)), *(_corner(*corner) for corner in corners)]),
            "Nothing was written.",
        ]
    )


def _corner_head(plan: Plan, shown: int) -> str:
    if shown == plan.corner_count:
        return "Corner cases"
    balanced = "a balanced part, every axis as often at its first as at its last value"
    return paragraph(f"Corner cases: {shown} of {plan.corner_count}, {balanced}; {plan.corner_count - shown} left out")


def _corner(number: int, texts: Mapping[str, str], why_not: str) -> str:
    values = ", ".join(f"{axis} {text}" for axis, text in texts.items())
    return paragraph(f"{number}: {values}{f'; cannot be launched: {why_not}' if why_not else ''}", "    ")


def _extent(axis: Axis) -> str:
    if axis.values and len(axis.values) <= 3 and sum(map(width_of, axis.values)) < 34:
        return ", ".join(map(clean, axis.values))
    if axis.span is not None:
        ends = f"{axis.span.low:g} to {axis.span.text(axis.span.high)}"
        return f"{ends} in {len(axis.values)}" if axis.values else ends
    return f"{len(axis.values)} values"


def case_text(study: Study, values: Mapping[str, str | float]) -> str:
    """A case in words: every axis and its value."""
    return ", ".join(f"{axis.name} {_quoted(axis, values[axis.name])}" for axis in study.plan.axes)


def _chosen_text(study: Study, values: Mapping[str, str | float]) -> str:
    """A case in words: what is chosen, then under which conditions and values of the car, which nobody chooses."""
    texts = [(axis.role is Role.CHOICE, f"{axis.name} {_quoted(axis, values[axis.name])}") for axis in study.plan.axes]
    chosen, met = (", ".join(text for choice, text in texts if choice is wanted) for wanted in (True, False))
    if not (chosen and met):
        return chosen or met
    return f"{chosen} (at {met}, which nobody chooses)"


def _quoted(axis: Axis, value: str | float) -> str:
    text = axis.shown(value)
    return text if axis.kind in (Kind.NUMBER, Kind.PEDAL, Kind.LAUNCH) else f'"{clean(text)}"'


def _own_options(study: Study) -> list[str]:
    """Options that changed the scenario of the sweep, without the alternatives that it varies."""
    asked = json.loads(study.asked)
    varied = {axis.name for axis in study.plan.axes}
    taken = [each for each in asked.get("taken", ()) if each.partition("=")[0].strip() not in varied]
    changes = [each for each in asked.get("changes", ()) if each.partition("=")[0].strip() not in varied]
    return [part for each in taken for part in ("--with", each)] + [
        part for each in changes for part in ("--set", each)
    ]


def options_text(study: Study, number: int, by: Measure | None = None) -> str:
    """Options with which `simlaunch run` repeats a launch; that of a test where its time is what is ranked by."""
    parts = _own_options(study)
    texts = study.plan.texts(study.plan.cases(number, number + 1), 0)
    for axis in study.plan.axes:
        text = texts[axis.name]
        if axis.kind in ALTERNATIVE:
            parts += ["--with", f"{axis.name}={text}"]
        elif axis.kind in (Kind.NUMBER, Kind.LAUNCH):
            parts += ["--set", f"{axis.name}={text}"]
        else:
            parts += [f"--{axis.name}", text]
    labels = [test["label"] for test in json.loads(study.tests)]
    parts += [part for label in labels if by and by.name == f"time {label}" for part in ("--for", label)]
    if study.tolerance is not None:
        parts += ["--tolerance", f"{study.tolerance:g}"]
    return shlex.join(clean(part) for part in parts)


# --- ranking ---


def _shown_measures(findings: Findings) -> list[Measure]:
    """The measure ranked by, then those of the constraints, then the usual ones."""
    known = {measure.name: measure for measure in findings.study.measures}
    asked = [constraint.column for constraint in findings.order.constraints]
    wanted = dict.fromkeys(name for name in (findings.order.by.name, *asked, *_ALSO_SHOWN) if name in known)
    return [known[name] for name in wanted][: len(_MARKS)]


@dataclass(frozen=True)
class _Labels:
    """Labels of cases, each on as many lines as it needs, and the lines above and below their table."""

    title: str
    labels: tuple[tuple[str, ...], ...]
    above: tuple[str, ...]
    below: tuple[str, ...]


def _case_labels(findings: Findings, room: int) -> _Labels:
    """Labels that name the values in which cases differ; values that all cases share are listed once, above the table.

    No name is cut: a label may take several lines, and a name longer than a line is numbered.
    """
    best = findings.best
    texts = {axis: _texts(axis, [launch.values[axis.name] for launch in best]) for axis in findings.study.plan.axes}
    differ = [axis for axis in texts if len(set(texts[axis])) > 1]
    shared = ", ".join(
        f"{axis.name} {_quoted(axis, best[0].values[axis.name])}" for axis in texts if axis not in differ
    )
    above = [f"All of them: {shared}."] if shared else []
    indent = len(f"{len(best)}. ")
    below = _numbered(texts, differ, best, room - indent - len(_AND))
    rows = ([texts[axis][row] for axis in differ] for row in range(len(best)))
    labels = tuple(_label(f"{n}.".ljust(indent), row, room) for n, row in enumerate(rows, start=1))
    names = _AND.join(axis.name for axis in differ)
    title = f"Best: {names}" if names and width_of(f"Best: {names}") <= room else "Best"
    above += [f"Cases: {names}."] if names and title == "Best" else []
    return _Labels(title, labels, tuple(above), below)


def _numbered(
    texts: dict[Axis, list[str]], shown: Sequence[Axis], launches: Sequence[Ranked], room: int
) -> tuple[str, ...]:
    """Put numbers in place of the values of each axis that has one longer than a line; the keys to them."""
    too_long = [axis for axis in shown if max(map(width_of, texts[axis])) > room]
    for axis in too_long:
        texts[axis] = [_mark(axis, launch.values[axis.name]) for launch in launches]
    return tuple(_key(axis, [launch.values[axis.name] for launch in launches]) for axis in too_long)


def _label(place: str, names: Sequence[str], room: int) -> tuple[str, ...]:
    """Place and names of a case, parted between names where a line is full."""
    lines = [place]
    for n, name in enumerate(names):
        piece = name if n == len(names) - 1 else f"{name}{_AND}"
        if lines[-1].strip() not in ("", place.strip()) and width_of(f"{lines[-1]}{piece}".rstrip()) > room:
            lines.append(" " * len(place))
        lines[-1] += piece
    return tuple(line.rstrip() for line in lines)


def _texts(axis: Axis, values: Sequence[str | float]) -> list[str]:
    """Values as they are shown, or with all digits where fewer would make two of them look the same."""
    shown, unit = [clean(axis.shown(value)) for value in values], axis.shown_in
    if unit is None or len(set(shown)) == len(set(values)):
        return shown
    return [f"{unit.of(float(value)):.12g} {unit.label}".strip() for value in values]


def _mark(axis: Axis, value: str | float) -> str:
    """A value by its number among those of its axis."""
    listed: Sequence[str | float] = axis.si or axis.values
    return f"{axis.name} {listed.index(value) + 1}" if value in listed else axis.shown(value)


def _key(axis: Axis, values: Sequence[str | float]) -> str:
    """The value behind each number of an axis."""
    names = {_mark(axis, value): _quoted(axis, value) for value in values}
    return "; ".join(
        f"{mark}: {text}" for mark, text in sorted(names.items(), key=lambda entry: _last_number(entry[0]))
    )


def _last_number(mark: str) -> int:
    last = mark.rpartition(" ")[2]
    return int(last) if last.isdecimal() else 0


def _ranking(
    findings: Findings, numbers: Numbers, names: Sequence[str], room: int | None = None
) -> tuple[Table, _Labels]:
    """The best launches, their measures under these names."""
    shown = _shown_measures(findings)
    units = (numbers.unit(measure.dimension) for measure in shown)
    heads = ("launch", *map(with_unit, names, units))
    rows = [
        (str(launch.number), *(numbers.plain(launch.measures[each.name], each.dimension) for each in shown))
        for launch in findings.best
    ]
    labels = _case_labels(findings, room or label_room(Table("", heads, tuple(Row("", "", cells) for cells in rows))))
    lines = [
        Row(text, "", cells if n == 0 else ("",) * len(cells))
        for label, cells in zip(labels.labels, rows, strict=True)
        for n, text in enumerate(label)
    ]
    return Table(labels.title, heads, tuple(lines)), labels


def _legend(findings: Findings) -> str:
    """The measure behind each letter above the columns of the ranking."""
    shown = zip(_MARKS, _shown_measures(findings), strict=False)
    return paragraph(f"{'; '.join(f'{mark}: {measure.name}' for mark, measure in shown)}.")


def _group_table(
    name: str, groups: Sequence[Group], by: Measure, numbers: Numbers, room: int | None = None
) -> tuple[Table, tuple[str, ...]]:
    """The best launch with each value of an axis, and a key to names that are too long for the table."""
    heads = (with_unit(f"best {by.name}", numbers.unit(by.dimension)), "launch", "launches")
    cells = [(numbers.plain(group.best, by.dimension), str(group.number), str(group.count)) for group in groups]
    room = room or label_room(Table("", heads, tuple(Row("", "", each) for each in cells)))
    labels = [clean(group.label) for group in groups]
    below: tuple[str, ...] = ()
    if max(map(width_of, labels)) > room:
        labels = [f"{name} {n}" for n in range(1, len(groups) + 1)]
        below = tuple(f'{mark}: "{clean(group.label)}"' for mark, group in zip(labels, groups, strict=True))
    rows = (Row(label, "", each) for label, each in zip(labels, cells, strict=True))
    return Table(f"By {name}", heads, tuple(rows)), below


def tables(found: SweepResult, system: System) -> tuple[Table, ...]:
    """Every table of a sweep with all names in full, for lines of any length."""
    findings = found.findings
    if not findings.best:
        return ()
    numbers, by = Numbers(system), findings.order.by
    ranking, _ = _ranking(findings, numbers, [each.name for each in _shown_measures(findings)], _ENDLESS)
    parted = (_group_table(axis, each, by, numbers, _ENDLESS) for axis, each in _parted(findings).items())
    return (ranking, *(table for table, _ in parted), *_condition_table(found, numbers), *_winner_table(found, numbers))


def _winner_table(found: SweepResult, numbers: Numbers) -> Iterator[Table]:
    """Which of two curves wins in how many cells, by the values of every axis."""
    won, by = found.winners, found.findings.order.by
    if won is None or not won.whole.cells:
        return
    unit = numbers.unit(by.dimension)
    heads = (won.first, won.second, "level", with_unit("least gap", unit), with_unit("most", unit))
    rows = [_won("all cells", won.whole, by, numbers)]
    for axis in won.axes:
        if len(axis.values) > 1 and len(axis.values) <= MOST_GROUPS:
            labels = [clean(axis.shown(value)) for value in (axis.si or axis.values)]
            rows += [
                _won(f"{axis.name} {label}", tally, by, numbers)
                for label, tally in zip(labels, won.by_axis[axis.name], strict=True)
            ]
    yield Table("Cells won", heads, tuple(rows))


def _won(label: str, tally: Tally, by: Measure, numbers: Numbers) -> Row:
    gaps = (numbers.signed(gap, by.dimension) for gap in (tally.least, tally.greatest))
    return Row(label, "", (str(tally.first), str(tally.second), str(tally.level), *gaps))


def _who_wins(found: SweepResult, numbers: Numbers) -> str:
    """Who wins where, and what changes the winner, in a sentence or two; empty without two curves."""
    won = found.winners
    if won is None or not won.whole.cells:
        return ""
    whole, one, other = won.whole, quoted(won.first), quoted(won.second)
    for ahead, behind, count in ((one, other, whole.first), (other, one, whole.second)):
        if count == whole.cells:
            ends = sorted((abs(whole.least), abs(whole.greatest)))
            least, most = (rounded_text(each, found.findings.order.by, numbers) for each in ends)
            return f"{ahead} beats {behind} in every one of {count} cells, by {least} to {most}."
    level = f", and {whole.level} {'is' if whole.level == 1 else 'are'} level" if whole.level else ""
    counts = f"Of {whole.cells} cells {one} wins {whole.first} and {other} {whole.second}{level}."
    turning = [(turns.turned, name, turns.lines) for name, turns in won.turns.items() if turns.turned]
    if not turning:
        return counts
    turned, name, lines = max(turning)
    kind = _NOT_CHOSEN.get(next(axis.role for axis in won.axes if axis.name == name), "")
    return f"{counts} The winner changes most often with {name}{kind}: in {turned} of {lines} rows of cells along it."


def _parted(findings: Findings) -> Mapping[str, Sequence[Group]]:
    """Groups of the axes that part the launches."""
    return {axis: each for axis, each in findings.groups.items() if len(each) > 1}


def _table_texts(findings: Findings, system: System) -> list[str]:
    """Every table of a sweep, each with the key to its names, in the order of printing."""
    if not findings.best:
        return []
    numbers, by = Numbers(system), findings.order.by
    ranking, labels = _ranking(findings, numbers, _MARKS)
    parted = [_group_table(axis, each, by, numbers) for axis, each in _parted(findings).items()]
    texts = tables_text([ranking, *(table for table, _ in parted)])
    legends = [labels.below, *(below for _, below in parted)]
    blocks = [
        "\n".join([text, *(paragraph(line, "    ") for line in lines)])
        for text, lines in zip(texts, legends, strict=True)
    ]
    blocks[0] = "\n".join([*(paragraph(line, "    ") for line in labels.above), blocks[0]])
    return blocks


def _met_and_chosen(found: SweepResult) -> tuple[list[Axis], list[Axis]]:
    """Axes of conditions and values of the car, and of what is chosen for each; empty without both."""
    axes = found.findings.study.plan.axes
    met = [axis for axis in axes if axis.role is not Role.CHOICE]
    chosen = [axis for axis in axes if axis.role is Role.CHOICE and len(axis.values) != 1]
    return (met, chosen) if len(found.by_condition) > 1 and chosen else ([], [])


def _condition_table(found: SweepResult, numbers: Numbers) -> Iterator[Table]:
    """The best choice under each set of conditions."""
    by = found.findings.order.by
    met, chosen = _met_and_chosen(found)
    if not met:
        return
    heads = (*(axis.name for axis in chosen), with_unit(by.name, numbers.unit(by.dimension)))
    rows = [
        Row(
            _AND.join(clean(axis.shown(each.values[axis.name])) for axis in met),
            "",
            (
                *(clean(axis.shown(each.values[axis.name])) for axis in chosen),
                numbers.plain(each.measures[by.name], by.dimension),
            ),
        )
        for each in found.by_condition
    ]
    yield Table(f"Best choice by {_AND.join(axis.name for axis in met)}", heads, tuple(rows))


def _condition_text(found: SweepResult, numbers: Numbers) -> list[str]:
    """The same as text: where so many columns would be cut, each choice stands below its conditions instead."""
    parted = tuple(_condition_table(found, numbers))
    return tables_text(parted) if all(map(fits, parted)) else [_choices_below(found, *parted)]


def _choices_below(found: SweepResult, parted: Table) -> str:
    met, chosen = _met_and_chosen(found)
    times = [row.cells[-1:] for row in parted.rows]
    room = label_room(Table("", parted.heads[-1:], tuple(Row("", "", each) for each in times)))
    indent, best = " " * 4, found.by_condition
    texts = {axis: [clean(axis.shown(each.values[axis.name])) for each in best] for axis in (*met, *chosen)}
    below = _numbered(texts, (*met, *chosen), best, room - len(indent) - len(_AND))
    lines = []
    for n, time in enumerate(times):
        head = _label("", [texts[axis][n] for axis in met], room)
        further = _label(indent, [texts[axis][n] for axis in chosen], room)
        lines += [Row(text, "", time if k == 0 else ("",)) for k, text in enumerate((*head, *further))]
    [shown] = tables_text([Table(parted.title, parted.heads[-1:], tuple(lines))])
    names = paragraph(f"Best choices: {_AND.join(axis.name for axis in chosen)}.", indent)
    return "\n".join([names, shown, *(paragraph(line, indent) for line in below)])


def _how_far(findings: Findings) -> str:
    study, failed = findings.study, findings.failed
    done = f"{findings.finished} of {study.launches} launches are finished"
    parts = [done if findings.finished < study.launches else f"{study.launches} launches"]
    if failed:
        parts.append(f"{failed} of them failed")
    if findings.order.constraints:
        met = " and ".join(clean(constraint.text) for constraint in findings.order.constraints)
        parts.append(f"{findings.met} reach the goal with {met}")
    return f"{'; '.join(parts)}. {_how_close(study)}"


def _how_close(study: Study) -> str:
    """How far times may be off."""
    tolerance = study.tolerance or DEFAULT_TOLERANCE
    error = time_error(tolerance)
    if math.isnan(error):
        return f"A tolerance of {tolerance:g} is too wide for times to the millisecond."
    return f"Of 100 times, 95 are good to {1e3 * error:.2g} ms (tolerance {tolerance:g})."


def _failures(findings: Findings) -> list[str]:
    most = sorted(findings.failures.items(), key=lambda entry: (-entry[1], entry[0]))[:5]
    return ["\n".join(["Failed", *(_failure(why, count) for why, count in most)])] if most else []


def _failure(why: str, count: int) -> str:
    """Number of launches that failed for a reason; several faults stand on separate lines."""
    faults = why.split(BETWEEN_FAULTS)
    if len(faults) == 1:
        return paragraph(f"{count}: {why}", "    ")
    return "\n".join([f"{count}: {len(faults)} faults", *(paragraph(f"  - {fault}", "    ") for fault in faults)])


def summary(found: SweepResult, system: System) -> str:
    """The verdict: the best launch and what it depends on, in a sentence or two."""
    findings = found.findings
    numbers, by = Numbers(system), findings.order.by
    so_far = "So far, " if findings.finished < findings.study.launches else ""
    if not findings.best:
        return _capital(f"{so_far}no finished launch meets the constraints; loosen one, or vary something else.")
    first = findings.best[0]
    result = rounded_text(first.measures[by.name], by, numbers)
    best = f"{so_far}best is {_chosen_text(findings.study, first.values)}: {by.label} {result}"
    ranked = f"{best}{_next(findings, numbers)}.{_what_matters(findings, numbers)}"
    return f"{_capital(f'{ranked}{_other_conditions(found, numbers)}')} {_who_wins(found, numbers)}".strip()


def _other_conditions(found: SweepResult, numbers: Numbers) -> str:
    """Whether the best choice stays the best where conditions are others, which nobody chooses."""
    by = found.findings.order.by
    if not found.by_condition or len(found.by_condition) < 2:
        return ""
    every = found.findings.study.plan.axes
    axes = [axis for axis in every if axis.role is Role.CHOICE]
    conditions = " and ".join(axis.name for axis in every if axis.role is not Role.CHOICE)
    if not axes:
        return ""
    first = found.by_condition[0]
    alike = [each for each in found.by_condition if all(each.values[a.name] == first.values[a.name] for a in axes)]
    if len(alike) == len(found.by_condition):
        worst = max(each.measures[by.name] for each in found.by_condition)
        best = min(each.measures[by.name] for each in found.by_condition)
        ends = [rounded_text(each, by, numbers) for each in (best, worst)]
        return f" The same choice is best with every {conditions} ({ends[0]} to {ends[1]})."
    return f" The best choice is another one with another {conditions}; the table names it for each."


def _next(findings: Findings, numbers: Numbers) -> str:
    """Distance to the next launch."""
    if len(findings.best) < 2:
        return ""
    by = findings.order.by
    gap = abs(findings.best[1].measures[by.name] - findings.best[0].measures[by.name])
    if by.dimension is Dimension.TIME and gap < WORTH_NAMING:
        return f", level with the next {numbers.within()}"
    return f", {rounded_text(gap, by, numbers)} ahead of the next"


def _what_matters(findings: Findings, numbers: Numbers) -> str:
    """Which choice the best result depends on most, and which least; conditions and values of the car are no choice."""
    met = {axis.name for axis in findings.study.plan.axes if axis.role is not Role.CHOICE}
    spreads = {
        axis: max(group.best for group in groups) - min(group.best for group in groups)
        for axis, groups in _parted(findings).items()
        if axis not in met
    }
    if len(spreads) < 2:
        return ""
    by = findings.order.by
    most, least = max(spreads, key=lambda axis: spreads[axis]), min(spreads, key=lambda axis: spreads[axis])
    texts = [rounded_text(spreads[axis], by, numbers) for axis in (most, least)]
    if texts[0] == texts[1]:
        return f" Every choice changes the best result by the same amount ({texts[0]})."
    return f" Of all choices, {most} changes the best result most ({texts[0]}) and {least} least ({texts[1]})."


def rounded_text(value: float, measure: Measure, numbers: Numbers) -> str:
    """Value in a sentence: a time to a hundredth, all else as in tables."""
    if measure.dimension is not Dimension.TIME:
        return value_text(value, measure, numbers)
    return numbers.rounded_span(value) if value < 0.5 * WORTH_NAMING else numbers.rounded_time(value)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def text(found: SweepResult, system: System) -> str:
    """A sweep as text of 80 columns, the verdict last."""
    findings = found.findings
    blocks = [
        f"{paragraph(_scenario_name(findings))}\n{paragraph(_how_far(findings))}",
        *([_legend(findings)] if findings.best else []),
        *_table_texts(findings, system),
        *_condition_text(found, Numbers(system)),
        *tables_text([*_winner_table(found, Numbers(system))]),
        *_failures(findings),
    ]
    if findings.best:
        options = options_text(findings.study, findings.best[0].number, findings.order.by)
        blocks.append(f"The best launch by itself\n{command_text(f'simlaunch run SCENARIO {options}')}")
    blocks.append(paragraph(f"Caution: {_caution(found)}"))
    blocks.append(f"Verdict\n{paragraph(summary(found, system))}")
    return "\n\n".join(blocks)


def _caution(found: SweepResult) -> str:
    """What to take care of with the launches of a sweep, some of which may be on a road whose sides grip unlike."""
    scenario, axes = found.scenario, found.findings.study.plan.axes
    surfaces = [value for axis in axes if axis.kind is Kind.SURFACE for value in axis.values]
    roads = [scenario.replace(scenario.changes_to(Alternative.SURFACE, name)) for name in surfaces] or [scenario]
    if all(map(unlike_sides, roads)):
        return caution(roads[0])
    varied = any(axis.name in SIDES for axis in axes)
    return (
        f"{CAUTION} In some of these launches {UNLIKE_SIDES}." if varied or any(map(unlike_sides, roads)) else CAUTION
    )


def _scenario_name(findings: Findings) -> str:
    return str(json.loads(findings.study.scenario)["name"])


# --- JSON and columns ---


def columns(found: SweepResult) -> Mapping[str, NDArray[Any]]:
    """Every finished launch that meets the constraints, with every measure, read into memory."""
    complete(found.path)
    with Reader(found.path) as reader:
        return table(reader, found.findings.order)


def _axis_object(axis: Axis) -> Object:
    return {
        "name": axis.name,
        "kind": axis.kind,
        "role": axis.role,
        "dimension": axis.dimension,
        "values": list(axis.values),
        "values_si": list(axis.si),
        "range": [axis.span.text(axis.span.low), axis.span.text(axis.span.high)] if axis.span else None,
    }


def _launch_object(launch: Ranked, findings: Findings) -> Object:
    axes, shown = findings.study.plan.axes, _shown_measures(findings)
    return {
        "launch": launch.number,
        "values": {column_name(axis.name, axis.dimension): launch.values[axis.name] for axis in axes},
        "measures": {column_name(each.name, each.dimension): number(launch.measures[each.name]) for each in shown},
    }


def _group_object(group: Group) -> Object:
    return {"value": group.label, "best": number(group.best), "launch": group.number, "launches": group.count}


def document(found: SweepResult) -> Object:
    """The JSON object; `best` of groups is in the unit that `by` names."""
    findings = found.findings
    study, by, sample = findings.study, findings.order.by, findings.study.plan.sample
    return {
        "format": "simlaunch-sweep-1",
        "scenario": _scenario_name(findings),
        "axes": [_axis_object(axis) for axis in study.plan.axes],
        "sample": {"draw": sample.draw, "count": sample.count, "seed_value": sample.seed} if sample else None,
        "tolerance": study.tolerance,
        "time_error_s": number(time_error(study.tolerance or DEFAULT_TOLERANCE)),
        "launches": study.launches,
        "finished": findings.finished,
        "failed": findings.failed,
        "ranked": findings.met,
        "failures": [{"reason": why, "launches": count} for why, count in findings.failures.items()],
        "by": column_name(by.name, by.dimension),
        "highest_first": findings.order.highest,
        "where": [constraint.text for constraint in findings.order.constraints],
        "ranking": [_launch_object(launch, findings) for launch in findings.best],
        "groups": [
            {"axis": axis, "values": [_group_object(group) for group in groups]}
            for axis, groups in findings.groups.items()
        ],
        "best_by_condition": [_launch_object(each, findings) for each in found.by_condition],
        "who_wins": _winners_object(found),
        "verdict": summary(found, System.METRIC),
    }


def _tally_object(tally: Tally, by: Measure) -> Object:
    return {
        "first_wins_cases": tally.first,
        "second_wins_cases": tally.second,
        "level_cases": tally.level,
        column_name("least gap", by.dimension): number(tally.least),
        column_name("greatest gap", by.dimension): number(tally.greatest),
    }


def _winners_object(found: SweepResult) -> Object | None:
    won, by = found.winners, found.findings.order.by
    if won is None:
        return None
    values = {axis.name: list(axis.si or axis.values) for axis in won.axes}
    few = won.gap.size <= _MOST_CELLS
    return {
        "first": won.first,
        "second": won.second,
        "all": _tally_object(won.whole, by),
        "by_axis": {
            axis: [{"value": value, **_tally_object(t, by)} for value, t in zip(values[axis], tallies, strict=True)]
            for axis, tallies in won.by_axis.items()
        },
        "changes_winner": {axis: {"turned_cases": t.turned, "lines_cases": t.lines} for axis, t in won.turns.items()},
        "cells": [
            {
                "values": {axis.name: values[axis.name][k] for axis, k in zip(won.axes, place, strict=True)},
                column_name("gap", by.dimension): number(float(gap)),
            }
            for place, gap in np.ndenumerate(won.gap)
        ]
        if few
        else None,
    }
