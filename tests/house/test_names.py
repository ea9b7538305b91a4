"""Names of files say what they hold, and the top level stays as agreed."""

from __future__ import annotations

from pathlib import Path

from house.names import stray_names, vague_names
from house.source_tree import PACKAGE, ROOT


def test_names_say_what_a_file_holds() -> None:
    assert [*vague_names(PACKAGE), *vague_names(ROOT / "tests")] == []


def test_a_vague_name_is_found(tmp_path: Path) -> None:
    (tmp_path / "utils.py").touch()
    assert vague_names(tmp_path) == [str(tmp_path / "utils.py")]


def test_top_level_holds_only_what_was_agreed() -> None:
    assert stray_names(ROOT) == []
