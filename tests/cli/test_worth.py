"""`simlaunch worth`: what it prints and how it ends."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from simlaunch.cli.main import answer
from simlaunch.writing import WRITTEN

COUPE = str(Path(__file__).parents[2] / "scenarios" / "road-coupe.toml")
BRIEF = ["--for", "60 ft", "--bands", "8", "--quiet"]
Capture = pytest.CaptureFixture[str]


def _said(capsys: Capture, code: int, *arguments: str) -> tuple[str, str]:
    capsys.readouterr()
    assert answer(["worth", *arguments]) == code
    shown = capsys.readouterr()
    assert "Traceback" not in shown.err
    return shown.out, shown.err


def test_the_verdict_comes_last(capsys: Capture) -> None:
    out, err = _said(capsys, 0, COUPE, "--for", "0-100 km/h", "--quiet")
    assert err == ""
    assert max(map(len, out.splitlines())) <= 80
    verdict = " ".join(out.rpartition("Verdict\n")[2].split())
    assert re.match(r"10 N m more between \d+ and \d+ rpm buys 0\.0\d s for 0-100 km/h", verdict)
    assert "the engine does not run there." in verdict


def test_torque_that_only_spins_the_tyres_is_named(capsys: Capture) -> None:
    """Off the line the tyres of the coupe hold less than the engine gives."""
    out, _ = _said(capsys, 0, COUPE, "--curve", "peak", "--for", "60 ft", "--quiet")
    verdict = " ".join(out.rpartition("Verdict\n")[2].split())
    assert verdict.startswith("10 N m more gains no time worth naming anywhere")
    assert "only spins the tyres" in verdict


def test_json_and_files(capsys: Capture, tmp_path: Path) -> None:
    out, _ = _said(capsys, 0, COUPE, *BRIEF, "--json", "--out", str(tmp_path))
    found = json.loads(out)
    assert (found["format"], found["target"], len(found["gear_sets"])) == ("simlaunch-worth-1", "60 ft", 1)
    only = found["gear_sets"][0]
    for pedal in ("full_pedal", "held_slip"):
        assert len(only[pedal]["gain_s_per_N_m"]) == len(only["engine_speed_rad_per_s"]) == 8
    names = {path.name for path in tmp_path.iterdir()} - {WRITTEN}
    assert {f"road-coupe-worth{end}" for end in (".json", ".csv", "-bands.png", "-bands.svg")} == names


def test_alternatives(capsys: Capture) -> None:
    short, _ = _said(capsys, 0, COUPE, *BRIEF, "--with", "gear set=short", "--json")
    every, _ = _said(capsys, 0, COUPE, *BRIEF, "--each-gear-set", "--json")
    sets = {each["gear_set"]: each for each in json.loads(every)["gear_sets"]}
    assert list(sets) == ["as described", "short", "long"]
    assert sets["short"]["full_pedal"] == json.loads(short)["gear_sets"][0]["full_pedal"]
    told, _ = _said(capsys, 0, COUPE, *BRIEF, "--each-gear-set", "--units", "us")
    assert '"short": 10 lb-ft' in told


def test_each_gear(capsys: Capture) -> None:
    out, _ = _said(capsys, 0, COUPE, *BRIEF, "--each-gear")
    assert "full pedal, in one gear [rpm]" in out


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        (["--curve", "none"], 2, 'no curve is named "none"'),
        (["--for", "tea time"], 2, "no target is named"),
        (["--bands", "1"], 2, "usage:"),
        (["--set", "run.time_limit=1 s", "--for", "0-100 km/h", "--bands", "2"], 4, "is not reached"),
    ],
)
def test_refusals(arguments: list[str], code: int, said: str, capsys: Capture) -> None:
    out, err = _said(capsys, code, COUPE, "--quiet", *arguments)
    assert out == ""
    assert said in err
