"""Names of files say what they hold, and the top level stays as agreed."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

from house.names import stray_names, tracked_names, vague_names
from house.source_tree import PACKAGE, ROOT


def test_names_say_what_a_file_holds() -> None:
    assert [*vague_names(PACKAGE), *vague_names(ROOT / "tests")] == []


def test_a_vague_name_is_found(tmp_path: Path) -> None:
    (tmp_path / "utils.py").touch()
    assert vague_names(tmp_path) == [str(tmp_path / "utils.py")]


def test_top_level_holds_only_what_was_agreed() -> None:
    names = tracked_names(ROOT)
    if names is None:
        pytest.skip("not in a checkout under version control")
    assert "README.md" in names
    assert stray_names(names) == []


def test_a_stray_name_is_found() -> None:
    assert stray_names(["README.md", ".gitignore", "notes.txt", "simlaunch"]) == ["notes.txt"]


@pytest.mark.skipif(shutil.which("git") is None, reason="needs git")
def test_what_a_user_leaves_beside_the_code_is_nobodys_business(tmp_path: Path) -> None:
    """The first command of the README leaves a folder; the tests, which are the second, must pass all the same."""
    assert tracked_names(tmp_path) is None
    (tmp_path / "README.md").touch()
    for command in (["init", "--quiet"], ["add", "README.md"]):
        subprocess.run(["git", *command], cwd=tmp_path, check=True)
    (tmp_path / "my-first-comparison").mkdir()
    (tmp_path / "my-first-comparison" / "figure.png").touch()
    assert tracked_names(tmp_path) == ["README.md"]
