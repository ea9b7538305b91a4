"""Logged runs beside calculated ones: the same marks by the same definitions, and speed over time from one zero.

The logs are those of one set-up; their mean and their scatter stand beside each calculated run. Where every run starts
from rest, time zero is where the car has moved one foot (`clock`); otherwise it is where each passes a common speed.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import isfinite, isnan, nan
from pathlib import Path

from simlaunch.analysis.log import LoggedRun
from simlaunch.errors import Fault, InputError
from simlaunch.launching.goals import same_target
from simlaunch.logged.clock import clocked, since
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
        """Time of a mark by the clock of logs; nan where it was not reached [s]."""
        return next((clocked(each) for each in self.marks if same_target(each.target, target)), nan)


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
        Speed at which all have time zero; 0 where they start from rest and have it at the first foot [m/s].
    marks : tuple of MarkBeside
        Marks that every log reached; times from rest are counted from the first foot.
    """

    logs: tuple[LoggedRun, ...]
    runs: tuple[Calculated, ...]
    aligned_at: float
    marks: tuple[MarkBeside, ...]

    def aligned(self, trace: Trace) -> Trace:
        """A run with time zero where all have it, from there on."""
        whole = since(trace, self.aligned_at)
        kept = whole.time >= 0.0
        return Trace(whole.time[kept], {"speed": whole["speed"][kept]})

    @property
    def known_to(self) -> float:
        """How well the logs show the first foot: half the interval of 95 % of the worst; nan where one does not [s]."""
        starts = [log.account.onset for log in self.logs]
        return max((each.foot_within if each else nan for each in starts), key=lambda within: (isnan(within), within))

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
        times = [clocked(each[place]) for each in every]
        if any(same_target(first.target, other) for other in seen) or not all(map(isfinite, times)):
            continue
        seen.append(first.target)
        yield MarkBeside(first.target, Group.of(times), tuple(run.time(first.target) for run in runs))


def calculated(runs: Mapping[str, Trace], extra: Sequence[Target] = ()) -> list[Calculated]:
    """Calculated runs by name, measured."""
    return [Calculated(name, trace, marks(trace, tuple(extra))) for name, trace in runs.items()]
