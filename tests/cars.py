"""Cars for tests, as the plain records that a launch runs on. All of them are invented.

A car is varied by a mapping from the place of a number to its value, such as ``{"body.mass": 1700.0}``. A table takes
a pair of sequences, knots and values; an array field takes as many values as are given.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from simlaunch.parameters.fill import fill_table
from simlaunch.record import MAX_CURVE_POINTS, Car, Coupling, Pedal, ShiftKind, blank

RPM = np.pi / 30.0
Changes = Mapping[str, Any]
Points = Sequence[tuple[float, float]]

PEAK: Points = (
    (1000, 200), (2000, 330), (3000, 520), (3600, 560), (4200, 545), (5000, 490), (6000, 420), (7000, 340),
)  # fmt: skip
"""Torque [N m] over engine speed [rpm]: high and early, then falling fast."""

PLATEAU: Points = ((1000, 200), (2000, 330), (2800, 460), (5600, 460), (6200, 430), (7000, 370))
"""Torque [N m] over engine speed [rpm]: lower, and held for longer."""

CONVERTER_RATIO = (0.0, 0.2, 0.4, 0.6, 0.8, 0.86, 0.90, 0.94, 1.0)
_K_TABLE = (137.465, 135.864, 137.565, 145.269, 162.977, 175.383, 197.694, 244.516)  # [rpm/sqrt(lbf ft)]
_LBF_FT = 1.3558179483314004  # [N m]
CONVERTER_CAPACITY = (*(_LBF_FT / (k * RPM) ** 2 for k in _K_TABLE), 0.0)
CONVERTER_TORQUE_RATIO = (2.232, 1.975, 1.720, 1.409, 1.096, 1.002, 1.0, 1.0, 1.0)

_COUPE: Changes = {
    "body.mass": 1610.0, "body.front_share": 0.53, "body.wheelbase": 2.7, "body.cg_height": 0.52,
    "body.drag_area": 0.66, "body.pitch_frequency": 2.0 * np.pi * 1.5, "body.pitch_damping": 0.3,
    "air.pressure": 101325.0, "air.temperature": 288.15,
    "road.friction_factor": 1.0, "road.rolling_factor": 1.0,
    "drive.shaft_stiffness": 16000.0, "drive.shaft_damping": 40.0, "drive.inertia": 0.2,
    "engine.overrun": ((100.0, 800.0), (40.0, 40.0)), "engine.boost_time": ((100.0, 800.0), (0.35, 0.35)),
    "engine.boost_decay": 0.3, "engine.lagged_share": 0.5, "engine.inertia": 0.2,
    "engine.idle": 900.0 * RPM, "engine.rev_limit": 6900.0 * RPM, "engine.limiter_band": 50.0 * RPM,
    "coupling.capacity": 700.0, "coupling.ramp": 0.5,
    "coupling.fluid_capacity": ((0.0, 1.0), (0.0, 0.0)), "coupling.torque_ratio": ((0.0, 1.0), (1.0, 1.0)),
    "gearbox.input_inertia": 0.005,
    "gearbox.ramp_down": 0.05, "gearbox.gap": 0.2, "gearbox.ramp_up": 0.15,
    "gearbox.hand_over": 0.08, "gearbox.inertia_phase": 0.15,
    "launch.engine_speed": 3500.0 * RPM, "launch.boost": 0.3,
    "pedal.delay": 0.02,
    "run.stop_distance": 402.336, "run.time_limit": 60.0,
}  # fmt: skip

_ROAD_TYRE: Changes = {
    "radius": 0.315, "nominal_load": 4000.0, "friction": 1.05, "friction_load": -0.16, "shape_factor": 1.64,
    "curvature": 0.46, "curvature_load": 0.25, "curvature_load_square": 0.068,
    "slip_stiffness": 22.3, "stiffness_load": 0.49, "stiffness_load_exponent": 0.21,
    "relaxation_length": 0.2, "low_speed": 2.5, "low_speed_damping": 1.0, "rolling_resistance": 0.011,
    "axle_inertia": 2.2,
}  # fmt: skip


def change(car: Car, changes: Changes) -> Car:
    """The same car with some numbers changed in place."""
    for place, value in changes.items():
        *rooms, name = place.split(".")
        holder = car
        for room in rooms:
            holder = getattr(holder, room)
        current = getattr(holder, name)
        if isinstance(current, np.record) and isinstance(value, tuple):
            fill_table(current, np.asarray(value[0], float), np.asarray(value[1], float))
        elif isinstance(current, np.ndarray):
            current[: np.size(value) if np.ndim(value) else None] = value
        else:
            setattr(holder, name, value)
    return car


def on_both_axles(changes: Changes) -> dict[str, Any]:
    """Changes to a tyre, made to the front tyres and to the rear tyres."""
    return {f"{axle}.{name}": value for axle in ("front", "rear") for name, value in changes.items()}


def full_load(points: Points, factor: float = 1.0) -> dict[str, Any]:
    """A full-load torque curve from points of engine speed [rpm] and torque [N m]."""
    speed, torque = zip(*points, strict=True)
    return {"engine.torque": (np.array(speed) * RPM, factor * np.array(torque, float))}


def gears(*ratios: float, final: float = 1.0, efficiency: float = 0.94) -> dict[str, Any]:
    """A gear set, all gears of one efficiency."""
    return {
        "gearbox.count": len(ratios),
        "gearbox.ratio": final * np.array(ratios),
        "gearbox.efficiency": np.full(len(ratios), efficiency),
    }


def converter(scale: float = 1.0) -> dict[str, Any]:
    """A torque converter after a published teaching table, its capacity multiplied by `scale`."""
    return {
        "coupling.kind": int(Coupling.TORQUE_CONVERTER),
        "coupling.capacity": 0.0,
        "coupling.ramp": 0.3,
        "coupling.fluid_capacity": (CONVERTER_RATIO, scale * np.array(CONVERTER_CAPACITY)),
        "coupling.torque_ratio": (CONVERTER_RATIO, CONVERTER_TORQUE_RATIO),
    }


def coupe(changes: Changes | None = None) -> Car:
    """A plain boosted coupe: rear drive, clutch, six gears with a torque gap, elastic half shafts."""
    car = blank()
    change(car, _COUPE)
    change(car, on_both_axles(_ROAD_TYRE))
    change(car, full_load(PEAK))
    change(car, gears(3.8, 2.2, 1.52, 1.16, 0.92, 0.76, final=3.42))
    return change(car, changes or {})


def front_hatch(changes: Changes | None = None) -> Car:
    """A front-driven car with a dual clutch that hands the torque over."""
    car = coupe({
        "body.mass": 1380.0, "body.front_share": 0.62, "drive.front_share": 1.0,
        "gearbox.shift_kind": int(ShiftKind.TORQUE_HAND_OVER), "launch.engine_speed": 3000.0 * RPM,
        **full_load(PLATEAU, 0.75),
    })  # fmt: skip
    return change(car, changes or {})


def all_drive_saloon(changes: Changes | None = None) -> Car:
    """An all-wheel drive with an open centre, a converter with lock-up and eight gears with a torque dip."""
    car = coupe({
        "body.mass": 1880.0, "body.front_share": 0.54, "drive.front_share": 0.4,
        **converter(1.15), "coupling.capacity": 700.0, "coupling.lock_gear": 2, "coupling.lock_ratio": 0.88,
        **gears(4.9, 3.1, 2.1, 1.65, 1.3, 1.0, 0.84, 0.67, final=2.95),
        "gearbox.shift_kind": int(ShiftKind.TORQUE_DIP), "gearbox.dip": 0.4, "launch.engine_speed": 2300.0 * RPM,
    })  # fmt: skip
    return change(car, changes or {})


STIFF_TYRE: Changes = {
    "radius": 0.3, "nominal_load": 1e4, "friction": 5.0, "friction_load": 0.0, "shape_factor": 1.6, "curvature": 0.0,
    "curvature_load": 0.0, "curvature_load_square": 0.0, "slip_stiffness": 1e5, "stiffness_load": 0.0,
    "stiffness_load_exponent": 0.0, "relaxation_length": 1.0, "rolling_resistance": 0.0,
    "rolling_resistance_square": 0.0, "axle_inertia": 300.0 * 0.3**2,
}  # fmt: skip
"""A tyre that hardly slips; its wheels have a fifth of the car's effective mass, which keeps the equations mild."""

