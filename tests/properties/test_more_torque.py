"""What more torque and more mass do, for cars drawn at random."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from cars import PEAK, PLATEAU, Changes, change, coupe, front_hatch, full_load, on_both_axles, random_car
from simlaunch.record import Car
from simlaunch.simulation.run import Outcome, Run, complete, launch

MILLISECOND = 1e-3


def held_slip(seed: int, changes: Changes | None = None) -> Car:
    """A car under slip control whose shift speeds are settled before anything else is changed; it runs to 40 m/s."""
    car = random_car(np.random.default_rng(seed))
    change(car, {"pedal.kind": 1, **(changes or {})})
    complete(car)
    return change(car, {"run.stop_distance": 0.0, "run.stop_speed": 40.0})


def fine(car: Car) -> Run:
    return launch(car, tolerance=1e-8, sample_gap=0.05)


@pytest.mark.parametrize("seed", range(25))
def test_more_torque_is_never_slower_under_held_slip(seed: int) -> None:
    """5 % more torque everywhere, the same shift speeds: never a later 40 m/s. Source: first principles.

    Slip control overshoots now and then, by less than a millisecond's worth.
    """
    more = held_slip(seed)
    more.engine.torque.cubic *= 1.05
    plain, raised = fine(held_slip(seed)), fine(more)
    assert plain.outcome is raised.outcome
    if plain.outcome is Outcome.FINISHED:
        assert raised.trace.time[-1] <= plain.trace.time[-1] + MILLISECOND


def test_the_drawn_cars_do_finish() -> None:
    """Else the property above would hold for want of cases."""
    ended = [fine(held_slip(seed)).outcome is Outcome.FINISHED for seed in range(25)]
    assert sum(ended) >= 20


@pytest.mark.parametrize("seed", range(15))
def test_more_mass_is_never_quicker_with_grip_to_spare(seed: int) -> None:
    """8 % more mass on tyres that hold: never an earlier 40 m/s. Source: Newton's second law.

    At the limit of grip it may be quicker: the force grows with the mass, the drag does not.
    """
    sticky = on_both_axles({"friction": 3.0, "friction_load": 0.0})
    heavy = held_slip(seed, sticky)
    heavy.body.mass *= 1.08
    plain, loaded = fine(held_slip(seed, sticky)), fine(heavy)
    if plain.outcome is loaded.outcome is Outcome.FINISHED:  # more mass may stall an engine
        assert loaded.trace.time[-1] > plain.trace.time[-1] - MILLISECOND


ABOVE_GRIP = {"run.stop_distance": 0.0, "run.stop_speed": 12.0, "coupling.capacity": 3000.0,
              "gearbox.shift_speed": [700.0] * 5}  # fmt: skip


@pytest.mark.parametrize("build", [coupe, front_hatch])
def test_curves_above_grip_are_equal_under_held_slip(build: Callable[[dict[str, Any]], Car]) -> None:
    """Two curves, both above what the tyres take: the same time while grip is the limit. Source: first principles."""
    times = [
        fine(build({**ABOVE_GRIP, "pedal.kind": 1, **full_load(points, factor)})).trace.time[-1]
        for points, factor in ((PEAK, 3.0), (PLATEAU, 4.0))
    ]
    assert times[0] == pytest.approx(times[1], abs=1e-5)


@pytest.mark.parametrize("build", [coupe, front_hatch])
def test_the_higher_of_two_curves_above_grip_is_slower_at_full_load(build: Callable[[dict[str, Any]], Car]) -> None:
    """Past the peak of the tyre more torque is less force. Source: falling branch of the Magic Formula.

    No limiter is met on the way: it would hold the wheels of both at one speed.
    """
    ends = []
    for torque in (500.0, 600.0):
        flat = {"engine.torque": ((10.0, 4000.0), (torque, torque)), "engine.rev_limit": 4000.0}
        ends.append(fine(build({**ABOVE_GRIP, "gearbox.count": 1, **flat})))
    times = [run.trace.time[-1] for run in ends]
    assert times[1] > times[0] + MILLISECOND


@pytest.mark.parametrize("build", [coupe, front_hatch])
def test_held_slip_beats_full_load_above_grip(build: Callable[[dict[str, Any]], Car]) -> None:
    """Tyres at nine tenths of their peak slip push harder than spinning ones. Source: as above."""
    times = [fine(build({**ABOVE_GRIP, "pedal.kind": kind, **full_load(PEAK, 2.0)})).trace.time[-1] for kind in (0, 1)]
    assert times[1] < times[0] - 0.05
