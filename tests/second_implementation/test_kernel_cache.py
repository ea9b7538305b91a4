"""Kept kernels: an edit is seen, and processes that start at once agree."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest

from simlaunch.compiled import _newest
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


@pytest.mark.parametrize("anew", [False, True])
def test_second_process_need_not_compile(warm: Small, *, anew: bool) -> None:
    """Met by a process that was forked, as all of these are, and by one that imports everything itself."""
    assert result(start(warm, anew=anew)) == (7.0, 1)


def test_an_edit_in_another_file_is_seen(tmp_path: Path) -> None:
    """The entry's own file does not change: a cache keyed by that file alone would answer 7."""
    small = Small(stand_in(tmp_path / "code"), tmp_path / "kept")
    assert result(start(small)) == (7.0, 0)
    part = small.root / "simlaunch" / "physics" / "part.py"
    part.write_text(PART.replace("2.0 * x", "5.0 * x"))
    assert result(start(small)) == (16.0, 0)
    part.write_text(PART)
    assert result(start(small)) == (7.0, 1)


@pytest.mark.parametrize(("then", "hits"), [("take_in()", 1), ("", 0)])
def test_a_process_takes_in_what_another_has_made_meanwhile(empty: Small, then: str, hits: int) -> None:
    begun = "import subprocess, sys; from simlaunch.compiled import take_in"
    another = f"subprocess.run([sys.executable, '-c', {CALL!r}], stdout=subprocess.DEVNULL, check=True)"
    assert result(start(empty, "\n".join((begun, another, then, CALL)))) == (7.0, hits)


def test_eight_processes_at_once_agree(empty: Small) -> None:
    together = [start(empty) for _ in range(8)]
    assert [result(process)[0] for process in together] == [7.0] * 8
    assert result(start(empty)) == (7.0, 1)
    left_over = [path.name for path in empty.kernels.iterdir() if path.name.startswith("making-")]
    assert left_over == []


def test_what_else_lies_in_the_cache_folder_is_left_alone(empty: Small) -> None:
    stranger = empty.kept / "precious"
    stranger.mkdir(parents=True)
    (stranger / "file").write_text("mine")
    os.utime(stranger, (0.0, 0.0))
    result(start(empty))
    assert (stranger / "file").read_text() == "mine"


def test_a_second_signature_is_added_and_mixed_with_nothing(warm: Small) -> None:
    """Two processes that each add another signature must not read one another's machine code."""
    other = CALL.replace("answer(3.0)", "answer(3)")
    both = [start(warm, other), start(warm, other), start(warm)]
    assert [result(process)[0] for process in both] == [7.0] * 3
    assert result(start(warm, other)) == (7.0, 1)
    assert result(start(warm)) == (7.0, 1)


def kept_files(small: Small) -> list[Path]:
    """Indices and machine code of the last snapshot."""
    found = sorted(small.kernels.glob("*/[0-9]*/**/*.nb?"))
    assert {path.suffix for path in found} == {".nbi", ".nbc"}
    return found


def damage(small: Small, ending: str, harm: str) -> None:
    """Harm one file of the last snapshot."""
    harmed(next(path for path in kept_files(small) if path.suffix == ending), harm)


@pytest.mark.parametrize("ending", [".nbi", ".nbc"])
@pytest.mark.parametrize("harm", ["emptied", "garbage", "cut", "flipped", "gone"])
def test_a_damaged_snapshot_is_thrown_away(warm: Small, ending: str, harm: str) -> None:
    (store,) = warm.kernels.iterdir()
    assert _newest(store) is not None
    damage(warm, ending, harm)
    assert _newest(store) is None
    assert list(store.glob("[0-9]*")) == []


@pytest.mark.parametrize(("ending", "harm"), [(".nbi", "gone"), (".nbc", "flipped")])
def test_a_damaged_cache_costs_one_compilation(warm: Small, ending: str, harm: str) -> None:
    damage(warm, ending, harm)
    assert result(start(warm)) == (7.0, 0)
    assert result(start(warm)) == (7.0, 1)


def test_a_snapshot_whose_digests_were_not_written_is_none(warm: Small) -> None:
    """They are written last: a power cut before that leaves a snapshot without them."""
    (digests,) = warm.kernels.glob("*/[0-9]*/digests")
    digests.unlink()
    assert result(start(warm)) == (7.0, 0)


@pytest.mark.skipif(os.name != "posix", reason="needs the rights of a POSIX system")
@pytest.mark.parametrize("level", ["", "*", "*/[0-9]*"])
@pytest.mark.parametrize("rights", [0o720, 0o702])
def test_kernels_that_others_may_have_written_are_not_read(warm: Small, level: str, rights: int) -> None:
    """Their index is unpickled, which runs whatever code it names."""
    for folder in [*warm.kernels.glob(level)] if level else [warm.kernels]:
        folder.chmod(rights)
    assert result(start(warm)) == (7.0, 0)


@pytest.mark.skipif(os.name != "posix" or os.geteuid() != 0, reason="only the administrator can give a folder away")
def test_a_folder_of_another_user_is_not_used(warm: Small) -> None:
    os.chown(warm.kernels, 12345, -1)
    before = sorted(warm.kernels.rglob("*"))
    told = CALL + "from simlaunch.compiled import not_kept; print(not_kept())"
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
    program = "from simlaunch.compiled import source_hash; print(source_hash())"
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
    [("physics/tyre.py", True), ("integrator/step.py", True), ("simulation/events.py", True),
     ("record.py", True), ("errors.py", False)],
)  # fmt: skip
def test_hash_follows_every_file_that_is_compiled(whole: tuple[Path, str], edited: str, matters: bool) -> None:
    root, before = whole
    path = root / "simlaunch" / edited
    text = path.read_text("utf-8")
    path.write_text(f"{text}\n# edited\n", "utf-8")
    after = digest(root)
    path.write_text(text, "utf-8")
    assert (after != before) is matters
