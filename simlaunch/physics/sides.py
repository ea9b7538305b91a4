"""The two wheels of an axle: their loads, their grip, and what a differential lets them push together.

A wheel is described as an axle of two such wheels, so that every function of an axle serves it: its load counts twice,
and half the force is its own.
"""

from __future__ import annotations

from math import inf, sqrt
from typing import NamedTuple

from simlaunch.compiled import inline, part
from simlaunch.physics import tyre
from simlaunch.physics.table import ease
from simlaunch.record import Record

_HALVINGS = 60  # of an interval in which a slip lies
_SUMMIT_SCAN = 12  # parts of an interval in which a summit of force lies
_GOLDEN, _GOLDEN_STEPS = 0.5 * (sqrt(5.0) - 1.0), 40


class Sides(NamedTuple):
    """The two wheels of an axle, and the differential between them."""

    left: float  # load of an axle of two left wheels [N]
    right: float
    left_grip: float  # friction under the left wheel over that of the surface the tyre was described on [-]
    right_grip: float
    bias: float  # most force of the wheel that holds more, over that of the other [-]
    bias_force: float  # what it may push beyond that; inf: both wheels on one shaft [N]


class Summit(NamedTuple):
    """The most that an axle can push."""

    slip: float  # of its faster wheel, ISO 8855 [-]
    force: float  # of both wheels [N]


@inline
def torque_bias(locking: float) -> float:
    """Torque of the wheel that holds more, over that of the other, when a limited-slip axle gives all it can.

    S = (T_high - T_low) / (T_high + T_low), hence T_high / T_low = (1 + S) / (1 - S)

    Parameters
    ----------
    locking : float
        Locking value S, 0 to below 1 [-].

    Returns
    -------
    float
        Ratio [-].

    Source: definition of the locking value, common practice.

    Examples
    --------
    >>> round(torque_bias(0.4), 4)
    2.3333
    """
    return (1.0 + locking) / (1.0 - locking)


@part
def fix_sides(axle: int, end: Record, car: Record) -> None:
    """Fill in what follows from the differential of an axle and does not change during a launch.

    Parameters
    ----------
    axle : int
        0 front, 1 rear [-].
    end : Record
        Its tyre.
    car : Record
        The car, with its weights; changed in place.

    Source: see `torque_bias`; with the preload P, T_high - T_low = P + S (T_high + T_low).
    """
    fixed, locking = car.fixed, car.drive.locking[axle]
    weight = fixed.weight_front if axle == 0 else fixed.weight - fixed.weight_front
    fixed.left_load[axle] = (car.body.left_share - 0.5) * weight
    if locking >= 1.0:
        fixed.bias[axle], fixed.bias_force[axle] = 1.0, inf
        return
    fixed.bias[axle] = torque_bias(locking)
    fixed.bias_force[axle] = car.drive.preload[axle] / (end.radius * (1.0 - locking))


@inline
def locking_torque(axle: int, torque: float, apart: float, drive: Record) -> float:
    """Torque that the clutches of a limited-slip axle move from the faster wheel to the slower one.

    T_slow - T_fast = (P + S |T|) tanh(dw / dw_0), dw the difference of wheel speeds

    Parameters
    ----------
    axle : int
        0 front, 1 rear [-].
    torque : float
        Torque of the axle, both wheels together [N m].
    apart : float
        Half the difference of wheel speeds, left less right [rad/s].
    drive : Record
        The drive: locking value S, preload P and the difference dw_0 that brings the locking in.

    Returns
    -------
    float
        Torque of the right wheel less that of the left one [N m].

    Source: Coulomb friction whose clamp load follows the axle torque; locking value: common practice. The passage
    through equal speeds is ours.
    """
    most = drive.preload[axle] + drive.locking[axle] * abs(torque)
    return most * ease(2.0 * apart / drive.locking_speed) if most > 0.0 else 0.0


@inline
def split_loads(load: float, beyond: float) -> tuple[float, float]:
    """Loads of a left and of a right wheel, each as that of an axle of two such wheels.

    Parameters
    ----------
    load : float
        Load of the axle [N].
    beyond : float
        Load of the left wheel beyond half of that; a wheel that would be pulled upwards carries nothing [N].

    Returns
    -------
    tuple of float
        Loads [N].

    Source: balance of forces.
    """
    left = min(max(load + 2.0 * beyond, 0.0), 2.0 * load)
    return left, 2.0 * load - left


