"""What is asked of the engine: full load, the schedule of a shift, and the slip control."""

from __future__ import annotations

from math import sqrt
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from simlaunch.compiled import inline, part
from simlaunch.physics import driveline, sides, tyre
from simlaunch.physics import state as at
from simlaunch.physics.body import Footing, Ground
from simlaunch.physics.driveline import driven_radius
from simlaunch.physics.table import value_at
from simlaunch.record import Coupling, Record

Array = NDArray[np.float64]

_CONVERTER = int(Coupling.TORQUE_CONVERTER)
_GOVERNOR = 20.0  # rate at which engine speed is held while a friction clutch slips [1/s]
_PUMP_GOVERNOR = 50.0  # the same for a pump speed: a slower one lags behind what the tyres could take [1/s]
_RELIEF = 20.0  # engine torque let through for each torque that the tyres could take beyond the clutch [-]
_OVERWHELMS = 0.25  # by this share a clutch must be able to exceed the tyres before slip control leads it fully [-]
_LESS_AT_REST = 0.2  # share of the target slip that is left out at standstill [-]
_FULL_TARGET = 8.0  # road speed from which the whole target is aimed at [m/s]
_SET_OFF = 4.0  # road speed from which a pump is held up no more; up to half of it, in full [m/s]
_SPARE = 0.3  # share by which the engine must exceed the pump that the tyres can use before none is held up [-]


@inline
def demand(time: float, phase: Record, gearbox: Record) -> float:
    """Share of full load that the run asks for: all of it, except while a gear is changed.

    Parameters
    ----------
    time : float
        Time [s].
    phase : Record
        The phase.
    gearbox : Record
        The gearbox with its shift times.

    Returns
    -------
    float
        Demand, 0 to 1 [-].

    Source: common practice: torque is ramped out and in around a gap, or dipped during the inertia phase.
    """
    elapsed = time - phase.stage_start
    if phase.stage == at.RAMPING_DOWN:
        return max(1.0 - elapsed / gearbox.ramp_down, 0.0)
    if phase.stage == at.IN_GAP:
        return 0.0
    if phase.stage == at.RAMPING_UP:
        return min(elapsed / gearbox.ramp_up, 1.0)
    if phase.stage == at.IN_INERTIA_PHASE:
        return 1.0 - float(gearbox.dip)
    return 1.0


@inline
def breathing(load: float, phase: Record, gearbox: Record) -> float:
    """Share of full load at which the engine breathes: its load, and all of it where ignition makes a shift's dip.

    Parameters
    ----------
    load : float
        Share of full load that is asked of the engine, 0 to 1 [-].
    phase : Record
        The phase.
    gearbox : Record
        The gearbox with its shift habits.

    Returns
    -------
    float
        Share, 0 to 1 [-].

    Source: common practice: the dip of an automatic shift, and a gap with open throttle, are made by ignition.
    """
    in_gap = phase.stage == at.RAMPING_DOWN or phase.stage == at.IN_GAP or phase.stage == at.RAMPING_UP
    if phase.stage == at.IN_INERTIA_PHASE or (in_gap and gearbox.throttle_open == 1):
        return 1.0
    return load


@inline
def request_command(grip_torque: float, inertia: float, over: float, delay: float) -> float:
    """Axle torque that is asked of the actuator: what the tyres take at the target slip, corrected by wheel speed.

    T = T_grip - J (w - w_target) / (4 tau)

    With the actuator's lag tau behind it this feedback is critically damped on a wheel of inertia J.

    Parameters
    ----------
    grip_torque : float
        Axle torque that the tyres pass on at the target slip [N m].
    inertia : float
        All that turns with the axle, at axle speed [kg m^2].
    over : float
        Wheel speed beyond that at the target slip [rad/s].
    delay : float
        Time constant of the actuator [s].

    Returns
    -------
    float
        Axle torque [N m].

    Source: ours; gain from the critical damping of tau s^2 + s + k = 0.
    """
    return grip_torque - inertia * over / (4.0 * delay)


