"""What the driver may do otherwise, and what that makes of the gap between two curves: launch speed and shift speeds.

A curve can lose because the start or the shifts do not suit it. So both curves are launched at several engine speeds,
and, where the shift speeds are not typed, with every shift put off by the same share of the way from the speed of
greatest wheel force to the rev limiter: where a shift interrupts the torque, fewer and later shifts can be quicker than
those that give the most force. A gap that changes its sign among them belongs to the driver as much as to the curve.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import isnan, nan

import numpy as np

from simlaunch.launching.goals import WORTH_NAMING
from simlaunch.launching.launch_speed import settle
from simlaunch.launching.launches import times_of
from simlaunch.metrics.marks import Target
from simlaunch.parameters.fill import lower
from simlaunch.physics.engine import limiter_start
from simlaunch.record import Car, Pedal
from simlaunch.scenario.model import Scenario
from simlaunch.simulation.run import complete
from simlaunch.units.quantity import RPM

LATER = (0.0, 0.25, 0.5, 0.75, 1.0)
"""Shares of the way from the shift speeds as they are to the rev limiter [-]."""

AROUND = (-1000.0, -500.0, 0.0, 500.0, 1000.0)
"""Launch speeds beside the one of the scenario [rpm]."""

_A_LITTLE = 0.2  # share of a gap by which it may differ and still be the same (common practice) [-]


@dataclass(frozen=True)
class Tried:
    """Times of two curves for several values of something that the driver chooses, with full pedal.

    Parameters
    ----------
    values : tuple of float
        What was tried: engine speeds [rad/s], or shares of the way to the rev limiter [-].
    as_given : int
        Which of them is that of the scenario.
    first, second : tuple of float
        Times to the target; nan where it was not reached [s].
    """

    values: tuple[float, ...]
    as_given: int
    first: tuple[float, ...]
    second: tuple[float, ...]

    @property
    def given(self) -> float:
        """The value of the scenario."""
        return self.values[self.as_given]

    @property
    def gaps(self) -> tuple[float, ...]:
        """Second curve less first, both with the same value [s]."""
        return tuple(other - one for one, other in zip(self.first, self.second, strict=True))

    @property
    def best(self) -> tuple[int, int] | None:
        """Which value is the quickest for either curve; None where a curve does not get there with any."""
        if all(map(isnan, self.first)) or all(map(isnan, self.second)):
            return None
        return int(np.nanargmin(self.first)), int(np.nanargmin(self.second))

    @property
    def gap_at_best(self) -> float:
        """Second curve less first, each with its quickest value; nan where a curve does not get there [s]."""
        return nan if self.best is None else self.second[self.best[1]] - self.first[self.best[0]]

    @property
    def changes_sides(self) -> bool:
        """Whether the other curve is quicker, by a time worth naming, with some value or when each has its best."""
        given = self.gaps[self.as_given]
        turned = [gap for gap in (*self.gaps, self.gap_at_best) if gap * given < 0.0 and abs(gap) >= WORTH_NAMING]
        return abs(given) >= WORTH_NAMING and bool(turned)

    @property
    def matters(self) -> bool:
        """Whether the gap is another one, by more than a little, when each curve has its quickest value."""
        given = self.gaps[self.as_given]
        return abs(self.gap_at_best - given) >= max(WORTH_NAMING, _A_LITTLE * abs(given))

    def turned(self) -> Tried:
        """The same with the curves exchanged."""
        return Tried(self.values, self.as_given, self.second, self.first)


@dataclass(frozen=True)
class Driving:
    """The gap between two curves with other launch speeds and other shift speeds.

    Parameters
    ----------
    launch : Tried or None
        Launch speeds that both curves can hold; None where there is no other one.
    shifts : Tried or None
        Shift speeds; None where they are typed or there is one gear.
    """

    launch: Tried | None
    shifts: Tried | None

    def turned(self) -> Driving:
        """The same with the curves exchanged."""
        return Driving(self.launch and self.launch.turned(), self.shifts and self.shifts.turned())


def _launch_speeds(pair: Sequence[Car]) -> tuple[tuple[float, ...], int]:
    """Launch speeds that both curves can hold, and which of them is that of the scenario."""
    given, low = max(float(car.launch.engine_speed) for car in pair), float(pair[0].engine.idle)
    held = min(given, *(_reached(car, given) for car in pair))  # a converter holds an engine below what is asked
    high = min(_reached(car, float(limiter_start(car.engine)) - RPM) for car in pair)
    around = [held + each * RPM for each in AROUND]
    speeds = tuple(each for each in around if each == held or low <= each <= high)
    return speeds, speeds.index(held)


def _reached(car: Car, asked: float) -> float:
    """Engine speed at which a car is launched that is asked for a speed [rad/s]."""
    other = _with_launch(car, asked)
    complete(other)
    return float(other.launch.engine_speed)


def _with_launch(car: Car, speed: float) -> Car:
    other = car.copy()
    other.launch.engine_speed = speed
    return other


def _launched(pair: Sequence[Car], speeds: Sequence[float], given: int) -> list[Car]:
    """Each curve at each launch speed, and as the scenario has it where that is one of them."""
    return [car.copy() if k == given else _with_launch(car, each) for car in pair for k, each in enumerate(speeds)]


def _with_shifts(car: Car, share: float) -> Car:
    """The car with every shift put off by a share of the way to the rev limiter."""
    as_is, other = car.copy(), car.copy()
    complete(as_is)
    last = int(car.gearbox.count) - 1
    best = as_is.gearbox.shift_speed[:last]
    other.gearbox.shift_speed[:last] = best + share * (limiter_start(car.engine) - best)
    return other if share else as_is


def driving(scenario: Scenario, first: str, second: str, target: Target, *, tolerance: float | None = None) -> Driving:
    """Launch two curves with other launch speeds and other shift speeds.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    first, second : str
        Names of two of its curves.
    target : Target
        What the time is taken to.
    tolerance : float, optional
        Relative error allowed per step [-].

    Returns
    -------
    Driving
        Times with full pedal.

    Raises
    ------
    UsageError
        No curve of that name, or a tolerance out of range.
    """
    pair = [lower(scenario, name, Pedal.FULL) for name in (first, second)]
    settle(pair, target)
    speeds, given = _launch_speeds(pair)
    last = int(pair[0].gearbox.count) - 1
    later = LATER if last > 0 and np.isnan(pair[0].gearbox.shift_speed[:last]).all() else ()
    cars = _launched(pair, speeds, given)
    cars += [_with_shifts(car, share) for car in pair for share in later]
    for car in cars:
        complete(car)
    times = times_of(cars, target, tolerance)
    launches = times[: 2 * len(speeds)].reshape(2, -1)
    shifts = times[2 * len(speeds) :].reshape(2, -1)
    return Driving(
        Tried(speeds, given, *(tuple(map(float, row)) for row in launches)) if len(speeds) > 1 else None,
        Tried(later, 0, *(tuple(map(float, row)) for row in shifts)) if later else None,
    )
