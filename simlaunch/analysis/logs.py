"""Several logs side by side: two set-ups, before and after a change, and whether the change shows above the scatter."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from math import isfinite, isnan, nan
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from simlaunch.analysis.log import LoggedRun, read_log, with_radii
from simlaunch.analysis.log_beside import refuse_short
from simlaunch.errors import Fault, InputError, UsageError
from simlaunch.launching.goals import same_target, target_written
from simlaunch.logged.clock import begins, clocked, rise, since
from simlaunch.logged.same_conditions import Correcting, Days, brought_to, day_of
from simlaunch.logged.scatter import Change, Group, change
from simlaunch.metrics.crossing import value_at
from simlaunch.metrics.marks import AT_REST, STANDARD, Kind, MarkResult, Target, marks
from simlaunch.readers.delimited import shown
from simlaunch.readers.log import LogOptions
from simlaunch.results import Result
from simlaunch.scenario.model import Scenario
from simlaunch.simulation.trace import Trace
from simlaunch.units.gate import quoted
from simlaunch.units.quantity import DisplayUnit, display_unit
from simlaunch.units.spelling import Dimension, System, system_named

Array = NDArray[np.float64]

COPY = "holds the same run as"
"""What is said of a log that is a copy of another."""

MOST_LOGS = 50
_WRITTEN_OUT = 'write a distance, a speed, or a span such as "80 km/h to 120 km/h"'
_KMH = 1.0 / 3.6
_STEP = 2.5 * _KMH  # between the speeds at which the gap is stated [m/s]
_ROUND = 5.0  # speeds that nobody asked for are multiples of this, in the unit that is shown
_SHORTEST = 10.0 * _KMH  # a range of speed that logs have to share [m/s]


class Setup(StrEnum):
    """Which set-up a log is of."""

    BEFORE = "before"
    AFTER = "after"


@dataclass(frozen=True)
class ComparedLog:
    """One of several logs.

    Parameters
    ----------
    setup : Setup
        Which set-up it is of.
    run : LoggedRun
        The log as it was measured.
    trace : Trace
        The run that is compared: that of the log, or what it comes to in the conditions of the scenario.
    marks : tuple of MarkResult
        Marks of that run.
    done : str
        What was corrected; empty for nothing.
    """

    setup: Setup
    run: LoggedRun
    trace: Trace
    marks: tuple[MarkResult, ...]
    done: str

    @property
    def brought(self) -> LoggedRun:
        """The log with the run that is compared in place of the one that was measured."""
        account = replace(self.run.account, trace=self.trace)
        return replace(self.run, account=account, marks=self.marks, corrected=self.done)


@dataclass(frozen=True)
class MarkChange:
    """Times of one mark in all logs, and their difference; without logs after the change, only those before.

    Parameters
    ----------
    target : Target
        The mark.
    times : tuple of float
        Time in each log, from the first foot on where it is one from rest; nan where it was not reached or is not
        defined [s].
    change : Change or None
        Both set-ups; None where there is only one.
    before : Group
        The set-up before.
    """

    target: Target
    times: tuple[float, ...]
    change: Change | None
    before: Group


@dataclass(frozen=True)
class SpeedGap:
    """Time to reach a speed from where the logs are aligned, after less before, along speed.

    Parameters
    ----------
    speed : ndarray, shape (n,)
        Speeds [m/s].
    gap : ndarray, shape (n,)
        Difference of the means; nan where there is only one set-up [s].
    low, high : ndarray, shape (n,)
        Ends of its interval; nan for too few runs [s].
    """

    speed: Array
    gap: Array
    low: Array
    high: Array


@dataclass(frozen=True, repr=False)
class LogComparison(Result):
    """Several logs, measured by the same definitions.

    Parameters
    ----------
    logs : tuple of ComparedLog
        Those before, then those after.
    aligned_at : float
        Speed at which all have time zero; 0 where they start from rest and have it at the first foot [m/s].
    target : Target
        What the verdict is about.
    changes : tuple of MarkChange
        Every mark that some log reached, that of the verdict among them.
    along : SpeedGap
        The gap along speed.
    notes : tuple of str
        What is worth knowing.
    """

    study = "logs"

    logs: tuple[ComparedLog, ...]
    aligned_at: float
    target: Target
    changes: tuple[MarkChange, ...]
    along: SpeedGap
    notes: tuple[str, ...]

    def of(self, setup: Setup) -> tuple[ComparedLog, ...]:
        """Logs of one set-up."""
        return tuple(log for log in self.logs if log.setup is setup)

    @property
    def verdict(self) -> MarkChange:
        """The mark that the verdict is about."""
        return next(each for each in self.changes if same_target(each.target, self.target))

    def aligned(self, log: ComparedLog) -> Trace:
        """A run with time zero where the logs are aligned."""
        return since(log.trace, self.aligned_at)

    @property
    def known_to(self) -> float:
        """How well the logs show the first foot: half the interval of 95 % of the worst; nan where one does not [s]."""
        starts = [log.run.account.onset for log in self.logs]
        return max((each.foot_within if each else nan for each in starts), key=lambda within: (isnan(within), within))


def compare_logs(
    before: Sequence[str | os.PathLike[str]],
    after: Sequence[str | os.PathLike[str]] = (),
    *,
    options: LogOptions | None = None,
    align_at: float | None = None,
    targets: Sequence[str] = (),
    correcting: Correcting | None = None,
    changes: Sequence[Mapping[str, object]] = (),
    units: System | str = System.METRIC,
) -> LogComparison:
    """Measure several logs side by side, and say whether a change of set-up shows above the scatter of repeat runs.

    Parameters
    ----------
    before : sequence of path-like
        Logs of the set-up before the change.
    after : sequence of path-like
        Logs of the set-up after it; none: the logs are only set side by side.
    options : LogOptions, optional
        How they are read; it holds for all.
    align_at : float, optional
        Speed at which all logs have time zero [m/s]; left out, the first foot where all start from rest, else the
        lowest speed that all of them pass.
    targets : sequence of str
        Further marks, such as "80 km/h to 120 km/h"; the verdict is about the first. Left out, it is about the last
        usual mark that every log reached.
    correcting : Correcting, optional
        The car and the conditions that all logs are brought to; left out, nothing is corrected.
    changes : sequence of mapping of str to object
        For each log, before then after, what was different on its day, such as ``{"air.temperature": "4 degC"}``.
    units : System or str
        In which speeds are round and stated where nobody asked for them: km/h (``"metric"``), or mph (``"us"``).

    Returns
    -------
    LogComparison
        Marks, differences with their intervals, and the gap along speed.

    Raises
    ------
    InputError
        A log cannot be used, or the logs share no range of speed.
    UsageError
        A log is named twice, or conditions are stated without a car.
    """
    paths = [*before, *after]
    _refuse_paths(before, paths)
    if len(changes) > len(paths) or (any(changes) and correcting is None):
        raise UsageError("conditions are stated for a log; name a scenario too, for its car and its conditions")
    wanted = tuple(target_written(text, STANDARD, _WRITTEN_OUT) for text in targets)
    setups = [Setup.BEFORE] * len(before) + [Setup.AFTER] * len(after)
    days = [*changes, *[{}] * (len(paths) - len(changes))]
    logs = tuple(
        _compared(setup, read_log(path, options), correcting, day, wanted)
        for setup, path, day in zip(setups, paths, days, strict=True)
    )
    shown_in = display_unit(Dimension.SPEED, system_named(units))
    aligned, account = _aligned_at(logs, align_at, shown_in)
    top = _top(logs)
    if top - aligned < _SHORTEST:
        raise _nothing_shared(logs, aligned, shown_in)
    grid = np.arange((aligned or _fastest_at_foot(logs)) + _STEP, top, _STEP)
    if not wanted and aligned:
        wanted = (_span(aligned, top, shown_in),)
        logs = tuple(replace(log, marks=marks(log.trace, wanted)) for log in logs)
    every = tuple(_mark_changes(logs))
    target = wanted[0] if wanted else _last_reached(every)
    notes = (*account, *_notes(logs, correcting))
    return LogComparison(logs, aligned, target, every, _along(logs, aligned, grid), notes)


def read_logs(
    paths: Sequence[str | os.PathLike[str]], options: LogOptions | None, days: Days, scenario: Scenario
) -> tuple[LoggedRun, ...]:
    """Logs of one set-up, in the conditions of a scenario where it is stated what their days had.

    Parameters
    ----------
    paths : sequence of path-like
        The logs.
    options : LogOptions or None
        How they are read; wheels roll on the tyres of the scenario where no radii are given.
    days : Days
        What was different on their days.
    scenario : Scenario
        The car, and the conditions that they are brought to.

    Raises
    ------
    InputError
        A log cannot be used.
    UsageError
        No log is corrected for what is stated.
    """
    correcting, changes, known = days.correcting(scenario), days.of(len(paths)), with_radii(options, scenario)
    runs = [read_log(path, known) for path in paths]
    return tuple(
        _compared(Setup.BEFORE, *each, ()).brought for each in zip(runs, [correcting] * len(runs), changes, strict=True)
    )


def _refuse_paths(before: Sequence[str | os.PathLike[str]], paths: Sequence[str | os.PathLike[str]]) -> None:
    if not before:
        raise UsageError("no log of the set-up before the change; name one at least")
    if len(paths) > MOST_LOGS:
        raise UsageError(f"{len(paths)} logs are named; name {MOST_LOGS} at most")
    seen: dict[str, str] = {}
    for path in paths:
        real = os.path.realpath(path)
        if real in seen:
            raise UsageError(f"{quoted(str(path))} is named twice; a run and its copy have no scatter")
        seen[real] = str(path)


def _compared(
    setup: Setup, run: LoggedRun, correcting: Correcting | None, day: Mapping[str, object], wanted: tuple[Target, ...]
) -> ComparedLog:
    trace, done = run.trace, ""
    place = shown(Path(run.source))
    refuse_short(run)
    if correcting is not None:
        trace, done = brought_to(trace, correcting, day_of(correcting.scenario, day, place), place)
    return ComparedLog(setup, run, trace, marks(trace, wanted), done)


# --- alignment ---


def _top(logs: Sequence[ComparedLog]) -> float:
    return min(float(log.trace["speed"].max()) for log in logs)


def _aligned_at(logs: Sequence[ComparedLog], asked: float | None, unit: DisplayUnit) -> tuple[float, list[str]]:
    """Speed at which the logs are aligned, and why where nobody asked."""
    lowest = max(float(log.trace["speed"][0]) for log in logs)
    if asked is not None:
        low = next((log for log in logs if not log.trace["speed"][0] <= asked < log.trace["speed"].max()), None)
        if low is not None:
            ends = " to ".join(
                f"{unit.of(float(each)):.1f}" for each in (low.trace["speed"][0], low.trace["speed"].max())
            )
            why = f"is not passed in {shown(Path(low.run.source))}, which runs from {ends} {unit.label}"
            typed = f"{unit.of(asked):.4g} {unit.label}"
            raise InputError(Fault("--align-at", typed, why, "take a speed that every log passes"))
        return asked, []
    if lowest <= AT_REST:
        return 0.0, []
    speed = float(unit.si(np.ceil(unit.of(lowest) / _ROUND) * _ROUND))
    at = f"{unit.of(speed):.0f} {unit.label}"
    return speed, [f"not every log starts from rest: time zero is where each passes {at} (--align-at changes it)"]


def _nothing_shared(logs: Sequence[ComparedLog], aligned: float, unit: DisplayUnit) -> InputError:
    low = min(logs, key=lambda log: float(log.trace["speed"].max()))
    top, start = (f"{unit.of(each):.1f} {unit.label}" for each in (float(low.trace["speed"].max()), aligned))
    why = f"reaches {top}, and the logs are aligned at {start}: too little speed in common"
    return InputError(Fault(shown(Path(low.run.source)), "", why, "leave this log out, or align at a lower speed"))


def _span(low: float, top: float, unit: DisplayUnit) -> Target:
    """Span from where logs are aligned to the last round speed that all of them reach."""
    step = 2.0 * _ROUND
    end = float(unit.si(np.floor(unit.of(top - 1e-6) / step) * step))
    end = end if end > low else top
    ends = " to ".join(f"{unit.of(each):.4g} {unit.label}" for each in (low, end))
    return Target(ends, Kind.SPAN, low, end)


def _fastest_at_foot(logs: Sequence[ComparedLog]) -> float:
    """Speed that every log has reached only after its first foot [m/s]."""
    return max(float(value_at(log.trace, "speed", begins(log.trace, 0.0))) for log in logs)


# --- differences ---


def _mark_changes(logs: Sequence[ComparedLog]) -> Iterator[MarkChange]:
    """Every mark that a log reached, each once."""
    seen: list[Target] = []
    for n, result in enumerate(logs[0].marks):
        times = tuple(clocked(log.marks[n]) for log in logs)
        if all(map(isnan, times)) or any(same_target(result.target, other) for other in seen):
            continue
        seen.append(result.target)
        first, second = ([time for log, time in zip(logs, times, strict=True) if log.setup is setup] for setup in Setup)
        yield MarkChange(result.target, times, change(first, second) if second else None, Group.of(first))


def _last_reached(changes: Sequence[MarkChange]) -> Target:
    """The mark that takes longest of those that every log reached."""
    reached = [each for each in changes if all(map(isfinite, each.times))]
    if not reached:
        raise UsageError('no usual mark is reached by every log; name one with --for, such as "80 km/h to 120 km/h"')
    return max(reached, key=lambda each: each.times[0]).target


def _along(logs: Sequence[ComparedLog], aligned: float, grid: Array) -> SpeedGap:
    """Gap along speed; all logs pass every speed of the grid."""
    times = [np.interp(grid, *rise(log.trace)) - begins(log.trace, aligned) for log in logs]
    first, second = ([t for log, t in zip(logs, times, strict=True) if log.setup is setup] for setup in Setup)
    if not second:
        nothing = np.full(grid.size, np.nan)
        return SpeedGap(grid, nothing, nothing, nothing)
    each = [change([t[k] for t in first], [t[k] for t in second]) for k in range(grid.size)]
    gap, low, high = (np.array([getattr(one, name) for one in each]) for name in ("gap", "low", "high"))
    return SpeedGap(grid, gap, low, high)


def _notes(logs: Sequence[ComparedLog], correcting: Correcting | None) -> Iterator[str]:
    of_all = set(logs[0].run.account.notes).intersection(*(log.run.account.notes for log in logs))
    yield from (note for note in logs[0].run.account.notes if note in of_all)
    for log in logs:
        yield from (f"{shown(Path(log.run.source))}: {note}" for note in log.run.account.notes if note not in of_all)
    if correcting is None:
        yield (
            "nothing is corrected: weather, wind, grade and load count as part of the change; --scenario and --for-log "
            "state them"
        )
    contents: dict[bytes, str] = {}
    for log in logs:
        key = log.run.trace["speed"].tobytes()
        if key in contents:
            yield (f"{shown(Path(log.run.source))} {COPY} {contents[key]}: a copy has no scatter of its own")
        contents.setdefault(key, shown(Path(log.run.source)))
