"""The plain numbers of one launch, as one record that compiled code and plain Python read alike.

Units are SI throughout: m, kg, s, N, rad/s, Pa, K. A `nan` in a field marked *derived* asks the launch room to work
the value out from the rest.
"""

from __future__ import annotations

from enum import IntEnum
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

MAX_GEARS = 12
MAX_CURVE_POINTS = 256
MAX_TABLE_POINTS = 32
MAX_GEAR_POINTS = 64
SHAPE_CELLS = 128

Record: TypeAlias = np.record
"""A record of numbers; its fields are reached by name."""

if TYPE_CHECKING:
    from simlaunch.fields import Car as Car
    from simlaunch.fields import Table as Table
else:
    Car = Table = np.record  # a type checker knows the fields of a car, and of its tables


class Axle(IntEnum):
    """Index of an axle wherever two values stand for front and rear."""

    FRONT = 0
    REAR = 1


class Coupling(IntEnum):
    """What stands between engine and gearbox."""

    FRICTION_CLUTCH = 0
    TORQUE_CONVERTER = 1


class ShiftKind(IntEnum):
    """How a gearbox passes from one gear to the next."""

    TORQUE_GAP = 0
    TORQUE_HAND_OVER = 1
    TORQUE_DIP = 2


class Pedal(IntEnum):
    """What the driver, or the car for the driver, does with the torque."""

    FULL = 0
    HELD_SLIP = 1


def table(points: int) -> np.dtype[np.void]:
    """Type of a piecewise cubic: value = c0 + c1 d + c2 d^2 + c3 d^3 with d the distance from the knot to the left."""
    return np.dtype([("count", "i8"), ("knot", "f8", (points,)), ("cubic", "f8", (points, 4))], align=True)


CURVE = table(MAX_CURVE_POINTS)
TABLE = table(MAX_TABLE_POINTS)
GEAR_CURVE = table(MAX_GEAR_POINTS)


def _floats(*names: str) -> list[tuple[str, str]]:
    return [(name, "f8") for name in names]


BODY = np.dtype(
    [
        *_floats("mass", "front_share", "wheelbase", "cg_height"),
        *_floats("left_share"),  # share of the weight of a driven axle on its left wheel, at rest [-]
        *_floats("drag_area", "lift_area_front", "lift_area_rear"),
        *_floats("pitch_frequency"),  # natural frequency [rad/s]
        *_floats("pitch_damping"),  # damping ratio [-]
    ],
    align=True,
)

AIR = np.dtype(
    [
        *_floats("pressure", "temperature", "humidity", "head_wind"),
        *_floats("density"),  # derived unless given [kg/m^3]
    ],
    align=True,
)

ROAD = np.dtype(
    [
        *_floats("friction_factor", "rolling_factor", "grade_angle"),
        *_floats("left_friction", "right_friction"),  # of each side, over the friction factor [-]
    ],
    align=True,
)

TYRE = np.dtype(
    [
        *_floats("radius", "nominal_load"),  # effective rolling radius [m]; load of one tyre [N]
        *_floats("friction", "friction_load"),  # peak coefficient at nominal load, its change per relative load
        *_floats("shape_factor"),  # C of the Magic Formula
        *_floats("curvature", "curvature_load", "curvature_load_square"),  # E and its change with relative load
        *_floats("slip_stiffness", "stiffness_load", "stiffness_load_exponent"),  # K/Fz and its change with load
        *_floats("relaxation_length", "low_speed", "low_speed_damping"),  # [m], [m/s], damping ratio [-]
        *_floats("rolling_resistance", "rolling_resistance_square"),  # [-], [s^2/m^2]
        *_floats("axle_inertia"),  # both wheels of the axle [kg m^2]
        *_floats("slip_damping"),  # slip per speed of the tread near standstill; derived [s/m]
        *_floats("per_load", "per_shape", "per_inertia"),  # inverse of twice the nominal load, of C, of J; derived
        ("outer_curve", "f8", (SHAPE_CELLS, 4)),  # outer curve of the Magic Formula; derived
    ],
    align=True,
)

