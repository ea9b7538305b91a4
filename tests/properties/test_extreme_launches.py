"""Launches at the ends of what `check` accepts: each comes to a result, or to a refusal that says why."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from fuzz.fuzz_launches import numbers, scenarios, survey
from simlaunch.analysis.simulate import simulate
from simlaunch.analysis.usable import usable
from simlaunch.errors import ScenarioError, UsageError
from simlaunch.launching.goals import goal
from simlaunch.launching.ready import runnable
from simlaunch.metrics.ceiling import grip_limited_acceleration, usable_torque
from simlaunch.metrics.marks import Kind, Target, mark
from simlaunch.parameters.fill import lower
from simlaunch.record import FOOT, Pedal
from simlaunch.scenario.car import Body, Tyre
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.reading import load
from simlaunch.simulation.run import Outcome, launch

SCENARIOS = {path.stem: load(path) for path in sorted((Path(__file__).parents[2] / "scenarios").glob("*.toml"))}
COUPE = SCENARIOS["road-coupe"]

QUICK = 150
"""Cases of the fuzzer that ordinary tests run."""


def test_random_launches_end_as_they_should() -> None:
    endings, faults, _ = survey(QUICK, seed=7)
    assert faults == []
    assert endings["finished"] > QUICK / 3  # else the draw would only hold cars that cannot move
    assert endings["finished"] + endings["time limit"] + endings["stalled"] >= 0.95 * QUICK


def test_the_draw_reaches_the_ends_of_the_ranges() -> None:
    typed = [value for _, _, changes, _ in scenarios(QUICK, 7) for value in changes.values() if isinstance(value, str)]
    ends = {end for within in numbers(Body).values() for end in (within.low, within.high)}
    assert len(ends & set(typed)) > 0.7 * len(ends)
    assert {"radius", "friction", "slip_stiffness", "wheel_inertia"} <= set(numbers(Tyre))


TOO_LITTLE = {
    ("clutch-hatch", "gearbox.final_drive"): "not below the gear before it",  # its final drives order its gears
    ("clutch-hatch", "drive.half_shaft_damping"): "too little behind a clutch that slips",
}
"""What cannot be run on one of the cars, and why it is refused there."""


@pytest.mark.parametrize("name", SCENARIOS)
@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("body.lift_area_front", "2 m^2"),
        ("body.lift_area_rear", "2 m^2"),
        ("gearbox.final_drive", "0.1"),
        ("drive.half_shaft_damping", "0 N m s/rad"),
        ("body.mass", "4000 kg"),
    ],
)
def test_a_value_at_the_edge_of_what_is_possible_can_be_run(name: str, key: str, value: str) -> None:
    if (name, key) in TOO_LITTLE:
        with pytest.raises(ScenarioError, match=TOO_LITTLE[name, key]):
            SCENARIOS[name].replace({key: value})
        return
    scenario = SCENARIOS[name].replace({key: value})
    for pedal in Pedal:
        found = simulate(scenario, None, pedal)
        assert found.run.outcome in (Outcome.FINISHED, Outcome.TIME_LIMIT, Outcome.STALLED)
        assert not found.measures.audit.bad
    ceilings = np.array([each.usable for each in usable(scenario).ceilings])
    assert np.isfinite(ceilings).all()
    assert (ceilings >= 0.0).all()


def test_the_ceiling_of_a_sound_car_is_as_it_was_below_the_speed_at_which_it_lifts_off() -> None:
    """A higher rev limit alone reaches road speeds at which lift takes the load away; below them nothing changes."""
    car = runnable(COUPE.replace({"body.lift_area_rear": "1 m^2"}), "peak", Pedal.FULL)
    speeds = np.linspace(200.0, 600.0, 9)
    whole = usable_torque(car, 1, speeds)
    np.testing.assert_allclose(usable_torque(car, 1, [*speeds, 900.0])[:-1], whole, rtol=2e-3)


# --- records ---


@pytest.mark.parametrize(
    "until", [["402.336 m"], ["100 km/h"], ["60 mph"], ["10 m", "50 km/h"], ["201.168 m", "60 mph"], ["0.1 m"]]
)
@pytest.mark.parametrize("pedal", list(Pedal))
def test_a_record_of_a_scenario_passes_its_goal(until: list[str], pedal: Pedal) -> None:
    scenario: Scenario = COUPE.replace({"run.until": until})
    for car in (lower(scenario, "peak", pedal), runnable(scenario, "peak", pedal)):
        run = launch(car)
        assert run.outcome is Outcome.FINISHED
        reached = mark(run.trace, goal(scenario))
        assert np.isfinite([reached.time, reached.time_after_rollout]).all() or goal(scenario).end < FOOT
        assert np.isfinite(reached.time)


def test_a_record_that_is_not_complete_has_no_usable_torque() -> None:
    car = lower(COUPE, "peak", Pedal.FULL)
    with pytest.raises(UsageError, match="not complete"):
        usable_torque(car, 1, [300.0])
    with pytest.raises(UsageError, match="not complete"):
        grip_limited_acceleration(car, 10.0)
    assert usable_torque(runnable(COUPE, "peak", Pedal.FULL), 1, [300.0]) > 0.0


# --- marks beyond the goal ---

SPAN = "100-200 km/h"


def _short(distance: str, **more: object) -> Scenario:
    return COUPE.replace({"run": {"until": [distance], **more}})


def test_marks_beyond_the_goal_are_those_of_a_longer_run() -> None:
    brief, whole = simulate(_short("100 m")), simulate(_short("1 km"))
    assert brief.missed is None
    for here, there in zip(brief.measures.marks[:10], whole.measures.marks[:10], strict=True):
        assert here.target == there.target
        assert here.time == pytest.approx(there.time, abs=1e-4)


def test_everything_but_the_marks_is_measured_up_to_the_goal() -> None:
    """A car that is carried on for its marks still has the work, the spin and the trace of the run to its goal."""
    found = simulate(_short("100 m"))
    plain = launch(lower(_short("100 m"), COUPE.curve_names[0], Pedal.FULL)).trace
    np.testing.assert_array_equal(found.run.trace.time, plain.time)
    assert found.run.trace["distance"][-1] == pytest.approx(100.0 + FOOT, abs=2e-3)
    assert found.measures.audit.engine_work == pytest.approx(plain["engine_work"][-1] - plain["engine_work"][0])
    assert found.measures.grip.wheelspin_time < plain.time[-1]


def test_marks_that_cannot_be_reached_are_named_with_the_reason() -> None:
    slow = simulate(_short("100 m").replace({"body.drag_area": "10 m^2"}))
    assert slow.reached
    assert slow.missed is not None
    assert SPAN in {target.label for target in slow.missed.targets}
    assert slow.missed.outcome is Outcome.TIME_LIMIT
    assert slow.missed.longer is not None
    assert SPAN in {target.label for target in slow.missed.beyond_reach}
    hurried = simulate(_short("100 m", time_limit="8 s"))
    assert hurried.missed is not None
    assert hurried.missed.time == pytest.approx(8.0, abs=0.1)
    assert hurried.missed.longer is not None
    assert hurried.missed.beyond_reach == ()
    patient = simulate(_short("100 m", time_limit="600 s"), target="60-130 mph")
    assert hurried.missed.longer.time == pytest.approx(patient.time, abs=1e-3)  # the highest of its speeds
    assert Target("0-60 mph", Kind.SPEED, 0.0, 60 * 0.44704) not in hurried.missed.targets


def test_a_speed_beyond_the_top_speed_is_not_laid_to_the_time_limit() -> None:
    """Top speed where force and resistance are in balance: with 600 s the car is no faster; its end says so."""
    scenario = COUPE.replace({"body.drag_area": "3 m^2"})
    found, longest = (
        simulate(scenario.replace({"run.time_limit": each}), target="300 km/h") for each in ("60 s", "600 s")
    )
    said = " ".join(found.to_text().split())
    top = f"{3.6 * float(longest.run.trace['speed'][-1]):.1f} km/h"
    assert (
        f"Out of reach: 0-200 km/h, 100-200 km/h, 60-130 mph, 0 to 300 km/h; the top speed of the car is {top}." in said
    )
    assert said.endswith(
        f"End: the top speed of the car is {top}, and no time limit changes that: choose a lower speed."
    )
    assert "raise run.time_limit" not in said


def test_a_speed_that_more_time_would_reach_is_said_to_be_reached_later() -> None:
    hurried = simulate(COUPE.replace({"run.time_limit": "9 s"}), target="180 km/h")
    whole = simulate(COUPE, target="60-130 mph")
    said = " ".join(hurried.to_text().split())
    assert f"with a longer run.time_limit 60-130 mph takes {whole.time:.1f} s" in said
    assert "End: the time limit came first: raise run.time_limit" in said


def test_a_goal_that_more_time_would_reach_is_laid_to_the_time_limit_where_it_is_the_highest_speed() -> None:
    hurried = simulate(COUPE.replace({"run.time_limit": "9 s"}), target="230 km/h")
    assert hurried.missed is not None
    assert hurried.missed.beyond_reach == ()
    assert "End: the time limit came first: raise run.time_limit" in " ".join(hurried.to_text().split())


def test_a_rolling_start_that_stalls_is_not_told_of_its_launch() -> None:
    """Up 40 % in top gear the engine is pulled below idle; launch speed and clutch have no part in it."""
    hill = COUPE.replace({"road.grade": "40 %", "body.mass": "2700 kg"})
    rolled = simulate(hill, target="roll 40 km/h to 100 km/h in gear 5")
    assert rolled.run.outcome is Outcome.STALLED
    said = " ".join(rolled.to_text().split())
    assert said.endswith("stalled: begin in a lower gear or at a higher speed.")
    lower = simulate(hill.replace({"body.mass": "1600 kg"}), target="roll 40 km/h to 60 km/h in gear 1")
    assert lower.reached


def test_a_distance_that_the_longest_time_does_not_reach_is_said_to_be_too_far() -> None:
    """At its top speed a car comes no farther than that speed times the time. Source: kinematics."""
    far = COUPE.replace({"run.until": ["20 km"], "run.time_limit": "60 s", "body.drag_area": "10 m^2"})
    found = simulate(far)
    said = " ".join(found.to_text().split())
    assert found.missed is not None
    assert found.missed.longer is not None
    come = found.missed.longer.distance
    assert 500.0 * found.missed.longer.top_speed < come < 600.0 * found.missed.longer.top_speed
    assert f"End: it comes {come:.1f} m or {come / 0.3048:.1f} ft far in 600 s" in said
    assert "raise run.time_limit" not in said


def test_a_gear_that_is_held_has_a_top_speed_of_its_own() -> None:
    held = simulate(COUPE, target="roll 60 km/h to 250 km/h in gear 2")
    assert "the top speed of the car in gear 2 is" in " ".join(held.to_text().split())
