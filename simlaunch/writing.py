"""Files that simlaunch writes: each is there whole or not at all, and never takes the place of somebody else's.

A file that is there already is refused, unless the caller wants it replaced, or it is known to be ours: by a mark
that it carries, or, in a folder of results, by the list of what was written there. That list holds a digest of every
file, so that one that was changed since then counts as somebody else's.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import shutil
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

from simlaunch.errors import Fault, InputError, plain

WRITTEN = ".simlaunch-files"
"""List of the files of ours in a folder, a line for each: its SHA-256 digest, two spaces, its name."""

_MOST_LISTED = 2**20  # of that list; a longer one is none of ours [byte]
_NO_LINK = getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_CLOEXEC", 0) | getattr(os, "O_BINARY", 0)
_CHOOSE = "name a file in a folder that you may write to"

Ours = Callable[[Path], bool]
"""Whether a file that is there may be replaced, because simlaunch wrote it."""


_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


def no_formula(text: str) -> str:
    """Text of a user that a spreadsheet will not take for a formula."""
    return f"'{text}" if text.startswith(_FORMULA_STARTS) else text


def _never(path: Path) -> bool:
    return False


def _refusal(place: str, path: Path, why: str, instead: str) -> InputError:
    return InputError(Fault(place, f'"{path}"', why, instead))


@contextlib.contextmanager
def _spoken(
    place: str, path: Path, instead: str = _CHOOSE, caught: tuple[type[Exception], ...] = (OSError, ValueError)
) -> Iterator[None]:
    """Turn what the system says into a message; of a name that is none at all, Python says it by a ValueError."""
    try:
        yield
    except caught as error:
        why = getattr(error, "strerror", None) or error
        raise _refusal(place, path, f"cannot be written ({why})", instead) from None


def refuse(place: str, path: Path, *, force: bool = False, ours: Ours = _never) -> None:
    """Refuse a place that is taken.

    Parameters
    ----------
    place : str
        The option that named the file.
    path : Path
        The file.
    force : bool
        Whether a file may be replaced, whoever wrote it.
    ours : callable
        Whether a file that is there is one of ours.

    Raises
    ------
    InputError
        Something is there that must not be replaced.
    """
    with _spoken(place, path):
        if not os.path.lexists(path):
            return
        if path.is_symlink():  # the link itself is replaced, never what it points to
            if not force:
                raise _refusal(place, path, "is a link to another file", "name another file, or give --force")
        elif not path.is_file():
            raise _refusal(place, path, "is not a file", "name one")
        elif not os.access(path, os.W_OK):
            raise _refusal(place, path, "is there already, and must not be written to", "name another file")
        elif not force and not ours(path):
            why = "is there already, and is not as simlaunch wrote it" if ours is not _never else "is there already"
            raise _refusal(place, path, why, "name another file, or give --force")


def check(place: str, path: Path, *, force: bool = False, ours: Ours = _never) -> None:
    """Refuse before the work begins what could not be written after it; the parameters are those of `refuse`.

    Raises
    ------
    InputError
        The place is taken, or its folder cannot be written to.
    """
    refuse(place, path, force=force, ours=ours)
    with _spoken(place, path):
        _begun(path).unlink()


_unfinished: set[Path] = set()


def abandon() -> None:
    """Remove what is written only in part; for an end that waits for nobody."""
    for part in tuple(_unfinished):
        with contextlib.suppress(OSError):
            part.unlink()


def _begun(path: Path) -> Path:
    """An empty file beside another, with a name that nobody else has and with the usual rights."""
    while True:
        part = path.with_name(f".{path.name[:50]}-{os.urandom(8).hex()}.part")
        with contextlib.suppress(FileExistsError):
            os.close(os.open(part, os.O_CREAT | os.O_EXCL | os.O_WRONLY | _NO_LINK, 0o666))
            return part


def _settle(path: Path, flags: int = os.O_RDWR) -> None:
    """Have a file or a folder on the disk before anything builds upon it."""
    descriptor = os.open(path, flags)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _take_name(part: Path, path: Path, replaced: bool) -> None:
    """Give a whole file its name; one that was free a moment ago is not taken from whoever was quicker."""
    if replaced:
        if not path.is_symlink():
            shutil.copymode(path, part)
    else:
        try:
            os.link(part, path)
            return
        except FileExistsError:
            raise
        except OSError:  # a file system without links: hold the name with an empty file
            os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY | _NO_LINK, 0o666))
    part.replace(path)


@contextlib.contextmanager
def whole(place: str, path: Path, *, force: bool = False, ours: Ours = _never) -> Iterator[Path]:
    """A place to write to, which becomes the file once it is whole; the parameters are those of `refuse`.

    Yields
    ------
    Path
        An empty file in the same folder.

    Raises
    ------
    InputError
        The place is taken, or the file cannot be written.
    """
    refuse(place, path, force=force, ours=ours)
    with _spoken(place, path):
        part = _begun(path)
    with _spoken(place, path, caught=(OSError,)):  # what else goes wrong while it is filled is no matter of this file
        _unfinished.add(part)
        try:
            yield part
            _settle(part)
            replaced = os.path.lexists(path)  # looked at first: who comes after this look finds the name taken
            refuse(place, path, force=force, ours=ours)
            _take_name(part, path, replaced)
        finally:
            with contextlib.suppress(OSError):
                part.unlink(missing_ok=True)
            _unfinished.discard(part)
    if os.name == "posix":
        with contextlib.suppress(OSError):  # not every file system can; the file itself is on the disk
            _settle(path.parent, os.O_RDONLY)


def write(place: str, path: Path, content: str | bytes, *, force: bool = False, ours: Ours = _never) -> None:
    """Write one file, text in UTF-8; the other parameters are those of `refuse`.

    Raises
    ------
    InputError
        The place is taken, or the file cannot be written.
    """
    with whole(place, path, force=force, ours=ours) as part:
        part.write_bytes(content.encode() if isinstance(content, str) else content)


# --- a folder of results ---


def _line(path: Path, content: bytes) -> str:
    return f"{hashlib.sha256(content).hexdigest()}  {plain(path.name)}"


def _listed(folder: Path) -> frozenset[str]:
    """Lines of the list of a folder; none where there is no such list."""
    try:
        descriptor = os.open(folder / WRITTEN, os.O_RDONLY | _NO_LINK)
    except OSError:
        return frozenset()
    with os.fdopen(descriptor, "rb") as stream:
        return frozenset(stream.read(_MOST_LISTED).decode("utf-8", "replace").splitlines())


def _as_written(path: Path) -> bool:
    """Whether simlaunch wrote a file of a folder, and nobody has changed it."""
    return _line(path, path.read_bytes()) in _listed(path.parent)


def _note_down(folder: Path, contents: Mapping[Path, bytes]) -> None:
    """Add files to the list of a folder, before they are written: what is not there yet does no harm in it."""
    known = _listed(folder)
    lines = [line for line in (_line(path, content) for path, content in contents.items()) if line not in known]
    if lines:
        descriptor = os.open(folder / WRITTEN, os.O_WRONLY | os.O_CREAT | os.O_APPEND | _NO_LINK, 0o666)
        with os.fdopen(descriptor, "ab") as stream:
            stream.write("".join(f"{line}\n" for line in lines).encode())


def check_folder(place: str, folder: Path, names: tuple[str, ...] = (), *, force: bool = False) -> None:
    """Make a folder of results, and refuse one that cannot be written to or holds files of others by these names.

    Parameters
    ----------
    place : str
        The option that named the folder.
    folder : Path
        The folder.
    names : tuple of str
        Files that are going to be written there, as far as they are known.
    force : bool
        Whether files may be replaced, whoever wrote them.

    Raises
    ------
    InputError
        Says why.
    """
    with _spoken(place, folder, "name a folder that you may write to"):
        folder.mkdir(parents=True, exist_ok=True)
        _begun(folder / "probe").unlink()
    for name in names:
        refuse(place, folder / name, force=force, ours=_as_written)


def write_folder(place: str, folder: Path, contents: Mapping[str, bytes], *, force: bool = False) -> list[Path]:
    """Write results into a folder: all of them, or none where one of them would replace a file of somebody else.

    Parameters
    ----------
    place : str
        The option that named the folder.
    folder : Path
        The folder; it is made if it is not there.
    contents : mapping of str to bytes
        Files by name.
    force : bool
        Whether files may be replaced, whoever wrote them.

    Returns
    -------
    list of Path
        The files.

    Raises
    ------
    InputError
        Says why.
    """
    check_folder(place, folder, tuple(contents), force=force)
    files = {folder / name: content for name, content in contents.items()}
    with _spoken(place, folder, "name a folder that you may write to"):
        _note_down(folder, files)
    for path, content in files.items():
        write(place, path, content, force=force, ours=_as_written)
    return list(files)
