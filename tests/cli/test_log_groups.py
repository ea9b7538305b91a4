"""`simlaunch log` with several logs, `curve --from-log`, and projects: one answer with Python, and what is refused."""

from __future__ import annotations

import json
import re
import shutil
from html import unescape
from importlib import import_module
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import simlaunch
from made_once import made_once
from readers.catalogue import refused
from simlaunch.cli.main import answer
from simlaunch.errors import ScenarioError, UsageError
from simlaunch.output.as_json import dumps
from simlaunch.scenario.model import Scenario
from simlaunch.writing import WRITTEN

Capture = pytest.CaptureFixture[str]
SCENARIOS = Path(__file__).parents[2] / "scenarios"
SHEETS, COUPE = SCENARIOS / "sheets", SCENARIOS / "road-coupe.toml"
BEFORE = [str(SHEETS / f"invented-before-{n}.csv") for n in (1, 2, 3)]
AFTER = [str(SHEETS / f"invented-after-{n}.csv") for n in (1, 2, 3)]
PULL = str(SHEETS / "invented-pull-log.csv")


def _json(capsys: Capture, *arguments: str) -> Any:
    assert answer([*arguments, "--quiet", "--json"]) == 0
    shown = capsys.readouterr()
    assert shown.err == ""
    return json.loads(shown.out)


def _same(told: Any, found: Any) -> None:
    assert told == json.loads(dumps(found.to_dict()))


def test_several_logs_one_answer(capsys: Capture) -> None:
    told = _json(capsys, "log", *BEFORE, "--after", *AFTER, "--for", "100 km/h to 180 km/h")
    _same(told, simlaunch.compare_logs(BEFORE, AFTER, targets=["100 km/h to 180 km/h"]))
    assert told["format"] == "simlaunch-logs-1"
    assert [log["set_up"] for log in told["logs"]] == ["before"] * 3 + ["after"] * 3
    assert told["evidence"] == "more"


def test_files_after_the_option_are_after_the_change_however_it_is_written(capsys: Capture) -> None:
    usual = _json(capsys, "log", *BEFORE, "--after", *AFTER)
    assert _json(capsys, "log", *BEFORE, "--after", AFTER[0], "--after", *AFTER[1:]) == usual
    assert _json(capsys, "log", "--after", *AFTER, "--units", "us", *BEFORE) == usual


def test_conditions_of_a_log(capsys: Capture) -> None:
    for_log = ("--scenario", str(COUPE), "--for-log", "2: air.head_wind=5 m/s")
    told = _json(capsys, "log", *BEFORE, "--after", *AFTER, *for_log)
    given = simlaunch.Correcting(simlaunch.load(COUPE))
    _same(told, simlaunch.compare_logs(BEFORE, AFTER, correcting=given, changes=[{}, {"air.head_wind": "5 m/s"}]))
    plain = _json(capsys, "log", *BEFORE, "--after", *AFTER)
    mark = next(n for n, each in enumerate(plain["changes"]) if each["label"] == "1/4 mile")
    moved = [a - b for a, b in zip(told["changes"][mark]["times_s"], plain["changes"][mark]["times_s"], strict=True)]
    assert moved[1] < -0.02  # against the wind it would have been quicker without it
    assert all(abs(each) < 1e-9 for n, each in enumerate(moved) if n != 1)


@pytest.mark.parametrize("system", ["metric", "us"])
def test_text_of_80_columns_and_files(tmp_path: Path, capsys: Capture, system: str) -> None:
    out = tmp_path / "out"
    assert answer(["log", *BEFORE, "--after", *AFTER, "--units", system, "--out", str(out), "--quiet"]) == 0
    assert max(map(len, capsys.readouterr().out.splitlines())) <= 80
    names = sorted(file.name for file in out.iterdir() if file.name != WRITTEN)
    assert names == [f"invented-before-1-logs{end}" for end in ("-history.png", "-history.svg", ".csv", ".json")]


