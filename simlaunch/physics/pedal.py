"""What is asked of the engine: full load, the schedule of a shift, and the slip control."""

from __future__ import annotations

from math import sqrt

import numpy as np
from numpy.typing import NDArray

from simlaunch.compiled import inline, part
from simlaunch.physics import driveline, tyre
from simlaunch.physics import state as at
from simlaunch.physics.body import Ground
from simlaunch.physics.driveline import driven_radius
from simlaunch.physics.table import value_at
from simlaunch.record import Coupling, Record

Array = NDArray[np.float64]

_CONVERTER = int(Coupling.TORQUE_CONVERTER)
_GOVERNOR = 20.0  # rate at which engine speed is held while a friction clutch slips [1/s]
_PUMP_GOVERNOR = 50.0  # the same for a pump speed: a slower one lags behind what the tyres could take [1/s]
_RELIEF = 20.0  # engine torque let through for each torque that the tyres could take beyond the clutch [-]
_OVERWHELMS = 0.25  # by this share a clutch must be able to exceed the tyres before slip control leads it fully [-]


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
def request_command(
    grip_torque: float, inertia: float, wheel_speed: float, target_wheel_speed: float, delay: float
) -> float:
    """Axle torque that is asked of the actuator: what the tyres take at the target slip, corrected by wheel speed.

    T = T_grip + J (w_target - w) / (4 tau)

    With the actuator's lag tau behind it this feedback is critically damped on a wheel of inertia J.

    Parameters
    ----------
    grip_torque : float
        Axle torque that the tyres pass on at the target slip [N m].
    inertia : float
        All that turns with the axle, at axle speed [kg m^2].
    wheel_speed : float
        Wheel speed [rad/s].
    target_wheel_speed : float
        Wheel speed at the target slip [rad/s].
    delay : float
        Time constant of the actuator [s].

    Returns
    -------
    float
        Axle torque [N m].

    Source: ours; gain from the critical damping of tau s^2 + s + k = 0.
    """
    return grip_torque + inertia * (target_wheel_speed - wheel_speed) / (4.0 * delay)


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
def _target_rim_speed_share(end: Record, car: Record) -> float:
    """Rim speed over car speed that slip control aims at on one axle [-].

    A locked centre turns both axles at one speed: the axle with the larger tyres is held at the target slip.
    """
    share = 1.0 + car.pedal.target_slip
    if car.drive.locked == 1:
        share *= end.radius / max(car.front.radius, car.rear.radius)
    return float(share)


@inline
def _axle_take_up(
    load: float, slip: float, force: float, moment: float, road: Ground, end: Record, car: Record
) -> float:
    """Torque that one axle passes on at the target slip: tyre, rolling resistance and the wheels' own inertia [N m].

    A tyre beyond its target is given no more than it takes at this moment, so that it comes back.
    """
    share = _target_rim_speed_share(end, car)
    if slip <= share - 1.0:
        force = tyre.axle_contact(share - 1.0, load, end, car.road.friction_factor).force
    spin_up = end.axle_inertia * road.acceleration * share / end.radius
    return end.radius * force + moment + spin_up


@inline
def _front_take_up(car: Record, road: Ground) -> float:
    return _axle_take_up(road.load_front, road.slip_front, road.force_front, road.moment_front, road, car.front, car)


@inline
def _rear_take_up(car: Record, road: Ground) -> float:
    return _axle_take_up(road.load_rear, road.slip_rear, road.force_rear, road.moment_rear, road, car.rear, car)


