"""Fields of a car, as a type checker sees them; `python tests/house/record_types.py` writes this file."""
# mypy: disable-error-code="assignment, misc"

from collections.abc import MutableSequence

import numpy as np
from numpy.typing import NDArray

class _Fields(np.record):
    """A record whose fields are all known: numpy promises a type checker that every name is a field."""

    __getattribute__: None
    __setattr__: None

class Body(_Fields):
    mass: float
    front_share: float
    wheelbase: float
    cg_height: float
    left_share: float
    drag_area: float
    lift_area_front: float
    lift_area_rear: float
    pitch_frequency: float
    pitch_damping: float

class Air(_Fields):
    pressure: float
    temperature: float
    humidity: float
    head_wind: float
    density: float

class Road(_Fields):
    friction_factor: float
    rolling_factor: float
    grade_angle: float
    left_friction: float
    right_friction: float

class Tyre(_Fields):
    radius: float
    nominal_load: float
    friction: float
    friction_load: float
    shape_factor: float
    curvature: float
    curvature_load: float
    curvature_load_square: float
    slip_stiffness: float
    stiffness_load: float
    stiffness_load_exponent: float
    relaxation_length: float
    low_speed: float
    low_speed_damping: float
    rolling_resistance: float
    rolling_resistance_square: float
    axle_inertia: float
    slip_damping: float
    per_load: float
    per_shape: float
    per_inertia: float
    outer_curve: NDArray[np.float64]

class Drive(_Fields):
    front_share: float
    locked: int
    rigid: int
    shaft_stiffness: NDArray[np.float64]
    shaft_damping: NDArray[np.float64]
    inertia: float
    paired: int
    locking: NDArray[np.float64]
    preload: NDArray[np.float64]
    locking_speed: float
    cross_lever: float
    clutched: int
    capacity: float
    lead: float
    clutch_ratio: float
    delay: float
    ramp: float

class Table(_Fields):
    count: int
    knot: NDArray[np.float64]
    cubic: NDArray[np.float64]

class Engine(_Fields):
    torque: Table
    overrun: Table
    boost_time: Table
    boost_decay: float
    lagged_share: float
    inertia: float
    idle: float
    rev_limit: float
    limiter_band: float
    gear_limit: NDArray[np.float64]
    gear_curve: MutableSequence[Table]

class Coupling(_Fields):
    kind: int
    capacity: float
    ramp: float
    fluid_capacity: Table
    torque_ratio: Table
    lock_gear: int
    lock_ratio: float

class Gearbox(_Fields):
    count: int
    ratio: NDArray[np.float64]
    efficiency: NDArray[np.float64]
    shift_speed: NDArray[np.float64]
    shift_road_speed: NDArray[np.float64]
    input_inertia: float
    shift_kind: int
    ramp_down: float
    gap: float
    ramp_up: float
    hand_over: float
    inertia_phase: float
    dip: float
    throttle_open: int

class Launch(_Fields):
    engine_speed: float
    boost: float
    brake_release: float
    brake_front: float
    brake_rear: float
    roll_speed: float
    roll_boost: float
    roll_gear: int
    hold_gear: int

class Pedal(_Fields):
    kind: int
    target_slip: float
    delay: float

class Run(_Fields):
    stop_distance: float
    stop_speed: float
    time_limit: float

class Fixed(_Fields):
    weight: float
    weight_front: float
    grade: float
    drag: float
    lift_front: float
    lift_rear: float
    shaft_stiffness: float
    shaft_damping: float
    per_mass: float
    lever: float
    front_paired: int
    rear_paired: int
    left_load: NDArray[np.float64]
    bias: NDArray[np.float64]
    bias_force: NDArray[np.float64]

class Car(_Fields):
    body: Body
    air: Air
    road: Road
    front: Tyre
    rear: Tyre
    drive: Drive
    engine: Engine
    coupling: Coupling
    gearbox: Gearbox
    launch: Launch
    pedal: Pedal
    run: Run
    fixed: Fixed
