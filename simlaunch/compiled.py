"""Compilation of the numeric code, and where the compiled kernels are kept.

Every numeric function is written once, in plain Python, and marked with `inline`. The few functions that are called
from outside the compiled world are marked with `entry`; only those are kept on disk.

Kernels are kept in a folder named by a hash of the source of every room that is compiled, so that an edit in any of
their files can never meet machine code made from older text. A process that has to compile does so in a folder of its
own and publishes whole files: several processes that start at once cannot spoil each other's work.
"""

from __future__ import annotations

import atexit
import contextlib
import hashlib
import os
import shutil
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, ParamSpec, TypeVar, cast

import numba
import platformdirs
from numba.extending import register_jitable

P = ParamSpec("P")
R = TypeVar("R")

_OPTIONS: dict[str, Any] = {"nogil": True, "error_model": "numpy", "fastmath": False}
_KEPT_FOR = 30 * 86400.0  # [s]

_COMPILED_ROOMS = ("compiled.py", "scenario/numbers.py", "physics", "integrator", "launch", "measure/ceiling.py")


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


def _prune(root: Path, now: float) -> None:
    """Throw away kernels of older source, and what a killed process left half made, once they are a month old."""
    for folder in root.iterdir():
        with contextlib.suppress(OSError):
            if now - folder.stat().st_mtime > _KEPT_FOR:
                shutil.rmtree(folder, ignore_errors=True)


def _choose_folders() -> tuple[Path, Path | None]:
    """Folder that numba reads and writes in this process, and where to publish what it writes."""
    root = _cache_root()
    final = root / source_hash()
    if final.is_dir():
        return final, None
    try:
        root.mkdir(parents=True, exist_ok=True)
        private = Path(tempfile.mkdtemp(prefix="making-", dir=root))
        _prune(root, time.time())
    except OSError:  # a read-only home: compile afresh each time rather than fail
        return Path(tempfile.mkdtemp(prefix="simlaunch-")), None
    return private, final


_folder, _final = _choose_folders()
_kept = _folder == _cache_root() / source_hash()
numba.config.CACHE_DIR = str(_folder)  # type: ignore[attr-defined]


def publish() -> None:
    """Give other processes what this one has compiled, one whole file at a time.

    A data file goes before the index that names it, so that no process ever reads half a kernel.
    """
    if _final is None:
        return
    with contextlib.suppress(OSError):
        for pattern in ("*.nbc", "*.nbi"):
            for made in _folder.rglob(pattern):
                target = _final / made.relative_to(_folder)
                if not target.exists():
                    target.parent.mkdir(parents=True, exist_ok=True)
                    copy = target.with_name(f"{target.name}.{os.getpid()}")
                    shutil.copyfile(made, copy)
                    copy.replace(target)


def is_kept(entry_name: str) -> bool:
    """Whether an entry's machine code is on disk already, so that its first call need not compile.

    Parameters
    ----------
    entry_name : str
        Name of a function marked with `entry`.

    Returns
    -------
    bool
        True where a kept kernel was found.
    """
    return any(_folder.rglob(f"*.{entry_name}-*.nbi"))


@atexit.register
def finish() -> None:
    """Publish what was compiled and remove this process's own folder; for a process that ends without its exit hooks."""
    publish()
    if not _kept:
        shutil.rmtree(_folder, ignore_errors=True)


def inline(function: Callable[P, R]) -> Callable[P, R]:
    """Mark a numeric function that compiled functions may call; called from Python it stays plain Python."""
    jitable: Callable[P, R] = register_jitable(**_OPTIONS)(function)
    return jitable


def entry(function: Callable[P, R]) -> Callable[P, R]:
    """Mark a numeric function that plain Python calls; its machine code is kept on disk."""
    return cast(Callable[P, R], numba.njit(cache=True, **_OPTIONS)(function))
