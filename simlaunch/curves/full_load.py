"""A full-load curve through the peaks of a data sheet, and the same curve with its peak cut and its power kept.

From idle to the first engine speed of peak torque the torque rises along a parabola that levels out there. Between the
speeds of peak torque it is constant. From there to the speed of peak power the power rises along a cubic that is level
at the peak; where power would have to rise faster than peak torque allows, peak torque is held for longer. Between the
speeds of peak power the power is constant. Above them the torque falls as 1 + x - x^2, x being engine speed over that
of peak power, relative to its value there (Leiderman's and Artamonov's law for spark ignition, from memory). Points
are read off every 250 rpm, and closer where the curve bends; the launch puts its monotone cubic through them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from simlaunch.cubics import monotone, with_slopes
from simlaunch.units.quantity import RPM

Array = NDArray[np.float64]

_STEP = 250.0 * RPM
_RISE = 7  # points of the parabola up to peak torque
_NEAR = 60.0 * RPM  # no grid point stands closer to an engine speed of the data sheet
_CORNER = np.array([0.0, 15.0, 40.0, 120.0]) * RPM  # points behind a corner, so that the cubic does not cut across it
_CUT = 0.85  # the lowest share of peak torque at which the peak is cut
_HARDLY = 0.97  # from this share on, torque at peak power is no cut worth the name
_FLAT_CUT = 0.9  # share at which a curve is cut that is flat up to its peak power
_ROUNDED = 1.01  # data sheets round: peaks that contradict each other by less are reconciled [-]
_FASTEST = 1.5  # engine speed over that of peak power, beyond which the law above it says nothing


@dataclass(frozen=True)
class Peak:
    """A peak as a data sheet states it: its value, and the engine speed, or the two between which it is held.

    Parameters
    ----------
    value : float
        Torque [N m] or power [W].
    low, high : float
        Engine speeds, equal for a peak at one speed [rad/s].
    """

    value: float
    low: float
    high: float


@dataclass(frozen=True)
class FullLoad:
    """Points of a full-load curve.

    Parameters
    ----------
    speed : ndarray, shape (n,)
        Engine speeds, rising [rad/s].
    torque : ndarray, shape (n,)
        Torque [N m].
    """

    speed: Array
    torque: Array

    def at(self, speed: Array | float) -> Array:
        """Torque at some engine speeds, by the monotone cubic that a launch uses [N m]."""
        inside = np.clip(speed, self.speed[0], self.speed[-1])
        return np.asarray(monotone(self.speed, self.torque)(inside))

    @property
    def peak_torque(self) -> Peak:
        """The highest torque, and where it is held [N m], [rad/s]."""
        return self._peak(self.torque)

    @property
    def peak_power(self) -> Peak:
        """The highest power of the points, and where it is held [W], [rad/s]."""
        return self._peak(self.torque * self.speed)

    def _peak(self, values: Array) -> Peak:
        highest = np.flatnonzero(values >= values.max() * (1.0 - 1e-7))
        return Peak(float(values.max()), float(self.speed[highest[0]]), float(self.speed[highest[-1]]))


def disagreement(torque: Peak, power: Peak) -> str:
    """Why two peaks cannot belong to one engine; empty where they can."""
    needed = power.value / power.low
    reached = torque.value * torque.high
    if needed > torque.value * _ROUNDED:
        return (
            f"needs {needed:.0f} N m at {power.low / RPM:.0f} rpm, more than the peak torque of {torque.value:.0f} N m"
        )
    if reached > power.value * _ROUNDED:
        return (
            f"is below the {reached / 1e3:.0f} kW that {torque.value:.0f} N m make at {torque.high / RPM:.0f} rpm, "
            "where the peak torque ends"
        )
    if torque.high > power.low:
        return f"is reached at {power.low / RPM:.0f} rpm, below {torque.high / RPM:.0f} rpm, where peak torque ends"
    return ""


def _whole(speeds: Sequence[float] | Array) -> Array:
    """Engine speeds as they are written down, to whole revolutions a minute, each once and rising."""
    return np.unique(np.round(np.asarray(speeds) / RPM)) * RPM


def _grid(fixed: Sequence[float], low: float, high: float) -> Array:
    """The fixed engine speeds, and round ones between the ends that are not close to one of them."""
    round_ones = np.arange(np.ceil(low / _STEP), np.floor(high / _STEP) + 1.0) * _STEP
    away = np.array([np.min(np.abs(np.array(fixed) - each)) for each in round_ones])
    kept = _whole(np.concatenate([fixed, round_ones[away > _NEAR]]))
    return np.asarray(kept[(kept >= low - RPM / 2.0) & (kept <= high + RPM / 2.0)], np.float64)


def _held_until(torque: Peak, power: Peak) -> float:
    """Engine speed up to which peak torque is held, so that power can come level with its peak from below."""
    level = 3.0 * power.value / torque.value - 2.0 * power.low
    return float(np.clip(level, torque.high, power.low))


def through_peaks(torque: Peak, power: Peak, idle: float, end: float, at_idle: float) -> FullLoad:
    """Full-load curve through peak torque and peak power.

    Parameters
    ----------
    torque, power : Peak
        The peaks, between which there is no `disagreement`.
    idle : float
        Engine speed at which the curve begins [rad/s].
    end : float
        Engine speed at which it ends, at least that of peak power and at most 1.5 times it [rad/s].
    at_idle : float
        Torque at idle, at most the peak [N m].

    Returns
    -------
    FullLoad
        Nowhere above either peak, and through both.
    """
    possible = float(np.clip(power.value, torque.value * torque.high, torque.value * power.low))
    power = replace(power, value=possible)
    held = _held_until(torque, power)
    start = min(idle, 0.9 * torque.low)
    rise = held * torque.value, power.value

    def value(speed: float) -> float:
        if speed <= torque.low:
            return torque.value - (torque.value - at_idle) * ((torque.low - speed) / (torque.low - start)) ** 2
        if speed <= held or (power.low - held < _NEAR / 10.0 and speed < power.low):
            return torque.value
        if speed < power.low:
            ends, mean = np.array([held, power.low]), (rise[1] - rise[0]) / (power.low - held)
            slopes = np.array([min(torque.value, 3.0 * mean), 0.0])
            return float(min(with_slopes(ends, np.array(rise), slopes)(speed) / speed, torque.value))
        if speed <= power.high:
            return power.value / speed
        x = speed / power.high
        return power.value / power.high * (1.0 + x - x * x)

    corners = [each for corner in (held, power.low, power.high) for each in corner + _CORNER if each < end]
    fixed = [*np.linspace(start, torque.low, _RISE), torque.high, *corners, end]
    speeds = _grid(fixed, start, end)
    return FullLoad(speeds, np.array([value(float(speed)) for speed in speeds]))


def fastest(power: Peak) -> float:
    """The highest engine speed to which the curve above peak power may be continued [rad/s]."""
    return _FASTEST * power.high


@dataclass(frozen=True)
class Plateau:
    """A curve whose peak is cut.

    Parameters
    ----------
    curve : FullLoad
        The curve.
    height : float
        Torque at which it is cut [N m].
    keeps_power : bool
        Whether it has the peak power of the curve that was cut.
    """

    curve: FullLoad
    height: float
    keeps_power: bool


def plateau_of(curve: FullLoad, end: float) -> Plateau:
    """The same curve with its peak cut and its peak power kept.

    The cut is at the torque of peak power, or at 85 % of peak torque where that is higher. A curve that is flat up to
    its peak power is cut by a tenth, and the plateau is held until it makes the same power, as far as the engine turns.

    Parameters
    ----------
    curve : FullLoad
        The curve.
    end : float
        Highest engine speed [rad/s].

    Returns
    -------
    Plateau
        Nowhere above the curve, but for a flat one at its top.
    """
    torque, power = curve.peak_torque, curve.peak_power
    at_power = power.value / power.high
    if at_power <= _HARDLY * torque.value:
        height = max(at_power, _CUT * torque.value)
        return Plateau(_cut(curve, height), height, True)
    height = max(_FLAT_CUT * torque.value, power.value / end)
    if height > _HARDLY * torque.value:
        height = _FLAT_CUT * torque.value
        return Plateau(_cut(curve, height), height, False)
    reached = power.value / height
    below = _cut(curve, height)
    speeds = _whole(np.concatenate([below.speed, reached + _CORNER]))
    speeds = speeds[speeds <= curve.speed[-1]]
    held = np.where(speeds < power.low, below.at(speeds), np.minimum(height, power.value / speeds))
    return Plateau(FullLoad(speeds, held), height, True)


def _cut(curve: FullLoad, height: float) -> FullLoad:
    """The lower of the curve and a height, with points where they cross."""
    fine = np.linspace(curve.speed[0], curve.speed[-1], 4001)
    above = curve.at(fine) > height
    changes = np.flatnonzero(above[1:] != above[:-1])
    way = np.where(above[changes], 1.0, -1.0)  # to the side on which the curve lies below the height
    corners = (fine[changes, None] + way[:, None] * _CORNER).ravel()
    apart = [speed for speed in curve.speed if not np.any(np.abs(corners - speed) < _NEAR / 4.0)]
    speeds = _whole(np.concatenate([apart, corners, curve.speed[[0, -1]], [curve.peak_power.high]]))
    speeds = speeds[(speeds >= curve.speed[0]) & (speeds <= curve.speed[-1])]
    return FullLoad(speeds, np.minimum(curve.at(speeds), height))
