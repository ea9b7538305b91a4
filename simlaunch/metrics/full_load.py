"""Full-load torque at full boost, as a gear lets the engine give it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from simlaunch.cubics import Cubics
from simlaunch.physics.table import values_at
from simlaunch.record import Record

Array = NDArray[np.float64]


def limited_gears(car: Record) -> tuple[int, ...]:
    """Gears in which a limit of their own stands beside the full-load curve.

    Parameters
    ----------
    car : Record
        The car.

    Returns
    -------
    tuple of int
        First gear is 1; whether the limit lies below the curve is another question.
    """
    count, engine = int(car.gearbox.count), car.engine
    stated = np.isfinite(engine.gear_limit[:count]) | (engine.gear_curve["count"][:count] > 0)
    return tuple((np.flatnonzero(stated) + 1).tolist())


def gear_cap(car: Record, gear: int, speeds: Array) -> Array:
    """Torque that a gear lets the engine give at most.

    Parameters
    ----------
    car : Record
        The car.
    gear : int
        First gear is 1.
    speeds : ndarray, shape (n,)
        Engine speeds [rad/s].

    Returns
    -------
    ndarray, shape (n,)
        Torque; infinite where the gear has no limit [N m].
    """
    cap = np.full(speeds.shape, float(car.engine.gear_limit[gear - 1]))
    table = car.engine.gear_curve[gear - 1]
    if not (count := int(table["count"])):
        return cap
    knots, cubics = table["knot"][:count], table["cubic"][: count - 1]
    curve: Array = Cubics(knots, cubics)(np.clip(speeds, knots[0], knots[-1]))
    return np.minimum(cap, curve)


def full_load(car: Record, gear: int, speeds: Array) -> Array:
    """Full-load torque in a gear: the lower of the curve and of what the gear allows.

    Parameters
    ----------
    car : Record
        The car.
    gear : int
        First gear is 1.
    speeds : ndarray, shape (n,)
        Engine speeds [rad/s].

    Returns
    -------
    ndarray, shape (n,)
        Torque [N m].
    """
    return np.minimum(values_at(car.engine.torque, speeds), gear_cap(car, gear, speeds))


def most_torque(car: Record, speeds: Array) -> Array:
    """Full-load torque in the gear that allows most.

    Parameters
    ----------
    car : Record
        The car.
    speeds : ndarray, shape (n,)
        Engine speeds [rad/s].

    Returns
    -------
    ndarray, shape (n,)
        Torque; that of the curve where any gear is free of limits [N m].
    """
    curve = values_at(car.engine.torque, speeds)
    caps = [gear_cap(car, gear, speeds) for gear in range(1, int(car.gearbox.count) + 1)]
    return np.minimum(curve, np.max(caps, axis=0))
