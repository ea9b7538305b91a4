"""`simlaunch sweep` and `simlaunch sweep show`: what they print, where, and how they end."""

from __future__ import annotations

import json
import os
import shlex
import signal
import subprocess
import sys
from pathlib import Path

import numpy as np
import openpyxl
import pytest

from simlaunch.analysis import worth
from simlaunch.cli.main import answer
from simlaunch.cli.scenario_file import read
from simlaunch.errors import UsageError
from simlaunch.simulation.bench import DEFAULT_TOLERANCE
from simlaunch.sweeping.axes import axes
from simlaunch.sweeping.chunk import SWEEP_TOLERANCE, prepared, spec_of
from simlaunch.sweeping.plan import Plan
from simlaunch.sweeping.store import Reader
from simlaunch.writing import WRITTEN
from sweep.conftest import filled

COUPE = str(Path(__file__).parents[2] / "scenarios" / "road-coupe.toml")
BRIEF = ["--set", 'run.until=["20 m"]']
Capture = pytest.CaptureFixture[str]


@pytest.fixture(scope="module")
def swept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The results of the demonstration sweep over 20 m."""
    path = tmp_path_factory.mktemp("swept") / "coupe.sqlite"
    assert answer(["sweep", COUPE, "-o", str(path), "--quiet", *BRIEF]) == 0
    return path


def _said(capsys: Capture, code: int, *arguments: str) -> tuple[str, str]:
    capsys.readouterr()
    assert answer(list(arguments)) == code
    shown = capsys.readouterr()
    assert "Traceback" not in shown.err
    return shown.out, shown.err


def test_the_demonstration_is_one_short_command(swept: Path, capsys: Capture) -> None:
    out, err = _said(capsys, 0, "sweep", COUPE, "-o", str(swept), "--quiet", *BRIEF)
    assert err == ""
    assert out.startswith("Road coupe, rear drive\n24 launches; 24 reach the goal with")
    assert max(map(len, out.splitlines())) <= 80
    assert out.rpartition("\n\n")[2].startswith("Verdict\nBest is curve ")
    for axis in ("curve", "gear set", "tyre", "surface"):
        assert f"By {axis} " in out


def test_show_says_the_same(swept: Path, capsys: Capture) -> None:
    again, _ = _said(capsys, 0, "sweep", COUPE, "-o", str(swept), "--quiet", *BRIEF)
    shown, err = _said(capsys, 0, "sweep", "show", str(swept))
    assert (shown, err) == (again, "")


def test_the_best_launch_repeats_by_itself(swept: Path, capsys: Capture) -> None:
    out, _ = _said(capsys, 0, "sweep", "show", str(swept), "--top", "1")
    command = out.partition("The best launch by itself\n")[2].partition("\n\n")[0]
    options = shlex.split(command.replace("\\\n", ""))[3:]
    single, _ = _said(capsys, 0, "run", COUPE, *options, *BRIEF, "--json", "--quiet")
    marks = {mark["label"]: mark["time_s"] for mark in json.loads(single)["marks"]}
    with Reader(swept) as reader:
        best = reader.rows('SELECT min("time 20 m") FROM launch')[0][0]
    assert marks["20 m"] == best


def test_json_lines(swept: Path, tmp_path: Path, capsys: Capture) -> None:
    call = ["sweep", "show", str(swept), "--where", "tyre = track", "--jsonl"]
    out, err = _said(capsys, 0, *call, "-")
    about, *rows = map(json.loads, out.splitlines())
    assert (about["format"], len(rows)) == ("simlaunch-launches-1", 12)
    assert err == "launching 24 cases again for measures that the sweep left out\n"
    assert {row["tyre"] for row in rows} == {"track"}
    text, _ = _said(capsys, 0, *call, str(tmp_path / "a.jsonl"))
    assert (tmp_path / "a.jsonl").read_text("utf-8") == out
    assert "Verdict" in text


def test_other_orders_and_constraints(swept: Path, capsys: Capture) -> None:
    out, _ = _said(capsys, 0, "sweep", "show", str(swept), "--by", "wheelspin time", "--where", "curve = peak",
                   "--where", "tyre != track", "--units", "us")  # fmt: skip
    assert "6 reach the goal with curve = peak and tyre != track" in " ".join(out.split())
    assert "a: wheelspin time" in out
    nothing, _ = _said(capsys, 0, "sweep", "show", str(swept), "--where", "wheelspin time < 0 s")
    assert "no finished launch meets the constraints" in " ".join(nothing.split()).lower()


def test_files_and_figures(swept: Path, tmp_path: Path, capsys: Capture) -> None:
    files = {kind: str(tmp_path / f"a.{kind}") for kind in ("csv", "xlsx", "parquet", "netcdf", "jsonl")}
    options = [part for kind, file in files.items() for part in (f"--{kind}", file)]
    _, err = _said(capsys, 0, "sweep", "show", str(swept), *options, "--figure", str(tmp_path / "f"), "--verify")
    assert err.startswith("no stored launch has changed; digest of the results ")
    assert err.count("wrote ") == 11
    assert all(Path(file).stat().st_size > 1000 for file in files.values())
    assert sorted(path.name for path in (tmp_path / "f").iterdir() if path.name != WRITTEN) == [
        "coupe-map.png", "coupe-map.svg", "coupe-trade-off.png", "coupe-trade-off.svg",
        "coupe-winners.png", "coupe-winners.svg",
    ]  # fmt: skip
    assert openpyxl.load_workbook(files["xlsx"])["launches"].max_row == 25


def test_a_dry_run_says_what_it_would_take_and_writes_nothing(tmp_path: Path, capsys: Capture) -> None:
    path = tmp_path / "a.sqlite"
    out, err = _said(capsys, 0, "sweep", COUPE, "-o", str(path), "--dry-run", "--vary", "curve",
                     "--vary", "launch.engine_speed: 3000 rpm to 8000 rpm in 3000", *BRIEF)  # fmt: skip
    assert "compiling" not in err or err.count("\n") == 1
    assert "launches 6000" in " ".join(out.split())
    assert "Corner cases\n0: curve peak, launch.engine_speed 3000 rpm\n" in out
    assert "cannot be launched" in out
    assert out.endswith("Nothing was written.\n")
    assert max(map(len, out.splitlines())) <= 80
    assert not path.exists()


def test_off_a_terminal_progress_is_a_line_for_every_tenth(tmp_path: Path, capsys: Capture) -> None:
    _, err = _said(capsys, 0, "sweep", COUPE, "-o", str(tmp_path / "a.sqlite"), *BRIEF)
    lines = err.splitlines()
    told = [line for line in lines if " launches (" in line]
    assert 2 <= len(told) <= 11
    assert told[-1].startswith("24 of 24 launches (100 %), ")
    assert all(" left, best " in line for line in told)
    assert lines[-1] == f"wrote {tmp_path / 'a.sqlite'}"
    assert "\r" not in err


def test_launches_that_fail_give_code_5_and_a_reason(tmp_path: Path, capsys: Capture) -> None:
    out, err = _said(capsys, 5, "sweep", COUPE, "-o", str(tmp_path / "a.sqlite"), "--quiet",
                     "--vary", "launch.engine_speed: 3000 rpm, 8000 rpm", "--vary", "run.time_limit: 0.5 s, 20 s",
                     *BRIEF)  # fmt: skip
    assert "3 launches failed" in err
    assert "3 of them failed" in " ".join(out.split())
    assert "1: the time limit came before all targets" in out
    assert "launch.engine_speed" in out.partition("Failed\n")[2]


def test_a_sample(tmp_path: Path, capsys: Capture) -> None:
    call = ["sweep", COUPE, "--quiet", "--sample", "8", "--seed", "4", "--vary", "curve",
            "--vary", "body.mass: 1500 kg to 1700 kg", *BRIEF]  # fmt: skip
    first, _ = _said(capsys, 0, *call, "-o", str(tmp_path / "a.sqlite"))
    again, _ = _said(capsys, 0, *call, "-o", str(tmp_path / "b.sqlite"), "--workers", "1")
    assert first == again
    assert "8 launches" in first
    _, err = _said(capsys, 3, *call, "-o", str(tmp_path / "a.sqlite"), "--draw", "latin")
    assert "holds another sweep: the sample differs" in err


@pytest.mark.parametrize(
    ("code", "arguments", "told"),
    [
        (2, ["sweep"], "Missing argument"),
        (2, ["sweep", COUPE, "--vary", "nonsense"], "nothing called"),
        (2, ["sweep", COUPE, "--by", "nonsense"], "no measure is called"),
        (2, ["sweep", COUPE, "--cluster", "tcp://192.0.2.1:8786"], "--trust-network"),
        (3, ["sweep", "missing.toml"], "does not exist"),
        (3, ["sweep", COUPE, "--vary", "body.mass: 1500"], "has no unit"),
        (3, ["sweep", COUPE, "-o", COUPE], "is not a file of a sweep"),
        (3, ["sweep", "show", "missing.sqlite"], "does not exist"),
        (3, ["sweep", "show", COUPE], "is not a file of a sweep"),
        (2, ["run", COUPE, "--with", "gear set"], "write KIND=NAME"),
        (2, ["run", COUPE, "--with", "gear set=third"], "no gear set is named"),
        (2, ["run", COUPE, "--with", "wheel=a"], "kinds are gear set, tyre, surface"),
        (2, ["run", COUPE, "--with", "tyre=track", "--with", "tyre=track"], "given twice"),
    ],
)
def test_what_makes_no_sense_is_refused(capsys: Capture, code: int, arguments: list[str], told: str) -> None:
    out, err = _said(capsys, code, *arguments)
    assert out == ""
    assert told in " ".join(err.split())


def test_nothing_to_vary_is_reported(capsys: Capture) -> None:
    other = str(Path(COUPE).with_name("front-hatch.toml"))
    _, err = _said(capsys, 2, "sweep", other)
    assert "nothing is varied" in err


def test_with_takes_alternatives_and_set_comes_after() -> None:
    taken = read(Path(COUPE), ["gearbox.final_drive=4"], ["gear set=short", "surface=wet asphalt"])
    assert taken.gearbox.ratios[0].text == "3.83"
    assert {each.text for each in taken.gearbox.final_drives} == {"4"}
    assert taken.road.surface == "wet asphalt"
    with pytest.raises(UsageError):
        read(Path(COUPE), None, ["surface=moon"])


@pytest.mark.parametrize("arguments", [["sweep", "--help"], ["sweep", "show", "--help"], ["--help"]])
def test_help(capsys: Capture, arguments: list[str]) -> None:
    out, _ = _said(capsys, 0, *arguments)
    assert max(map(len, out.splitlines())) <= 80
    assert "sweep" in out
    assert "begin" not in out


def test_help_states_the_tolerance_that_is_taken(capsys: Capture) -> None:
    """As plain runs take another one. Source: the constants of both."""
    for command, taken in (("sweep", SWEEP_TOLERANCE), ("parts", DEFAULT_TOLERANCE), ("worth", worth.TOLERANCE)):
        out, _ = _said(capsys, 0, command, "--help")
        stated = " ".join(out.split()).split("from 1e-13 to 1e-2. [default: (")[1].split(")")[0]
        assert float(stated) == taken


@pytest.mark.skipif(os.name != "posix", reason="needs the signals of a POSIX system")
@pytest.mark.slow
@pytest.mark.parametrize("workers", ["1", "2"])
def test_an_interruption_keeps_what_is_finished(tmp_path: Path, capsys: Capture, workers: str) -> None:
    path = tmp_path / "a.sqlite"
    call = ["sweep", COUPE, "-o", str(path), "--workers", workers, "--vary", "curve",
            "--vary", "body.mass: 1500 kg to 1700 kg in 201", *BRIEF]  # fmt: skip
    command = [sys.executable, "-m", "simlaunch", *call]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        assert process.stderr is not None
        while " launches (" not in process.stderr.readline():
            assert process.poll() is None
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=60)
    assert process.returncode == 130
    assert out == ""
    kept = int(err.splitlines()[-2].partition(" of 402 launches are kept in ")[0])
    assert err.splitlines()[-1] == "interrupted"
    with Reader(path) as reader:
        assert 0 < kept <= reader.count() < 402
        assert reader.damaged() == []
    half, _ = _said(capsys, 0, "sweep", "show", str(path))
    assert " of 402 launches are finished" in half
    assert "So far, best is " in half
    whole, _ = _said(capsys, 0, *call, "--quiet")
    assert "402 launches;" in whole.replace("402 launches.", "402 launches;")


def test_no_colour_and_no_terminal_codes_when_piped(swept: Path) -> None:
    command = [sys.executable, "-m", "simlaunch", "sweep", "show", str(swept)]
    run = subprocess.run(command, capture_output=True, text=True, env={**os.environ, "NO_COLOR": "1"}, timeout=60)
    assert run.returncode == 0, run.stderr
    assert "\x1b" not in run.stdout + run.stderr


def test_a_continued_sweep_states_the_best_of_its_file(tmp_path: Path, capsys: Capture) -> None:
    """The first half holds made-up times of 1 s, which nothing calculated later can beat."""
    path = tmp_path / "a.sqlite"
    sound = read(Path(COUPE), ['run.until=["20 m"]'])
    spec = spec_of(sound, Plan(axes(sound.sweep.vary, sound)), SWEEP_TOLERANCE)  # type: ignore[union-attr]
    filled(path, spec, np.ones((12, len(prepared(spec).columns))), 4)
    _, err = _said(capsys, 0, "sweep", COUPE, "-o", str(path), *BRIEF)
    told = [line for line in err.splitlines() if " launches (" in line]
    assert told[0].startswith("12 of 24 launches (50 %)")
    assert all("best 1.000 s" in line for line in told)


def test_names_in_full_and_one_line_for_what_they_share(swept: Path, capsys: Capture) -> None:
    out, _ = _said(capsys, 0, "sweep", "show", str(swept), "--where", "tyre = track", "--top", "12")
    table = out.partition("\n\nBy ")[0]
    assert 'All of them: tyre "track".\nBest: curve / gear set / surface ' in table
    assert "..." not in table
    assert len({line[:44] for line in table.splitlines() if " / " in line}) == 13
    alone, _ = _said(capsys, 0, "sweep", "show", str(swept), "--top", "1")
    assert "\nAll of them: curve " in alone
    assert "\n1. " in alone


def test_the_final_drive_goes_by_its_plain_name_everywhere(tmp_path: Path, capsys: Capture) -> None:
    path = str(tmp_path / "a.sqlite")
    call = ["sweep", COUPE, "-o", path, "--quiet", "--vary", "final drive: 3.2, 3.46, 3.73", "--vary", "tyre", *BRIEF]
    out, _ = _said(capsys, 0, *call, "--where", "final drive < 3.6")
    assert "4 reach the goal with final drive < 3.6" in " ".join(out.split())
    _, err = _said(capsys, 0, "sweep", "show", path, "--figure", str(tmp_path), "--across", "tyre, final drive")
    assert "a-map.svg" in err


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["sweep", "show", "FILE", "--across", "tyre, curve"], "--across chooses what to draw; name a folder"),
        (["sweep", "show", "FILE", "--against", "wheelspin time"], "--against chooses what to draw; name a folder"),
        (["sweep", COUPE, "--cluster", "localhost:9", "--workers", "2"], "workers counts threads of this machine"),
        (["sweep", COUPE, "--trust-network"], "trust-network applies to a cluster"),
        (["sweep", COUPE, "--seed", "3"], "--seed applies to a sample"),
        (["sweep", COUPE, "--draw", "latin"], "--draw applies to a sample"),
        (["sweep", COUPE, "--json", "--dry-run"], "--dry-run does not make"),
        (["sweep", "show", "FILE", "--json", "--jsonl", "-"], "both print to standard output"),
        (["sweep", COUPE, "--vary", "limits.torque: 500 N m, 600 N m"], "no launch depends on"),
    ],
)
def test_options_that_would_do_nothing_are_refused(
    swept: Path, capsys: Capture, arguments: list[str], told: str
) -> None:
    out, err = _said(capsys, 2, *(str(swept) if each == "FILE" else each for each in arguments))
    assert out == ""
    assert told in " ".join(err.split())


@pytest.mark.parametrize("option", [["--by", "tme 60 ft"], ["--where", "tme 60 ft < 3 s"]])
def test_of_many_names_the_near_ones_are_listed(swept: Path, capsys: Capture, option: list[str]) -> None:
    _, err = _said(capsys, 2, "sweep", "show", str(swept), *option)
    assert '"time 60 ft"' in err
    assert " others" in err
    assert err.count('"') <= 12
    assert len(err) < 250
