"""What cars do over time, launched many at once on several threads, or coasting: what logs are held against."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.polynomial import Polynomial
from numpy.typing import NDArray
from scipy.integrate import cumulative_simpson
from scipy.signal import lfilter

from simlaunch.launching.progress import count
from simlaunch.logged.road_load import effective_mass, resistance
from simlaunch.physics import body
from simlaunch.record import Car
from simlaunch.simulation.batch import on_threads
from simlaunch.simulation.bench import CAPACITIES, Bench, make_bench
from simlaunch.simulation.histories import FOLLOWED, follow_each
from simlaunch.simulation.kernel import BUFFER_FULL

Array = NDArray[np.float64]
Cars = NDArray[np.void]

STEP = 1e-3
"""Time between the values of a history; engine speed bends within a shift, and a coarser grid cuts the corners [s]."""

COASTING_STEP = 5e-3
"""The same for a coast-down, which has no corners [s]."""

TOLERANCE = 1e-4
"""Relative error allowed per step: speeds of the demonstration cars are then off by 0.001 m/s at most [-]."""

FINER = 1e-4
"""By how much it is smaller in the last search: differences of rougher launches bend apart the slopes of two values
that do nearly the same, which then pass for better known than they are [-]."""

ROUGHER = 10.0
"""By how much it is larger than there in the launch that shows what that search may still be off [-]."""

_NO_LAG = 1e-4  # [s]
_COARSER = 1e-3  # for a launch that cannot be followed
_AT_ONCE = 16
_POINTS = 5  # a road load is a polynomial of degree four at most: lift times rolling resistance
_FINE = 801
_LEAST_LOAD = 1e-3  # as a share of the weight: what goes downhill faster than it slows is not followed [-]


@dataclass(frozen=True)
class History:
    """One run: channels of `FOLLOWED` at even times from when the car was let go.

    Parameters
    ----------
    values : ndarray, shape (4, m)
        SI units; nan for a run that cannot be followed.
    step : float
        Time between values [s].
    """

    values: Array
    step: float = STEP

    def at(self, channel: str, time: Array, blur: float = 0.0) -> Array:
        """What a sensor shows at some times, counted so that it comes neither early nor late on a ramp.

        A lag by itself can hardly be distinguished from a delay: the two differ by the square of the lag. So the
        delay is left to the caller, and the square is what counts here: signals are linear in it near zero.

        Parameters
        ----------
        channel : str
            Name of the channel.
        time : ndarray, shape (n,)
            Time since the car was let go; before it as at the start, after the end as there [s].
        blur : float
            Square of the time constant of a sensor of first order; below zero one that sharpens as much as it would
            blur, so that a search can pass through zero [s^2].

        Returns
        -------
        ndarray, shape (n,)
            SI units.
        """
        values = self.values[FOLLOWED.index(channel)]
        grid = self.step * np.arange(values.size)
        sharp = np.interp(time, grid, values)
        lag = sqrt(abs(blur))
        if lag < _NO_LAG:
            return np.asarray(sharp)
        blurred = np.interp(time + lag, grid, lagged(values, self.step, lag))
        return np.asarray(blurred if blur > 0.0 else 2.0 * sharp - blurred)


def lagged(values: Array, step: float, lag: float) -> Array:
    """Answer of a sensor of first order to a signal that runs straight between samples.

    y' = (x - y) / lag, settled before the first sample

    Parameters
    ----------
    values : ndarray, shape (n,)
        The signal, evenly sampled.
    step : float
        Time between samples [s].
    lag : float
        Time constant, above zero [s].

    Returns
    -------
    ndarray, shape (n,)
        What it shows.

    Source: the linear equation solved over one step of a ramp.
    """
    kept = np.exp(-step / lag)
    share = lag / step * (1.0 - kept)
    settled = np.array([share * values[0]])
    shown, _ = lfilter([1.0 - share, share - kept], [1.0, -kept], values, zi=settled)
    return np.asarray(shown)


class Runner:
    """Runs launches on several threads, and counts them.

    Parameters
    ----------
    workers : int, optional
        Threads; one for each core if left out.
    tolerance : float
        Relative error allowed per step [-].
    """

    def __init__(self, workers: int | None = None, tolerance: float = TOLERANCE) -> None:
        self.workers, self.tolerance, self.launches = workers, tolerance, 0
        self._free: list[Bench] = []  # buffers that no thread is using

    def __call__(self, cars: Cars, duration: float) -> Array:
        """Histories of launches, in order.

        Parameters
        ----------
        cars : ndarray of CAR, shape (n,)
            The cars; left as they are.
        duration : float
            How much of each is kept [s].

        Returns
        -------
        ndarray, shape (n, 4, m)
            Channels of `FOLLOWED`, SI units; nan for a launch that cannot be followed.
        """
        self.launches += len(cars)
        values = int(np.ceil(duration / STEP)) + 1
        if len(cars) == 1:
            count(1)
            return self._some(cars, values)
        found = on_threads(lambda piece: self._some(cars[piece], values), len(cars), self.workers, _AT_ONCE)
        parts = []
        for part in found:
            parts.append(part)
            count(len(part))
        return np.concatenate(parts)

    def _some(self, cars: Cars, values: int) -> Array:
        bench = self._free.pop() if self._free else make_bench(self.tolerance, integrals=False)
        out, ending = _followed(cars, values, bench)
        self._free.append(bench)
        long = np.flatnonzero(ending == BUFFER_FULL)
        if long.size:
            room = make_bench(self.tolerance, CAPACITIES[1], integrals=False)
            out[long], ending[long] = _followed(cars[long], values, room)
        lost = np.flatnonzero(np.isnan(out[:, 0, 0]))
        if lost.size:
            out[lost], _ = _followed(cars[lost], values, make_bench(_COARSER, integrals=False))
        return out


def _followed(cars: Cars, values: int, bench: Bench) -> tuple[Array, NDArray[np.int64]]:
    """Histories of cars, one after the other, and how each launch ended."""
    out, ending = np.empty((len(cars), len(FOLLOWED), values)), np.zeros(len(cars), np.int64)
    follow_each(cars, STEP, bench, out, ending)
    return out, ending


def last_until(car: Car, time: float) -> None:
    """Let a run end after a time, and not before."""
    car.run.stop_distance, car.run.stop_speed, car.run.time_limit = 1e9, 0.0, time


# --- coasting with the driveline open ---


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
        """Time to slow from one speed to another [s]."""
        speed = np.linspace(end, start, _FINE)
        force = self.constant + (self.linear + self.square * speed) * speed
        return float(cumulative_simpson(self.effective_mass / force, x=speed)[-1])


def _load(car: Car, low: float, high: float) -> Polynomial:
    speeds = np.linspace(low, high, _POINTS)
    return Polynomial.fit(speeds, resistance(car, speeds), _POINTS - 1)


def road_load(car: Car, low: float, high: float) -> RoadLoad:
    """Road load of a car as a parabola over speed.

    Parameters
    ----------
    car : Car
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


def coasting(car: Car, high: float, low: float, duration: float, step: float) -> Array:
    """History of a car that coasts.

    t(v) = integral of m_e / F from v to the speed it begins with

    Parameters
    ----------
    car : Car
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
