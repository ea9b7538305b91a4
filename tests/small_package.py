"""A package of three small files that stands in for simlaunch, with its real `compiled.py`."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

from nursery import Job, ask

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
CALL = """
from simlaunch.simulation.whole import answer
value = answer(3.0)
print(value, sum(answer.stats.cache_hits.values()))
"""


def stand_in(root: Path) -> Path:
    """Write the stand-in package."""
    for room in ("physics", "simulation"):
        (root / "simlaunch" / room).mkdir(parents=True)
        (root / "simlaunch" / room / "__init__.py").touch()
    (root / "simlaunch" / "__init__.py").touch()  # a package without it would stand behind an installed one
    shutil.copy(PACKAGE / "compiled.py", root / "simlaunch" / "compiled.py")
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


def start(small: Small, code: str = CALL, *, anew: bool = False) -> Job | subprocess.Popen[str]:
    """Start a process on a package; forked, unless numba is given variables or a process `anew` is asked for."""
    environment = {
        **os.environ, "PYTHONPATH": str(small.root), "SIMLAUNCH_CACHE": str(small.kept),
        "PYTHONDONTWRITEBYTECODE": "1",  # or an edit within the same second, of the same length, would not be seen
    }  # fmt: skip
    anew = anew or os.name != "posix" or any(name.startswith("NUMBA_") for name in os.environ)
    if not anew:
        return ask(code, environment, str(small.root))
    return subprocess.Popen(
        [sys.executable, "-c", code], env=environment, cwd=small.root,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip


def result(process: Job | subprocess.Popen[str]) -> tuple[float, int]:
    """What a process worked out, and how many kernels it found on disk."""
    value, hits = result_text(process).split()
    return float(value), int(hits)


def result_text(process: Job | subprocess.Popen[str]) -> str:
    if isinstance(process, Job):
        code, out, err = process.end()
    else:
        out, err = process.communicate(timeout=120)
        code = process.returncode
    assert code == 0, err
    return out


def harmed(path: Path, harm: str) -> None:
    """Harm one file."""
    whole = path.read_bytes()
    path.unlink()  # it may be linked to
    if harm != "gone":
        middle = len(whole) // 2
        flipped = whole[:middle] + bytes([whole[middle] ^ 1]) + whole[middle + 1 :]
        path.write_bytes({"emptied": b"", "garbage": b"\xff" * 400, "cut": whole[:middle], "flipped": flipped}[harm])
