"""When a gear is left, and what holds the engine until the clutch has closed."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from cars import RPM, Changes, all_drive_saloon, change, coupe, front_hatch, gears, on_both_axles, point_mass
from simlaunch.physics import body, tyre
from simlaunch.physics.engine import limiter_start
from simlaunch.record import Car, Pedal
from simlaunch.simulation.events import EventKind
from simlaunch.simulation.run import Outcome, complete, launch
from simlaunch.simulation.shifting import speed_ratio_at_shift
from simlaunch.simulation.trace import Trace

LEVEL = {"body.cg_height": 0.0, "body.lift_area_front": 0.0, "body.lift_area_rear": 0.0}
"""No load moves from axle to axle."""


def shifts(trace: Trace) -> list[int]:
    """Samples at which shifts begin."""
    begin = trace.times(EventKind.SHIFT_BEGINS)
    return [int(np.searchsorted(trace.time, time)) for time in begin]


@pytest.mark.parametrize("ratio", [3.0, 4.5])
def test_a_car_that_does_not_slip_shifts_at_the_engine_speed_that_was_typed(ratio: float) -> None:
    """v = w r / i: 400 rad/s on a radius of 0.3 m. Source: kinematics of wheels that roll."""
    car = point_mass({
        **gears(2.0 * ratio, ratio, efficiency=1.0), "engine.torque": ((10.0, 1e4), (300.0, 300.0)),
        "gearbox.shift_speed": [400.0], "launch.engine_speed": 100.0,
    })  # fmt: skip
    trace = launch(car).trace
    (first,) = shifts(trace)
    assert trace["speed"][first] == pytest.approx(400.0 * 0.3 / (2.0 * ratio), rel=1e-4)
    assert trace["engine_speed"][first] == pytest.approx(400.0, rel=1e-4)


@pytest.mark.parametrize("friction", [0.5, 0.8])
def test_a_gear_in_which_the_wheels_spin_is_left_at_the_slip_of_peak_force(friction: float) -> None:
    """v = w r / (i (1 + k)), k the slip at which the rear tyres peak; the engine is at its limiter long before.

    Source: kinematics, with the slip of peak force that is held against published tyres elsewhere.
    """
    car = coupe({**LEVEL, "road.friction_factor": friction})
    trace = launch(car).trace
    first = shifts(trace)[0]
    peak = tyre.axle_peak_slip(car.body.mass * body.GRAVITY * (1.0 - car.body.front_share), car.rear, friction)
    rolling = car.gearbox.shift_speed[0] / car.gearbox.ratio[0] * car.rear.radius
    assert trace["slip_rear"][: first - 1].max() > 1.0
    assert trace["speed"][first] == pytest.approx(rolling / (1.0 + peak), rel=1e-6)
    assert trace["engine_speed"][:first].max() > limiter_start(car.engine)


@pytest.mark.parametrize("pedal", Pedal)
@pytest.mark.parametrize("build", [coupe, front_hatch, all_drive_saloon])
@pytest.mark.parametrize("typed", [5000.0, 6900.0])
def test_in_normal_driving_the_engine_is_at_the_typed_speed(build: Any, pedal: Pedal, typed: float) -> None:
    """Within 1.5 % from second gear on, tyres slipping by up to 6 %; a shift at the limit comes where it begins."""
    grip = {"road.friction_factor": 1.5, "pedal.kind": int(pedal)}
    car = build({"gearbox.shift_speed": [typed * RPM] * 5, **grip})
    trace = launch(car).trace
    wanted = min(typed * RPM, limiter_start(car.engine))
    later = shifts(trace)[1:]
    assert len(later) >= 2
    assert trace["engine_speed"][later] == pytest.approx(np.full(len(later), wanted), rel=0.015)


def test_a_converter_slips_as_its_fluid_needs() -> None:
    """n = 1 - T / (c w^2) for a capacity that falls evenly with the speed ratio. Source: definition of capacity."""
    even = {"coupling.fluid_capacity": ((0.0, 1.0), (0.01, 0.0)), "coupling.lock_gear": 0,
            "engine.torque": ((10.0, 1e3), (300.0, 300.0))}  # fmt: skip
    car = all_drive_saloon(even)
    assert speed_ratio_at_shift(car, 0, 500.0) == pytest.approx(1.0 - 300.0 / (0.01 * 500.0**2), rel=1e-9)
    change(car, {"coupling.lock_gear": 2, "coupling.lock_ratio": 0.8})
    assert speed_ratio_at_shift(car, 0, 500.0) == pytest.approx(0.88, rel=1e-9)  # no lock-up in first gear
    assert speed_ratio_at_shift(car, 1, 500.0) == 1.0  # it has closed by then
    change(car, {"coupling.lock_ratio": 0.88})
    assert speed_ratio_at_shift(car, 1, 500.0) == pytest.approx(0.88, rel=1e-9)  # it only just begins


def one_by_one(build: Any, place: str, first: float, step: float, count: int, changes: Changes) -> np.ndarray[Any, Any]:
    """Quarter-mile times while one number rises step by step, the typed shift speeds staying as they are."""
    ends = []
    for k in range(count):
        run = launch(build({**changes, place: first + k * step}), tolerance=1e-7, sample_gap=0.1)
        assert run.outcome is Outcome.FINISHED
        ends.append(run.trace.time[-1])
    return np.array(ends)


SPINNING: dict[str, tuple[str, float, float]] = {
    "mass": ("body.mass", 1500.0, 5.0),
    "drag": ("body.drag_area", 0.6, 0.005),
    "grade": ("road.grade_angle", -0.01, 0.0005),
    "efficiency": ("gearbox.efficiency", 0.90, 0.002),
    "grip": ("road.friction_factor", 0.8, 0.005),
}


@pytest.mark.parametrize("name", SPINNING)
@pytest.mark.parametrize("factor", [0.55, 0.7, 0.85])
def test_no_step_of_a_car_that_spins_its_wheels_moves_a_shift_by_much(factor: float, name: str) -> None:
    """Small steps of any number make small steps of the time: none strays by 8 ms from those before and after it."""
    place, first, step = SPINNING[name]
    base = coupe()
    torque = base.engine.torque.cubic.copy()

    def build(changes: Changes) -> Car:
        car = coupe({"gearbox.shift_speed": [6500.0 * RPM] * 5, **changes})
        car.engine.torque.cubic[:] = factor * torque
        return car

    steps = np.diff(one_by_one(build, place, first, step, 30, {}))
    assert np.abs(np.diff(steps)).max() < 8e-3


@pytest.mark.parametrize("speed", [2500.0, 4000.0])
def test_the_engine_holds_its_launch_speed_until_the_clutch_has_closed(speed: float) -> None:
    """The clutch carries less than full load while it engages; what is left must not make the engine flare."""
    car = coupe({"launch.engine_speed": speed * RPM, "launch.boost": 1.0, "coupling.capacity": 300.0})
    trace = launch(car).trace
    closes = trace.times(EventKind.SPEEDS_MEET)[0]
    slipping = trace.time < closes
    assert np.ptp(trace["engine_speed"][slipping]) < 0.01 * speed * RPM


def test_launch_speed_matters() -> None:
    times = [launch(front_hatch({"launch.engine_speed": n * RPM})).trace.time[-1] for n in (1500.0, 4500.0)]
    assert abs(times[0] - times[1]) > 0.02


def test_a_shift_speed_within_the_limiters_band_is_where_the_limiter_begins() -> None:
    """Full torque is there up to the shift, and none is due where the limiter has taken it away."""
    car = coupe({**on_both_axles({"friction": 3.0}), "gearbox.shift_speed": [6900.0 * RPM] * 5})
    complete(car)
    np.testing.assert_allclose(car.gearbox.shift_speed[:5], 6850.0 * RPM)
