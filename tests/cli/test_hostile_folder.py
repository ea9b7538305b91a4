"""Modules that lie in the current folder are not run: what lies beside a log came from others."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
COUPE = str(ROOT / "scenarios" / "road-coupe.toml")
NAMES = ("multiprocessing", "numba", "numpy", "simlaunch", "tempfile", "subprocess", "json", "numexpr", "scipy", "pint")
TRAP = "import pathlib\npathlib.Path(__file__).with_suffix('.run').touch()\nraise ImportError('trap')\n"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with traps by the names of modules that simlaunch and Python load."""
    for name in NAMES:
        (tmp_path / f"{name}.py").write_text(TRAP)
    return tmp_path


def _sprung(folder: Path) -> list[str]:
    return [path.name for path in folder.glob("*.run")]


def _run(command: list[str], folder: Path, **more: str) -> subprocess.CompletedProcess[str]:
    surroundings = {name: value for name, value in os.environ.items() if name != "PYTHONPATH"}
    return subprocess.run(
        command, cwd=folder, env={**surroundings, **more}, capture_output=True, text=True, timeout=600, check=False
    )


def test_the_traps_spring_where_python_looks_for_modules_here(folder: Path) -> None:
    """Else the tests below would show nothing."""
    assert _run([sys.executable, "-c", "import multiprocessing"], folder).returncode == 1
    assert _sprung(folder) == ["multiprocessing.run"]


def test_the_reader_of_foreign_files_runs_nothing_of_the_folder(folder: Path) -> None:
    (folder / "log.mf4").write_bytes(b"MDF     4.10    " + bytes(200))
    code = "from simlaunch.cli.main import answer; import sys; sys.exit(answer(['log', 'log.mf4']))"
    run = _run([sys.executable, "-P", "-c", code], folder)
    assert run.returncode == 3, run.stderr
    assert _sprung(folder) == []


@pytest.mark.slow
def test_the_compiling_process_runs_nothing_of_the_folder(folder: Path) -> None:
    """The second process starts, does its half, and takes nothing from the folder."""
    code = (
        "import simlaunch.launching.compile_ahead as ahead\n"
        'ahead._REST = \'import sys, simlaunch, numpy, multiprocessing; open("done", "w").close()\'\n'
        "ahead._start().wait()"
    )
    run = _run([sys.executable, "-P", "-c", code], folder, SIMLAUNCH_CACHE=str(folder / "kept"))
    assert run.returncode == 0, run.stderr
    assert (folder / "done").exists()
    assert _sprung(folder) == []


def test_the_module_itself_takes_nothing_else_from_the_folder(folder: Path) -> None:
    """`python -m simlaunch` has Python put the folder first; only a `simlaunch` in it can then be met."""
    (folder / "simlaunch.py").unlink()
    run = _run([sys.executable, "-m", "simlaunch", "check", COUPE, "--quiet"], folder)
    assert run.returncode == 0, run.stderr
    assert _sprung(folder) == []


@pytest.mark.skipif(shutil.which("simlaunch", path=str(Path(sys.executable).parent)) is None, reason="not installed")
def test_the_command_runs_nothing_of_the_folder(folder: Path) -> None:
    command = str(Path(sys.executable).parent / "simlaunch")
    run = _run([command, "check", COUPE, "--quiet"], folder)
    assert run.returncode == 0, run.stderr
    assert _sprung(folder) == []
