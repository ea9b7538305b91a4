"""What each command prints, where it prints it, and the code it ends with; in this process."""

from __future__ import annotations

import csv
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from made_once import made_once
from simlaunch.analysis import check
from simlaunch.cli.ending import answered, ended
from simlaunch.cli.main import answer
from simlaunch.comparing import compare
from simlaunch.errors import SimlaunchError, TargetNotReached, UsageError
from simlaunch.writing import WRITTEN

SCENARIOS = Path(__file__).parents[2] / "scenarios"
COUPE, GRIP = str(SCENARIOS / "road-coupe.toml"), str(SCENARIOS / "all-drive-grip.toml")
CALLS = {
    "check": ["check", COUPE],
    "run": ["run", COUPE],
    "compare": ["compare", COUPE, "--cases", "64"],
    "usable": ["usable", COUPE],
}

Capture = pytest.CaptureFixture[str]


@pytest.fixture(scope="module", autouse=True)
def studies() -> Iterator[None]:
    with made_once(check=check, compare=compare):
        yield


def _strict(text: str) -> Any:
    def refuse(name: str) -> Any:
        raise ValueError(name)

    return json.loads(text, parse_constant=refuse)


def _failed(capsys: Capture, code: int, *arguments: str) -> str:
    """What a call that ends with this code says on stderr; it prints no result and no traceback."""
    assert answer(arguments) == code
    shown = capsys.readouterr()
    assert shown.out == ""
    assert "Traceback" not in shown.err
    return shown.err


# --- results ---


@pytest.mark.parametrize("system", ["metric", "us"])
@pytest.mark.parametrize("command", CALLS)
def test_results_stand_on_stdout_within_80_columns(capsys: Capture, command: str, system: str) -> None:
    assert answer([*CALLS[command], "--quiet", "--units", system]) == 0
    shown = capsys.readouterr()
    assert shown.err == ""
    assert shown.out.endswith("\n")
    assert max(map(len, shown.out.splitlines())) <= 80
    assert shown.out.replace("\n", "").isprintable()
    assert (" lb" in shown.out) == (system == "us")


@pytest.mark.parametrize("command", CALLS)
def test_json_is_one_strict_object_and_nothing_else(capsys: Capture, command: str) -> None:
    assert answer([*CALLS[command], "--json", "--quiet"]) == 0
    shown = capsys.readouterr()
    assert shown.err == ""
    assert _strict(shown.out)["format"] == f"simlaunch-{command}-1"


TOLD = {"hurts": '"plateau" is 0.', "no_difference": "no difference worth naming", "helps": '"higher peak" is 0.'}


@pytest.mark.parametrize(("file", "findings"), [(COUPE, {"hurts", "no_difference"}), (GRIP, {"helps"})])
def test_compare_says_whether_the_peak_helps(capsys: Capture, file: str, findings: set[str]) -> None:
    assert answer(["compare", file, "--quiet"]) == 0
    verdict = " ".join(capsys.readouterr().out.rpartition("\nVerdict\n")[2].split())
    assert answer(["compare", file, "--json", "--quiet"]) == 0
    told = _strict(capsys.readouterr().out)["pairs"][0]["verdict"]
    assert told["finding"] in findings
    assert TOLD[told["finding"]] in verdict
    assert " ".join(told["sentences"]) == verdict


def test_the_order_of_the_curves_is_the_user_s(capsys: Capture) -> None:
    assert answer([*CALLS["compare"], "--curve", "plateau", "--curve", "peak", "--json", "--quiet"]) == 0
    turned = _strict(capsys.readouterr().out)
    assert answer([*CALLS["compare"], "--json", "--quiet"]) == 0
    straight = _strict(capsys.readouterr().out)
    assert [runs["curve"] for runs in turned["runs"]] == ["plateau", "peak"]
    gaps = [shown["pairs"][0]["full"]["at_goal"]["gap_s"] for shown in (turned, straight)]
    assert gaps[0] == pytest.approx(-gaps[1], rel=1e-12)
    assert turned["pairs"][0]["verdict"] == straight["pairs"][0]["verdict"]


def test_run_takes_curve_and_pedal(capsys: Capture) -> None:
    assert answer(["run", COUPE, "--curve", "plateau", "--pedal", "held", "--quiet"]) == 0
    assert 'Curve "plateau", held slip\n' in capsys.readouterr().out


def test_run_takes_a_tolerance_and_adds_histories(capsys: Capture) -> None:
    assert answer(["run", COUPE, "--json", "--trace", "--tolerance", "1e-8", "--quiet"]) == 0
    fine = _strict(capsys.readouterr().out)
    assert answer(["run", COUPE, "--json", "--quiet"]) == 0
    usual = _strict(capsys.readouterr().out)
    assert fine["steps"] > usual["steps"]
    assert len(fine["trace"]["time_s"]) == len(fine["trace"]["speed_m_per_s"])
    assert "trace" not in usual


