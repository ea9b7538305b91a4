"""Constant force from rest: what Newton's second law gives by hand."""

from __future__ import annotations

import pytest

from cars import POINT_MASS, Changes, point_mass
from closed_form.midway import in_gear, run_on, time_at, value_at
from simlaunch.physics import body
from simlaunch.physics import state as at
from simlaunch.record import Car
from simlaunch.simulation.run import launch

FORCE = 7500.0
FLAT = ((10.0, 1e4), (FORCE * 0.03, FORCE * 0.03))  # i / r = 1 / 0.03


def pushed(changes: Changes | None = None) -> Car:
    return point_mass({"engine.torque": FLAT, **(changes or {})})


@pytest.mark.parametrize("efficiency", [1.0, 0.9])
@pytest.mark.parametrize("engine_inertia", [1e-5, 0.2])
@pytest.mark.parametrize("front_share", [0.0, 0.5, 1.0])
def test_acceleration_in_one_gear(efficiency: float, engine_inertia: float, front_share: float) -> None:
    """a = T i eta / (r m_e), m_e = m + (J_wheels + eta i^2 J) / r^2. Source: Newton's second law."""
    car = pushed(
        {"engine.inertia": engine_inertia, "gearbox.efficiency": [efficiency], "drive.front_share": front_share}
    )
    run = run_on(car, in_gear(0.0, car), 2.0)
    rotating = efficiency * 100.0 * (engine_inertia + 1e-5) / 0.09
    expected = efficiency * FORCE / (POINT_MASS + rotating)
    # Tyres slip by up to 2e-5, and wheels turn faster by as much; the mean leaves out what still swings on them.
    assert value_at(run, "speed", 1.9) - value_at(run, "speed", 0.9) == pytest.approx(expected, rel=2e-5)
    assert value_at(run, "speed", 1.5) == pytest.approx(1.5 * expected, rel=2e-5)


def test_times_without_drag() -> None:
    """t = m v / F, t = sqrt(2 m x / F): 5.555556 s; 12.685992 s at 63.429962 m/s. Source: Newton's second law."""
    car = pushed()
    run = run_on(car, in_gear(0.0, car), 13.0)
    assert time_at(run, "speed", 100 / 3.6) == pytest.approx(5.555556, rel=2e-5)
    quarter = time_at(run, "distance", 402.336)
    assert quarter == pytest.approx(12.685992, rel=2e-5)
    assert value_at(run, "speed", quarter) == pytest.approx(63.429962, rel=2e-5)


def test_times_with_drag() -> None:
    """v = vt tanh(t F / (m vt)), x = (m vt^2 / F) ln cosh. Source: quadrature of m dv/dt = F - k v^2, k = 0.40425."""
    car = pushed({"body.drag_area": 0.66})
    run = run_on(car, in_gear(0.0, car), 13.2)
    to_100 = time_at(run, "speed", 100 / 3.6)
    assert to_100 == pytest.approx(5.63455, rel=2e-5)
    assert value_at(run, "distance", to_100) == pytest.approx(78.8110, rel=3e-5)
    quarter = time_at(run, "distance", 402.336)
    assert quarter == pytest.approx(12.91644, rel=2e-5)
    assert value_at(run, "speed", quarter) == pytest.approx(60.14155, rel=2e-5)


@pytest.mark.parametrize("grade", [0.05, -0.05])
def test_grade_takes_its_share_of_the_force(grade: float) -> None:
    """m_e a = F - m g sin(angle). Source: statics, Newton's second law."""
    car = pushed({"road.grade_angle": grade})
    run = run_on(car, in_gear(5.0, car), 2.0)
    force = FORCE - body.grade_force(car.body.mass, grade)
    gained = value_at(run, "speed", 1.9) - value_at(run, "speed", 0.9)
    assert gained == pytest.approx(force / POINT_MASS, rel=3e-5)


def test_boost_builds_up_with_a_first_order_lag() -> None:
    """v = a (t - tau (1 - e^(-t/tau))): 7.545789 m/s and 6.227106 m after 2 s for a = 5 m/s^2, tau = 0.5 s.

    Source: quadrature of a first-order lag.
    """
    car = pushed({"engine.lagged_share": 1.0, "engine.boost_time": ((100.0, 800.0), (0.5, 0.5))})
    state, phase = in_gear(0.0, car)
    state[at.BOOST] = 0.0
    run = run_on(car, (state, phase), 2.0)
    assert run["speed"][-1] == pytest.approx(7.545789, rel=2e-5)
    assert run["distance"][-1] == pytest.approx(6.227106, rel=2e-5)


def test_load_transfer_settles_at_the_static_value() -> None:
    """dFz = m a h / L with m the mass of the record. Source: moments; Gillespie ch. 2, from memory."""
    car = pushed({"body.cg_height": 0.5, "body.wheelbase": 2.5})
    run = run_on(car, in_gear(0.0, car), 4.0)
    expected = car.body.mass * run["acceleration"][-1] * 0.5 / 2.5
    # zeta w t = 0.3 * 9.42 * 4 = 11.3: what is left of the transient is 1.2e-5
    assert run["load_transfer"][-1] == pytest.approx(expected, rel=5e-5)
    assert run["load_rear"][-1] - run["load_front"][-1] == pytest.approx(2.0 * expected, rel=5e-5)


def test_load_transfer_overshoots_as_a_second_order_mode() -> None:
    """A step overshoots by exp(-pi zeta / sqrt(1 - zeta^2)), 37.23 % at zeta = 0.3. Source: vibration theory."""
    car = pushed({"body.cg_height": 0.5, "body.wheelbase": 2.5})
    run = run_on(car, in_gear(0.0, car), 2.0)
    settled = car.body.mass * FORCE / POINT_MASS * 0.2
    # the tyre force itself needs some hundredths of a second to build up
    assert run["load_transfer"].max() / settled == pytest.approx(1.3723, rel=2e-3)


def test_whole_launch_from_a_held_engine_speed() -> None:
    """A clutch that carries exactly the engine's torque gives the same constant force while it slips.

    t = sqrt(2 m x / F) = 12.685992 s over 402.336 m. Source: Newton's second law.
    """
    car = pushed({"coupling.capacity": FORCE * 0.03, "launch.engine_speed": 300.0, "launch.boost": 1.0})
    run = launch(car, tolerance=1e-10)
    assert run.trace.time[-1] == pytest.approx(12.685992, rel=2e-5)
    assert run.trace["speed"][-1] == pytest.approx(63.429962, rel=2e-5)