POINT_MASS = 1500.0
"""Effective mass of the point-mass car [kg]: 900 kg of body, and two axles of 300 kg at the tread."""


def point_mass(changes: Changes | None = None) -> Car:
    """A car for problems solved by hand: one gear, no resistance, no losses, tyres that hardly slip.

    Its clutch carries all it is given from the first moment, its engine and gearbox weigh next to nothing.
    """
    car = coupe({
        **on_both_axles(STIFF_TYRE),
        "body.mass": POINT_MASS - 600.0, "body.front_share": 0.5, "body.cg_height": 0.0, "body.drag_area": 0.0,
        "air.density": 1.225,
        "drive.rigid": 1, "drive.front_share": 0.5, "drive.inertia": 0.0,
        "engine.inertia": 1e-5, "engine.idle": 1e-3, "engine.lagged_share": 0.0, "engine.rev_limit": 1e4,
        "engine.overrun": ((100.0, 800.0), (0.0, 0.0)), "coupling.capacity": 1e4, "coupling.ramp": 0.0,
        "gearbox.input_inertia": 1e-5,
        **gears(10.0, efficiency=1.0),
    })  # fmt: skip
    return change(car, changes or {})


def constant_power(power: float, low: float, high: float) -> dict[str, Any]:
    """A full-load curve of one power [W] between two engine speeds [rad/s], of the torque at `low` below them."""
    speed = np.geomspace(low, high, MAX_CURVE_POINTS - 1)
    return {"engine.torque": (np.r_[0.5 * low, speed], np.r_[power / low, power / speed])}


