"""`simlaunch fit`: what it prints and writes, and what it refuses."""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from fit.coasted import coasted
from made_once import made_once
from readers.catalogue import refused
from simlaunch.cli.main import answer
from simlaunch.fitting import fit
from simlaunch.writing import WRITTEN

SCENARIOS = Path(__file__).parents[2] / "scenarios"
QUICK = ("--value", "friction", "--value", "curve scale", "--value", "shift time", "--starts", "1", "--workers", "2")

Capture = pytest.CaptureFixture[str]


@pytest.fixture(scope="module", autouse=True)
def studies() -> Iterator[None]:
    with made_once(fit=fit):
        yield


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("cli-fit") / "scenarios"
    shutil.copytree(SCENARIOS, made)
    return made


def _call(folder: Path, *more: str | Path) -> list[str]:
    log = folder / "sheets" / "invented-fit-log.csv"
    return ["fit", str(folder / "road-coupe.toml"), "--log", str(log), *QUICK, *map(str, more)]


def _refuse_constant(name: str) -> Any:
    raise ValueError(name)


@pytest.mark.parametrize("system", ["metric", "us"])
def test_text_of_80_columns_ends_with_the_verdict(folder: Path, capsys: Capture, system: str) -> None:
    assert answer(_call(folder, "--units", system, "--quiet")) == 0
    shown = capsys.readouterr()
    assert shown.err == ""
    assert max(map(len, shown.out.splitlines())) <= 80
    told = " ".join(shown.out.split())
    assert "Verdict The fitted car follows the log to its noise" in told
    assert ("[mph]" in told) == (system == "us")


def test_json_is_strict_and_holds_the_values(folder: Path, capsys: Capture) -> None:
    assert answer(_call(folder, "--json", "--quiet")) == 0
    told = json.loads(capsys.readouterr().out, parse_constant=_refuse_constant)
    assert told["format"] == "simlaunch-fit-1"
    friction = next(each for each in told["values"] if each["name"] == "friction")
    assert friction["fitted_value"] == pytest.approx(0.95, abs=0.01)
    assert friction["low_value"] < friction["fitted_value"] < friction["high_value"]
    assert friction["key"] == "road.friction_factor"
    assert friction["known_before"]["origin"].startswith("Common practice")
    assert len(told["correlation_ratios"]) == len(told["values"])
    assert told["logs"][0]["channels"][0]["unit"] == "m/s"
    assert told["left_out"] is None


def test_the_folder_gets_json_csv_and_figure_and_progress_goes_to_stderr(
    folder: Path, tmp_path: Path, capsys: Capture
) -> None:
    one_of_its_own = ("--seed", "5")  # else nothing would be left to do, and no progress to be seen
    assert answer(_call(folder, "--out", tmp_path / "out", *one_of_its_own)) == 0
    names = sorted(file.name for file in (tmp_path / "out").iterdir() if file.name != WRITTEN)
    assert names == [f"road-coupe-fit{end}" for end in ("-residuals.png", "-residuals.svg", ".csv", ".json")]
    assert "Correlation of errors,friction" in (tmp_path / "out" / "road-coupe-fit.csv").read_text("utf-8")
    shown = capsys.readouterr()
    assert "start 1 of 1: residuals" in shown.err  # progress
    assert "start 1 of 1" not in shown.out


def test_the_fitted_scenario_is_written_and_sound(folder: Path, capsys: Capture) -> None:
    new = folder / "new.toml"
    assert answer(_call(folder, "--save", new)) == 0
    assert f"wrote {new}" in capsys.readouterr().err
    assert answer(["check", str(new)]) == 0
    assert answer(["odds", str(new), "--cases", "64", "--quiet"]) == 0
    assert "The table of what decides is left out" in " ".join(capsys.readouterr().out.split())
    assert "is there already" in refused(capsys, *_call(folder, "--save", new))


def test_a_coast_down_gives_the_road_load(folder: Path, tmp_path: Path, capsys: Capture) -> None:
    path = coasted(tmp_path / "coast.csv", mass=1649.0, constant=172.6, square=0.4)
    values = ("--value", "drag area", "--value", "rolling resistance", "--starts", "1")
    assert answer(["fit", str(folder / "road-coupe.toml"), "--coast-down", str(path), *values, "--quiet"]) == 0
    told = capsys.readouterr().out
    assert re.search(r"mass with what turns \[kg\] +1649\n", told)
    assert "time from 70 to 60 km/h [s]" in told


@pytest.mark.parametrize(
    ("options", "words", "code"),
    [
        (["--value", "drag are"], 'did you mean "drag area"', 2),
        (["--curve", "peak", "--curve", "plateau"], "--curve is given 2 times for 1 launches", 2),
        (["--curve", "none"], 'no curve is named "none"', 2),
        (["--leave-out", "1"], "the only log cannot be left out", 2),
        (["--own", "friction"], "more than one log", 2),
        (["--for-log", "air.temperature=4 degC"], "write NUMBER: KEY=VALUE", 2),
        (["--for-log", "2: air.temperature=4 degC"], "there are 1 logs", 2),
        (["--for-log", "1: body.mas=4 kg"], "did you mean mass?", 2),
        (["--for-log", "1: body.mass=4 km"], "body.mass", 3),
        (["--noise", "3"], "--noise", 3),
        (["--noise", "1000 km/h"], "is not from 0.0001 m/s to 10 m/s", 3),
        (["--lag", "5 s"], "is not from 0 s to 0.6 s", 3),
        (["--until", "-3 s"], "is not from 0.2 s to 600 s", 3),
        (["--until", "0.5 s"], "a fit needs 12 at least", 3),
        (["--unit", "speed=m/s"], "the tyres of the scenario allow", 3),
        (["--save", "far.txt"], "does not end in .toml", 3),
        (["--set", "body.mass=1700 kg", "--save", "new.toml"], "write what --set or --with changes into it first", 2),
    ],
)
def test_what_is_refused(folder: Path, capsys: Capture, options: list[str], words: str, code: int) -> None:
    assert words in refused(capsys, *_call(folder, *options), code=code)


def test_without_a_log_there_is_nothing_to_fit_to(folder: Path, capsys: Capture) -> None:
    assert "there is nothing to fit to" in refused(capsys, "fit", folder / "road-coupe.toml", code=2)
    assert "does not exist" in refused(capsys, "fit", folder / "road-coupe.toml", "--log", folder / "none.csv")