@pytest.mark.parametrize(
    ("arguments", "words", "code"),
    [
        ([BEFORE[0], "--after"], "--after names no log", 2),
        ([BEFORE[0], "--align-at", "60 km/h"], "needs several logs", 2),
        ([*BEFORE, "--for-log", "1: air.head_wind=5 m/s"], "need a car; give --scenario", 2),
        ([*BEFORE, "--for", "nonsense"], "no target is named", 2),
        ([*BEFORE, "--align-at", "400 km/h"], "is not passed in", 3),
        ([BEFORE[0], "--after", BEFORE[0]], "is named twice", 2),
        ([BEFORE[0], "none-such.csv"], "none-such.csv", 3),
        ([*BEFORE, "--scenario", str(COUPE), "--for-log", "9: air.head_wind=5 m/s"], "there are 3 logs", 2),
        ([*BEFORE, "--scenario", str(COUPE), "--for-log", "1: body.mass=5 kg"], "no log is corrected for", 2),
    ],
)
def test_what_several_logs_refuse(capsys: Capture, arguments: list[str], words: str, code: int) -> None:
    assert words in refused(capsys, "log", *arguments, code=code)


def test_a_curve_from_a_log_one_answer(tmp_path: Path, capsys: Capture) -> None:
    saved = tmp_path / "c.csv"
    told = _json(capsys, "curve", "--from-log", PULL, "--scenario", str(COUPE), "--save", str(saved))
    coupe = simlaunch.load(COUPE)
    assert coupe.engine.displacement is not None
    _same(told, simlaunch.read_curve_from_logs([PULL], coupe, displacement=coupe.engine.displacement.si))
    assert "measured at: crank" in saved.read_text("utf-8")
    assert answer(["curve", str(saved), "--quiet"]) == 0


def _with_curve(folder: Path, file: Path) -> Scenario:
    """The car of the log with a saved curve in place of one of its own."""
    shutil.copytree(COUPE.parent, folder, dirs_exist_ok=True)
    shutil.copy(file, folder / "curves" / "logged.csv")
    text = COUPE.read_text("utf-8").replace("curves/road-coupe-peak.csv", "curves/logged.csv")
    (folder / COUPE.name).write_text(text, "utf-8")
    return simlaunch.load(folder / COUPE.name)


@pytest.mark.parametrize("gear", [None, "all"])
def test_a_curve_from_a_log_ends_before_the_rev_limit_and_can_be_held_up_to_it(
    tmp_path: Path, capsys: Capture, gear: str | None
) -> None:
    """The note names the option; without it the scenario refuses the file, with it the file loads and is held flat."""
    short, held = tmp_path / "short.csv", tmp_path / "held.csv"
    call = ["curve", "--from-log", PULL, "--scenario", str(COUPE), *(["--gear", gear] if gear else [])]
    told = _json(capsys, *call, "--save", str(short))
    [note] = [each for each in told["notes"] if "takes no curve that ends below it" in each]
    end = told["ends_at_rad_per_s"] * 30.0 / np.pi
    assert end < told["rev_limit_rad_per_s"] * 30.0 / np.pi == pytest.approx(6900.0)
    assert note.startswith(f"the curve ends at {end:.0f} rpm, and a scenario with a rev limit of 6900 rpm takes")
    assert told["hold_to_rad_per_s"] is None
    with pytest.raises(ScenarioError, match="lower it, or give the curve up to it"):
        _with_curve(tmp_path / "one", short)

    option = note.split("save with --hold-to ")[1].split('"')[1]
    told = _json(capsys, *call, "--save", str(held), "--hold-to", option)
    assert not any("takes no curve" in each for each in told["notes"])
    assert any(f"to {option}, where nothing was measured" in each for each in told["notes"])
    assert told["peak_power"]["engine_speed_rad_per_s"] <= told["ends_at_rad_per_s"]  # of what was measured
    loaded = _with_curve(tmp_path / "two", held)
    points = loaded.curve("peak").points
    assert points[-1][0].si == pytest.approx(6900.0 * np.pi / 30.0)
    assert points[-1][1].si == points[-2][1].si == pytest.approx(told["points"]["torque_N_m"][-1], abs=1e-3)
    assert "# note: held at" in held.read_text("utf-8")
    assert simlaunch.simulate(loaded.replace({"run.until": ["20 m"]})).reached

    coupe = simlaunch.load(COUPE)
    again, volume = tmp_path / "python.csv", coupe.engine.displacement
    assert volume is not None
    found = simlaunch.read_curve_from_logs(
        [PULL], coupe, gear="all" if gear else None, displacement=volume.si, hold_to=6900.0 * np.pi / 30.0
    )
    found.save(again)
    assert again.read_bytes() == held.read_bytes()
    _same(told, found)


