"""The sum of all forces: from a state and a phase to the rate of every state."""

from __future__ import annotations

from math import sqrt
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from simlaunch.compiled import inline
from simlaunch.physics import air, body, coupling, driveline, engine, pedal, tyre
from simlaunch.physics import state as at
from simlaunch.physics.driveline import Gearing, Load
from simlaunch.physics.table import value_at
from simlaunch.scenario.numbers import Record

Array = NDArray[np.float64]

_CLUTCH, _CONVERTER = 0, 1
_HELD_SLIP = 1
_GOVERNOR = 20.0  # rate at which engine speed is held while a coupling slips under slip control [1/s]


class Ground(NamedTuple):
    """What the road and the air do to the car."""

    load_front: float
    load_rear: float
    slip_front: float
    slip_rear: float
    force_front: float
    force_rear: float
    moment_front: float
    moment_rear: float
    drag: float
    grade: float
    acceleration: float
    slip_rate_front: float  # of the transient slip
    slip_rate_rear: float


class Drive(NamedTuple):
    """What the engine does, and what its coupling passes on."""

    engine_torque: float
    available_torque: float
    friction: float  # torque through friction plates
    pump: float
    turbine: float
    command: float  # axle torque the slip control asks for


class Balance(NamedTuple):
    """Everything that follows from one state: what the rates and the channels are made of."""

    ground: Ground
    drive: Drive
    gearing: Gearing
    engine_acceleration: float
    friction: float  # torque through friction plates, stuck or slipping
    axle_front: float
    axle_rear: float


@inline
def ground(time: float, y: Array, car: Record, phase: Record) -> Ground:
    """Axle loads, slip, tyre forces, rolling resistance, drag and grade.

    Parameters
    ----------
    time : float
        Time [s].
    y : ndarray, shape (24,)
        State, SI units.
    car : Record
        The car.
    phase : Record
        The phase.

    Returns
    -------
    Ground
        Forces [N], moments [N m], slips [-] and acceleration of the car [m/s^2].

    Source: the files of this room, one for each part.
    """
    speed = y[at.SPEED]
    air_speed = speed + car.air.head_wind
    lift_front = air.dynamic_force(car.body.lift_area_front, car.air.density, air_speed)
    lift_rear = air.dynamic_force(car.body.lift_area_rear, car.air.density, air_speed)
    load_front, load_rear = body.axle_loads(y[at.TRANSFER], lift_front, lift_rear, car.body, car.road.grade_angle)
    rim_front = y[at.WHEEL_FRONT] * car.front.radius
    rim_rear = y[at.WHEEL_REAR] * car.rear.radius
    slip_front = tyre.damped_slip(y[at.SLIP_FRONT], speed, rim_front, car.front)
    slip_rear = tyre.damped_slip(y[at.SLIP_REAR], speed, rim_rear, car.rear)
    front = tyre.axle_contact(slip_front, load_front, car.front, car.road.friction_factor)
    rear = tyre.axle_contact(slip_rear, load_rear, car.rear, car.road.friction_factor)
    drag = air.dynamic_force(car.body.drag_area, car.air.density, air_speed)
    grade = body.grade_force(car.body.mass, car.road.grade_angle)
    rolling, brake = car.road.rolling_factor, pedal.brake_share(time, phase, car.launch.brake_release)
    acceleration = (front.force + rear.force - drag - grade) / car.body.mass
    return Ground(
        load_front,
        load_rear,
        slip_front,
        slip_rear,
        front.force,
        rear.force,
        tyre.resisting_moment(load_front, rim_front, speed, car.front, rolling, brake * car.launch.brake_front),
        tyre.resisting_moment(load_rear, rim_rear, speed, car.rear, rolling, brake * car.launch.brake_rear),
        drag,
        grade,
        0.0 if phase.braked == 1 else acceleration,
        tyre.transient_slip_rate(y[at.SLIP_FRONT], speed, rim_front, slip_front, front.slope_share, car.front),
        tyre.transient_slip_rate(y[at.SLIP_REAR], speed, rim_rear, slip_rear, rear.slope_share, car.rear),
    )


