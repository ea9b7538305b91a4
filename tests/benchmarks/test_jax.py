"""The launches in JAX are ours: the same rates, events and times, and no car whose parts they do not know.

They run where JAX and diffrax are installed, which tests do not ask for: pip install jax diffrax
"""

from __future__ import annotations

import numpy as np
import pytest

pytest.importorskip("diffrax", reason="needs jax and diffrax")

from benchmarks.jax_agreement import disagreement
from benchmarks.jax_launch import times_by_diffrax
from benchmarks.jax_numbers import lowered_cars
from benchmarks.speed import Fleet, drawn_fleet
from benchmarks.speed_motion import Motion
from cars import Changes, coupe, front_hatch
from simlaunch.record import Car
from simlaunch.simulation.run import complete

ROUNDING = 1e-10  # of numbers that two texts of the same equations work out, over their scale [-]
CLOSE = 1e-4  # of a quarter-mile time by another method at a relative tolerance of 1e-6 [s]
LEFT_OUT: dict[str, Changes] = {"drive.clutched": {"drive.clutched": 1}, "drive.paired": {"drive.paired": 1}}


@pytest.fixture(scope="module")
def fleet() -> Fleet:
    return drawn_fleet(24)


def completed(car: Car) -> Car:
    complete(car)
    return car


def test_rates_and_events_are_ours(fleet: Fleet) -> None:
    """At states of drawn cars, of a car that holds its gear, and of one with limits of torque by gear."""
    limits = {"engine.gear_limit": np.array([300.0, 350.0, 400.0, 450.0, 450.0, 450.0])}
    others = [completed(coupe(limits)), completed(front_hatch({"launch.hold_gear": 1}))]
    assert disagreement([*fleet.cars, *others]) < ROUNDING


def test_times_are_ours(fleet: Fleet) -> None:
    """By Tsit5, an explicit method of diffrax, with hand-overs written a second time: every car.

    The second one is left out: it is stiff, and would take 120,000 steps.
    """
    mild = fleet.some([0, *range(2, len(fleet.cars))])
    times = times_by_diffrax(mild.cars, 1e-6)
    assert np.abs(times - mild.truth).max() < CLOSE


@pytest.mark.parametrize("part", LEFT_OUT)
def test_a_car_with_parts_that_are_not_known_is_refused(part: str) -> None:
    with pytest.raises(NotImplementedError, match=part):
        lowered_cars([coupe(LEFT_OUT[part])])


def test_a_car_with_limits_over_engine_speed_is_refused() -> None:
    car = coupe()
    car.engine.gear_curve[1].count = 2
    with pytest.raises(NotImplementedError, match=r"engine\.gear_curve"):
        lowered_cars([car])


def test_unlike_wheels_are_not_handed_to_other_libraries() -> None:
    """Their states lie beyond the fifteen that are handed out."""
    with pytest.raises(NotImplementedError, match="wheels differ"):
        Motion().begin(completed(coupe({"drive.paired": 1})))
