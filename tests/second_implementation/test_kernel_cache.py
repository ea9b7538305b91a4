"""Kept kernels: an edit is seen, and processes that start at once agree.

A package of three small files stands in for simlaunch, with its real `compiled.py`.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parents[2] / "simlaunch"

PART = """
from simlaunch.compiled import inline
@inline
def doubled(x: float) -> float:
    return 2.0 * x
"""
WHOLE = """
from simlaunch.compiled import entry
from simlaunch.physics.part import doubled
@entry
def answer(x: float) -> float:
    return doubled(x) + 1.0
"""
CALL = """
from simlaunch.simulation.whole import answer
value = answer(3.0)
print(value, sum(answer.stats.cache_hits.values()))
"""


@pytest.fixture
def small(tmp_path: Path) -> Path:
    """Folder with the stand-in package."""
    root = tmp_path / "code"
    for room in ("physics", "simulation"):
        (root / "simlaunch" / room).mkdir(parents=True)
        (root / "simlaunch" / room / "__init__.py").touch()
    (root / "simlaunch" / "__init__.py").touch()  # a package without it would stand behind an installed one
    shutil.copy(PACKAGE / "compiled.py", root / "simlaunch" / "compiled.py")
    (root / "simlaunch" / "physics" / "part.py").write_text(PART)
    (root / "simlaunch" / "simulation" / "whole.py").write_text(WHOLE)
    return root


def start(root: Path, code: str = CALL) -> subprocess.Popen[str]:
    environment = {**os.environ, "PYTHONPATH": str(root), "SIMLAUNCH_CACHE": str(root.parent / "kept")}
    return subprocess.Popen(
        [sys.executable, "-c", code], env=environment, cwd=root,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip


def result(process: subprocess.Popen[str]) -> tuple[float, int]:
    """What a process worked out, and how many kernels it found on disk."""
    out, err = process.communicate(timeout=120)
    assert process.returncode == 0, err
    value, hits = out.split()
    return float(value), int(hits)


def test_second_process_need_not_compile(small: Path) -> None:
    assert result(start(small)) == (7.0, 0)
    assert result(start(small)) == (7.0, 1)


def test_an_edit_in_another_file_is_seen(small: Path) -> None:
    """The entry's own file does not change: a cache keyed by that file alone would answer 7."""
    assert result(start(small)) == (7.0, 0)
    part = small / "simlaunch" / "physics" / "part.py"
    part.write_text(PART.replace("2.0 * x", "5.0 * x"))
    assert result(start(small)) == (16.0, 0)
    part.write_text(PART)
    assert result(start(small)) == (7.0, 1)


def test_eight_processes_at_once_agree(small: Path) -> None:
    together = [start(small) for _ in range(8)]
    assert [result(process)[0] for process in together] == [7.0] * 8
    assert result(start(small)) == (7.0, 1)
    left_over = [path.name for path in (small.parent / "kept" / "kernels").iterdir() if path.name.startswith("making-")]
    assert left_over == []


def test_what_else_lies_in_the_cache_folder_is_left_alone(small: Path) -> None:
    stranger = small.parent / "kept" / "precious"
    stranger.mkdir(parents=True)
    (stranger / "file").write_text("mine")
    os.utime(stranger, (0.0, 0.0))
    result(start(small))
    assert (stranger / "file").read_text() == "mine"


def test_a_second_signature_is_added_and_mixed_with_nothing(small: Path) -> None:
    """Two processes that each add another signature must not read one another's machine code."""
    assert result(start(small)) == (7.0, 0)
    other = CALL.replace("answer(3.0)", "answer(3)")
    both = [start(small, other), start(small, other), start(small)]
    assert [result(process)[0] for process in both] == [7.0] * 3
    assert result(start(small, other)) == (7.0, 1)
    assert result(start(small)) == (7.0, 1)


def kept_files(small: Path) -> list[Path]:
    """Indices and machine code of the last snapshot."""
    found = sorted((small.parent / "kept" / "kernels").glob("*/[0-9]*/**/*.nb?"))
    assert {path.suffix for path in found} == {".nbi", ".nbc"}
    return found


