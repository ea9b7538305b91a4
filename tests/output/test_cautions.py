"""What is said wherever it matters: cautions of a road whose sides differ, and what one half shaft alone may carry."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path

import pytest

import simlaunch
from searching import brief
from simlaunch.output.words import CAUTION
from simlaunch.results import Result
from simlaunch.scenario.model import UNLIKE_SIDES, Scenario, warnings
from simlaunch.shaping.answers import Answers
from simlaunch.shaping.server import beginning
from simlaunch.shaping.states import read_state

Study = Callable[[Scenario], Result]

FILE = Path(__file__).parents[2] / "scenarios" / "road-coupe.toml"
SHAFT = (
    "Behind a differential that locks, one rear half shaft alone may carry up to 70.0 % of the torque stated for both "
    "and 40 N m more; hold that against the rating of a single shaft."
)
SPLIT = {"road.right_friction_factor": "0.6"}
LIMITED = {**SPLIT, "drive.locking": "40 %", "drive.locking_preload": "80 N m"}


@cache
def coupe() -> Scenario:
    return simlaunch.load(FILE).replace({"run.until": ["20 m"], "gear_sets": None, "tests": None})


def briefly(scenario: Scenario) -> Result:
    with brief():
        return simlaunch.plateau(scenario)


STUDIES: dict[str, Study] = {
    "run": simlaunch.simulate,
    "compare": lambda scenario: simlaunch.compare(scenario, cases=0),
    "parts": simlaunch.parts,
    "odds": lambda scenario: simlaunch.odds(scenario, "peak", "plateau", cases=64),
    "worth": lambda scenario: simlaunch.worth(scenario, bands=2),
    "plateau": briefly,
    "sweep": lambda scenario: simlaunch.sweep(scenario, vary=["curve"]),
}


def said(study: Study, changes: dict[str, str]) -> str:
    return " ".join(study(coupe().replace(changes)).to_text().split())


@pytest.mark.parametrize("study", STUDIES.values(), ids=STUDIES)
def test_every_study_of_launches_cautions_of_a_road_whose_sides_differ(study: Study) -> None:
    text = said(study, SPLIT)
    assert f"Caution: {CAUTION} On this road {UNLIKE_SIDES}." in text
    assert text.count("yaw and steering are not modelled") == 1


@pytest.mark.parametrize("study", STUDIES.values(), ids=STUDIES)
def test_no_study_cautions_of_it_where_both_sides_grip_alike(study: Study) -> None:
    text = said(study, {"body.left_weight_share": "51 %"})
    assert f"Caution: {CAUTION}" in text
    assert "yaw" not in text


def test_check_says_the_same() -> None:
    assert f"road: {UNLIKE_SIDES}" in warnings(coupe().replace(SPLIT))


def test_a_sweep_over_roads_cautions_where_some_have_sides_that_differ() -> None:
    surfaces = [{"name": "wet on the right", "surface": "dry asphalt", "right_friction_factor": "0.6"}]
    for vary in ("surface: wet on the right, dry asphalt", "road.right_friction_factor: 0.6, 1"):
        found = simlaunch.sweep(coupe().replace({"surfaces": surfaces}), vary=[vary])
        assert f"In some of these launches {UNLIKE_SIDES}." in " ".join(found.to_text().split())


@pytest.mark.parametrize("name", ["compare", "parts", "plateau"])
def test_where_torque_of_shafts_is_stated_so_is_what_one_of_them_may_carry(name: str) -> None:
    """T_high = (1 + S) / 2 T + P / 2. Source: definition of the locking value, common practice."""
    assert said(STUDIES[name], LIMITED).count(SHAFT) == 1
    assert "half shaft alone" not in said(STUDIES[name], SPLIT)


def test_the_live_page_says_both_with_each_answer() -> None:
    """And follows what is set on the page: a slider may lock the axle."""
    start = beginning(coupe().replace({**LIMITED, "drive.locking": "20 %"}), None, None, "metric")
    answers, begun = Answers(start), Answers(start).begin()
    state = read_state({"points": begun["points"], "against": begun["against"], "tests": [], "values": {"locking": 40}})
    answer = answers.exact(state)
    assert answer["caution"] == begun["caution"] == f"{CAUTION} On this road {UNLIKE_SIDES}."
    [note] = [table["note"] for table in answer["tables"] if "note" in table]
    assert note == SHAFT
    plain = Answers(beginning(coupe(), None, None, "metric"))
    assert plain.begin()["caution"] == CAUTION
    quick = plain.quick(read_state({"points": begun["points"], "against": begun["against"], "tests": []}))
    assert [table["note"] for table in quick["tables"] if "note" in table] == [""]
