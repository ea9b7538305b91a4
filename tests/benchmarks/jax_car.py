"""The physics of a launch written once more, in jax.numpy, for many cars at once.

Every number is an array with one value for each car; where `simlaunch.physics` branches, both ways are worked out and
one is taken. The names are those of `simlaunch.physics`, which says where each equation comes from. Cars are complete:
what follows from their other numbers alone is read from them, as our own rates do.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import jax.numpy as jnp

from benchmarks.jax_numbers import Values, choose, pick, value_at
from simlaunch.physics import engine as motor
from simlaunch.physics import pedal as control
from simlaunch.physics import state as at
from simlaunch.physics import tyre as rubber
from simlaunch.record import Coupling, Pedal
from simlaunch.simulation import events as ev

_CONVERTER, _HELD_SLIP = int(Coupling.TORQUE_CONVERTER), int(Pedal.HELD_SLIP)


class Motion(NamedTuple):
    """The states that act on the motion, in the order of the state vector."""

    speed: Values
    wheel_front: Values
    wheel_rear: Values
    slip_front: Values
    slip_rear: Values
    transfer: Values
    transfer_rate: Values
    engine_speed: Values
    input_speed: Values
    shaft_speed: Values
    twist_front: Values
    twist_rear: Values
    boost: Values
    request: Values
    distance: Values


class Evaluation(NamedTuple):
    """All that follows from a state."""

    rates: Motion
    events: tuple[Values, ...]
    friction: Values  # torque through friction plates, stuck or slipping [N m]
    capacity: Values  # what they can carry [N m]


# --- tyre and body


def _contact(slip: Values, load: Values, tyre: Any, surface: Values) -> tuple[Values, Values]:
    """Force of an axle's tyres [N] and share of the slip stiffness that is left."""
    change = load * tyre.per_load - 1.0
    friction = jnp.maximum(tyre.friction + tyre.friction_load * change, 0.1 * tyre.friction) * surface
    e = tyre.curvature + change * (tyre.curvature_load + change * tyre.curvature_load_square)
    e = jnp.minimum(e, 1.0)
    per_load = (tyre.slip_stiffness + tyre.stiffness_load * change) * jnp.exp(tyre.stiffness_load_exponent * change)
    b = jnp.maximum(per_load, 0.1 * tyre.slip_stiffness) * tyre.per_shape / friction
    x = b * slip
    inner = x - e * (x - jnp.arctan(x))
    angle = tyre.shape_factor * jnp.arctan(inner)
    slope = jnp.cos(angle) / (1.0 + inner * inner) * (1.0 - e + e / (1.0 + x * x))
    return jnp.where(load > rubber._NO_LOAD, friction * load * jnp.sin(angle), 0.0), slope


def _standard_slip(bounded: Values) -> Values:
    return jnp.where(bounded <= 0.0, bounded, bounded / jnp.maximum(1.0 - bounded, 1e-9))


def _damped_slip(transient: Values, speed: Values, rim: Values, tyre: Any) -> Values:
    rolling = jnp.maximum(jnp.abs(speed), jnp.abs(rim))
    weight = 0.5 * (1.0 + jnp.cos(jnp.pi * jnp.minimum(rolling / tyre.low_speed, 1.0)))
    damping = tyre.slip_damping * weight
    return _standard_slip(transient + jnp.where(rolling >= tyre.low_speed, 0.0, damping * (rim - speed)))


def _slip_rate(transient: Values, speed: Values, rim: Values, slip: Values, slope: Values, tyre: Any) -> Values:
    rolling = jnp.maximum(jnp.abs(speed), jnp.abs(rim))
    to_bounded = jnp.where(slip > 0.0, (1.0 + slip) * (1.0 + slip), 1.0)
    length = tyre.relaxation_length * jnp.maximum(slope * to_bounded, rubber._SHORTEST_RELAXATION)
    length = jnp.maximum(length, rolling * rubber._QUICKEST_RELAXATION)
    return (rim - speed - rolling * transient) / length


