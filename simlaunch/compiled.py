"""Compilation of the numeric code, and where the compiled kernels are kept.

Every numeric function is written once, in plain Python, and marked with `inline`, or with `part` where it is large.
The few functions that are called from outside the compiled world are marked with `entry`; only those are kept on disk.

Kernels are kept in a folder named by a hash of the source of every room that is compiled, so that an edit in any of
their files can never meet machine code made from older text. Each process compiles in a folder of its own that begins
as a copy of the newest snapshot, and publishes what it has added as a new snapshot, by one rename: processes that start
at once never write into the same folder, and no index ever meets another process's machine code.

The index of a kernel is unpickled when it is read, so whoever can write it can run code. The folder is therefore only
used where it belongs to this user and nobody else may write to it, and a snapshot only where every file has the digest
that was put beside it last: what a full disk or a power cut left is thrown away, and costs one compilation.

An installed package carries kernels that were compiled while it was built, under the same hash, in a hidden folder: no
process need compile what lies there. They are as trusted as the modules beside them. Where the hash is another one (an
edited source, another processor, numba or Python) or a digest is wrong, they are passed over, and compiled as if there
were none.
"""

from __future__ import annotations

import atexit
import contextlib
import hashlib
import os
import shutil
import stat
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, ParamSpec, TypeVar, cast

import llvmlite.binding
import numba
import numpy as np
import platformdirs
from numba.core.caching import UserProvidedCacheLocator
from numba.core.typing.templates import infer_global
from numba.experimental import function_type  # noqa: F401  teaches numba the type of a function that is a value

P = ParamSpec("P")
R = TypeVar("R")

_OPTIONS: dict[str, Any] = {"nogil": True, "error_model": "numpy", "fastmath": False}
_NO_WAY_IN: dict[str, Any] = {"no_cpython_wrapper": True, "no_cfunc_wrapper": True}
"""For what only compiled code calls; ways in from Python and C would take a quarter of the compiler's time."""
_KEPT_FOR, _LEFT_FOR = 30 * 86400.0, 86400.0  # [s]
_MAKING = "making-"
_DIGESTS = "digests"
_CARRIED = ".kernels"

_COMPILED_ROOMS = ("compiled.py", "record.py", "physics", "integrator", "simulation", "metrics")


def _numeric_sources(root: Path) -> list[Path]:
    """Every file whose text can end up in a compiled kernel."""
    found = [path for name in _COMPILED_ROOMS for path in [root / name, *(root / name).rglob("*.py")]]
    return sorted(path for path in found if path.is_file())


def _compiler() -> str:
    """What makes machine code out of the sources, and for which processor."""
    config: Any = numba.config
    processor = config.CPU_NAME or llvmlite.binding.get_host_cpu_name()
    features = config.CPU_FEATURES
    if features is None:
        features = llvmlite.binding.get_host_cpu_features().flatten()
    arrays = ".".join(np.__version__.split(".")[:2])
    versions = f"{sys.version}|{numba.__version__}|{llvmlite.__version__}|{arrays}"
    return f"{versions}|{llvmlite.binding.get_process_triple()}|{processor}|{features}|{config.USING_SVML}"


