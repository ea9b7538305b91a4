"""Tests beside the goal of the run: named, described in a scenario, and used by studies."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from simlaunch.analysis.odds import odds
from simlaunch.analysis.worth import worth
from simlaunch.comparing.attribution import attribute
from simlaunch.comparing.compare import compare
from simlaunch.errors import ScenarioError, UsageError
from simlaunch.launching.road_tests import road_test_gaps
from simlaunch.launching.targets import road_tests, target_named
from simlaunch.metrics.marks import Kind, Roll
from simlaunch.output.words import sentences
from simlaunch.scenario.reading import load

SCENARIOS = Path(__file__).parents[2] / "scenarios"
COUPE = load(SCENARIOS / "road-coupe.toml")
IN_FIFTH = "roll 80 km/h to 120 km/h in gear 5"


def test_the_usual_tests_need_not_be_written() -> None:
    assert [test.label for test in road_tests(COUPE)] == [
        "roll 60 mph to 130 mph",
        "roll 100 km/h to 200 km/h",
        IN_FIFTH,
        "roll 80 km/h to 120 km/h in gear 6",
    ]


def test_a_scenario_describes_its_own() -> None:
    entry = {"name": "out of the bend", "from": "70 km/h", "to": "200 m", "gear": "3", "boost": "40 %"}
    again = {"from": "60 mph", "to": "130 mph"}
    found = road_tests(COUPE.replace({"tests": [entry, again]}))
    assert found[0].label == "out of the bend"
    assert (found[0].kind, found[0].end) == (Kind.ROLL_DISTANCE, 200.0)
    roll = found[0].roll
    assert roll is not None
    assert roll == Roll(roll.speed, 3, shifting=False, boost=0.4)
    assert roll.speed == pytest.approx(70.0 / 3.6)
    assert [test.label for test in found].count("roll 60 mph to 130 mph") == 1


@pytest.mark.parametrize(
    ("entry", "words"),
    [
        ({"from": "130 mph", "to": "60 mph"}, r"tests\[1\]\.to: .* is not above the speed"),
        ({"to": "60 mph", "gear": "2"}, r"tests\[1\]\.gear: applies to a rolling start only"),
        ({"from": "60 mph"}, r"tests\[1\]\.to: is missing"),
        ({"from": "60 mph", "to": "90 mph", "gear": "2.5"}, "is not a whole number"),
        ({"from": "60 m", "to": "90 mph"}, "is a length, but a speed is wanted"),
        ({"from": "60 mph", "to": "90 mph", "shifting": "maybe"}, "shifting"),
        ({"from": "60 mph", "to": "90 mph", "gear": "9"}, r"tests\[1\]\.gear: .* is above the number of gears, 6"),
        ({"from": "10 km/h", "to": "90 mph", "gear": "6"}, r"tests\[1\]\.from: .* turns the engine at"),
        ({"to": "60 mph", "boost": "50 %"}, r"tests\[1\]\.boost: applies to a rolling start only"),
    ],
)
def test_a_test_that_does_not_do_is_refused(entry: dict[str, str], words: str) -> None:
    with pytest.raises(ScenarioError, match=words):
        COUPE.replace({"tests": [entry]})


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("roll 60 mph to 20 mph", "is not above the speed"),
        ("roll 60 mph to 400 m", 'write "to" before a speed'),
        ("roll 60 to 130", "is no rolling start"),
        ("roll 60 mph to 130 mph in gear 99", "is no rolling start"),
        ("rolling", "no target is named"),
    ],
)
def test_a_target_that_does_not_do_is_refused(text: str, words: str) -> None:
    with pytest.raises(UsageError, match=words):
        target_named(COUPE, text)


def test_tests_that_differ_have_names_that_differ() -> None:
    entry = {"from": "60 mph", "to": "130 mph"}
    own = COUPE.replace({"tests": [entry | {"boost": "100 %"}, entry | {"shifting": "off"}]})
    labels = [test.label for test in road_tests(own)]
    assert labels[:2] == ["roll 60 mph to 130 mph, boost 100 %", "roll 60 mph to 130 mph, shifting off"]
    assert "roll 60 mph to 130 mph" not in labels  # the usual one gives way
    assert target_named(own, labels[0]).roll == road_tests(own)[0].roll
    with pytest.raises(ScenarioError, match="is also the name of another test"):
        COUPE.replace({"tests": [entry, entry]})


def test_an_own_test_keeps_its_name_from_a_usual_one() -> None:
    name = "roll 100 km/h to 200 km/h"
    own = COUPE.replace({"tests": [{"name": name, "from": "60 mph", "to": "90 mph"}]})
    assert [test.label for test in road_tests(own)].count(name) == 1
    assert target_named(own, name) == road_tests(own)[0]


def test_a_roll_without_a_gear_is_begun_in_the_gear_that_suits_each_curve() -> None:
    """No gear that a driver might take is quicker, and the gears are listed."""
    target = road_tests(COUPE)[0]
    (gap,) = road_test_gaps(COUPE, "peak", "plateau", [target])
    assert target.roll is not None
    for gear in (2, 3, 4):
        fixed = replace(target, roll=replace(target.roll, gear=gear))
        (other,) = road_test_gaps(COUPE, "peak", "plateau", [fixed])
        assert not other.first < gap.first - 1e-6
        assert not other.second < gap.second - 1e-6
        for which, time in enumerate((other.first, other.second)):
            assert (gap.gears[which] == gear) == (abs(time - (gap.first, gap.second)[which]) < 1e-6)


def test_studies_take_a_rolling_start_like_any_other() -> None:
    target = target_named(COUPE, IN_FIFTH)
    (gap,) = road_test_gaps(COUPE, "peak", "plateau", [target])
    assert gap.gap > 0.3  # in gear the higher peak is the quicker curve
    shares = attribute(COUPE, "peak", "plateau", target)
    assert shares is not None
    assert sum(span.full.share for span in shares.spans) == pytest.approx(gap.gap, abs=1e-6)
    drawn = odds(COUPE, "peak", "plateau", target=target, cases=64)
    assert drawn.first_quicker.share == 1.0
    paid = worth(COUPE, "peak", target=IN_FIFTH)
    assert paid.first.target == target


def test_compare_says_where_the_other_curve_wins() -> None:
    (pair,) = compare(COUPE, cases=0).pairs
    assert pair.verdict.case.won_elsewhere is not None
    first = sentences(pair.verdict, "metric")[0]
    assert f'; in "{IN_FIFTH}" "peak" is 0.' in first
    document = compare(COUPE, cases=0).to_dict()["pairs"][0]["tests"]
    assert [each["label"] for each in document] == [test.label for test in road_tests(COUPE)]
    assert document[2]["roll"] == {
        "speed_m_per_s": pytest.approx(80.0 / 3.6), "gear": 5, "shifting": "off", "boost_share": 0.0
    }  # fmt: skip
