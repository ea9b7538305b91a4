"""Where machine code is kept, and which of it may be run.

Machine code is kept in a folder named by a hash of the source of every room that is compiled, of the compiler and of
the processor, so that an edit in any of their files can never meet machine code made from older text. Each kernel is
one file that begins with the digest of what follows: it appears whole, by one rename, or not at all, and what a full
disk or a power cut left is taken for nothing and made again.

Whoever can write a kernel can run code. Folder and files are therefore only used where they belong to this user and
nobody else may write to them. That is asked where the system is a POSIX system; on others the rights of the user's own
cache folder have to do.

An installed package carries kernels that were compiled while it was built, under the same hash, in a hidden folder: no
process need compile what lies there. They are as trusted as the modules beside them. Where the hash is another one (an
edited source, another processor, numba or Python) or a digest is wrong, they are passed over, and compiled as if there
were none.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import re
import shutil
import stat
import sys
import tempfile
import time
from collections.abc import Iterator
from functools import cache
from importlib import metadata
from pathlib import Path

import llvmlite.binding
import numpy as np
import platformdirs

_PACKAGE = Path(__file__).parents[1]
_COMPILED_ROOMS = ("compiled", "record.py", "physics", "integrator", "simulation", "metrics")
_CARRIED = ".kernels"
_ENDING = ".kernel"
_KEPT_FOR = 30 * 86400.0  # [s]
_HASH = re.compile("[0-9a-f]{16}")
_DIGEST = hashlib.sha256().digest_size

_SETTINGS = ("CPU_NAME", "CPU_FEATURES", "OPT", "LOOP_VECTORIZE", "SLP_VECTORIZE", "DISABLE_INTEL_SVML")
"""Settings of numba that change what it makes."""


def _numeric_sources(root: Path) -> list[Path]:
    """Every file whose text can end up in a kernel."""
    found = [path for name in _COMPILED_ROOMS for path in [root / name, *(root / name).rglob("*.py")]]
    return sorted(path for path in found if path.is_file())


def _compiler() -> str:
    """What makes machine code out of the sources, and for which processor."""
    settings = [os.environ.get(f"NUMBA_{name}", "") for name in _SETTINGS]
    processor = (llvmlite.binding.get_host_cpu_name(), llvmlite.binding.get_host_cpu_features().flatten())
    arrays = ".".join(np.__version__.split(".")[:2])
    versions = (sys.version, metadata.version("numba"), metadata.version("llvmlite"), arrays)
    return "|".join((*versions, llvmlite.binding.get_process_triple(), *processor, *settings))


@cache
def source_hash() -> str:
    """Hash of every file that a kernel can be made from, and of what compiles it.

    Returns
    -------
    str
        Sixteen hexadecimal digits.
    """
    digest = hashlib.sha256(_compiler().encode())
    for path in _numeric_sources(_PACKAGE):
        digest.update(path.relative_to(_PACKAGE).as_posix().encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()[:16]


# --- the folders ---


def _root() -> Path:
    """Folder for all kept kernels, within `SIMLAUNCH_CACHE` or the user's own cache folder."""
    chosen = os.environ.get("SIMLAUNCH_CACHE")
    return Path(chosen or platformdirs.user_cache_dir("simlaunch")) / "kernels"


def _why_not(found: os.stat_result) -> str:
    """Why a folder or a file cannot be trusted with machine code; empty where it can."""
    if os.name != "posix":
        return ""
    if found.st_uid != os.geteuid():
        return "belongs to another user"
    return "can be written to by other users" if found.st_mode & (stat.S_IWGRP | stat.S_IWOTH) else ""


@cache
def _store() -> tuple[Path, bool, str]:
    """Folder for the kernels of this source, whether those in it may be run, and why none can be added, if so."""
    root = _root()
    store = root / source_hash()
    is_trusted = False
    try:
        root.parent.mkdir(parents=True, exist_ok=True)
        root.mkdir(mode=0o700, exist_ok=True)
        why_not = _why_not(root.stat())
        if not why_not:
            store.mkdir(mode=0o700, exist_ok=True)
            why_not = _why_not(store.stat())
            is_trusted = not why_not
        if is_trusted:
            os.utime(store)  # in use: not to be pruned
            tempfile.TemporaryFile(dir=store).close()
    except OSError as error:  # a read-only home, say
        why_not = f"cannot be used ({error.strerror})"
    return store, is_trusted, why_not


