"""What a launch works out from its scenario before it starts: air density, shift speeds, target slip, first state."""

from __future__ import annotations

from math import isnan, sqrt

import numpy as np
from numpy.typing import NDArray

from simlaunch.compiled import entry, part
from simlaunch.physics import air, body, engine, sides, tyre
from simlaunch.physics import state as at
from simlaunch.physics.driveline import axle_clutch_capacity, driven_radius
from simlaunch.physics.pedal import slip_command, take_up
from simlaunch.physics.table import value_at
from simlaunch.record import Coupling, Pedal, Record
from simlaunch.simulation.rolling import begin_rolling
from simlaunch.simulation.shifting import hardest_turns, settle_shifts

Array = NDArray[np.float64]

_CONVERTER, _HELD_SLIP = int(Coupling.TORQUE_CONVERTER), int(Pedal.HELD_SLIP)
_HALVINGS = 60

TARGET_SHARE_OF_PEAK = 0.95
"""Share of the slip of peak force that slip control aims at by itself: the force is flat there, and what the control
misses by stays on the rising side (common practice: a little below the peak)."""


@part
def default_target_slip(car: Record) -> float:
    """Target slip for slip control: a little below the slip of peak force at static load.

    With an open centre it is the lower of both axles. A locked centre turns both axles at one speed: the target is by
    the slip of the larger tyres at which both axles together push hardest. Where a clutch brings the second axle in, it
    is by the slip of the first axle at which both push hardest, the second with what the clutch carries. Where the
    wheels of an axle differ, it is the slip of the faster one when the axle pushes hardest: with an open differential,
    that of the wheel with less grip.

    Parameters
    ----------
    car : Record
        The car.

    Returns
    -------
    float
        Slip, ISO 8855 [-].
    """
    front_load, rear_load = body.axle_loads(0.0, 0.0, 0.0, car.body, car.road.grade_angle)
    at_front, at_rear = sides.axle_sides(0, front_load, 0.0, car), sides.axle_sides(1, rear_load, 0.0, car)
    if car.drive.locked == 1:
        turns = hardest_turns(at_front, at_rear, car)
        radius = max(car.front.radius, car.rear.radius)
        if car.drive.clutched == 1:
            radius = driven_radius(car.front, car.rear, car.drive)
        return TARGET_SHARE_OF_PEAK * (turns * radius - 1.0)
    front, rear = sides.summit(at_front, car.front).slip, sides.summit(at_rear, car.rear).slip
    if car.drive.front_share >= 1.0:
        return TARGET_SHARE_OF_PEAK * front
    return TARGET_SHARE_OF_PEAK * (rear if car.drive.front_share <= 0.0 else min(front, rear))


@part
def stall_speed(car: Record) -> float:
    """Speed at which a converter holds the engine at full load with the car on its brakes.

    Parameters
    ----------
    car : Record
        The car.

    Returns
    -------
    float
        Engine speed; that at which the rev limiter begins where the converter cannot hold it lower [rad/s].
    """
    capacity = value_at(car.coupling.fluid_capacity, 0.0)
    low, high = 0.1 * car.engine.idle, engine.limiter_start(car.engine)
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        torque = engine.boosted_torque(middle, car.launch.boost, car.engine)
        if engine.limited_torque(torque, middle, 0, car.engine) >= capacity * middle * middle:
            low = middle
        else:
            high = middle
    return high


@part
def _stall_torque_factor(car: Record) -> float:
    """Torque that a stalled converter puts on the half shafts, over engine speed squared [N m s^2]."""
    pump = value_at(car.coupling.fluid_capacity, 0.0) * value_at(car.coupling.torque_ratio, 0.0)
    return float(pump * car.gearbox.ratio[0] * car.gearbox.efficiency[0])


@part
def speed_within_grip(car: Record, rest: Array, phase: Record) -> float:
    """Engine speed at which a stalled converter asks no more of the tyres than slip control would at rest.

    Parameters
    ----------
    car : Record
        The car, with its target slip.
    rest : ndarray, shape (STATES,)
        State at rest.
    phase : Record
        A fresh phase.

    Returns
    -------
    float
        Engine speed [rad/s].
    """
    taken = take_up(0.0, rest, car, phase, body.ground(0.0, rest, car, phase))
    within_grip = slip_command(0.0, rest, car, phase, taken.now)
    return sqrt(within_grip / _stall_torque_factor(car))


