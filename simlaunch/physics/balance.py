"""The sum of all forces: from a state and a phase to the rate of every state."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from simlaunch.compiled import inline, part
from simlaunch.physics import body, driveline, engine, pedal, sides
from simlaunch.physics import state as at
from simlaunch.physics.body import Ground, Wheels
from simlaunch.physics.driveline import Axles, Gearing, Load
from simlaunch.record import Coupling, Pedal, Record

Array = NDArray[np.float64]

_CLUTCH, _CONVERTER = int(Coupling.FRICTION_CLUTCH), int(Coupling.TORQUE_CONVERTER)
_HELD_SLIP = int(Pedal.HELD_SLIP)
_PER_CROSS_TIME = 1.0 / 0.02  # load comes across a live axle within about this time: its tyres are springs [1/s]


class Drive(NamedTuple):
    """What the engine does, and what its coupling passes on."""

    engine_torque: float
    available_torque: float
    friction: float  # torque through friction plates
    pump: float
    turbine: float
    command: float  # axle torque the slip control asks for
    load: float  # share of full load that is asked, before slip control takes away from it by ignition


class Apart(NamedTuple):
    """How the two wheels of an axle come apart; each a half of left less right."""

    acceleration: float  # of the wheels [rad/s^2]
    slip_rate: float  # of the transient slips [1/s]
    force: float  # [N]
    moment: float  # [N m]
    locking: float  # torque that the clutches move from the left wheel to the right one, in full [N m]


class Balance(NamedTuple):
    """Everything that follows from one state: what the rates and the channels are made of."""

    ground: Ground
    drive: Drive
    gearing: Gearing
    engine_acceleration: float
    friction: float  # torque through friction plates, stuck or slipping
    axles: Axles


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

    Source: see `driveline.friction_capacity`.
    """
    if phase.coupling == at.OPEN:
        return 0.0
    elapsed = time - phase.engagement_start
    return driveline.friction_capacity(elapsed, phase.engagement_time, car.coupling.capacity)


@inline
def drive_torques(time: float, y: Array, car: Record, phase: Record, road: Ground) -> Drive:
    """Engine torque, and what the coupling carries while it is open or slips; a stuck one carries nothing here.

    Parameters
    ----------
    time : float
        Time [s].
    y : ndarray, shape (STATES,)
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
        Torques [N m], and the load [-].

    Source: see `engine`, `coupling` and `pedal`.
    """
    speed = y[at.ENGINE_SPEED]
    held_slip = car.pedal.kind == _HELD_SLIP
    boosted = engine.boosted_torque(speed, y[at.BOOST], car.engine)
    full = engine.limited_torque(boosted, speed, pedal.carrying_gear(phase), car.engine)
    friction, fluid = 0.0, driveline.Fluid(0.0, 0.0)
    if phase.coupling == at.SLIPPING:
        capacity = friction_capacity(time, car, phase)
        if held_slip and car.coupling.kind == _CLUTCH:
            capacity = min(capacity, pedal.led_clutch_torque(y, car, phase, road, full))
        friction = phase.slip_direction * capacity
    if car.coupling.kind == _CONVERTER and phase.coupling != at.STUCK:
        fluid = driveline.converter_torques(speed, y[at.INPUT_SPEED], car.coupling)
    closed = engine.closed_throttle_torque(speed, car.engine)
    share = pedal.demand(time, phase, car.gearbox) * engine.limiter_share(speed, car.engine)
    torque = engine.demanded_torque(full, closed, share)
    least = min(closed, torque)
    command, taken = 0.0, pedal.TakeUp(0.0, 0.0)
    if held_slip:
        taken = pedal.take_up(time, y, car, phase, road)
        command = pedal.slip_command(time, y, car, phase, taken.now)
    if phase.stage == at.LAUNCHING:
        torque = min(torque, max(pedal.launch_torque(y, car, friction), least))
    load = engine.load_share(torque, full, closed)
    if held_slip and phase.stage != at.LAUNCHING:
        trimmed = pedal.trimmed_engine_torque(y, car, phase, road, full, taken.at_target, friction, fluid)
        torque = min(torque, max(trimmed, least))
    return Drive(torque, full, friction, fluid.pump, fluid.turbine, command, load)


