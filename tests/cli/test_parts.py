"""`simlaunch parts`: what it prints, where, and how it ends."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path

import pytest
from matplotlib.text import Text

from simlaunch.analysis.parts import parts
from simlaunch.cli.main import answer
from simlaunch.plotting.parts import parts_figure
from simlaunch.scenario.reading import load
from simlaunch.units.spelling import System
from simlaunch.writing import WRITTEN

SCENARIOS = Path(__file__).parents[2] / "scenarios"
COUPE, GRIP = str(SCENARIOS / "road-coupe.toml"), str(SCENARIOS / "all-drive-grip.toml")
Capture = pytest.CaptureFixture[str]
_NUMBER = re.compile(r"(?<![\w.])\d+(?:\.\d+)?(?![\w.]*\d)")


def _said(capsys: Capture, code: int, *arguments: str) -> tuple[str, str]:
    capsys.readouterr()
    assert answer(list(arguments)) == code
    shown = capsys.readouterr()
    assert "Traceback" not in shown.err
    return shown.out, shown.err


@pytest.mark.parametrize("units", ["metric", "us"])
@pytest.mark.parametrize("scenario", [COUPE, GRIP])
def test_the_verdict_comes_last_and_its_numbers_stand_in_the_tables(capsys: Capture, scenario: str, units: str) -> None:
    out, err = _said(capsys, 0, "parts", scenario, "--quiet", "--units", units)
    assert err == ""
    assert max(map(len, out.splitlines())) <= 80
    tables, _, verdict = out.rpartition("\n\n")
    assert verdict.startswith("Verdict\n")
    assert set(_NUMBER.findall(" ".join(verdict.split()))) <= set(_NUMBER.findall(tables))


def test_a_passed_rating_is_flagged_in_words(capsys: Capture, tmp_path: Path) -> None:
    shutil.copytree(SCENARIOS, tmp_path / "cars")
    weak = tmp_path / "cars" / "road-coupe.toml"
    weak.write_text(weak.read_text(encoding="utf-8").replace('"660 N m"', '"520 N m"'), encoding="utf-8")
    out, err = _said(capsys, 0, "parts", str(weak))
    assert "OVER RATING" in out
    assert '"peak" loads "gearbox" in steady pull to ' in " ".join(out.split())
    assert "parts overloaded, counted for each curve: 1" in err
    assert "no life in\nkilometres" in out


def test_loads_that_have_no_room_in_the_verdict_are_counted_in_words() -> None:
    """Every rating is passed here: six loads, of which three are listed, and one is drawn."""
    rated = [
        {"name": place, "place": place, "rating": rating, "origin": "Invented."}
        for place, rating in (("coupling", "300 N m"), ("gearbox input", "300 N m"), ("rear shafts", "3000 N m"))
    ]
    found = parts(load(COUPE).replace({"parts": rated, "run.until": ["60 m"]}))
    assert len(found.broken) == 6
    verdict = found.summary(System.METRIC)
    assert "; 3 more loads are too much." in verdict
    assert '"peak" loads "gearbox input" in steady pull to ' in verdict
    figure = parts_figure(found, System.METRIC)
    told = " ".join(" ".join(text.get_text().split()) for text in figure.findobj(Text))
    assert "; 5 more loads are too much" in told


def test_without_ratings_curves_are_still_compared(capsys: Capture) -> None:
    out, _ = _said(capsys, 0, "parts", GRIP, "--quiet")
    assert "No part of the scenario has a rating; add [[parts]]" in " ".join(out.split())
    assert "relative wear, slope 6.611" in out
    assert "OVER" not in out


def test_rigid_shafts_are_said_to_leave_the_shocks_out(capsys: Capture) -> None:
    rigid = ["--set", "drive.half_shafts=rigid"]
    assert "half shafts of this scenario are rigid" in _said(capsys, 0, "parts", COUPE, *rigid)[0]


def test_json_is_one_object_with_what_is_printed(capsys: Capture) -> None:
    out, _ = _said(capsys, 0, "parts", COUPE, "--quiet", "--json", "--curve", "plateau", "--curve", "peak")
    found = json.loads(out)
    assert found["format"] == "simlaunch-parts-1"
    assert [load["curve"] for load in found["loads"]] == ["plateau", "peak"]
    gearbox = found["loads"][1]["parts"][1]
    assert (gearbox["part"], gearbox["flag"], gearbox["rating_N_m"]) == ("gearbox", "within rating", 660.0)
    assert gearbox["peak_share_of_failure"] == pytest.approx(gearbox["peak_torque_N_m"] / 990.0)
    assert gearbox["steady_share_of_rating"] == pytest.approx(gearbox["steady_pull_N_m"] / 660.0)
    assert (gearbox["peak_event"], gearbox["wears_most"]) == ("1-2 shift", "gear 5")
    assert gearbox["relative_wear_ratio"] > 1.0
    assert found["loads"][0]["parts"][1]["relative_wear_ratio"] == 1.0


def test_files_and_figure(tmp_path: Path, capsys: Capture) -> None:
    _said(capsys, 0, "parts", COUPE, "--quiet", "--out", str(tmp_path))
    assert {path.suffix for path in tmp_path.iterdir() if path.name != WRITTEN} == {".json", ".csv", ".png", ".svg"}
    bare = tmp_path / "bare"
    _said(capsys, 0, "parts", GRIP, "--quiet", "--out", str(bare))
    assert {path.suffix for path in bare.iterdir() if path.name != WRITTEN} == {".json", ".csv"}


def test_a_missed_target_and_an_unknown_curve(capsys: Capture) -> None:
    _, err = _said(capsys, 4, "parts", COUPE, "--set", "run.time_limit=3 s")
    assert "did not reach its target" in err
    assert _said(capsys, 2, "parts", COUPE, "--curve", "none")[0] == ""


def test_what_one_half_shaft_may_carry_is_said_where_a_differential_locks() -> None:
    """T_high - T_low = P + S (T_high + T_low). Source: definition of the locking value, common practice."""
    split = load(COUPE).replace({"run.until": ["60 ft"], "road.right_friction_factor": "0.6"})
    limited = split.replace({"drive.locking": "40 %", "drive.locking_preload": "80 N m"})
    said = " ".join(parts(limited, ["plateau"]).to_text().split())
    assert "one rear half shaft alone may carry up to 70.0 % of the torque stated for both and 40 N m more" in said
    assert "half shaft alone" not in parts(split, ["plateau"]).to_text()
