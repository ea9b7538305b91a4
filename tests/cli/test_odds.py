"""`simlaunch odds`: what it prints, where, and how it ends."""

from __future__ import annotations

import csv
import json
import os
import re
import signal
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from at_work import at_work
from output.rounding import stands_in
from simlaunch.cli.main import answer
from simlaunch.output.odds import _decider
from simlaunch.writing import WRITTEN

SCENARIOS = Path(__file__).parents[2] / "scenarios"
COUPE, GRIP = str(SCENARIOS / "road-coupe.toml"), str(SCENARIOS / "all-drive-grip.toml")
BRIEF = ["--set", 'run.until=["30 m"]', "--cases", "64"]
Capture = pytest.CaptureFixture[str]
_NUMBER = re.compile(r"(?<![\w.])\d+(?:\.\d+)?(?![\w.]*\d)")


def _said(capsys: Capture, code: int, *arguments: str) -> tuple[str, str]:
    capsys.readouterr()
    assert answer(list(arguments)) == code
    shown = capsys.readouterr()
    assert "Traceback" not in shown.err
    return shown.out, shown.err


@pytest.mark.parametrize("units", ["metric", "us"])
def test_the_verdict_comes_last_and_its_numbers_stand_in_the_tables(capsys: Capture, units: str) -> None:
    out, err = _said(capsys, 0, "odds", COUPE, "--cases", "64", "--quiet", "--units", units)
    assert err == ""
    assert max(map(len, out.splitlines())) <= 80
    tables, _, verdict = out.rpartition("\n\n")
    assert verdict.startswith("Verdict\n")
    told = " ".join(verdict.split())
    assert '"peak"' in told
    assert '"plateau"' in told
    shown = set(_NUMBER.findall(tables))
    assert [number for number in _NUMBER.findall(told) if not stands_in(number, shown)] == []
    assert "The largest share of the spread, " in told


def test_no_value_is_said_to_decide_what_is_mostly_left_open(capsys: Capture) -> None:
    """About 60 m a shift falls before the line or behind it, so the difference follows no parabola."""
    out, _ = _said(capsys, 0, "odds", COUPE, "--set", 'run.until=["60 m"]', "--cases", "64", "--quiet")
    assert float(re.findall(r"left open +([\d.]+)", out)[0]) > 50.0
    assert "The largest share of the spread" not in out


def test_a_single_value_decides_by_itself(capsys: Capture) -> None:
    grip = '{key="road.friction_factor",kind="uniform",low="0.97",high="1.03",origin="invented"}'
    out, _ = _said(capsys, 0, "odds", COUPE, *BRIEF, "--set", f"uncertain=[{grip}]", "--quiet", "--json")
    found = json.loads(out)
    (only,) = found["effects"]
    assert only["name"] == "road.friction_factor"
    assert only["in_all_share"] == only["alone_share"] == pytest.approx(1.0 - found["left_open_share"], abs=0.05)


def test_json_is_one_object_with_what_is_printed(capsys: Capture) -> None:
    out, _ = _said(capsys, 0, "odds", COUPE, *BRIEF, "--quiet", "--json", "--seed", "3")
    found = json.loads(out)
    assert found["format"] == "simlaunch-odds-1"
    assert (found["first"], found["second"], found["rows"]) == ("peak", "plateau", 64)
    assert found["first_quicker"]["low_share"] <= found["first_quicker"]["share"]
    assert found["differences_s"] == sorted(found["differences_s"])
    assert len(found["effects"]) == 8
    again, _ = _said(capsys, 0, "odds", COUPE, *BRIEF, "--quiet", "--json", "--seed", "3", "--workers", "1")
    assert again == out


def test_the_other_way_round_says_the_opposite(capsys: Capture) -> None:
    swapped = ["--curve", "plateau", "--curve", "peak", "--no-effects", "--json", "--quiet"]
    one = json.loads(_said(capsys, 0, "odds", COUPE, *BRIEF, "--no-effects", "--json", "--quiet")[0])
    other = json.loads(_said(capsys, 0, "odds", COUPE, *BRIEF, *swapped)[0])
    assert one["effects"] == other["effects"] == []
    assert one["first_quicker"]["share"] == pytest.approx(other["second_quicker"]["share"], abs=0.1)
    assert one["differences_s"][1] == pytest.approx(-other["differences_s"][1], abs=0.01)


def test_files(tmp_path: Path, capsys: Capture) -> None:
    _said(capsys, 0, "odds", COUPE, *BRIEF, "--no-effects", "--out", str(tmp_path))
    names = {path.name for path in tmp_path.iterdir()} - {WRITTEN}
    stems = {"road-coupe-odds.json", "road-coupe-odds.csv"}
    assert names == stems | {f"road-coupe-odds-difference.{kind}" for kind in ("png", "svg")}
    rows = list(csv.reader((tmp_path / "road-coupe-odds.csv").read_text("utf-8").splitlines()))
    assert rows[0] == ["table", "row", "unit", "column", "value"]


def test_other_targets_and_pedals(capsys: Capture) -> None:
    held = ["--pedal", "held", "--for", "0-60 mph", "--no-effects", "--json", "--quiet"]
    found = json.loads(_said(capsys, 0, "odds", COUPE, *BRIEF, *held)[0])
    assert (found["pedal"], found["target"]) == ("held_slip", "0-60 mph")


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        ([GRIP], 2, "has no [[uncertain]] values"),
        ([COUPE, "--curve", "peak"], 2, "name two with --curve"),
        ([COUPE, "--curve", "peak", "--curve", "none"], 2, 'no curve is named "none"'),
        ([COUPE, "--cases", "3"], 2, "3 cases are out of range"),
        ([COUPE, "--for", "soon"], 2, 'no target is named "soon"'),
    ],
)
def test_what_makes_no_sense_is_refused(capsys: Capture, arguments: list[str], code: int, words: str) -> None:
    out, err = _said(capsys, code, "odds", *arguments)
    assert out == ""
    assert words in err


@pytest.mark.slow
@pytest.mark.skipif(os.name != "posix", reason="needs the signals of a POSIX system")
def test_an_interruption_ends_it() -> None:
    command = [sys.executable, "-m", "simlaunch", "odds", COUPE, "--cases", "100000"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        assert at_work(process)
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=60)
    assert process.returncode == 130
    assert out == ""
    assert err.endswith("interrupted\n")


@pytest.mark.parametrize(("left_open", "ends"), [(0.48, "; 48 % is left open."), (0.2, "comes from grip.")])
def test_a_share_is_not_called_the_largest_where_more_is_left_open(left_open: float, ends: str) -> None:
    found: Any = SimpleNamespace(effects=[SimpleNamespace(name="grip", in_all=0.35)], left_open=left_open)
    said = _decider(found)
    assert said.endswith(ends)
    assert ("largest share" in said) == (left_open < 0.35)


def test_a_target_that_no_case_reaches_is_called_that(capsys: Capture) -> None:
    assert answer(["odds", COUPE, "--cases", "64", "--for", "0 to 400 mph", "--no-effects", "--quiet"]) == 4
    out, err = capsys.readouterr()
    verdict = " ".join(out[out.index("Verdict") :].split())
    assert verdict == (
        'Verdict None of 64 cases reaches 0 to 400 mph with "peak" or with "plateau", so nothing can be said about '
        "which is quicker."
    )
    assert "no time limit changes that: choose a lower speed" in err