@inline
def _elastic_axles(time: float, y: Array, car: Record, phase: Record) -> Axles:
    """What half shafts do that twist."""
    drive, fixed = car.drive, car.fixed
    if drive.locked == 0:
        share = drive.front_share
        rate = y[at.SHAFT_SPEED] - share * y[at.WHEEL_FRONT] - (1.0 - share) * y[at.WHEEL_REAR]
        torque = driveline.shaft_torque(y[at.TWIST_FRONT], rate, fixed.shaft_stiffness, fixed.shaft_damping)
        front, rear = share * torque, (1.0 - share) * torque
        return Axles(front, rear, front + rear, rate, 0.0, 0.0)
    if drive.clutched == 1:
        return driveline.clutched_axles(time, y, drive, phase)
    front_rate, rear_rate = y[at.SHAFT_SPEED] - y[at.WHEEL_FRONT], y[at.SHAFT_SPEED] - y[at.WHEEL_REAR]
    front = driveline.shaft_torque(y[at.TWIST_FRONT], front_rate, drive.shaft_stiffness[0], drive.shaft_damping[0])
    rear = driveline.shaft_torque(y[at.TWIST_REAR], rear_rate, drive.shaft_stiffness[1], drive.shaft_damping[1])
    return Axles(front, rear, front + rear, front_rate, rear_rate, 0.0)


@inline
def _rigid_torques(acceleration: float, load: Load, road: Ground, car: Record) -> tuple[float, float]:
    """Torque at the front and at the rear wheels, where half shafts do not twist [N m]."""
    if car.drive.locked == 1:
        front, rear = body.wheel_resistance(road, car)
        return car.front.axle_inertia * acceleration + front, car.rear.axle_inertia * acceleration + rear
    total = load.inertia * acceleration + load.torque
    return car.drive.front_share * total, (1.0 - car.drive.front_share) * total


@inline
def _through_gears(time: float, torque: float, inertia: float, load: Load, car: Record, phase: Record) -> Gearing:
    """What the gearbox does with a torque and an inertia on its input."""
    box = car.gearbox
    now, then = phase.gear, phase.oncoming_gear
    if phase.path == at.ENGAGED:
        return driveline.engaged(torque, inertia, box.ratio[now], box.efficiency[now], load)
    if phase.path == at.HANDING_OVER:
        share = min((time - phase.stage_start) / box.hand_over, 1.0)
        return driveline.handing_over(
            torque, inertia, share, box.ratio[now], box.efficiency[now], box.ratio[then], box.efficiency[then], load
        )
    closing = driveline.closing_torque(torque, inertia, box.ratio[then], box.efficiency[then], load, phase.closing_rate)
    out = driveline.directed_efficiency(closing, box.efficiency[then]) * box.ratio[then] * closing
    return Gearing((out - load.torque) / load.inertia, (torque - closing) / inertia, closing, out)


@inline
def balance_on(road: Ground, drive: Drive, time: float, y: Array, car: Record, phase: Record) -> Balance:
    """All forces and accelerations that follow from a state, from what the road does and from what the engine does.

    Parameters
    ----------
    road : Ground
        What the road does.
    drive : Drive
        What the engine and its coupling do.
    time : float
        Time [s].
    y : ndarray, shape (STATES,)
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
    stuck = phase.coupling == at.STUCK
    inertia = car.gearbox.input_inertia + (car.engine.inertia if stuck else 0.0)
    torque = drive.engine_torque if stuck else drive.friction + drive.turbine
    if car.drive.rigid == 1:
        resist_front, resist_rear = body.wheel_resistance(road, car)
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
        axles = Axles(front, rear, 0.0, 0.0, 0.0, 0.0)
    else:
        axles = _elastic_axles(time, y, car, phase)
        gearing = _through_gears(time, torque, inertia, Load(car.drive.inertia, axles.load), car, phase)
    if stuck:
        friction = drive.engine_torque - car.engine.inertia * gearing.input_acceleration
        engine_acceleration = gearing.input_acceleration
    else:
        friction = drive.friction
        engine_acceleration = (drive.engine_torque - drive.friction - drive.pump) / car.engine.inertia
    return Balance(road, drive, gearing, engine_acceleration, friction, axles)


@part
def balance(time: float, y: Array, car: Record, phase: Record) -> Balance:
    """All forces and accelerations that follow from a state.

    Parameters
    ----------
    time : float
        Time [s].
    y : ndarray, shape (STATES,)
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
    road = body.ground(time, y, car, phase)
    return balance_on(road, drive_torques(time, y, car, phase, road), time, y, car, phase)