@part
def slip_command(y: Array, car: Record, phase: Record, road: Ground) -> float:
    """Axle torque that the slip control sends to its actuator.

    With an open centre the axle that reaches its target first sets the torque of both. With a locked one the mean of
    both axles counts.

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

    Source: ours; see `request_command`.
    """
    share = car.drive.front_share
    front_target = _target_rim_speed_share(car.front, car) * y[at.SPEED] / car.front.radius
    rear_target = _target_rim_speed_share(car.rear, car) * y[at.SPEED] / car.rear.radius
    inertia = _turning_inertia(car, phase) + car.front.axle_inertia + car.rear.axle_inertia
    if car.drive.locked == 0 and share >= 1.0:
        grip, front_leads = _front_take_up(car, road), True
    elif car.drive.locked == 0 and share <= 0.0:
        grip, front_leads = _rear_take_up(car, road), False
    else:
        front, rear = _front_take_up(car, road), _rear_take_up(car, road)
        grip = front + rear if car.drive.locked == 1 else min(front / share, rear / (1.0 - share))
        if car.drive.locked == 1:  # one shaft turns both axles, but for the twist of the half shafts
            turning = 0.5 * (y[at.WHEEL_FRONT] + y[at.WHEEL_REAR])
            return request_command(grip, inertia, turning, 0.5 * (front_target + rear_target), car.pedal.delay)
        front_leads = y[at.WHEEL_FRONT] - front_target > y[at.WHEEL_REAR] - rear_target
    if front_leads:
        return request_command(grip, inertia, y[at.WHEEL_FRONT], front_target, car.pedal.delay)
    return request_command(grip, inertia, y[at.WHEEL_REAR], rear_target, car.pedal.delay)


@inline
def _pace(car: Record, road: Ground) -> float:
    """Angular acceleration of driven wheels that keep their target slip while the car accelerates [rad/s^2]."""
    radius = driven_radius(car.front, car.rear, car.drive)
    return road.acceleration * (1.0 + car.pedal.target_slip) / radius


@inline
def input_request(y: Array, car: Record, phase: Record, road: Ground) -> float:
    """Gearbox-input torque that puts the requested torque on the axles while all that turns keeps pace.

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
        Torque [N m].

    Source: Newton's second law through a gear.
    """
    k = carrying_gear(phase)
    ratio = car.gearbox.ratio[k]
    pace = _pace(car, road)
    at_gear = max(y[at.REQUEST], 0.0) + car.drive.inertia * pace
    return at_gear / (ratio * car.gearbox.efficiency[k]) + car.gearbox.input_inertia * ratio * pace


@part
def led_clutch_torque(y: Array, car: Record, phase: Record, road: Ground, full: float) -> float:
    """Torque that slip control lets a slipping friction clutch carry at most.

    It is what the tyres take. While the car is set off, a clutch that could overwhelm the tyres also carries no more
    than keeps the engine at its launch speed: tyres at their peak would else pull the engine down, out of the speeds
    at which it is strong, where wheels that spin keep it up.

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
    full : float
        Full-load torque [N m].

    Returns
    -------
    float
        Torque [N m].

    Source: ours; common practice: a launch is led by the clutch at an engine speed that is held.
    """
    taken = max(input_request(y, car, phase, road), 0.0)
    if phase.stage != at.LAUNCHING:
        return taken
    excess = (car.coupling.capacity / max(taken, 1.0) - 1.0) / _OVERWHELMS
    held_speed = max(car.launch.engine_speed, y[at.INPUT_SPEED])
    holding = full + car.engine.inertia * _GOVERNOR * (y[at.ENGINE_SPEED] - held_speed)
    led = min(max(holding, 0.0), taken)
    return taken + min(max(excess, 0.0), 1.0) * (led - taken)


@part
def trimmed_engine_torque(
    y: Array, car: Record, phase: Record, road: Ground, friction: float, fluid: driveline.Fluid
) -> float:
    """Engine torque that serves the slip control's request through whatever the coupling does.

    A converter is given the pump speed that makes the turbine torque. A clutch, stuck or slipping, carries the request
    itself: the engine keeps up with the gearbox input, so that its torque does not jump where a clutch sticks. Where
    the tyres would take more than a slipping clutch carries, the engine is not trimmed.

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
    wanted = input_request(y, car, phase, road)
    if car.coupling.kind == _CONVERTER and phase.coupling != at.STUCK:
        speed_ratio = min(y[at.INPUT_SPEED] / max(y[at.ENGINE_SPEED], 1.0), 1.0)
        capacity = max(value_at(car.coupling.fluid_capacity, speed_ratio), 1e-6)
        pump_speed = sqrt(max(wanted, 0.0) / value_at(car.coupling.torque_ratio, speed_ratio) / capacity)
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
    y : ndarray, shape (24,)
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