@entry
def complete(car: Record, work: Record, phase: Record) -> None:
    """Fill in every derived number that the scenario left open.

    Parameters
    ----------
    car : Record
        The car, changed in place.
    work : Record
        Scratch space; its state is set to zero.
    phase : Record
        A fresh phase.
    """
    work.state[:] = 0.0
    tyre.settle_tyre(car.front)
    tyre.settle_tyre(car.rear)
    if isnan(car.air.density):
        car.air.density = air.density(car.air.pressure, car.air.temperature, car.air.humidity)
    body.fix(car)
    if isnan(car.pedal.target_slip):
        car.pedal.target_slip = default_target_slip(car)
    settle_shifts(car)
    if car.coupling.kind == _CONVERTER:
        car.launch.engine_speed = min(car.launch.engine_speed, stall_speed(car))
        if car.pedal.kind == _HELD_SLIP:
            most = max(speed_within_grip(car, work.state, phase), car.engine.idle)
            car.launch.engine_speed = min(car.launch.engine_speed, most)


@part
def _preload_through_clutch(shaft: float, car: Record, y: Array, phase: Record) -> None:
    """Torque of a converter at stall where a clutch brings the second axle in, as far as it carries any by then."""
    drive = car.drive
    first, second = (0, 1) if drive.front_share >= 1.0 else (1, 0)
    stiffness, other = drive.shaft_stiffness[first], drive.shaft_stiffness[second]
    twist = shaft / (stiffness + drive.lead * drive.lead * other)
    torque = min(drive.lead * other * twist, axle_clutch_capacity(0.0, drive, phase))
    rest = shaft - drive.lead * torque
    brakes = car.launch
    if first == 0:
        y[at.TWIST_FRONT], y[at.TWIST_REAR] = rest / stiffness, torque / other
        brakes.brake_front, brakes.brake_rear = rest, torque
    else:
        y[at.TWIST_FRONT], y[at.TWIST_REAR] = torque / other, rest / stiffness
        brakes.brake_front, brakes.brake_rear = torque, rest


@part
def _preload(car: Record, y: Array, phase: Record) -> None:
    """Torque that a converter at stall has already put on brakes and on elastic half shafts."""
    shaft = _stall_torque_factor(car) * car.launch.engine_speed**2
    stiffness = car.drive.shaft_stiffness
    if car.drive.clutched == 1:
        _preload_through_clutch(shaft, car, y, phase)
        return
    front = car.drive.front_share
    if car.drive.locked == 1:
        front = stiffness[0] / (stiffness[0] + stiffness[1])
    car.launch.brake_front = front * shaft
    car.launch.brake_rear = (1.0 - front) * shaft
    y[at.CROSS_LOAD] = car.drive.cross_lever * car.launch.brake_rear
    if car.drive.rigid == 1:
        return
    if car.drive.locked == 1:
        y[at.TWIST_FRONT] = y[at.TWIST_REAR] = shaft / (stiffness[0] + stiffness[1])
    else:
        y[at.TWIST_FRONT] = shaft / car.fixed.shaft_stiffness


@part
def _request_at_start(car: Record, y: Array, phase: Record) -> float:
    """Axle torque that the slip control asks for before anything has moved on [N m]."""
    taken = take_up(0.0, y, car, phase, body.ground(0.0, y, car, phase))
    return slip_command(0.0, y, car, phase, taken.now)


@entry
def begin(car: Record, work: Record, phase: Record) -> None:
    """Set state and phase to the start of a launch: from standstill, or rolling.

    Parameters
    ----------
    car : Record
        The car, complete; the torque that its brakes hold is filled in.
    work : Record
        Scratch space; its state is set.
    phase : Record
        A fresh phase, changed in place.
    """
    y = work.state
    y[:] = 0.0
    if car.launch.roll_speed > 0.0:
        begin_rolling(car, y, phase)
        y[at.REQUEST] = _request_at_start(car, y, phase)
        return
    grade = body.grade_force(car.body.mass, car.road.grade_angle)
    y[at.ENGINE_SPEED] = car.launch.engine_speed
    y[at.BOOST] = car.launch.boost
    y[at.TRANSFER] = body.load_transfer(grade, car.body)
    resistance = grade + air.dynamic_force(car.body.drag_area, car.air.density, car.air.head_wind)
    phase.braked = 1 if resistance > 0.0 else 0
    phase.limiter_side = 1 if car.launch.engine_speed > engine.limiter_start(car.engine) else 0
    y[at.REQUEST] = _request_at_start(car, y, phase)
    if car.coupling.kind == _CONVERTER:
        phase.stage = at.DRIVING
        _preload(car, y, phase)
    else:
        phase.stage = at.LAUNCHING
        phase.coupling = at.SLIPPING
        phase.slip_direction = 1
        phase.engagement_time = car.coupling.ramp
