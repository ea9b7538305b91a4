"""Times to speeds, between speeds, and over distances."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from math import inf, isnan, nan
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from simlaunch.compiled import entry, inline, part
from simlaunch.errors import UsageError
from simlaunch.metrics.crossing import Passing, curve_at, curve_of, next_passing, passing, with_distance
from simlaunch.metrics.samples import Samples
from simlaunch.record import FOOT
from simlaunch.simulation.trace import Trace

Array = NDArray[np.float64]

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
    ROLL = "time from a rolling start to a speed"
    ROLL_DISTANCE = "time from a rolling start over a distance"


@dataclass(frozen=True)
class Roll:
    """How a car rolls before the driver asks for all there is.

    Parameters
    ----------
    speed : float
        Road speed [m/s].
    gear : int
        Gear, first is 1; 0: the one that a driver would take [-].
    shifting : bool
        Whether gears are left.
    boost : float
        Share of the boost that is there at the start [-].
    """

    speed: float
    gear: int = 0
    shifting: bool = True
    boost: float = 0.0


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
    roll: Roll | None = None
    """The rolling start; None: from standstill."""

    @property
    def by_distance(self) -> bool:
        """Whether it ends at a distance; else at a speed."""
        return self.kind in (Kind.DISTANCE, Kind.ROLL_DISTANCE)

    def __post_init__(self) -> None:
        if not 0.0 <= self.start < self.end < np.inf:
            raise UsageError(f"{self.label}: {self.start:g} to {self.end:g} does not rise; start from 0 or more")
        if (self.kind is Kind.SPEED and self.start > 0.0) or (self.kind is Kind.SPAN and self.start == 0.0):
            raise UsageError(f"{self.label}: a time from rest starts at 0, a span of speeds above 0")
        if (self.kind in (Kind.ROLL, Kind.ROLL_DISTANCE)) != (self.roll is not None):
            raise UsageError(f"{self.label}: a rolling start goes with a time from one")


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


class MarkNumbers(NamedTuple):
    """What was measured for one target; see `MarkResult` for what the numbers mean."""

    time: float
    time_after_rollout: float
    speed: float
    trap_speed: float


class _Road(NamedTuple):
    """What the times of every target are read from."""

    speed: Samples
    distance: Samples
    from_rest: bool
    foot: Passing  # when the car had moved one foot


_NOTHING = MarkNumbers(nan, nan, nan, nan)
_KINDS = tuple(Kind)
_SPEED, _SPAN, _ROLL, _ROLL_DISTANCE = map(_KINDS.index, (Kind.SPEED, Kind.SPAN, Kind.ROLL, Kind.ROLL_DISTANCE))


@inline
def at_rest(speed: float) -> bool:
    """Whether a car that has this speed when it is let go starts from rest.

    Parameters
    ----------
    speed : float
        Speed at the first sample from time zero on [m/s].

    Returns
    -------
    bool
        False where the speed is not known.
    """
    return abs(speed) <= AT_REST


@inline
def _after_foot(time: float, road: _Road) -> float:
    """Time since the car had moved one foot; nan where it had not yet [s]."""
    since = time - road.foot.time
    return since if since >= 0.0 else nan


@part
def _speed_mark(end: float, road: _Road, known: Passing) -> tuple[MarkNumbers, Passing]:
    if not road.from_rest:
        return _NOTHING, known
    passed = next_passing(road.speed, end, known)
    speed = nan if isnan(passed.time) else end
    return MarkNumbers(passed.time, _after_foot(passed.time, road), speed, nan), passed


@part
def _span_mark(start: float, end: float, road: _Road, known: Passing) -> tuple[MarkNumbers, Passing]:
    first = next_passing(road.speed, start, known)
    time = passing(road.speed, end, first.time, first.sample).time
    return MarkNumbers(time - first.time, nan, nan if isnan(time) else end, nan), first


@part
def _roll_mark(end: float, road: _Road, known: Passing) -> tuple[MarkNumbers, Passing]:
    """Timed from the moment at which the driver asks for all there is, which is time zero of the record."""
    passed = next_passing(road.speed, end, known)
    return MarkNumbers(passed.time, nan, nan if isnan(passed.time) else end, nan), passed


@part
def _roll_distance_mark(end: float, road: _Road, known: Passing) -> tuple[MarkNumbers, Passing]:
    passed = next_passing(road.distance, end, known)
    return MarkNumbers(passed.time, nan, curve_at(road.speed, passed.time), nan), passed


@part
def _trap_speed(end: float, passed: float, entered: float) -> float:
    """Mean speed over the trap that ends at a distance; nan where a gap in the record swallows the trap [m/s]."""
    return TRAP / (passed - entered) if end >= SHORTEST_WITH_TRAP and passed > entered else nan


@part
def _distance_mark(start: float, end: float, road: _Road, known: Passing) -> tuple[MarkNumbers, Passing]:
    entered = next_passing(road.distance, end - TRAP, known) if end >= SHORTEST_WITH_TRAP else known
    passed = next_passing(road.distance, end, entered)
    speed, trap = curve_at(road.speed, passed.time), _trap_speed(end, passed.time, entered.time)
    if start > 0.0:
        first = next_passing(road.distance, start, known)
        return MarkNumbers(passed.time - first.time, nan, speed, trap), passed
    if not road.from_rest:
        return _NOTHING, passed
    beyond_foot = next_passing(road.distance, end + FOOT, passed)
    return MarkNumbers(passed.time, _after_foot(beyond_foot.time, road), speed, trap), passed


@entry
def find_marks(speed: Samples, distance: Samples, from_rest: bool, targets: Array, out: Array) -> None:
    """Times and speeds for every target; quickest where the targets of a kind stand in rising order.

    Parameters
    ----------
    speed : ndarray of `POINT`, shape (n,)
        Speed [m/s].
    distance : ndarray of `POINT`, shape (m,)
        Distance [m].
    from_rest : bool
        Whether the record is at rest at time zero.
    targets : ndarray, shape (k, 3)
        Place of the kind in `Kind`, then start and end of each target [m/s] or [m].
    out : ndarray, shape (k, 4)
        Filled in the order of `MarkNumbers` [s], [s], [m/s], [m/s].
    """
    faster = Passing(-inf, nan, 0)
    along = next_passing(distance, FOOT, faster)
    road = _Road(speed, distance, from_rest, along)
    for i in range(len(targets)):
        kind, start, end = targets[i, 0], targets[i, 1], targets[i, 2]
        if kind == _SPEED:
            found, faster = _speed_mark(end, road, faster)
        elif kind == _SPAN:
            found, faster = _span_mark(start, end, road, faster)
        elif kind == _ROLL:
            found, faster = _roll_mark(end, road, faster)
        elif kind == _ROLL_DISTANCE:
            found, along = _roll_distance_mark(end, road, along)
        else:
            found, along = _distance_mark(start, end, road, along)
        out[i, 0], out[i, 1], out[i, 2], out[i, 3] = found


def target_numbers(targets: tuple[Target, ...]) -> Array:
    """Targets as plain numbers.

    Parameters
    ----------
    targets : tuple of Target
        The targets.

    Returns
    -------
    ndarray, shape (m, 3)
        Place of the kind in `Kind`, start and end of each [m/s] or [m].
    """
    rows = [(_KINDS.index(target.kind), target.start, target.end) for target in targets]
    return np.array(rows, np.float64).reshape(len(rows), 3)


def _measured(trace: Trace, targets: tuple[Target, ...]) -> tuple[MarkResult, ...]:
    whole = with_distance(trace)
    found = np.empty((len(targets), len(MarkNumbers._fields)))
    begun = whole["speed"][whole.time >= 0.0]
    from_rest = begun.size > 0 and bool(at_rest(begun[0]))
    find_marks(curve_of(whole, "speed"), curve_of(whole, "distance"), from_rest, target_numbers(targets), found)
    return tuple(MarkResult(target, *row) for target, row in zip(targets, found.tolist(), strict=True))


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
    return _measured(trace, (target,))[0]


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
    return _measured(trace, (*STANDARD, *extra))
