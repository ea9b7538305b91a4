"""Times to speeds, between speeds, and over distances."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum
from math import nan

import numpy as np

from simlaunch.errors import UsageError
from simlaunch.launch.trace import Trace
from simlaunch.measure.crossing import first_time, value_at, with_distance

FOOT = 0.3048
"""Length of the rollout [m]."""

TRAP = 66.0 * FOOT
"""Length of the speed trap in front of a distance mark [m]."""

SHORTEST_WITH_TRAP = 100.0
"""A distance shorter than this has no trap speed [m]."""

AT_REST = 1.0
"""A record that is faster than this at time zero did not start from rest [m/s]."""

_MPH = 0.44704
_KMH = 1.0 / 3.6


class Kind(Enum):
    """What a mark is made of."""

    SPEED = "time from rest to a speed"
    SPAN = "time between two speeds"
    DISTANCE = "time from rest over a distance, or between two distances"


@dataclass(frozen=True)
class Target:
    """A speed, a span of speeds or a distance whose time is wanted."""

    label: str
    """What it is called where it is printed."""
    kind: Kind
    """What it is made of."""
    start: float
    """Speed [m/s] or distance [m] at which the time begins; zero: from rest."""
    end: float
    """Speed [m/s] or distance [m] at which the time ends."""

    def __post_init__(self) -> None:
        if not 0.0 <= self.start < self.end < np.inf:
            raise UsageError(f"{self.label}: {self.start:g} to {self.end:g} does not rise; start from 0 or more")
        if (self.kind is Kind.SPEED and self.start > 0.0) or (self.kind is Kind.SPAN and self.start == 0.0):
            raise UsageError(f"{self.label}: a time from rest starts at 0, a span of speeds above 0")


@dataclass(frozen=True)
class MarkResult:
    """What was measured for one target; nan where it was not reached or is not defined."""

    target: Target
    """What was asked."""
    time: float
    """Without rollout: from the moment the car is let go; between two speeds or distances, from the first of
    them [s]."""
    time_after_rollout: float
    """With one-foot rollout: from the moment the car has moved one foot. A distance is then measured from
    that foot too. Not defined between two speeds or distances [s]."""
    speed: float
    """Speed at the mark, without rollout [m/s]."""
    trap_speed: float
    """Mean speed over the last 66 ft before a distance mark of 100 m or more, without rollout [m/s]."""


def _speeds() -> tuple[Target, ...]:
    return (
        Target("0-60 mph", Kind.SPEED, 0.0, 60.0 * _MPH),
        Target("0-100 km/h", Kind.SPEED, 0.0, 100.0 * _KMH),
        Target("0-200 km/h", Kind.SPEED, 0.0, 200.0 * _KMH),
        Target("100-200 km/h", Kind.SPAN, 100.0 * _KMH, 200.0 * _KMH),
        Target("60-130 mph", Kind.SPAN, 60.0 * _MPH, 130.0 * _MPH),
    )


def _distances() -> tuple[Target, ...]:
    feet = {"60 ft": 60.0, "330 ft": 330.0, "1/8 mile": 660.0, "1000 ft": 1000.0, "1/4 mile": 1320.0}
    return tuple(Target(label, Kind.DISTANCE, 0.0, length * FOOT) for label, length in feet.items())


STANDARD: tuple[Target, ...] = (*_speeds(), *_distances())
"""The usual speeds, spans and distances (common practice)."""


def _started_from_rest(trace: Trace) -> bool:
    begun = np.flatnonzero(trace.time >= 0.0)
    return begun.size > 0 and bool(abs(trace["speed"][begun[0]]) <= AT_REST)


def _after_foot(trace: Trace, time: float) -> float:
    """Time since the car had moved one foot; nan where it had not yet [s]."""
    since = time - first_time(trace, "distance", FOOT)
    return since if since >= 0.0 else nan


def _speed_mark(trace: Trace, target: Target) -> MarkResult:
    time = first_time(trace, "speed", target.end) if _started_from_rest(trace) else nan
    speed = nan if np.isnan(time) else target.end
    return MarkResult(target, time, _after_foot(trace, time), speed, nan)


def _span_mark(trace: Trace, target: Target) -> MarkResult:
    start = first_time(trace, "speed", target.start)
    end = first_time(trace, "speed", target.end, start)
    return MarkResult(target, end - start, nan, nan if np.isnan(end) else target.end, nan)


def _trap_speed(trace: Trace, distance: float, passed: float) -> float:
    """Mean speed over the trap that ends at a distance [m/s]."""
    if distance < SHORTEST_WITH_TRAP:
        return nan
    return TRAP / (passed - first_time(trace, "distance", distance - TRAP))


def _distance_mark(trace: Trace, target: Target) -> MarkResult:
    passed = first_time(trace, "distance", target.end)
    speed, trap = value_at(trace, "speed", passed), _trap_speed(trace, target.end, passed)
    if target.start > 0.0:
        return MarkResult(target, passed - first_time(trace, "distance", target.start), nan, speed, trap)
    if not _started_from_rest(trace):
        return MarkResult(target, nan, nan, nan, nan)
    beyond_foot = first_time(trace, "distance", target.end + FOOT)
    return MarkResult(target, passed, _after_foot(trace, beyond_foot), speed, trap)


_MEASURED_BY: dict[Kind, Callable[[Trace, Target], MarkResult]] = {
    Kind.SPEED: _speed_mark,
    Kind.SPAN: _span_mark,
    Kind.DISTANCE: _distance_mark,
}


def mark(trace: Trace, target: Target) -> MarkResult:
    """Time, speed and trap speed for one target.

    Parameters
    ----------
    trace : Trace
        Simulated or logged: speed at least. A time from rest needs a record that is at rest at time zero.
    target : Target
        What is wanted.

    Returns
    -------
    MarkResult
        Times [s] and speeds [m/s].

    Raises
    ------
    UsageError
        The trace has no speed.

    Source: one-foot rollout and the 66 ft trap are timing practice of the drag strip (common practice).
    """
    return _MEASURED_BY[target.kind](with_distance(trace), target)


def marks(trace: Trace, extra: tuple[Target, ...] = ()) -> tuple[MarkResult, ...]:
    """The standard marks, then any further ones.

    Parameters
    ----------
    trace : Trace
        Simulated or logged: speed at least.
    extra : tuple of Target
        Further targets.

    Returns
    -------
    tuple of MarkResult
        In the order of `STANDARD`, then of `extra`.

    Raises
    ------
    UsageError
        The trace has no speed.
    """
    whole = with_distance(trace)
    return tuple(mark(whole, target) for target in (*STANDARD, *extra))