def _moment(load: Values, rim: Values, speed: Values, tyre: Any, rolling: Values, brake: Values) -> Values:
    coefficient = (tyre.rolling_resistance + tyre.rolling_resistance_square * speed * speed) * rolling
    return (coefficient * load * tyre.radius + brake) * jnp.tanh(rim * rubber._PER_ROLLING_SPEED)


class Axle(NamedTuple):
    """What the road does to an axle."""

    load: Values
    slip: Values
    force: Values
    moment: Values
    slip_rate: Values
    resistance: Values  # torque that resists the wheels [N m]


class Road(NamedTuple):
    """What road and air do to the car."""

    front: Axle
    rear: Axle
    drag: Values
    grade: Values
    acceleration: Values


def _axle(load: Values, wheel: Values, transient: Values, brake: Values, y: Motion, tyre: Any, road: Any) -> Axle:
    rim = wheel * tyre.radius
    slip = _damped_slip(transient, y.speed, rim, tyre)
    force, slope = _contact(slip, load, tyre, road.friction_factor)
    moment = _moment(load, rim, y.speed, tyre, road.rolling_factor, brake)
    rate = _slip_rate(transient, y.speed, rim, slip, slope, tyre)
    return Axle(load, slip, force, moment, rate, force * tyre.radius + moment)


def _pressed(y: Motion, car: Any) -> Values:
    """Square of the speed of the air, with its sign."""
    speed = y.speed + car.air.head_wind
    return speed * jnp.abs(speed)


def _ground(t: Values, y: Motion, car: Any, phase: Any) -> Road:
    fixed, pressed = car.fixed, _pressed(y, car)
    lift_front, lift_rear, drag = fixed.lift_front * pressed, fixed.lift_rear * pressed, fixed.drag * pressed
    total = jnp.maximum(fixed.weight - lift_front - lift_rear, 0.0)
    front_load = jnp.clip(fixed.weight_front - lift_front - y.transfer, 0.0, total)
    elapsed, release = t - phase.brake_off, car.launch.brake_release
    brake = jnp.where(elapsed >= release, 0.0, 1.0 - jnp.maximum(elapsed, 0.0) / release)
    front = _axle(front_load, y.wheel_front, y.slip_front, brake * car.launch.brake_front, y, car.front, car.road)
    rear = _axle(total - front_load, y.wheel_rear, y.slip_rear, brake * car.launch.brake_rear, y, car.rear, car.road)
    acceleration = (front.force + rear.force - drag - fixed.grade) * fixed.per_mass
    return Road(front, rear, drag, fixed.grade, jnp.where(phase.braked == 1, 0.0, acceleration))


# --- engine, coupling and slip control


class Gears(NamedTuple):
    """The gears that a phase has to do with."""

    ratio: Values
    efficiency: Values
    oncoming_ratio: Values
    oncoming_efficiency: Values
    shift_road_speed: Values
    torque_limit: Values  # of the gear that carries most of the torque [N m]

    def carrying(self, phase: Any) -> tuple[Values, Values]:
        """Ratio and efficiency of the gear that carries most of the torque."""
        oncoming = phase.path == at.ONCOMING
        return (
            jnp.where(oncoming, self.oncoming_ratio, self.ratio),
            jnp.where(oncoming, self.oncoming_efficiency, self.efficiency),
        )


def gears(car: Any, phase: Any) -> Gears:
    """Look up the gears of a phase."""
    box = car.gearbox
    return Gears(
        pick(box.ratio, phase.gear),
        pick(box.efficiency, phase.gear),
        pick(box.ratio, phase.oncoming_gear),
        pick(box.efficiency, phase.oncoming_gear),
        pick(box.shift_road_speed, phase.gear),
        pick(car.engine.gear_limit, jnp.where(phase.path == at.ONCOMING, phase.oncoming_gear, phase.gear)),
    )


def _driven_radius(car: Any) -> Values:
    return jnp.where(car.drive.front_share >= 1.0, car.front.radius, car.rear.radius)


def friction_capacity(t: Values, car: Any, phase: Any) -> Values:
    """Torque that the friction plates can carry now [N m]."""
    elapsed, ramp = t - phase.engagement_start, phase.engagement_time
    share = jnp.where(elapsed >= ramp, 1.0, jnp.maximum(elapsed, 0.0) / ramp)
    return jnp.where(phase.coupling == at.OPEN, 0.0, car.coupling.capacity * share)