@inline
def request_rate(request: float, command: float, delay: float) -> float:
    """Rate of the torque request behind its actuator, a first-order lag.

    Parameters
    ----------
    request : float
        Request that has come through [N m].
    command : float
        Request that was sent [N m].
    delay : float
        Time constant of the actuator [s].

    Returns
    -------
    float
        Rate [N m/s].

    Source: common practice: 10 to 30 ms by ignition, 60 to 150 ms by throttle.
    """
    return (command - request) / delay


@inline
def carrying_gear(phase: Record) -> int:
    """The gear that carries most of the torque.

    Parameters
    ----------
    phase : Record
        The phase.

    Returns
    -------
    int
        Index of the gear [-].

    Source: definition.
    """
    return int(phase.oncoming_gear if phase.path == at.ONCOMING else phase.gear)


@inline
def _turning_inertia(car: Record, phase: Record) -> float:
    """Inertia that turns with the half shafts' inner end [kg m^2]."""
    ratio = car.gearbox.ratio[carrying_gear(phase)]
    inertia = car.gearbox.input_inertia
    if phase.coupling == at.STUCK:
        inertia += car.engine.inertia
    return car.drive.inertia + ratio * ratio * inertia


@inline
def target_at(speed: float, car: Record) -> float:
    """Slip that slip control aims at while the car gathers speed.

    k = k_target (1 - 0.2 (1 - v / 8 m/s)^2) below 8 m/s

    A slip is a rim speed of a few centimetres a second then: past its peak a tyre lets go faster than any actuator
    follows, and half shafts that it winds and lets go throw it past its peak again.

    Parameters
    ----------
    speed : float
        Speed of the car [m/s].
    car : Record
        The car.

    Returns
    -------
    float
        Slip, ISO 8855 [-].

    Source: ours.
    """
    to_go = min(max(1.0 - speed / _FULL_TARGET, 0.0), 1.0)
    return float(car.pedal.target_slip * (1.0 - _LESS_AT_REST * to_go * to_go))


@inline
def _target_rim_speed_share(speed: float, end: Record, car: Record) -> float:
    """Rim speed over car speed that slip control aims at on one axle [-].

    A locked centre turns both axles at one speed: the axle with the larger tyres is held at the target slip. Where a
    clutch brings the second axle in, the first one is.
    """
    share = 1.0 + target_at(speed, car)
    if car.drive.locked == 1 and car.drive.clutched == 0:
        share *= end.radius / max(car.front.radius, car.rear.radius)
    return float(share)


class TakeUp(NamedTuple):
    """Torque at the half shafts that the driven tyres pass on, as far as slip control lets them [N m]."""

    now: float  # a tyre beyond its target is given no more than it takes at this moment, so that it comes back
    at_target: float  # once they are at their target slip


@inline
def _axle_take_up(share: float, place: int, axle: Footing, road: Ground, y: Array, end: Record, car: Record) -> TakeUp:
    """Torque that one axle passes on at a rim speed over car speed: tyre, rolling resistance, the wheels' inertia.

    Where the wheels of the axle differ, that is the rim speed of the faster one.
    """
    if (car.fixed.front_paired if place == 0 else car.fixed.rear_paired) == 1:
        cross = y[at.CROSS_LOAD] if place == 1 else 0.0
        at_target = sides.force_at(share - 1.0, sides.axle_sides(place, axle.load, cross, car), end)
    else:
        at_target = tyre.contact_at(share - 1.0, axle.load, axle.grip, end).force
    rest = axle.moment + end.axle_inertia * road.acceleration * share / end.radius
    now = at_target if axle.slip <= share - 1.0 else axle.force
    return TakeUp(end.radius * now + rest, end.radius * at_target + rest)


@inline
def _within(torque: float, capacity: float) -> float:
    return min(max(torque, -capacity), capacity)


@part
def _clutched_take_up(time: float, y: Array, car: Record, phase: Record, road: Ground) -> TakeUp:
    """The same of a first axle at its target, and of a second one as far as its clutch carries it along."""
    share, lead = _target_rim_speed_share(y[at.SPEED], car.front, car), car.drive.lead
    capacity = driveline.axle_clutch_capacity(time, car.drive, phase)
    if car.drive.front_share >= 1.0:
        carried = share * lead * car.rear.radius / car.front.radius
        first = _axle_take_up(share, 0, road.front, road, y, car.front, car)
        second = _axle_take_up(carried, 1, road.rear, road, y, car.rear, car)
    else:
        carried = share * lead * car.front.radius / car.rear.radius
        first = _axle_take_up(share, 1, road.rear, road, y, car.rear, car)
        second = _axle_take_up(carried, 0, road.front, road, y, car.front, car)
    now = first.now + lead * _within(second.now, capacity)
    return TakeUp(now, first.at_target + lead * _within(second.at_target, capacity))


