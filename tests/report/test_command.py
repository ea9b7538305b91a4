"""`simlaunch report` as a command: files that are whole or not there, and clear words where it cannot be."""

from __future__ import annotations

import hashlib
import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path

import pytest
from pypdf import PdfReader

from made_once import made_once
from report.pages import COUPE, hostile
from simlaunch.cli.main import answer
from simlaunch.errors import SimlaunchError
from simlaunch.reporting.gather import question, swept_of
from simlaunch.reporting.print_pdf import MARK, Printing
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.reading import load

Capture = pytest.CaptureFixture[str]
SCENARIOS = COUPE.parent
ROOT = hasattr(os, "geteuid") and os.geteuid() == 0


@pytest.fixture(scope="module", autouse=True)
def studies() -> Iterator[None]:
    """The studies of a report and its pictures, each made once; pages and printed pages are set anew."""
    module = import_module("simlaunch.reporting.report")
    with made_once(gather=module, edition=import_module("simlaunch.reporting.page")):
        yield


@pytest.fixture(scope="module")
def scenario_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return hostile(tmp_path_factory.mktemp("hostile"))


def refused(capsys: Capture, code: int, *arguments: str | Path) -> str:
    """What is said on stderr when a call is refused."""
    assert answer(["report", *map(str, arguments)]) == code
    shown = capsys.readouterr()
    assert shown.out == ""
    assert "Traceback" not in shown.err
    assert "internal error" not in shown.err
    return shown.err


def test_it_writes_one_page_and_prints_the_verdict(tmp_path: Path, scenario_file: Path, capsys: Capture) -> None:
    page = tmp_path / "new" / "folder" / "page.html"
    assert answer(["report", str(scenario_file), "-o", str(page), "--cases", "0"]) == 0
    shown = capsys.readouterr()
    assert f"wrote {page}" in shown.err
    assert shown.out.startswith("Report: ")
    assert "Verdict" in shown.out
    assert page.read_text("utf-8").startswith("<!doctype html>")
    assert [each.name for each in page.parent.iterdir()] == ["page.html"]


def test_what_is_no_report_of_ours_stays(tmp_path: Path, capsys: Capture) -> None:
    page, pdf = tmp_path / "page.html", tmp_path / "page.pdf"
    for path in (page, pdf):
        path.write_text("%PDF-1.7 <p>somebody's work</p>", "utf-8")
    assert "is not as simlaunch wrote it" in refused(capsys, 3, hostile(tmp_path), "-o", page)
    assert "is not as simlaunch wrote it" in refused(
        capsys, 3, hostile(tmp_path), "-o", tmp_path / "a.html", "--pdf", pdf
    )
    assert page.read_text("utf-8") == pdf.read_text("utf-8") == "%PDF-1.7 <p>somebody's work</p>"


def test_a_report_of_ours_is_written_anew_and_its_summary_agrees_with_it(
    tmp_path: Path, scenario_file: Path, capsys: Capture
) -> None:
    page = tmp_path / "page.html"
    page.write_text('<!doctype html><meta name="generator" content="simlaunch report 0.0.1">', "utf-8")
    arguments = ["report", str(scenario_file), "-o", str(page), "--cases", "0", "--json", "--quiet"]
    assert answer(arguments) == 0
    shown = capsys.readouterr()
    assert shown.err == ""
    found = json.loads(shown.out)
    assert found["format"] == "simlaunch-report-1"
    assert found["page_sha256"] == hashlib.sha256(page.read_bytes()).hexdigest()
    first, second = found["curves"]
    assert found["difference_s"] == pytest.approx(second["time_s"] - first["time_s"])
    assert f"{first['time_s']:.2f}" in page.read_text("utf-8")


def test_a_folder_and_a_place_that_cannot_be_are_refused(tmp_path: Path, capsys: Capture) -> None:
    scenario = hostile(tmp_path)
    assert "is not a file" in refused(capsys, 3, scenario, "-o", tmp_path)
    below = tmp_path / "file"
    below.write_text("", "utf-8")
    assert "cannot be written" in refused(capsys, 3, scenario, "-o", below / "page.html")
    assert "same file" in refused(capsys, 2, scenario, "-o", tmp_path / "a", "--pdf", tmp_path / "x" / ".." / "a")


@pytest.mark.skipif(ROOT or os.name != "posix", reason="the system lets root write anywhere")
def test_a_read_only_folder_is_refused(tmp_path: Path, capsys: Capture) -> None:
    closed = tmp_path / "closed"
    closed.mkdir(mode=0o500)
    assert "cannot be written" in refused(capsys, 3, hostile(tmp_path), "-o", closed / "page.html")


