"""Which key of a scenario goes into which field of the record, and how: the one map that everything reads.

A launch fills every field. A sweep, uncertain values and a fit fill the fields of the keys that they vary, for many
cars at a time. A transform takes what the scenario holds at its keys: quantities, text, or lists of quantities; None
where the scenario has no such key or leaves it open. The `si` of a quantity is one number, or an array of shape (n, 1)
with a number for each of n cars. A transform returns a value of that shape, or of (..., k) for a field of k numbers.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from simlaunch.cubics import monotone
from simlaunch.parameters.weather import Weather, power_limit, torque_factor
from simlaunch.record import FOOT, MAX_CURVE_POINTS, MAX_GEARS, Coupling, ShiftKind
from simlaunch.scenario.car import rolling_radius
from simlaunch.scenario.model import Run
from simlaunch.scenario.powertrain import BEST, BEST_FORCE, CompressorLimit, Curve
from simlaunch.scenario.surroundings import air_pressure, air_temperature, surfaces
from simlaunch.units.quantity import Quantity, to_si
from simlaunch.units.spelling import Dimension

Array = NDArray[np.float64]

_BEYOND = 1e-3  # far more than an event may be missed by [m] or [m/s]


@dataclass(frozen=True)
class Column:
    """A quantity of many cars.

    Parameters
    ----------
    si : ndarray, shape (n, 1)
        Values in SI units, one for each car.
    dimension : Dimension
        Kind of quantity.
    """

    si: Array
    dimension: Dimension


Held: TypeAlias = Quantity | Column
"""What a key holds that takes one number."""

Made: TypeAlias = Any
"""One number; an array of shape (n, 1) or (..., k); knots and values of a table; None leaves the field as it is."""


def first(*held: Held | None) -> Made:
    """The value as it is, of the first of the keys that is given."""
    return next((each.si for each in held if each is not None), None)


def _times(factor: float) -> Callable[[Held], Made]:
    return lambda held: factor * held.si


def _on_both_axles(held: Held) -> Made:
    return held.si * np.ones(2)


def _is(*choices: str) -> Callable[[str | None], Made]:
    return lambda held: held in choices


def _one_by_one(made: Callable[..., Any]) -> Callable[..., Made]:
    """A transform of one car, done for each of many: powers and angles of NumPy differ in the last bit."""

    def of_many(*held: Any) -> Made:
        count = next((len(each.si) for each in held if isinstance(each, Column)), None)
        if count is None:
            return made(*held)
        rows = ([_of_car(each, n) for each in held] for n in range(count))
        return np.array([[made(*row)] for row in rows])

    return of_many


def _of_car(held: Any, n: int) -> Any:
    return Quantity("", float(held.si[n, 0]), held.dimension) if isinstance(held, Column) else held


def _grade_angle(grade: Quantity) -> float:
    return grade.si if grade.dimension is Dimension.ANGLE else math.atan(grade.si)


def _or_of_surface(factor: str) -> Callable[[Held | None, str], Made]:
    return lambda given, surface: given.si if given else to_si(getattr(surfaces()[surface], factor), Dimension.NUMBER)


def _front_share(driven: str, share: Held, second: str | None) -> Made:
    """Where a clutch brings one axle in, the other one is driven directly."""
    return {"front": 1.0, "rear": 0.0}.get(_OTHER[second] if second else driven, share.si)


_OTHER = {"front": "rear", "rear": "front"}


def _at_half_shafts(capacity: Held | None, ratio: Held | None) -> Made:
    """Capacity of a clutch, behind its ratio."""
    return None if capacity is None or ratio is None else capacity.si * ratio.si


def _one_more(share: Held | None) -> Made:
    return None if share is None else 1.0 + share.si


def _stated(*held: Held | None) -> Made:
    """Whether any of the keys is given, whatever its number."""
    return 1 if any(each is not None for each in held) else None


def _of_axles(driven: str, both: Held | None, front: Held | None) -> Made:
    """Front and rear, where the front may have its own; zero where nothing is stated, and of an axle without drive."""
    every = 0.0 if both is None else both.si
    at_front, at_rear = (every if front is None else front.si), every
    each = (at_front if driven != "rear" else 0.0, at_rear if driven != "front" else 0.0)
    return np.concatenate(np.broadcast_arrays(*map(np.atleast_1d, each)), axis=-1)


def _cross_lever(track: Held | None, front_share: Held, final_drive: Any) -> Made:
    """Load moved across a live axle, over its torque: T_shaft / track, less what its own springs take of it."""
    return None if track is None else front_share.si / (track.si * final_drive.si)


def _through(points: Sequence[tuple[Quantity, Quantity]]) -> Made:
    """Knots and values of a table through typed points; a single point is a constant."""
    x, y = (np.array([value.si for value in column]) for column in zip(*points, strict=True))
    return (x, y) if len(x) > 1 else (np.array([x[0], x[0] + 1.0]), np.repeat(y, 2))


_ROOM = 16  # places that stay free in the table of a curve, for a study that bends it further


def _full_load(curve: Curve | None, pressure: Any, temperature: Any, altitude: Any, humidity: Any) -> Made:
    """The curve as the air lets it be; None where only the air is at hand, and no curve follows it."""
    if curve is None:
        return None
    if curve.weather is None:
        return _through(curve.points)

    def in_air(*air: Any) -> tuple[float, float]:
        weather = Weather(air_pressure(air[0], air[2]), air_temperature(air[1], air[2]), air[3].si)
        return torque_factor(curve, weather), power_limit(curve, weather)

    x, y = _through(curve.points)
    if isinstance(curve.weather, CompressorLimit):  # a cap bends the curve between its points
        even = np.linspace(x[0], x[-1], max(MAX_CURVE_POINTS - _ROOM - len(x), 0))
        fine = np.union1d(x, even)
        x, y = fine, monotone(x, y)(fine)
    made = np.asarray(_one_by_one(in_air)(pressure, temperature, altitude, humidity))
    factor, power = made[..., 0], made[..., 1]
    return x, np.minimum(y * factor, power / np.maximum(x, 1.0))


def _gear_limit(curve: Curve | None) -> Made:
    """One torque for a gear, or nothing."""
    limits = np.full(MAX_GEARS, np.inf)
    for limit in (curve.gear_limits or ()) if curve else ():
        if len(limit.torque) == 1:
            limits[int(limit.gear.si) - 1] = limit.torque[0][1].si
    return limits


def _gear_curves(curve: Curve | None) -> Made:
    """Tables by index of the gear."""
    limits = (curve.gear_limits or ()) if curve else ()
    return {int(limit.gear.si) - 1: _through(limit.torque) for limit in limits if len(limit.torque) > 1}


def _by_ratio(last: float, power: int) -> Callable[..., Made]:
    """Table of a converter, whose last value stands at speed ratio 1; a clutch has that value throughout."""

    def table(ratios: Sequence[Quantity] | None, values: Sequence[Quantity]) -> tuple[Array, Array]:
        if ratios is None:
            return np.array([0.0, 1.0]), np.array([last, last])
        return np.array([*(each.si for each in ratios), 1.0]), np.array([*(each.si**power for each in values), last])

    return table


_COUPLINGS = {"friction clutch": Coupling.FRICTION_CLUTCH, "torque converter": Coupling.TORQUE_CONVERTER}


def _lock_gear(gear: Held | None, capacity: Held | None) -> Made:
    """Lowest gear of the lock-up; 0 without one."""
    return None if gear is None or capacity is None else np.where(capacity.si != 0.0, gear.si, 0.0)


def _brake_release(release: Held, coupling: str) -> Made:
    """Only a converter lets brakes hold the car before the start."""
    return release.si if _COUPLINGS[coupling] is Coupling.TORQUE_CONVERTER else 0.0


def _per_gear(held: Any, ratios: Sequence[Quantity]) -> Made:
    """One value serves all gears."""
    one = isinstance(held, Quantity | Column)
    return (held.si if one else np.array([each.si for each in held])) * np.ones(len(ratios))


def _overall(ratios: Sequence[Quantity], final_drive: Any) -> Made:
    """Gear times its own final drive: all that a launch needs, which therefore never sees the two apart."""
    return np.array([ratio.si for ratio in ratios]) * _per_gear(final_drive, ratios)


def _shift_speeds(speeds: Any, ratios: Sequence[Quantity]) -> Made:
    """One speed serves all gears but the last; best force is for the launch to work out."""
    if speeds == BEST_FORCE:
        return None
    return np.array([each.si for each in speeds]) * np.ones(len(ratios) - 1)


def _launch_speed(speed: Any) -> Made:
    """Nan for the best speed, which is sought where the car is launched."""
    return math.nan if speed == BEST else speed.si


_SHIFTS = {
    "torque gap": ShiftKind.TORQUE_GAP,
    "torque hand-over": ShiftKind.TORQUE_HAND_OVER,
    "torque dip": ShiftKind.TORQUE_DIP,
}


def _stop(dimension: Dimension, rollout: float) -> Callable[[Run], Made]:
    """A run ends a little beyond its goal, so that the goal itself is passed, one foot after moving off as well."""

    def stop(run: Run) -> float:
        goal = run.goal(dimension)
        return goal + rollout + _BEYOND if goal > 0.0 else 0.0

    return stop


@dataclass(frozen=True)
class Row:
    """One field of the record.

    Parameters
    ----------
    field : str
        Its path.
    keys : tuple of str
        Key paths in the scenario. The tables `tyres.front` and `tyres.rear` are that of `tyres.both` where there is
        one; `curves` is the one curve that is launched.
    made : callable
        The transform.
    """

    field: str
    keys: tuple[str, ...]
    made: Callable[..., Made]

    @cached_property
    def places(self) -> tuple[tuple[str, str], ...]:
        """Table and name of each key."""
        return tuple((table, name) for table, _, name in (key.rpartition(".") for key in self.keys))


def _row(field: str, *keys: str, made: Callable[..., Made] = first) -> Row:
    return Row(field, keys, made)


_RADIUS = ("radius", "size", "rolling_factor_of_radius")


def _tyre(axle: str) -> tuple[Row, ...]:
    tyre = f"tyres.{axle}"
    return (
        _row(f"{axle}.radius", *(f"{tyre}.{key}" for key in _RADIUS), made=rolling_radius),
        _row(f"{axle}.nominal_load", f"{tyre}.nominal_load"),
        _row(f"{axle}.friction", f"{tyre}.friction"),
        _row(f"{axle}.friction_load", f"{tyre}.friction_load_slope"),
        _row(f"{axle}.shape_factor", f"{tyre}.shape"),
        _row(f"{axle}.curvature", f"{tyre}.curvature"),
        _row(f"{axle}.curvature_load", f"{tyre}.curvature_load_slope"),
        _row(f"{axle}.curvature_load_square", f"{tyre}.curvature_load_square"),
        _row(f"{axle}.slip_stiffness", f"{tyre}.slip_stiffness"),
        _row(f"{axle}.stiffness_load", f"{tyre}.stiffness_load_slope"),
        _row(f"{axle}.stiffness_load_exponent", f"{tyre}.stiffness_load_exponent"),
        _row(f"{axle}.relaxation_length", f"{tyre}.relaxation_length"),
        _row(f"{axle}.low_speed", f"{tyre}.low_speed"),
        _row(f"{axle}.low_speed_damping", f"{tyre}.low_speed_damping"),
        _row(f"{axle}.rolling_resistance", f"{tyre}.rolling_resistance"),
        _row(f"{axle}.rolling_resistance_square", f"{tyre}.rolling_resistance_speed_term"),
        _row(f"{axle}.axle_inertia", f"{tyre}.wheel_inertia", made=_times(2.0)),
    )


_TWO_WHEELS = (
    "road.left_friction_factor",
    "road.right_friction_factor",
    "body.left_weight_share",
    "drive.live_axle_track",
)
"""Keys of which any one makes the two wheels of a driven axle two."""

ROWS: tuple[Row, ...] = (
    _row("body.mass", "body.mass"),
    _row("body.front_share", "body.front_weight_share"),
    _row("body.left_share", "body.left_weight_share"),
    _row("body.wheelbase", "body.wheelbase"),
    _row("body.cg_height", "body.cg_height"),
    _row("body.drag_area", "body.drag_area"),
    _row("body.lift_area_front", "body.lift_area_front"),
    _row("body.lift_area_rear", "body.lift_area_rear"),
    _row("body.pitch_frequency", "body.pitch_frequency", made=_times(2.0 * math.pi)),
    _row("body.pitch_damping", "body.pitch_damping_ratio"),
    _row("air.pressure", "air.pressure", "air.altitude", made=_one_by_one(air_pressure)),
    _row("air.temperature", "air.temperature", "air.altitude", made=_one_by_one(air_temperature)),
    _row("air.humidity", "air.humidity"),
    _row("air.head_wind", "air.head_wind"),
    _row("air.density", "air.density"),
    _row("road.friction_factor", "road.friction_factor", "road.surface", made=_or_of_surface("friction_factor")),
    _row("road.rolling_factor", "road.rolling_factor", "road.surface", made=_or_of_surface("rolling_factor")),
    _row("road.left_friction", "road.left_friction_factor"),
    _row("road.right_friction", "road.right_friction_factor"),
    _row("road.grade_angle", "road.grade", made=_one_by_one(_grade_angle)),
    *_tyre("front"),
    *_tyre("rear"),
    _row("drive.front_share", "drive.driven", "drive.front_share", "drive.second_axle.axle", made=_front_share),
    _row("drive.locked", "drive.centre", made=_is("locked", "clutch")),
    _row("drive.clutched", "drive.centre", made=_is("clutch")),
    _row("drive.capacity", "drive.second_axle.capacity", "drive.second_axle.ratio", made=_at_half_shafts),
    _row("drive.lead", "drive.second_axle.lead", made=_one_more),
    _row("drive.clutch_ratio", "drive.second_axle.ratio"),
    _row("drive.delay", "drive.second_axle.delay"),
    _row("drive.ramp", "drive.second_axle.engagement_time"),
    _row("drive.rigid", "drive.half_shafts", made=_is("rigid")),
    _row("drive.shaft_stiffness", "drive.half_shaft_stiffness", made=_on_both_axles),
    _row("drive.shaft_damping", "drive.half_shaft_damping", made=_on_both_axles),
    _row("drive.inertia", "drive.inertia"),
    _row("drive.paired", *_TWO_WHEELS, made=_stated),
    _row("drive.locking", "drive.driven", "drive.locking", "drive.front_locking", made=_of_axles),
    _row(
        "drive.preload",
        "drive.driven",
        "drive.locking_preload",
        "drive.front_locking_preload",
        made=_of_axles,
    ),
    _row("drive.locking_speed", "drive.locking_speed"),
    _row(
        "drive.cross_lever",
        "drive.live_axle_track",
        "drive.front_roll_stiffness_share",
        "gearbox.final_drive",
        made=_cross_lever,
    ),
    _row("engine.torque", "curves", "air.pressure", "air.temperature", "air.altitude", "air.humidity", made=_full_load),
    _row("engine.gear_limit", "curves", made=_gear_limit),
    _row("engine.gear_curve", "curves", made=_gear_curves),
    _row("engine.overrun", "engine.overrun_torque", made=_through),
    _row("engine.boost_time", "engine.boost_time_constant", made=_through),
    _row("engine.boost_decay", "engine.boost_decay_time"),
    _row("engine.lagged_share", "engine.boost_lagged_share"),
    _row("engine.inertia", "engine.inertia"),
    _row("engine.idle", "engine.idle"),
    _row("engine.rev_limit", "engine.rev_limit"),
    _row("engine.limiter_band", "engine.limiter_band"),
    _row("coupling.kind", "coupling.kind", made=_COUPLINGS.__getitem__),
    _row("coupling.capacity", "coupling.capacity", "coupling.lock_up_capacity"),
    _row("coupling.ramp", "coupling.engagement_time", "coupling.lock_up_time"),
    _row("coupling.fluid_capacity", "coupling.speed_ratio", "coupling.capacity_factor", made=_by_ratio(0.0, -2)),
    _row("coupling.torque_ratio", "coupling.speed_ratio", "coupling.torque_ratio", made=_by_ratio(1.0, 1)),
    _row("coupling.lock_gear", "coupling.lock_up_gear", "coupling.lock_up_capacity", made=_lock_gear),
    _row("coupling.lock_ratio", "coupling.lock_up_speed_ratio"),
    _row("gearbox.count", "gearbox.ratios", made=len),
    _row("gearbox.ratio", "gearbox.ratios", "gearbox.final_drive", made=_overall),
    _row("gearbox.efficiency", "gearbox.efficiency", "gearbox.ratios", made=_per_gear),
    _row("gearbox.shift_speed", "gearbox.shift_at", "gearbox.ratios", made=_shift_speeds),
    _row("gearbox.input_inertia", "gearbox.input_inertia"),
    _row("gearbox.shift_kind", "gearbox.shift.kind", made=_SHIFTS.__getitem__),
    _row("gearbox.ramp_down", "gearbox.shift.ramp_down"),
    _row("gearbox.gap", "gearbox.shift.gap"),
    _row("gearbox.ramp_up", "gearbox.shift.ramp_up"),
    _row("gearbox.hand_over", "gearbox.shift.hand_over"),
    _row("gearbox.inertia_phase", "gearbox.shift.inertia_phase"),
    _row("gearbox.dip", "gearbox.shift.dip"),
    _row("gearbox.throttle_open", "gearbox.shift.throttle", made=_is("open")),
    _row("launch.engine_speed", "launch.engine_speed", made=_launch_speed),
    _row("launch.boost", "launch.boost"),
    _row("launch.brake_release", "launch.brake_release", "coupling.kind", made=_brake_release),
    _row("pedal.target_slip", "pedal.target_slip"),
    _row("pedal.delay", "pedal.actuator_delay"),
    _row("run.stop_distance", "run", made=_stop(Dimension.LENGTH, FOOT)),
    _row("run.stop_speed", "run", made=_stop(Dimension.SPEED, 0.0)),
    _row("run.time_limit", "run.time_limit"),
)
"""Field of the record, the keys that it follows, and how; a value goes in as it is unless a transform is named.

Left to the launch: what is `nan` in a blank record. `pedal.kind` is no key.
"""