@part
def axle_sides(axle: int, load: float, cross: float, car: Record) -> Sides:
    """The two wheels of an axle at its load.

    Parameters
    ----------
    axle : int
        0 front, 1 rear [-].
    load : float
        Load of the axle [N].
    cross : float
        Load that shaft torque has moved to the left wheel of a live axle [N].
    car : Record
        The car, with what is fixed filled in.

    Returns
    -------
    Sides
        Two wheels that are alike where the axle counts as one body.

    Source: definition.
    """
    fixed, road = car.fixed, car.road
    factor = road.friction_factor
    if (fixed.front_paired if axle == 0 else fixed.rear_paired) == 0:
        return Sides(load, load, factor, factor, 1.0, 0.0)
    left, right = split_loads(load, fixed.left_load[axle] + cross)
    left_grip, right_grip = factor * road.left_friction, factor * road.right_friction
    return Sides(left, right, left_grip, right_grip, fixed.bias[axle], fixed.bias_force[axle])


@inline
def alike(sides: Sides) -> bool:
    """Whether both wheels of an axle do the same.

    Parameters
    ----------
    sides : Sides
        The wheels.

    Returns
    -------
    bool
        True where load and grip are equal.

    Source: definition.
    """
    return sides.left == sides.right and sides.left_grip == sides.right_grip


@part
def force_at(slip: float, sides: Sides, end: Record) -> float:
    """Force of an axle whose faster wheel has a slip; the other one pushes as hard as it does, or as it is let.

    F = F_low + min(F_high, b F_low + F_b), with F_low and F_high the forces that both tyres have at that slip

    Parameters
    ----------
    slip : float
        Slip, ISO 8855 [-].
    sides : Sides
        The wheels.
    end : Record
        The tyre.

    Returns
    -------
    float
        Force of both wheels, positive when driving [N].

    Source: balance of torque on a differential; an open one, b = 1, passes on twice what the weaker wheel holds.
    """
    left = tyre.axle_contact(slip, sides.left, end, sides.left_grip).force
    if alike(sides):
        return left
    right = tyre.axle_contact(slip, sides.right, end, sides.right_grip).force
    low, high = 0.5 * min(left, right), 0.5 * max(left, right)
    return low + (min(high, sides.bias * low + sides.bias_force) if low > 0.0 else high)


@part
def summit(sides: Sides, end: Record) -> Summit:
    """The most that an axle can push, and the slip of its faster wheel at which it does.

    Parameters
    ----------
    sides : Sides
        The wheels.
    end : Record
        The tyre.

    Returns
    -------
    Summit
        Slip [-] and force [N].

    Source: golden-section search between the slips at which each tyre alone peaks, from the best of a few.
    """
    alone = tyre.end_of_grip(sides.left, end, sides.left_grip)
    if alike(sides):
        return Summit(alone, tyre.axle_force_limit(sides.left, end, sides.left_grip))
    other = tyre.end_of_grip(sides.right, end, sides.right_grip)
    first, stride = min(alone, other), abs(alone - other) / _SUMMIT_SCAN
    best, most = first, -inf
    for i in range(_SUMMIT_SCAN + 1):
        force = force_at(first + i * stride, sides, end)
        if force > most:
            best, most = first + i * stride, force
    low, high = max(best - stride, first), min(best + stride, first + _SUMMIT_SCAN * stride)
    for _ in range(_GOLDEN_STEPS):
        left, right = high - _GOLDEN * (high - low), low + _GOLDEN * (high - low)
        if force_at(left, sides, end) < force_at(right, sides, end):
            low = left
        else:
            high = right
    slip = 0.5 * (low + high)
    force = force_at(slip, sides, end)
    return Summit(slip, force) if force > most else Summit(best, most)


@part
def slip_for_force(force: float, sides: Sides, end: Record) -> float:
    """Slip of an axle, as the mean of its wheels, at which it drives with a force, up to the most it can.

    Parameters
    ----------
    force : float
        Force of both wheels, positive when driving [N].
    sides : Sides
        The wheels.
    end : Record
        The tyre.

    Returns
    -------
    float
        Slip, ISO 8855, not below 0 [-].

    Source: inverse of `force_at` up to its summit.
    """
    if alike(sides):
        return tyre.slip_for_force(force, sides.left, end, sides.left_grip)
    low, high = 0.0, summit(sides, end).slip
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        if force_at(middle, sides, end) < force:
            low = middle
        else:
            high = middle
    faster = 0.5 * (low + high)
    left = 0.5 * tyre.axle_contact(faster, sides.left, end, sides.left_grip).force
    right = 0.5 * tyre.axle_contact(faster, sides.right, end, sides.right_grip).force
    held = sides.bias * min(left, right) + sides.bias_force
    if held >= max(left, right):  # both turn at one speed
        return faster
    if left > right:
        return 0.5 * (faster + tyre.slip_for_force(2.0 * held, sides.left, end, sides.left_grip))
    return 0.5 * (faster + tyre.slip_for_force(2.0 * held, sides.right, end, sides.right_grip))


class Joined(NamedTuple):
    """How a second axle turns with a first one."""

    lead: float  # its speed over that of the first [-]
    most: float  # force that it can be given at most [N]