@inline
def _apart(axle: int, wheels: Wheels, torque: float, turn: float, end: Record, drive: Record) -> Apart:
    """J w' = -T_lock - r (F_left - F_right) - (M_left - M_right), w half of left less right, J that of both wheels.

    Each `Wheels` is an axle of two such wheels, and half of what it does is its own.
    """
    force = 0.25 * (wheels.left.force - wheels.right.force)
    moment = 0.25 * (wheels.left.moment - wheels.right.moment)
    locking = sides.locking_torque(axle, torque, turn, drive)
    acceleration = -(locking + 2.0 * (force * end.radius + moment)) * end.per_inertia
    if drive.locking[axle] >= 1.0:
        acceleration = 0.0
    return Apart(acceleration, 0.5 * (wheels.left.slip_rate - wheels.right.slip_rate), force, moment, locking)


@part
def front_apart(load: float, torque: float, time: float, y: Array, car: Record, phase: Record) -> Apart:
    """How the two wheels of a front axle come apart.

    Parameters
    ----------
    load : float
        Load of the axle [N].
    torque : float
        Torque of the axle [N m].
    time : float
        Time [s].
    y : ndarray, shape (STATES,)
        State, SI units.
    car : Record
        The car.
    phase : Record
        The phase.

    Returns
    -------
    Apart
        Rates, force [N] and moments [N m].

    Source: Newton's second law for each wheel; the differential halves the torque but for what its clutches move.
    """
    wheels = body.front_wheels(load, time, y, car, phase)
    return _apart(0, wheels, torque, y[at.APART_FRONT], car.front, car.drive)


@part
def rear_apart(load: float, torque: float, time: float, y: Array, car: Record, phase: Record) -> Apart:
    """How the two wheels of a rear axle come apart.

    Parameters
    ----------
    load : float
        Load of the axle [N].
    torque : float
        Torque of the axle [N m].
    time : float
        Time [s].
    y : ndarray, shape (STATES,)
        State, SI units.
    car : Record
        The car.
    phase : Record
        The phase.

    Returns
    -------
    Apart
        Rates, force [N] and moments [N m].

    Source: see `front_apart`.
    """
    wheels = body.rear_wheels(load, time, y, car, phase)
    return _apart(1, wheels, torque, y[at.APART_REAR], car.rear, car.drive)