@part
def take_up(time: float, y: Array, car: Record, phase: Record, road: Ground) -> TakeUp:
    """Torque that the driven tyres pass on, as far as slip control lets them.

    With an open centre the axle that reaches its target first sets the torque of both.

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
    TakeUp
        Torques [N m].

    Source: see `contact_at`.
    """
    if car.drive.clutched == 1:
        return _clutched_take_up(time, y, car, phase, road)
    share, locked = car.drive.front_share, car.drive.locked == 1
    front, rear = TakeUp(0.0, 0.0), TakeUp(0.0, 0.0)
    if locked or share > 0.0:
        share_front = _target_rim_speed_share(y[at.SPEED], car.front, car)
        front = _axle_take_up(share_front, 0, road.front, road, y, car.front, car)
    if locked or share < 1.0:
        share_rear = _target_rim_speed_share(y[at.SPEED], car.rear, car)
        rear = _axle_take_up(share_rear, 1, road.rear, road, y, car.rear, car)
    if locked:
        return TakeUp(front.now + rear.now, front.at_target + rear.at_target)
    if share >= 1.0:
        return front
    if share <= 0.0:
        return rear
    now = min(front.now / share, rear.now / (1.0 - share))
    return TakeUp(now, min(front.at_target / share, rear.at_target / (1.0 - share)))


@part
def _clutched_speed(time: float, y: Array, drive: Record, phase: Record) -> tuple[float, float]:
    """Speed of what the first axle turns: its wheels, and those of the second as far as its clutch holds [rad/s].

    As the mean of the two wheels of each axle; and by how much the faster ones are ahead of that.
    """
    front, rear = y[at.WHEEL_FRONT], y[at.WHEEL_REAR]
    first, second = (front, rear) if drive.front_share >= 1.0 else (rear, front)
    held = 0.5 * driveline.second_axle(time, y, drive, phase).held
    mean = float(first + held * (second / drive.lead - first))
    if drive.paired == 0:
        return mean, 0.0
    front, rear = abs(y[at.APART_FRONT]), abs(y[at.APART_REAR])
    first, second = (front, rear) if drive.front_share >= 1.0 else (rear, front)
    return mean, float(first + held * (second / drive.lead - first))


@inline
def slip_command(time: float, y: Array, car: Record, phase: Record, grip_torque: float) -> float:
    """Axle torque that the slip control sends to its actuator.

    With an open centre the axle that is further beyond its target leads. With a locked one the mean of both axles
    counts, and so it does where a clutch holds the second axle; where that slips, the first one counts. Of two wheels
    of an axle that differ, the faster one does. The speed that is fed back is that of all that turns with the axle,
    each inertia by its weight: to feed back the wheels' own would drive the half shafts to swing, since an actuator
    with a lag answers half a swing late.

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
    grip_torque : float
        Torque that the tyres take now; see `take_up` [N m].

    Returns
    -------
    float
        Torque at the half shafts [N m].

    Source: ours; see `request_command`. The weighted mean is the speed of the rigid-body mode, which no twist moves.
    """
    speed, locked = y[at.SPEED], car.drive.locked == 1
    split = 0.5 if locked else car.drive.front_share
    over_front = y[at.WHEEL_FRONT] - _target_rim_speed_share(speed, car.front, car) * speed / car.front.radius
    over_rear = y[at.WHEEL_REAR] - _target_rim_speed_share(speed, car.rear, car) * speed / car.rear.radius
    if car.drive.paired == 1:
        over_front += abs(y[at.APART_FRONT])
        over_rear += abs(y[at.APART_REAR])
    if locked:  # one shaft turns both axles, but for the twist of the half shafts
        over = 0.5 * (over_front + over_rear)
    elif split >= 1.0 or (split > 0.0 and over_front > over_rear):
        over = over_front
    else:
        over = over_rear
    inner = _turning_inertia(car, phase)
    inertia = inner + car.front.axle_inertia + car.rear.axle_inertia
    twist_rate = y[at.SHAFT_SPEED] - split * y[at.WHEEL_FRONT] - (1.0 - split) * y[at.WHEEL_REAR]
    if car.drive.clutched == 1:
        turning, ahead = _clutched_speed(time, y, car.drive, phase)
        target = (1.0 + target_at(speed, car)) * speed / driven_radius(car.front, car.rear, car.drive)
        over = turning + ahead - target
        twist_rate = y[at.SHAFT_SPEED] - turning
    over += inner / inertia * twist_rate
    return request_command(grip_torque, inertia, over, car.pedal.delay)


