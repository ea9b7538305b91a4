"""Logged runs beside calculated ones: the same marks by the same definitions, and speed over time from one zero.

The logs are those of one set-up; their mean and their scatter stand beside each calculated run. Where every run starts
from rest, time zero is the moment at which the car moves off; otherwise it is where each passes a common speed.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import isfinite, nan
from pathlib import Path

import numpy as np

from simlaunch.analysis.log import LoggedRun
from simlaunch.errors import Fault, InputError
from simlaunch.launching.goals import same_target
from simlaunch.logged.scatter import Group
from simlaunch.metrics.marks import AT_REST, MarkResult, Target, marks
from simlaunch.readers.delimited import shown
from simlaunch.simulation.trace import Trace

_FEWEST = 3  # samples of a run


@dataclass(frozen=True)
class Calculated:
    """A calculated run.

    Parameters
    ----------
    name : str
        What it is called.
    trace : Trace
        The run; at least time and speed.
    marks : tuple of MarkResult
        Its marks.
    """

    name: str
    trace: Trace
    marks: tuple[MarkResult, ...]

    def time(self, target: Target) -> float:
        """Time of a mark; nan where it was not reached [s]."""
        return next((each.time for each in self.marks if same_target(each.target, target)), nan)


@dataclass(frozen=True)
class MarkBeside:
    """One mark, logged and calculated.

    Parameters
    ----------
    target : Target
        The mark.
    logged : Group
        Of all logs.
    calculated : tuple of float
        With each calculated run; nan where it was not reached [s].
    """

    target: Target
    logged: Group
    calculated: tuple[float, ...]


@dataclass(frozen=True)
class LogsBeside:
    """Logs beside calculated runs.

    Parameters
    ----------
    logs : tuple of LoggedRun
        The logs.
    runs : tuple of Calculated
        The calculated runs.
    aligned_at : float
        Speed at which all have time zero; 0 where they start from rest [m/s].
    marks : tuple of MarkBeside
        Marks that every log reached.
    """

    logs: tuple[LoggedRun, ...]
    runs: tuple[Calculated, ...]
    aligned_at: float
    marks: tuple[MarkBeside, ...]

    def aligned(self, trace: Trace) -> Trace:
        """A run with time zero where all have it, from there on."""
        zero = 0.0
        if self.aligned_at:
            highest = np.maximum.accumulate(trace["speed"])
            rises = np.concatenate([[True], np.diff(highest) > 0.0])
            zero = float(np.interp(self.aligned_at, highest[rises], trace.time[rises]))
        kept = trace.time >= zero
        return Trace(trace.time[kept] - zero, {"speed": trace["speed"][kept]})

    @property
    def last(self) -> MarkBeside | None:
        """The mark that takes longest of those that a calculated run reached too; None where there is none."""
        reached = [each for each in self.marks if any(map(isfinite, each.calculated))]
        return max(reached, key=lambda each: each.logged.mean, default=None)

    def mark(self, target: Target) -> MarkBeside | None:
        """A certain mark, where every log reached it."""
        return next((each for each in self.marks if same_target(each.target, target)), None)


def beside(logs: Sequence[LoggedRun], runs: Sequence[Calculated], extra: Sequence[Target] = ()) -> LogsBeside:
    """Lay logs beside calculated runs.

    Parameters
    ----------
    logs : sequence of LoggedRun
        One at least, of one set-up.
    runs : sequence of Calculated
        The calculated runs.
    extra : sequence of Target
        Marks beside the usual ones.

    Returns
    -------
    LogsBeside
        Marks of both, and from where they are aligned.

    Raises
    ------
    InputError
        A log holds too few samples.
    """
    for log in logs:
        refuse_short(log)
    begins = max(float(log.trace["speed"][0]) for log in logs)
    return LogsBeside(tuple(logs), tuple(runs), begins if begins > AT_REST else 0.0, tuple(_marks(logs, runs, extra)))


def refuse_short(log: LoggedRun) -> None:
    """Refuse a log with which nothing can be compared.

    Raises
    ------
    InputError
        Too few samples.
    """
    if log.trace.time.size < _FEWEST:
        what = f"has {log.trace.time.size} samples in its run"
        raise InputError(Fault(shown(Path(log.source)), "", what, "log a run of some seconds"))


def _marks(logs: Sequence[LoggedRun], runs: Sequence[Calculated], extra: Sequence[Target]) -> Iterator[MarkBeside]:
    seen: list[Target] = []
    every = [marks(log.trace, tuple(extra)) for log in logs]
    for place, first in enumerate(every[0]):
        times = [each[place].time for each in every]
        if any(same_target(first.target, other) for other in seen) or not all(map(isfinite, times)):
            continue
        seen.append(first.target)
        yield MarkBeside(first.target, Group.of(times), tuple(run.time(first.target) for run in runs))


def calculated(runs: Mapping[str, Trace], extra: Sequence[Target] = ()) -> list[Calculated]:
    """Calculated runs by name, measured."""
    return [Calculated(name, trace, marks(trace, tuple(extra))) for name, trace in runs.items()]