@inline
def work_rates_of(b: Balance, y: Array, car: Record, rates: Array) -> None:
    """Rates of the energy integrals.

    Parameters
    ----------
    b : Balance
        What follows from the state.
    y : ndarray, shape (STATES,)
        State, SI units.
    car : Record
        The car.
    rates : ndarray, shape (STATES,)
        Filled from the first integral on, SI units.

    Source: power is force times speed, and torque times angular speed.
    """
    speed = y[at.SPEED]
    road, drive = b.ground, b.drive
    rates[at.ENGINE_WORK] = drive.engine_torque * y[at.ENGINE_SPEED]
    rates[at.DRAG_WORK] = road.drag * speed
    rates[at.GRADE_WORK] = road.grade * speed
    rates[at.ROLLING_WORK] = road.front.moment * y[at.WHEEL_FRONT] + road.rear.moment * y[at.WHEEL_REAR]
    rates[at.SLIP_WORK_FRONT] = road.front.force * (y[at.WHEEL_FRONT] * car.front.radius - speed)
    rates[at.SLIP_WORK_REAR] = road.rear.force * (y[at.WHEEL_REAR] * car.rear.radius - speed)
    plates = b.friction * (y[at.ENGINE_SPEED] - y[at.INPUT_SPEED])
    fluid = drive.pump * y[at.ENGINE_SPEED] - drive.turbine * y[at.INPUT_SPEED]
    rates[at.COUPLING_WORK] = plates + fluid
    taken = b.gearing.input_torque * y[at.INPUT_SPEED]
    rates[at.GEARING_WORK] = taken - b.gearing.output_torque * y[at.SHAFT_SPEED]
    front, rear, damping = b.axles.twist_front, b.axles.twist_rear, car.drive.shaft_damping
    if car.drive.locked == 1:
        rates[at.TWIST_WORK] = damping[0] * front * front + damping[1] * rear * rear
    else:
        rates[at.TWIST_WORK] = car.fixed.shaft_damping * front * front
    rates[at.AXLE_CLUTCH_WORK] = 0.0
    if car.drive.clutched == 1:
        torque = b.axles.rear if car.drive.front_share >= 1.0 else b.axles.front
        rates[at.AXLE_CLUTCH_WORK] = torque * b.axles.slip


@inline
def motion_of(b: Balance, y: Array, car: Record, phase: Record, out: Array) -> None:
    """Rate of every state but the energy integrals, from the forces that act in it.

    Parameters
    ----------
    b : Balance
        What follows from the state.
    y : ndarray, shape (STATES,)
        State, SI units.
    car : Record
        The car.
    phase : Record
        The phase.
    out : ndarray, shape (STATES,)
        Filled with the rates, SI units.

    Source: Newton's second law; see `balance`.
    """
    road = b.ground
    free = 0.0 if phase.braked == 1 else 1.0
    out[at.DISTANCE] = y[at.SPEED]
    out[at.SPEED] = road.acceleration
    resist_front, resist_rear = body.wheel_resistance(road, car)
    out[at.WHEEL_FRONT] = free * (b.axles.front - resist_front) * car.front.per_inertia
    out[at.WHEEL_REAR] = free * (b.axles.rear - resist_rear) * car.rear.per_inertia
    out[at.SLIP_FRONT] = road.front.slip_rate
    out[at.SLIP_REAR] = road.rear.slip_rate
    brakes = road.drag + road.grade if phase.braked == 1 else 0.0
    settled = (road.front.force + road.rear.force + brakes) * car.fixed.lever
    out[at.TRANSFER] = y[at.TRANSFER_RATE]
    out[at.TRANSFER_RATE] = body.transfer_acceleration(y[at.TRANSFER], y[at.TRANSFER_RATE], settled, car.body)
    out[at.ENGINE_SPEED] = b.engine_acceleration
    out[at.INPUT_SPEED] = b.gearing.input_acceleration
    out[at.SHAFT_SPEED] = b.gearing.shaft_acceleration
    breathing = pedal.breathing(b.drive.load, phase, car.gearbox)
    out[at.BOOST] = engine.boost_rate(y[at.BOOST], y[at.ENGINE_SPEED], breathing, car.engine)
    out[at.REQUEST] = 0.0
    if car.pedal.kind == _HELD_SLIP:
        out[at.REQUEST] = pedal.request_rate(y[at.REQUEST], b.drive.command, car.pedal.delay)
    out[at.TWIST_FRONT], out[at.TWIST_REAR] = b.axles.twist_front, b.axles.twist_rear
    for i in range(at.APART_FRONT, at.INTEGRALS):
        out[i] = 0.0


@inline
def rates_of(b: Balance, y: Array, car: Record, phase: Record, out: Array) -> None:
    """Rate of every state, from the forces that act in it.

    Parameters
    ----------
    b : Balance
        What follows from the state.
    y : ndarray, shape (STATES,)
        State, SI units.
    car : Record
        The car.
    phase : Record
        The phase.
    out : ndarray, shape (STATES,)
        Filled with the rates, SI units.

    Source: Newton's second law; see `balance`.
    """
    motion_of(b, y, car, phase, out)
    work_rates_of(b, y, car, out)


