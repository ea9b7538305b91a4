"""Boost follows the load: by hand, for the moments at which less than full load is asked of the engine."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy.integrate import quad

from cars import coupe, gears, point_mass
from closed_form.midway import in_gear, run_on
from simlaunch.physics import pedal
from simlaunch.physics import state as at
from simlaunch.physics.engine import boost_rate, limiter_start, load_share
from simlaunch.record import Car
from simlaunch.simulation.events import EventKind
from simlaunch.simulation.run import launch

FULL, LAGGED, RISE = 400.0, 0.5, 0.4


def launched(capacity: float, changes: dict[str, Any] | None = None) -> Car:
    """An engine of even torque, half of it lagged, that is held at 300 rad/s by a clutch of one capacity."""
    return point_mass({
        **gears(12.0, efficiency=1.0), "engine.torque": ((10.0, 1e4), (FULL, FULL)), "engine.lagged_share": LAGGED,
        "engine.boost_time": ((100.0, 800.0), (RISE, RISE)), "coupling.capacity": capacity,
        "launch.engine_speed": 300.0, "launch.boost": 0.0, "body.mass": 9000.0, **(changes or {}),
    })  # fmt: skip


def settled(capacity: float) -> float:
    """Boost at which it equals the share that the clutch asks: b (1 - s + s b) = T_clutch / T."""
    roots = np.roots([LAGGED, 1.0 - LAGGED, -capacity / FULL])
    return float(roots.max())


@pytest.mark.parametrize("capacity", [80.0, 160.0])
def test_a_held_launch_speed_builds_boost_for_the_torque_of_the_clutch_only(capacity: float) -> None:
    """db/dt = (T_clutch / (T (1 - s + s b)) - b) / tau from b = 0, with the engine's speed held.

    Source: quadrature of the first-order lag by `scipy.integrate.quad`.
    """
    trace = launch(launched(capacity), tolerance=1e-9).trace
    end = settled(capacity)
    for share in (0.3, 0.6, 0.9):
        taken = RISE * quad(lambda b: 1.0 / (capacity / (FULL * (1.0 - LAGGED + LAGGED * b)) - b), 0.0, share * end)[0]
        assert np.interp(taken, trace.time, trace["boost"]) == pytest.approx(share * end, abs=2e-4)
    closes = trace.times(EventKind.SPEEDS_MEET)[0]
    assert closes > 5.0 * RISE
    assert np.interp(closes, trace.time, trace["boost"]) == pytest.approx(end, abs=0.01)


def test_at_full_load_boost_builds_up_whole() -> None:
    """A clutch that takes all the engine gives: b = 1 - exp(-t / tau). Source: first-order lag."""
    trace = launch(launched(2.0 * FULL, {"launch.engine_speed": 200.0, "coupling.ramp": 0.0})).trace
    assert np.interp(2.0 * RISE, trace.time, trace["boost"]) == pytest.approx(1.0 - np.exp(-2.0), abs=1e-3)


def test_an_engine_on_its_limiter_loses_boost() -> None:
    """Drag takes the share x of full torque at the limiter: b (1 - s + s b) = T_drag / T in steady state.

    Source: balance of torques, and the boost that heads for the load.
    """
    limit = 350.0
    car = launched(1e4, {"engine.rev_limit": limit, "engine.limiter_band": 10.0, "body.drag_area": 3.0,
                         "body.mass": 900.0, **gears(5.0, efficiency=1.0)})  # fmt: skip
    run = run_on(car, in_gear(20.0, car), 30.0)
    torque = run["engine_torque"][-1]
    assert limiter_start(car.engine) < run["engine_speed"][-1] < limit
    assert 0.1 * FULL < torque < 0.8 * FULL
    assert run["boost"][-1] == pytest.approx(settled(torque), abs=1e-3)


def test_boost_falls_and_rises_at_its_own_paces() -> None:
    car = coupe({"engine.boost_time": ((100.0, 800.0), (0.5, 0.5)), "engine.boost_decay": 0.2})
    assert boost_rate(0.3, 300.0, 0.8, car.engine) == pytest.approx(1.0)
    assert boost_rate(0.8, 300.0, 0.3, car.engine) == pytest.approx(-2.5)
    assert boost_rate(0.6, 300.0, 0.6, car.engine) == 0.0


@pytest.mark.parametrize(
    ("stage", "throttle", "expected"),
    [(at.DRIVING, 1, 0.4), (at.LAUNCHING, 1, 0.4), (at.IN_GAP, 0, 0.4), (at.IN_GAP, 1, 1.0), (at.RAMPING_UP, 1, 1.0),
     (at.RAMPING_DOWN, 0, 0.4), (at.IN_INERTIA_PHASE, 0, 1.0)],
)  # fmt: skip
def test_what_ignition_takes_away_leaves_boost_alone(stage: int, throttle: int, expected: float) -> None:
    """An open throttle in a gap, and the dip of an automatic shift. Source: common practice."""
    phase = at.first_phase()
    phase.stage = stage
    assert pedal.breathing(0.4, phase, coupe({"gearbox.throttle_open": throttle}).gearbox) == expected


def test_load_is_the_demand_that_gives_a_torque() -> None:
    assert load_share(155.0, 350.0, -40.0) == pytest.approx(0.5)
    assert load_share(-40.0, 350.0, -40.0) == 0.0
    assert load_share(0.0, 0.0, 0.0) == 1.0  # an engine that gives nothing yet, asked for all of it