@pytest.mark.parametrize("ending", [".nbi", ".nbc"])
@pytest.mark.parametrize("harm", ["emptied", "garbage", "cut", "flipped", "gone"])
def test_a_damaged_cache_costs_one_compilation(small: Path, ending: str, harm: str) -> None:
    assert result(start(small)) == (7.0, 0)
    path = next(path for path in kept_files(small) if path.suffix == ending)
    whole = path.read_bytes()
    path.unlink()  # it may be linked to
    if harm != "gone":
        middle = len(whole) // 2
        flipped = whole[:middle] + bytes([whole[middle] ^ 1]) + whole[middle + 1 :]
        path.write_bytes({"emptied": b"", "garbage": b"\xff" * 400, "cut": whole[:middle], "flipped": flipped}[harm])
    assert result(start(small)) == (7.0, 0)
    assert result(start(small)) == (7.0, 1)


def test_a_snapshot_whose_digests_were_not_written_is_none(small: Path) -> None:
    """They are written last: a power cut before that leaves a snapshot without them."""
    assert result(start(small)) == (7.0, 0)
    (digests,) = (small.parent / "kept" / "kernels").glob("*/[0-9]*/digests")
    digests.unlink()
    assert result(start(small)) == (7.0, 0)


@pytest.mark.skipif(os.name != "posix", reason="needs the rights of a POSIX system")
@pytest.mark.parametrize("level", ["", "*", "*/[0-9]*"])
@pytest.mark.parametrize("rights", [0o720, 0o702])
def test_kernels_that_others_may_have_written_are_not_read(small: Path, level: str, rights: int) -> None:
    """Their index is unpickled, which runs whatever code it names."""
    assert result(start(small)) == (7.0, 0)
    root = small.parent / "kept" / "kernels"
    for folder in [*root.glob(level)] if level else [root]:
        folder.chmod(rights)
    assert result(start(small)) == (7.0, 0)


@pytest.mark.skipif(os.name != "posix" or os.geteuid() != 0, reason="only the administrator can give a folder away")
def test_a_folder_of_another_user_is_not_used(small: Path) -> None:
    assert result(start(small)) == (7.0, 0)
    root = small.parent / "kept" / "kernels"
    os.chown(root, 12345, -1)
    before = sorted(root.rglob("*"))
    assert result(start(small)) == (7.0, 0)
    assert sorted(root.rglob("*")) == before
    why = result_text(start(small, "from simlaunch.compiled import not_kept; print(not_kept())"))
    assert "belongs to another user, so nothing is kept there and every run compiles anew" in why


@pytest.mark.skipif(os.name != "posix", reason="needs the rights of a POSIX system")
def test_a_new_folder_is_this_users_alone_whatever_the_mask(small: Path) -> None:
    open_to_all = "import os; os.umask(0)\n" + CALL
    assert result(start(small, open_to_all)) == (7.0, 0)
    assert result(start(small, open_to_all)) == (7.0, 1)


def result_text(process: subprocess.Popen[str]) -> str:
    out, err = process.communicate(timeout=120)
    assert process.returncode == 0, err
    return out


def digest(root: Path) -> str:
    environment = {**os.environ, "PYTHONPATH": str(root), "SIMLAUNCH_CACHE": str(root.parent / "kept")}
    program = "from simlaunch.compiled import source_hash; print(source_hash())"
    return subprocess.run(
        [sys.executable, "-c", program], env=environment, cwd=root, capture_output=True, text=True, check=True
    ).stdout


@pytest.mark.parametrize(
    ("edited", "matters"),
    [("physics/tyre.py", True), ("integrator/step.py", True), ("simulation/events.py", True),
     ("record.py", True), ("errors.py", False)],
)  # fmt: skip
def test_hash_follows_every_file_that_is_compiled(tmp_path: Path, edited: str, matters: bool) -> None:
    root = tmp_path / "code"
    shutil.copytree(PACKAGE, root / "simlaunch", ignore=shutil.ignore_patterns("__pycache__"))
    before = digest(root)
    assert digest(root) == before
    path = root / "simlaunch" / edited
    path.write_text(path.read_text() + "\n# edited\n")
    assert (digest(root) != before) is matters
