"""Limits over engine speed that a user brings: as torque, mean pressure or power, from a table or a file."""

from __future__ import annotations

import shutil
from math import pi
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from searching import brief
from simlaunch.analysis.plateau import plateau
from simlaunch.errors import InputError, ScenarioError, TargetNotReached
from simlaunch.output.plateau import verdict
from simlaunch.ratings.limits import POWER, limits_of
from simlaunch.scenario.curve_file import read_limit
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.reading import from_mapping, load
from simlaunch.searching.plateau_search_space import LIFTED, SAME_TIME
from simlaunch.units.spelling import System

SCENARIOS = Path(__file__).parents[2] / "scenarios"
COUPE = load(SCENARIOS / "road-coupe.toml").replace({"uncertain": None, "parts": None, "run.until": ["60 m"]})
RPM = pi / 30.0
ORIGIN = {"origin": "invented"}


def _with(*curves: dict[str, Any], **limits: object) -> Scenario:
    return COUPE.replace({"limits": {"curves": [ORIGIN | each for each in curves], **limits}})


def _limit(name: str, *values: str) -> dict[str, Any]:
    speeds = ("1000 rpm", "4000 rpm", "6900 rpm")
    return {"name": name, "points": [list(each) for each in zip(speeds, values, strict=True)]}


def test_torque_pressure_and_power_cap_the_torque() -> None:
    """T = p V / (4 pi) of a four-stroke engine; T = P / w. Source: definitions."""
    scenario = _with(
        _limit("knock", "300 N m", "400 N m", "350 N m"),
        _limit("cylinder pressure", "15 bar", "20 bar", "18 bar"),
        _limit("exhaust temperature", "40 kW", "160 kW", "200 kW"),
    )
    speeds = np.array([1000.0, 4000.0, 6900.0, 7500.0]) * RPM
    caps = limits_of(scenario, {}).caps(speeds)
    np.testing.assert_allclose(caps["knock"], [300.0, 400.0, 350.0, 350.0])  # held beyond its ends
    volume = 2400e-6
    np.testing.assert_allclose(caps["cylinder pressure"][:3], np.array([15e5, 20e5, 18e5]) * volume / (4.0 * pi))
    np.testing.assert_allclose(caps["exhaust temperature"], np.array([40e3, 160e3, 200e3, 200e3]) / speeds)
    eased = limits_of(scenario, {}).eased(LIFTED, ("knock",)).caps(speeds)
    np.testing.assert_allclose(eased["knock"], LIFTED * caps["knock"])
    np.testing.assert_array_equal(eased["cylinder pressure"], caps["cylinder pressure"])
    np.testing.assert_allclose(limits_of(scenario, {}).eased(2.0).caps(speeds)["knock"], 2.0 * caps["knock"])


@pytest.mark.slow
def test_a_level_limit_of_power_is_the_cap_of_power() -> None:
    """Two ways to say the same give the same plateau."""
    with brief():
        by_key = plateau(_with(power="200 kW"), wish="plateau")
        by_curve = plateau(_with(_limit("compressor", "200 kW", "200 kW", "200 kW")), wish="plateau")
    np.testing.assert_allclose(by_curve.first.torque, by_key.first.torque, rtol=1e-9)
    assert {name.replace("compressor", POWER) for name in by_curve.first.binding} == set(by_key.first.binding)
    assert by_curve.first.gains.get("compressor") == by_key.first.gains.get(POWER)


@pytest.mark.slow
def test_the_limit_that_binds_is_named_and_proved_by_a_launch() -> None:
    """Raising the one that is named saves time; raising the other, far above the curve, saves none."""
    tight, loose = _limit("cylinder pressure", "12 bar", "15 bar", "14 bar"), _limit("knock", *["900 N m"] * 3)
    found = plateau(_with(tight, loose, power="300 kW"), wish="plateau")
    assert "cylinder pressure" in found.first.binding
    assert not any(name.startswith("knock") for name in found.first.binding)
    saving = found.first.gains["cylinder pressure"]
    assert saving > SAME_TIME
    assert "knock" not in found.first.gains
    pressures = [f"{float(LIFTED) * bar:.6g} bar" for bar in (12.0, 15.0, 14.0)]
    lifted = plateau(_with(_limit("cylinder pressure", *pressures), loose, power="300 kW"), wish="plateau")
    assert found.first.quickest.score - lifted.first.quickest.score == pytest.approx(saving, abs=0.01)
    (said,) = [each for each in verdict(found, System.METRIC) if "10 % more" in each]
    assert '10 % more torque within "cylinder pressure" makes the quickest plateau at least' in said
    assert set(found.first.measured) == {"cylinder pressure", "knock"}


