"""The body: axle loads, load transfer through the pitch mode, grade."""

from __future__ import annotations

from math import cos, sin

from simlaunch.compiled import inline
from simlaunch.scenario.numbers import Record

GRAVITY = 9.80665  # standard gravity [m/s^2], CGPM 1901


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
def axle_loads(transfer: float, lift_front: float, lift_rear: float, body: Record, grade_angle: float) -> tuple[
    float, float
]:
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