def _demand(t: Values, phase: Any, box: Any) -> Values:
    elapsed = t - phase.stage_start
    demand = jnp.where(phase.stage == at.RAMPING_DOWN, jnp.maximum(1.0 - elapsed / box.ramp_down, 0.0), 1.0)
    demand = jnp.where(phase.stage == at.IN_GAP, 0.0, demand)
    demand = jnp.where(phase.stage == at.RAMPING_UP, jnp.minimum(elapsed / box.ramp_up, 1.0), demand)
    return jnp.where(phase.stage == at.IN_INERTIA_PHASE, 1.0 - box.dip, demand)


def _target_slip(speed: Values, car: Any) -> Values:
    to_go = jnp.clip(1.0 - speed / control._FULL_TARGET, 0.0, 1.0)
    return car.pedal.target_slip * (1.0 - control._LESS_AT_REST * to_go * to_go)


def _rim_share(speed: Values, end: Any, car: Any) -> Values:
    largest = jnp.maximum(car.front.radius, car.rear.radius)
    return (1.0 + _target_slip(speed, car)) * jnp.where(car.drive.locked == 1, end.radius / largest, 1.0)


class TakeUp(NamedTuple):
    """Torque that tyres pass on: one beyond its target as it is now, and all of them at their target [N m]."""

    now: Values
    at_target: Values


def _axle_take_up(axle: Axle, speed: Values, road: Road, end: Any, car: Any) -> TakeUp:
    share = _rim_share(speed, end, car)
    at_target, _ = _contact(share - 1.0, axle.load, end, car.road.friction_factor)
    now = jnp.where(axle.slip <= share - 1.0, at_target, axle.force)
    rest = axle.moment + end.axle_inertia * road.acceleration * share / end.radius
    return TakeUp(end.radius * now + rest, end.radius * at_target + rest)


def _split(front: Values, rear: Values, car: Any) -> Values:
    share = car.drive.front_share
    least = jnp.minimum(front / share, rear / (1.0 - share))
    split = jnp.where(share >= 1.0, front, jnp.where(share <= 0.0, rear, least))
    return jnp.where(car.drive.locked == 1, front + rear, split)


def _take_up(y: Motion, road: Road, car: Any) -> TakeUp:
    front = _axle_take_up(road.front, y.speed, road, car.front, car)
    rear = _axle_take_up(road.rear, y.speed, road, car.rear, car)
    return TakeUp(_split(front.now, rear.now, car), _split(front.at_target, rear.at_target, car))


def _slip_command(y: Motion, car: Any, phase: Any, gear: Gears, grip: Values) -> Values:
    locked = car.drive.locked == 1
    share = jnp.where(locked, 0.5, car.drive.front_share)
    over_front = y.wheel_front - _rim_share(y.speed, car.front, car) * y.speed / car.front.radius
    over_rear = y.wheel_rear - _rim_share(y.speed, car.rear, car) * y.speed / car.rear.radius
    front_leads = (share >= 1.0) | ((share > 0.0) & (over_front > over_rear))
    over = jnp.where(locked, 0.5 * (over_front + over_rear), jnp.where(front_leads, over_front, over_rear))
    ratio, _ = gear.carrying(phase)
    turning = car.gearbox.input_inertia + jnp.where(phase.coupling == at.STUCK, car.engine.inertia, 0.0)
    inner = car.drive.inertia + ratio * ratio * turning
    inertia = inner + car.front.axle_inertia + car.rear.axle_inertia
    twist_rate = y.shaft_speed - share * y.wheel_front - (1.0 - share) * y.wheel_rear
    return grip - inertia * (over + inner / inertia * twist_rate) / (4.0 * car.pedal.delay)


def _root(square: Values) -> Values:
    return jnp.where(square > 0.0, jnp.sqrt(jnp.where(square > 0.0, square, 1.0)), 0.0)


