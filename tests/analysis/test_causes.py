"""What a launch loses to what: sums, and each cause against a launch that lacks it by its scenario."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import pytest

from simlaunch.analysis.simulate import simulate
from simlaunch.comparing.causes import Cause, budget, causes_of, without
from simlaunch.comparing.compare import compare
from simlaunch.launching.goals import goal
from simlaunch.launching.ready import aim
from simlaunch.metrics.marks import Kind, Target, mark
from simlaunch.parameters.fill import lower
from simlaunch.record import Car, Pedal
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.reading import load
from simlaunch.simulation.events import EventKind
from simlaunch.simulation.run import complete, launch

SCENARIOS = Path(__file__).parents[2] / "scenarios"
COUPE, HATCH, GRIP, SALOON, CLUTCHED = (
    load(SCENARIOS / f"{name}.toml")
    for name in ("road-coupe", "front-hatch", "all-drive-grip", "all-drive-saloon", "clutch-hatch")
)


def _ready(scenario: Scenario, target: Target, pedal: Pedal = Pedal.FULL) -> Car:
    car = lower(scenario, scenario.curve_names[0], pedal)
    complete(car)
    aim(car, (target,))
    return car


def _time(car: Car, target: Target) -> float:
    return mark(launch(car).trace, target).time


def test_a_second_axle_that_is_held_is_that_of_a_locked_centre() -> None:
    """Without the cause, the launch is that of the same car with a locked centre, and only such cars have the cause."""
    target = goal(CLUTCHED)
    full, held = (_ready(CLUTCHED, target, pedal) for pedal in Pedal)
    left = without(full, held, [cause for cause in Cause if cause is not Cause.SECOND_AXLE])
    locked = full.copy()
    locked.drive.clutched, locked.drive.front_share = 0, 0.5
    assert _time(left, target) == pytest.approx(_time(locked, target), abs=1e-6)
    assert _time(left, target) < _time(full, target) - 0.1
    assert Cause.SECOND_AXLE in causes_of(CLUTCHED)
    assert Cause.SECOND_AXLE not in causes_of(GRIP)
    assert causes_of(GRIP) == tuple(cause for cause in causes_of(CLUTCHED) if cause is not Cause.SECOND_AXLE)


@pytest.mark.parametrize(
    "scenario", [COUPE, HATCH, GRIP, SALOON, CLUTCHED], ids=["coupe", "hatch", "grip", "saloon", "clutched"]
)
def test_ideal_time_and_shares_are_the_real_time(scenario: Scenario) -> None:
    target = goal(scenario)
    names = scenario.curve_names[:2]
    for name, found in zip(names, budget(scenario, names, target), strict=True):
        assert found is not None
        real = mark(simulate(scenario, name).run.trace, target).time
        assert found.time == pytest.approx(real, abs=1e-6)
        assert found.ideal < real
        for share in found.shares.values():
            assert share.least <= share.share <= share.most


@pytest.mark.parametrize(
    ("cause", "changes"),
    [
        (Cause.BOOST, {"engine.boost_lagged_share": "0 %"}),
        (Cause.LOSSES, {"gearbox.efficiency": "100 %"}),
    ],
)
def test_a_cause_that_is_taken_away_is_missing_from_the_car(cause: Cause, changes: Mapping[str, object]) -> None:
    """By the budget's own means and by the scenario's keys the launch is the same; road speeds of shifts stay."""
    target = Target("1/4 mile", Kind.DISTANCE, 0.0, 402.336)
    typed = COUPE.replace({"gearbox.shift_at": ["6500 rpm"] * 5})  # shift speeds stay those of the real car
    full, held = _ready(typed, target), _ready(typed, target, Pedal.HELD_SLIP)
    left = [each for each in Cause if each is not cause]
    other = _ready(typed.replace(changes), target)
    assert _time(without(full, held, left), target) == pytest.approx(_time(other, target), abs=2e-4)


def test_spin_is_full_pedal_less_held_slip() -> None:
    target = goal(COUPE)
    full, held = _ready(COUPE, target), _ready(COUPE, target, Pedal.HELD_SLIP)
    left = [each for each in Cause if each is not Cause.WHEELSPIN]
    assert _time(without(full, held, left), target) == _time(held, target)
    nothing_to_hold = [each for each in Cause if each is not Cause.GRIP]
    assert _time(without(full, held, nothing_to_hold), target) == pytest.approx(
        _time(without(held, held, nothing_to_hold), target), abs=0.02
    )  # where grip holds all torque, the pedals are alike


def test_shifts_without_a_gap_save_the_gap_at_steady_force() -> None:
    """Two equal gears: a shift changes nothing but its gap, so without it a car of constant force gains what it coasts.

    v(t) = a t, and a gap of t0 with no force, no drag: the distance is passed t0 (1 - v_gap / v_end) later.

    Source: x = a t^2 / 2 before and after the gap; any textbook of mechanics.
    """
    target = Target("200 m", Kind.DISTANCE, 0.0, 200.0)
    car = GRIP.replace(
        {
            "curves": [{"name": "flat", "points": [["1000 rpm", "300 N m"], ["7000 rpm", "300 N m"]]}],
            "gearbox.ratios": ["2", "1.9999"], "gearbox.shift_at": ["4000 rpm"], "gearbox.efficiency": "100 %",
            "gearbox.shift": {"kind": "torque gap", "ramp_down": "0.01 s", "gap": "0.4 s", "ramp_up": "0.01 s"},
            "coupling.capacity": "700 N m", "coupling.engagement_time": "2 s", "launch.engine_speed": "3000 rpm",
            "engine.boost_lagged_share": "0 %", "body.drag_area": "0 m^2", "body.lift_area_front": "0 m^2",
            "body.lift_area_rear": "0 m^2", "road.friction_factor": "2", "tyres.both.rolling_resistance": "0",
            "engine.overrun_torque": [["1000 rpm", "0.1 N m"], ["7000 rpm", "0.1 N m"]],
            "uncertain": [], "parts": [],
            "run.until": ["200 m"],
        },
    )  # fmt: skip
    full, held = _ready(car, target), _ready(car, target, Pedal.HELD_SLIP)
    left = [each for each in Cause if each is not Cause.SHIFTS]
    saved = _time(full, target) - _time(without(full, held, left), target)
    trace = launch(full).trace
    at_shift = next(event.time for event in trace.events if event.kind is EventKind.SHIFT_BEGINS)
    gap_speed = float(trace["speed"][(trace.time >= at_shift).argmax()])
    end_speed = mark(trace, target).speed
    lost = (0.4 + 0.01) * (1.0 - gap_speed / end_speed)  # a ramp counts half
    assert saved == pytest.approx(lost, rel=0.05)  # no overrun: an engine that falls in the gap costs more


def test_drag_and_rolling_are_what_the_coefficients_say() -> None:
    target = goal(GRIP)
    no_drag = GRIP.replace({"body.drag_area": "0 m^2"})
    full, held = _ready(no_drag, target), _ready(no_drag, target, Pedal.HELD_SLIP)
    by_hand = full.copy()
    by_hand.road.rolling_factor = 0.0
    left = [each for each in Cause if each is not Cause.RESISTANCE]
    assert _time(without(full, held, left), target) == _time(by_hand, target)


def test_compare_holds_a_budget_for_each_curve() -> None:
    found = compare(COUPE, cases=0)
    document = found.to_dict()["pairs"][0]["why"]
    gap = found.pairs[0].full.at_goal.gap
    parts = [each["share_s"] for each in document["by_cause"]]
    assert sum(parts) + document["ideal"]["share_s"] == pytest.approx(gap, abs=1e-6)
    for each in document["by_cause"]:
        assert each["share_s"] == pytest.approx(each["second_s"] - each["first_s"])
    assert sum(each["share_s"] for each in document["by_engine_speed"]) == pytest.approx(gap, abs=1e-6)
