"""The body: axle loads, load transfer through the pitch mode, and all that road and air do to the car."""

from __future__ import annotations

from math import cos, sin
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from simlaunch.compiled import inline, part
from simlaunch.physics import air, sides, tyre
from simlaunch.physics import state as at
from simlaunch.physics.driveline import combined_compliance
from simlaunch.physics.tyre import Grip
from simlaunch.record import Record

Array = NDArray[np.float64]

GRAVITY = 9.80665  # standard gravity [m/s^2], CGPM 1901


class Footing(NamedTuple):
    """What the road does to one axle."""

    load: float
    slip: float  # of the faster wheel where the two differ
    force: float
    moment: float  # that resists its wheels, beside the force
    slip_rate: float  # of the transient slip
    grip: Grip


class Wheels(NamedTuple):
    """What the road does to the two wheels of an axle, each as it would do to an axle of two such wheels."""

    left: Footing
    right: Footing


class Ground(NamedTuple):
    """What the road and the air do to the car."""

    front: Footing
    rear: Footing
    drag: float
    grade: float
    acceleration: float


@inline
def load_transfer(tyre_force: float, body: Record) -> float:
    """Load that moves from the front axle to the rear axle once pitching has settled.

    dFz = h F / L, with F the sum of all tyre forces: m a, drag at the height of the centre of gravity, and grade

    Parameters
    ----------
    tyre_force : float
        Longitudinal force of all tyres together [N].
    body : Record
        The body.

    Returns
    -------
    float
        Load moved [N].

    Source: T. D. Gillespie, Fundamentals of Vehicle Dynamics, ch. 2 (from memory).
    """
    return tyre_force * body.cg_height / body.wheelbase


@inline
def transfer_acceleration(transfer: float, rate: float, settled: float, body: Record) -> float:
    """Second derivative of the load transfer: a second-order pitch mode that settles at the static value.

    z'' = w^2 (z_settled - z) - 2 zeta w z'

    Parameters
    ----------
    transfer : float
        Load moved at this moment [N].
    rate : float
        Its rate [N/s].
    settled : float
        Where it would settle [N].
    body : Record
        The body.

    Returns
    -------
    float
        Second derivative [N/s^2].

    Source: single-mode reduction of the half-car model; Gillespie, ch. 5 (from memory).
    """
    w = body.pitch_frequency
    return w * w * (settled - transfer) - 2.0 * body.pitch_damping * w * rate


@inline
def static_front_load(mass: float, front_share: float, grade_angle: float) -> float:
    """Load of the front axle of a car at rest on a grade, before the grade's own load transfer.

    Parameters
    ----------
    mass : float
        Mass of the car [kg].
    front_share : float
        Share of the weight on the front axle, on the level [-].
    grade_angle : float
        Slope, positive uphill [rad].

    Returns
    -------
    float
        Load [N].

    Source: balance of moments; Gillespie, ch. 1 (from memory).
    """
    return mass * GRAVITY * cos(grade_angle) * front_share


@inline
def grade_force(mass: float, grade_angle: float) -> float:
    """Force of the grade against the car.

    Parameters
    ----------
    mass : float
        Mass of the car [kg].
    grade_angle : float
        Slope, positive uphill [rad].

    Returns
    -------
    float
        Force [N].

    Source: component of the weight along the road.
    """
    return mass * GRAVITY * sin(grade_angle)


@inline
def axle_loads(
    transfer: float, lift_front: float, lift_rear: float, body: Record, grade_angle: float
) -> tuple[float, float]:
    """Loads of the two axles; an axle that would be pulled upwards is lifted and carries nothing.

    Parameters
    ----------
    transfer : float
        Load moved from front to rear [N].
    lift_front : float
        Aerodynamic lift at the front axle, positive upwards [N].
    lift_rear : float
        Aerodynamic lift at the rear axle, positive upwards [N].
    body : Record
        The body.
    grade_angle : float
        Slope, positive uphill [rad].

    Returns
    -------
    tuple of float
        Load of the front axle and of the rear axle [N].

    Source: balance of forces and moments; Gillespie, ch. 1 (from memory).
    """
    weight = body.mass * GRAVITY * cos(grade_angle)
    front = static_front_load(body.mass, body.front_share, grade_angle)
    return shared_loads(transfer, lift_front, lift_rear, weight, front)