class Drive(NamedTuple):
    """What the engine does, and what its coupling passes on [N m]; the load that boost follows [-]."""

    engine: Values
    friction: Values
    pump: Values
    turbine: Values
    command: Values
    load: Values


def _fluid(y: Motion, car: Any) -> tuple[Values, Values, Values, Values]:
    """Pump and turbine torque, and capacity and torque ratio at a speed ratio of at most 1."""
    ratio = y.input_speed / jnp.maximum(y.engine_speed, 1.0)
    square = y.engine_speed * y.engine_speed
    capacity, multiple = value_at(car.coupling.fluid_capacity, ratio), value_at(car.coupling.torque_ratio, ratio)
    carried_back = car.coupling.fluid_capacity.end_slope * (1.0 - ratio) * square
    pump = jnp.where(ratio <= 1.0, capacity * square, carried_back)
    turbine = jnp.where(ratio <= 1.0, capacity * square * multiple, carried_back)
    capped = jnp.minimum(ratio, 1.0)
    at_capped = value_at(car.coupling.fluid_capacity, capped), value_at(car.coupling.torque_ratio, capped)
    return pump, turbine, *at_capped


def _drive(t: Values, y: Motion, car: Any, phase: Any, gear: Gears, road: Road) -> Drive:
    engine, speed = car.engine, y.engine_speed
    held_slip, by_fluid = car.pedal.kind == _HELD_SLIP, car.coupling.kind == _CONVERTER
    ratio, efficiency = gear.carrying(phase)
    pace = road.acceleration * (1.0 + car.pedal.target_slip) / _driven_radius(car)

    def at_input(axle_torque: Values) -> Values:
        at_gear = jnp.maximum(axle_torque, 0.0) + car.drive.inertia * pace
        return at_gear / (ratio * efficiency) + car.gearbox.input_inertia * ratio * pace

    wanted, take_up = at_input(y.request), _take_up(y, road, car)
    full = value_at(engine.torque, speed) * (1.0 - engine.lagged_share * (1.0 - y.boost))
    full = jnp.minimum(full, gear.torque_limit)
    held = jnp.maximum(car.launch.engine_speed, y.input_speed)
    taken = jnp.maximum(wanted, 0.0)
    holding = jnp.maximum(full + engine.inertia * control._GOVERNOR * (speed - held), 0.0)
    excess = jnp.clip((car.coupling.capacity / jnp.maximum(taken, 1.0) - 1.0) / control._OVERWHELMS, 0.0, 1.0)
    led = taken + jnp.where(phase.stage == at.LAUNCHING, excess, 0.0) * (jnp.minimum(holding, taken) - taken)
    capacity = friction_capacity(t, car, phase)
    capacity = jnp.where(held_slip & ~by_fluid, jnp.minimum(capacity, led), capacity)
    friction = jnp.where(phase.coupling == at.SLIPPING, phase.slip_direction * capacity, 0.0)
    pump, turbine, fluid_capacity, multiple = _fluid(y, car)
    through_fluid = by_fluid & (phase.coupling != at.STUCK)
    pump, turbine = jnp.where(through_fluid, pump, 0.0), jnp.where(through_fluid, turbine, 0.0)
    closed = -value_at(engine.overrun, speed) * jnp.tanh((speed - engine.idle) / (0.1 * engine.idle))
    limiter = jnp.clip((engine.rev_limit - speed) / engine.limiter_band, 0.0, 1.0)
    torque = closed + _demand(t, phase, car.gearbox) * limiter * (full - closed)
    least = jnp.minimum(closed, torque)
    asked = _root(jnp.maximum(wanted, 0.0) / multiple / jnp.maximum(fluid_capacity, 1e-6))
    turbine_at_target = ratio * (1.0 + _target_slip(y.speed, car)) * y.speed / _driven_radius(car)
    at_target = jnp.minimum(turbine_at_target / jnp.maximum(speed, 1.0), 1.0)
    factor = jnp.maximum(value_at(car.coupling.fluid_capacity, at_target), 1e-6)
    usable = jnp.maximum(at_input(take_up.at_target), 0.0)
    most = _root(usable / value_at(car.coupling.torque_ratio, at_target) / factor)
    spare = (full / jnp.maximum(factor * most * most, 1.0) - 1.0) / control._SPARE
    setting_off = jnp.clip(2.0 * (1.0 - y.speed / control._SET_OFF), 0.0, 1.0)
    pump_speed = asked + setting_off * jnp.clip(1.0 - spare, 0.0, 1.0) * jnp.maximum(most - asked, 0.0)
    by_pump = pump + friction + engine.inertia * control._PUMP_GOVERNOR * (pump_speed - speed)
    relief = control._RELIEF * jnp.maximum(wanted - jnp.abs(friction), 0.0)
    wanted = wanted + jnp.where(phase.coupling == at.SLIPPING, relief, 0.0)
    by_clutch = wanted + engine.inertia * (ratio * pace + control._GOVERNOR * (y.input_speed - speed))
    trimmed = jnp.minimum(torque, jnp.maximum(jnp.where(through_fluid, by_pump, by_clutch), least))
    launching = friction + engine.inertia * control._GOVERNOR * (held - speed)
    launching = jnp.minimum(torque, jnp.maximum(launching, least))
    asked = jnp.where(phase.stage == at.LAUNCHING, launching, torque)
    load = jnp.clip(1.0 - (full - asked) / jnp.maximum(full - closed, motor._NO_TORQUE), 0.0, 1.0)
    torque = jnp.where(held_slip & (phase.stage != at.LAUNCHING), trimmed, asked)
    command = jnp.where(held_slip, _slip_command(y, car, phase, gear, take_up.now), 0.0)
    return Drive(torque, friction, pump, turbine, command, load)