def test_a_curve_is_held_only_beyond_its_end() -> None:
    """A sheet with a scenario is told of the same end; one without a rev limit is told nothing."""
    coupe = simlaunch.load(COUPE)
    for rpm in (5000.0, np.nan, np.inf, 30001.0):
        with pytest.raises(UsageError, match="where the curve ends, and up to 30000 rpm"):
            simlaunch.read_curve_from_logs([PULL], coupe, hold_to=rpm * np.pi / 30.0)
    sheet = str(COUPE.parent / "sheets" / "invented-wheel-sheet.csv")
    assert not any("takes no curve" in note for note in simlaunch.read_curve([sheet]).notes)
    told = simlaunch.read_curve([sheet], rev_limit=7500.0 * np.pi / 30.0).notes
    assert any('--hold-to "7500 rpm"' in note for note in told)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ([], "no dyno sheet is named"),
        (["--from-log", PULL, "--scenario", str(COUPE), "--hold-to", "6900 rpm"], "give --save too"),
        (["--from-log", PULL], "needs the car of a scenario"),
        (["--from-log", PULL, "--scenario", str(COUPE), "--losses", "12 %"], "cannot be combined with --losses"),
        (["sheet.csv", "--channel", "speed=v"], "--channel applies to --from-log"),
        (["--from-log", PULL, "--scenario", str(COUPE), "--gear", "9"], "there is no gear 9"),
    ],
)
def test_what_a_curve_from_a_log_refuses(capsys: Capture, arguments: list[str], words: str) -> None:
    assert words in refused(capsys, "curve", *arguments, code=2)


def _scenarios(folder: Path) -> dict[str, Path]:
    """Two scenarios of one customer, over a distance that is short."""
    folder.mkdir()
    for inner in ("curves", "tyres"):
        shutil.copytree(SCENARIOS / inner, folder / inner)
    text = COUPE.read_text("utf-8")
    short = text.replace('until = ["402.336 m", "200 km/h"]', 'until = ["60 m"]')
    found = {}
    for name, title in (("stock", "Stock <i>car</i>"), ("wish", "Wish")):
        found[name] = folder / f"{name}.toml"
        found[name].write_text(short.replace("Road coupe, rear drive", title), "utf-8")
    return found


def test_a_project_one_answer(tmp_path: Path, capsys: Capture) -> None:
    files = _scenarios(tmp_path / "customer")
    told = _json(capsys, "compare", str(tmp_path / "customer"), "--cases", "0")
    scenarios = {name: simlaunch.load(path) for name, path in files.items()}
    found = simlaunch.compare_project(scenarios, cases=0)
    _same(told, found)
    assert told["format"] == "simlaunch-project-1"
    assert [each["name"] for each in told["scenarios"]] == ["stock", "wish"]
    assert told["scenarios"][0]["format"] == "simlaunch-compare-1"
    assert found.figures()
    assert max(map(len, found.to_text().splitlines())) <= 80
    assert _json(capsys, "compare", *map(str, files.values()), "--cases", "0") == told


def test_pages_of_a_project_link_both_ways_and_replace_nothing(tmp_path: Path, capsys: Capture) -> None:
    _scenarios(tmp_path / "customer")
    pages = tmp_path / "pages"
    arguments = ["report", str(tmp_path / "customer"), "-o", str(pages), "--cases", "0"]
    pages.mkdir()
    (pages / "index.html").write_text("somebody's own", "utf-8")
    assert "is not as simlaunch wrote it" in refused(capsys, *arguments, code=3)
    assert [path.name for path in pages.iterdir()] == ["index.html"]
    module = import_module("simlaunch.reporting.report")
    with made_once(gather=module, edition=import_module("simlaunch.reporting.page")):
        _pages_are_made(tmp_path / "customer", pages, arguments, capsys)


def _pages_are_made(customer: Path, pages: Path, arguments: list[str], capsys: Capture) -> None:
    told = _json(capsys, *arguments, "--force")
    assert sorted(path.name for path in pages.iterdir()) == ["index.html", "stock-report.html", "wish-report.html"]
    index = (pages / "index.html").read_text("utf-8")
    for name, each in zip(("stock", "wish"), told["reports"], strict=True):
        assert f'href="{name}-report.html"' in index
        assert 'href="index.html"' in (pages / f"{name}-report.html").read_text("utf-8")
        assert each["format"] == "simlaunch-report-1"
    assert "Stock &lt;i&gt;car&lt;/i&gt;" in index
    assert "<script" not in index
    assert "default-src 'none'" in unescape(index)
    (customer / "wish.toml").unlink()  # one scenario of a project is enough
    assert answer([*arguments, "--quiet"]) == 0  # our own pages are written anew
    capsys.readouterr()


