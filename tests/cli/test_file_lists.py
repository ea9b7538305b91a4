"""Options that take several files: as a shell expands a pattern, joined by =, repeated, and beside scenarios."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from simlaunch.cli.file_lists import taking_lists
from simlaunch.cli.main import answer
from simlaunch.errors import UsageError

Capture = pytest.CaptureFixture[str]
SCENARIOS = Path(__file__).parents[2] / "scenarios"
SHEETS, COUPE = SCENARIOS / "sheets", str(SCENARIOS / "road-coupe.toml")
BEFORE = [str(SHEETS / f"invented-before-{n}.csv") for n in (1, 2)]
AFTER = [str(SHEETS / f"invented-after-{n}.csv") for n in (1, 2)]


def _parsed(args: str, *options: str, beside_scenarios: bool = False) -> list[str]:
    """Arguments as the parser gets them."""
    command: Any = object.__new__(taking_lists(*options, beside_scenarios=beside_scenarios))
    return list(command._repeated(list(command._apart(args.split()))))


@pytest.mark.parametrize(
    ("typed", "parsed"),
    [
        ("car.toml --log a b", "car.toml --log a --log b"),
        ("car.toml --log=a b", "car.toml --log a --log b"),
        ("car.toml --log a --log b", "car.toml --log a --log b"),
        ("--log a b car.toml", "--log a --log b car.toml"),
        ("car.toml --log b.toml c", "car.toml --log b.toml --log c"),
        ("--log a b folder.TOML c", "--log a --log b folder.TOML c"),
        ("car.toml --log a b --log-after c d", "car.toml --log a --log b --log-after c --log-after d"),
        ("car.toml --log a b --curve old --curve new", "car.toml --log a --log b --curve old --curve new"),
        ("car.toml --log a b -- c", "car.toml --log a --log b -- c"),
        ("car.toml -- --log a b", "car.toml -- --log a b"),
        ("car.toml --value=--log a", "car.toml --value=--log a"),
    ],
)
def test_every_file_up_to_the_next_option_belongs_to_the_list(typed: str, parsed: str) -> None:
    assert " ".join(_parsed(typed, "--log", "--log-after", beside_scenarios=True)) == parsed


@pytest.mark.parametrize("typed", ["car.toml --log", "car.toml --log --quiet", "car.toml --log="])
def test_a_list_without_a_file_is_refused(typed: str) -> None:
    with pytest.raises(UsageError, match=r"--log names no log; write such as --log a\.csv b\.csv"):
        _parsed(typed, "--log", beside_scenarios=True)


@pytest.mark.parametrize("command", ["log", "fit", "live", "report", "curve"])
def test_a_command_without_any_argument_says_what_it_needs(capsys: Capture, command: str) -> None:
    assert answer([command]) == 2
    assert "internal error" not in capsys.readouterr().err


def test_a_folder_ends_a_list_only_beside_scenarios(tmp_path: Path) -> None:
    (tmp_path / "cars").mkdir()
    folder = str(tmp_path / "cars")
    assert _parsed(f"--log a {folder}", "--log", beside_scenarios=True) == ["--log", "a", folder]
    assert _parsed(f"--log a {folder}", "--log") == ["--log", "a", "--log", folder]


def _out(capsys: Capture, *arguments: str) -> str:
    assert answer([*arguments, "--quiet"]) == 0
    return capsys.readouterr().out


def test_files_after_a_change_belong_to_it_when_the_first_is_joined_by_an_equals_sign(capsys: Capture) -> None:
    """Taken for a file before the change, the second one would turn the answer."""
    usual = _out(capsys, "log", *BEFORE, "--after", *AFTER)
    assert usual.startswith("2 logs before, 2 after\n")
    assert _out(capsys, "log", *BEFORE, f"--after={AFTER[0]}", AFTER[1]) == usual
    assert _out(capsys, "log", BEFORE[0], f"--after={AFTER[0]}").startswith("1 log before, 1 after\n")
    assert _out(capsys, "log", *BEFORE).startswith("2 logs\n")
    assert answer(["log", *BEFORE, f"--after={AFTER[0]}", "--quiet", AFTER[1]]) == 2
    assert "does not belong to --after" in " ".join(capsys.readouterr().err.split())


def test_a_pattern_names_all_pulls_of_a_curve(tmp_path: Path, capsys: Capture) -> None:
    pull = SHEETS / "invented-pull-log.csv"
    (tmp_path / "again.csv").write_bytes(pull.read_bytes())
    told = _out(capsys, "curve", "--from-log", str(pull), str(tmp_path / "again.csv"), "--scenario", COUPE)
    assert _out(
        capsys, "curve", "--from-log", str(pull), "--from-log", str(tmp_path / "again.csv"), "--scenario", COUPE
    ) == told  # fmt: skip
    assert "516 rows read" in told


@pytest.mark.parametrize(
    ("command", "option"),
    [
        ("fit", "--log"), ("fit", "--roll"), ("fit", "--coast-down"), ("live", "--log"), ("report", "--log"),
        ("report", "--log-after"), ("curve", "--from-log"), ("log", "--after"),
    ],
)  # fmt: skip
def test_help_says_so(capsys: Capture, command: str, option: str) -> None:
    assert answer([command, "--help"]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert f"{option} FILE..." in told
    assert "all files up to the next option" in told.split(f"{option} FILE...")[1][:220]


def test_each_file_of_a_list_is_read(tmp_path: Path, capsys: Capture) -> None:
    """A missing one is named by each command, whichever place it has in the list."""
    missing, there = str(tmp_path / "none.csv"), str(SHEETS / "invented-launch-log.csv")
    for arguments in (["fit", COUPE, "--log", there, missing], ["report", COUPE, "--log", there, missing],
                      ["live", COUPE, "--no-browser", "--log", there, missing]):  # fmt: skip
        assert answer([*arguments, "--quiet"]) == 3, arguments
        assert "none.csv" in capsys.readouterr().err
