"""Functions and files stay short, and names say what they hold."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

from house.sizes import (
    LONGEST_FILE,
    LONGEST_FUNCTION,
    file_faults,
    function_lengths,
    long_functions,
    spread,
    stray_names,
    tracked_names,
)
from house.source_tree import PACKAGE, ROOT, Module, modules


def _function(statements: int) -> Module:
    body = "\n".join(["    x = 1"] * statements)
    return Module("simlaunch.physics.sample", f'def f():\n    """One.\n\n    Two.\n    """\n{body}\n')


def test_functions_are_short() -> None:
    lengths = {name: count for module in modules() for name, count in function_lengths(module).items()}
    assert long_functions(lengths) == [], spread(lengths)


def test_files_are_short_and_named_for_what_they_hold() -> None:
    paths = sorted(path for top in (PACKAGE, ROOT / "tests") for path in top.rglob("*.py"))
    assert [fault for path in paths for fault in file_faults(path)] == []


def test_top_level_holds_only_what_was_agreed() -> None:
    names = tracked_names(ROOT)
    if names is None:
        pytest.skip("not in a checkout under version control")
    assert "README.md" in names
    assert stray_names(names) == []


@pytest.mark.parametrize("statements", [1, LONGEST_FUNCTION])
def test_docstring_does_not_count(statements: int) -> None:
    lengths = function_lengths(_function(statements))
    assert list(lengths.values()) == [statements]
    assert long_functions(lengths) == []


def test_a_long_function_is_named() -> None:
    faults = long_functions(function_lengths(_function(LONGEST_FUNCTION + 1)))
    assert faults == [f"simlaunch.physics.sample.f:1: {LONGEST_FUNCTION + 1} lines"]


def test_spread_of_lengths() -> None:
    lengths = {str(count): count for count in range(1, 12)}
    assert spread(lengths) == "11 functions, median 6, 90th percentile 10 lines"


@pytest.mark.parametrize("name", ["utils.py", "common.py", "helpers.py", "core.py"])
def test_a_name_that_gathers_everything_is_refused(tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    path.touch()
    assert file_faults(path) == [f"{path}: the name says nothing"]


@pytest.mark.parametrize(("lines", "faults"), [(LONGEST_FILE, 0), (LONGEST_FILE + 1, 1)])
def test_a_long_file_is_named(tmp_path: Path, lines: int, faults: int) -> None:
    path = tmp_path / "tyre.py"
    path.write_text("x = 1\n" * lines, "utf-8")
    assert len(file_faults(path)) == faults


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