@inline
def _wheel_resistance(road: Ground, car: Record) -> tuple[float, float]:
    """Torque that resists the front and the rear wheels: tyre force on its radius, and rolling resistance [N m]."""
    front = road.force_front * car.front.radius + road.moment_front
    return front, road.force_rear * car.rear.radius + road.moment_rear


@inline
def _gear(phase: Record) -> int:
    """Index of the gear that carries most of the torque."""
    return int(phase.oncoming_gear if phase.path == at.ONCOMING else phase.gear)


@inline
def _turning_inertia(car: Record, phase: Record) -> float:
    """Inertia that turns with the half shafts' inner end [kg m^2]."""
    ratio = car.gearbox.ratio[_gear(phase)]
    inertia = car.gearbox.input_inertia
    if phase.coupling == at.STUCK:
        inertia += car.engine.inertia
    return car.drive.inertia + ratio * ratio * inertia


@inline
def _axle_take_up(load: float, slip: float, force: float, moment: float, road: Ground, end: Record, car: Record, speed: float) -> float:
    """Torque that one axle passes on at the target slip: tyre, rolling resistance and the wheels' own inertia [N m].

    A tyre beyond its target is given no more than it takes at this moment, so that it comes back.
    """
    target = car.pedal.target_slip
    if slip <= target:
        margin = pedal.standstill_margin(speed)
        force = margin * tyre.axle_contact(target, load, end, car.road.friction_factor).force
    spin_up = end.axle_inertia * road.acceleration * (1.0 + target) / end.radius
    return end.radius * force + moment + spin_up


@inline
def slip_command(y: Array, car: Record, phase: Record, road: Ground) -> float:
    """Axle torque that the slip control sends to its actuator.

    With an open centre the axle that reaches its target first sets the torque of both.

    Parameters
    ----------
    y : ndarray, shape (24,)
        State, SI units.
    car : Record
        The car.
    phase : Record
        The phase.
    road : Ground
        What the road does.

    Returns
    -------
    float
        Torque at the half shafts [N m].

    Source: ours; see `pedal.request_command`.
    """
    speed = y[at.SPEED]
    front = _axle_take_up(
        road.load_front, road.slip_front, road.force_front, road.moment_front, road, car.front, car, speed
    )
    rear = _axle_take_up(road.load_rear, road.slip_rear, road.force_rear, road.moment_rear, road, car.rear, car, speed)
    share = car.drive.front_share
    front_target = (1.0 + car.pedal.target_slip) * y[at.SPEED] / car.front.radius
    rear_target = (1.0 + car.pedal.target_slip) * y[at.SPEED] / car.rear.radius
    grip = front + rear
    front_leads = y[at.WHEEL_FRONT] - front_target > y[at.WHEEL_REAR] - rear_target
    inertia = _turning_inertia(car, phase) + car.front.axle_inertia + car.rear.axle_inertia
    if car.drive.locked == 0:
        if share >= 1.0:
            grip, front_leads = front, True
        elif share <= 0.0:
            grip, front_leads = rear, False
        else:
            grip = min(front / share, rear / (1.0 - share))
    if front_leads:
        return pedal.request_command(grip, inertia, y[at.WHEEL_FRONT], front_target, car.pedal.delay)
    return pedal.request_command(grip, inertia, y[at.WHEEL_REAR], rear_target, car.pedal.delay)


@inline
def _input_request(y: Array, car: Record, phase: Record, road: Ground) -> float:
    """Gearbox-input torque that puts the requested torque on the axles while all that turns keeps pace [N m]."""
    k = _gear(phase)
    ratio = car.gearbox.ratio[k]
    radius = car.front.radius if car.drive.front_share >= 1.0 else car.rear.radius
    pace = road.acceleration * (1.0 + car.pedal.target_slip) / radius
    at_gear = max(y[at.REQUEST], 0.0) + car.drive.inertia * pace
    return at_gear / (ratio * car.gearbox.efficiency[k]) + car.gearbox.input_inertia * ratio * pace