DRIVE = np.dtype(
    [
        *_floats("front_share"),  # share of the axle torque sent to the front: 1 front drive, 0 rear drive
        ("locked", "i8"),  # 1: both axles on one shaft, no fixed split; or the second one through a clutch
        ("rigid", "i8"),  # 1: half shafts do not twist
        ("shaft_stiffness", "f8", (2,)),  # both half shafts of the axle together, front and rear [N m/rad]
        ("shaft_damping", "f8", (2,)),  # [N m s/rad]
        *_floats("inertia"),  # final drive and propeller shaft, at half-shaft speed [kg m^2]
        ("paired", "i8"),  # 1: the two wheels of a driven axle differ
        ("locking", "f8", (2,)),  # locking value of the differential, front and rear; 1: both wheels on one shaft [-]
        ("preload", "f8", (2,)),  # difference of wheel torques that it holds without axle torque [N m]
        *_floats("locking_speed"),  # difference of wheel speeds that brings the locking in [rad/s]
        *_floats("cross_lever"),  # load moved across a live rear axle, over its torque; 0: none [1/m]
        ("clutched", "i8"),  # 1: a clutch brings the second axle in, the front one where `front_share` is 0
        *_floats("capacity"),  # torque that it carries at the second axle's half shafts, when brought in [N m]
        *_floats("lead"),  # speed that it gives those while it holds, over that of the first axle's [-]
        *_floats("clutch_ratio"),  # its own speed over that of the second axle's half shafts [-]
        *_floats("delay", "ramp"),  # time until it begins to be brought in, and until it then is [s]
    ],
    align=True,
)

ENGINE = np.dtype(
    [
        ("torque", CURVE),  # full-load torque [N m] over speed [rad/s]
        ("overrun", TABLE),  # torque that drags the engine with the throttle shut, as a positive number [N m]
        ("boost_time", TABLE),  # time constant of the lagged share while it rises [s] over speed [rad/s]
        *_floats("boost_decay"),  # time constant of the lagged share while it falls [s]
        *_floats("lagged_share"),  # share of the full-load torque that waits for boost, 0 to 1
        *_floats("inertia", "idle", "rev_limit", "limiter_band"),  # [kg m^2], [rad/s] x 3
        ("gear_limit", "f8", (MAX_GEARS,)),  # most torque that the engine gives in each gear; inf: no limit [N m]
        ("gear_curve", GEAR_CURVE, (MAX_GEARS,)),  # the same over speed [rad/s]; no knots: no such limit [N m]
    ],
    align=True,
)

COUPLING = np.dtype(
    [
        ("kind", "i8"),
        *_floats("capacity"),  # friction clutch, or lock-up clutch of a converter (0: none) [N m]
        *_floats("ramp"),  # time to engage fully [s]
        ("fluid_capacity", TABLE),  # pump torque / pump speed^2 [N m s^2] over speed ratio
        ("torque_ratio", TABLE),  # turbine torque / pump torque over speed ratio
        ("lock_gear", "i8"),  # lock-up allowed from this gear on (1 is first; 0: never)
        *_floats("lock_ratio"),  # speed ratio at which lock-up begins
    ],
    align=True,
)

GEARBOX = np.dtype(
    [
        ("count", "i8"),
        ("ratio", "f8", (MAX_GEARS,)),  # overall: gear times final drive
        ("efficiency", "f8", (MAX_GEARS,)),  # gear and final drive together
        ("shift_speed", "f8", (MAX_GEARS,)),  # engine speed at which gear k is left [rad/s]; derived
        ("shift_road_speed", "f8", (MAX_GEARS,)),  # road speed at which gear k is left [m/s]; derived
        *_floats("input_inertia"),  # [kg m^2]
        ("shift_kind", "i8"),
        *_floats("ramp_down", "gap", "ramp_up"),  # torque gap [s]
        *_floats("hand_over", "inertia_phase"),  # hand-over and dip [s]
        *_floats("dip"),  # share of the engine torque taken away during the inertia phase
        ("throttle_open", "i8"),  # 1: boost is kept through a torque gap
    ],
    align=True,
)

