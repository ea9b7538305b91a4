"""Command and public function give one answer: the same JSON, number for number."""

from __future__ import annotations

import json
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import pytest

import simlaunch
from simlaunch.cli.main import answer
from simlaunch.output.as_json import dumps
from simlaunch.results import Result

Capture = pytest.CaptureFixture[str]
SCENARIOS = Path(__file__).parents[2] / "scenarios"
COUPE = SCENARIOS / "road-coupe.toml"
SHEET, LOG = SCENARIOS / "sheets" / "invented-wheel-sheet.csv", SCENARIOS / "sheets" / "invented-launch-log.csv"
SHORT = ("--set", 'run.until=["60 m"]')


@cache
def coupe() -> simlaunch.Scenario:
    """The coupe over a distance that every launch of these tests shares: short."""
    return simlaunch.load(COUPE).replace({"run.until": ["60 m"]})


STUDIES: dict[str, tuple[tuple[str, ...], Callable[[], Result]]] = {
    "run": ((str(COUPE), *SHORT, "--pedal", "held"), lambda: simlaunch.simulate(coupe(), pedal="held slip")),
    "compare": ((str(COUPE), *SHORT, "--cases", "64"), lambda: simlaunch.compare(coupe(), cases=64)),
    "usable": ((str(COUPE), *SHORT), lambda: simlaunch.usable(coupe())),
    "odds": ((str(COUPE), *SHORT, "--cases", "64"), lambda: simlaunch.odds(coupe(), cases=64)),
    "parts": ((str(COUPE), *SHORT), lambda: simlaunch.parts(coupe())),
    "curve": ((str(SHEET),), lambda: simlaunch.read_curve([SHEET])),
    "log": ((str(LOG),), lambda: simlaunch.read_log(LOG)),
}


@pytest.mark.parametrize("study", STUDIES)
def test_the_command_prints_what_the_function_returns(study: str, capsys: Capture) -> None:
    arguments, function = STUDIES[study]
    assert answer([study, *arguments, "--json", "--quiet"]) == 0
    found = function()
    assert json.loads(capsys.readouterr().out) == json.loads(dumps(found.to_dict()))
    assert found.to_dict()["format"] == f"simlaunch-{study}-1"


def test_a_report_states_the_verdict_of_the_comparison(tmp_path: Path) -> None:
    made = simlaunch.report(coupe(), tmp_path / "page.html", cases=64)
    compared = simlaunch.compare(coupe(), cases=64)
    assert made.summary() == compared.summary()
    assert made.material.comparison.to_dict() == compared.to_dict()
    found: dict[str, Any] = made.to_dict()
    pair = compared.to_dict()["pairs"][0]
    assert found["finding"] == pair["verdict"]["finding"]
    assert found["verdict"] == pair["verdict"]["sentences"]
    assert found["difference_s"] == pair["full"]["at_goal"]["gap_s"]


@pytest.mark.parametrize("units", ["metric", "us"])
def test_a_comparison_and_its_parts_show_themselves(units: str) -> None:
    found = simlaunch.compare(coupe(), cases=0)
    for each in (found, found.loads, found.usable):
        assert each.summary(units)
        assert repr(each).startswith(f"<simlaunch {each.study}: ")
        assert each._repr_html_().count("<table>") >= 2
        assert each.plot(units=units).get_xlabel()


def test_words_and_members_of_a_choice_mean_the_same() -> None:
    by_word = simlaunch.parts(coupe(), pedal="held slip")
    by_member = simlaunch.parts(coupe(), pedal=simlaunch.Pedal.HELD_SLIP)
    assert by_word.to_dict() == by_member.to_dict()
    with pytest.raises(simlaunch.UsageError, match='method "exact" is not known; write one of "compiled", "reference"'):
        simlaunch.compare(coupe(), method="exact")