def test_what_a_project_refuses(tmp_path: Path, capsys: Capture) -> None:
    (tmp_path / "empty").mkdir()
    assert "holds no scenario" in refused(capsys, "compare", tmp_path / "empty", code=3)
    assert "have one name" in refused(capsys, "compare", COUPE, COUPE, code=2)
    files = _scenarios(tmp_path / "customer")
    assert "goes with one scenario" in refused(capsys, "report", *files.values(), "--curve", "peak", code=2)
    files["wish"].write_text("format = 1\n", "utf-8")
    assert "wish.toml" in refused(capsys, "compare", tmp_path / "customer", code=3)
    with pytest.raises(simlaunch.UsageError, match="no scenario is named"):
        simlaunch.compare_project({})


def test_a_file_behind_another_option_is_refused_where_it_may_be_of_either_set_up(capsys: Capture) -> None:
    for more in (["--units", "us"], ["--quiet"], ["--for=0-60 mph"]):
        assert answer(["log", *BEFORE, "--after", *AFTER[:2], *more, AFTER[2]]) == 2
        said = " ".join(capsys.readouterr().err.split())
        assert f"{AFTER[2]}: a file behind another option does not belong to --after" in said
    assert answer(["log", *BEFORE, "--units", "us", "--after", *AFTER, "--quiet"]) == 0
    assert answer(["log", *BEFORE[:1], "--quiet", *BEFORE[1:], "--after", *AFTER]) == 0


def test_speeds_that_nobody_asked_for_are_round_in_the_units_that_are_shown(tmp_path: Path, capsys: Capture) -> None:
    rolls = [_cut(tmp_path, n) for n in (1, 2)]
    assert answer(["log", *rolls, "--units", "us"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert re.search(r"time zero is where each passes \d*[05] mph", said)
    assert re.search(r"Logs, \d*[05] mph to \d*0 mph", said)
    assert "km/h" not in said.split("Verdict")[1]
    assert answer(["log", *rolls, "--align-at", "300 mph", "--units", "us"]) == 3
    assert re.search(r"300 mph is not passed in .* runs from \d+\.\d to \d+\.\d mph", _one_line(capsys))


def _one_line(capsys: Capture) -> str:
    return " ".join(capsys.readouterr().err.split())


def _cut(folder: Path, which: int) -> str:
    """A log that begins while the car rolls."""
    remark, head, *rows = Path(BEFORE[which]).read_text(encoding="utf-8").splitlines()
    path = folder / f"roll-{which}.csv"
    path.write_text("\n".join([remark, head, *rows[len(rows) // 2 :]]) + "\n", encoding="utf-8")
    return str(path)


def test_a_curve_of_all_gears_one_answer(capsys: Capture, tmp_path: Path) -> None:
    launch = str(SHEETS / "invented-launch-log.csv")
    told = _json(capsys, "curve", "--from-log", launch, "--scenario", str(COUPE), "--gear", "all")
    car = simlaunch.load(COUPE)
    volume = car.engine.displacement.si if car.engine.displacement else None
    _same(told, simlaunch.read_curve_from_logs([launch], car, gear="all", displacement=volume))
    assert [each["gear"] for each in told["by_gear"]] == [2, 3, 4]
    us = ["--units", "us", "--out", str(tmp_path), "--quiet"]
    assert answer(["curve", "--from-log", launch, "--scenario", str(COUPE), "--gear", "all", *us]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "km/h" not in said.replace('"Vehicle Speed" [km/h]', "")
    assert re.search(r"gear 3 \d+ 0\.\d -?\+?0\.\d used", said)


@pytest.mark.parametrize("gear", ["every", "0x4", "-1", "99999999999999999999", "4.0", ""])
def test_a_gear_that_is_none_is_refused(capsys: Capture, gear: str) -> None:
    assert answer(["curve", "--from-log", PULL, "--scenario", str(COUPE), f"--gear={gear}"]) == 2
    assert "is no gear" in capsys.readouterr().err


def test_all_gears_are_none_of_a_dyno_sheet(capsys: Capture) -> None:
    sheet = str(SHEETS / "invented-wheel-sheet.csv")
    assert answer(["curve", sheet, "--scenario", str(COUPE), "--gear", "all"]) == 2
    assert "write 1 to 12, such as 4" in capsys.readouterr().err
