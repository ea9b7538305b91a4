"""From a scenario to plain numbers: the one place where values leave text and units."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from simlaunch.record import FOOT, Axle, Coupling, Pedal, Record, ShiftKind, blank
from simlaunch.scenario.car import Body, Drive, Tyre
from simlaunch.scenario.model import Run, Scenario
from simlaunch.scenario.powertrain import (
    BEST_FORCE,
    Curve,
    Engine,
    FrictionClutch,
    Gearbox,
    TorqueConverter,
    TorqueDip,
    TorqueGap,
    TorqueHandOver,
)
from simlaunch.scenario.surroundings import Air, Road
from simlaunch.units.quantity import Quantity
from simlaunch.units.spelling import Dimension

Array = NDArray[np.float64]

_BEYOND = 1e-3  # far more than an event may be missed by [m] or [m/s]


def lower(scenario: Scenario, curve_name: str, pedal: Pedal) -> Record:
    """Plain numbers of one launch.

    Parameters
    ----------
    scenario : Scenario
        A sound scenario.
    curve_name : str
        Which of its curves the engine has.
    pedal : Pedal
        Full load throughout, or held slip.

    Returns
    -------
    Record
        SI units; what the launch has to work out is `nan`, so that it may still be varied: `study.ready.runnable` gives
        a complete one. The run reaches beyond its goal.

    Raises
    ------
    UsageError
        When no curve has that name.
    """
    curve = scenario.curve(curve_name)
    car = blank()
    _body(car.body, scenario.body)
    _air(car.air, scenario.air)
    _road(car.road, scenario.road)
    _tyre(car.front, scenario.tyres.of(Axle.FRONT))
    _tyre(car.rear, scenario.tyres.of(Axle.REAR))
    _drive(car.drive, scenario.drive)
    _engine(car.engine, scenario.engine, curve)
    _coupling(car.coupling, scenario.coupling)
    _gearbox(car.gearbox, scenario.gearbox)
    car.launch.engine_speed = scenario.launch.engine_speed.si
    car.launch.boost = scenario.launch.boost.si
    held_by_brakes = isinstance(scenario.coupling, TorqueConverter)
    car.launch.brake_release = scenario.launch.brake_release.si if held_by_brakes else 0.0
    car.pedal.kind = pedal
    car.pedal.delay = scenario.pedal.actuator_delay.si
    if scenario.pedal.target_slip:
        car.pedal.target_slip = scenario.pedal.target_slip.si
    _run(car.run, scenario.run)
    return car


def fill_table(target: Record, x: Array, y: Array) -> None:
    """Put a monotone piecewise cubic through points into a table of a record.

    Parameters
    ----------
    target : Record
        Table of type `CURVE` or `TABLE`, changed in place.
    x : ndarray, shape (n,)
        Knots, strictly rising, at least two, in the unit of the table.
    y : ndarray, shape (n,)
        Values at the knots, in the unit of the table.

    Source: Fritsch and Carlson, SIAM J. Numer. Anal. 17 (1980) 238, as in SciPy.
    """
    target.count = len(x)
    target.knot[: len(x)] = x
    target.cubic[: len(x) - 1] = PchipInterpolator(x, y).c[::-1].T
    target.cubic[len(x) - 1] = (y[-1], 0.0, 0.0, 0.0)  # the end is the end


def _points(target: Record, points: Sequence[tuple[Quantity, Quantity]]) -> None:
    """Table through typed points; a single point is a constant."""
    x = np.array([point[0].si for point in points])
    y = np.array([point[1].si for point in points])
    if len(points) == 1:
        x, y = np.array([x[0], x[0] + 1.0]), np.repeat(y, 2)
    fill_table(target, x, y)


def _body(target: Record, body: Body) -> None:
    target.mass = body.mass.si
    target.front_share = body.front_weight_share.si
    target.wheelbase = body.wheelbase.si
    target.cg_height = body.cg_height.si
    target.drag_area = body.drag_area.si
    target.lift_area_front = body.lift_area_front.si
    target.lift_area_rear = body.lift_area_rear.si
    target.pitch_frequency = 2.0 * math.pi * body.pitch_frequency.si
    target.pitch_damping = body.pitch_damping_ratio.si


def _air(target: Record, air: Air) -> None:
    target.pressure = air.pressure_si
    target.temperature = air.temperature_si
    target.humidity = air.humidity.si
    target.head_wind = air.head_wind.si
    if air.density:
        target.density = air.density.si


def _road(target: Record, road: Road) -> None:
    target.friction_factor = road.friction_factor_si
    target.rolling_factor = road.rolling_factor_si
    target.grade_angle = road.grade_angle


def _tyre(target: Record, tyre: Tyre) -> None:
    target.radius = tyre.radius_si
    target.nominal_load = tyre.nominal_load.si
    target.friction, target.friction_load = tyre.friction.si, tyre.friction_load_slope.si
    target.shape_factor = tyre.shape.si
    target.curvature = tyre.curvature.si
    target.curvature_load = tyre.curvature_load_slope.si
    target.curvature_load_square = tyre.curvature_load_square.si
    target.slip_stiffness = tyre.slip_stiffness.si
    target.stiffness_load = tyre.stiffness_load_slope.si
    target.stiffness_load_exponent = tyre.stiffness_load_exponent.si
    target.relaxation_length = tyre.relaxation_length.si
    target.low_speed, target.low_speed_damping = tyre.low_speed.si, tyre.low_speed_damping.si
    target.rolling_resistance = tyre.rolling_resistance.si
    target.rolling_resistance_square = tyre.rolling_resistance_speed_term.si
    target.axle_inertia = 2.0 * tyre.wheel_inertia.si


def _drive(target: Record, drive: Drive) -> None:
    target.front_share = drive.front_share_si
    target.locked = drive.centre == "locked"
    target.rigid = drive.half_shafts == "rigid"
    target.shaft_stiffness[:] = drive.half_shaft_stiffness.si
    target.shaft_damping[:] = drive.half_shaft_damping.si
    target.inertia = drive.inertia.si


def _engine(target: Record, engine: Engine, curve: Curve) -> None:
    _points(target.torque, curve.points)
    _points(target.overrun, engine.overrun_torque)
    _points(target.boost_time, engine.boost_time_constant)
    target.boost_decay = engine.boost_decay_time.si
    target.lagged_share = engine.boost_lagged_share.si
    target.inertia = engine.inertia.si
    target.idle, target.rev_limit = engine.idle.si, engine.rev_limit.si
    target.limiter_band = engine.limiter_band.si


def _coupling(target: Record, coupling: FrictionClutch | TorqueConverter) -> None:
    if isinstance(coupling, FrictionClutch):
        _clutch(target, coupling)
    else:
        _converter(target, coupling)


def _clutch(target: Record, clutch: FrictionClutch) -> None:
    target.kind = Coupling.FRICTION_CLUTCH
    target.capacity = clutch.capacity.si
    target.ramp = clutch.engagement_time.si
    ends = np.array([0.0, 1.0])
    fill_table(target.fluid_capacity, ends, np.zeros(2))
    fill_table(target.torque_ratio, ends, np.ones(2))


def _converter(target: Record, converter: TorqueConverter) -> None:
    target.kind = Coupling.TORQUE_CONVERTER
    target.capacity = converter.lock_up_capacity.si
    target.ramp = converter.lock_up_time.si
    ratio = np.array([*(value.si for value in converter.speed_ratio), 1.0])
    pump = [value.si**-2 for value in converter.capacity_factor]
    fill_table(target.fluid_capacity, ratio, np.array([*pump, 0.0]))  # at speed ratio 1 nothing is carried
    fill_table(target.torque_ratio, ratio, np.array([*(value.si for value in converter.torque_ratio), 1.0]))
    target.lock_gear = int(converter.lock_up_gear.si) if converter.lock_up_capacity.si else 0
    target.lock_ratio = converter.lock_up_speed_ratio.si


def _gearbox(target: Record, gearbox: Gearbox) -> None:
    count = len(gearbox.ratios)
    target.count = count
    target.ratio[:count] = [ratio.si * gearbox.final_drive.si for ratio in gearbox.ratios]
    target.efficiency[:count] = [value.si for value in gearbox.efficiency]  # one value serves all gears
    if gearbox.shift_at != BEST_FORCE:
        target.shift_speed[: count - 1] = [speed.si for speed in gearbox.shift_at]
    target.input_inertia = gearbox.input_inertia.si
    _shift(target, gearbox.shift)


def _shift(target: Record, shift: TorqueGap | TorqueHandOver | TorqueDip) -> None:
    if isinstance(shift, TorqueGap):
        target.shift_kind = ShiftKind.TORQUE_GAP
        target.ramp_down, target.gap, target.ramp_up = shift.ramp_down.si, shift.gap.si, shift.ramp_up.si
        target.throttle_open = shift.throttle == "open"
        return
    target.hand_over, target.inertia_phase = shift.hand_over.si, shift.inertia_phase.si
    target.shift_kind = ShiftKind.TORQUE_HAND_OVER
    if isinstance(shift, TorqueDip):
        target.shift_kind = ShiftKind.TORQUE_DIP
        target.dip = shift.dip.si


def _run(target: Record, run: Run) -> None:
    """A run ends a little beyond its goal, so that the goal itself is passed, one foot after moving off as well."""
    distance, speed = run.goal(Dimension.LENGTH), run.goal(Dimension.SPEED)
    target.stop_distance = distance + FOOT + _BEYOND if distance > 0.0 else 0.0
    target.stop_speed = speed + _BEYOND if speed > 0.0 else 0.0
    target.time_limit = run.time_limit.si
