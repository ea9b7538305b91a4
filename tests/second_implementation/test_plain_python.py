"""Compiled code against the same text run as plain Python."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from cars import change, coupe, random_car, second_axle_by_clutch
from simlaunch.physics import state as at
from simlaunch.physics.balance import rates
from simlaunch.record import Record
from simlaunch.simulation.kernel import compiled_rates
from simlaunch.simulation.run import complete, launch

Array = NDArray[np.float64]
TESTS = Path(__file__).resolve().parents[1]


def random_state(rng: np.random.Generator, car: Record) -> tuple[Array, Record]:
    """A state and a phase somewhere in a launch, spinning, braking or rolling."""
    y, phase = np.zeros(at.STATES), at.first_phase()
    speed = rng.uniform(0.0, 60.0)
    gear = int(rng.integers(car.gearbox.count - 1))
    phase.gear, phase.oncoming_gear = gear, gear + 1
    phase.stage, phase.coupling, phase.path = rng.integers(7), rng.integers(3), rng.integers(3)
    phase.slip_direction, phase.closing_rate = rng.choice([-1, 1]), rng.uniform(500.0, 3000.0)
    phase.stage_start, phase.engagement_time = rng.uniform(0.0, 0.2), 0.3
    y[at.DISTANCE], y[at.SPEED], y[at.BOOST] = rng.uniform(0.0, 300.0), speed, rng.random()
    y[at.WHEEL_FRONT], y[at.WHEEL_REAR] = (speed * rng.uniform(0.9, 1.6, 2) + rng.uniform(0.0, 3.0)) / 0.32
    y[at.SLIP_FRONT], y[at.SLIP_REAR] = rng.uniform(-0.2, 0.6, 2)
    y[at.TRANSFER], y[at.TRANSFER_RATE] = rng.uniform(-500.0, 4000.0), rng.uniform(-2e4, 2e4)
    y[at.ENGINE_SPEED], y[at.INPUT_SPEED] = rng.uniform(80.0, 800.0, 2)
    y[at.SHAFT_SPEED] = y[at.WHEEL_REAR] * rng.uniform(0.95, 1.05)
    y[at.TWIST_FRONT], y[at.TWIST_REAR] = rng.uniform(-0.1, 0.3, 2)
    y[at.REQUEST] = rng.uniform(0.0, 5000.0)
    return y, phase


def test_rates_of_random_states() -> None:
    """Equal to 1e-12 of the largest rate that a state has in the sample: a rounding or two in sums that cancel."""
    rng = np.random.default_rng(5)
    plain: list[Array] = []
    compiled: list[Array] = []
    for seed in range(50):
        car = random_car(np.random.default_rng(seed))
        if seed % 3 == 0:
            change(car, second_axle_by_clutch(np.random.default_rng(seed)))
        complete(car)
        for duration in ("ramp_down", "hand_over"):  # a stage that takes no time is never entered
            setattr(car.gearbox, duration, max(getattr(car.gearbox, duration), 0.02))
        y, phase = random_state(rng, car)
        for function, kept in ((rates, plain), (compiled_rates, compiled)):
            out = np.empty(at.STATES)
            function(0.3, y, car, phase, out)
            kept.append(out)
    assert np.isfinite(plain).all()
    scale = np.abs(plain).max(axis=0)
    assert np.max(np.abs(np.array(plain) - np.array(compiled)) / (scale + 1e-300)) < 1e-12


SHORT_RUN = """
import json
from cars import coupe
from simlaunch.simulation.run import launch
run = launch(coupe({"run.stop_distance": 5.0}), sample_gap=0.05)
print(json.dumps({"steps": run.steps, "end": {k: float(v[-1]) for k, v in run.trace.channels.items()},
                  "events": [[e.time, e.kind] for e in run.trace.events]}))
"""


def test_a_short_run_without_a_compiler() -> None:
    """The whole program with compilation switched off takes the same steps to the same end."""
    environment = {
        **os.environ,
        "NUMBA_DISABLE_JIT": "1",
        "PYTHONPATH": os.pathsep.join([str(TESTS.parent), str(TESTS)]),
    }
    done = subprocess.run(
        [sys.executable, "-c", SHORT_RUN], env=environment, capture_output=True, text=True, check=True
    )
    plain = json.loads(done.stdout)
    run = launch(coupe({"run.stop_distance": 5.0}), sample_gap=0.05)
    assert plain["steps"] == run.steps
    assert [what for _, what in plain["events"]] == [event.kind for event in run.trace.events]
    for name, values in run.trace.channels.items():
        # rounding grows along the steps, most in what rings
        np.testing.assert_allclose(plain["end"][name], values[-1], rtol=1e-8, atol=1e-6, err_msg=name)
