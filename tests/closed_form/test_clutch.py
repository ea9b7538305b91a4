"""A clutch that slips until engine and car turn alike: heat, time and speed by hand."""

from __future__ import annotations

import pytest

from cars import Changes, gears, on_both_axles, point_mass
from closed_form.midway import in_gear, run_on
from simlaunch.physics import body
from simlaunch.physics import state as at
from simlaunch.record import Car
from simlaunch.simulation import events
from simlaunch.simulation.events import EventKind
from simlaunch.simulation.run import launch

W0 = 3000.0 * 3.141592653589793 / 30.0
CAPACITY = 300.0


def slipping(torque: float, changes: Changes | None = None) -> Car:
    """Effective mass 1500 kg on a radius of 0.32 m behind a ratio of 12, the engine held at 3000 rpm."""
    return point_mass({
        **gears(12.0, efficiency=1.0), **on_both_axles({"radius": 0.32, "axle_inertia": 300.0 * 0.32**2}),
        "engine.torque": ((10.0, 1e4), (torque, torque)), "coupling.capacity": CAPACITY,
        "launch.engine_speed": W0, "launch.boost": 1.0, "run.stop_distance": 60.0, **(changes or {}),
    })  # fmt: skip


def meeting(car: Car) -> tuple[float, float, float, float]:
    """Time, car speed, coupling work and engine work when the clutch has stopped slipping."""
    run = launch(car, tolerance=1e-10)
    trace = run.trace
    time = trace.times(EventKind.SPEEDS_MEET)[0]
    i = int((trace.time <= time).sum()) - 1
    return time, float(trace["speed"][i]), float(trace["coupling_work"][i]), float(trace["engine_work"][i])


def test_heat_of_a_launch_is_half_of_the_energy_supplied() -> None:
    """J w0^2 / 2 = 52637.89 J whatever the torque; speeds meet after J w0 / Tc = 1.117011 s at 8.377580 m/s.

    Source: Newton's second law for a clutch of constant torque between a held engine and a free load.
    """
    time, speed, heat, work = meeting(slipping(CAPACITY))
    assert time == pytest.approx(1.117011, rel=5e-5)
    assert speed == pytest.approx(8.377580, rel=5e-5)
    assert heat == pytest.approx(52637.89, rel=5e-5)
    assert heat == pytest.approx(0.5 * work, rel=5e-5)


@pytest.mark.parametrize("factor", [0.7, 2.0])
def test_heat_does_not_depend_on_the_torque(factor: float) -> None:
    """52637.89 J again. Source: as above."""
    car = slipping(factor * CAPACITY, {"coupling.capacity": factor * CAPACITY})
    assert meeting(car)[2] == pytest.approx(52637.89, rel=1e-4)


def test_heat_against_a_load() -> None:
    """A load of a tenth of the clutch torque makes it Tc / (Tc - TL) times as much: 58486.54 J. Source: as above."""
    force = 0.1 * CAPACITY * 12.0 / 0.32
    grade = force / (900.0 * body.GRAVITY)
    angle = grade + grade**3 / 6.0 + 3.0 * grade**5 / 40.0 + 15.0 * grade**7 / 336.0
    assert meeting(slipping(CAPACITY, {"road.grade_angle": angle}))[2] == pytest.approx(58486.54, rel=1e-4)


def test_a_free_flywheel_shares_its_momentum() -> None:
    """heat = J1 J2 w0^2 / (2 (J1 + J2)) = 8311.25 J, common speed 49.604 rad/s for J1 = 0.2 kg m^2.

    Source: conservation of angular momentum.
    """
    car = slipping(0.0, {"engine.inertia": 0.2})
    state, phase = in_gear(0.0, car, coupling=at.SLIPPING)
    state[at.ENGINE_SPEED] = W0
    run = run_on(car, (state, phase), 2.0)
    i = int((run.time <= run.event_time(events.SPEEDS_MEET)).sum()) - 1
    assert run["coupling_work"][i] == pytest.approx(8311.25, rel=5e-5)
    assert run["engine_speed"][i] == pytest.approx(49.604, rel=5e-5)
    assert run["speed"][-1] == pytest.approx(49.604 / 12.0 * 0.32, rel=5e-5)
