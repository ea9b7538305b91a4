"""What reads well but could not be run is refused where it is written."""

from __future__ import annotations

from typing import Any

import pytest

from simlaunch.errors import ScenarioError
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.reading import from_mapping
from simlaunch.units.spelling import Dimension


def test_a_shift_needs_time_for_its_speeds_to_change(sound: dict[str, Any]) -> None:
    for shift in (
        {"kind": "torque gap", "gap": "0 s"},
        {"kind": "torque hand-over", "inertia_phase": "0 s"},
        {"kind": "torque dip", "inertia_phase": "0 s"},
    ):
        sound["gearbox"]["shift"] = shift
        with pytest.raises(ScenarioError, match='"0 s" is below 1 ms'):
            from_mapping(sound, "test")


def test_an_engine_that_stands_still_does_not_idle(sound: dict[str, Any]) -> None:
    sound["engine"]["idle"] = "0 rpm"
    sound["launch"]["engine_speed"] = "0 rpm"
    with pytest.raises(ScenarioError, match=r'engine\.idle: "0 rpm" is below 100 rpm'):
        from_mapping(sound, "test")


def test_a_converter_may_not_make_power_between_its_points(sound: dict[str, Any]) -> None:
    """0.4 x 2.5 and 0.9 x 1.11 are both at most 1; the curve through the points is not."""
    sound["coupling"] = {
        "kind": "torque converter",
        "speed_ratio": ["0", "0.4", "0.9"],
        "capacity_factor": ["130 rpm/sqrt(lbf ft)"] * 3,
        "torque_ratio": ["3", "2.5", "1.11"],
    }
    sound["gearbox"]["shift"] = {"kind": "torque dip"}
    with pytest.raises(ScenarioError, match=r"between its points, by 1\d\.\d% at speed ratio 0\.[56]"):
        from_mapping(sound, "test")


@pytest.mark.parametrize(("typed", "length"), [("1/4 mile", 402.336), ("1/8 mile", 201.168)])
def test_the_trade_s_fractions_of_a_mile_are_distances(sound: dict[str, Any], typed: str, length: float) -> None:
    """1 mile = 1609.344 m (40 CFR 1066.20)."""
    sound["run"] = {"until": [typed], "marks": [typed]}
    scenario: Scenario = from_mapping(sound, "test")
    assert scenario.run.goal(Dimension.LENGTH) == length
    assert scenario.run.until[0].text == typed
