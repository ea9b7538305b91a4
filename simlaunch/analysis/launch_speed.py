"""The launch speed that suits a car best, where the scenario leaves it open: `launch.engine_speed = "best"`.

The quickest speed by itself may hang on a few revolutions that no driver and no control keeps. So the speed is the
middle of the range about the quickest one in which the time is within `FLAT` of it.

It belongs to a curve, a pedal and a target. A study that takes something away from a car, or draws its grip, keeps the
speed of the car as described: a driver chooses it before the start.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from simlaunch.metrics.many import measure_many
from simlaunch.metrics.marks import Target
from simlaunch.physics.engine import limiter_start
from simlaunch.record import CAR, FOOT, Coupling, Record
from simlaunch.simulation.batch import on_threads
from simlaunch.simulation.run import complete

Array = NDArray[np.float64]
Cars = NDArray[np.void]

FLAT = 0.005
"""Times within this of the quickest count as equal: half of what is worth naming [s]."""

BESIDE = 500.0
"""How far beside the speed it is stated what another speed costs [rpm]."""

_RPM = np.pi / 30.0
_COARSE, _FINE, _EDGE = 25, 15, 7  # launches over all speeds, about the quickest, and at each end of the flat range
_TOLERANCE = 1e-4  # of each step, whatever the study's: so that the same car has the same speed in every study [-]
_BEYOND = 1.005
_MOST_KEPT = 2048


@dataclass(frozen=True)
class LaunchSpeed:
    """The launch speed that was found for one car.

    Parameters
    ----------
    target : Target
        What the time is taken to.
    speed : float
        Engine speed: the middle of the flat range; against a converter all it lets, where that lies in the range
        [rad/s].
    time : float
        Time with it; nan where no launch speed gets there [s].
    low, high : float
        Flat range: all times in it, as far as launched, are within `FLAT` of the quickest [rad/s].
    quickest : float
        Time at the quickest speed of all that were tried [s].
    below, above : float
        By how much the car is later when it is launched `BESIDE` lower or higher; nan where it cannot be, or does not
        get there [s].
    reach : float
        Highest launch speed of the car: where the rev limiter begins, or what a converter lets [rad/s].
    converter : bool
        Whether a converter decides the speed: the car is quickest with all that it lets.
    """

    target: Target
    speed: float
    time: float
    low: float
    high: float
    quickest: float
    below: float
    above: float
    reach: float
    converter: bool


_kept: OrderedDict[tuple[bytes, Target], LaunchSpeed] = OrderedDict()


def is_open(car: Record) -> bool:
    """Whether the launch speed of a car is still to be found."""
    return bool(np.isnan(car.launch.engine_speed))


def settle(cars: Sequence[Record], target: Target, workers: int | None = None) -> list[LaunchSpeed | None]:
    """Give each car whose launch speed is open the one that suits it best.

    Parameters
    ----------
    cars : sequence of Record
        The cars, changed in place.
    target : Target
        What they are to be quick for. A roll has no launch speed: its cars get their idle speed.
    workers : int, optional
        Threads; one for each core if left out.

    Returns
    -------
    list of LaunchSpeed or None
        None for a car whose speed is stated, and for a roll.
    """
    wanted = [k for k, car in enumerate(cars) if is_open(car)]
    found: list[LaunchSpeed | None] = [None] * len(cars)
    if target.roll is not None:
        for k in wanted:
            cars[k].launch.engine_speed = cars[k].engine.idle
        return found
    bare = [_bare(cars[k], target) for k in wanted]
    keys = [(car.tobytes(), target) for car in bare]
    missing = {key: car for key, car in zip(keys, bare, strict=True) if key not in _kept}
    now = dict(zip(missing, _sought(list(missing.values()), target, workers), strict=True)) if missing else {}
    for k, key in zip(wanted, keys, strict=True):
        each = now.get(key) or _kept[key]
        cars[k].launch.engine_speed = each.speed
        found[k] = each
    _kept.update(now)
    while len(_kept) > _MOST_KEPT:
        _kept.popitem(last=False)
    return found


def _bare(car: Record, target: Target) -> Record:
    """The car, complete, that runs to the target and no farther."""
    bare = car.copy()
    complete(bare)
    bare.launch.engine_speed = np.nan
    bare.launch.roll_speed, bare.launch.hold_gear = 0.0, 0
    bare.run.stop_distance = _BEYOND * target.end + FOOT if target.by_distance else 0.0
    bare.run.stop_speed = 0.0 if target.by_distance else _BEYOND * target.end
    return bare


def _highest(car: Record) -> float:
    """Highest speed at which a car can be launched [rad/s]."""
    other = car.copy()
    other.launch.engine_speed = limiter_start(car.engine) - _RPM
    complete(other)
    return float(other.launch.engine_speed)


def _sought(cars: Sequence[Record], target: Target, workers: int | None) -> list[LaunchSpeed]:
    """The best launch speed of each car, all cars step by step together."""
    tried = [_Tried(car, target) for car in cars]
    for next_speeds in (_Tried.over_all, _Tried.about_the_quickest, _Tried.at_the_ends, _Tried.at_last):
        speeds = [next_speeds(each) for each in tried]
        times = iter(_times([each.car for each in tried], speeds, target, workers).tolist())
        for each, more in zip(tried, speeds, strict=True):
            each.add(more, [next(times) for _ in more])
    return [each.found() for each in tried]


def _times(cars: Sequence[Record], speeds: Sequence[Sequence[float]], target: Target, workers: int | None) -> Array:
    """Time of every car with every one of its speeds; infinite where it does not get there [s]."""
    many: Cars = np.zeros(sum(map(len, speeds)), CAR)
    pairs = ((car, speed) for car, several in zip(cars, speeds, strict=True) for speed in several)
    for place, (car, speed) in enumerate(pairs):
        many[place] = car
        many[place]["launch"]["engine_speed"] = speed

    def some(piece: slice) -> Array:
        return measure_many(many[piece], (target,), _TOLERANCE, times_only=True).values[:, 0]

    times = np.concatenate(list(on_threads(some, len(many), workers)))
    return np.asarray(np.where(np.isnan(times), np.inf, times))


class _Tried:
    """What was tried with one car."""

    def __init__(self, car: Record, target: Target) -> None:
        self.car, self.target = car, target
        self.least, self.most = float(car.engine.idle), _highest(car)
        self.least = min(self.least, self.most)
        self.times: dict[float, float] = {}

    def add(self, speeds: Sequence[float], times: Sequence[float]) -> None:
        """Note some launches."""
        self.times.update(zip(speeds, times, strict=True))

    @property
    def _in_order(self) -> list[float]:
        return sorted(self.times)

    @property
    def _quickest(self) -> float:
        return min(self._in_order, key=lambda speed: self.times[speed])

    def over_all(self) -> list[float]:
        """From the lowest to the highest speed."""
        return [float(each) for each in np.linspace(self.least, self.most, _COARSE)]

    def about_the_quickest(self) -> list[float]:
        """Between the neighbours of the quickest."""
        speeds = self._in_order
        place = speeds.index(self._quickest)
        return _between(speeds[max(place - 1, 0)], speeds[min(place + 1, len(speeds) - 1)], _FINE)

    def flat(self) -> tuple[int, int]:
        """Places of the first and the last speed, about the quickest, that are as good as it."""
        speeds = self._in_order
        first = last = speeds.index(self._quickest)
        most = self.times[self._quickest] + FLAT
        while first > 0 and self.times[speeds[first - 1]] <= most:
            first -= 1
        while last < len(speeds) - 1 and self.times[speeds[last + 1]] <= most:
            last += 1
        return first, last

    def at_the_ends(self) -> list[float]:
        """Just outside either end of the flat range."""
        speeds, (first, last) = self._in_order, self.flat()
        below = _between(speeds[first - 1], speeds[first], _EDGE) if first > 0 else []
        above = _between(speeds[last], speeds[last + 1], _EDGE) if last < len(speeds) - 1 else []
        return below + above

    @property
    def _chosen(self) -> float:
        speeds, (first, last) = self._in_order, self.flat()
        if self._by_converter:
            return speeds[last]
        return 0.5 * (speeds[first] + speeds[last])

    @property
    def _by_converter(self) -> bool:
        held = int(self.car.coupling.kind) == int(Coupling.TORQUE_CONVERTER)
        return held and self.flat()[1] == len(self.times) - 1

    def at_last(self) -> list[float]:
        """The middle of the flat range, and speeds beside it."""
        self.chosen, self.converter = self._chosen, self._by_converter
        ends = [self._in_order[place] for place in self.flat()]
        self.low, self.high = ends
        beside = [self.chosen + way * BESIDE * _RPM for way in (-1.0, 1.0)]
        self.beside = [each if self.least <= each <= self.most else None for each in beside]
        return [self.chosen, *(each for each in self.beside if each is not None)]

    def found(self) -> LaunchSpeed:
        """What came of it; the quickest speed itself where the middle of the range is no part of it."""
        least = min(self.times.values())
        if not self.times[self.chosen] <= least + FLAT:
            self.chosen = self.low = self.high = self._quickest
        time = self.times[self.chosen]
        below, above = (
            self.times[each] - time if each is not None and np.isfinite(self.times[each]) else np.nan
            for each in self.beside
        )
        time, least = (each if np.isfinite(each) else np.nan for each in (time, least))
        return LaunchSpeed(
            self.target, self.chosen, time, self.low, self.high, least, below, above, self.most, self.converter
        )


def _between(low: float, high: float, count: int) -> list[float]:
    return [float(each) for each in np.linspace(low, high, count + 2)[1:-1]] if high > low else []
