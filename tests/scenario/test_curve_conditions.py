"""Lines above the header of a curve file: the conditions that its figures hold for."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from simlaunch.errors import ScenarioError
from simlaunch.scenario.curve_file import read_conditions, read_curve
from simlaunch.scenario.powertrain import Correction, MeasuredAt
from simlaunch.scenario.reading import from_mapping

POINTS = "engine speed [rpm],torque [N m]\n1000,200\n7000,180\n"
TOLD = "# correction: SAE J1349\n# measured at: crank\n# note: invented\n\n"


def test_conditions_stand_beside_the_points() -> None:
    assert read_conditions(TOLD + POINTS, "x.csv") == {
        "correction": "SAE J1349",
        "measured_at": "crank",
        "note": "invented",
    }
    assert read_curve(TOLD + POINTS, "x.csv") == read_curve(POINTS, "x.csv")
    assert read_conditions(POINTS, "x.csv") == {}


@pytest.mark.parametrize(
    ("line", "fault"),
    [
        (
            "# correction: J1349",
            '"J1349" is not one of the choices; write none, SAE J1349, ISO 1585, DIN 70020, SAE J607',
        ),
        ("# measured at: roller", '"roller" is not one of the choices; write crank, hub, wheel'),
        ("# by me", '"# by me" is not a line that is known here; write "# correction: ...", "# measured at: ...", '),
        ("# measured at: crank\n# measured at: hub", '"measured at" is given twice; keep one of them'),
    ],
)
def test_faults_name_the_line(line: str, fault: str) -> None:
    with pytest.raises(ScenarioError) as caught:
        read_conditions(f"{line}\n{POINTS}", "x.csv")
    (found,) = caught.value.faults
    assert str(found).startswith(f"line {line.count(chr(10)) + 1}: {fault}")


def test_lines_of_the_points_still_count_from_the_top() -> None:
    with pytest.raises(ScenarioError, match='line 6: "-1" is negative'):
        read_curve(TOLD + POINTS.replace("1000,200", "1000,-1"), "x.csv")
    with pytest.raises(ScenarioError, match="the file is empty"):
        read_curve(TOLD, "x.csv")


def test_a_scenario_takes_the_conditions_over(sound: dict[str, Any], tmp_path: Path) -> None:
    (tmp_path / "c.csv").write_text(TOLD + POINTS, encoding="utf-8")
    plain = {"name": "b", "points": [["1000 rpm", "1 N m"], ["7000 rpm", "1 N m"]], "correction": "none"}
    sound["curves"] = [{"name": "a", "file": "c.csv"}, plain]
    scenario = from_mapping(sound, "x.toml", tmp_path)
    first, second = scenario.curves
    assert (first.correction, first.measured_at, first.note) == (Correction.SAE_J1349, MeasuredAt.CRANK, "invented")
    assert (second.correction, second.measured_at) == (Correction.NONE, None)


def test_a_launch_wants_torque_at_the_crank(sound: dict[str, Any]) -> None:
    sound["curves"][0] |= {"measured_at": "wheel", "correction": "sae"}
    with pytest.raises(ScenarioError) as caught:
        from_mapping(sound, "x.toml")
    assert [str(fault) for fault in caught.value.faults] == [
        'curves[1].correction: "sae" is not one of the choices; '
        'write one of "none", "SAE J1349", "ISO 1585", "DIN 70020" or "SAE J607"',
        'curves[1].measured_at: "wheel" is not the crank, where a launch needs the torque; '
        "bring the curve to the crank with `simlaunch curve`",
    ]
