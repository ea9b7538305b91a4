"""Rev limiter and shifts of cars drawn at random: no engine beyond its limit, no gear kept for ever, no jump."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

import numpy as np
import pytest

from cars import Changes, change, on_both_axles, random_car
from simlaunch.physics.engine import limiter_start
from simlaunch.record import Car, Pedal
from simlaunch.simulation.run import Outcome, Run, complete, launch
from simlaunch.simulation.trace import Trace

SEEDS = range(60)
MILLISECOND = 1e-3


def drawn(seed: int, pedal: Pedal, changes: Changes | None = None) -> Car:
    """A random car whose every gear is to be left at the rev limit, over two kilometres."""
    car = random_car(np.random.default_rng(seed))
    at_limit = [float(car.engine.rev_limit)] * (int(car.gearbox.count) - 1)
    far = {"gearbox.shift_speed": at_limit, "run.stop_distance": 2000.0, "run.time_limit": 100.0}
    return change(car, {"pedal.kind": int(pedal), **far, **(changes or {})})


@cache
def followed(seed: int, pedal: Pedal) -> tuple[Car, Run]:
    """A car and its run, made once for all tests."""
    car = drawn(seed, pedal)
    return car, launch(car)


def stays_on_the_limiter(car: Car, trace: Trace) -> bool:
    """Whether a run ends in a lower gear with the engine in its limiter's band."""
    return bool(trace["gear"][-1] < car.gearbox.count and trace["engine_speed"][-1] > limiter_start(car.engine))


@pytest.mark.parametrize("pedal", Pedal)
def test_no_engine_passes_its_limit(pedal: Pedal) -> None:
    """The torque is gone at the limit itself. Source: definition of the limit."""
    for seed in SEEDS:
        car, run = followed(seed, pedal)
        assert run.trace["engine_speed"].max() < car.engine.rev_limit, seed


@pytest.mark.parametrize("pedal", Pedal)
def test_a_gear_is_always_left_in_the_end(pedal: Pedal) -> None:
    """However far tyres slip and a converter falls behind, a shift at the limit comes. Source: what a driver does."""
    runs = [followed(seed, pedal) for seed in SEEDS]
    assert [seed for seed, (car, run) in zip(SEEDS, runs, strict=True) if stays_on_the_limiter(car, run.trace)] == []
    assert sum(run.trace["gear"][-1] > 1 for _, run in runs) >= 55


STICKY = on_both_axles({"friction": 3.0, "friction_load": 0.0})
WHEELS_HOP = frozenset({15})
"""Cars that spin their wheels even so, and catch them again and again: whether once more is chance."""


def heavier(car: Car, k: int) -> None:
    car.body.mass *= 1.0 + 0.01 * k


def draggier(car: Car, k: int) -> None:
    car.body.drag_area *= 1.0 + 0.05 * k


def steeper(car: Car, k: int) -> None:
    car.road.grade_angle = 0.003 * (k + 1)


def lossier(car: Car, k: int) -> None:
    car.gearbox.efficiency[:] *= 1.0 - 0.01 * k


@pytest.mark.parametrize("change_by", [heavier, draggier, steeper, lossier])
@pytest.mark.parametrize("pedal", Pedal)
def test_more_to_overcome_is_never_quicker_with_grip_to_spare(
    pedal: Pedal, change_by: Callable[[Car, int], None]
) -> None:
    """Mass, drag, grade and losses only ever cost time, the shift speeds staying as they are. Source: Newton."""
    compared = 0
    for seed in sorted(set(range(25)) - WHEELS_HOP):
        ends = []
        for k in range(4):
            car = change(random_car(np.random.default_rng(seed)), {"pedal.kind": int(pedal), **STICKY})
            complete(car)
            change_by(car, k)
            run = launch(car, tolerance=1e-5, sample_gap=0.1)  # times are off by 0.003 ms at most
            ends.append(run.trace.time[-1] if run.outcome is Outcome.FINISHED else np.nan)
        if np.isfinite(ends).all():  # more to overcome may stall an engine
            assert np.diff(ends).min() > -MILLISECOND, seed
            compared += 1
    assert compared >= 20


def test_a_locked_centre_leaves_a_gear_at_a_speed_without_a_jump() -> None:
    """Full load just below and just beyond what both axles have together: the same road speed. Source: continuity.

    At the peak of force the slip, and with it the speed, bends as a square root does; so the bar.
    """
    speeds = []
    for factor in np.linspace(1.010, 1.014, 81):
        car = random_car(np.random.default_rng(52))
        car.body.mass *= factor
        complete(car)
        speeds.append(float(car.gearbox.shift_road_speed[0]))
    assert max(speeds) - min(speeds) > 0.02  # the peak lies within
    assert np.abs(np.diff(speeds)).max() < 0.02
