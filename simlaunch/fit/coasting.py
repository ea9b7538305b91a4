"""A car that coasts with its driveline open: road load against speed, and speed over time."""

from __future__ import annotations

from dataclasses import dataclass
from math import isnan

import numpy as np
from numpy.polynomial import Polynomial
from numpy.typing import NDArray
from scipy.integrate import cumulative_simpson

from simlaunch.launch.histories import FOLLOWED
from simlaunch.physics import air, body, tyre
from simlaunch.physics.driveline import driven_radius
from simlaunch.record import Record

Array = NDArray[np.float64]

_POINTS = 5  # a road load is a polynomial of degree four at most: lift times rolling resistance
_FINE = 801
_LEAST_LOAD = 1e-3  # as a share of the weight: what goes downhill faster than it slows is not followed [-]


@dataclass(frozen=True)
class RoadLoad:
    """Force that slows a coasting car, F = constant + linear v + square v^2, and the mass that it slows.

    Parameters
    ----------
    constant : float
        [N]
    linear : float
        [N s/m]
    square : float
        [N s^2/m^2]
    effective_mass : float
        Mass with what turns with the wheels [kg].
    """

    constant: float
    linear: float
    square: float
    effective_mass: float

    def time_between(self, start: float, end: float) -> float:
        """Time to slow from one speed to another.

        Parameters
        ----------
        start, end : float
            Speeds [m/s].

        Returns
        -------
        float
            Time [s].
        """
        speed = np.linspace(end, start, _FINE)
        force = self.constant + (self.linear + self.square * speed) * speed
        return float(cumulative_simpson(self.effective_mass / force, x=speed)[-1])


def effective_mass(car: Record) -> float:
    """Mass of a car with its wheels and what turns with them, the gearbox in neutral.

    Parameters
    ----------
    car : Record
        The car.

    Returns
    -------
    float
        Mass [kg].
    """
    wheels = sum(end.axle_inertia / end.radius**2 for end in (car.front, car.rear))
    return float(car.body.mass + wheels + car.drive.inertia / driven_radius(car.front, car.rear, car.drive) ** 2)


def _density(car: Record) -> float:
    given = float(car.air.density)
    return air.density(car.air.pressure, car.air.temperature, car.air.humidity) if isnan(given) else given


def _resistance(car: Record, density: float, speed: float) -> float:
    """Force of air, tyres and grade at one speed [N]."""
    moving = speed + car.air.head_wind
    lifts = [air.dynamic_force(area, density, moving) for area in (car.body.lift_area_front, car.body.lift_area_rear)]
    loads = body.axle_loads(0.0, lifts[0], lifts[1], car.body, car.road.grade_angle)
    rolling = sum(
        tyre.resisting_moment(load, speed, speed, end, car.road.rolling_factor, 0.0) / end.radius
        for load, end in zip(loads, (car.front, car.rear), strict=True)
    )
    drag = air.dynamic_force(car.body.drag_area, density, moving)
    return float(rolling + drag + body.grade_force(car.body.mass, car.road.grade_angle))


def _load(car: Record, low: float, high: float) -> Polynomial:
    density, speeds = _density(car), np.linspace(low, high, _POINTS)
    return Polynomial.fit(speeds, [_resistance(car, density, float(v)) for v in speeds], _POINTS - 1)


def road_load(car: Record, low: float, high: float) -> RoadLoad:
    """Road load of a car as a parabola over speed.

    Parameters
    ----------
    car : Record
        The car.
    low, high : float
        Speeds between which it is fitted [m/s].

    Returns
    -------
    RoadLoad
        Coefficients and effective mass.
    """
    whole = _load(car, low, high)
    speed = np.linspace(low, high, _POINTS * 4)
    constant, linear, square = Polynomial.fit(speed, whole(speed), 2).convert().coef.tolist()
    return RoadLoad(constant, linear, square, effective_mass(car))


def coasting(car: Record, high: float, low: float, duration: float, step: float) -> Array:
    """History of a car that coasts.

    t(v) = integral of m_e / F from v to the speed it begins with

    Parameters
    ----------
    car : Record
        The car.
    high, low : float
        Speed at time zero, and one that is not reached in the log [m/s].
    duration : float
        How much is kept [s].
    step : float
        Time between values [s].

    Returns
    -------
    ndarray, shape (4, m)
        Channels of `FOLLOWED`, SI units; engine speed is nan.
    """
    speed = np.linspace(high, low, _FINE)
    least = _LEAST_LOAD * car.body.mass * body.GRAVITY
    force = np.maximum(_load(car, low, high)(speed), least)
    time = cumulative_simpson(effective_mass(car) / force, x=-speed, initial=0.0)
    grid = step * np.arange(int(np.ceil(duration / step)) + 1)
    found = np.interp(grid, time, speed)
    rolling = {
        "speed": found,
        "wheel_speed_front": found / car.front.radius,
        "wheel_speed_rear": found / car.rear.radius,
    }
    return np.array([rolling.get(name, np.full(found.size, np.nan)) for name in FOLLOWED])
