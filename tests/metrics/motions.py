"""Motions known in closed form, sampled as traces."""

from __future__ import annotations

from math import atan, log, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray

from simlaunch.simulation.trace import Trace

Array = NDArray[np.float64]

STANDARD_GRAVITY = 9.80665


def trace(time: ArrayLike, **channels: ArrayLike) -> Trace:
    """A trace from any sequences of numbers."""
    return Trace(np.asarray(time, float), {name: np.asarray(values, float) for name, values in channels.items()})


def constant_acceleration(acceleration: float, until: float, gap: float = 0.1) -> Trace:
    """From rest: v = a t, x = a t^2 / 2, coarsely sampled."""
    time = np.arange(0.0, until + gap, gap)
    return trace(
        time,
        distance=0.5 * acceleration * time**2,
        speed=acceleration * time,
        acceleration=np.full(time.shape, acceleration),
    )


def constant_power(power_per_mass: float, top_speed: float) -> Trace:
    """From rest without resistance: t = m v^2 / 2P, x = m v^3 / 3P."""
    speed = np.linspace(0.0, top_speed, 2001)
    acceleration = np.divide(power_per_mass, speed, out=np.full(speed.shape, np.nan), where=speed > 0.0)
    return trace(
        0.5 * speed**2 / power_per_mass,
        distance=speed**3 / 3.0 / power_per_mass,
        speed=speed,
        acceleration=acceleration,
    )


def constant_power_with_drag(mass: float, power: float, drag: float, top_speed: float) -> Trace:
    """From rest against k v^2; time and distance over speed by the integrals of m v dv / (P - k v^3)."""
    final = (power / drag) ** (1.0 / 3.0)
    speed = np.linspace(0.0, top_speed, 2001)
    u = speed / final
    root = sqrt(3.0)
    turn = np.arctan((2.0 * u + 1.0) / root) - atan(1.0 / root)
    time = mass * final**2 / power * (np.log((1.0 + u + u**2) / (1.0 - u) ** 2) / 6.0 - turn / root)
    distance = mass / (3.0 * drag) * (log(power) - np.log(power - drag * speed**3))
    force = np.divide(power, speed, out=np.full(speed.shape, np.nan), where=speed > 0.0)
    return trace(time, distance=distance, speed=speed, acceleration=(force - drag * speed**2) / mass)


def grip_then_power(mass: float, force: float, power: float, top_speed: float) -> Trace:
    """From rest with a constant force, and from the speed P/F on with a constant power."""
    change = power / force
    before = np.linspace(0.0, change, 201)
    after = np.linspace(change, top_speed, 2001)[1:]
    grip = force / mass
    time_after = change / grip + 0.5 * mass / power * (after**2 - change**2)
    distance_after = 0.5 * change**2 / grip + mass / (3.0 * power) * (after**3 - change**3)
    return trace(
        np.r_[before / grip, time_after],
        distance=np.r_[0.5 * before**2 / grip, distance_after],
        speed=np.r_[before, after],
        acceleration=np.r_[np.full(before.shape, grip), power / mass / after],
    )
