"""An electric drive as a scenario describes it: constant torque, then constant power, without drag, by closed forms.

F = T i e / r up to v1, where T i e / r = e P / v1; then t = t1 + m (v^2 - v1^2) / 2eP, x = x1 + m (v^3 - v1^3) / 3eP.
Source: Newton's second law and the definition of power. The motor weighs next to nothing, so that m is that of the car
with its wheels.
"""

from __future__ import annotations

from math import pi
from pathlib import Path

import numpy as np
import pytest

from simlaunch.analysis.simulate import Simulation, simulate
from simlaunch.errors import ScenarioError
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.reading import load
from simlaunch.simulation.run import Outcome

GRIP = load(Path(__file__).parents[2] / "scenarios" / "all-drive-grip.toml")
RPM = pi / 30.0
TORQUE, POWER, EFFICIENCY = 400.0, 160e3, 0.96
BASE = POWER / TORQUE  # motor speed at which the power is reached [rad/s]


def _motor() -> list[list[str]]:
    """Constant torque from rest, then constant power, in steps of which the cubic between them misses 1e-5 at most."""
    speeds = [0.0, 0.5 * BASE, *(BASE * np.geomspace(1.0, 4.0, 36))]
    return [[f"{speed / RPM:.12g} rpm", f"{min(TORQUE, POWER / max(speed, 1.0)):.12g} N m"] for speed in speeds]


def _electric(ratios: list[str], **more: object) -> Scenario:
    return GRIP.replace({
        "gearbox.ratios": ratios, "gearbox.final_drive": "1", "gearbox.efficiency": "96 %", "gearbox.shift_at":
        "12000 rpm" if len(ratios) > 1 else "best force", "gearbox.input_inertia": "0.0001 kg m^2",
        "gearbox.shift": {"kind": "torque hand-over", "hand_over": "0 s", "inertia_phase": "1 ms"},
        "engine.idle": "100 rpm", "launch.engine_speed": "100 rpm", "engine.rev_limit": "15000 rpm",
        "engine.inertia": "0.001 kg m^2", "engine.boost_lagged_share": "0 %", "engine.overrun_torque": "1 N m",
        "coupling.capacity": f"{TORQUE:g} N m", "coupling.engagement_time": "0 s", "body.drag_area": "0 m^2",
        "body.lift_area_front": "0 m^2", "body.lift_area_rear": "0 m^2", "tyres.both.slip_stiffness": "200",
        "tyres.both.rolling_resistance": "0", "road.friction_factor": "3", "uncertain": [], "parts": [],
        "curves": [{"name": "motor", "points": _motor()}], **more,
    })  # fmt: skip


def _closed_form(run: Simulation, ratio: float, distance: float) -> tuple[float, float]:
    """Time and speed at a distance in the region of constant power."""
    car = run.car
    radius = float(car.rear.radius)
    turning = float(car.front.axle_inertia + car.rear.axle_inertia + car.drive.inertia)
    mass, power = float(car.body.mass) + turning / radius**2, EFFICIENCY * POWER
    force, v1 = TORQUE * ratio * EFFICIENCY / radius, BASE * radius / ratio
    t1, x1 = mass * v1 / force, mass * v1**2 / (2.0 * force)
    speed = (v1**3 + 3.0 * power * (distance - x1) / mass) ** (1.0 / 3.0)
    return t1 + mass * (speed**2 - v1**2) / (2.0 * power), speed


@pytest.mark.parametrize("half_shafts", ["rigid", "elastic"])
@pytest.mark.parametrize(("ratios", "first"), [(["9"], 9.0), (["12", "7"], 12.0)])
def test_quarter_mile(ratios: list[str], first: float, half_shafts: str) -> None:
    """One gear or two: where the power is constant, a shift that takes no time changes nothing.

    Left over: mostly slip of the tyres, F / C of the power. With 200 times the load per unit of slip that is 0.1 %
    for 3 kN; with a tenth of that stiffness the time is 0.5 % longer.
    """
    run = simulate(_electric(ratios, **{"drive.half_shafts": half_shafts}))
    time, speed = _closed_form(run, first, 402.336)
    assert run.run.trace["gear"].max() == len(ratios)
    assert run.time == pytest.approx(time, rel=1e-3)
    assert float(np.interp(run.time, run.run.trace.time, run.run.trace["speed"])) == pytest.approx(speed, rel=1e-3)


def test_the_clutch_is_out_of_the_way_within_walking_pace() -> None:
    """A clutch of the motor's torque slips until the wheels have caught up: 0.367 m/s for 100 rpm behind 9 to 1."""
    trace = simulate(_electric(["9"], **{"drive.half_shafts": "rigid"})).run.trace
    slipping = np.abs(trace["engine_speed"] - trace["input_speed"]) > 1.0
    assert trace["speed"][slipping].max() <= 100.0 * RPM / 9.0 * 0.315 * 1.01  # tyres slip a little


def test_a_clutch_of_more_than_the_torque_stalls_the_motor() -> None:
    """What it takes beyond the torque comes out of a motor that turns at 100 rpm. Source: balance of torques."""
    stalled = simulate(_electric(["9"], **{"coupling.capacity": "800 N m"}))
    assert stalled.run.outcome is Outcome.STALLED


def test_a_motor_at_rest_is_refused() -> None:
    with pytest.raises(ScenarioError, match=r'engine.idle: "0 rpm" is below 100 rpm'):
        _electric(["9"], **{"engine.idle": "0 rpm"})


def test_a_pull_in_gear_needs_no_clutch() -> None:
    """80 to 120 km/h at constant power, whatever the capacity: t = m (v2^2 - v1^2) / 2eP + m (v2 - v1) / C.

    F v (1 + F / C) = eP, to first order in the slip F / C; C is 200 times the weight. The motor adds e i^2 J / r^2.
    """
    changes = {
        "coupling.capacity": "800 N m",
        "drive.half_shafts": "rigid",
    }  # elastic ones wind up, for 0.5 ms
    run = simulate(_electric(["9"], **changes), target="roll 80 km/h to 120 km/h in gear 1")
    car, radius = run.car, float(run.car.rear.radius)
    turning = float(car.front.axle_inertia + car.rear.axle_inertia + car.drive.inertia)
    turning += EFFICIENCY * 9.0**2 * float(car.engine.inertia + car.gearbox.input_inertia)
    mass, stiffness = float(car.body.mass) + turning / radius**2, 200.0 * float(car.body.mass) * 9.80665
    low, high = 80.0 / 3.6, 120.0 / 3.6
    assert low > BASE * radius / 9.0
    expected = mass * (high**2 - low**2) / (2.0 * EFFICIENCY * POWER) + mass * (high - low) / stiffness
    assert run.time == pytest.approx(expected, rel=2e-4)
