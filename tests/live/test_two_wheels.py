"""The locking value on the live page, where the scenario says how the wheels of an axle differ."""

from __future__ import annotations

from pathlib import Path

from simlaunch.scenario.reading import load
from simlaunch.shaping.states import sliders
from simlaunch.units.spelling import System

COUPE = load(Path(__file__).parents[2] / "scenarios" / "road-coupe.toml")


def test_a_slider_changes_the_locking_value_of_wheels_that_differ() -> None:
    split = COUPE.replace({"road.right_friction_factor": "0.6"})
    slider = next(each for each in sliders(split, System.METRIC) if each.key == "locking")
    assert (slider.low, slider.high, slider.value, slider.unit) == (0.0, 100.0, 0.0, "%")
    assert (
        split.replace(slider.changes(split, 40.0)).drive.locking
        == COUPE.replace({"drive.locking": "40 %"}).drive.locking
    )
    stated = split.replace({"drive.locking": "25 %"})
    assert next(each for each in sliders(stated, System.METRIC) if each.key == "locking").value == 25.0


def test_wheels_that_are_alike_have_none() -> None:
    assert "locking" not in [each.key for each in sliders(COUPE, System.METRIC)]