def _random_gear_set(rng: np.random.Generator) -> dict[str, Any]:
    count = int(rng.integers(4, 9))
    first, top = rng.uniform(10.0, 16.0), rng.uniform(2.2, 3.2)
    steps = np.linspace(1.0, 0.6, count - 1) ** rng.uniform(0.5, 1.5)
    share = np.concatenate([[0.0], np.cumsum(steps)]) / steps.sum()
    return {
        "gearbox.count": count,
        "gearbox.ratio": first * (top / first) ** share,
        "gearbox.efficiency": rng.uniform(0.88, 0.98, count),
        "gearbox.input_inertia": rng.uniform(0.002, 0.06),
        "gearbox.shift_kind": int(rng.integers(3)),
        "gearbox.ramp_down": rng.uniform(0.0, 0.1) * (rng.random() < 0.8),
        "gearbox.gap": rng.uniform(0.05, 0.5),
        "gearbox.ramp_up": rng.uniform(0.02, 0.25),
        "gearbox.hand_over": rng.uniform(0.02, 0.2) * (rng.random() < 0.8),
        "gearbox.inertia_phase": rng.uniform(0.05, 0.3),
        "gearbox.dip": rng.uniform(0.1, 0.6),
        "gearbox.throttle_open": int(rng.integers(2)),
    }


def _random_engine(rng: np.random.Generator, peak: float) -> dict[str, Any]:
    limit = rng.uniform(5500.0, 8500.0)
    rise, fall = rng.uniform(0.36, 0.6), rng.uniform(0.65, 0.85)
    knots = (900.0, *(np.array([0.5 * rise, rise, 0.5 * (rise + fall), fall, 1.0]) * limit))
    shares = (rng.uniform(0.3, 0.5), rng.uniform(0.5, 0.8), rng.uniform(0.9, 1.0), 1.0, rng.uniform(0.85, 1.0),
              rng.uniform(0.5, 0.8))  # fmt: skip
    return {
        **full_load(tuple(zip(knots, shares, strict=True)), peak),
        "engine.rev_limit": rng.uniform(0.94, 1.0) * limit * RPM,
        "engine.limiter_band": rng.uniform(40.0, 150.0) * RPM,
        "engine.inertia": rng.uniform(0.1, 0.35),
        "engine.lagged_share": rng.choice([0.0, rng.uniform(0.2, 0.7)]),
        "engine.boost_time": ((150.0, 350.0, 600.0), rng.uniform([0.3, 0.2, 0.1], [0.8, 0.4, 0.25])),
        "engine.boost_decay": rng.uniform(0.1, 0.5),
        "engine.overrun": ((100.0, 700.0), rng.uniform([15.0, 40.0], [40.0, 90.0])),
        "launch.engine_speed": rng.uniform(2000.0, 4500.0) * RPM,
        "launch.boost": rng.uniform(0.0, 1.0),
    }


def _random_coupling(rng: np.random.Generator, peak: float) -> dict[str, Any]:
    if rng.random() < 0.6:
        return {"coupling.capacity": peak * rng.uniform(1.2, 2.5), "coupling.ramp": rng.uniform(0.15, 1.0)}
    locks = rng.random() < 0.6
    return {
        **converter(peak / 400.0 * rng.uniform(0.7, 1.4)),
        "coupling.capacity": peak * rng.uniform(1.2, 2.0) if locks else 0.0,
        "coupling.ramp": rng.uniform(0.1, 0.5),
        "coupling.lock_gear": int(rng.integers(1, 4)) if locks else 0,
        "coupling.lock_ratio": rng.uniform(0.8, 0.93),
    }