@inline
def shared_loads(
    transfer: float, lift_front: float, lift_rear: float, weight: float, weight_front: float
) -> tuple[float, float]:
    """Loads of the two axles, as `axle_loads`, where the weight and its share at the front are known.

    Parameters
    ----------
    transfer : float
        Load moved from front to rear [N].
    lift_front : float
        Aerodynamic lift at the front axle, positive upwards [N].
    lift_rear : float
        Aerodynamic lift at the rear axle, positive upwards [N].
    weight : float
        Weight across the road [N].
    weight_front : float
        Its share at the front [N].

    Returns
    -------
    tuple of float
        Load of the front axle and of the rear axle [N].

    Source: see `axle_loads`.
    """
    total = max(weight - lift_front - lift_rear, 0.0)
    front = min(max(weight_front - lift_front - transfer, 0.0), total)
    return front, total - front


@inline
def brake_share(time: float, phase: Record, release: float) -> float:
    """Share of their torque that brakes still hold while they let go.

    Parameters
    ----------
    time : float
        Time [s].
    phase : Record
        The phase.
    release : float
        Time to let go fully [s].

    Returns
    -------
    float
        Share, 1 to 0 [-].

    Source: common practice: a brake pedal is let up, not dropped.
    """
    elapsed = time - phase.brake_off
    return 0.0 if elapsed >= release else 1.0 - max(elapsed, 0.0) / release


@part
def fix(car: Record) -> None:
    """Fill in what follows from other numbers of the car, and does not change during a launch.

    Parameters
    ----------
    car : Record
        The car, with its air density; changed in place.

    Source: see the functions that are called.
    """
    fixed, shape, drive, density = car.fixed, car.body, car.drive, car.air.density
    fixed.weight = shape.mass * GRAVITY * cos(car.road.grade_angle)
    fixed.weight_front = static_front_load(shape.mass, shape.front_share, car.road.grade_angle)
    fixed.grade = grade_force(shape.mass, car.road.grade_angle)
    fixed.drag = air.dynamic_force(shape.drag_area, density, 1.0)
    fixed.lift_front = air.dynamic_force(shape.lift_area_front, density, 1.0)
    fixed.lift_rear = air.dynamic_force(shape.lift_area_rear, density, 1.0)
    fixed.per_mass, fixed.lever = 1.0 / shape.mass, load_transfer(1.0, shape)
    stiffness, damping = drive.shaft_stiffness, drive.shaft_damping
    fixed.shaft_stiffness = combined_compliance(drive.front_share, stiffness[0], stiffness[1])
    fixed.shaft_damping = combined_compliance(drive.front_share, damping[0], damping[1])
    paired, locked = drive.paired == 1, drive.locked == 1
    fixed.front_paired = 1 if paired and (locked or drive.front_share > 0.0) else 0
    fixed.rear_paired = 1 if paired and (locked or drive.front_share < 1.0) else 0
    sides.fix_sides(0, car.front, car)
    sides.fix_sides(1, car.rear, car)


@inline
def footing(
    wheel_speed: float,
    transient: float,
    load: float,
    speed: float,
    brake: float,
    end: Record,
    friction_factor: float,
    rolling_factor: float,
) -> Footing:
    """What the road does to one axle.

    Parameters
    ----------
    wheel_speed : float
        Wheel speed [rad/s].
    transient : float
        Transient slip [-].
    load : float
        Load of both tyres [N].
    speed : float
        Speed of the car [m/s].
    brake : float
        Torque that the brakes of the axle can hold [N m].
    end : Record
        The tyre.
    friction_factor : float
        Surface factor of friction [-].
    rolling_factor : float
        Surface factor of rolling resistance [-].

    Returns
    -------
    Footing
        Slip [-], force [N], moment [N m] and rate of the transient slip [1/s].

    Source: see `tyre`.
    """
    rim = wheel_speed * end.radius
    slip = tyre.damped_slip(transient, speed, rim, end)
    grip = tyre.grip_at(load, end, friction_factor)
    contact = tyre.contact_at(slip, load, grip, end)
    moment = tyre.resisting_moment(load, rim, speed, end, rolling_factor, brake)
    rate = tyre.transient_slip_rate(transient, speed, rim, slip, contact.slope_share, end)
    return Footing(load, slip, contact.force, moment, rate, grip)


