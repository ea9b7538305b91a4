"""A torque limit of a gear, held against constant force."""

from __future__ import annotations

import numpy as np
import pytest

from cars import POINT_MASS, coupe, gears, point_mass
from simlaunch.physics.engine import limited_torque
from simlaunch.simulation.events import CHANGE_BEGINS
from simlaunch.simulation.run import launch
from simlaunch.simulation.shifting import best_shift_speed

TORQUE = 225.0


def test_a_limit_takes_off_the_top_only() -> None:
    car = coupe({"engine.gear_limit": [300.0]})
    assert limited_torque(400.0, 300.0, 0, car.engine) == 300.0
    assert limited_torque(200.0, 300.0, 0, car.engine) == 200.0
    assert limited_torque(400.0, 300.0, 1, car.engine) == 400.0  # no limit


def test_force_under_a_limit() -> None:
    """t = sqrt(2 m x / F), F = T i / r with the limit for T. Source: Newton's second law."""
    limit = 150.0
    car = point_mass({"engine.torque": ((10.0, 1e4), (TORQUE, TORQUE)), "engine.gear_limit": [limit],
                      "coupling.capacity": limit, "launch.engine_speed": 300.0, "launch.boost": 1.0,
                      "run.stop_distance": 200.0})  # fmt: skip
    run = launch(car, tolerance=1e-9)
    assert run.trace.time[-1] == pytest.approx(np.sqrt(2.0 * POINT_MASS * 200.0 * 0.03 / limit), rel=5e-5)


def test_only_the_limited_gear_is_weaker() -> None:
    run = launch(coupe({"engine.gear_limit": [250.0, np.inf]}))
    gear, torque = run.trace["gear"], run.trace["available_torque"]
    shift = next(event.time for event in run.trace.events if event.kind in CHANGE_BEGINS and event.time > 0.0)
    assert torque[run.trace.time < shift].max() == 250.0
    assert torque[gear == 2].max() > 400.0


def test_shifts_know_of_the_limit() -> None:
    """A gear whose torque is limited to little is left as soon as the next one pushes harder."""
    two = gears(3.0, 2.4, final=3.42)
    plain, limited = coupe(two), coupe({**two, "engine.gear_limit": [250.0, np.inf]})
    assert best_shift_speed(limited, 0) < best_shift_speed(plain, 0)