def not_kept() -> str:
    """Why compiled kernels are kept for no later process, as a sentence; empty where they are."""
    _, _, why_not = _store()
    if not why_not:
        return ""
    instead = "name a folder of your own in SIMLAUNCH_CACHE"
    return f"{_root()} {why_not}, so nothing is kept there and every run compiles anew; {instead}"


def _places() -> Iterator[Path]:
    """Folders that may hold kernels of this source: of this package, of one where Python looks for modules, our own."""
    places = [_PACKAGE.parent, *(Path(place) for place in sys.path if place)]
    yield from (place / "simlaunch" / _CARRIED / source_hash() for place in dict.fromkeys(places))
    store, is_trusted, _ = _store()
    if is_trusted:
        yield store


def _prune(root: Path) -> None:
    """Throw away kernels of older source once they are a month old, and what killed processes left."""
    now = time.time()
    ours = [path for path in root.iterdir() if _HASH.fullmatch(path.name)]
    for path in (*ours, *(left for folder in ours for left in folder.glob("making-*"))):
        with contextlib.suppress(OSError):
            if now - path.stat().st_mtime > _KEPT_FOR:
                shutil.rmtree(path) if path.is_dir() else path.unlink()


# --- kernels ---

_made: dict[str, bytes] = {}
"""What this process has made, which may have found no place on the disk, or has read."""


def _unsealed(path: Path) -> bytes | None:
    """What a file of a kernel holds, where it is what was written, to the last bit, and not by another user."""
    try:
        with path.open("rb") as file:
            if path.parent == _store()[0] and _why_not(os.fstat(file.fileno())):
                return None
            whole = file.read()
    except OSError:
        return None
    digest, code = whole[:_DIGEST], whole[_DIGEST:]
    return code if digest == hashlib.sha256(code).digest() else None


def read(name: str) -> bytes | None:
    """A kernel that this process has made, that this package carries, or that this user's processes have kept.

    Parameters
    ----------
    name : str
        Name of the kernel.

    Returns
    -------
    bytes or None
        What was written, to the last bit; none where there is nothing sound.
    """
    if name not in _made:
        found = (_unsealed(place / f"{name}{_ENDING}") for place in _places())
        code = next((code for code in found if code is not None), None)
        if code is None:
            return None
        _made[name] = code
    return _made[name]


def names(beginning: str) -> set[str]:
    """Names of kernels that may be kept.

    Parameters
    ----------
    beginning : str
        Of the names.

    Returns
    -------
    set of str
        What is not sound is among them.
    """
    found = (path.stem for place in _places() for path in place.glob(f"{beginning}*{_ENDING}"))
    return {*found, *(name for name in _made if name.startswith(beginning))}


def write(name: str, code: bytes) -> None:
    """Keep a kernel for this process, and for later ones where that can be done.

    Parameters
    ----------
    name : str
        Name of the kernel.
    code : bytes
        What `read` is to give.
    """
    _made[name] = code
    store, _, why_not = _store()
    if why_not:
        return
    with contextlib.suppress(OSError):
        _put(store, name, code)
        _prune(store.parent)


def _put(folder: Path, name: str, code: bytes) -> None:
    """Write one kernel, which appears whole or not at all."""
    descriptor, part = tempfile.mkstemp(prefix="making-", dir=folder)
    try:
        with os.fdopen(descriptor, "wb") as file:
            file.write(hashlib.sha256(code).digest() + code)
        Path(part).replace(folder / f"{name}{_ENDING}")
    except BaseException:
        Path(part).unlink(missing_ok=True)
        raise


def carry(package: Path) -> None:
    """Put all kernels that this user's processes keep of this source into a package that is being built.

    Parameters
    ----------
    package : Path
        Folder that will be the package.
    """
    folder = package / _CARRIED / source_hash()
    store, is_trusted, _ = _store()
    for path in sorted(store.glob(f"*{_ENDING}")) if is_trusted else ():
        code = _unsealed(path)
        if code is not None:
            folder.mkdir(parents=True, exist_ok=True)
            _put(folder, path.stem, code)