@inline
def together(wheels: Wheels) -> Footing:
    """What the road does to an axle, from what it does to its two wheels.

    Parameters
    ----------
    wheels : Wheels
        The wheels.

    Returns
    -------
    Footing
        Force [N] and moment [N m] of both; the mean rate of their slips; slip and grip of the faster wheel [-].

    Source: sum of forces.
    """
    left, right = wheels.left, wheels.right
    return Footing(
        0.5 * (left.load + right.load),
        max(left.slip, right.slip),
        0.5 * (left.force + right.force),
        0.5 * (left.moment + right.moment),
        0.5 * (left.slip_rate + right.slip_rate),
        left.grip if left.slip > right.slip else right.grip,
    )


@part
def front_wheels(load: float, time: float, y: Array, car: Record, phase: Record) -> Wheels:
    """What the road does to the two wheels of a front axle whose wheels differ.

    Parameters
    ----------
    load : float
        Load of the axle [N].
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
    Wheels
        Forces [N] and moments [N m].

    Source: see `footing`.
    """
    pair, end, rolling = sides.axle_sides(0, load, 0.0, car), car.front, car.road.rolling_factor
    brake = brake_share(time, phase, car.launch.brake_release) * car.launch.brake_front
    speed, turn, slip = y[at.SPEED], y[at.WHEEL_FRONT], y[at.SLIP_FRONT]
    turn_apart, slip_apart = y[at.APART_FRONT], y[at.SLIP_APART_FRONT]
    return Wheels(
        footing(turn + turn_apart, slip + slip_apart, pair.left, speed, brake, end, pair.left_grip, rolling),
        footing(turn - turn_apart, slip - slip_apart, pair.right, speed, brake, end, pair.right_grip, rolling),
    )


@part
def rear_wheels(load: float, time: float, y: Array, car: Record, phase: Record) -> Wheels:
    """What the road does to the two wheels of a rear axle whose wheels differ.

    Parameters
    ----------
    load : float
        Load of the axle [N].
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
    Wheels
        Forces [N] and moments [N m].

    Source: see `footing`.
    """
    pair, end, rolling = sides.axle_sides(1, load, y[at.CROSS_LOAD], car), car.rear, car.road.rolling_factor
    brake = brake_share(time, phase, car.launch.brake_release) * car.launch.brake_rear
    speed, turn, slip = y[at.SPEED], y[at.WHEEL_REAR], y[at.SLIP_REAR]
    turn_apart, slip_apart = y[at.APART_REAR], y[at.SLIP_APART_REAR]
    return Wheels(
        footing(turn + turn_apart, slip + slip_apart, pair.left, speed, brake, end, pair.left_grip, rolling),
        footing(turn - turn_apart, slip - slip_apart, pair.right, speed, brake, end, pair.right_grip, rolling),
    )


@inline
def front_footing(load: float, time: float, y: Array, car: Record, phase: Record) -> Footing:
    """What the road does to the front axle at a load.

    Parameters
    ----------
    load : float
        Load of the axle [N].
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
    Footing
        Forces [N] and moments [N m].

    Source: see `footing`.
    """
    brake, road = brake_share(time, phase, car.launch.brake_release) * car.launch.brake_front, car.road
    return footing(
        y[at.WHEEL_FRONT], y[at.SLIP_FRONT], load, y[at.SPEED], brake, car.front, road.friction_factor,
        road.rolling_factor,
    )  # fmt: skip


@inline
def rear_footing(load: float, time: float, y: Array, car: Record, phase: Record) -> Footing:
    """What the road does to the rear axle at a load.

    Parameters
    ----------
    load : float
        Load of the axle [N].
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
    Footing
        Forces [N] and moments [N m].

    Source: see `footing`.
    """
    brake, road = brake_share(time, phase, car.launch.brake_release) * car.launch.brake_rear, car.road
    return footing(
        y[at.WHEEL_REAR], y[at.SLIP_REAR], load, y[at.SPEED], brake, car.rear, road.friction_factor,
        road.rolling_factor,
    )  # fmt: skip