@inline
def _pace(car: Record, road: Ground) -> float:
    """Angular acceleration of driven wheels that keep their target slip while the car accelerates [rad/s^2]."""
    radius = driven_radius(car.front, car.rear, car.drive)
    return road.acceleration * (1.0 + car.pedal.target_slip) / radius


@inline
def at_input(axle_torque: float, car: Record, phase: Record, road: Ground) -> float:
    """Gearbox-input torque that puts a torque on the axles while all that turns keeps pace.

    Parameters
    ----------
    axle_torque : float
        Torque at the half shafts [N m].
    car : Record
        The car.
    phase : Record
        The phase.
    road : Ground
        What the road does.

    Returns
    -------
    float
        Torque [N m].

    Source: Newton's second law through a gear.
    """
    k = carrying_gear(phase)
    ratio = car.gearbox.ratio[k]
    pace = _pace(car, road)
    at_gear = max(axle_torque, 0.0) + car.drive.inertia * pace
    return at_gear / (ratio * car.gearbox.efficiency[k]) + car.gearbox.input_inertia * ratio * pace


@part
def led_clutch_torque(y: Array, car: Record, phase: Record, road: Ground, full: float) -> float:
    """Torque that slip control lets a slipping friction clutch carry at most.

    It is what the tyres take. While the car is set off, a clutch that could overwhelm the tyres also carries no more
    than keeps the engine at its launch speed: tyres at their peak would else pull the engine down, out of the speeds
    at which it is strong, where wheels that spin keep it up.

    Parameters
    ----------
    y : ndarray, shape (STATES,)
        State, SI units.
    car : Record
        The car.
    phase : Record
        The phase.
    road : Ground
        What the road does.
    full : float
        Full-load torque [N m].

    Returns
    -------
    float
        Torque [N m].

    Source: ours; common practice: a launch is led by the clutch at an engine speed that is held.
    """
    taken = max(at_input(y[at.REQUEST], car, phase, road), 0.0)
    if phase.stage != at.LAUNCHING:
        return taken
    excess = (car.coupling.capacity / max(taken, 1.0) - 1.0) / _OVERWHELMS
    held_speed = max(car.launch.engine_speed, y[at.INPUT_SPEED])
    holding = full + car.engine.inertia * _GOVERNOR * (y[at.ENGINE_SPEED] - held_speed)
    led = min(max(holding, 0.0), taken)
    return taken + min(max(excess, 0.0), 1.0) * (led - taken)


@inline
def _pump_factor(turbine_speed: float, engine_speed: float, coupling: Record) -> float:
    """Torque of a pump over its speed squared, bounded from below [N m s^2]; speed ratios beyond 1 count as 1."""
    ratio = min(turbine_speed / max(engine_speed, 1.0), 1.0)
    return max(value_at(coupling.fluid_capacity, ratio), 1e-6)


@inline
def _pump_speed(wanted: float, turbine_speed: float, engine_speed: float, coupling: Record) -> float:
    """Pump speed that puts a torque on the turbine, at the speed ratio that there is [rad/s]."""
    ratio = min(turbine_speed / max(engine_speed, 1.0), 1.0)
    factor = value_at(coupling.torque_ratio, ratio) * _pump_factor(turbine_speed, engine_speed, coupling)
    return sqrt(max(wanted, 0.0) / factor)