def test_a_limit_that_lets_no_car_go_says_which() -> None:
    with pytest.raises(TargetNotReached, match="soot"):
        plateau(_with(_limit("soot", "0 N m", "1 N m", "1 N m")), wish="plateau")


@pytest.mark.parametrize(
    ("curve", "told"),
    [
        (_limit("power", *["300 N m"] * 3), r'name: "power" is the name of a limit of its own'),
        (_limit("knock", "300 N m", "20 bar", "300 N m"), r'points\[2\]: "20 bar" is no torque, as the first point is'),
        (_limit("knock", "0 N m", "0 N m", "0 N m"), r"points: allow no torque at all"),
        (_limit("knock", "-1 bar", "1 bar", "1 bar"), r'"-1 bar" is below'),
        (_limit("knock", "300 km/h", "1 bar", "1 bar"), r'"300 km/h" is a speed'),
        (
            {"name": "knock", "points": [["2000 rpm", "20 bar"], ["1000 rpm", "20 bar"]]},
            r"is below the speed before it",
        ),
        ({"name": "knock", "points": [["2000 rpm", "20 bar"]]}, r"points: has 1 values; give at least 2"),
        ({"name": "knock"}, r"points: is missing"),
        (_limit("knock", *["20 bar"] * 3) | {"origin": None}, r"origin: "),
        (_limit("knock", *["20 bar"] * 3) | {"kind": "x"}, r'kind: "x" is not a known key'),
    ],
)
def test_a_limit_that_cannot_be_is_refused(curve: dict[str, Any], told: str) -> None:
    with pytest.raises(InputError, match=told):
        _with(curve)


def test_limits_are_told_apart_and_a_mean_pressure_needs_the_displacement() -> None:
    one = _limit("knock", *["20 bar"] * 3)
    with pytest.raises(InputError, match=r'limits\.curves\[2\]\.name: "knock" is the name of an earlier one'):
        _with(one, one)
    data = _with(one).model_dump(exclude_unset=True)
    del data["engine"]["displacement"]
    with pytest.raises(ScenarioError, match=r"says nothing without the displacement; give engine\.displacement"):
        from_mapping(data, "tables")


# --- files ---


def test_the_invented_car_reads_a_limit_from_a_file(tmp_path: Path) -> None:
    shutil.copytree(SCENARIOS, tmp_path, dirs_exist_ok=True)
    scenario = load(tmp_path / "hill-roadster.toml")
    assert scenario.limits is not None
    assert [each.name for each in scenario.limits.curves or ()] == ["cylinder pressure", "exhaust temperature"]
    caps = limits_of(scenario, {}).caps(np.array([3500.0]) * RPM)
    np.testing.assert_allclose(caps["cylinder pressure"], 25.5e5 * 1990e-6 / (4.0 * pi))
    file = tmp_path / "limits" / "roadster-cylinder-pressure.csv"
    file.write_text(file.read_text(encoding="utf-8").replace("[bar]", "[degC]"), encoding="utf-8")
    with pytest.raises(
        ScenarioError, match=r"limits\.curves\[1\].*is no header of two columns, engine speed and a limit"
    ):
        load(tmp_path / "hill-roadster.toml")


@pytest.mark.parametrize(
    ("unit", "value"), [("N m", "300 N m"), ("bar", "300 bar"), ("kW", "300 kW"), ("hp", "300 hp")]
)
def test_a_file_in_any_of_the_kinds(unit: str, value: str) -> None:
    found = read_limit(f"# note: mine\nspeed [rpm],most [{unit}]\n1000,300\n2000,200\n", "x.csv")
    assert found["points"][0] == ("1000 rpm", f"300 {unit}")
    assert found["note"] == "mine"


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "the file is empty"),
        ("# correction: SAE J1349\nspeed [rpm],most [bar]\n1000,3\n2000,2\n", 'write "# origin: ...", "# note: ..."'),
        ("speed [rpm],most [bar],gear 1 [bar]\n1000,3,3\n2000,2,2\n", "is no header of two columns"),
        ("speed [rpm],most [bar]\n1000,3\n", "holds 1 point"),
        ("speed [rpm],most [bar]\n1000,3\n2000,x\n", 'line 3: "x"'),
        ("speed [rpm],most [bar]\n2000,3\n1000,2\n", "is below the speed before it"),
    ],
)
def test_a_file_that_cannot_be_read_says_why(text: str, told: str) -> None:
    with pytest.raises(ScenarioError) as caught:
        read_limit(text, "x.csv")
    assert told in str(caught.value)
