"""In which gear a logged car drives, and whether engine and wheels turn together: by the speeds of both."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from simlaunch.physics.driveline import driven_radius
from simlaunch.record import Car

Array = NDArray[np.float64]

TIED = 0.08
"""Engine and wheels turn together where their speeds fit a gear this closely, slip of the tyres at full load included
[-]."""

_OF_A_STEP = 0.4  # and no further than this part of the way to the next gear, where the gear is not known


def off_gear(speed: Array, engine_speed: Array, car: Car, gear: int) -> Array:
    """Engine speed over that of the wheels in a gear, less 1 [-].

    Parameters
    ----------
    speed : ndarray, shape (n,)
        Road speed [m/s].
    engine_speed : ndarray, shape (n,)
        Engine speed [rad/s].
    car : Car
        The car.
    gear : int
        Gear, first is 1.

    Returns
    -------
    ndarray, shape (n,)
        Above zero where the engine is faster than the wheels in that gear.
    """
    wheels = np.maximum(speed, 0.1) / driven_radius(car.front, car.rear, car.drive)
    return np.asarray(engine_speed / (wheels * car.gearbox.ratio[gear - 1]) - 1.0)


def nearest_gear(speed: Array, engine_speed: Array, car: Car) -> tuple[Array, Any]:
    """Gear whose ratio fits best, from 1, and whether it fits so well that engine and wheels turn together in it.

    Parameters
    ----------
    speed, engine_speed : ndarray, shape (n,)
        Road speed [m/s] and engine speed [rad/s].
    car : Car
        The car.

    Returns
    -------
    tuple of ndarray, shape (n,)
        Gears, and a mask.
    """
    count = int(car.gearbox.count)
    off = np.nan_to_num([np.abs(off_gear(speed, engine_speed, car, k + 1)) for k in range(count)], nan=np.inf)
    gear = np.argmin(off, axis=0)
    steps = np.abs(np.diff(np.asarray(car.gearbox.ratio[:count])) / np.asarray(car.gearbox.ratio[: count - 1]))
    nearest = np.minimum(np.append(steps, np.inf), np.append(np.inf, steps))
    allowed = np.minimum(TIED, _OF_A_STEP * nearest)
    return gear + 1.0, np.asarray(off.min(axis=0) <= allowed[gear], np.bool_)