@inline
def _trimmed_engine_torque(
    y: Array, car: Record, phase: Record, road: Ground, friction: float, fluid: coupling.Fluid
) -> float:
    """Engine torque that serves the slip control's request through whatever the coupling does [N m]."""
    wanted = _input_request(y, car, phase, road)
    ratio = car.gearbox.ratio[_gear(phase)]
    if phase.coupling == at.STUCK:
        radius = car.front.radius if car.drive.front_share >= 1.0 else car.rear.radius
        pace = road.acceleration * (1.0 + car.pedal.target_slip) / radius
        return wanted + car.engine.inertia * ratio * pace
    if car.coupling.kind == _CONVERTER:
        speed_ratio = min(y[at.INPUT_SPEED] / max(y[at.ENGINE_SPEED], 1.0), 1.0)
        capacity = max(value_at(car.coupling.fluid_capacity, speed_ratio), 1e-6)
        pump_speed = sqrt(max(wanted, 0.0) / value_at(car.coupling.torque_ratio, speed_ratio) / capacity)
        return fluid.pump + friction + car.engine.inertia * _GOVERNOR * (pump_speed - y[at.ENGINE_SPEED])
    held = y[at.INPUT_SPEED]
    if phase.stage == at.LAUNCHING:
        held = max(held, car.launch.engine_speed)
    return wanted + car.engine.inertia * _GOVERNOR * (held - y[at.ENGINE_SPEED])


@inline
def friction_capacity(time: float, car: Record, phase: Record) -> float:
    """Torque that the friction plates of the coupling can carry now.

    Parameters
    ----------
    time : float
        Time [s].
    car : Record
        The car.
    phase : Record
        The phase.

    Returns
    -------
    float
        Capacity [N m].

    Source: see `coupling.friction_capacity`.
    """
    if phase.coupling == at.OPEN:
        return 0.0
    elapsed = time - phase.engagement_start
    return coupling.friction_capacity(elapsed, phase.engagement_time, car.coupling.capacity)


@inline
def drive_torques(time: float, y: Array, car: Record, phase: Record, road: Ground) -> Drive:
    """Engine torque and what the coupling carries, for a coupling that is open or slips; a stuck one carries nothing here.

    Parameters
    ----------
    time : float
        Time [s].
    y : ndarray, shape (24,)
        State, SI units.
    car : Record
        The car.
    phase : Record
        The phase.
    road : Ground
        What the road does.

    Returns
    -------
    Drive
        Torques [N m].

    Source: see `engine`, `coupling` and `pedal`.
    """
    speed = y[at.ENGINE_SPEED]
    held_slip = car.pedal.kind == _HELD_SLIP
    friction, fluid = 0.0, coupling.Fluid(0.0, 0.0)
    if phase.coupling == at.SLIPPING:
        capacity = friction_capacity(time, car, phase)
        if held_slip and car.coupling.kind == _CLUTCH:
            capacity = min(capacity, max(_input_request(y, car, phase, road), 0.0))
        friction = phase.slip_direction * capacity
    if car.coupling.kind == _CONVERTER and phase.coupling != at.STUCK:
        fluid = coupling.converter_torques(speed, y[at.INPUT_SPEED], car.coupling)
    full = engine.boosted_torque(speed, y[at.BOOST], car.engine)
    closed = engine.closed_throttle_torque(speed, car.engine)
    share = pedal.demand(time, phase, car.gearbox) * engine.limiter_share(speed, car.engine)
    torque = engine.demanded_torque(full, closed, share)
    command = 0.0
    if held_slip:
        command = slip_command(y, car, phase, road)
        trimmed = _trimmed_engine_torque(y, car, phase, road, friction, fluid)
        torque = min(torque, max(trimmed, min(closed, torque)))
    return Drive(torque, full, friction, fluid.pump, fluid.turbine, command)


