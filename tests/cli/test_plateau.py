"""`simlaunch plateau`: what it prints, what it writes and how it ends."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from searching import search_briefly
from simlaunch.cli.main import answer
from simlaunch.scenario.curve_file import read_curve
from simlaunch.searching import plateau_search

COUPE = str(Path(__file__).parents[2] / "scenarios" / "road-coupe.toml")
BRIEF = ["--for", "60 ft", "--power", "220 kW"]
Capture = pytest.CaptureFixture[str]


@pytest.fixture(autouse=True)
def brief_searches(monkeypatch: pytest.MonkeyPatch) -> None:
    search_briefly(monkeypatch)


def _said(capsys: Capture, code: int, *arguments: str) -> tuple[str, str]:
    capsys.readouterr()
    assert answer(["plateau", *arguments]) == code
    shown = capsys.readouterr()
    assert "Traceback" not in shown.err
    return shown.out, shown.err


def test_text_and_files(capsys: Capture, tmp_path: Path) -> None:
    saved = tmp_path / "mine.csv"
    out, err = _said(capsys, 0, COUPE, *BRIEF, "--out", str(tmp_path), "--save", str(saved))
    assert f"1 of 3: {plateau_search.FRONT} heights of plateau" in err
    assert max(map(len, out.splitlines())) <= 80
    assert out.rpartition("\n\n")[2].startswith("Verdict\nWhat pays is no plateau but a peak of 440 N m")
    assert "Plateau against the wish" in out
    curve = (tmp_path / "road-coupe-plateau-curve.csv").read_text()
    assert curve == saved.read_text()
    assert len(read_curve(curve, "curve")) > 50
    assert (tmp_path / "road-coupe-plateau-gears.csv").read_text().startswith("gear,torque limit [N m]\n1,\n")
    assert (tmp_path / "road-coupe-plateau-torque.png").stat().st_size > 10_000


def test_json_for_every_gear_set(capsys: Capture) -> None:
    out, _ = _said(capsys, 0, COUPE, *BRIEF, "--each-gear-set", "--json", "--quiet", "--wish", "plateau")
    found = json.loads(out)
    assert (found["format"], found["wish"]) == ("simlaunch-plateau-1", "plateau")
    assert list(found["gear_sets"]) == ["as described", "long", "short"]
    for each in found["gear_sets"].values():
        assert len(each["limited_by"]) == len(each["torque_N_m"]) == len(each["engine_speed_rad_per_s"])
        assert each["front"]
    assert any("gear set" in sentence for sentence in found["verdict"])
    assert [each["curve"] for each in found["final_drives"]] == ["plateau", "plateau"]


def test_without_limits_of_the_engine_the_verdict_says_so(capsys: Capture) -> None:
    out, _ = _said(capsys, 0, COUPE, "--for", "60 ft", "--no-parts", "--within-grip", "--quiet")
    told = " ".join(out.rpartition("Verdict\n")[2].split())
    power = told.partition("the engine would have to make ")[2].partition(" kW")[0]
    assert power
    assert re.search(rf"highest power \[kW\] +{re.escape(power)} ", out)
    assert "Ceiling by gear, within grip [N m]" in out


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        (["--wish", "none"], 2, 'no curve is named "none"'),
        (["--for", "1/4 mile=much"], 2, "a weight is a number above zero"),
        (["--power", "250 N m"], 3, '--power: "250 N m" is a torque, but a power is wanted'),
        (["--for", "1/4 mile", "--for", "402.336 m"], 2, "names a target twice"),
        (["--within-grip", "--gear-limits"], 2, "choose one of them"),
        (["--save", "no/such/folder/curve.csv"], 3, "cannot be written"),
        (["--mean-pressure", "500 bar"], 3, "--mean-pressure: "),
        (["--for", "60 ft", "--set", "run.time_limit=0.5 s"], 4, "no plateau within the limits reaches 60 ft"),
    ],
)
def test_refusals(arguments: list[str], code: int, said: str, capsys: Capture) -> None:
    out, err = _said(capsys, code, COUPE, "--quiet", *arguments)
    assert out == ""
    assert said in err


def test_an_interruption_ends_at_once() -> None:
    command = [sys.executable, "-m", "simlaunch", "plateau", COUPE]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=os.environ) as run:
        assert run.stderr is not None
        for line in run.stderr:
            if line.startswith("1 of 3"):
                break
        run.send_signal(signal.SIGINT)
        run.wait(60.0)
        assert run.returncode == 130
