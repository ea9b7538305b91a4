"""What defaults move: against launches made one by one, and in the right order."""

from __future__ import annotations

from math import inf, isnan
from pathlib import Path

import pytest

import simlaunch
from simlaunch.metrics.crossing import first_time
from simlaunch.uncertainty.influence import influences

COUPE = Path(__file__).parents[2] / "scenarios" / "road-coupe.toml"
PEDALS = (simlaunch.Pedal.FULL, simlaunch.Pedal.HELD_SLIP)
QUARTER = 402.336


@pytest.fixture(scope="module")
def coupe() -> simlaunch.Scenario:
    return simlaunch.load(COUPE)


def _times(scenario: simlaunch.Scenario) -> dict[tuple[str, int], float]:
    """Times by curve and pedal of launches made one by one at the usual tolerance."""
    curves = scenario.curve_names[:2]
    runs = {(c, p): simlaunch.simulate(scenario, c, p).run for c in curves for p in PEDALS}
    return {key: first_time(run.trace, "distance", QUARTER) for key, run in runs.items()}


@pytest.mark.parametrize(
    ("key", "values"),
    [
        ("road.friction_factor", ("0.9", "1.1")),
        ("engine.boost_decay_time", ("0.2 s", "0.5 s")),
        ("drive.half_shafts", ("elastic", "rigid")),
        ("body.mass", ("1500 kg", "1700 kg")),
    ],
)
def test_what_a_value_moves_is_what_single_launches_say(
    coupe: simlaunch.Scenario, key: str, values: tuple[str, str]
) -> None:
    base = _times(coupe)
    first, second = coupe.curve_names[:2]
    time = gap = 0.0
    for value in values:
        found = _times(coupe.replace({key: value}))
        time = max(time, *(abs(found[case] - base[case]) for case in base))
        for pedal in PEDALS:
            before, after = (each[second, pedal] - each[first, pedal] for each in (base, found))
            gap = max(gap, abs(after - before))
    moved = influences(coupe, {key: values})[key]
    # launches at the tolerance of sweeps lie within half a millisecond; a change is the difference of two
    assert moved.time == pytest.approx(time, abs=1e-3)
    assert moved.gap == pytest.approx(gap, abs=2e-3)


def test_defaults_stand_in_the_order_of_what_they_move(coupe: simlaunch.Scenario) -> None:
    found = simlaunch.check(coupe)
    times = [found.influence[each.key].time for each in found.defaults if each.key in found.influence]
    known = [time for time in times if not isnan(time)]
    assert len(known) > 30
    assert known == sorted(known, reverse=True)
    assert known[0] > 0.1 > 1e-9 > known[-1]
    assert found.defaults[0].key == "road.friction_factor"
    unranked = [each.key in found.influence for each in found.defaults]
    assert unranked == sorted(unranked, reverse=True)


def test_the_default_of_the_car_itself_moves_nothing(coupe: simlaunch.Scenario) -> None:
    moved = influences(coupe, {"body.pitch_frequency": ("1.5 Hz", "1.5 Hz")})
    assert (moved["body.pitch_frequency"].time, moved["body.pitch_frequency"].gap) == (0.0, 0.0)


def test_a_value_that_the_scenario_cannot_have_is_not_known(coupe: simlaunch.Scenario) -> None:
    """The coupe states an altitude, beside which no pressure may stand."""
    assert isnan(influences(coupe, {"air.pressure": ("98 kPa",)})["air.pressure"].time)


def test_one_end_alone_says_nothing(coupe: simlaunch.Scenario) -> None:
    """A locked centre is refused beside a share in front, and the open one is what the car has."""
    car = coupe.replace({"drive": {"driven": "all", "front_share": "40 %"}})
    assert isnan(influences(car, {"drive.centre": ("open", "locked")})["drive.centre"].time)


def test_a_value_that_keeps_the_car_from_its_goal_is_infinite(coupe: simlaunch.Scenario) -> None:
    hurried = coupe.replace({"run.time_limit": "15 s"})
    moved = influences(hurried, {"road.grade": ("0 %", "40 %")})["road.grade"]
    assert moved.time == inf
    assert isnan(moved.gap)
    found = simlaunch.check(coupe.replace({"run.time_limit": "0.2 s"}))
    assert all(isnan(each.time) for each in found.influence.values())


def test_a_single_curve_has_no_gap(coupe: simlaunch.Scenario) -> None:
    alone = coupe.replace({"curves": [coupe.curve("peak")]})
    moved = influences(alone, {"road.friction_factor": ("0.9", "1.1")})["road.friction_factor"]
    assert moved.time > 0.1
    assert isnan(moved.gap)


@pytest.mark.parametrize(
    ("power", "altitude", "words"),
    [
        ("150 kW", "0 m", "more than its compressor limit of 150 kW allows in the same air"),
        ("500 kW", "1500 m", "it takes no torque there"),
        ("275 kW", "2500 m", ""),
    ],
)
def test_a_compressor_that_contradicts_its_curve_or_takes_nothing_is_named(
    power: str, altitude: str, words: str
) -> None:
    roadster = simlaunch.load(COUPE.with_name("hill-roadster.toml")).replace({"air": {"altitude": altitude}})
    own = roadster.curve("full boost").model_dump(exclude_unset=True)
    limited = own | {"weather": {"kind": "compressor limit", "power": power}}
    said = [each for each in simlaunch.check(roadster.replace({"curves": [limited]})).warnings if "compressor" in each]
    assert [words in each for each in said] == ([True] if words else [])
