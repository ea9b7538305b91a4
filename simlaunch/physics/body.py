"""The body: axle loads, load transfer through the pitch mode, and all that road and air do to the car."""

from __future__ import annotations

from math import cos, sin
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from simlaunch.compiled import inline, part
from simlaunch.physics import air, tyre
from simlaunch.physics import state as at
from simlaunch.record import Record

Array = NDArray[np.float64]

GRAVITY = 9.80665  # standard gravity [m/s^2], CGPM 1901


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
    total = max(body.mass * GRAVITY * cos(grade_angle) - lift_front - lift_rear, 0.0)
    front = static_front_load(body.mass, body.front_share, grade_angle) - lift_front - transfer
    front = min(max(front, 0.0), total)
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

    Source: see `tyre`, `air` and the functions above.
    """
    speed = y[at.SPEED]
    air_speed = speed + car.air.head_wind
    lift_front = air.dynamic_force(car.body.lift_area_front, car.air.density, air_speed)
    lift_rear = air.dynamic_force(car.body.lift_area_rear, car.air.density, air_speed)
    load_front, load_rear = axle_loads(y[at.TRANSFER], lift_front, lift_rear, car.body, car.road.grade_angle)
    rim_front = y[at.WHEEL_FRONT] * car.front.radius
    rim_rear = y[at.WHEEL_REAR] * car.rear.radius
    slip_front = tyre.damped_slip(y[at.SLIP_FRONT], speed, rim_front, car.front)
    slip_rear = tyre.damped_slip(y[at.SLIP_REAR], speed, rim_rear, car.rear)
    front = tyre.axle_contact(slip_front, load_front, car.front, car.road.friction_factor)
    rear = tyre.axle_contact(slip_rear, load_rear, car.rear, car.road.friction_factor)
    drag = air.dynamic_force(car.body.drag_area, car.air.density, air_speed)
    grade = grade_force(car.body.mass, car.road.grade_angle)
    rolling, brake = car.road.rolling_factor, brake_share(time, phase, car.launch.brake_release)
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
    front = road.force_front * car.front.radius + road.moment_front
    return front, road.force_rear * car.rear.radius + road.moment_rear
