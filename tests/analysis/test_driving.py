"""The gap between two curves with other launch and shift speeds."""

from __future__ import annotations

from dataclasses import replace
from math import nan, pi
from pathlib import Path

import pytest

from simlaunch.analysis.simulate import simulate
from simlaunch.comparing.compare import compare
from simlaunch.comparing.driving import LATER, Driving, Tried, driving
from simlaunch.comparing.verdict import Finding, judge
from simlaunch.launching.goals import goal
from simlaunch.metrics.marks import mark
from simlaunch.output.words import sentences
from simlaunch.scenario.reading import load

SCENARIOS = Path(__file__).parents[2] / "scenarios"
COUPE = load(SCENARIOS / "road-coupe.toml")
RPM = pi / 30.0


def test_as_given_is_the_launch_of_the_scenario() -> None:
    found = driving(COUPE, "peak", "plateau", goal(COUPE))
    times = [mark(simulate(COUPE, name).run.trace, goal(COUPE)).time for name in ("peak", "plateau")]
    for tried in (found.launch, found.shifts):
        assert tried is not None
        place = tried.as_given
        assert (tried.first[place], tried.second[place]) == pytest.approx(times, abs=1e-6)


def test_each_launch_speed_is_that_of_a_scenario_with_it() -> None:
    found = driving(COUPE, "peak", "plateau", goal(COUPE)).launch
    assert found is not None
    for speed, time in zip(found.values, found.second, strict=True):
        typed = COUPE.replace({"launch.engine_speed": f"{speed / RPM:.6f} rpm"})
        alone = mark(simulate(typed, "plateau").run.trace, goal(COUPE)).time
        assert time == pytest.approx(alone, abs=1e-5)


def test_the_latest_shifts_are_those_at_the_rev_limiter() -> None:
    found = driving(COUPE, "peak", "plateau", goal(COUPE)).shifts
    assert found is not None
    assert found.values == LATER
    limiter = 6900.0 - COUPE.engine.limiter_band.si / RPM
    typed = COUPE.replace({"gearbox.shift_at": [f"{limiter:.6f} rpm"] * 5})
    assert found.first[-1] == pytest.approx(mark(simulate(typed, "peak").run.trace, goal(COUPE)).time, abs=1e-4)


def test_a_converter_is_launched_at_no_speed_that_it_cannot_hold() -> None:
    """At stall the converter holds the engine: no launch speed above that is tried."""
    saloon = load(SCENARIOS / "all-drive-saloon.toml")
    first, second = saloon.curve_names[:2]
    found = driving(saloon, first, second, goal(saloon)).launch
    assert found is not None
    fast = saloon.replace({"launch.engine_speed": "5000 rpm"})
    stalled = min(float(simulate(fast, name).car.launch.engine_speed) for name in (first, second))
    assert max(found.values) <= stalled + 1e-9
    assert len(set(found.first)) == len(found.first)


@pytest.mark.parametrize("asked", ["2300 rpm", "5000 rpm"])
def test_as_given_is_the_launch_of_the_scenario_behind_a_converter_too(asked: str) -> None:
    """A stronger engine comes nearer to the speed that is asked for, so both are launched as the scenario has it."""
    saloon = load(SCENARIOS / "all-drive-saloon.toml").replace({"launch.engine_speed": asked})
    first, second = saloon.curve_names[:2]
    found = driving(saloon, first, second, goal(saloon)).launch
    assert found is not None
    times = [mark(simulate(saloon, name).run.trace, goal(saloon)).time for name in (first, second)]
    assert (found.first[found.as_given], found.second[found.as_given]) == pytest.approx(times, abs=1e-6)


def test_a_launch_speed_within_the_band_of_the_limiter_stays_as_given() -> None:
    near = COUPE.replace({"launch.engine_speed": "6870 rpm"})
    found = driving(near, "peak", "plateau", goal(near)).launch
    assert found is not None
    assert found.values[found.as_given] == pytest.approx(6870.0 * RPM)


def test_typed_shift_speeds_stay() -> None:
    typed = COUPE.replace({"gearbox.shift_at": ["6500 rpm"] * 5})
    assert driving(typed, "peak", "plateau", goal(typed)).shifts is None


def test_a_gap_that_other_shifts_change_is_said_to_be_one() -> None:
    """On the demonstration car later shifts save the curve with the early peak a shift before the line."""
    (pair,) = compare(COUPE, cases=0).pairs
    assert pair.driving is not None
    shifts = pair.driving.shifts
    assert shifts is not None
    assert shifts.matters
    assert not shifts.changes_sides
    assert "; with the shift speeds that suit each best, of those tried, " in sentences(pair.verdict, "metric")[1]


@pytest.mark.parametrize(
    ("tried", "finding"),
    [
        (Driving(Tried((1.0, 2.0), 0, (13.0, 13.0), (12.8, 13.1)), None), Finding.DEPENDS_ON_LAUNCH),
        (Driving(None, Tried((0.0, 1.0), 0, (13.0, 13.2), (12.8, 13.3))), Finding.DEPENDS_ON_SHIFTS),
        (Driving(Tried((1.0, 2.0), 0, (13.0, 13.0), (12.8, 12.9)), None), Finding.HELPS),
        (Driving(Tried((1.0, 2.0), 0, (13.0, 13.0), (12.8, nan)), None), Finding.HELPS),
    ],
)
def test_a_gap_that_changes_its_sign_belongs_to_the_driver(tried: Driving, finding: Finding) -> None:
    case = compare(COUPE, cases=0).pairs[0].verdict.case
    helps = replace(case, full_gap=-0.2, held_gap=-0.2, grip_gaps=(-0.2, -0.2), driving=tried, rated=())
    verdict = judge(helps, 0.05)
    assert verdict.finding is finding
    assert ("but that depends on the" in sentences(verdict, "metric")[0]) == (finding is not Finding.HELPS)


def test_turned_twice_is_as_before() -> None:
    found = driving(COUPE, "peak", "plateau", goal(COUPE))
    assert found.turned().turned() == found
    assert found.launch is not None
    assert found.turned().launch is not None
    assert found.turned().launch.gaps == pytest.approx([-gap for gap in found.launch.gaps])  # type: ignore[union-attr]