@inline
def ground_on(front: Footing, rear: Footing, drag: float, car: Record, phase: Record) -> Ground:
    """What the road does to the car, from what it does to both axles.

    Parameters
    ----------
    front : Footing
        The front axle.
    rear : Footing
        The rear axle.
    drag : float
        Drag [N].
    car : Record
        The car.
    phase : Record
        The phase.

    Returns
    -------
    Ground
        Forces [N] and acceleration of the car [m/s^2].

    Source: Newton's second law.
    """
    acceleration = (front.force + rear.force - drag - car.fixed.grade) * car.fixed.per_mass
    return Ground(front, rear, drag, car.fixed.grade, 0.0 if phase.braked == 1 else acceleration)


@part
def either_front_footing(load: float, time: float, y: Array, car: Record, phase: Record) -> Footing:
    """What the road does to the front axle at a load, whether or not its wheels differ.

    Parameters
    ----------
    load : float
        Load of the axle [N].
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
    Footing
        Forces [N] and moments [N m].

    Source: see `footing`.
    """
    if car.fixed.front_paired == 1:
        return together(front_wheels(load, time, y, car, phase))
    return front_footing(load, time, y, car, phase)


@part
def either_rear_footing(load: float, time: float, y: Array, car: Record, phase: Record) -> Footing:
    """What the road does to the rear axle at a load, whether or not its wheels differ.

    Parameters
    ----------
    load : float
        Load of the axle [N].
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
    Footing
        Forces [N] and moments [N m].

    Source: see `footing`.
    """
    if car.fixed.rear_paired == 1:
        return together(rear_wheels(load, time, y, car, phase))
    return rear_footing(load, time, y, car, phase)


@part
def _ground_of_wheels(
    load_front: float, load_rear: float, drag: float, time: float, y: Array, car: Record, phase: Record
) -> Ground:
    """What the road does to a car with an axle whose wheels differ: apart, so that others pay nothing for it."""
    front = either_front_footing(load_front, time, y, car, phase)
    return ground_on(front, either_rear_footing(load_rear, time, y, car, phase), drag, car, phase)


@part
def ground(time: float, y: Array, car: Record, phase: Record) -> Ground:
    """Axle loads, slip, tyre forces, rolling resistance, drag and grade.

    Parameters
    ----------
    time : float
        Time [s].
    y : ndarray, shape (STATES,)
        State, SI units.
    car : Record
        The car, complete.
    phase : Record
        The phase.

    Returns
    -------
    Ground
        Forces [N], moments [N m], slips [-] and acceleration of the car [m/s^2].

    Source: see `tyre`, `air` and the functions above.
    """
    fixed, air_speed = car.fixed, y[at.SPEED] + car.air.head_wind
    pressed = air_speed * abs(air_speed)
    lift_front, lift_rear = fixed.lift_front * pressed, fixed.lift_rear * pressed
    load_front, load_rear = shared_loads(y[at.TRANSFER], lift_front, lift_rear, fixed.weight, fixed.weight_front)
    if car.drive.paired == 1:
        return _ground_of_wheels(load_front, load_rear, fixed.drag * pressed, time, y, car, phase)
    front = front_footing(load_front, time, y, car, phase)
    rear = rear_footing(load_rear, time, y, car, phase)
    return ground_on(front, rear, fixed.drag * pressed, car, phase)


@inline
def wheel_resistance(road: Ground, car: Record) -> tuple[float, float]:
    """Torque that resists the wheels of each axle: tyre force on its radius, and rolling resistance.

    Parameters
    ----------
    road : Ground
        What the road does.
    car : Record
        The car.

    Returns
    -------
    tuple of float
        Torque at the front and at the rear wheels [N m].

    Source: balance of moments about the axle.
    """
    front = road.front.force * car.front.radius + road.front.moment
    return front, road.rear.force * car.rear.radius + road.rear.moment