@part
def upheld_pump_speed(
    y: Array, car: Record, phase: Record, road: Ground, full: float, usable: float, wanted: float
) -> float:
    """Pump speed that slip control asks for; while the car sets off, no less than tyres at their target could use.

    Half shafts that unwind at the start spin the wheels, whatever the control does. To throttle an engine that is soon
    to be the weaker side anyway would then cost more than that spin: what it turns slower by, the converter passes on
    less of for the rest of first gear. An engine that overwhelms the tyres is not held up.

    Parameters
    ----------
    y : ndarray, shape (STATES,)
        State, SI units.
    car : Record
        The car.
    phase : Record
        The phase.
    road : Ground
        What the road does.
    full : float
        Full-load torque [N m].
    usable : float
        Torque at the half shafts that the tyres take at their target [N m].
    wanted : float
        Turbine torque that is asked for [N m].

    Returns
    -------
    float
        Speed [rad/s].

    Source: ours.
    """
    now, coupling = y[at.ENGINE_SPEED], car.coupling
    asked = _pump_speed(wanted, y[at.INPUT_SPEED], now, coupling)
    speed = y[at.SPEED]
    setting_off = min(2.0 * (1.0 - speed / _SET_OFF), 1.0)
    if setting_off <= 0.0:
        return asked
    radius = driven_radius(car.front, car.rear, car.drive)
    turbine = car.gearbox.ratio[carrying_gear(phase)] * (1.0 + target_at(speed, car)) * speed / radius
    most = _pump_speed(at_input(usable, car, phase, road), turbine, now, coupling)
    excess = full / max(_pump_factor(turbine, now, coupling) * most * most, 1.0) - 1.0
    upheld = setting_off * min(max(1.0 - excess / _SPARE, 0.0), 1.0)
    return asked + upheld * max(most - asked, 0.0)


@part
def trimmed_engine_torque(
    y: Array, car: Record, phase: Record, road: Ground, full: float, usable: float, friction: float,
    fluid: driveline.Fluid,
) -> float:  # fmt: skip
    """Engine torque that serves the slip control's request through whatever the coupling does.

    A converter is given the pump speed that makes the turbine torque. A clutch, stuck or slipping, carries the request
    itself: the engine keeps up with the gearbox input, so that its torque does not jump where a clutch sticks. Where
    the tyres would take more than a slipping clutch carries, the engine is not trimmed.

    Parameters
    ----------
    y : ndarray, shape (STATES,)
        State, SI units.
    car : Record
        The car.
    phase : Record
        The phase.
    road : Ground
        What the road does.
    full : float
        Full-load torque [N m].
    usable : float
        Torque at the half shafts that the tyres take at their target [N m].
    friction : float
        Torque through friction plates that slip [N m].
    fluid : Fluid
        Torques of a converter [N m].

    Returns
    -------
    float
        Torque [N m].

    Source: ours; the inverse of what `coupling` and `driveline` do.
    """
    wanted = at_input(y[at.REQUEST], car, phase, road)
    if car.coupling.kind == _CONVERTER and phase.coupling != at.STUCK:
        pump_speed = upheld_pump_speed(y, car, phase, road, full, usable, wanted)
        return fluid.pump + friction + car.engine.inertia * _PUMP_GOVERNOR * (pump_speed - y[at.ENGINE_SPEED])
    if phase.coupling == at.SLIPPING:
        wanted += _RELIEF * max(wanted - abs(friction), 0.0)
    keeping_up = car.gearbox.ratio[carrying_gear(phase)] * _pace(car, road)
    catching_up = _GOVERNOR * (y[at.INPUT_SPEED] - y[at.ENGINE_SPEED])  # nothing while the coupling sticks
    return wanted + car.engine.inertia * (keeping_up + catching_up)


@inline
def launch_torque(y: Array, car: Record, friction: float) -> float:
    """Engine torque that holds the launch speed while a friction clutch engages.

    T = T_clutch + J (w_launch - w) 20 / s

    Parameters
    ----------
    y : ndarray, shape (STATES,)
        State, SI units.
    car : Record
        The car.
    friction : float
        Torque that the clutch carries [N m].

    Returns
    -------
    float
        Torque; more than full load where the clutch pulls the engine down [N m].

    Source: common practice: a driver, or launch control, keeps the engine from flaring until the clutch has closed.
    """
    held = max(car.launch.engine_speed, y[at.INPUT_SPEED])
    return friction + car.engine.inertia * _GOVERNOR * (held - y[at.ENGINE_SPEED])
