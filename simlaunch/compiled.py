"""Compilation of the numeric code, and where the compiled kernels are kept.

Every numeric function is written once, in plain Python, and marked with `inline`. The few functions that are called
from outside the compiled world are marked with `entry`; only those are kept on disk.

Kernels are kept in a folder named by a hash of the source of every room that is compiled, so that an edit in any of
their files can never meet machine code made from older text. A process that has to compile does so in a folder of its own and moves it into
place in one rename: several processes starting at once cannot spoil each other's work.
"""

from __future__ import annotations

import atexit
import contextlib
import hashlib
import os
import shutil
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any, ParamSpec, TypeVar, cast

import numba
import platformdirs

P = ParamSpec("P")
R = TypeVar("R")

_OPTIONS: dict[str, Any] = {"nogil": True, "error_model": "numpy", "fastmath": False}


_COMPILED_ROOMS = ("compiled.py", "scenario/numbers.py", "physics", "integrator", "launch")


def _numeric_sources(root: Path) -> list[Path]:
    """Every file whose text can end up in a compiled kernel."""
    found = [path for name in _COMPILED_ROOMS for path in [root / name, *(root / name).rglob("*.py")]]
    return sorted(path for path in found if path.is_file())


def source_hash() -> str:
    """Hash of every file that a kernel can be made from, and of what compiles it.

    Returns
    -------
    str
        Sixteen hexadecimal digits.
    """
    digest = hashlib.sha256()
    digest.update(f"{sys.version}|{numba.__version__}|{numba.config.CPU_NAME}".encode())  # type: ignore[attr-defined]
    root = Path(__file__).parent
    for path in _numeric_sources(root):
        digest.update(path.relative_to(root).as_posix().encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()[:16]


def _cache_root() -> Path:
    """Folder for all kept kernels: `SIMLAUNCH_CACHE`, or the user's own cache folder."""
    chosen = os.environ.get("SIMLAUNCH_CACHE")
    return Path(chosen) if chosen else Path(platformdirs.user_cache_dir("simlaunch"))


def _publish(private: Path, final: Path) -> None:
    """Move a freshly filled folder into place; the first process wins, the others throw theirs away."""
    with contextlib.suppress(OSError):
        if any(private.rglob("*.nbi")):
            private.rename(final)
    shutil.rmtree(private, ignore_errors=True)


def _choose_folder() -> Path:
    """Folder that numba reads and writes in this process."""
    root = _cache_root()
    final = root / source_hash()
    if final.is_dir():
        return final
    try:
        root.mkdir(parents=True, exist_ok=True)
        private = Path(tempfile.mkdtemp(prefix="making-", dir=root))
    except OSError:  # a read-only home: compile afresh each time rather than fail
        private = Path(tempfile.mkdtemp(prefix="simlaunch-"))
        atexit.register(shutil.rmtree, private, ignore_errors=True)
        return private
    atexit.register(_publish, private, final)
    return private


numba.config.CACHE_DIR = str(_choose_folder())  # type: ignore[attr-defined]


def inline(function: Callable[P, R]) -> Callable[P, R]:
    """Mark a numeric function that other compiled functions call."""
    return cast(Callable[P, R], numba.njit(**_OPTIONS)(function))


def entry(function: Callable[P, R]) -> Callable[P, R]:
    """Mark a numeric function that plain Python calls; its machine code is kept on disk."""
    return cast(Callable[P, R], numba.njit(cache=True, **_OPTIONS)(function))