@part
def _force_on_one_shaft(
    turns: float, at_first: Sides, at_second: Sides, end: Record, second: Record, joined: Joined
) -> float:
    """Force of two axles on one shaft, at its speed over that of the car [N]."""
    pushed = force_at(turns * joined.lead * second.radius - 1.0, at_second, second)
    return force_at(turns * end.radius - 1.0, at_first, end) + min(max(pushed, -joined.most), joined.most)


@part
def hardest_common_turns(at_first: Sides, at_second: Sides, end: Record, second: Record, joined: Joined) -> float:
    """Speed of the first of two axles on one shaft, over that of the car, at which they push hardest together.

    It lies between the speeds at which each of them alone does. Where the wheels of an axle differ, it is that of the
    faster one.

    Parameters
    ----------
    at_first : Sides
        Wheels of the first axle.
    at_second : Sides
        Wheels of the second axle.
    end : Record
        Tyre of the first axle.
    second : Record
        Tyre of the second axle.
    joined : Joined
        How the second axle turns with the first: at its speed and with any force, on one shaft.

    Returns
    -------
    float
        Speed [rad/m].

    Source: golden-section search from the best of a few speeds: two axles may have two summits.
    """
    alone = (1.0 + summit(at_first, end).slip) / end.radius
    other = (1.0 + summit(at_second, second).slip) / (joined.lead * second.radius)
    first, stride = min(alone, other), abs(alone - other) / _SUMMIT_SCAN
    best, most = first, -inf
    for i in range(_SUMMIT_SCAN + 1):
        force = _force_on_one_shaft(first + i * stride, at_first, at_second, end, second, joined)
        if force > most:
            best, most = first + i * stride, force
    low, high = max(best - stride, first), min(best + stride, first + _SUMMIT_SCAN * stride)
    for _ in range(_GOLDEN_STEPS):
        left, right = high - _GOLDEN * (high - low), low + _GOLDEN * (high - low)
        at_left = _force_on_one_shaft(left, at_first, at_second, end, second, joined)
        if at_left < _force_on_one_shaft(right, at_first, at_second, end, second, joined):
            low = left
        else:
            high = right
    return 0.5 * (low + high)


@part
def common_turns_for_force(
    force: float, most: float, at_first: Sides, at_second: Sides, end: Record, second: Record, joined: Joined
) -> float:
    """Speed of the first of two axles on one shaft, over that of the car, at which they drive with a force.

    With unlike radii the smaller wheels brake while the larger ones drive, until both do.

    Parameters
    ----------
    force : float
        Force of both axles, positive when driving [N].
    most : float
        Speed where they cannot, that of `hardest_common_turns` at most [rad/m].
    at_first : Sides
        Wheels of the first axle.
    at_second : Sides
        Wheels of the second axle.
    end : Record
        Tyre of the first axle.
    second : Record
        Tyre of the second axle.
    joined : Joined
        How the second axle turns with the first: at its speed and with any force, on one shaft.

    Returns
    -------
    float
        Speed [rad/m].

    Source: inverse of `force_at` for two axles, up to their common peak.
    """
    low, high = min(1.0 / end.radius, 1.0 / (joined.lead * second.radius)), most
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        if _force_on_one_shaft(middle, at_first, at_second, end, second, joined) < force:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


@inline
def turns_as_one(sides: Sides) -> bool:
    """Whether the two wheels of an axle have one speed in steady pull: they are alike, or on one shaft.

    Parameters
    ----------
    sides : Sides
        The wheels.

    Returns
    -------
    bool
        True of an axle of which the faster wheel is no faster than the mean.

    Source: definition.
    """
    return alike(sides) or sides.bias_force == inf


@part
def common_mean_turns_for_force(
    force: float, at_first: Sides, at_second: Sides, end: Record, second: Record, joined: Joined
) -> float:
    """Speed of the first of two axles on one shaft, over that of the car, where an axle has an open differential.

    The shaft turns both differentials at one speed, each of which is the mean of its two wheels.

    Parameters
    ----------
    force : float
        Force of both axles, positive when driving [N].
    at_first : Sides
        Wheels of the first axle.
    at_second : Sides
        Wheels of the second axle.
    end : Record
        Tyre of the first axle.
    second : Record
        Tyre of the second axle.
    joined : Joined
        How the second axle turns with the first: at its speed and with any force, on one shaft.

    Returns
    -------
    float
        Speed, that at which the weaker axle pushes hardest at most [rad/m].

    Source: compatibility of speeds at the shaft, by the force that the first axle takes.
    """
    low, high = max(force - joined.most, 0.0), max(force, 0.0)
    turns = 1.0 / end.radius
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        turns = (1.0 + slip_for_force(middle, at_first, end)) / end.radius
        other = (1.0 + slip_for_force(force - middle, at_second, second)) / (joined.lead * second.radius)
        if turns < other:
            low = middle
        else:
            high = middle
    return turns
