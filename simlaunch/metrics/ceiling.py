"""The most engine torque that the tyres can use, and how much of a curve lies above it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import inf
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from simlaunch.compiled import entry, inline, part
from simlaunch.cubics import monotone
from simlaunch.errors import UsageError
from simlaunch.metrics.above import integral_above, length_above
from simlaunch.metrics.full_load import full_load
from simlaunch.physics import air, body, sides, tyre
from simlaunch.physics.sides import Sides
from simlaunch.record import Record, is_complete
from simlaunch.simulation.trace import Trace

Array = NDArray[np.float64]

_ROAD_SPEEDS = 33  # where the grip limit is worked out; it runs smoothly between
_CURVE_POINTS = 241
_HALVINGS = 60  # of an interval in which a root lies
_LEAST_RISE = 1e-9  # share by which speeds have to rise so that a curve can be put through them
_WHOLE_ROLLING = 1.0  # rolling resistance is whole from this speed of the tread on [m/s]


class _Stream(NamedTuple):
    """What air and grade do to the car at one road speed."""

    lift_front: float  # [N]
    lift_rear: float  # [N]
    resistance: float  # drag and grade [N]


class _AxleLimit(NamedTuple):
    """One axle with its tyres at their peak; one that is not driven rolls along."""

    torque: float  # that its shafts carry then [N m]
    loss: float  # part of it that rolling resistance and the wheels' own inertia take [N m]
    rolling: float  # part of it that rolling resistance takes [N m]
    sides: Sides


class _Push(NamedTuple):
    """What both axles can do under the loads that one total tyre force brings about."""

    force_front: float  # [N]
    force_rear: float  # [N]
    front: _AxleLimit
    rear: _AxleLimit
    acceleration: float  # that the assumed force gives [m/s^2]


@dataclass(frozen=True)
class Surplus:
    """Surplus torque of one gear: how much of the full-load curve lies above the usable torque."""

    gear: int
    """First gear is 1."""
    share_of_area: float
    """Share of the area under the full-load curve of that gear, from its first point to the rev limit, that lies above
    the usable torque [-]."""
    time_above: float
    """Time in the run, in this gear, in which the full-load torque that is there exceeds the usable torque
    at that engine speed [s]."""


@inline
def driven_axles(car: Record) -> tuple[bool, bool]:
    """Whether the front and the rear axle are driven.

    Parameters
    ----------
    car : Record
        The car.

    Returns
    -------
    tuple of bool
        Front, rear.
    """
    locked = bool(car.drive.locked)
    return locked or car.drive.front_share > 0.0, locked or car.drive.front_share < 1.0


@inline
def _stream(speed: float, air_density: float, car: Record) -> _Stream:
    wind = speed + car.air.head_wind
    drag = air.dynamic_force(car.body.drag_area, air_density, wind)
    return _Stream(
        air.dynamic_force(car.body.lift_area_front, air_density, wind),
        air.dynamic_force(car.body.lift_area_rear, air_density, wind),
        drag + body.grade_force(car.body.mass, car.road.grade_angle),
    )


@part
def _axle_limit(
    load: float, pair: Sides, end: Record, driven: bool, road: Record, speed: float, acceleration: float
) -> _AxleLimit:
    most = sides.summit(pair, end)
    slip = most.slip if sides.alike(pair) else sides.slip_for_force(most.force, pair, end)
    ahead = 1.0 + (slip if driven else 0.0)
    rim = max(ahead * speed, _WHOLE_ROLLING)
    rolling = tyre.resisting_moment(load, rim, speed, end, road.rolling_factor, 0.0)
    loss = rolling + end.axle_inertia * ahead * acceleration / end.radius
    return _AxleLimit(most.force * end.radius + loss, loss, rolling, pair)


@inline
def _axle_torques(front: _AxleLimit, rear: _AxleLimit, drive: Record) -> tuple[float, float]:
    """Torque of the front and of the rear shafts when no more can be used [N m]."""
    if drive.clutched == 1:
        first, second = (front.torque, rear.torque) if drive.front_share >= 1.0 else (rear.torque, front.torque)
        second = min(second, drive.capacity)
        return (first, second) if drive.front_share >= 1.0 else (second, first)
    if drive.locked == 1:
        return front.torque, rear.torque
    share = drive.front_share
    by_front = front.torque / share if share > 0.0 else inf
    by_rear = rear.torque / (1.0 - share) if share < 1.0 else inf
    total = min(by_front, by_rear)
    return (share * total if share > 0.0 else 0.0), ((1.0 - share) * total if share < 1.0 else 0.0)


@part
def _push(force: float, speed: float, stream: _Stream, car: Record) -> _Push:
    shape, road, drive = car.body, car.road, car.drive
    transfer = body.load_transfer(force, shape)
    load_front, load_rear = body.axle_loads(transfer, stream.lift_front, stream.lift_rear, shape, road.grade_angle)
    acceleration = (force - stream.resistance) / shape.mass
    front_driven, rear_driven = drive.front_share > 0.0, drive.front_share < 1.0
    both = drive.locked == 1
    at_front = sides.axle_sides(0, load_front, 0.0, car)
    at_rear = sides.axle_sides(1, load_rear, drive.cross_lever * force * car.rear.radius, car)
    front = _axle_limit(load_front, at_front, car.front, both or front_driven, road, speed, acceleration)
    rear = _axle_limit(load_rear, at_rear, car.rear, both or rear_driven, road, speed, acceleration)
    torque_front, torque_rear = _axle_torques(front, rear, drive)
    return _Push(
        (torque_front - front.loss) / car.front.radius,
        (torque_rear - rear.loss) / car.rear.radius,
        front,
        rear,
        acceleration,
    )


@part
def _short(force: float, speed: float, stream: _Stream, car: Record) -> float:
    """How much more the tyres can do than the force that their loads stem from [N]."""
    push = _push(force, speed, stream, car)
    return push.force_front + push.force_rear - force


@part
def _settled_push(speed: float, stream: _Stream, car: Record) -> _Push:
    """The tyre force that its own load transfer allows, by bisection: it has kinks where an axle lifts or leads."""
    reach = car.body.mass * body.GRAVITY
    while _short(reach, speed, stream, car) > 0.0 or _short(-reach, speed, stream, car) < 0.0:
        reach *= 2.0
    low, high = -reach, reach
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        if _short(middle, speed, stream, car) > 0.0:
            low = middle
        else:
            high = middle
    return _push(0.5 * (low + high), speed, stream, car)


@entry
def grip_limits(speeds: Array, air_density: float, car: Record, out: Array) -> None:
    """The car at the grip limit in steady state, at each of some road speeds.

    Parameters
    ----------
    speeds : ndarray, shape (n,)
        Road speeds [m/s].
    air_density : float
        Density of the air [kg/m^3].
    car : Record
        The car.
    out : ndarray, shape (n, 3)
        Filled with acceleration [m/s^2], torque of all axle shafts at the gearbox output [N m], and half-shaft speed
        over road speed [rad/m]. A locked centre counts as led by the axle that carries more, and so does a clutch that
        holds the second axle; where that slips, the first axle leads.
    """
    drive = car.drive
    for i in range(speeds.size):
        push = _settled_push(speeds[i], _stream(speeds[i], air_density, car), car)
        front, rear, a = push.front, push.rear, push.acceleration
        turns_front = (1.0 + sides.slip_for_force(push.force_front, front.sides, car.front)) / car.front.radius
        turns_rear = (1.0 + sides.slip_for_force(push.force_rear, rear.sides, car.rear)) / car.rear.radius
        at_front = push.force_front * car.front.radius + front.rolling + car.front.axle_inertia * turns_front * a
        at_rear = push.force_rear * car.rear.radius + rear.rolling + car.rear.axle_inertia * turns_rear * a
        share = drive.front_share
        held = drive.locked == 1
        if drive.clutched == 1:
            rear_second = share >= 1.0
            held = (rear.torque if rear_second else front.torque) <= drive.capacity
            if rear_second:
                at_rear, turns_rear = drive.lead * at_rear, turns_rear / drive.lead
            else:
                at_front, turns_front = drive.lead * at_front, turns_front / drive.lead
        total = at_front + at_rear
        if held:
            share = at_front / total if total > 0.0 else 0.5
        out[i, 0] = a
        out[i, 1] = total
        out[i, 2] = share * turns_front + (1.0 - share) * turns_rear


def _limits(car: Record, speeds: Array) -> Array:
    if not is_complete(car):
        raise UsageError(
            "the car is not complete; take it from runnable(scenario, curve, pedal), or call complete(car)"
        )
    found = np.empty((speeds.size, 3))
    grip_limits(speeds, float(car.air.density), car, found)
    return found


def grip_limited_acceleration(car: Record, speed: float) -> float:
    """Acceleration with the driven tyres at the peak of their force, load transfer settled.

    m a = F - D - m g sin(grade), with F the force of all tyres under the axle loads that F itself brings
    about. With an open centre the axle that peaks first sets the torque of both; a locked centre has both axles at
    their peak, and so has a clutch for the second axle, unless it carries less. An axle that is not driven holds the
    car back by rolling resistance and its wheels' inertia.

    Parameters
    ----------
    car : Record
        The car.
    speed : float
        Road speed [m/s].

    Returns
    -------
    float
        Acceleration [m/s^2].

    Source: T. D. Gillespie, Fundamentals of Vehicle Dynamics, ch. 2 (from memory), friction by load.
    """
    return float(_limits(car, np.array([float(speed)]))[0, 0])


Ceiling = Callable[[ArrayLike], Array]


def _rising(shaft_speeds: Array, values: Array) -> NDArray[np.bool_]:
    """Points that are numbers, and at which the half shafts turn faster than at every lower road speed."""
    sound = np.isfinite(shaft_speeds) & np.isfinite(values)
    highest = np.maximum.accumulate(np.where(sound, shaft_speeds, -inf))
    before = np.concatenate(([-inf], highest[:-1]))
    return sound & (shaft_speeds > before + _LEAST_RISE * np.maximum(before, 0.0))


def _held(engine_speeds: Array, torque: Array) -> Ceiling:
    """Torque over engine speed, held as it is beyond its last point."""
    if engine_speeds.size < 2:
        return lambda speeds: np.full(np.shape(speeds), torque[0] if torque.size else 0.0)
    through = monotone(engine_speeds, torque)
    return lambda speeds: np.asarray(through(np.minimum(speeds, engine_speeds[-1])), np.float64)


def _ceiling_by_gear(car: Record, top_speed: float) -> Callable[[int], Ceiling]:
    """Usable torque over engine speed for a gear, from the grip limit at road speeds up to a top speed.

    Lift takes load from the tyres, and with it the slip of their peak force. Where slip falls faster than road speed
    rises, two road speeds have one engine speed: the lower counts, which a car comes to first.
    """
    road_speeds = np.linspace(0.0, top_speed, _ROAD_SPEEDS)
    limits = _limits(car, road_speeds)
    rising = _rising(limits[:, 2] * road_speeds, limits[:, 0] + limits[:, 1])
    road_speeds = road_speeds[rising]
    acceleration, axle_torque, turns = limits[rising].T
    pace = turns * acceleration
    at_shafts = axle_torque + car.drive.inertia * pace

    def in_gear(gear: int) -> Ceiling:
        ratio, efficiency = car.gearbox.ratio[gear - 1], car.gearbox.efficiency[gear - 1]
        torque = at_shafts / (ratio * efficiency)
        torque = torque + (car.gearbox.input_inertia + car.engine.inertia) * ratio * pace
        return _held(ratio * turns * road_speeds, np.maximum(torque, 0.0))

    return in_gear


def _top_speed(car: Record, engine_speed: float, ratio: float) -> float:
    """Road speed that an engine speed cannot exceed in a gear: that of wheels which do not slip [m/s]."""
    return float(engine_speed / ratio * max(car.front.radius, car.rear.radius))


def usable_torque(car: Record, gear: int, engine_speeds: ArrayLike) -> Array:
    """Usable torque: engine torque at which the driven tyres reach their peak force at that road speed.

    T = (T_axles + J_d w_s') / (e i) + J i w_s', w_s the speed of the half shafts, J engine and gearbox

    Steady state with the coupling closed: load transfer has settled; wheels, shafts, gearbox and engine spin
    up with the car. Road speed is engine speed through the gear, less the slip of peak force.

    Parameters
    ----------
    car : Record
        The car.
    gear : int
        Gear, first gear is 1 [-].
    engine_speeds : array_like, shape (n,)
        Engine speeds [rad/s].

    Returns
    -------
    ndarray, shape (n,)
        Torque, not below zero [N m].

    Raises
    ------
    UsageError
        The gearbox has no such gear.
    """
    if not 1 <= gear <= car.gearbox.count:
        raise UsageError(f"no gear {gear}; the gearbox has gears 1 to {car.gearbox.count}")
    speeds = np.asarray(engine_speeds, dtype=np.float64)
    top = _top_speed(car, max(float(speeds.max(initial=0.0)), 1.0), float(car.gearbox.ratio[gear - 1]))
    found: Array = _ceiling_by_gear(car, top)(gear)(speeds)
    return found


def _time_above(trace: Trace, gear: int, ceiling: Ceiling) -> float:
    if any(name not in trace for name in ("gear", "engine_speed", "available_torque")):
        return float("nan")
    margin = trace["available_torque"] - ceiling(trace["engine_speed"])
    counts = (trace["gear"] == gear) & (trace.time >= 0.0)
    return length_above(trace.time, np.where(counts, margin, -inf))


def share_above(engine_speeds: Array, curve: Array, ceiling: Array) -> float:
    """Share of the area under a full-load curve that lies above the usable torque.

    Parameters
    ----------
    engine_speeds : ndarray, shape (n,)
        Engine speeds in rising order [rad/s].
    curve : ndarray, shape (n,)
        Full-load torque [N m].
    ceiling : ndarray, shape (n,)
        Usable torque [N m].

    Returns
    -------
    float
        Share, 0 to 1 [-].
    """
    above = curve - ceiling
    return float(integral_above(engine_speeds, above, above) / np.trapezoid(curve, engine_speeds))


def surplus(car: Record, trace: Trace) -> tuple[Surplus, ...]:
    """Surplus torque of every gear.

    Parameters
    ----------
    car : Record
        The car.
    trace : Trace
        Its run; without engine speed, gear and available torque the times are nan.

    Returns
    -------
    tuple of Surplus
        Shares [-] and times [s], from first gear up.
    """
    gears = range(1, int(car.gearbox.count) + 1)
    limit = float(car.engine.rev_limit)
    speeds = np.linspace(float(car.engine.torque.knot[0]), limit, _CURVE_POINTS)
    fastest = float(np.fmax.reduce(trace.channels.get("engine_speed", np.array([limit])), initial=limit))
    in_gear = _ceiling_by_gear(car, _top_speed(car, fastest, float(min(car.gearbox.ratio[: len(gears)]))))
    found = []
    for gear in gears:
        ceiling, curve = in_gear(gear), full_load(car, gear, speeds)
        found.append(Surplus(gear, share_above(speeds, curve, ceiling(speeds)), _time_above(trace, gear, ceiling)))
    return tuple(found)
