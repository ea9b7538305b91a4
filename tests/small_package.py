"""A package of three small files that stands in for simlaunch, with its real `compiled`."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

PACKAGE = Path(__file__).resolve().parents[1] / "simlaunch"

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
COUNT = "int('numba' not in sys.modules)"
"""Python text for whether nothing had to be compiled: only the compiler loads numba."""
CALL = f"""
import sys
from simlaunch.simulation.whole import answer
value = answer(3.0)
print(value, {COUNT})
"""


def stand_in(root: Path) -> Path:
    """Write the stand-in package."""
    for room in ("physics", "simulation"):
        (root / "simlaunch" / room).mkdir(parents=True)
        (root / "simlaunch" / room / "__init__.py").touch()
    (root / "simlaunch" / "__init__.py").touch()  # a package without it would stand behind an installed one
    without = shutil.ignore_patterns("__pycache__")
    shutil.copytree(PACKAGE / "compiled", root / "simlaunch" / "compiled", ignore=without)
    (root / "simlaunch" / "physics" / "part.py").write_text(PART)
    (root / "simlaunch" / "simulation" / "whole.py").write_text(WHOLE)
    return root


@dataclass(frozen=True)
class Small:
    """The stand-in package, and where its kernels are kept."""

    root: Path
    kept: Path

    @property
    def kernels(self) -> Path:
        return self.kept / "kernels"


def start(small: Small, code: str = CALL) -> subprocess.Popen[str]:
    environment = {
        **os.environ, "PYTHONPATH": str(small.root), "SIMLAUNCH_CACHE": str(small.kept),
        "PYTHONDONTWRITEBYTECODE": "1",  # or an edit within the same second, of the same length, would not be seen
    }  # fmt: skip
    return subprocess.Popen(
        [sys.executable, "-c", code], env=environment, cwd=small.root,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip


def result(process: subprocess.Popen[str]) -> tuple[float, int]:
    """What a process worked out, and whether it found all kernels on disk."""
    value, found = result_text(process).split()
    return float(value), int(found)


def result_text(process: subprocess.Popen[str]) -> str:
    out, err = process.communicate(timeout=120)
    assert process.returncode == 0, err
    return out


def harmed(path: Path, harm: str) -> None:
    """Harm one file."""
    whole = path.read_bytes()
    middle = len(whole) // 2
    flipped = whole[:middle] + bytes([whole[middle] ^ 1]) + whole[middle + 1 :]
    left = {"emptied": b"", "garbage": b"\xff" * 400, "cut": whole[:middle], "flipped": flipped}
    path.unlink() if harm == "gone" else path.write_bytes(left[harm])
