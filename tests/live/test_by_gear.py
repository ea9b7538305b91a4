"""Limits by gear and weather on the page: kept in its launches, drawn, and saved."""

from __future__ import annotations

from pathlib import Path

import numpy as np

import simlaunch
from live.pages import copied
from simlaunch.metrics.full_load import full_load, limited_gears
from simlaunch.parameters.fill import lower
from simlaunch.record import Pedal
from simlaunch.shaping.answers import Answers
from simlaunch.shaping.saving import save_curve, save_scenario
from simlaunch.shaping.server import beginning
from simlaunch.shaping.states import Start, State, read_state

RPM = np.pi / 30.0


def _started(folder: Path) -> tuple[Start, State]:
    """The page of the invented roadster, shaped from the curve with boost by gear."""
    start = beginning(simlaunch.load(copied(folder, "hill-roadster.toml")), "boost by gear", "full boost", "metric")
    begun = Answers(start).begin()
    return start, read_state({"points": begun["points"], "against": "full boost", "tests": begun["shown_tests"][:1]})


def test_the_shaped_curve_keeps_limits_and_weather(tmp_path: Path) -> None:
    start, state = _started(tmp_path)
    scenario = start.scenario_of(state)
    car, own = (lower(scenario, name, Pedal.FULL) for name in (start.name, "boost by gear"))
    assert limited_gears(car) == limited_gears(own) == (1, 2)
    assert scenario.curve(start.name).weather == scenario.curve("boost by gear").weather
    speeds = np.array([2000.0, 4000.0, 6500.0]) * RPM
    for gear in (1, 2, 3):  # thinned out to within 0.4 % of the peak
        np.testing.assert_allclose(full_load(car, gear, speeds), full_load(own, gear, speeds), atol=0.004 * 410.0)


def test_the_page_draws_what_gears_allow(tmp_path: Path) -> None:
    start, state = _started(tmp_path)
    answer = Answers(start).quick(state)
    assert [each["gear"] for each in answer["limited"]] == [1, 2]
    highest = [max(torque for _, torque in each["line"]) for each in answer["limited"]]
    assert highest[1] == 360.0
    assert highest[0] < 320.0
    behind = answer["background"]["limited"]
    assert {(each["name"], each["gear"]) for each in behind} == {("boost by gear", 1), ("boost by gear", 2)}
    caps = [each["name"] for each in Answers(start).begin()["caps"]]
    assert {"cylinder pressure", "exhaust temperature", "power"} <= set(caps)


def test_what_is_saved_has_the_limits(tmp_path: Path) -> None:
    start, state = _started(tmp_path)
    curve = save_curve(start, state, "by-hand").read_text(encoding="utf-8")
    assert "# limit in gear 2: 360 N m" in curve
    assert "engine speed [rpm],torque [N m],gear 1 [N m]" in curve
    saved = simlaunch.load(save_scenario(start, state, "by-hand"))
    expected = start.scenario_of(state)
    shaped = saved.curve(start.name)
    assert shaped.gear_limits == expected.curve(start.name).gear_limits
    assert shaped.weather == expected.curve(start.name).weather