@inline
def _elastic_torques(y: Array, drive: Record) -> tuple[float, float]:
    """Torque of the front and of the rear half shafts, where they twist [N m]."""
    if drive.locked == 1:
        front_rate = y[at.SHAFT_SPEED] - y[at.WHEEL_FRONT]
        rear_rate = y[at.SHAFT_SPEED] - y[at.WHEEL_REAR]
        return (
            driveline.shaft_torque(y[at.TWIST_FRONT], front_rate, drive.shaft_stiffness[0], drive.shaft_damping[0]),
            driveline.shaft_torque(y[at.TWIST_REAR], rear_rate, drive.shaft_stiffness[1], drive.shaft_damping[1]),
        )
    share = drive.front_share
    rate = y[at.SHAFT_SPEED] - share * y[at.WHEEL_FRONT] - (1.0 - share) * y[at.WHEEL_REAR]
    stiffness = driveline.combined_compliance(share, drive.shaft_stiffness[0], drive.shaft_stiffness[1])
    damping = driveline.combined_compliance(share, drive.shaft_damping[0], drive.shaft_damping[1])
    torque = driveline.shaft_torque(y[at.TWIST_FRONT], rate, stiffness, damping)
    return share * torque, (1.0 - share) * torque


@inline
def _rigid_torques(acceleration: float, load: Load, road: Ground, car: Record) -> tuple[float, float]:
    """Torque at the front and at the rear wheels, where half shafts do not twist [N m]."""
    if car.drive.locked == 1:
        front, rear = _wheel_resistance(road, car)
        return car.front.axle_inertia * acceleration + front, car.rear.axle_inertia * acceleration + rear
    total = load.inertia * acceleration + load.torque
    return car.drive.front_share * total, (1.0 - car.drive.front_share) * total


@inline
def _through_gears(
    time: float, torque: float, inertia: float, load: Load, car: Record, phase: Record
) -> Gearing:
    """What the gearbox does with a torque and an inertia on its input."""
    box = car.gearbox
    now, then = phase.gear, phase.oncoming_gear
    if phase.path == at.ENGAGED:
        return driveline.engaged(torque, inertia, box.ratio[now], box.efficiency[now], load)
    out_ratio = box.ratio[then] * box.efficiency[then]
    if phase.path == at.HANDING_OVER:
        share = min((time - phase.stage_start) / box.hand_over, 1.0)
        carried = share * max(torque, 0.0)
        relieved = Load(load.inertia, load.torque - out_ratio * carried)
        rest = driveline.engaged(torque - carried, inertia, box.ratio[now], box.efficiency[now], relieved)
        return Gearing(
            rest.shaft_acceleration,
            rest.input_acceleration,
            rest.input_torque + carried,
            rest.output_torque + out_ratio * carried,
        )
    closing = driveline.closing_torque(
        torque, inertia, box.ratio[then], box.efficiency[then], load, phase.closing_rate
    )
    out = driveline.directed_efficiency(closing, box.efficiency[then]) * box.ratio[then] * closing
    return Gearing((out - load.torque) / load.inertia, (torque - closing) / inertia, closing, out)


