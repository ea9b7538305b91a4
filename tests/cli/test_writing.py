"""Nothing is overwritten that simlaunch did not write, and every file is there whole or not at all."""

from __future__ import annotations

import contextlib
import os
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from simlaunch import writing
from simlaunch.cli.main import answer
from simlaunch.errors import InputError

SCENARIOS = Path(__file__).parents[2] / "scenarios"
COUPE = str(SCENARIOS / "road-coupe.toml")
posix = pytest.mark.skipif(os.name != "posix", reason="needs the links and rights of a POSIX system")
Capture = pytest.CaptureFixture[str]


def _check(folder: Path, *more: str) -> int:
    return answer(["check", COUPE, "--out", str(folder), "--quiet", *more])


# --- a folder of results ---


def test_a_second_run_replaces_what_the_first_one_wrote(tmp_path: Path) -> None:
    assert _check(tmp_path) == 0
    first = (tmp_path / "road-coupe-check.json").read_bytes()
    assert _check(tmp_path, "--set", "body.mass=1500 kg") == 0
    assert (tmp_path / "road-coupe-check.json").read_bytes() != first
    assert _check(tmp_path) == 0
    assert (tmp_path / "road-coupe-check.json").read_bytes() == first


@pytest.mark.parametrize("name", ["road-coupe-check.json", "road-coupe-check.csv"])
def test_a_file_of_somebody_else_stays(tmp_path: Path, capsys: Capture, name: str) -> None:
    (tmp_path / name).write_text("mine")
    assert _check(tmp_path) == 3
    assert "is there already, and is not as simlaunch wrote it; name another file, or give --force" in (
        capsys.readouterr().err
    )
    assert [path.name for path in tmp_path.iterdir()] == [name]
    assert (tmp_path / name).read_text() == "mine"
    assert _check(tmp_path, "--force") == 0
    assert (tmp_path / name).read_text("utf-8") != "mine"


def test_a_file_that_was_changed_since_it_was_written_stays(tmp_path: Path) -> None:
    assert _check(tmp_path) == 0
    table = tmp_path / "road-coupe-check.csv"
    table.write_text(table.read_text("utf-8") + "my remark\n", "utf-8")
    assert _check(tmp_path) == 3
    assert table.read_text("utf-8").endswith("my remark\n")


@posix
def test_nothing_is_written_through_a_link(tmp_path: Path) -> None:
    mine = tmp_path / "mine.txt"
    mine.write_text("mine")
    folder = tmp_path / "out"
    folder.mkdir()
    (folder / "road-coupe-check.json").symlink_to(mine)
    assert _check(folder) == 3
    assert _check(folder, "--force") == 0
    assert mine.read_text() == "mine"
    assert not (folder / "road-coupe-check.json").is_symlink()


@posix
def test_the_list_of_written_files_is_not_followed_either(tmp_path: Path) -> None:
    mine = tmp_path / "mine.txt"
    mine.write_text("mine\n")
    folder = tmp_path / "out"
    folder.mkdir()
    (folder / writing.WRITTEN).symlink_to(mine)
    assert _check(folder) == 3
    assert mine.read_text() == "mine\n"


def test_all_or_nothing_is_written(tmp_path: Path) -> None:
    (tmp_path / "b").write_text("mine")
    with pytest.raises(InputError, match="is not as simlaunch wrote it"):
        writing.write_folder("--out", tmp_path, {"a": b"1", "b": b"2"})
    assert [path.name for path in tmp_path.iterdir()] == ["b"]


# --- one file ---