# --- gearbox, half shafts and wheels


def _directed(torque: Values, efficiency: Values) -> Values:
    return jnp.where(torque >= 0.0, efficiency, 1.0 / efficiency)


class Shafts(NamedTuple):
    """Accelerations of the half shafts' inner end and of the gearbox input, and torques at both sides of the gears."""

    out: Values
    into: Values
    input_torque: Values
    output_torque: Values


def _engaged(torque: Values, inertia: Values, ratio: Values, efficiency: Values, load: tuple[Values, Values]) -> Shafts:
    carried, resisting = load
    e = _directed(torque + inertia * ratio * resisting / carried, efficiency)
    acceleration = (e * ratio * torque - resisting) / (carried + e * ratio * ratio * inertia)
    through = torque - inertia * ratio * acceleration
    return Shafts(acceleration, ratio * acceleration, through, e * ratio * through)


def _through_gears(
    t: Values, torque: Values, inertia: Values, load: tuple[Values, Values], car: Any, phase: Any, gear: Gears
) -> Shafts:
    carried, resisting = load
    alone = _engaged(torque, inertia, gear.ratio, gear.efficiency, load)
    share = jnp.minimum((t - phase.stage_start) / car.gearbox.hand_over, 1.0)
    combined = (1.0 - share) * gear.efficiency + share * gear.oncoming_efficiency * gear.oncoming_ratio / gear.ratio
    handed = _engaged(torque, inertia, gear.ratio, combined, load)
    tied = choose((phase.path == at.HANDING_OVER) & (handed.input_torque >= 0.0), handed, alone)
    ratio, efficiency = gear.oncoming_ratio, gear.oncoming_efficiency
    wanted = torque + inertia * (ratio * resisting / carried + phase.closing_rate)
    e = _directed(wanted, efficiency)
    closing = wanted / (1.0 + e * ratio * ratio * inertia / carried)
    closing = jnp.where(phase.closing_rate > 0.0, jnp.maximum(closing, 0.0), jnp.minimum(closing, 0.0))
    out = _directed(closing, efficiency) * ratio * closing
    slipping = Shafts((out - resisting) / carried, (torque - closing) / inertia, closing, out)
    return choose(phase.path == at.ONCOMING, slipping, tied)


class Wheels(NamedTuple):
    """The load of the gearbox, and what elastic half shafts do."""

    load: tuple[Values, Values]  # of rigid half shafts: wheels as an inertia and a resisting torque
    front: Values  # torque of elastic half shafts [N m]
    rear: Values
    twist_front: Values  # rates of twist [rad/s]
    twist_rear: Values