def test_values_can_be_set_on_the_line(capsys: Capture) -> None:
    changes = ["--set", "body.mass=1700 kg", "--set", 'run.until=["100 m"]']
    assert answer(["run", COUPE, *changes, "--json", "--quiet"]) == 0
    shown = _strict(capsys.readouterr().out)
    assert shown["conditions"]["mass_kg"] == 1700.0
    assert shown["marks"][-1]["end_m"] == 100.0


def test_schema_is_the_schema(capsys: Capture) -> None:
    assert answer(["schema"]) == 0
    shown = _strict(capsys.readouterr().out)
    assert shown["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert "curves" in shown["required"]


def test_version(capsys: Capture) -> None:
    assert answer(["--version"]) == 0
    assert capsys.readouterr().out.split()[0] == "simlaunch"


@pytest.mark.parametrize("option", ["-h", "--help"])
@pytest.mark.parametrize("command", [None, "check", "run", "compare", "usable", "curve", "log", "schema"])
def test_help_is_plain_text_of_80_columns(capsys: Capture, command: str | None, option: str) -> None:
    assert answer([*([command] if command else []), option]) == 0
    shown = capsys.readouterr()
    assert shown.out.startswith("Usage: simlaunch")
    assert max(map(len, shown.out.splitlines())) <= 80
    assert shown.out.replace("\n", "").isprintable()
    assert shown.err == ""


# --- files ---


@pytest.mark.parametrize(
    ("command", "figures"),
    [("check", []), ("run", ["history"]), ("compare", ["gap", "slip", "why", "torque"]), ("usable", ["torque"])],
)
def test_out_writes_json_csv_and_figures(capsys: Capture, tmp_path: Path, command: str, figures: list[str]) -> None:
    folder = tmp_path / "new" / "folder"
    assert answer([*CALLS[command], "--out", str(folder)]) == 0
    stem = f"road-coupe-{command}"
    drawn = {f"{stem}-{name}.{kind}" for name in figures for kind in ("png", "svg")}
    assert {path.name for path in folder.iterdir() if path.name != WRITTEN} == drawn | {f"{stem}.json", f"{stem}.csv"}
    told = capsys.readouterr().err
    assert all(name in told for name in drawn)
    assert _strict((folder / f"{stem}.json").read_text("utf-8"))["format"] == f"simlaunch-{command}-1"
    rows = list(csv.reader((folder / f"{stem}.csv").read_text("utf-8").splitlines()))
    assert rows[0] == ["table", "row", "unit", "column", "value"]
    assert len(rows) > 10
    assert {len(row) for row in rows} == {5}


def test_a_folder_that_cannot_be_written_is_found_out_before_the_work(capsys: Capture, tmp_path: Path) -> None:
    occupied = tmp_path / "file"
    occupied.touch()
    for folder in (occupied, occupied / "below"):
        told = _failed(capsys, 3, "compare", COUPE, "--out", str(folder))
        assert told.startswith(f'--out: "{folder}" cannot be written (')
        assert told.endswith("name a folder that you may write to\n")


# --- what goes wrong ---


def test_a_missing_file(capsys: Capture, tmp_path: Path) -> None:
    file = tmp_path / "none.toml"
    assert _failed(capsys, 3, "compare", str(file)) == (f"{file}: 1 fault\n  file: does not exist; check the path\n")


def test_a_folder_in_place_of_a_file(capsys: Capture, tmp_path: Path) -> None:
    assert "is not a regular file" in _failed(capsys, 3, "run", str(tmp_path))


@pytest.mark.parametrize("command", CALLS)
def test_an_empty_file_has_every_section_missing(capsys: Capture, tmp_path: Path, command: str) -> None:
    file = tmp_path / "empty.toml"
    file.touch()
    told = _failed(capsys, 3, command, str(file))
    assert "  gearbox: is missing; add the table [gearbox]\n" in told
    assert len(told.splitlines()) == 11


def test_broken_toml(capsys: Capture, tmp_path: Path) -> None:
    file = tmp_path / "broken.toml"
    file.write_text("format = 1\nname = [\n")
    assert "is not TOML" in _failed(capsys, 3, "check", str(file))


def test_faults_as_json_stand_on_stdout_too(capsys: Capture, tmp_path: Path) -> None:
    file = tmp_path / "broken.toml"
    file.write_text("format = 2\n")
    assert answer(["check", str(file), "--json"]) == 3
    shown = capsys.readouterr()
    found = _strict(shown.out)
    assert found["sound"] is False
    assert found["faults"][0]["place"] == "format"
    assert shown.err.startswith(str(file))


@pytest.mark.parametrize("command", ["run", "compare"])
def test_an_unknown_curve_names_the_choices(capsys: Capture, command: str) -> None:
    told = _failed(capsys, 2, command, COUPE, "--curve", "plato", "--quiet")
    assert told == 'no curve is named "plato"; choose one of "peak", "plateau"\n'


def test_comparing_takes_two_curves(capsys: Capture) -> None:
    assert "at least two curves" in _failed(capsys, 2, "compare", COUPE, "--curve", "peak", "--quiet")


@pytest.mark.parametrize("tolerance", ["5", "1e-20", "nan", "fine", "-1"])
def test_a_tolerance_out_of_range(capsys: Capture, tolerance: str) -> None:
    told = _failed(capsys, 2, "run", COUPE, "--tolerance", tolerance, "--quiet")
    assert "tolerance" in told


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["run", COUPE, "--pedal", "half"], ("full", "held")),
        (["run", COUPE, "--units", "imperial"], ("metric", "us")),
        (["run", COUPE, "--method", "euler"], ("compiled", "reference")),
        (["drive", COUPE], ("check", "run", "compare", "usable", "schema")),
        ([], ("check", "run", "compare", "usable", "schema")),
        (["run"], ("SCENARIO",)),
        (["run", COUPE, "--jason"], ("--jason",)),
        (["check", COUPE, "--set", "body.mass"], ("KEY=VALUE",)),
        (["check", COUPE, "--set", "body.mas=1 kg"], ("did you mean mass?",)),
        (["check", COUPE, "--set", "curves.name=x"], ("change curves in the file",)),
        (["check", COUPE, "--set", "run.until=[1"], ("is not a list",)),
    ],
)
def test_usage_errors_name_the_choices(capsys: Capture, arguments: list[str], words: tuple[str, ...]) -> None:
    told = _failed(capsys, 2, *arguments)
    assert all(word in told for word in words)


