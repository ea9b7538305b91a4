"""Kept kernels: an edit is seen, and processes that start at once agree."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest

from small_package import CALL, PACKAGE, PART, Small, harmed, result, result_text, stand_in, start


@pytest.fixture(scope="module")
def code(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Folder with the stand-in package, into which no test writes."""
    return stand_in(tmp_path_factory.mktemp("code"))


@pytest.fixture(scope="module")
def once(code: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What a first process leaves behind."""
    kept = tmp_path_factory.mktemp("once") / "kept"
    assert result(start(Small(code, kept))) == (7.0, 0)
    return kept


@pytest.fixture
def empty(code: Path, tmp_path: Path) -> Small:
    """Nothing has been compiled yet."""
    return Small(code, tmp_path / "kept")


@pytest.fixture
def warm(code: Path, once: Path, tmp_path: Path) -> Small:
    """A first process has compiled and ended."""
    return Small(code, Path(shutil.copytree(once, tmp_path / "kept")))


def test_second_process_need_not_compile(warm: Small) -> None:
    assert result(start(warm)) == (7.0, 1)


def test_an_edit_in_another_file_is_seen(tmp_path: Path) -> None:
    """The entry's own file does not change: a cache keyed by that file alone would answer 7."""
    small = Small(stand_in(tmp_path / "code"), tmp_path / "kept")
    assert result(start(small)) == (7.0, 0)
    part = small.root / "simlaunch" / "physics" / "part.py"
    part.write_text(PART.replace("2.0 * x", "5.0 * x"))
    assert result(start(small)) == (16.0, 0)
    part.write_text(PART)
    assert result(start(small)) == (7.0, 1)


def test_a_process_finds_what_another_has_made_meanwhile(empty: Small) -> None:
    begun = "import subprocess, sys; from simlaunch.compiled import entry"
    another = f"subprocess.run([sys.executable, '-c', {CALL!r}], stdout=subprocess.DEVNULL, check=True)"
    assert result(start(empty, "\n".join((begun, another, CALL)))) == (7.0, 1)


def test_eight_processes_at_once_agree(empty: Small) -> None:
    together = [start(empty) for _ in range(8)]
    assert [result(process)[0] for process in together] == [7.0] * 8
    assert result(start(empty)) == (7.0, 1)
    assert list(empty.kernels.rglob("making-*")) == []


def test_what_else_lies_in_the_cache_folder_is_left_alone(empty: Small) -> None:
    stranger = empty.kept / "precious"
    stranger.mkdir(parents=True)
    (stranger / "file").write_text("mine")
    os.utime(stranger, (0.0, 0.0))
    result(start(empty))
    assert (stranger / "file").read_text() == "mine"


def test_what_else_lies_among_the_kernels_is_left_alone(empty: Small) -> None:
    """The folder that `SIMLAUNCH_CACHE` names may have a folder of kernels of another kind."""
    stranger = empty.kernels / "precious"
    stranger.mkdir(parents=True, mode=0o700)
    empty.kernels.chmod(0o700)
    for name in ("file", "making-more"):
        (stranger / name).write_text("mine")
        os.utime(stranger / name, (0.0, 0.0))
    os.utime(stranger, (0.0, 0.0))
    assert result(start(empty)) == (7.0, 0)
    assert result(start(empty)) == (7.0, 1)
    assert sorted(path.name for path in stranger.iterdir()) == ["file", "making-more"]


def test_a_cache_that_cannot_be_added_to_is_read(warm: Small) -> None:
    """A read-only file system, as its refusal of a new file shows it; the administrator may write to any other."""
    refused = (
        "import tempfile\n"
        "def refuse(**_): raise OSError(30, 'Read-only file system')\n"
        "tempfile.TemporaryFile = tempfile.mkstemp = refuse\n"
    )
    assert result(start(warm, refused + CALL)) == (7.0, 1)
    assert result(start(warm, refused + CALL.replace("answer(3.0)", "answer(3)"))) == (7.0, 0)


def test_kernels_for_other_arguments_stand_beside_it(warm: Small) -> None:
    """Two processes that each add the same kernel for an integer, while a third finds the one for a float."""
    other = CALL.replace("answer(3.0)", "answer(3)")
    both = [start(warm, other), start(warm, other), start(warm)]
    assert [result(process)[0] for process in both] == [7.0] * 3
    assert result(start(warm, other)) == (7.0, 1)
    assert result(start(warm)) == (7.0, 1)


@pytest.mark.parametrize("harm", ["emptied", "garbage", "cut", "flipped", "gone"])
def test_a_damaged_kernel_costs_one_compilation(warm: Small, harm: str) -> None:
    (path,) = warm.kernels.rglob("*.kernel")
    harmed(path, harm)
    assert result(start(warm)) == (7.0, 0)
    assert result(start(warm)) == (7.0, 1)


def test_what_old_versions_and_killed_processes_left_is_thrown_away_after_a_month(empty: Small) -> None:
    old, recent = empty.kernels / "0123456789abcdef", empty.kernels / "fedcba9876543210"
    for folder in (old, recent):
        folder.mkdir(parents=True)
        (folder / "making-half").touch()
    empty.kernels.chmod(0o700)
    os.utime(recent / "making-half", (0.0, 0.0))
    os.utime(old, (0.0, 0.0))
    assert result(start(empty)) == (7.0, 0)
    assert not old.exists()
    assert list(recent.iterdir()) == []


@pytest.mark.skipif(os.name != "posix", reason="needs the rights of a POSIX system")
@pytest.mark.parametrize("level", ["", "*"])
@pytest.mark.parametrize("rights", [0o720, 0o702])
def test_kernels_that_others_may_have_written_are_not_read(warm: Small, level: str, rights: int) -> None:
    """Machine code is run as it stands."""
    for folder in [*warm.kernels.glob(level)] if level else [warm.kernels]:
        folder.chmod(rights)
    assert result(start(warm)) == (7.0, 0)


@pytest.mark.skipif(os.name != "posix", reason="needs the rights of a POSIX system")
def test_a_kernel_that_others_may_write_to_is_not_read_wherever_it_lies(warm: Small) -> None:
    """The folder may have been exchanged since its rights were asked for."""
    (path,) = warm.kernels.rglob("*.kernel")
    path.chmod(0o622)
    assert result(start(warm)) == (7.0, 0)
    assert result(start(warm)) == (7.0, 1)


@pytest.mark.skipif(os.name != "posix" or os.geteuid() != 0, reason="only the administrator can give a folder away")
def test_a_folder_of_another_user_is_not_used(warm: Small) -> None:
    os.chown(warm.kernels, 12345, -1)
    before = sorted(warm.kernels.rglob("*"))
    told = CALL + "from simlaunch.compiled.kept import not_kept; print(not_kept())"
    outcome, why = result_text(start(warm, told)).splitlines()
    assert outcome == "7.0 0"
    assert sorted(warm.kernels.rglob("*")) == before
    assert "belongs to another user, so nothing is kept there and every run compiles anew" in why


@pytest.mark.skipif(os.name != "posix", reason="needs the rights of a POSIX system")
def test_a_new_folder_is_this_users_alone_whatever_the_mask(empty: Small) -> None:
    open_to_all = "import os; os.umask(0)\n" + CALL
    assert result(start(empty, open_to_all)) == (7.0, 0)
    assert result(start(empty, open_to_all)) == (7.0, 1)


def digest(root: Path) -> str:
    program = "from simlaunch.compiled.kept import source_hash; print(source_hash())"
    return result_text(start(Small(root, root.parent / "kept"), program))


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """A copy of the package itself, and its hash, which is the same in every process."""
    root = tmp_path_factory.mktemp("whole") / "code"
    shutil.copytree(PACKAGE, root / "simlaunch", ignore=shutil.ignore_patterns("__pycache__"))
    before = digest(root)
    assert digest(root) == before
    return root, before


@pytest.mark.parametrize(
    ("edited", "matters"),
    [("compiled/making.py", True), ("physics/tyre.py", True), ("integrator/step.py", True),
     ("simulation/events.py", True), ("record.py", True), ("errors.py", False)],
)  # fmt: skip
def test_hash_follows_every_file_that_is_compiled(whole: tuple[Path, str], edited: str, matters: bool) -> None:
    root, before = whole
    path = root / "simlaunch" / edited
    text = path.read_text("utf-8")
    path.write_text(f"{text}\n# edited\n", "utf-8")
    after = digest(root)
    path.write_text(text, "utf-8")
    assert (after != before) is matters
