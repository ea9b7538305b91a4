"""What is printed of several logs: their marks, the change between two set-ups, and what repeat runs say of it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import isfinite
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from simlaunch.analysis.logs import ComparedLog, LogComparison, MarkChange, Setup
from simlaunch.launching.goals import target_label
from simlaunch.logged.clock import from_foot
from simlaunch.logged.scatter import Change, Evidence
from simlaunch.output.as_json import Object, group_object, listed, mark_object, number
from simlaunch.output.clock import FROM_FOOT, mark_name, row_label, time_zero
from simlaunch.output.groups import cells, plain_heads
from simlaunch.output.layout import Row, Table, block, paragraph, short, tables_text
from simlaunch.output.trace import trace_columns
from simlaunch.output.words import Numbers
from simlaunch.quantities import reported
from simlaunch.readers.delimited import shown
from simlaunch.units.spelling import Dimension, System

_OF_CHANGE = ("before", "after", "gap", "low", "high", "scatter_before", "scatter_after")
_MEANING = (
    "Change: mean after less mean before; negative is quicker. From, to: Welch's t interval, which holds the true "
    "change with a confidence of 95 %, if repeat runs scatter normally. Sd: standard deviation of repeat runs. Of many "
    "intervals, one in twenty misses by chance: judge by the mark of the verdict. "
)
_USUAL = 3  # runs of each set-up that are asked for where there are too few


def _name(log: ComparedLog) -> str:
    return short(Path(log.run.source).name, 30)


def _logs(found: LogComparison, numbers: Numbers) -> Table:
    heads = ("set-up", f"time [{numbers.unit(Dimension.TIME)}]", f"top speed [{numbers.unit(Dimension.SPEED)}]")
    times = found.verdict.times
    rows = (
        Row(
            _name(log),
            "",
            (
                log.setup.value,
                numbers.plain(time, Dimension.TIME),
                numbers.plain(float(log.trace["speed"].max()), Dimension.SPEED),
            ),
        )
        for log, time in zip(found.logs, times, strict=True)
    )
    return Table(f"Logs, {row_label(found.target)}", heads, tuple(rows))


def change_table(found: LogComparison, numbers: Numbers) -> Table:
    """Every mark before and after, with the change, its interval and what repeat runs scatter by."""
    rows = (
        Row(
            row_label(each.target),
            numbers.unit(Dimension.TIME),
            _change_cells(each.change, numbers),
        )
        for each in found.changes
        if each.change is not None
    )
    return Table("Marks", plain_heads("log_change", _OF_CHANGE), tuple(rows))


def _change_cells(change: Change, numbers: Numbers) -> tuple[str, ...]:
    """Means, their difference as printed, and the rest."""
    beside = numbers.beside(change.before.mean, change.after.mean, Dimension.TIME)
    return (*beside, *cells("log_change", change, numbers, _OF_CHANGE[len(beside) :]))


def _alone(found: LogComparison, numbers: Numbers) -> Table:
    """Marks of one set-up."""
    unit = numbers.unit(Dimension.TIME)
    rows = (
        Row(
            row_label(each.target),
            "",
            (
                str(sum(map(isfinite, each.times))),
                numbers.plain(each.before.mean, Dimension.TIME),
                numbers.plain(each.before.scatter, Dimension.TIME),
            ),
        )
        for each in found.changes
    )
    return Table("Marks", ("reached by", f"mean [{unit}]", f"sd [{unit}]"), tuple(rows))


def along_table(found: LogComparison, numbers: Numbers) -> Table:
    """The gap at some speeds, the last among them."""
    along, names = found.along, ("gap", "low", "high")
    picked = sorted({round(k * (along.speed.size - 1) / 7) for k in range(8)}) if along.speed.size else []
    unit = numbers.unit(Dimension.TIME)
    rows = (
        Row(
            numbers.with_unit(float(along.speed[k]), Dimension.SPEED),
            "",
            tuple(numbers.signed(float(getattr(along, name)[k]), Dimension.TIME) for name in names),
        )
        for k in picked
    )
    return Table("Gap along speed", tuple(f"{name} [{unit}]" for name in ("gap", "from", "to")), tuple(rows))


def tables(found: LogComparison, system: System) -> tuple[Table, ...]:
    """Every table of several logs, in the order of printing."""
    numbers = Numbers(system)
    if not found.of(Setup.AFTER):
        return _logs(found, numbers), _alone(found, numbers)
    return _logs(found, numbers), change_table(found, numbers), along_table(found, numbers)


def _seconds(value: float) -> str:
    return f"{abs(value):.3f} s"


def _direction(value: float) -> str:
    return "slower" if value > 0.0 else "quicker"


def _interval(change: Change) -> str:
    low, high = sorted((change.low, change.high), key=abs)
    if change.low <= 0.0 <= change.high:
        return f"{_seconds(change.low)} quicker to {_seconds(change.high)} slower"
    return f"{_seconds(low)} to {_seconds(high)} {_direction(change.gap)}"


def _verdict(each: MarkChange) -> str:
    """What the logs say of one mark."""
    label, change = mark_name(each.target), each.change
    if change is None:
        return f"{label} takes {each.before.mean:.3f} s on average. No log is named after a change (--after)."
    evidence, runs = change.evidence, (change.before.runs, change.after.runs)
    if evidence is Evidence.NONE:
        return f"{label} is not reached by every log, so that nothing is said of a change."
    means = f"{label} takes {change.before.mean:.3f} s before and {change.after.mean:.3f} s after"
    printed = round(change.after.mean, 3) - round(change.before.mean, 3)  # a reader subtracts what stands there
    gap = f"{means}: {_seconds(printed)} {_direction(change.gap)}"
    if evidence is Evidence.FEW:
        counted = f"{runs[0]} run{'s' if runs[0] > 1 else ''} before and {runs[1]} after"
        return (
            f"{gap}. With {counted} nobody can say whether the change did that: a set-up driven once has no scatter. "
            f"Drive each set-up {_USUAL} times at least."
        )
    if evidence is Evidence.ALIKE:
        return f"{gap}. The repeat runs do not differ at all, as copies of one log do; log each run on its own."
    scatter = f"(standard deviation {_seconds(change.before.scatter)} before, {_seconds(change.after.scatter)} after)"
    few = " With so few runs the interval is wide: more repeats narrow it." if change.freedom < 3.0 else ""
    if evidence is Evidence.MORE:
        return (
            f"{gap}. That is more than repeat runs scatter by {scatter}: the true change lies from "
            f"{_interval(change)}, with a confidence of 95 %.{few}"
        )
    return (
        f"{gap}. That is no more than repeat runs scatter by {scatter}: the interval of 95 % goes from "
        f"{_interval(change)}. These runs cannot distinguish a change below about {_seconds(change.least_seen)} from "
        f"none.{few}"
    )


def summary(found: LogComparison, system: System) -> str:
    """What the logs say of the mark of the verdict."""
    return _verdict(found.verdict)


def _done(found: LogComparison, numbers: Numbers) -> Iterator[str]:
    yield time_zero(found.aligned_at, found.known_to, numbers)
    for log in found.logs:
        if log.done:
            yield f"{_name(log)}: drag, rolling and grade brought to the scenario; {log.done}"


def _counted(found: LogComparison) -> str:
    """How many logs there are of each set-up."""
    before, after = (len(found.of(each)) for each in (Setup.BEFORE, Setup.AFTER))
    logs = f"{before} log{'' if before == 1 else 's'}"
    return f"{logs} before, {after} after" if after else logs


def text(found: LogComparison, system: System) -> str:
    """Several logs as text of 80 columns."""
    blocks = [
        paragraph(_counted(found)),
        *block("What was done", _done(found, Numbers(system))),
        *block("Worth knowing", found.notes),
        paragraph(f"{_MEANING}{FROM_FOOT}" if found.of(Setup.AFTER) else FROM_FOOT),
        *tables_text(tables(found, system)),
        *block("Verdict", [summary(found, system)]),
    ]
    return "\n\n".join(blocks)


def columns(found: LogComparison) -> Mapping[str, NDArray[np.float64]]:
    """The gap along speed."""
    return {each.key: each.of(found.along) for each in reported("speed_gap").values()}


def _change(each: MarkChange) -> Object:
    change = each.change
    marked = {
        "label": target_label(each.target),
        "from_first_foot": from_foot(each.target),
        "times_s": listed(each.times),
    }
    if change is None:
        return {**marked, "before_s": number(each.before.mean), "scatter_before_s": number(each.before.scatter)}
    return {**marked, **group_object("log_change", change), "evidence": change.evidence.name.lower()}


def _log(log: ComparedLog, *, trace: bool) -> Object:
    return {
        "source": shown(log.run.source),
        "set_up": log.setup.value,
        "understood": list(log.run.understood),
        "notes": list(log.run.account.notes),
        "corrected": log.done or None,
        "marks": [mark_object(result) for result in log.marks],
        **({"trace": {key: listed(values) for key, values in trace_columns(log.trace).items()}} if trace else {}),
    }


def document(found: LogComparison, *, trace: bool = False) -> Object:
    """The JSON object; with the histories if they are wanted."""
    return {
        "format": "simlaunch-logs-1",
        "aligned_at_m_per_s": number(found.aligned_at),
        "first_foot_within_s": number(found.known_to),
        "target": target_label(found.target),
        "verdict": _verdict(found.verdict),
        "evidence": found.verdict.change.evidence.name.lower() if found.verdict.change else None,
        "changes": [_change(each) for each in found.changes],
        "along_speed": {key: listed(values) for key, values in columns(found).items()},
        "logs": [_log(log, trace=trace) for log in found.logs],
        "notes": list(found.notes),
    }
