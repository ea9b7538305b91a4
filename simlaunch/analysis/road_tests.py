"""Two curves test by test: from standstill and from a roll, where another curve may win."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import isnan

from simlaunch.analysis.launches import times_of
from simlaunch.metrics.marks import Target
from simlaunch.parameters.fill import lower
from simlaunch.physics.engine import limiter_start
from simlaunch.record import Pedal, Record
from simlaunch.scenario.model import Scenario
from simlaunch.simulation.rolling import engine_speed_in, gear_of_roll
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


def _starts(car: Record, target: Target) -> list[Target]:
    """The test itself, or where it leaves the gear open, the test in each gear that a driver might take."""
    roll = target.roll
    if roll is None or roll.gear:
        return [target]
    likely = gear_of_roll(car, roll.speed) + 1
    near = (likely, likely - 1, likely + 1)
    gears = [gear for gear in near if 1 <= gear <= int(car.gearbox.count) and _runs(car, gear, roll.speed)]
    return [replace(target, roll=replace(roll, gear=gear)) for gear in gears] or [target]


def _runs(car: Record, gear: int, speed: float) -> bool:
    """Whether the engine runs, short of its limiter, at a road speed in a gear; first is 1."""
    return bool(car.engine.idle <= engine_speed_in(car, gear - 1, speed) < limiter_start(car.engine))


def quickest(car: Record, target: Target, tolerance: float | None) -> tuple[float, int]:
    """Time of a test in the gear that suits a curve best, and that gear.

    Parameters
    ----------
    car : Record
        The car with the curve, complete; full pedal.
    target : Target
        The test.
    tolerance : float or None
        Relative error allowed per step; None: as usual [-].

    Returns
    -------
    tuple of float and int
        Time; nan where it was not reached [s]. Gear, first is 1; 0 from standstill [-].

    Raises
    ------
    UsageError
        A gear in which the engine could not run, or a tolerance out of range.
    """
    starts = _starts(car, target)
    times = [float(times_of([car], start, tolerance)[0]) for start in starts]
    best = min(range(len(starts)), key=lambda k: (isnan(times[k]), times[k]))
    roll = starts[best].roll
    return times[best], roll.gear if roll else 0


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
        (one, gear), (other, second_gear) = (quickest(car, target, tolerance) for car in pair)
        found.append(RoadTestGap(target, one, other, (gear, second_gear)))
    return tuple(found)
