"""JSON that any parser takes: format first, SI units in the keys, null for what was not reached."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import cache
from math import nan
from typing import Any

import pytest

from output.compared import SCENARIOS, comparison, scenario
from simlaunch.analysis.check import check
from simlaunch.analysis.curve import read_curve
from simlaunch.analysis.log import read_log
from simlaunch.analysis.usable import usable
from simlaunch.errors import Fault
from simlaunch.fitting.fit import fit
from simlaunch.fitting.logs import LogRequest
from simlaunch.fitting.result import Fit
from simlaunch.output.as_json import dumps
from simlaunch.output.check import faults_object
from simlaunch.output.words import sentences
from simlaunch.quantities import reported
from simlaunch.readers.curve import CurveOptions
from simlaunch.readers.log import LogOptions, Role
from simlaunch.results import Result
from simlaunch.simulation.channels import DERIVED_CHANNELS, SIDES, STATE_CHANNELS, WHEEL_CHANNELS

COUPE = "road-coupe"
SHEETS = SCENARIOS / "sheets"
_UNITLESS = re.compile(
    r"rows|cases|too_much|no_reason|noise|deviation|outlier|left_out|value|flagged|peak_bound|ratio|gear|steps|share|slip|factor|bad|boost|sound|reached|doubt|rejected|humidity|_slip_(front|rear)"
)
_UNIT = re.compile(r"_(s|m|m3|J|N|N_m|Pa|W|rad|kg|m_per_s2?|rad_per_s|kg_per_m3|kg_per_s|kg_per_J|rpm)$")


def _strict(text: str) -> Any:
    def refuse(name: str) -> Any:
        raise ValueError(name)

    return json.loads(text, parse_constant=refuse)


def _numbers(value: Any, key: str = "") -> Iterator[tuple[str, float]]:
    if isinstance(value, dict):
        for name, inner in value.items():
            yield from _numbers(inner, name)
    elif isinstance(value, list):
        for inner in value:
            yield from _numbers(inner, key)
    elif isinstance(value, int | float):
        yield key, value


@cache
def _fitted() -> Fit:
    log = LogRequest(SHEETS / "invented-fit-log.csv")
    return fit(scenario(COUPE), [log, log], ("friction", "shift time"), left_out=1, starts=1)


_RESULTS: dict[str, Callable[[], Result]] = {
    "curve": lambda: read_curve(
        [SHEETS / "invented-wheel-sheet.csv"], CurveOptions(leave_out=(3,)), displacement=2.4e-3
    ),
    "log": lambda: read_log(SHEETS / "invented-launch-log.csv", LogOptions(radii=(0.32, 0.32))),
    "compare": lambda: comparison(COUPE),
    "run": lambda: comparison(COUPE).runs[0].full,
    "usable": lambda: usable(scenario(COUPE)),
    "fit": _fitted,
    "check": lambda: check(scenario(COUPE)),
}
_WITH_HISTORIES = ("log", "run")


def _made(kind: str) -> str:
    """The document, made anew."""
    options = {"trace": True} if kind in _WITH_HISTORIES else {}
    return dumps(_RESULTS[kind]().to_dict(**options))


_document = cache(_made)


@pytest.mark.parametrize("kind", _RESULTS)
def test_every_document_is_strict_sorted_and_versioned(kind: str) -> None:
    text = _document(kind)
    assert text.isascii()
    found = _strict(text)
    keys = list(found)
    assert keys[0] == "format"
    assert found["format"] == f"simlaunch-{kind}-1"
    assert keys[1:] == sorted(keys[1:])
    assert text == _made(kind)


@pytest.mark.parametrize("kind", _RESULTS)
def test_every_number_names_its_unit_or_has_none(kind: str) -> None:
    for key, _ in _numbers(_strict(_document(kind))):
        assert _UNIT.search(key) or _UNITLESS.search(key), key


def test_every_channel_is_in_the_table_of_quantities() -> None:
    wheels = {f"{name}_{axle}_{side}" for name in WHEEL_CHANNELS for axle in ("front", "rear") for side in SIDES}
    named = {*STATE_CHANNELS, *DERIVED_CHANNELS, *wheels, *(role.value for role in Role)}
    assert named == set(reported("channel"))


def test_what_was_not_reached_is_null() -> None:
    launch = comparison(COUPE).runs[0].full
    mark = replace(launch.measures.marks[0], time=nan, speed=float("inf"))
    lame = replace(launch, measures=replace(launch.measures, marks=(mark,)))
    shown = _strict(dumps(lame.to_dict()))["marks"][0]
    assert shown["time_s"] is None
    assert shown["speed_m_per_s"] is None


def test_numbers_are_those_of_the_result() -> None:
    found = comparison(COUPE)
    shown = _strict(_document("compare"))
    pair, verdict = shown["pairs"][0], found.pairs[0].verdict
    assert pair["full"]["at_goal"]["gap_s"] == found.pairs[0].full.at_goal.gap
    assert pair["verdict"]["finding"] == verdict.finding.name.lower()
    assert pair["verdict"]["sentences"] == list(sentences(verdict, "metric"))
    assert [runs["curve"] for runs in shown["runs"]] == ["peak", "plateau"]
    assert shown["runs"][0]["full"]["energy"]["bad"] is False


def test_histories_come_only_when_asked_for() -> None:
    launch = comparison(COUPE).runs[0].full
    assert "trace" not in launch.to_dict()
    trace = _strict(_document("run"))["trace"]
    assert {"time_s", "speed_m_per_s", "engine_torque_N_m", "slip_rear", "drag_work_J", "gear"} <= set(trace)
    assert {len(values) for values in trace.values()} == {len(launch.run.trace.time)}


def test_faults_keep_their_parts() -> None:
    shown = faults_object("a.toml", (Fault("body.mass", '"5"', "has no unit", 'write "5 kg"'),))
    assert _strict(dumps(shown)) == {
        "format": "simlaunch-check-1",
        "sound": False,
        "source": "a.toml",
        "faults": [{"place": "body.mass", "typed": '"5"', "why": "has no unit", "instead": 'write "5 kg"'}],
    }
