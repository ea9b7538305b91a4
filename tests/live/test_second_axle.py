"""The live page lets the capacity of the clutch of a second axle be changed, where a car has one."""

from __future__ import annotations

from pathlib import Path

import pytest

from simlaunch.scenario.reading import load
from simlaunch.shaping.states import sliders
from simlaunch.units.spelling import System

SCENARIOS = Path(__file__).parents[2] / "scenarios"


def test_a_slider_changes_the_capacity() -> None:
    scenario = load(SCENARIOS / "clutch-hatch.toml")
    slider = next(each for each in sliders(scenario, System.METRIC) if each.key == "second-axle")
    assert (slider.low, slider.high, slider.value, slider.unit) == (0.0, 1000.0, 500.0, "N m")
    changed = scenario.replace(slider.changes(scenario, 800.0)).drive.second_axle
    assert changed is not None
    assert changed.capacity.si == pytest.approx(800.0)


def test_other_cars_have_no_such_slider() -> None:
    found = sliders(load(SCENARIOS / "all-drive-grip.toml"), System.METRIC)
    assert "second-axle" not in {each.key for each in found}
