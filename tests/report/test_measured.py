"""Logged runs on the customer's page: what a change did, runs beside launches, hostile names, and what is refused."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator, Sequence
from pathlib import Path
from statistics import mean, stdev
from typing import Any

import pytest
from selenium.webdriver.common.by import By

import simlaunch
from made_once import made_once
from report.pages import CASES, COUPE, texts
from report.test_in_a_browser import RULES, opened
from simlaunch.cli.main import answer
from simlaunch.metrics.marks import MarkResult
from simlaunch.reporting import gather

SHEETS = COUPE.parent / "sheets"
BEFORE, AFTER = ([SHEETS / f"invented-{name}-{n}.csv" for n in (1, 2, 3)] for name in ("before", "after"))
HOSTILE = "<script>alert(9)</script>.csv".replace("/", "")

pytestmark = pytest.mark.filterwarnings("ignore::ResourceWarning")  # sockets of the driver


def written(folder: Path, before: list[Path], after: list[Path], *more: str) -> Path:
    """A page with logs, made by the command line."""
    page = folder / "page.html"
    named = [word for log in before for word in ("--log", str(log))]
    named += [word for log in after for word in ("--log-after", str(log))]
    code = answer(["report", str(COUPE), "-o", str(page), "--cases", str(CASES), "--quiet", "--force", *named, *more])
    assert code == 0
    return page


@pytest.fixture(scope="module", autouse=True)
def studies() -> Iterator[None]:
    """What is calculated of the car, whatever was logged, made once; logs are read and pages are drawn anew."""
    with made_once(compare=gather, worth=gather, grid=gather):
        yield


def from_foot(found: Sequence[MarkResult]) -> float:
    """The quarter mile with rollout [s]."""
    return next(each.time_after_rollout for each in found if each.target.label == "1/4 mile")


@pytest.fixture(scope="module")
def both(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("measured")
    copy = folder / HOSTILE
    shutil.copy(BEFORE[0], copy)
    return written(folder, [copy, *BEFORE[1:]], AFTER)


def test_the_page_says_what_the_change_did_as_the_command_does(both: Path) -> None:
    page = " ".join(texts(both.read_text("utf-8")).split())
    verdict = simlaunch.compare_logs(BEFORE, AFTER).summary()
    assert " ".join(verdict.split()) in page.replace("\u00a0", " ")
    assert "That is more than repeat runs scatter by" in page
    assert "Nothing was corrected: weather, wind, slope and load of the day count as part of the change." in page
    for word in ("--scenario", "--for-log", "read as UTF-8"):
        assert word not in page


def test_runs_stand_beside_both_launches(both: Path) -> None:
    page = " ".join(texts(both.read_text("utf-8")).split())
    before, after = ([from_foot(simlaunch.read_log(log).marks) for log in logs] for logs in (BEFORE, AFTER))
    told = f"{mean(before):.3f} s in the log (mean of 3 logs, standard deviation {stdev(before):.3f} s)."
    assert f"Before: 1/4 mile with 1 ft rollout takes {told}" in page
    assert f"After: 1/4 mile with 1 ft rollout takes {mean(after):.3f} s in the log" in page
    found = from_foot(simlaunch.simulate(simlaunch.load(COUPE), "plateau").measures.marks)
    assert f"{found:.3f} s with" in page
    assert "where the car has moved one foot (rollout)" in page
    assert "a log does not say which" in page


def test_json_holds_both_and_the_same_logs_give_the_same_page(tmp_path: Path, capsys: Any) -> None:
    first = written(tmp_path, BEFORE[1:2], [], "--json").read_bytes()
    told = json.loads(capsys.readouterr().out)
    assert told["measured_before_and_after"] is None
    (beside,) = told["measured_and_calculated"]
    assert beside["curves"] == ["peak", "plateau"]
    mark = next(each for each in beside["marks"] if each["label"] == "1/4 mile")
    assert mark["scatter_s"] is None
    assert mark["from_first_foot"]
    assert mark["logged_s"] == pytest.approx(from_foot(simlaunch.read_log(BEFORE[1]).marks), abs=1e-9)
    assert 0.0 < beside["first_foot_within_s"] < 0.02
    assert f"1/4 mile with 1 ft rollout takes {mark['logged_s']:.3f} s in the log" in texts(first.decode())
    assert written(tmp_path, BEFORE[1:2], []).read_bytes() == first
    assert "Before and after the change" not in first.decode()


def test_logs_of_another_day_are_brought_to_the_scenario(tmp_path: Path, capsys: Any) -> None:
    """By the function of `compare_logs`; the page and the JSON say what was done."""
    day = ["--for-log", "2: air.head_wind=5 m/s", "--for-log", "2: road.grade=1 %"]
    page = written(tmp_path, BEFORE[:1], AFTER[:1], "--json", *day)
    told = json.loads(capsys.readouterr().out)
    before, after = told["measured_and_calculated"]
    assert after["corrected"] == ["torque not corrected"]
    changes = [{}, {"air.head_wind": "5 m/s", "road.grade": "1 %"}]
    coupe = simlaunch.load(COUPE)
    found = simlaunch.compare_logs(BEFORE[:1], AFTER[:1], correcting=simlaunch.Correcting(coupe), changes=changes)
    times = next(each.times for each in found.changes if each.target.label == "1/4 mile")
    quarters = [next(m["logged_s"] for m in each["marks"] if m["label"] == "1/4 mile") for each in (before, after)]
    assert quarters == pytest.approx(times, abs=1e-9)
    said = " ".join(texts(page.read_text("utf-8")).split())
    assert "are brought from its day to the conditions of the scenario" in said
    assert "Weather, wind and slope of the day are corrected as stated below" in said
    assert "Nothing was corrected" not in said


@pytest.mark.parametrize("width", [320, 1280])
def test_the_section_in_a_browser(driver: Any, axe: str, both: Path, width: int) -> None:
    opened(driver, both, width)
    assert driver.get_log("browser") == []
    section = driver.find_element(By.ID, "measured")
    assert section.is_displayed()
    assert section.find_elements(By.CSS_SELECTOR, "script, img") == []
    assert driver.execute_script("return document.documentElement.scrollWidth") <= width
    assert driver.find_elements(By.CSS_SELECTOR, "nav a[href='#measured']")
    driver.execute_script(axe)
    run = "axe.run({runOnly: arguments[0]}).then((found) => arguments[1](found.violations))"
    assert [each["id"] for each in driver.execute_async_script(run, RULES)] == []


@pytest.mark.parametrize(
    ("more", "code", "words"),
    [
        (["--log-after", "c.csv"], 2, "name those with --log"),
        (["--channel", "speed=V"], 2, "name those with --log"),
        (["--log", "nowhere.csv"], 3, "nowhere.csv"),
        (["--log", str(BEFORE[0]), "--log-after", str(BEFORE[0])], 2, "is named twice"),
        (["--log", str(COUPE)], 3, "road-coupe.toml"),
        (["--for-log", "1: air.temperature=4 degC"], 2, "name those with --log"),
        (["--log", str(BEFORE[0]), "--for-log", "2: air.temperature=4 degC"], 2, "there are 1 logs"),
        (["--log", str(BEFORE[0]), "--for-log", "1: body.mass=900 kg"], 2, "no log is corrected for"),
        (["--log", str(BEFORE[0]), "--for-log", "1: air.temperature=hot"], 3, "does not begin with a number"),
        (["--log", str(BEFORE[0]), "--to-correction", "ISO 1585"], 2, "no log says what weather it had"),
    ],
)
def test_what_is_refused_leaves_no_page(tmp_path: Path, capsys: Any, more: list[str], code: int, words: str) -> None:
    page = tmp_path / "page.html"
    assert answer(["report", str(COUPE), "-o", str(page), *more]) == code
    assert words in " ".join(capsys.readouterr().err.split())
    assert not page.exists()


def test_a_project_takes_no_logs(tmp_path: Path, capsys: Any) -> None:
    saloon = COUPE.with_name("all-drive-saloon.toml")
    assert answer(["report", str(COUPE), str(saloon), "-o", str(tmp_path / "p"), "--log", str(BEFORE[0])]) == 2
    assert "--log goes with one scenario" in capsys.readouterr().err
