"""What holds for every car whose axles have two wheels."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from cars import ALIKE_SIDES, change, random_car, unlike_sides
from simlaunch.metrics.energy import audit
from simlaunch.metrics.many import columns, measure_many
from simlaunch.metrics.marks import Kind, Target
from simlaunch.record import CAR, Car
from simlaunch.simulation.run import launch

LAUNCHES = range(24)


def drawn(seed: int, changes: dict[str, Any] | None = None) -> Car:
    """A car drawn from the whole width of what can be described, over a short way."""
    car = random_car(np.random.default_rng([16, seed]))
    return change(car, {"run.stop_distance": 150.0, **(changes or {})})


@pytest.mark.parametrize("seed", LAUNCHES)
def test_two_wheels_that_are_alike_do_what_one_axle_does(seed: int) -> None:
    """Whatever the differential: no torque is moved between wheels of one speed. Source: symmetry."""
    locking = np.random.default_rng(seed).choice([0.0, 0.3, 1.0], 2)
    one, two = launch(drawn(seed)), launch(drawn(seed, {**ALIKE_SIDES, "drive.locking": locking}))
    assert two.outcome is one.outcome
    assert two.trace.time[-1] == pytest.approx(one.trace.time[-1], rel=1e-12)
    for name, values in one.trace.channels.items():
        np.testing.assert_allclose(two.trace[name], values, rtol=1e-9, atol=1e-9, err_msg=name)


@pytest.mark.parametrize("seed", LAUNCHES)
def test_energy_is_neither_made_nor_lost(seed: int) -> None:
    """Slip of both wheels and heat of the clutches taken in. Source: first law of thermodynamics."""
    run = launch(drawn(seed, unlike_sides(np.random.default_rng(seed))))
    assert abs(audit(run.trace).residual_share) < 1e-6


@pytest.mark.parametrize("seed", LAUNCHES[:8])
def test_left_and_right_may_be_exchanged(seed: int) -> None:
    """A launch in a mirror. Source: symmetry."""
    sides = unlike_sides(np.random.default_rng(seed))
    mirrored = {
        **sides,
        "road.left_friction": sides["road.right_friction"], "road.right_friction": sides["road.left_friction"],
        "body.left_share": 1.0 - sides["body.left_share"],
    }  # fmt: skip
    one, other = (launch(drawn(seed, each), tolerance=1e-8) for each in (sides, mirrored))
    assert other.trace.time[-1] == pytest.approx(one.trace.time[-1], abs=1e-6)


def test_many_at_a_time_are_measured_as_one_by_one() -> None:
    """Cars of one body and of two wheels in turns: nothing of the one before is left. Source: each launched alone."""
    target = Target("100 m", Kind.DISTANCE, 0.0, 100.0)
    every = [drawn(seed, unlike_sides(np.random.default_rng(seed)) if seed % 2 else None) for seed in range(12)]
    together = measure_many(np.array(every, CAR), (target,)).values
    assert len(columns((target,))) == together.shape[1]
    for row, car in zip(together, every, strict=True):
        np.testing.assert_array_equal(row, measure_many(np.array([car], CAR), (target,)).values[0])