def _wheels(y: Motion, car: Any, road: Road) -> Wheels:
    drive, share, locked = car.drive, car.drive.front_share, car.drive.locked == 1
    front_rate, rear_rate = y.shaft_speed - y.wheel_front, y.shaft_speed - y.wheel_rear
    rate = y.shaft_speed - share * y.wheel_front - (1.0 - share) * y.wheel_rear
    through = car.fixed.shaft_stiffness * y.twist_front + car.fixed.shaft_damping * rate
    front = drive.shaft_stiffness[0] * y.twist_front + drive.shaft_damping[0] * front_rate
    rear = drive.shaft_stiffness[1] * y.twist_rear + drive.shaft_damping[1] * rear_rate
    of_front, of_rear = share * car.front.per_inertia, (1.0 - share) * car.rear.per_inertia
    inertia = 1.0 / (share * of_front + (1.0 - share) * of_rear)
    split = of_front * road.front.resistance + of_rear * road.rear.resistance
    rigid = drive.rigid == 1
    return Wheels(
        (
            jnp.where(locked, car.front.axle_inertia + car.rear.axle_inertia, inertia),
            jnp.where(locked, road.front.resistance + road.rear.resistance, inertia * split),
        ),
        jnp.where(locked, front, share * through),
        jnp.where(locked, rear, (1.0 - share) * through),
        jnp.where(rigid, 0.0, jnp.where(locked, front_rate, rate)),
        jnp.where(rigid | ~locked, 0.0, rear_rate),
    )


def _gearing(
    t: Values, torque: Values, inertia: Values, wheels: Wheels, road: Road, car: Any, phase: Any, gear: Gears
) -> tuple[Shafts, Values, Values]:
    """What the gears do, and the torques on the front and on the rear wheels."""
    rigid, share = car.drive.rigid == 1, car.drive.front_share
    elastic = (car.drive.inertia, wheels.front + wheels.rear)
    load = choose(rigid, (wheels.load[0] + car.drive.inertia, wheels.load[1]), elastic)
    shafts = _through_gears(t, torque, inertia, load, car, phase, gear)
    output = _directed(torque, gear.efficiency) * gear.ratio * torque
    held = rigid & (phase.braked == 1)
    shafts = choose(held, Shafts(0.0, 0.0, torque, output), shafts)
    total = wheels.load[0] * shafts.out + wheels.load[1]
    locked = car.drive.locked == 1
    front = jnp.where(locked, car.front.axle_inertia * shafts.out + road.front.resistance, share * total)
    rear = jnp.where(locked, car.rear.axle_inertia * shafts.out + road.rear.resistance, (1.0 - share) * total)
    front, rear = jnp.where(held, share * output, front), jnp.where(held, output - share * output, rear)
    return shafts, jnp.where(rigid, front, wheels.front), jnp.where(rigid, rear, wheels.rear)


# --- rates and events


def _boost_rate(y: Motion, load: Values, car: Any, phase: Any) -> Values:
    in_gap = (phase.stage == at.RAMPING_DOWN) | (phase.stage == at.IN_GAP) | (phase.stage == at.RAMPING_UP)
    by_ignition = (phase.stage == at.IN_INERTIA_PHASE) | (in_gap & (car.gearbox.throttle_open == 1))
    missing = jnp.where(by_ignition, 1.0, load) - y.boost
    rising = value_at(car.engine.boost_time, y.engine_speed)
    return missing / jnp.where(missing > 0.0, rising, car.engine.boost_decay)


