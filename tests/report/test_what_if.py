"""The grid behind the sliders: each of its numbers is that of a launch, and its corners are cases known otherwise."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from simlaunch.analysis.simulate import simulate
from simlaunch.analysis.usable import usable
from simlaunch.launching.goals import goal
from simlaunch.record import Pedal
from simlaunch.reporting.what_if import (
    AS_GIVEN,
    GRIPS,
    HEIGHTS,
    Grid,
    document,
    finding,
    grid,
    heights_up_to,
    limits_words,
)
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.reading import load
from simlaunch.units.quantity import display_unit
from simlaunch.units.spelling import Dimension, System

COUPE = Path(__file__).parents[2] / "scenarios" / "road-coupe.toml"
SHORT = "60 m"


@pytest.fixture(scope="module")
def scenario() -> Scenario:
    return load(COUPE).replace({"run": {"until": [SHORT]}})


@pytest.fixture(scope="module")
def found(scenario: Scenario) -> Grid:
    return grid(scenario, usable(scenario), goal(scenario), System.METRIC)


def _time(scenario: Scenario, curve: str, pedal: Pedal) -> float:
    return next(mark.time for mark in simulate(scenario, curve, pedal).measures.marks if mark.target.label == SHORT)


@pytest.mark.parametrize("pedal", list(Pedal))
@pytest.mark.parametrize("which", [0, 1])
def test_the_curves_on_the_grip_as_given_are_those_of_single_launches(
    scenario: Scenario, found: Grid, pedal: Pedal, which: int
) -> None:
    measure = next(each for each in found.measures if each.pedal is pedal)
    assert measure.curves[which, AS_GIVEN] == pytest.approx(_time(scenario, found.names[which], pedal), abs=1e-6)


def test_other_grip_is_that_of_a_road_with_another_friction_factor(scenario: Scenario, found: Grid) -> None:
    less = scenario.replace({"road.friction_factor": f"{GRIPS[0]:.3f}", "road.rolling_factor": "1"})
    assert found.measures[0].curves[1, 0] == pytest.approx(_time(less, found.names[1], Pedal.FULL), abs=1e-6)


def test_a_plateau_is_the_launch_of_a_curve_typed_with_these_points(scenario: Scenario, found: Grid) -> None:
    """The scenario with the cut curve written out in full; it is read back through text of six digits."""
    height = float(found.heights[found.start])
    points = [
        [f"{speed * 30.0 / np.pi:.6g} rpm", f"{torque:.6g} N m"]
        for speed, torque in zip(found.usable.engine_speed, found.cut(height), strict=True)
    ]
    points[-1][0] = "6900 rpm"
    typed = scenario.replace({"curves": [{"name": "cut", "points": points}]})
    assert found.measures[0].cut[found.start, AS_GIVEN] == pytest.approx(_time(typed, "cut", Pedal.FULL), abs=2e-3)


def test_the_highest_plateau_is_the_higher_curve_where_one_is_higher_everywhere(scenario: Scenario) -> None:
    curve = scenario.curve("plateau")
    raised = [[speed.text, f"{1.2 * torque.si:.9g} N m"] for speed, torque in curve.points]
    plain = [[speed.text, f"{torque.si:.9g} N m"] for speed, torque in curve.points]
    both = scenario.replace({"curves": [{"name": "low", "points": plain}, {"name": "high", "points": raised}]})
    found = grid(both, usable(both), goal(both), System.METRIC)
    assert found.measures[0].cut[-1] == pytest.approx(found.measures[0].curves[1], abs=2e-3)


def test_less_grip_is_slower_for_every_curve_with_slip_control(found: Grid) -> None:
    held = next(each for each in found.measures if each.pedal is Pedal.HELD_SLIP)
    assert (np.diff(held.curves, axis=1) < 0.0).all()
    assert (np.diff(held.cut[HEIGHTS // 2 :], axis=1) < 0.0).all()


def test_ceilings_rise_with_grip(found: Grid) -> None:
    lowest = [row[0].usable for row in found.ceilings]
    assert all((more > less).all() for less, more in pairwise(lowest))


@pytest.mark.parametrize("system", list(System))
@pytest.mark.parametrize("top", [97.3, 305.0, 560.0, 1234.5])
def test_heights_are_round_and_end_at_the_peak(system: System, top: float) -> None:
    heights = heights_up_to(top, system)
    shown = display_unit(Dimension.TORQUE, system).of(heights)
    assert heights.size == HEIGHTS
    assert heights[-1] == pytest.approx(top)
    steps = np.diff(shown[:-1])
    assert (steps > 0.0).all()
    assert steps == pytest.approx(steps[0])
    assert shown[:-1] / steps[0] == pytest.approx(np.round(shown[:-1] / steps[0]))
    assert 0.3 * top < heights[0] < 0.7 * top


def test_the_smallest_engine_still_has_its_heights() -> None:
    heights = heights_up_to(0.8, System.METRIC)
    assert (np.diff(heights) > 0.0).all()
    assert heights[0] > 0.0


def test_a_goal_that_is_not_reached_is_null_in_the_data_and_said_in_words(found: Grid) -> None:
    lost = [replace(each, cut=np.full_like(each.cut, np.nan)) for each in found.measures]
    nothing = replace(found, measures=tuple(lost))
    assert document(nothing, System.METRIC)["measures"][0]["cut"][0] == [None] * GRIPS.size
    assert "was not reached with any plateau" in finding(nothing, System.METRIC)


def test_the_finding_names_the_lowest_plateau_that_is_enough(found: Grid) -> None:
    """0.01 s is what is worth a word."""
    times = found.measures[0].cut.copy()
    times[:, AS_GIVEN] = 14.0 - 0.1 * np.arange(HEIGHTS)
    times[12:, AS_GIVEN] = 12.8 - 0.001 * np.arange(HEIGHTS - 12)
    flat = replace(found, measures=(replace(found.measures[0], cut=times), *found.measures[1:]))
    told = finding(flat, System.METRIC)
    assert "takes 12.80 s" in told
    assert f"{found.heights[12]:.0f} N m is enough to come within 0.01 s" in told
    times[:, AS_GIVEN] = 14.0 - 0.1 * np.arange(HEIGHTS)
    assert "every step up gains time" in finding(flat, System.METRIC)
    times[3, AS_GIVEN] = 14.5
    assert "the highest one" in finding(flat, System.METRIC)
    assert "no lower one comes within 0.01 s of it" in finding(flat, System.METRIC)


def test_the_highest_plateau_keeps_the_limits_of_the_higher_curve(scenario: Scenario) -> None:
    """One curve is higher in every gear, so the highest plateau is that curve with its own limits."""
    curve = scenario.curve("plateau")
    raised = [[speed.text, f"{1.2 * torque.si:.9g} N m"] for speed, torque in curve.points]
    plain = [[speed.text, f"{torque.si:.9g} N m"] for speed, torque in curve.points]
    low = {"name": "low", "points": plain, "gear_limits": [{"gear": "1", "torque": "150 N m"}]}
    high = {"name": "high", "points": raised, "gear_limits": [{"gear": "1", "torque": "250 N m"}]}
    both = scenario.replace({"curves": [low, high]})
    found = grid(both, usable(both), goal(both), System.METRIC)
    assert found.measures[0].cut[-1] == pytest.approx(found.measures[0].curves[1], abs=2e-3)
    assert found.limited_gears == (1,)
    assert limits_words(found).startswith("In gear 1 the engine gives no more than")
    free = both.replace({"curves": [low, high | {"gear_limits": []}]})
    assert grid(free, usable(free), goal(free), System.METRIC).limited_gears == ()
