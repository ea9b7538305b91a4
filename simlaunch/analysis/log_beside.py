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
from simlaunch.logged.clock import begins, clocked, since
from simlaunch.logged.scatter import Group
from simlaunch.logged.wheels import wheel_uses
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
class WheelBeside:
    """Slip distance of an axle or a wheel, logged and calculated.

    Parameters
    ----------
    name : str
        Which.
    logged : Group
        Of all logs [m].
    calculated : tuple of float
        With each calculated run; nan where it has no speed of these wheels [m].
    """

    name: str
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
    wheels : tuple of WheelBeside
        Axles and wheels whose speed is in every log; none without radii.
    wheels_until : float
        Their slip distance is that up to this speed, which every run reaches [m/s].
    """

    logs: tuple[LoggedRun, ...]
    runs: tuple[Calculated, ...]
    aligned_at: float
    marks: tuple[MarkBeside, ...]
    wheels: tuple[WheelBeside, ...]
    wheels_until: float

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
    fastest = max(float(log.trace["speed"][0]) for log in logs)
    traces = [*(log.trace for log in logs), *(run.trace for run in runs)]
    top = min(float(trace["speed"].max()) for trace in traces)
    aligned = fastest if fastest > AT_REST else 0.0
    found = tuple(_wheels(logs, runs, aligned, top)) if top > aligned else ()
    return LogsBeside(tuple(logs), tuple(runs), aligned, tuple(_marks(logs, runs, extra)), found, top)


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


def _wheels(logs: Sequence[LoggedRun], runs: Sequence[Calculated], aligned: float, top: float) -> Iterator[WheelBeside]:
    """Slip distance of each axle and wheel from where all are aligned up to a speed that all reach."""
    if not runs or any(log.radii is None or not log.wheels for log in logs):
        return
    radii = next(log.radii for log in logs if log.radii is not None)
    logged = [_slips(log.trace, log.radii or radii, aligned, top) for log in logs]
    calculated = [_slips(run.trace, radii, aligned, top) for run in runs]
    for axle, side in logged[0]:
        if all((axle, side) in each for each in logged):
            # an axle whose sides are alike in the calculated car has both its wheels at the axle's speed
            values = tuple(each.get((axle, side), each.get((axle, ""), nan)) for each in calculated)
            own = Group.of([each[axle, side] for each in logged])
            yield WheelBeside(f"{axle} {side or 'axle'}", own, values)


def _slips(trace: Trace, radii: tuple[float, float], aligned: float, top: float) -> dict[tuple[str, str], float]:
    """Slip distance by axle and side [m]."""
    first = begins(trace, aligned) if aligned else 0.0  # from rest, wheels that stand add nothing
    kept = (trace.time >= first) & (trace.time <= begins(trace, top))
    cut = Trace(trace.time[kept] - first, {name: values[kept] for name, values in trace.channels.items()})
    return {(each.axle, each.side): each.slip_distance for each in wheel_uses(cut, radii)}


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
