"""What holds for any car whose second axle is brought in by a clutch."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from cars import change, random_car, second_axle_by_clutch, unlike_sides
from simlaunch.metrics.energy import audit
from simlaunch.record import Car
from simlaunch.simulation.run import launch


def drawn(seed: int) -> Car:
    """Any car, pedal, gearbox and coupling, over 250 m."""
    rng = np.random.default_rng(seed)
    car = change(random_car(rng), {"run.stop_distance": 250.0, "run.time_limit": 40.0})
    return change(car, second_axle_by_clutch(rng))


def drawn_on_two_sides(seed: int) -> Car:
    """Any of these cars with two wheels on each axle, and any differential between them."""
    return change(drawn(seed), unlike_sides(np.random.default_rng(seed)))


@pytest.mark.parametrize(
    ("draw", "seed"), [(drawn, seed) for seed in range(24)] + [(drawn_on_two_sides, seed) for seed in range(0, 24, 3)]
)
def test_a_clutch_carries_no_more_than_it_can_and_makes_no_power(draw: Callable[[int], Car], seed: int) -> None:
    """Torque within capacity, torque times slip never below zero, energy closes. Source: friction, first law."""
    car = draw(seed)
    trace = launch(car).trace
    torque, slip = trace["axle_clutch_torque"], trace["axle_clutch_slip"]
    capacity = car.drive.capacity / car.drive.clutch_ratio
    assert np.abs(torque).max() <= capacity * (1.0 + 1e-12)
    assert (torque * slip).min() >= -1e-9
    assert np.diff(trace["axle_clutch_work"]).min() >= -1e-3  # [J]; a step may be wrong by 1e-5 of 10 kJ
    assert audit(trace).residual_share < 1e-6


@pytest.mark.parametrize("draw", [drawn, drawn_on_two_sides])
@pytest.mark.parametrize("seed", range(0, 24, 4))
def test_kinks_of_the_clutch_cost_no_accuracy(seed: int, draw: Callable[[int], Car]) -> None:
    """Less than a tenth of a millisecond at the usual tolerance, as for any car. Source: the same, 1e4 as close."""
    own, close = launch(draw(seed)), launch(draw(seed), tolerance=1e-9)
    assert own.trace.time[-1] == pytest.approx(close.trace.time[-1], abs=1e-4)
    assert own.outcome is close.outcome