LAUNCH = np.dtype(
    [
        *_floats("engine_speed", "boost"),
        *_floats("brake_release"),  # time over which brakes that hold against a converter let go [s]
        *_floats("brake_front", "brake_rear"),  # torque they hold at the start, per axle; derived [N m]
        *_floats("roll_speed"),  # of a rolling start; 0: from standstill [m/s]
        *_floats("roll_boost"),  # boost at a rolling start, 0 to 1
        ("roll_gear", "i8"),  # gear of a rolling start (1 is first); 0: the one that a driver would take
        ("hold_gear", "i8"),  # 1: no gear is left
    ],
    align=True,
)

PEDAL = np.dtype([("kind", "i8"), *_floats("target_slip", "delay")], align=True)  # target_slip: derived

FIXED = np.dtype(
    [  # what a launch reads ten thousand times and never changes; derived
        *_floats("weight", "weight_front", "grade"),  # across the road, its share at the front, along the road [N]
        *_floats("drag", "lift_front", "lift_rear"),  # force of the air over the square of its speed [N s^2/m^2]
        *_floats("shaft_stiffness", "shaft_damping"),  # both axles', seen through a centre that splits torque
        *_floats("per_mass", "lever"),  # inverse of the mass [1/kg]; height of the centre of gravity over wheelbase [-]
        ("front_paired", "i8"),  # 1: the axle is driven, and its two wheels differ
        ("rear_paired", "i8"),
        ("left_load", "f8", (2,)),  # load at rest of the left wheel beyond half the axle's, front and rear [N]
        ("bias", "f8", (2,)),  # most torque of the wheel that holds more, over that of the other, front and rear [-]
        ("bias_force", "f8", (2,)),  # what it may push beyond that; inf: both wheels on one shaft [N]
    ],
    align=True,
)

RUN = np.dtype(_floats("stop_distance", "stop_speed", "time_limit"), align=True)

CAR = np.dtype(
    (
        np.record,
        np.dtype(
            [
                ("body", BODY),
                ("air", AIR),
                ("road", ROAD),
                ("front", TYRE),
                ("rear", TYRE),
                ("drive", DRIVE),
                ("engine", ENGINE),
                ("coupling", COUPLING),
                ("gearbox", GEARBOX),
                ("launch", LAUNCH),
                ("pedal", PEDAL),
                ("run", RUN),
                ("fixed", FIXED),
            ],
            align=True,
        ),
    )
)


FOOT = 0.3048
"""Length of the rollout [m]."""


def is_complete(car: Record) -> bool:
    """Whether every derived number of a car has been worked out; see `launch.run.complete`.

    Parameters
    ----------
    car : Record
        The car.

    Returns
    -------
    bool
        False while a number that a launch works out is still `nan`.
    """
    last = int(car.gearbox.count) - 1
    shifts, road = car.gearbox.shift_speed[:last], car.gearbox.shift_road_speed[:last]
    derived = (car.air.density, car.pedal.target_slip, shifts, road, car.front.outer_curve, car.rear.outer_curve)
    return not any(np.isnan(numbers).any() for numbers in derived)


def blank() -> Car:
    """A record with every number zero or neutral, every derived number `nan`, and no limit of torque in any gear.

    Returns
    -------
    Car
        Scalar record of type `CAR`.
    """
    car: Car = np.zeros(1, dtype=CAR).view(np.recarray)[0]
    car.air.density = np.nan
    car.engine.gear_limit[:] = np.inf
    car.gearbox.shift_speed[:] = np.nan
    car.gearbox.shift_road_speed[:] = np.nan
    car.pedal.target_slip = np.nan
    car.road.left_friction = car.road.right_friction = 1.0
    car.body.left_share = 0.5
    car.drive.lead = car.drive.clutch_ratio = 1.0
    car.front.outer_curve[:] = np.nan
    car.rear.outer_curve[:] = np.nan
    return car