@inline
def balance(time: float, y: Array, car: Record, phase: Record) -> Balance:
    """All forces and accelerations that follow from a state.

    Parameters
    ----------
    time : float
        Time [s].
    y : ndarray, shape (24,)
        State, SI units.
    car : Record
        The car.
    phase : Record
        The phase.

    Returns
    -------
    Balance
        Forces [N], torques [N m], accelerations [m/s^2] and [rad/s^2].

    Source: Newton's second law for each body of the car.
    """
    road = ground(time, y, car, phase)
    drive = drive_torques(time, y, car, phase, road)
    stuck = phase.coupling == at.STUCK
    inertia = car.gearbox.input_inertia + (car.engine.inertia if stuck else 0.0)
    torque = drive.engine_torque if stuck else drive.friction + drive.turbine
    if car.drive.rigid == 1:
        resist_front, resist_rear = _wheel_resistance(road, car)
        wheels = driveline.rigid_load(
            resist_front, resist_rear, car.front.axle_inertia, car.rear.axle_inertia, car.drive
        )
        if phase.braked == 1:
            gearing = driveline.held(torque, car.gearbox.ratio[phase.gear], car.gearbox.efficiency[phase.gear])
            front = car.drive.front_share * gearing.output_torque
            rear = gearing.output_torque - front
        else:
            load = Load(wheels.inertia + car.drive.inertia, wheels.torque)
            gearing = _through_gears(time, torque, inertia, load, car, phase)
            front, rear = _rigid_torques(gearing.shaft_acceleration, wheels, road, car)
    else:
        front, rear = _elastic_torques(y, car.drive)
        gearing = _through_gears(time, torque, inertia, Load(car.drive.inertia, front + rear), car, phase)
    if stuck:
        friction = drive.engine_torque - car.engine.inertia * gearing.input_acceleration
        engine_acceleration = gearing.input_acceleration
    else:
        friction = drive.friction
        engine_acceleration = (drive.engine_torque - drive.friction - drive.pump) / car.engine.inertia
    return Balance(road, drive, gearing, engine_acceleration, friction, front, rear)


@inline
def _twist_rates(y: Array, car: Record, rates: Array) -> None:
    """Rates of the twist states and of the work their dampers take."""
    drive = car.drive
    if drive.rigid == 1:
        rates[at.TWIST_FRONT] = 0.0
        rates[at.TWIST_REAR] = 0.0
        rates[at.TWIST_WORK] = 0.0
    elif drive.locked == 1:
        front = y[at.SHAFT_SPEED] - y[at.WHEEL_FRONT]
        rear = y[at.SHAFT_SPEED] - y[at.WHEEL_REAR]
        rates[at.TWIST_FRONT] = front
        rates[at.TWIST_REAR] = rear
        rates[at.TWIST_WORK] = drive.shaft_damping[0] * front * front + drive.shaft_damping[1] * rear * rear
    else:
        share = drive.front_share
        rate = y[at.SHAFT_SPEED] - share * y[at.WHEEL_FRONT] - (1.0 - share) * y[at.WHEEL_REAR]
        damping = driveline.combined_compliance(share, drive.shaft_damping[0], drive.shaft_damping[1])
        rates[at.TWIST_FRONT] = rate
        rates[at.TWIST_REAR] = 0.0
        rates[at.TWIST_WORK] = damping * rate * rate


@inline
def _work_rates(y: Array, b: Balance, car: Record, rates: Array) -> None:
    """Rates of the energy integrals."""
    speed = y[at.SPEED]
    road, drive = b.ground, b.drive
    rates[at.ENGINE_WORK] = drive.engine_torque * y[at.ENGINE_SPEED]
    rates[at.DRAG_WORK] = road.drag * speed
    rates[at.GRADE_WORK] = road.grade * speed
    rates[at.ROLLING_WORK] = road.moment_front * y[at.WHEEL_FRONT] + road.moment_rear * y[at.WHEEL_REAR]
    rates[at.SLIP_WORK_FRONT] = road.force_front * (y[at.WHEEL_FRONT] * car.front.radius - speed)
    rates[at.SLIP_WORK_REAR] = road.force_rear * (y[at.WHEEL_REAR] * car.rear.radius - speed)
    plates = b.friction * (y[at.ENGINE_SPEED] - y[at.INPUT_SPEED])
    fluid = drive.pump * y[at.ENGINE_SPEED] - drive.turbine * y[at.INPUT_SPEED]
    rates[at.COUPLING_WORK] = plates + fluid
    taken = b.gearing.input_torque * y[at.INPUT_SPEED]
    rates[at.GEARING_WORK] = taken - b.gearing.output_torque * y[at.SHAFT_SPEED]