def _random_tyre(rng: np.random.Generator, load: float) -> dict[str, Any]:
    return {
        "radius": rng.uniform(0.28, 0.36), "nominal_load": load * rng.uniform(0.85, 1.2),
        "friction": rng.uniform(0.9, 1.7), "friction_load": rng.uniform(-0.2, 0.0),
        "shape_factor": rng.uniform(1.5, 1.7), "curvature": rng.uniform(-0.8, 0.5),
        "curvature_load": rng.uniform(0.0, 0.25), "slip_stiffness": rng.uniform(16.0, 30.0),
        "stiffness_load": rng.uniform(0.0, 0.5), "stiffness_load_exponent": rng.uniform(0.0, 0.25),
        "relaxation_length": rng.uniform(0.1, 0.35), "low_speed": rng.uniform(2.0, 3.0),
        "rolling_resistance": rng.uniform(0.008, 0.015), "rolling_resistance_square": rng.uniform(0.0, 1e-6),
        "axle_inertia": rng.uniform(1.6, 3.6),
    }  # fmt: skip


def _random_drive(rng: np.random.Generator) -> dict[str, Any]:
    front_share, locked = ((1.0, 0), (0.0, 0), (rng.uniform(0.2, 0.6), 0), (0.5, 1))[int(rng.integers(4))]
    return {
        "drive.front_share": front_share,
        "drive.locked": locked,
        "drive.rigid": int(rng.random() < 0.3),
        "drive.shaft_stiffness": rng.uniform(8000.0, 30000.0, 2),
        "drive.shaft_damping": rng.uniform(10.0, 80.0, 2),
        "drive.inertia": rng.uniform(0.05, 0.4),
    }


def second_axle_by_clutch(rng: np.random.Generator) -> dict[str, Any]:
    """Changes that let a clutch bring in the second axle of any car."""
    return {
        "drive.locked": 1, "drive.clutched": 1, "drive.rigid": 0, "drive.front_share": float(rng.integers(2)),
        "drive.capacity": rng.choice([0.0, rng.uniform(100.0, 4000.0)], p=[0.1, 0.9]),
        "drive.lead": rng.uniform(0.97, 1.03), "drive.clutch_ratio": rng.uniform(1.0, 4.0),
        "drive.delay": rng.choice([0.0, rng.uniform(0.02, 0.3)]), "drive.ramp": rng.uniform(0.01, 0.4),
    }  # fmt: skip


ALIKE_SIDES: Changes = {"drive.paired": 1, "drive.locking_speed": 0.5}
"""Changes that make the two wheels of each axle two, which grip and carry alike."""


def unlike_sides(rng: np.random.Generator) -> dict[str, Any]:
    """Two sides of their own, and any differential."""
    locking = rng.choice([0.0, rng.uniform(0.1, 0.8), 1.0], 2)
    return {
        **ALIKE_SIDES,
        "road.left_friction": rng.uniform(0.4, 1.2), "road.right_friction": rng.uniform(0.4, 1.2),
        "body.left_share": rng.uniform(0.42, 0.58),
        "drive.locking": locking, "drive.preload": rng.choice([0.0, 80.0], 2),
        "drive.locking_speed": rng.uniform(0.2, 2.0),
    }  # fmt: skip


def random_car(rng: np.random.Generator) -> Car:
    """A valid car drawn from the whole width of what can be described; the same generator gives the same car."""
    mass = rng.uniform(900.0, 2200.0)
    peak = mass * rng.uniform(0.15, 0.45)
    load = mass * 9.80665 / 4.0
    pedal = Pedal.FULL if rng.random() < 0.6 else Pedal.HELD_SLIP
    return coupe({
        "body.mass": mass, "body.front_share": rng.uniform(0.4, 0.64), "body.wheelbase": rng.uniform(2.4, 3.0),
        "body.cg_height": rng.uniform(0.4, 0.62), "body.drag_area": rng.uniform(0.5, 0.9),
        "body.lift_area_front": rng.uniform(-0.3, 0.2), "body.lift_area_rear": rng.uniform(-0.6, 0.2),
        "body.pitch_frequency": 2.0 * np.pi * rng.uniform(1.1, 2.2), "body.pitch_damping": rng.uniform(0.2, 0.5),
        "air.pressure": rng.uniform(75e3, 103e3), "air.temperature": rng.uniform(265.0, 312.0),
        "air.humidity": rng.uniform(0.0, 0.9), "air.head_wind": rng.choice([0.0, rng.uniform(-8.0, 8.0)]),
        "road.grade_angle": rng.choice([0.0, rng.uniform(-0.03, 0.03)]),
        "road.friction_factor": rng.choice([1.0, rng.uniform(0.5, 1.1)]),
        **{f"front.{name}": value for name, value in _random_tyre(rng, load).items()},
        **{f"rear.{name}": value for name, value in _random_tyre(rng, load).items()},
        **_random_drive(rng), **_random_engine(rng, peak), **_random_coupling(rng, peak), **_random_gear_set(rng),
        "pedal.kind": int(pedal), "pedal.delay": rng.uniform(0.01, 0.1),
    })  # fmt: skip