def source_hash() -> str:
    """Hash of every file that a kernel can be made from, and of what compiles it.

    Returns
    -------
    str
        Sixteen hexadecimal digits.
    """
    digest = hashlib.sha256(_compiler().encode())
    root = Path(__file__).parent
    for path in _numeric_sources(root):
        digest.update(path.relative_to(root).as_posix().encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()[:16]


def _cache_root() -> Path:
    """Folder for all kept kernels, within `SIMLAUNCH_CACHE` or the user's own cache folder."""
    chosen = os.environ.get("SIMLAUNCH_CACHE")
    return Path(chosen or platformdirs.user_cache_dir("simlaunch")) / "kernels"


def _why_not(folder: Path) -> str:
    """Why a folder that is there cannot be trusted with machine code; empty where it can."""
    if os.name != "posix":
        return ""
    found = folder.stat()
    if found.st_uid != os.geteuid():
        return "belongs to another user"
    return "can be written to by other users" if found.st_mode & (stat.S_IWGRP | stat.S_IWOTH) else ""


def _digests(folder: Path) -> str:
    """SHA-256 of every kernel of a folder, a line for each."""
    each = ((hashlib.sha256((folder / name).read_bytes()), name) for name in sorted(_names(folder)))
    return "".join(f"{digest.hexdigest()}  {name}\n" for digest, name in each)


def _is_whole(folder: Path) -> bool:
    """Whether a folder of kernels is what was sealed, to the last bit."""
    try:
        return (folder / _DIGESTS).read_text("utf-8") == _digests(folder)
    except (OSError, ValueError):
        return False


def _is_sound(snapshot: Path) -> bool:
    """Whether a snapshot is what was published, to the last bit, by this user."""
    try:
        return not _why_not(snapshot) and _is_whole(snapshot)
    except OSError:
        return False


def _newest(store: Path) -> Path | None:
    """The sound snapshot of kernels that was published last; damaged ones are thrown away on the way to it."""
    found = sorted(path for path in store.glob("[0-9]*") if path.is_dir()) if store.is_dir() else []
    for snapshot in reversed(found):
        if _is_sound(snapshot):
            return snapshot
        shutil.rmtree(snapshot, ignore_errors=True)
    return None


def _carried(key: str) -> Path | None:
    """Kernels that an installed package carries: this one, or one of the same source where Python looks for modules."""
    places = [Path(__file__).parents[1], *(Path(place) for place in sys.path if place)]
    folders = (place / "simlaunch" / _CARRIED / key for place in places)
    return next((folder for folder in folders if folder.is_dir() and _is_whole(folder)), None)


def _take_over(source: Path, target: Path) -> None:
    """Add the files of a folder to another one; by links where the file system has them, since none is rewritten."""
    for name in _names(source):
        place = target / name
        if place.exists():
            continue
        place.parent.mkdir(parents=True, exist_ok=True)
        try:
            os.link(source / name, place)
        except OSError:
            part = place.with_name(f"{place.name}.part")
            shutil.copyfile(source / name, part)
            part.replace(place)


def _settle(path: Path) -> None:
    """Have a file or a folder on the disk before anything builds upon it."""
    if path.is_dir() and os.name != "posix":
        return
    descriptor = os.open(path, os.O_RDONLY if path.is_dir() else os.O_RDWR)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _seal(snapshot: Path) -> None:
    """Put all of a snapshot on the disk, and its digests last."""
    digests = snapshot / _DIGESTS
    for name in _names(snapshot):
        _settle(snapshot / name)
    digests.write_text(_digests(snapshot), "utf-8")
    for path in (digests, *(path for path in snapshot.rglob("*") if path.is_dir()), snapshot):
        _settle(path)


def _names(folder: Path) -> frozenset[str]:
    return frozenset(path.relative_to(folder).as_posix() for path in folder.rglob("*.nb?"))


def _prune(root: Path, now: float) -> None:
    """Throw away kernels of older source once they are a month old, and what killed processes left after a day."""
    for folder in root.iterdir():
        kept_for = _LEFT_FOR if folder.name.startswith(_MAKING) else _KEPT_FOR
        with contextlib.suppress(OSError):
            if now - folder.stat().st_mtime > kept_for:
                shutil.rmtree(folder, ignore_errors=True)


def _own_folder(root: Path, store: Path) -> tuple[Path, str]:
    """A fresh folder for this process alone, filled with the newest snapshot; and why nothing can be kept, if so."""
    try:
        root.parent.mkdir(parents=True, exist_ok=True)
        root.mkdir(mode=0o700, exist_ok=True)
        why_not = _why_not(root)
        if not why_not and store.is_dir():
            why_not = _why_not(store)
            os.utime(store)  # in use: not to be pruned
        own = None if why_not else Path(tempfile.mkdtemp(prefix=_MAKING, dir=root))
    except OSError as error:  # a read-only home, say
        own, why_not = None, f"cannot be used ({error.strerror})"
    if own is None:
        own = Path(tempfile.mkdtemp(prefix="simlaunch-"))
        _fill(own, _carried(store.name))
        return own, why_not
    with contextlib.suppress(OSError):
        _prune(root, time.time())
    _fill(own, _newest(store))
    _fill(own, _carried(store.name))
    return own, ""


def _fill(own: Path, source: Path | None) -> None:
    """Take over a folder of kernels, or as much of it as can be had: what is missing is compiled."""
    if source is not None:
        with contextlib.suppress(OSError):
            _take_over(source, own)


_root = _cache_root()
_store = _root / source_hash()
_folder, _not_kept = _own_folder(_root, _store)
_published = _names(_folder)


def not_kept() -> str:
    """Why compiled kernels are kept for no later process, as a sentence; empty where they are."""
    if not _not_kept:
        return ""
    instead = "name a folder of your own in SIMLAUNCH_CACHE"
    return f"{_root} {_not_kept}, so nothing is kept there and every run compiles anew; {instead}"


def publish() -> None:
    """Give other processes what this one has compiled, as a snapshot that appears whole or not at all."""
    global _published
    names = _names(_folder)
    if _not_kept or names <= _published:
        return
    with contextlib.suppress(OSError):
        _store.mkdir(mode=0o700, exist_ok=True)
        snapshot = Path(tempfile.mkdtemp(prefix=_MAKING, dir=_root))
        try:
            _take_over(_folder, snapshot)
            _seal(snapshot)
            _name(snapshot)
        finally:
            shutil.rmtree(snapshot, ignore_errors=True)
        _published = names


def carry(package: Path) -> None:
    """Put all kernels of this process into a package that is being built, for those who install it.

    Parameters
    ----------
    package : Path
        Folder that will be the package.
    """
    folder = package / _CARRIED / _store.name
    _take_over(_folder, folder)
    if folder.is_dir():  # else compilation is switched off
        _seal(folder)


def _name(snapshot: Path) -> None:
    """Give a snapshot the next free number, by which others find it."""
    for number in range(1, 10_000):
        with contextlib.suppress(OSError):  # taken: somebody else was first
            snapshot.rename(_store / f"{number:04d}")
            break
    _settle(_store)


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
    return bool(list(_folder.rglob(f"*.{entry_name}-*.nbi")))  # the whole list: a search left half done stays open


def take_in() -> None:
    """Make use of what another process has published since this one began."""
    if not _not_kept:
        _fill(_folder, _newest(_store))


@atexit.register
def finish() -> None:
    """Publish what was compiled and remove this process's own folder."""
    publish()
    shutil.rmtree(_folder, ignore_errors=True)


_compilables: list[Any] = []  # the compiler itself keeps no hold on them


def _compilable(function: Callable[P, R], **options: Any) -> Callable[P, R]:
    """Tell the compiler what a plain function compiles to, once for each signature and whoever calls it."""
    compiled = numba.njit(**_NO_WAY_IN, **options)(function)
    if compiled is not function:  # else compilation is switched off
        infer_global(function, numba.types.Dispatcher(compiled))  # type: ignore[no-untyped-call]
        _compilables.append(compiled)
    return function


def inline(function: Callable[P, R]) -> Callable[P, R]:
    """Mark a small numeric function that melts into its compiled callers; called from Python it stays plain Python."""
    return _compilable(function, forceinline=True, **_OPTIONS)


def part(function: Callable[P, R]) -> Callable[P, R]:
    """Mark a larger numeric function for compiled callers; melted into each of them it would compile too long."""
    return _compilable(function, **_OPTIONS)


class Locator(UserProvidedCacheLocator):
    """Has numba keep machine code in this process's folder, by the contents of a file instead of its place and age.

    numba's own locators name a folder by the path of the source, so that what was compiled while a package was built
    would not be found once it is installed.
    """

    def __init__(self, py_func: Any, py_file: str) -> None:
        super().__init__(py_func, py_file)  # type: ignore[no-untyped-call]
        self._cache_path = str(_folder / py_func.__module__)

    def get_source_stamp(self) -> str:
        """Digest of the file that a function stands in."""
        return hashlib.sha256(Path(self._py_file).read_bytes()).hexdigest()


@contextlib.contextmanager
def _located() -> Iterator[None]:
    """Have numba ask `Locator` where to keep machine code: ours only, not that of other packages."""
    config: Any = numba.config
    before = config.CACHE_DIR, config.CACHE_LOCATOR_CLASSES
    config.CACHE_DIR, config.CACHE_LOCATOR_CLASSES = str(_folder), f"{__name__}.{Locator.__name__}"
    try:
        yield
    finally:
        config.CACHE_DIR, config.CACHE_LOCATOR_CLASSES = before


def entry(function: Callable[P, R]) -> Callable[P, R]:
    """Mark a numeric function that plain Python calls; its machine code is kept on disk."""
    with _located():
        return cast(Callable[P, R], numba.njit(cache=True, **_OPTIONS)(function))


def _types(*values: object) -> tuple[Any, ...]:
    """Types that the compiler gives values."""
    return tuple(numba.typeof(value) for value in values)  # type: ignore[no-untyped-call]


def compile_for(function: Callable[..., object], *arguments: object) -> None:
    """Compile an entry for arguments of these types, without calling it.

    Parameters
    ----------
    function : callable
        Marked with `entry`.
    arguments
        One of each type.
    """
    if isinstance(function, numba.core.dispatcher.Dispatcher):  # else compilation is switched off
        function.compile(_types(*arguments))


class _Address(numba.types.WrapperAddressProtocol):
    """An entry as a value, in numba's protocol for functions that are values."""

    def __init__(self, function: Any, returned: object, arguments: tuple[object, ...]) -> None:
        self._function = function
        self._types = _types(*arguments)
        self._signature = _types(returned)[0](*self._types)
        self._address = 0

    def signature(self) -> Any:
        """What goes in and comes out."""
        return self._signature

    def __wrapper_address__(self) -> int:
        """Where the machine code begins; compiles it where that has not been done."""
        if not self._address:
            self._function.compile(self._types)
            made = self._function.overloads[self._types]
            self._address = int(made.library.get_pointer_to_function(made.fndesc.llvm_cfunc_wrapper_name))
        return self._address

    def __call__(self, *arguments: object) -> Any:
        """Call it from Python."""
        return self._function(*arguments)


def by_address(function: Callable[P, R], returned: R, *arguments: P.args, **named: P.kwargs) -> Callable[P, R]:
    """Give an entry in a form in which it is an argument of others, and is called through its address.

    An entry that calls another one by name contains all of its code and compiles as long. Called through its address,
    each is compiled once, by itself, and thus beside others. The call costs nothing that can be measured, but handing
    over an address takes 0.05 ms: hand it over once for many calls.

    Parameters
    ----------
    function : callable
        Marked with `entry`; raises nothing.
    returned
        What it returns, for the type.
    arguments
        One of each type.

    Returns
    -------
    callable
        To be called with these types only.
    """
    if not isinstance(function, numba.core.dispatcher.Dispatcher):  # compilation is switched off
        return function
    return cast(Callable[P, R], _Address(function, returned, arguments))
