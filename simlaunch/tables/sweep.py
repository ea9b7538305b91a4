"""What is printed of a sweep: what it will take, how far it is, its ranking, and the verdict on it."""

from __future__ import annotations

import json
import shlex
from collections.abc import Mapping, Sequence
from math import isfinite, isnan

from simlaunch.show.layout import WIDTH, Row, Table, clean, columns, paragraph, short, tables_text
from simlaunch.show.words import CAUTION, NOT_REACHED, Numbers
from simlaunch.sweep.axes import ALTERNATIVE, Axis, Kind
from simlaunch.sweep.campaign import Estimate, Progress
from simlaunch.sweep.ranking import Findings, Group, Order
from simlaunch.sweep.store import Measure, Study
from simlaunch.units.spelling import System

_ALSO_SHOWN = ("wheelspin time", "steady torque gearbox input", "peak torque gearbox input")
_MARKS = ("a", "b", "c")
_LABEL_COLUMNS = 40
_MOST_NAMED = 30
_KIB = 1024.0


def duration(seconds: float) -> str:
    """A time as it is told in passing."""
    if not isfinite(seconds):
        return "unknown"
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
    if measure.dimension is None:
        return NOT_REACHED if isnan(value) else f"{value:.4g}"
    return numbers.with_unit(value, measure.dimension)


def progress_line(progress: Progress, best: float | None, order: Order, numbers: Numbers) -> str:
    """How far a sweep is, on one line."""
    share = 100.0 * progress.done / progress.total
    told = f"{progress.done} of {progress.total} launches ({share:.0f} %)"
    if progress.rate > 0.0:
        told += f", {progress.rate:.0f} a second, {duration(progress.left)} to go"
    if best is not None:
        told += f", best {value_text(best, order.by, numbers)}"
    return short(told, WIDTH - 1)


def estimate_text(
    estimate: Estimate, axes: Sequence[Axis], corners: Sequence[tuple[int, Mapping[str, str], str]], workers: int
) -> str:
    """What a sweep would take, and the cases at its corners."""
    facts = (
        ("launches", "", f"{estimate.launches}"),
        ("one launch", "s", f"{estimate.seconds_each:.4f}"),
        (f"all, {workers} at a time", "", duration(estimate.seconds)),
        ("room on the disk", "", _room(estimate.bytes)),
    )
    varied = Table("Varied", ("values",), tuple(Row(axis.name, "", (_extent(axis),)) for axis in axes))
    return "\n\n".join(
        [
            *tables_text(
                [Table("Estimate", ("about",), tuple(Row(a, unit, (text,)) for a, unit, text in facts)), varied]
            ),
            "\n".join(["Corner cases", *(_corner(*corner) for corner in corners)]),
            "Nothing was written.",
        ]
    )


def _corner(number: int, texts: Mapping[str, str], why_not: str) -> str:
    told = ", ".join(f"{axis} {text}" for axis, text in texts.items())
    return paragraph(f"{number}: {told}{f'; cannot be launched: {why_not}' if why_not else ''}", "    ")


def _extent(axis: Axis) -> str:
    if axis.values and len(axis.values) <= 3 and sum(map(columns, axis.values)) < 34:
        return ", ".join(map(clean, axis.values))
    if axis.span is not None:
        ends = f"{axis.span.low:g} to {axis.span.text(axis.span.high)}"
        return f"{ends} in {len(axis.values)}" if axis.values else ends
    return f"{len(axis.values)} values"


def case_text(study: Study, values: Mapping[str, str | float]) -> str:
    """A case in words: every axis and its value."""
    told = (f"{axis.name} {_quoted(axis, values[axis.name])}" for axis in study.plan.axes)
    return ", ".join(told)


def _quoted(axis: Axis, value: str | float) -> str:
    text = axis.shown(value)
    return text if axis.kind in (Kind.NUMBER, Kind.PEDAL) else f'"{short(text, _MOST_NAMED)}"'


def _own_options(study: Study) -> list[str]:
    """Options that the sweep itself was given, without the alternatives that it varies."""
    asked = json.loads(study.asked)
    varied = {axis.name for axis in study.plan.axes}
    taken = [each for each in asked.get("taken", ()) if each.partition("=")[0].strip() not in varied]
    changes = [each for each in asked.get("changes", ()) if each.partition("=")[0].strip() not in varied]
    return [part for each in taken for part in ("--with", each)] + [
        part for each in changes for part in ("--set", each)
    ]


def options_text(study: Study, number: int) -> str:
    """Options with which `simlaunch run` repeats a launch."""
    parts = _own_options(study)
    texts = study.plan.texts(study.plan.cases(number, number + 1), 0)
    for axis in study.plan.axes:
        text = texts[axis.name]
        if axis.kind in ALTERNATIVE:
            parts += ["--with", f"{axis.name}={text}"]
        elif axis.kind is Kind.NUMBER:
            parts += ["--set", f"{axis.name}={text}"]
        else:
            parts += [f"--{axis.name}", text]
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


def _with_unit(text: str, measure: Measure, numbers: Numbers) -> str:
    unit = "" if measure.dimension is None else numbers.unit(measure.dimension)
    return f"{text} [{unit}]" if unit else text