def test_a_value_that_does_not_do_is_bad_input(capsys: Capture) -> None:
    assert "body.mass: " in _failed(capsys, 3, "check", COUPE, "--set", "body.mass=5 kgg")


def test_a_hostile_path_gives_the_terminal_no_orders(capsys: Capture) -> None:
    told = _failed(capsys, 3, "check", "a\x1b[31mb\u202e.toml")
    assert told.startswith("a\\x1b[31mb\\u202e.toml: ")
    assert told.replace("\n", "").isprintable()


def test_a_target_that_was_not_reached_ends_with_4_and_prints_all_the_same(capsys: Capture) -> None:
    assert answer(["run", COUPE, "--set", "run.time_limit=5 s"]) == 4
    shown = capsys.readouterr()
    assert "the time limit came first: raise" in " ".join(shown.out.split())
    assert shown.err == "a launch did not reach its target; the results state which, and why\n"


def test_curves_that_do_not_get_there_have_no_verdict_but_an_answer(capsys: Capture) -> None:
    assert answer(["compare", COUPE, "--set", "run.time_limit=5 s", "--quiet"]) == 4
    shown = " ".join(capsys.readouterr().out.split())
    assert 'Verdict No verdict: 1/4 mile was reached neither by "peak" nor by "plateau".' in shown
    assert "nan" not in shown
    assert answer(["compare", COUPE, "--set", "run.time_limit=5 s", "--json", "--quiet"]) == 4
    verdict = _strict(capsys.readouterr().out)["pairs"][0]["verdict"]
    assert verdict["full_gap_s"] is None
    assert verdict["finding"] == "out_of_reach"


def test_bad_energy_ends_with_1_before_a_missed_target(capsys: Capture) -> None:
    assert ended(bad=True, reached=False) == 3
    assert "do not use its numbers" in capsys.readouterr().err
    assert ended(bad=False, reached=True) == 0


# --- ends ---


def _raise(error: BaseException) -> None:
    raise error


@pytest.mark.parametrize(
    ("error", "code"),
    [
        (SimlaunchError("a"), 1),
        (UsageError("a"), 2),
        (TargetNotReached("a"), 4),
        (KeyboardInterrupt(), 130),
        (SystemExit(5), 5),
    ],
)
def test_each_kind_of_end_has_its_code(capsys: Capture, error: BaseException, code: int) -> None:
    assert answered(lambda: _raise(error)) == code
    assert "Traceback" not in capsys.readouterr().err


@pytest.mark.parametrize("error", [KeyError("x\x1b[2J"), RecursionError("deep"), MemoryError(), OSError(5, "io")])
def test_an_unforeseen_fault_is_one_line_that_says_how_to_report_it(
    capsys: Capture, monkeypatch: pytest.MonkeyPatch, error: BaseException
) -> None:
    monkeypatch.delenv("SIMLAUNCH_DEBUG", raising=False)
    assert answered(lambda: _raise(error)) == 1
    told = capsys.readouterr().err
    assert told.startswith(f"internal error: {type(error).__name__}: ")
    assert "(test_commands.py:" in told
    assert "please report" in told
    assert told.count("\n") == 1
    assert told[:-1].isprintable()


def test_a_fault_is_shown_in_full_when_asked_for(capsys: Capture, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SIMLAUNCH_DEBUG", "1")
    assert answered(lambda: _raise(KeyError("x"))) == 1
    assert "Traceback" in capsys.readouterr().err