@part
def add_apart(b: Balance, time: float, y: Array, car: Record, phase: Record, whole: bool, out: Array) -> None:
    """Complete rates with what the wheels of axles differ by.

    Cars whose wheels do not differ branch off before any rate is worked out: a branch here would cost them a tenth.

    Parameters
    ----------
    b : Balance
        What follows from the state.
    time : float
        Time [s].
    y : ndarray, shape (STATES,)
        State, SI units.
    car : Record
        The car.
    phase : Record
        The phase.
    whole : bool
        Whether the energy integrals are wanted.
    out : ndarray, shape (STATES,)
        Rates without that, SI units; completed.

    Source: see `front_apart`; power is torque times angular speed.
    """
    free = 0.0 if phase.braked == 1 else 1.0
    if car.fixed.front_paired == 1:
        front = front_apart(b.ground.front.load, b.axles.front, time, y, car, phase)
        out[at.APART_FRONT], out[at.SLIP_APART_FRONT] = free * front.acceleration, front.slip_rate
        if whole:
            out[at.ROLLING_WORK] += 2.0 * front.moment * y[at.APART_FRONT]
            out[at.SLIP_WORK_FRONT] += 2.0 * front.force * y[at.APART_FRONT] * car.front.radius
            out[at.GEARING_WORK] += front.locking * y[at.APART_FRONT]
    if car.fixed.rear_paired == 1:
        rear = rear_apart(b.ground.rear.load, b.axles.rear, time, y, car, phase)
        out[at.APART_REAR], out[at.SLIP_APART_REAR] = free * rear.acceleration, rear.slip_rate
        out[at.CROSS_LOAD] = (car.drive.cross_lever * b.axles.rear - y[at.CROSS_LOAD]) * _PER_CROSS_TIME
        if whole:
            out[at.ROLLING_WORK] += 2.0 * rear.moment * y[at.APART_REAR]
            out[at.SLIP_WORK_REAR] += 2.0 * rear.force * y[at.APART_REAR] * car.rear.radius
            out[at.GEARING_WORK] += rear.locking * y[at.APART_REAR]


@part
def _rates_of_wheels(time: float, y: Array, car: Record, phase: Record, out: Array) -> None:
    """Rate of every state of a car with an axle whose wheels differ."""
    b = balance(time, y, car, phase)
    rates_of(b, y, car, phase, out)
    add_apart(b, time, y, car, phase, True, out)


@part
def rates(time: float, y: Array, car: Record, phase: Record, out: Array) -> None:
    """Rate of every state.

    Parameters
    ----------
    time : float
        Time [s].
    y : ndarray, shape (STATES,)
        State, SI units.
    car : Record
        The car.
    phase : Record
        The phase.
    out : ndarray, shape (STATES,)
        Filled with the rates, SI units.

    Source: Newton's second law; see `balance`.
    """
    if car.drive.paired == 1:
        _rates_of_wheels(time, y, car, phase, out)
        return
    road = body.ground(time, y, car, phase)
    drive = drive_torques(time, y, car, phase, road)
    rates_of(balance_on(road, drive, time, y, car, phase), y, car, phase, out)


@part
def stored_energy(y: Array, car: Record) -> float:
    """Kinetic energy of car, wheels, engine and gearbox, and energy in twisted half shafts.

    Parameters
    ----------
    y : ndarray, shape (STATES,)
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
    energy += car.front.axle_inertia * y[at.APART_FRONT] ** 2 + car.rear.axle_inertia * y[at.APART_REAR] ** 2
    energy += car.gearbox.input_inertia * y[at.INPUT_SPEED] ** 2 + drive.inertia * y[at.SHAFT_SPEED] ** 2
    if drive.rigid == 0 and drive.locked == 1:
        energy += drive.shaft_stiffness[0] * y[at.TWIST_FRONT] ** 2 + drive.shaft_stiffness[1] * y[at.TWIST_REAR] ** 2
    elif drive.rigid == 0:
        energy += car.fixed.shaft_stiffness * y[at.TWIST_FRONT] ** 2
    return 0.5 * energy