def test_a_file_that_is_there_stays_without_force(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text("mine")
    for call in (writing.check, lambda place, path: writing.write(place, path, "ours")):
        with pytest.raises(InputError, match=r"--save: .* is there already; name another file, or give --force"):
            call("--save", path)
    assert path.read_text() == "mine"
    writing.write("--save", path, "ours", force=True)
    assert path.read_text() == "ours"
    assert [each.name for each in tmp_path.iterdir()] == ["a.csv"]


def test_files_that_look_temporary_are_left_alone(tmp_path: Path) -> None:
    names = ["a.csv.part", ".a.csv.part", f".simlaunch-{os.getpid()}.part", ".simlaunch-probe"]
    for name in names:
        (tmp_path / name).write_text("mine")
    writing.write("--csv", tmp_path / "a.csv", "ours")
    writing.check_folder("--out", tmp_path)
    assert {path.name: path.read_text() for path in tmp_path.iterdir()} == {
        **dict.fromkeys(names, "mine"),
        "a.csv": "ours",
    }


def test_a_name_that_is_taken_meanwhile_stays_with_whoever_was_quicker(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"

    def attempt() -> None:
        with writing.whole("--csv", path) as part:
            part.write_text("ours")
            path.write_text("mine")

    with pytest.raises(InputError, match="is there already"):
        attempt()
    assert path.read_text() == "mine"
    assert [each.name for each in tmp_path.iterdir()] == ["a.csv"]


@pytest.fixture
def restless() -> Iterator[None]:
    """Threads take turns as often as they can."""
    before = sys.getswitchinterval()
    sys.setswitchinterval(1e-6)
    yield
    sys.setswitchinterval(before)


@pytest.mark.usefixtures("restless")
def test_of_many_writers_at_once_one_gets_the_name(tmp_path: Path) -> None:
    for turn in range(100):  # what goes wrong does so once in twenty times
        path, won = tmp_path / f"{turn}.csv", list[int]()

        def attempt(number: int, path: Path = path, won: list[int] = won) -> None:
            with contextlib.suppress(InputError):
                writing.write("--csv", path, f"{number}")
                won.append(number)

        writers = [threading.Thread(target=attempt, args=(number,)) for number in range(16)]
        for writer in writers:
            writer.start()
        for writer in writers:
            writer.join()
        assert [path.read_text()] == [str(number) for number in won]


def test_a_failure_on_the_way_leaves_nothing(tmp_path: Path) -> None:
    def attempt(error: Exception) -> None:
        with writing.whole("--csv", tmp_path / "a.csv") as part:
            part.write_text("half")
            raise error

    for error in (ZeroDivisionError("mine"), ValueError("mine")):
        with pytest.raises(type(error), match="mine"):
            attempt(error)
    with pytest.raises(InputError, match="cannot be written"):
        attempt(OSError(28, "No space left on device"))
    assert list(tmp_path.iterdir()) == []


@posix
def test_an_abrupt_end_leaves_nothing_half_written(tmp_path: Path) -> None:
    with contextlib.suppress(InputError), writing.whole("--csv", tmp_path / "a.csv") as part:
        part.write_text("half")
        writing.abandon()
        assert list(tmp_path.iterdir()) == []
    assert list(tmp_path.iterdir()) == []


@posix
def test_a_file_system_without_links_serves_as_well(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def none(*arguments: object) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(os, "link", none)
    writing.write("--csv", tmp_path / "a.csv", "ours")
    assert (tmp_path / "a.csv").read_text() == "ours"
    with pytest.raises(InputError, match="is there already"):
        writing.write("--csv", tmp_path / "a.csv", "again")
    assert [each.name for each in tmp_path.iterdir()] == ["a.csv"]


@posix
def test_a_new_file_has_the_usual_rights_and_a_replaced_one_keeps_its_own(tmp_path: Path) -> None:
    usual = tmp_path / "usual"
    usual.touch()
    path = tmp_path / "a.csv"
    writing.write("--csv", path, "ours")
    assert path.stat().st_mode == usual.stat().st_mode
    path.chmod(0o600)
    writing.write("--csv", path, "again", force=True)
    assert path.stat().st_mode & 0o777 == 0o600


@pytest.mark.parametrize("force", [False, True])
def test_a_folder_is_never_replaced(tmp_path: Path, force: bool) -> None:
    (tmp_path / "a.csv").mkdir()
    with pytest.raises(InputError, match="is not a file; name one"):
        writing.write("--csv", tmp_path / "a.csv", "ours", force=force)


# --- every command ---


def test_every_command_that_writes_takes_force(capsys: Capture) -> None:
    writing_commands = ("check", "run", "compare", "report", "odds", "parts", "usable", "worth", "plateau", "curve",
                        "log", "fit", "sweep show")  # fmt: skip
    for command in writing_commands:
        assert answer([*command.split(), "--help"]) == 0
        assert "--force" in capsys.readouterr().out, command


def test_a_saved_curve_of_somebody_else_stays(tmp_path: Path, capsys: Capture) -> None:
    sheet = tmp_path / "sheet.csv"
    sheet.write_text("RPM,Torque (Nm)\n2000,100\n3000,160\n4000,220\n5000,270\n6000,300\n")
    target = tmp_path / "curve.csv"
    target.write_text("mine")
    call = ["curve", str(sheet), "--save", str(target), "--quiet"]
    assert answer(call) == 3
    assert "--force" in capsys.readouterr().err
    assert target.read_text() == "mine"
    assert answer([*call, "--force"]) == 0
    assert target.read_text("utf-8").endswith("6000,300\n")