def _bare(value: float, measure: Measure, numbers: Numbers) -> str:
    if measure.dimension is None:
        return NOT_REACHED if isnan(value) else f"{value:.4g}"
    return numbers.plain(value, measure.dimension)


def _ranking(findings: Findings, numbers: Numbers) -> Table:
    axes, shown = findings.study.plan.axes, _shown_measures(findings)
    heads = ("launch", *(_with_unit(mark, measure, numbers) for mark, measure in zip(_MARKS, shown, strict=False)))
    rows = []
    for place, launch in enumerate(findings.best, start=1):
        values = " / ".join(axis.shown(launch.values[axis.name]) for axis in axes)
        cells = (_bare(launch.measures[measure.name], measure, numbers) for measure in shown)
        rows.append(Row(f"{place}. {short(values, _LABEL_COLUMNS)}", "", (str(launch.number), *cells)))
    return Table(short(f"Best: {' / '.join(axis.name for axis in axes)}", _LABEL_COLUMNS), heads, tuple(rows))


def _legend(findings: Findings) -> str:
    """What the marks above the columns of the ranking stand for."""
    shown = zip(_MARKS, _shown_measures(findings), strict=False)
    return paragraph(f"{'; '.join(f'{mark}: {measure.name}' for mark, measure in shown)}.")


def _group_table(axis: str, groups: Sequence[Group], by: Measure, numbers: Numbers) -> Table:
    heads = (_with_unit(f"best {by.name}", by, numbers), "launch", "launches")
    rows = (
        Row(
            short(group.label, _LABEL_COLUMNS),
            "",
            (_bare(group.best, by, numbers), str(group.number), str(group.count)),
        )
        for group in groups
    )
    return Table(f"By {axis}", heads, tuple(rows))


def sweep_tables(findings: Findings, system: System) -> tuple[Table, ...]:
    """Every table of a sweep, in the order of printing."""
    numbers = Numbers(system)
    by = findings.order.by
    told = [_group_table(axis, groups, by, numbers) for axis, groups in findings.groups.items() if len(groups) > 1]
    return (_ranking(findings, numbers), *told) if findings.best else ()


def _how_far(findings: Findings) -> str:
    study, failed = findings.study, findings.failed
    done = f"{findings.finished} of {study.launches} launches are finished"
    parts = [done if findings.finished < study.launches else f"{study.launches} launches"]
    if failed:
        parts.append(f"{failed} of them failed")
    if findings.order.constraints:
        told = " and ".join(clean(constraint.text) for constraint in findings.order.constraints)
        parts.append(f"{findings.met} reach the goal with {told}")
    return f"{'; '.join(parts)}."


def _failures(findings: Findings) -> list[str]:
    told = sorted(findings.failures.items(), key=lambda entry: (-entry[1], entry[0]))[:5]
    return ["\n".join(["Failed", *(paragraph(f"{count}: {why}", "    ") for why, count in told)])] if told else []


def verdict(findings: Findings, system: System) -> str:
    """What a sweep comes to, in a sentence or two."""
    numbers, by = Numbers(system), findings.order.by
    so_far = "So far, " if findings.finished < findings.study.launches else ""
    if not findings.best:
        return _capital(
            f"{so_far}no finished launch meets what was asked; loosen a constraint, or vary something else."
        )
    first = findings.best[0]
    result = value_text(first.measures[by.name], by, numbers)
    told = f"{so_far}best is {case_text(findings.study, first.values)}: {by.label} {result}"
    return _capital(f"{told}{_next(findings, numbers)}.{_what_matters(findings, numbers)}")


def _next(findings: Findings, numbers: Numbers) -> str:
    """How far the next one is behind."""
    if len(findings.best) < 2:
        return ""
    by = findings.order.by
    gap = abs(findings.best[1].measures[by.name] - findings.best[0].measures[by.name])
    return f", {value_text(gap, by, numbers)} ahead of the next"


def _what_matters(findings: Findings, numbers: Numbers) -> str:
    """Which axis the best result depends on most, and which least."""
    spreads = {
        axis: max(group.best for group in groups) - min(group.best for group in groups)
        for axis, groups in findings.groups.items()
        if len(groups) > 1
    }
    if len(spreads) < 2:
        return ""
    by = findings.order.by
    most, least = max(spreads, key=lambda axis: spreads[axis]), min(spreads, key=lambda axis: spreads[axis])
    return (
        f" The best that each value allows differs most by {most} ({value_text(spreads[most], by, numbers)}), "
        f"least by {least} ({value_text(spreads[least], by, numbers)})."
    )


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def sweep_text(findings: Findings, name: str, system: System) -> str:
    """A sweep as text of 80 columns, the verdict last."""
    blocks = [
        f"{paragraph(name)}\n{paragraph(_how_far(findings))}",
        *([_legend(findings)] if findings.best else []),
        *tables_text(sweep_tables(findings, system)),
        *_failures(findings),
    ]
    if findings.best:
        options = options_text(findings.study, findings.best[0].number)
        blocks.append(f"The best launch by itself\n{paragraph(f'simlaunch run SCENARIO {options}', '    ')}")
    blocks.append(paragraph(f"Caution: {CAUTION}"))
    blocks.append(f"Verdict\n{paragraph(verdict(findings, system))}")
    return "\n\n".join(blocks)
