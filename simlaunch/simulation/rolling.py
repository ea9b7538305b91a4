"""A rolling start: the car already moves, a gear is engaged, and at time zero the driver asks for all there is."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from simlaunch.compiled import inline, part
from simlaunch.physics import air, body, engine
from simlaunch.physics import state as at
from simlaunch.physics.driveline import driven_radius
from simlaunch.record import Coupling, Record
from simlaunch.simulation.shifting import fluid_ratio, gear_acceleration

Array = NDArray[np.float64]

_CONVERTER = int(Coupling.TORQUE_CONVERTER)
_LONG_SINCE = -1e3  # a clutch that closed then is fully engaged [s]
_NEAR_SHIFT = 0.95
"""A driver takes no gear that is left so soon: share of the road speed of the shift [-]."""
_TRIALS = 4  # of the slip of a converter that carries the car along


@inline
def engine_speed_in(car: Record, gear: int, speed: float) -> float:
    """Engine speed at a road speed in a gear, with the coupling closed and no slip of the tyres.

    Parameters
    ----------
    car : Record
        The car.
    gear : int
        Index of the gear [-].
    speed : float
        Road speed [m/s].

    Returns
    -------
    float
        Speed [rad/s].
    """
    return float(car.gearbox.ratio[gear] * speed / driven_radius(car.front, car.rear, car.drive))


@part
def gear_of_roll(car: Record, speed: float) -> int:
    """The gear that a driver would take at a road speed: the one that pulls hardest and is not left at once.

    Parameters
    ----------
    car : Record
        The car, complete.
    speed : float
        Road speed [m/s].

    Returns
    -------
    int
        Index of the gear; the highest where the engine would run too fast in every other [-].
    """
    best, most = car.gearbox.count - 1, -1.0
    for gear in range(car.gearbox.count):
        turns = engine_speed_in(car, gear, speed)
        if turns >= engine.limiter_start(car.engine):
            continue
        if gear < car.gearbox.count - 1 and speed > _NEAR_SHIFT * car.gearbox.shift_road_speed[gear]:
            continue
        pull = gear_acceleration(car, gear, turns)
        if pull > most:
            best, most = gear, pull
    return best


@part
def _turns_of_engine(car: Record, gear: int, input_speed: float, resistance: float) -> float:
    """Speed of an engine that carries the car along through a converter's fluid [rad/s]."""
    radius = driven_radius(car.front, car.rear, car.drive)
    torque = resistance * radius / (car.gearbox.ratio[gear] * car.gearbox.efficiency[gear])
    turns = input_speed
    for _ in range(_TRIALS):
        turns = input_speed / max(fluid_ratio(max(torque, 0.0), turns, car.coupling), 0.5)
    return turns


@part
def begin_rolling(car: Record, y: Array, phase: Record) -> None:
    """Set state and phase to a car that rolls along steadily in gear.

    Parameters
    ----------
    car : Record
        The car, complete, with its rolling start.
    y : ndarray, shape (STATES,)
        State, zero; filled.
    phase : Record
        A fresh phase, changed in place.
    """
    launch, drive = car.launch, car.drive
    speed = launch.roll_speed
    gear = gear_of_roll(car, speed) if launch.roll_gear == 0 else launch.roll_gear - 1
    y[at.SPEED] = speed
    y[at.WHEEL_FRONT], y[at.WHEEL_REAR] = speed / car.front.radius, speed / car.rear.radius
    share = 0.5 if drive.locked == 1 and drive.clutched == 0 else drive.front_share
    y[at.SHAFT_SPEED] = share * y[at.WHEEL_FRONT] + (1.0 - share) * y[at.WHEEL_REAR]
    y[at.INPUT_SPEED] = y[at.ENGINE_SPEED] = car.gearbox.ratio[gear] * y[at.SHAFT_SPEED]
    y[at.BOOST] = launch.roll_boost
    grade = body.grade_force(car.body.mass, car.road.grade_angle)
    y[at.TRANSFER] = body.load_transfer(grade, car.body)
    phase.gear, phase.stage = gear, at.DRIVING
    launch.brake_front = launch.brake_rear = 0.0
    if car.coupling.kind == _CONVERTER and not 0 < car.coupling.lock_gear <= gear + 1:
        drag = air.dynamic_force(car.body.drag_area, car.air.density, speed + car.air.head_wind)
        y[at.ENGINE_SPEED] = _turns_of_engine(car, gear, y[at.INPUT_SPEED], grade + drag)
    else:
        phase.coupling = at.STUCK
        phase.engagement_start, phase.engagement_time = _LONG_SINCE, car.coupling.ramp
    phase.limiter_side = 1 if y[at.ENGINE_SPEED] > engine.limiter_start(car.engine) else 0