def _events(
    y: Motion, car: Any, phase: Any, gear: Gears, road: Road, spare: Values, drive_force: Values
) -> tuple[Values, ...]:
    run, box, one = car.run, car.gearbox, ev._INACTIVE
    engaging = phase.stage == at.DRIVING
    by_fluid = car.coupling.kind == _CONVERTER
    lock = by_fluid & engaging & (phase.coupling == at.OPEN)
    lock &= (car.coupling.lock_gear > 0) & (car.coupling.lock_gear <= phase.gear + 1)
    may_shift = engaging & (phase.path == at.ENGAGED) & (phase.gear < box.count - 1) & (car.launch.hold_gear == 0)
    apart = y.input_speed - gear.oncoming_ratio * y.shaft_speed
    band, side = car.engine.limiter_band, phase.limiter_side
    over, reach = y.engine_speed - (car.engine.rev_limit - band), ev._LIMITER_REACH * band
    front = car.fixed.weight_front - car.fixed.lift_front * _pressed(y, car) - y.transfer
    slip = (y.engine_speed - y.input_speed) * phase.slip_direction
    values = {
        ev.TARGETS_PASSED: jnp.maximum(run.stop_distance - y.distance, run.stop_speed - y.speed),
        ev.SPEEDS_MEET: jnp.where(phase.coupling == at.SLIPPING, slip, one),
        ev.BREAKS_AWAY: jnp.where(phase.coupling == at.STUCK, spare, one),
        ev.SHIFT_BEGINS: jnp.where(may_shift, gear.shift_road_speed - y.speed, one),
        ev.GEAR_CLOSES: jnp.where(phase.path == at.ONCOMING, jnp.where(phase.closing_rate > 0.0, apart, -apart), one),
        ev.LOCK_UP: jnp.where(lock, car.coupling.lock_ratio - y.input_speed / jnp.maximum(y.engine_speed, 1.0), one),
        ev.BRAKE_OFF: jnp.where(phase.braked == 1, road.grade + road.drag - drive_force, one),
        ev.STALLS: y.engine_speed - ev._STALL_SHARE * car.engine.idle,
        ev.LIMITER_UP: jnp.where(side < 2, side * band + reach - over, one),
        ev.LIMITER_DOWN: jnp.where(side > 0, over + reach - (side - 1) * band, one),
        ev.FRONT_LIFT: jnp.where(phase.front_lifted == 1, -front, front),
    }
    return tuple(values[index] for index in range(ev.EVENTS))


def evaluate(t: Values, y: Motion, car: Any, phase: Any, gear: Gears) -> Evaluation:
    """Rates, event functions and friction torque at a state."""
    road = _ground(t, y, car, phase)
    drive = _drive(t, y, car, phase, gear, road)
    stuck, braked = phase.coupling == at.STUCK, phase.braked == 1
    inertia = car.gearbox.input_inertia + jnp.where(stuck, car.engine.inertia, 0.0)
    torque = jnp.where(stuck, drive.engine, drive.friction + drive.turbine)
    wheels = _wheels(y, car, road)
    shafts, front, rear = _gearing(t, torque, inertia, wheels, road, car, phase, gear)
    friction = jnp.where(stuck, drive.engine - car.engine.inertia * shafts.into, drive.friction)
    free_engine = (drive.engine - drive.friction - drive.pump) / car.engine.inertia
    brakes = jnp.where(braked, road.drag + road.grade, 0.0)
    body, w = car.body, car.body.pitch_frequency
    settled = (road.front.force + road.rear.force + brakes) * car.fixed.lever
    rates = Motion(
        road.acceleration,
        jnp.where(braked, 0.0, (front - road.front.resistance) * car.front.per_inertia),
        jnp.where(braked, 0.0, (rear - road.rear.resistance) * car.rear.per_inertia),
        road.front.slip_rate,
        road.rear.slip_rate,
        y.transfer_rate,
        w * w * (settled - y.transfer) - 2.0 * body.pitch_damping * w * y.transfer_rate,
        jnp.where(stuck, shafts.into, free_engine),
        shafts.into,
        shafts.out,
        wheels.twist_front,
        wheels.twist_rear,
        _boost_rate(y, drive.load, car, phase),
        jnp.where(car.pedal.kind == _HELD_SLIP, (drive.command - y.request) / car.pedal.delay, 0.0),
        y.speed,
    )
    capacity = friction_capacity(t, car, phase)
    drive_force = front / car.front.radius + rear / car.rear.radius
    events = _events(y, car, phase, gear, road, capacity - jnp.abs(friction), drive_force)
    return Evaluation(rates, events, friction, capacity)
