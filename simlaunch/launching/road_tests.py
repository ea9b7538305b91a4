"""Two curves test by test: from standstill and from a roll, where another curve may win."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import isnan

import numpy as np

from simlaunch.launching.launches import as_many, measure_all
from simlaunch.launching.ready import aim, runs_in_gear
from simlaunch.metrics.marks import Target
from simlaunch.parameters.fill import lower
from simlaunch.record import Car, Pedal
from simlaunch.scenario.model import Scenario
from simlaunch.simulation.rolling import gear_of_roll
from simlaunch.simulation.run import complete


@dataclass(frozen=True)
class RoadTestGap:
    """One test with two curves, full pedal.

    Parameters
    ----------
    target : Target
        The test.
    first, second : float
        Times; nan where it was not reached [s].
    gears : tuple of int
        Gears in which either curve begins a roll: that of the test, or the one in which the curve is quickest; 0 from
        standstill [-].
    """

    target: Target
    first: float
    second: float
    gears: tuple[int, int] = (0, 0)

    @property
    def gap(self) -> float:
        """Second curve less first [s]."""
        return self.second - self.first

    def turned(self) -> RoadTestGap:
        """The same with the curves exchanged."""
        return RoadTestGap(self.target, self.second, self.first, self.gears[::-1])


def _starts(car: Car, target: Target) -> list[Target]:
    """The test itself, or where it leaves the gear open, the test in each gear that a driver might take."""
    roll = target.roll
    if roll is None or roll.gear:
        return [target]
    likely = gear_of_roll(car, roll.speed) + 1
    near = (likely, likely - 1, likely + 1)
    gears = [gear for gear in near if 1 <= gear <= int(car.gearbox.count) and runs_in_gear(car, gear, roll.speed)]
    return [replace(target, roll=replace(roll, gear=gear)) for gear in gears] or [target]


def quickest(
    cars: Sequence[Car], target: Target, tolerance: float | None = None, workers: int | None = None
) -> list[tuple[float, int]]:
    """Time of a test in the gear that suits each car best, and that gear.

    Parameters
    ----------
    cars : sequence of Car
        The cars, complete.
    target : Target
        The test.
    tolerance : float, optional
        Relative error allowed per step; None: as usual [-].
    workers : int, optional
        Threads; one for each core if left out.

    Returns
    -------
    list of tuple of float and int
        Of each car the time; nan where it was not reached [s]; and the gear, first is 1; 0 from standstill [-].

    Raises
    ------
    UsageError
        A gear in which the engine could not run, or a tolerance out of range.
    """
    starts = [_starts(car, target) for car in cars]
    aimed = [(car, start) for car, several in zip(cars, starts, strict=True) for start in several]
    many = as_many([car for car, _ in aimed])
    for car, (_, start) in zip(many.view(np.recarray), aimed, strict=True):
        aim(car, (start,))
    times = iter(measure_all(many, (target,), tolerance, workers, times_only=True).values[:, 0].tolist())
    found = []
    for several in starts:
        tried = [(next(times), start.roll.gear if start.roll else 0) for start in several]
        found.append(min(tried, key=lambda each: (isnan(each[0]), each[0])))
    return found


def in_its_gear(car: Car, target: Target, tolerance: float | None = None) -> Target:
    """The test, begun in the gear in which a car is quickest where the test leaves it open."""
    if target.roll is None or target.roll.gear:
        return target
    [(_, gear)] = quickest([car], target, tolerance)
    return replace(target, roll=replace(target.roll, gear=gear))


def road_test_gaps(
    scenario: Scenario, first: str, second: str, targets: Sequence[Target], *, tolerance: float | None = None
) -> tuple[RoadTestGap, ...]:
    """Times of two curves in several tests, full pedal.

    A roll that names no gear is begun by each curve in the gear in which it is quickest, so that none is blamed for a
    gear that does not suit it.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    first, second : str
        Names of two of its curves.
    targets : sequence of Target
        The tests, each from a start of its own.
    tolerance : float, optional
        Relative error allowed per step [-].

    Returns
    -------
    tuple of RoadTestGap
        In the order of the targets.

    Raises
    ------
    UsageError
        No curve of that name, a tolerance out of range, or a gear in which the engine could not run.
    """
    pair = [lower(scenario, name, Pedal.FULL) for name in (first, second)]
    for car in pair:
        complete(car)
    found = []
    for target in targets:
        (one, gear), (other, second_gear) = quickest(pair, target, tolerance)
        found.append(RoadTestGap(target, one, other, (gear, second_gear)))
    return tuple(found)
