"""Full-load pulls in a log: what keeps a sample from counting, and what brings an acceleration back to the crank."""

from __future__ import annotations

import os
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import scipy  # loads its parts when they are used
from numpy.typing import NDArray

from simlaunch.logged.road_load import air_forces, mass_in_gear, resistance
from simlaunch.logged.same_conditions import steady_acceleration
from simlaunch.metrics.ceiling import driven_axles
from simlaunch.physics import body, engine, sides
from simlaunch.physics.driveline import driven_radius
from simlaunch.physics.sides import Sides
from simlaunch.readers.delimited import shown
from simlaunch.readers.log import LogAccount, LogOptions, read_channels
from simlaunch.record import Car

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

SETTLING, LIFTING = 0.4, 0.2
"""Left out where a pull begins, for shafts that twist and a pedal on its way, and where it ends (our choice) [s]."""

BUILT_UP = 0.003
"""Boost counts as built up when what is missing makes less of the torque [-]."""

NEAR_GRIP = 0.95
"""Beyond this share of their grip tyres may hold the torque [-]."""

_FEW = 25  # places along a pull at which slip and road load are worked out
_MOST = 400  # samples that the spline goes through; more are averaged in groups


@dataclass(frozen=True)
class Log:
    """A log on the times of its speed."""

    source: str
    account: LogAccount
    time: Array
    speed: Array
    engine_speed: Array | None


def opened(path: str | os.PathLike[str], options: LogOptions | None) -> Log:
    """A log that is read from its first sample to its last."""
    account = read_channels(path, replace(options or LogOptions(), whole=True))
    time, speed = account.samples["speed"]
    turns = account.samples.get("engine_speed")
    engine_speed = None if turns is None else np.interp(time, *turns, left=np.nan, right=np.nan)
    return Log(shown(Path(path)), account, time, speed, engine_speed)


def near_grip(log: Log, car: Car, first: int, behind: int) -> Mask:
    """Where the wheels push with nearly all that their tyres can give."""
    near = np.zeros(log.time.size, np.bool_)
    inside = slice(first, behind)
    speed, gained = log.speed[inside], steady_acceleration(log.time[inside], log.speed[inside])
    hardest = max((driven(car, float(v), float(gained.max())) for v in speed[[0, -1]]), key=lambda each: each[0])
    if hardest[0] < 0.8 * NEAR_GRIP * sides.summit(*hardest[1:]).force:
        return near
    for k, (v, a) in enumerate(zip(speed.tolist(), gained.tolist(), strict=True)):
        force, *axle = driven(car, v, a)
        near[first + k] = force > NEAR_GRIP * sides.summit(*axle).force
    return near


def driven(car: Car, speed: float, gained: float) -> tuple[float, Sides, Any]:
    """Force of the driven axle [N], its wheels, and its tyre.

    Where both are driven these are of the rear one, or of the first one where a clutch brings the other in.
    """
    drag, *lifts = air_forces(car, float(car.air.density), speed)
    force = car.body.mass * gained + drag + body.grade_force(car.body.mass, car.road.grade_angle)
    loads = body.axle_loads(body.load_transfer(force, car.body), lifts[0], lifts[1], car.body, car.road.grade_angle)
    front, rear = driven_axles(car)
    if car.drive.clutched == 1:
        first, end, second = (0, car.front, car.rear) if car.drive.front_share >= 1.0 else (1, car.rear, car.front)
        carried = min(force * loads[1 - first] / sum(loads), float(car.drive.capacity / second.radius))
        return force - carried, sides.axle_sides(first, loads[first], 0.0, car), end
    if front and rear:
        share = loads[1] / sum(loads) if car.drive.locked == 1 else 1.0 - car.drive.front_share
        return force * share, sides.axle_sides(1, loads[1], 0.0, car), car.rear
    if front:
        return force, sides.axle_sides(0, loads[0], 0.0, car), car.front
    return force, sides.axle_sides(1, loads[1], car.drive.cross_lever * force * car.rear.radius, car), car.rear


def boost_along(time: Array, turns: Array, loaded: Mask, car: Car) -> Array:
    """Share of the boost that is there at every sample, none at the first, by the scenario's lag.

    Parameters
    ----------
    time, turns : ndarray, shape (n,)
        Times [s] and engine speeds [rad/s].
    loaded : ndarray, shape (n,)
        Where the engine runs at full load; elsewhere boost falls.
    car : Car
        The car.

    Returns
    -------
    ndarray, shape (n,)
        Share, 0 to 1 [-].
    """
    found, boost = np.ones(time.size), 0.0
    for k in range(time.size if float(car.engine.lagged_share) > 0.0 else 0):
        found[k] = boost
        if k + 1 < time.size:
            load = 1.0 if loaded[k] else 0.0
            rate = engine.boost_rate(boost, float(turns[k]), load, car.engine)  # (load - boost) / time constant
            missing = load - boost
            constant = abs(rate / missing) if abs(missing) > 1e-12 else 0.0
            boost = load - missing * float(np.exp(-(time[k + 1] - time[k]) * constant))
    return found


def building_up(boost: Array, car: Car) -> Mask:
    """Where so much boost is missing that torque is."""
    return np.asarray(float(car.engine.lagged_share) * (1.0 - boost) > BUILT_UP, np.bool_)


def splined(time: Array, values: Array) -> tuple[Array, Array, Array]:
    """Smooth values and their slope at the samples, and the residuals."""
    groups = -(-time.size // _MOST)
    ends = np.arange(0, time.size, groups)
    counts = np.diff(np.append(ends, time.size))
    middle, means = (np.add.reduceat(each, ends) / counts for each in (time, values))
    start, span = middle[0], float(np.ptp(middle))
    spline = scipy.interpolate.make_smoothing_spline((middle - start) / span * 20.0, means, w=counts / counts.mean())
    at = (time - start) / span * 20.0
    smooth = np.asarray(spline(at))
    return smooth, np.asarray(spline.derivative()(at)) * 20.0 / span, values - smooth


@dataclass(frozen=True)
class Driveline:
    """What brings an acceleration back to the crank, along a pull: T = leverage (m a + R)."""

    mass: Array
    resistance: Array
    leverage: float
    turns: Array
    """Engine speed by the slip of the tyres [rad/s]."""


def driveline(speed: Array, gained: Array, car: Car, gear: int) -> Driveline:
    """What stands between acceleration and crank along a pull in a gear."""
    radius, ratio = driven_radius(car.front, car.rear, car.drive), float(car.gearbox.ratio[gear - 1])
    turning = mass_in_gear(car, gear) - float(car.body.mass)
    places = np.unique(np.linspace(0, speed.size - 1, _FEW).round().astype(int))  # what varies slowly
    slips = [
        sides.slip_for_force(*driven(car, v, a))
        for v, a in zip(speed[places].tolist(), gained[places].tolist(), strict=True)
    ]
    slip, index = np.interp(np.arange(speed.size), places, slips), np.arange(speed.size)
    slowing = np.interp(index, places, resistance(car, speed[places]))
    leverage = radius / float(ratio * car.gearbox.efficiency[gear - 1])
    mass = float(car.body.mass) + turning * (1.0 + slip)
    return Driveline(mass, slowing, leverage, ratio * speed * (1.0 + slip) / radius)
