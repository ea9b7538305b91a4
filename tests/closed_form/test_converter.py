"""Torque converter: stall speed, and efficiency between stall and coupling point."""

from __future__ import annotations

import pytest

from cars import RPM, converter, gears, point_mass
from closed_form.midway import in_gear, run_on
from simlaunch.physics import driveline
from simlaunch.physics import state as at
from simlaunch.record import Car
from simlaunch.simulation.prepare import stall_speed

LBF_FT = 1.3558179483314004  # [N m]


def held_car() -> Car:
    torque = 200.0 * LBF_FT
    return point_mass({
        **converter(), "engine.torque": ((10.0, 1e4), (torque, torque)), "engine.inertia": 0.2, "launch.boost": 1.0,
        "engine.idle": 60.0, "road.grade_angle": 1.2, "drive.front_share": 0.0,
        **gears(2.0, efficiency=1.0),
    })  # fmt: skip


def test_stall_speed() -> None:
    """N = K sqrt(T): 1944.05 rpm at 200 lbf ft with K = 137.465 rpm/sqrt(lbf ft).

    Source: converter table of a teaching model, found alike in two public codes; arithmetic.
    """
    assert stall_speed(held_car()) / RPM == pytest.approx(1944.05, abs=0.01)


@pytest.mark.parametrize("start", [1000.0, 2200.0])
def test_engine_comes_to_stall_speed_against_the_brakes(start: float) -> None:
    """The same 1944.05 rpm, reached from below and from above with the car held on a steep grade."""
    car = held_car()
    state, phase = in_gear(0.0, car, coupling=at.OPEN)
    phase.braked = 1
    state[at.ENGINE_SPEED] = start * RPM
    run = run_on(car, (state, phase), 4.0)
    assert run["engine_speed"][-1] / RPM == pytest.approx(1944.05, abs=0.01)
    assert run["speed"][-1] == 0.0
    assert run["gearbox_output_torque"][-1] == pytest.approx(2.232 * 200.0 * LBF_FT * 2.0, rel=1e-5)


@pytest.mark.parametrize(
    ("ratio", "factor", "torque_ratio"),
    [(0.0, 137.465, 2.232), (0.2, 135.864, 1.975), (0.4, 137.565, 1.720), (0.6, 145.269, 1.409), (0.8, 162.977, 1.096)],
)
def test_torques_at_the_points_of_the_table(ratio: float, factor: float, torque_ratio: float) -> None:
    """Tp = (N / K)^2, Tt = TR Tp, efficiency SR TR: 0.8768 at SR = 0.8. Source: the table above; definitions."""
    car = held_car()
    torques = driveline.converter_torques(2000.0 * RPM, ratio * 2000.0 * RPM, car.coupling)
    assert torques.pump == pytest.approx((2000.0 / factor) ** 2 * LBF_FT, rel=1e-9)
    assert torques.turbine == pytest.approx(torque_ratio * torques.pump, rel=1e-9)
    if ratio == 0.8:
        assert ratio * torques.turbine / torques.pump == pytest.approx(0.8768, abs=1e-9)


def test_no_speed_ratio_gives_back_more_than_was_put_in() -> None:
    """Efficiency stays at or below 1 either side of the coupling point. Source: conservation of energy."""
    car = held_car()
    for step in range(301):
        turbine = step / 150.0 * 250.0
        torques = driveline.converter_torques(250.0, turbine, car.coupling)
        assert torques.pump * 250.0 - torques.turbine * turbine >= -1e-9
