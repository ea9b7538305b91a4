"""The launch speed that suits a car best, where the scenario leaves it open: `launch.engine_speed = "best"`.

The quickest speed by itself may hang on ten revolutions, which no driver and no control keeps. So a speed counts by the
greatest time with it and with `HELD` less and more; and of all speeds about the best that are within `FLAT` of it, the
middle is taken.

It belongs to a curve, a pedal and a target. A study that takes something away from a car, or draws its grip, keeps the
speed of the car as described: a driver chooses it before the start.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from simlaunch.launching.goals import BEYOND
from simlaunch.launching.progress import count
from simlaunch.metrics.many import measure_many
from simlaunch.metrics.marks import Target
from simlaunch.physics.engine import limiter_start
from simlaunch.record import CAR, FOOT, Coupling, Record
from simlaunch.simulation.batch import on_threads
from simlaunch.simulation.run import complete
from simlaunch.units.quantity import RPM

Array = NDArray[np.float64]
Cars = NDArray[np.void]

HELD = 100.0
"""How closely a driver holds a launch speed, and the distance between those that are tried (common practice) [rpm]."""

FLAT = 0.005
"""Times within this of the best count as equal: half of what is worth naming [s]."""

BESIDE = 500.0
"""How far beside the speed it is stated what another speed costs [rpm]."""

_TOLERANCE = 1e-4  # of each step, whatever the study's: so that the same car has the same speed in every study [-]
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
        Flat range: speeds that, held to within `HELD`, are within `FLAT` of the best [rad/s].
    quickest : float
        Time at the quickest speed of all that were tried, whether or not anybody can hold it [s].
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
    bare.run.stop_distance = BEYOND * target.end + FOOT if target.by_distance else 0.0
    bare.run.stop_speed = 0.0 if target.by_distance else BEYOND * target.end
    return bare


def _highest(car: Record) -> float:
    """Highest speed at which a car can be launched [rad/s]."""
    other = car.copy()
    other.launch.engine_speed = limiter_start(car.engine) - RPM
    complete(other)
    return float(other.launch.engine_speed)


def _sought(cars: Sequence[Record], target: Target, workers: int | None) -> list[LaunchSpeed]:
    """The best launch speed of each car, all cars together: over all speeds, then at the chosen one and beside it."""
    grids = [_grid(car) for car in cars]
    times = _times(cars, grids, target, workers)
    chosen = [_chosen(car, grid, tried) for car, grid, tried in zip(cars, grids, times, strict=True)]
    beside = [(each.speed - BESIDE * RPM, each.speed, each.speed + BESIDE * RPM) for each in chosen]
    last = _times(cars, beside, target, workers)
    found = []
    for choice, grid, tried, speeds, (below, time, above) in zip(chosen, grids, times, beside, last, strict=True):
        less, more = (
            float(there - time) if grid[0] <= speed <= grid[-1] and np.isfinite(there - time) else np.nan
            for speed, there in ((speeds[0], below), (speeds[2], above))
        )
        best, quickest = (
            float(each) if np.isfinite(each) else np.nan for each in (time, min(float(tried.min()), float(time)))
        )
        found.append(
            LaunchSpeed(
                target,
                choice.speed,
                best,
                choice.low,
                choice.high,
                quickest,
                less,
                more,
                grid[-1],
                choice.converter,
            )
        )
    return found


def _grid(car: Record) -> tuple[float, ...]:
    """Speeds from idle to the highest, `HELD` apart."""
    most = _highest(car)
    least = min(float(car.engine.idle), most)
    cells = max(int(np.ceil((most - least) / (HELD * RPM) - 1e-9)), 1)
    return tuple(float(each) for each in np.linspace(least, most, cells + 1))


class _Choice(NamedTuple):
    """What is chosen of the speeds that were tried."""

    speed: float
    low: float
    high: float
    converter: bool


def _chosen(car: Record, grid: Sequence[float], times: Array) -> _Choice:
    """The middle of the speeds that, held to within `HELD`, are as good as the best; see `FLAT`."""
    edged = np.concatenate([times[:1], times, times[-1:]])
    held = np.maximum(np.maximum(edged[:-2], edged[2:]), times)
    if not np.isfinite(held).any():  # the car gets there, if at all, with a speed that nobody holds
        held = times
    first = last = int(np.argmin(held))
    most = held[first] + FLAT
    while first > 0 and held[first - 1] <= most:
        first -= 1
    while last < len(grid) - 1 and held[last + 1] <= most:
        last += 1
    by_converter = int(car.coupling.kind) == int(Coupling.TORQUE_CONVERTER) and last == len(grid) - 1
    middle = 0.5 * (grid[first] + grid[last])
    return _Choice(grid[last] if by_converter else middle, grid[first], grid[last], by_converter)


def _times(
    cars: Sequence[Record], speeds: Sequence[Sequence[float]], target: Target, workers: int | None
) -> list[Array]:
    """Time of every car with every one of its speeds; infinite where it does not get there [s]."""
    many: Cars = np.zeros(sum(map(len, speeds)), CAR)
    pairs = ((car, speed) for car, several in zip(cars, speeds, strict=True) for speed in several)
    for place, (car, speed) in enumerate(pairs):
        many[place] = car
        many[place]["launch"]["engine_speed"] = speed

    def some(piece: slice) -> Array:
        return measure_many(many[piece], (target,), _TOLERANCE, times_only=True).values[:, 0]

    parts = []
    for part in on_threads(some, len(many), workers):
        parts.append(part)
        count(len(part))
    times = np.concatenate(parts)
    return np.split(np.where(np.isnan(times), np.inf, times), np.cumsum([len(each) for each in speeds])[:-1])
