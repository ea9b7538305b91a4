"""Torque limits by gear as a user writes them: in tables, in files, and wrongly."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from simlaunch.errors import InputError, ScenarioError
from simlaunch.metrics.full_load import full_load, limited_gears, most_torque
from simlaunch.parameters.fill import lower
from simlaunch.record import MAX_GEAR_POINTS, Pedal
from simlaunch.scenario.curve_file import read_conditions, read_gear_curves
from simlaunch.scenario.model import Scenario, warnings
from simlaunch.scenario.reading import load

SCENARIOS = Path(__file__).parents[2] / "scenarios"
COUPE = load(SCENARIOS / "road-coupe.toml")
RPM = np.pi / 30.0
POINTS = [["2000 rpm", "250 N m"], ["4000 rpm", "330 N m"], ["6900 rpm", "300 N m"]]


def _limited(*limits: dict[str, Any], **changes: object) -> Scenario:
    own = COUPE.curve("plateau").model_dump(exclude_unset=True)
    return COUPE.replace({"curves": [own | {"gear_limits": list(limits)}], **changes})


def test_a_limit_takes_off_the_top_in_its_gear_alone() -> None:
    car = lower(_limited({"gear": "1", "torque": "300 N m"}, {"gear": "2", "torque": POINTS}), "plateau", Pedal.FULL)
    plain = lower(COUPE, "plateau", Pedal.FULL)
    speed = np.array([1000.0, 2000.0, 4000.0, 6900.0]) * RPM
    curve = full_load(plain, 1, speed)
    np.testing.assert_allclose(full_load(car, 1, speed), np.minimum(curve, 300.0), rtol=1e-12)
    np.testing.assert_allclose(full_load(car, 2, speed), np.minimum(curve, [250.0, 250.0, 330.0, 300.0]), rtol=1e-12)
    assert full_load(car, 3, speed).tobytes() == curve.tobytes()
    assert most_torque(car, speed).tobytes() == curve.tobytes()
    assert limited_gears(car) == (1, 2)
    assert limited_gears(plain) == ()


def test_the_invented_car_reads_its_gears_from_a_file() -> None:
    """Scenario and file as printed in the repository."""
    scenario = load(SCENARIOS / "hill-roadster.toml")
    car = lower(scenario, "boost by gear", Pedal.FULL)
    assert limited_gears(car) == (1, 2)
    assert limited_gears(lower(scenario, "full boost", Pedal.FULL)) == ()  # gear_limits = [] takes them away
    assert car.engine.gear_limit[1] == 360.0
    np.testing.assert_allclose(full_load(car, 1, np.array([4000.0]) * RPM), 300.0, rtol=1e-12)


def test_a_gear_may_stand_in_a_file_of_its_own(tmp_path: Path) -> None:
    shutil.copytree(SCENARIOS, tmp_path, dirs_exist_ok=True)
    (tmp_path / "first.csv").write_text("engine speed [rpm],torque [lb-ft]\n1000,150\n6900,220\n", encoding="utf-8")
    file = 'file = "curves/road-coupe-plateau.csv"\n'
    limited = f'{file}gear_limits = [{{ gear = "1", file = "first.csv" }}]\n'
    text = (SCENARIOS / "road-coupe.toml").read_text(encoding="utf-8").replace(file, limited)
    (tmp_path / "road.toml").write_text(text, encoding="utf-8")
    car = lower(load(tmp_path / "road.toml"), "plateau", Pedal.FULL)
    np.testing.assert_allclose(full_load(car, 1, np.array([6900.0]) * RPM), 220.0 * 1.3558179483314004, rtol=1e-12)
    other = "# correction: SAE J607\nspeed [rpm],torque [N m]\n1000,150\n6900,220\n"
    (tmp_path / "first.csv").write_text(other, encoding="utf-8")
    with pytest.raises(ScenarioError, match="states correction SAE J607, and the curve states none"):
        load(tmp_path / "road.toml")


@pytest.mark.parametrize(
    ("limit", "told"),
    [
        ({"gear": "7", "torque": "300 N m"}, r'gear: "7" is above the number of gears, 6; write 1 to 6, or leave'),
        ({"gear": "13", "torque": "300 N m"}, r'gear: "13" is above 12'),
        ({"gear": "0", "torque": "300 N m"}, r'gear: "0" is below 1'),
        ({"gear": "1.5", "torque": "300 N m"}, r'gear: "1.5" is not a whole number'),
        ({"gear": "first", "torque": "300 N m"}, r'gear: "first"'),
        ({"torque": "300 N m"}, r"gear: is missing"),
        ({"gear": "1"}, r"torque: is missing"),
        ({"gear": "1", "torque": "-20 N m"}, r'torque: "-20 N m" is below 0 N m'),
        ({"gear": "1", "torque": "0 N m"}, r"torque: lets no torque through at all"),
        ({"gear": "1", "torque": "300 kW"}, r'torque: "300 kW" is a power, but a torque is wanted'),
        ({"gear": "1", "torque": [["1000 rpm", "24 bar"], ["2000 rpm", "24 bar"]]}, r'"24 bar" is a pressure'),
        ({"gear": "1", "torque": [["3000 rpm", "300 N m"], ["2000 rpm", "300 N m"]]}, r"is below the speed before it"),
        ({"gear": "1", "torque": [[f"{1000 + k} rpm", "9 N m"] for k in range(MAX_GEAR_POINTS + 1)]},
         r"torque: has 65 values; give at most 64"),
        ({"gear": "1", "torque": "300 N m", "boost": "1 bar"}, r'boost: "1 bar" is not a known key'),
        ({"gear": 1, "torque": "300 N m"}, r"is a bare number"),
    ],
)  # fmt: skip
def test_a_limit_that_cannot_be_is_refused(limit: dict[str, Any], told: str) -> None:
    with pytest.raises(InputError, match=rf"curves\[1\]\.gear_limits\[1\]\.?.*{told}"):
        _limited(limit)


def test_a_gear_is_limited_once() -> None:
    with pytest.raises(InputError, match=r'gear_limits\[2\]\.gear: "1" is given twice; keep one per gear'):
        _limited({"gear": "1", "torque": "300 N m"}, {"gear": "1", "torque": "200 N m"})


def test_a_gear_set_with_fewer_gears_leaves_a_limit_unused() -> None:
    five = {"name": "five", "ratios": ["3.4", "2.1", "1.4", "1.1", "0.9"]}
    scenario = _limited({"gear": "6", "torque": "300 N m"}, gear_sets=[five])
    shorter = scenario.replace(scenario.changes_to("gear set", "five"))  # type: ignore[arg-type]
    assert limited_gears(lower(shorter, "plateau", Pedal.FULL)) == ()
    assert any("has a torque limit in gear 6, which this gearbox has not" in each for each in warnings(shorter))


def test_limits_that_do_nothing_are_named() -> None:
    above = warnings(_limited({"gear": "2", "torque": "900 N m"}))
    assert any('torque limit of "plateau" in gear 2 is nowhere below the curve' in each for each in above)
    every = warnings(_limited(*({"gear": f"{k}", "torque": f"{300 + k} N m"} for k in range(1, 7))))
    assert any('every gear limits "plateau", so that no gear reaches its 450 N m' in each for each in every)
    assert not any("gear" in each for each in warnings(_limited({"gear": "1", "torque": "300 N m"})))


# --- files ---


def test_columns_and_lines_of_a_curve_file() -> None:
    text = "# limit in gear 2: 300 lb-ft\nTorque in gear 1 [N m],speed [rpm],torque [N m]\n"
    text += "150,1000,200\n,2000,220\n160,6000,180\n"
    assert read_conditions(text, "x.csv") == {"gear_limits": [{"gear": "2", "torque": "300 lb-ft"}]}
    points = (("1000 rpm", "150 N m"), ("6000 rpm", "160 N m"))  # the empty cell is no point
    assert read_gear_curves(text, "x.csv") == ({"gear": "1", "torque": points},)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("speed [rpm],torque [N m],gear 1 [kW]\n1000,200,150\n6000,180,160\n", "is no header of"),
        ("speed [rpm],gear 1 [N m]\n1000,200\n6000,180\n", "is no header of engine speed, torque and torque by gear"),
        ("speed [rpm],torque [N m],gear 1 [N m],gear 1 [N m]\n1000,200,1,1\n6000,180,1,1\n", "is no header of"),
        ("speed [rpm],torque [N m],gear 1 [N m]\n1000,200\n6000,180,160\n", "line 2: .* has 2 values instead of 3"),
        ("speed [rpm],torque [N m],gear 1 [N m]\n1000,200,-3\n6000,180,160\n", 'line 2: "-3" is negative'),
        ("speed [rpm],torque [N m],gear 1 [N m]\n1000,200,\n6000,180,\n", "gear 1: has no value in its column"),
    ],
)
def test_a_file_that_cannot_be_read_says_where(text: str, told: str) -> None:
    with pytest.raises(ScenarioError, match=told.replace("[", r"\[")):
        read_gear_curves(text, "x.csv")
