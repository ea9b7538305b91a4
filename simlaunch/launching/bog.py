"""Bog: the engine falls too far while the clutch takes hold, and what that costs.

A launch *bogs* where the engine, released at its launch speed, falls in first gear below a limit: `SHARE` of the launch
speed, or the boost threshold where that is higher and the launch speed lies above it. The *boost threshold* is the
lowest engine speed at which the full-load curve gives `THRESHOLD` of its peak torque. Whether a bog costs time is no
matter of definition: the car is launched with higher launch speeds, and the time that it gains is stated.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import isnan, nan

import numpy as np
from numpy.typing import NDArray

from simlaunch.launching.launches import times_of
from simlaunch.metrics.marks import Target
from simlaunch.physics.engine import limiter_start
from simlaunch.physics.table import values_at
from simlaunch.record import Car, Coupling
from simlaunch.simulation.trace import Trace
from simlaunch.units.quantity import RPM

Array = NDArray[np.float64]

SHARE = 0.6
"""Share of its launch speed below which an engine has fallen too far: our own choice, no standard has one [-]."""

THRESHOLD = 0.8
"""Share of its peak torque from which on a curve counts as on boost: our own choice [-]."""

HIGHER = (250.0, 500.0, 1000.0)
"""Launch speeds above that of the launch, with which it is proved that a bog costs time [rpm]."""

_POINTS = 2001


@dataclass(frozen=True)
class Bog:
    """How far an engine falls as the clutch takes hold, in first gear from standstill.

    Parameters
    ----------
    launch_speed : float
        Engine speed at the start [rad/s].
    lowest : float
        Lowest engine speed from the start until first gear is left [rad/s].
    share : float
        The lowest over the launch speed [-].
    when : float
        When it is reached [s].
    threshold : float
        Boost threshold of the curve [rad/s].
    limit : float
        Engine speed below which the launch bogs [rad/s].
    time : float
        Time in first gear below the limit; 0 for a launch that does not bog [s].
    higher_speed : float
        Of the higher launch speeds that were tried, the one that gains most; nan for a launch that does not bog
        [rad/s].
    gain : float
        Time that it gains; below zero where a higher launch speed only makes the car slower; nan for a launch that does
        not bog [s].
    """

    launch_speed: float
    lowest: float
    share: float
    when: float
    threshold: float
    limit: float
    time: float
    higher_speed: float = nan
    gain: float = nan

    @property
    def bogs(self) -> bool:
        """Whether the engine falls below the limit."""
        return self.lowest < self.limit

    @property
    def below_threshold(self) -> bool:
        """Whether it is the boost threshold that it falls below."""
        return self.lowest < self.threshold < self.launch_speed


def boost_threshold(car: Car) -> float:
    """Lowest engine speed at which a full-load curve gives `THRESHOLD` of its peak torque.

    Parameters
    ----------
    car : Car
        The car with its curve.

    Returns
    -------
    float
        Engine speed [rad/s].
    """
    speed = np.linspace(float(car.engine.idle), float(car.engine.rev_limit), _POINTS)
    torque = values_at(car.engine.torque, speed)
    return float(speed[int(np.argmax(torque >= THRESHOLD * torque.max()))])


def fall(trace: Trace, car: Car) -> Bog | None:
    """How far the engine falls in a launch, from its trace.

    Parameters
    ----------
    trace : Trace
        With engine speed and gear.
    car : Car
        The car that made it, complete.

    Returns
    -------
    Bog or None
        Without what a higher launch speed gains. None for a roll and for a torque converter, whose engine is not tied
        to the wheels.
    """
    if car.launch.roll_speed > 0.0 or int(car.coupling.kind) == int(Coupling.TORQUE_CONVERTER):
        return None
    later = np.flatnonzero(trace["gear"] > 1.5)
    first = slice(0, int(later[0]) if later.size else None)
    time, turns, start = trace.time[first], trace["engine_speed"][first], float(car.launch.engine_speed)
    place, threshold = int(np.argmin(turns)), boost_threshold(car)
    limit = max(SHARE * start, threshold if threshold < start else 0.0)
    below = np.minimum(turns[:-1], turns[1:]) < limit
    spent = float(np.diff(time)[below].sum()) if turns[place] < limit else 0.0
    lowest = float(turns[place])
    return Bog(start, lowest, lowest / start, float(time[place]), threshold, limit, spent)


def bog(trace: Trace, car: Car, target: Target, time: float, tolerance: float | None = None) -> Bog | None:
    """How far the engine falls in a launch, and where it bogs, what a higher launch speed gains.

    Parameters
    ----------
    trace : Trace
        The launch.
    car : Car
        The car that made it, complete.
    target : Target
        What the time is taken to.
    time : float
        Time of the launch to it [s].
    tolerance : float, optional
        Relative error allowed per step [-].

    Returns
    -------
    Bog or None
        None for a roll and for a torque converter.
    """
    found = fall(trace, car)
    if found is None or not found.bogs or target.roll is not None:
        return found
    speeds = [found.launch_speed + each * RPM for each in HIGHER]
    speeds = [each for each in speeds if each < limiter_start(car.engine)]
    if not speeds:
        return found
    cars = []
    for speed in speeds:
        cars.append(car.copy())
        cars[-1].launch.engine_speed = speed
    times = times_of(cars, target, tolerance)
    if np.isnan(times).all() or isnan(time):
        return found
    best = int(np.nanargmin(times))
    return replace(found, higher_speed=speeds[best], gain=time - float(times[best]))