@inline
def rates(time: float, y: Array, car: Record, phase: Record, out: Array) -> None:
    """Rate of every state.

    Parameters
    ----------
    time : float
        Time [s].
    y : ndarray, shape (24,)
        State, SI units.
    car : Record
        The car.
    phase : Record
        The phase.
    out : ndarray, shape (24,)
        Filled with the rates, SI units.

    Source: Newton's second law; see `balance`.
    """
    b = balance(time, y, car, phase)
    road = b.ground
    free = 0.0 if phase.braked == 1 else 1.0
    out[at.DISTANCE] = y[at.SPEED]
    out[at.SPEED] = road.acceleration
    resist_front, resist_rear = _wheel_resistance(road, car)
    out[at.WHEEL_FRONT] = free * (b.axle_front - resist_front) / car.front.axle_inertia
    out[at.WHEEL_REAR] = free * (b.axle_rear - resist_rear) / car.rear.axle_inertia
    out[at.SLIP_FRONT] = road.slip_rate_front
    out[at.SLIP_REAR] = road.slip_rate_rear
    brakes = road.drag + road.grade if phase.braked == 1 else 0.0
    settled = body.load_transfer(road.force_front + road.force_rear + brakes, car.body)
    out[at.TRANSFER] = y[at.TRANSFER_RATE]
    out[at.TRANSFER_RATE] = body.transfer_acceleration(y[at.TRANSFER], y[at.TRANSFER_RATE], settled, car.body)
    out[at.ENGINE_SPEED] = b.engine_acceleration
    out[at.INPUT_SPEED] = b.gearing.input_acceleration
    out[at.SHAFT_SPEED] = b.gearing.shaft_acceleration
    breathing = pedal.throttle_open(phase, car.gearbox)
    out[at.BOOST] = engine.boost_rate(y[at.BOOST], y[at.ENGINE_SPEED], breathing, car.engine)
    out[at.REQUEST] = 0.0
    if car.pedal.kind == _HELD_SLIP:
        out[at.REQUEST] = pedal.request_rate(y[at.REQUEST], b.drive.command, car.pedal.delay)
    _twist_rates(y, car, out)
    _work_rates(y, b, car, out)


@inline
def stored_energy(y: Array, car: Record) -> float:
    """Kinetic energy of car, wheels, engine and gearbox, and energy in twisted half shafts.

    Parameters
    ----------
    y : ndarray, shape (24,)
        State, SI units.
    car : Record
        The car.

    Returns
    -------
    float
        Energy [J].

    Source: sum of m v^2 / 2, J w^2 / 2 and k theta^2 / 2.
    """
    drive = car.drive
    energy = car.body.mass * y[at.SPEED] ** 2 + car.engine.inertia * y[at.ENGINE_SPEED] ** 2
    energy += car.front.axle_inertia * y[at.WHEEL_FRONT] ** 2 + car.rear.axle_inertia * y[at.WHEEL_REAR] ** 2
    energy += car.gearbox.input_inertia * y[at.INPUT_SPEED] ** 2 + drive.inertia * y[at.SHAFT_SPEED] ** 2
    if drive.rigid == 0 and drive.locked == 1:
        energy += drive.shaft_stiffness[0] * y[at.TWIST_FRONT] ** 2 + drive.shaft_stiffness[1] * y[at.TWIST_REAR] ** 2
    elif drive.rigid == 0:
        stiffness = driveline.combined_compliance(
            drive.front_share, drive.shaft_stiffness[0], drive.shaft_stiffness[1]
        )
        energy += stiffness * y[at.TWIST_FRONT] ** 2
    return 0.5 * energy