def test_a_report_is_about_two_curves_of_the_scenario(capsys: Capture, tmp_path: Path) -> None:
    page = tmp_path / "page.html"
    for curves in (["peak"], ["peak", "peak"]):
        named = [part for name in curves for part in ("--curve", name)]
        assert "two different curves" in refused(capsys, 2, COUPE, "-o", page, *named)
    assert "no curve is named" in refused(capsys, 2, COUPE, "-o", page, "--curve", "peak", "--curve", "pek")
    assert not page.exists()


def test_of_many_curves_the_highest_peak_meets_the_quickest_of_the_others() -> None:
    scenario: Scenario = load(SCENARIOS / "front-hatch.toml")
    assert question(scenario, None) == ("more peak", "more top")
    assert question(scenario, ["more top", "as delivered"]) == ("more top", "as delivered")


def test_a_sweep_of_another_car_is_refused(capsys: Capture, tmp_path: Path, sweep_file: Path) -> None:
    told = refused(capsys, 3, hostile(tmp_path), "-o", tmp_path / "page.html", "--sweep", sweep_file)
    assert "another scenario" in told


def test_a_sweep_of_an_earlier_description_is_recognised(sweep_file: Path) -> None:
    scenario = load(COUPE)
    assert swept_of(scenario, sweep_file).same_scenario
    for change in ({"body.mass": "1700 kg"}, {"pedal": {"actuator_delay": "80 ms"}}):
        assert not swept_of(scenario.replace(change), sweep_file).same_scenario
    assert swept_of(scenario.replace({"parts": [], "note": "Another note."}), sweep_file).same_scenario


def test_without_a_browser_it_says_what_to_do(capsys: Capture, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SIMLAUNCH_BROWSER", "no-such-browser")
    told = refused(capsys, 3, hostile(tmp_path), "-o", tmp_path / "a.html", "--pdf", tmp_path / "a.pdf")
    assert "install Chromium" in told
    assert not (tmp_path / "a.html").exists()


@pytest.mark.skipif(os.name != "posix", reason="makes a file that may be run, but is no program")
def test_a_browser_that_cannot_be_run_is_named(tmp_path: Path) -> None:
    broken = tmp_path / "browser"
    broken.write_bytes(b"\x7fELF but no more of it")
    broken.chmod(0o755)
    printing = Printing(str(broken))
    with pytest.raises(SimlaunchError, match=r"browser cannot be run \("):
        printing.printed("<!doctype html>")
    printing.stop()


def test_it_prints_by_itself(
    tmp_path: Path, scenario_file: Path, chromium: tuple[str, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """ANSI Y14.1: letter is 8.5 in by 11 in; a point is 1/72 in."""
    monkeypatch.setenv("SIMLAUNCH_BROWSER", chromium[0])
    page, pdf = tmp_path / "page.html", tmp_path / "page.pdf"
    arguments = ["report", str(scenario_file), "-o", str(page), "--pdf", str(pdf), "--cases", "0", "--quiet"]
    pdf.write_bytes(b"%PDF-1.7" + MARK)  # one of ours, which is written anew
    assert answer([*arguments, "--paper", "letter"]) == 0
    assert pdf.read_bytes().endswith(MARK)
    printed = PdfReader(pdf)
    assert [round(float(side)) for side in printed.pages[0].mediabox[2:]] == [612, 792]
    assert "Which curve" in printed.pages[0].extract_text()
    assert any("Words used on this page" in page.extract_text() for page in printed.pages[1:])


@pytest.mark.skipif(os.name != "posix", reason="sends a signal of a POSIX system")
def test_an_interruption_leaves_nothing_half_done(tmp_path: Path) -> None:
    out = tmp_path / "out"
    command = [sys.executable, "-m", "simlaunch", "report", str(COUPE), "-o", str(out / "page.html")]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        while not out.exists() and process.poll() is None:  # the folder is made before the work begins
            time.sleep(0.02)
        time.sleep(0.3)
        process.send_signal(signal.SIGINT)
        shown, told = process.communicate(timeout=60)
    assert process.returncode == 130
    assert shown == ""
    assert "interrupted" in told
    assert list(out.iterdir()) == []


def test_a_goal_out_of_reach_makes_a_page_that_says_so(tmp_path: Path, capsys: Capture) -> None:
    page = tmp_path / "page.html"
    arguments = ["report", str(hostile(tmp_path)), "-o", str(page), "--quiet", "--cases", "0"]
    assert answer([*arguments, "--set", "run.time_limit=2 s"]) == 4
    assert "No verdict" in page.read_text("utf-8")
    assert "Where torque pays" not in page.read_text("utf-8")
    assert "was reached neither by" in " ".join(capsys.readouterr().out.split())
