"""Files that a foreign library reads: in a process of its own, with little memory and time, and plain numbers back.

The process starts, loads its library, and only then puts itself under limits: memory beyond what it then holds,
processor time, size of what it writes. Whatever happens to it there, from a crash to an endless loop, the process that
asked meets a refusal. Numbers come back as plain arrays, never as objects.

It runs as `python -m simlaunch.readers.child MODULE FILE WANTED FOLDER`, which reads FILE with the function that
`MODULE.extractor()` gives, and leaves `result.npz` with `names.json`, or `refusal.json`, in FOLDER.
"""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import IntEnum
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from simlaunch.errors import Fault, InputError
from simlaunch.processes import python, surroundings
from simlaunch.readers.delimited import refusal

MEMORY = 200 * 2**20
"""Memory that reading may take, beyond the library itself [byte]."""

MAX_NAME = 200
"""Longest name of a channel; what is longer is cut."""

MAX_LISTED = 1000
"""Most names of unwanted channels that are handed back."""

_SECONDS, _SECONDS_PER_MEBIBYTE = 1.0, 0.2  # processor time: for any file, and for its size
_PATIENCE = 60.0  # of the process that waits, for a child that sleeps [s]
_UNKNOWN_START = 2**30  # memory at the start on a system that does not report it [byte]

Array: TypeAlias = NDArray[np.float64]


@dataclass(frozen=True)
class Channel:
    """One recorded quantity, as it stands in a file."""

    name: str
    unit: str
    """As recorded; empty where the file does not say."""
    values: Array
    time: Array | None
    """The channel's own time [s]; None where another channel holds the time."""


@dataclass(frozen=True)
class Recording:
    """What was wanted of a file, and the names of whatever else it holds."""

    channels: tuple[Channel, ...]
    others: tuple[str, ...]


_BRACKETED = re.compile(r"(?P<name>[^\[\]()]+)[\[(](?P<unit>[^\[\]()]{0,32})[\])]\s*")


def without_unit(header: str) -> tuple[str, str]:
    """Name and unit of a heading such as "Speed [km/h]"; an empty unit where it has none."""
    match = _BRACKETED.fullmatch(header)
    return (match["name"].strip(), match["unit"].strip()) if match else (header, "")


def numbered(channels: Iterable[Channel]) -> tuple[Channel, ...]:
    """The same channels; of those that share a name, later ones are numbered."""
    seen: dict[str, int] = {}
    found = []
    for channel in channels:
        count = seen[channel.name] = seen.get(channel.name, 0) + 1
        found.append(channel if count == 1 else replace(channel, name=f"{channel.name} #{count}"))
    return tuple(found)


Extract: TypeAlias = Callable[[Path, re.Pattern[str]], Recording]


class _Ending(IntEnum):
    """Exit codes of the child that mean something."""

    DONE = 0
    REFUSED = 70
    MEMORY = 71


def unread(source: str, why: str, instead: str) -> InputError:
    """Refusal of a whole file."""
    return refusal(source, "file", "", why, instead)


# --- the process that asks ---


def extract_confined(module: str, content: bytes, source: str, wanted: Sequence[str]) -> Recording:
    """Wanted channels of a file, read by a child process under limits.

    Parameters
    ----------
    module : str
        Dotted name of the module whose `extractor()` loads the library and returns the reading function.
    content : bytes
        The file.
    source : str
        Its name for messages.
    wanted : sequence of str
        Regular expressions; channels of which one is found in the name are read.

    Returns
    -------
    Recording
        Plain numbers.

    Raises
    ------
    InputError
        When the file is damaged, hostile, or needs more memory or time than it may have.
    """
    if find_spec("resource") is None:
        raise unread(source, "cannot be read safely: this system does not limit memory", "export it as CSV")
    with tempfile.TemporaryDirectory(prefix="simlaunch-") as name:
        folder = Path(name)
        (folder / "input").write_bytes(content)
        code = _run(module, "|".join(f"(?:{pattern})" for pattern in wanted), folder, len(content))
        if code != _Ending.DONE:
            raise unread(source, *_reason(code, folder, len(content)))
        return _collected(folder, source)


def processor_time(size: int) -> float:
    """Processor time that a file of a size may take [s].

    Examples
    --------
    >>> processor_time(5 * 2**20)
    2.0
    """
    return _SECONDS + _SECONDS_PER_MEBIBYTE * size / 2**20


def _run(module: str, wanted: str, folder: Path, size: int) -> int:
    """Exit code of the child; that of a killed one when it had to be ended for sleeping."""
    command = python("-m", "simlaunch.readers.child", module, str(folder / "input"), wanted, str(folder))
    settings: dict[str, Any] = {"stdin": subprocess.DEVNULL, "stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    try:
        limit = _PATIENCE + processor_time(size)
        return subprocess.run(command, env=_environment(folder), timeout=limit, check=False, **settings).returncode
    except subprocess.TimeoutExpired:
        return -signal.SIGPROF


def _environment(folder: Path) -> Mapping[str, str]:
    """The surroundings of the child: the same modules, one thread, and temporary files that vanish with it."""
    threads = dict.fromkeys(("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS", "NUMEXPR_NUM_THREADS"), "1")
    return surroundings(**threads, TMPDIR=str(folder))


def _reason(code: int, folder: Path, size: int) -> tuple[str, str]:
    if code == _Ending.REFUSED:
        refusal = json.loads((folder / "refusal.json").read_text("utf-8"))
        return str(refusal["why"]), str(refusal["instead"])
    if code in (_Ending.MEMORY, -signal.SIGXFSZ):
        return f"needs more than {MEMORY // 2**20} MB of memory to read", "cut the log down to one run"
    if code == -signal.SIGPROF:
        return (
            f"takes more than {processor_time(size):.1f} s to read",
            "cut the log down to one run, or export it as CSV",
        )
    return "cannot be read; it is damaged", "export it once more, or as CSV"


def _collected(folder: Path, source: str) -> Recording:
    """What the child left, trusted no further than plain numbers go."""
    try:
        names = json.loads((folder / "names.json").read_text("utf-8"))
        with np.load(folder / "result.npz", allow_pickle=False) as arrays:
            channels = tuple(
                Channel(name, unit, arrays[f"values{n}"], arrays.get(f"time{n}"))
                for n, (name, unit) in enumerate(names["channels"])
            )
    except (OSError, ValueError, KeyError) as error:
        raise unread(source, f"was read without a usable result ({type(error).__name__})", "export it as CSV") from None
    return Recording(channels, tuple(names["others"]))


# --- the child ---


def short_name(name: object) -> str:
    """Name of a channel as handed back: text of bounded length."""
    return str(name)[:MAX_NAME]


def _confine(seconds: float) -> None:
    """Put this process under limits; it is ended by the system when it passes that of time."""
    import resource  # noqa: PLC0415  not there on every system

    most = _held() + MEMORY
    resource.setrlimit(resource.RLIMIT_AS, (most, most))
    resource.setrlimit(resource.RLIMIT_FSIZE, (MEMORY, MEMORY))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    signal.signal(signal.SIGPROF, signal.SIG_DFL)
    signal.setitimer(signal.ITIMER_PROF, seconds)


def _held() -> int:
    """Address space of this process now [byte]."""
    try:
        pages = int(Path("/proc/self/statm").read_text("ascii").split()[0])
    except FileNotFoundError:
        return _UNKNOWN_START
    return pages * os.sysconf("SC_PAGE_SIZE")


def _keep(recording: Recording, folder: Path) -> None:
    arrays = {f"values{n}": channel.values for n, channel in enumerate(recording.channels)}
    times = {f"time{n}": channel.time for n, channel in enumerate(recording.channels) if channel.time is not None}
    np.savez(folder / "result.npz", **arrays, **times)  # type: ignore[arg-type]
    names = {
        "channels": [(channel.name, channel.unit) for channel in recording.channels],
        "others": recording.others[:MAX_LISTED],
    }
    (folder / "names.json").write_text(json.dumps(names), "utf-8")


def serve(extract: Extract, file: Path, wanted: str, folder: Path) -> int:
    """Read a file under limits and leave what was found in a folder; the work of the child.

    Parameters
    ----------
    extract : callable
        Reads a file.
    file : Path
        The file.
    wanted : str
        Regular expression for the names of the channels to read.
    folder : Path
        Where the result goes.

    Returns
    -------
    int
        Exit code.
    """
    _confine(processor_time(file.stat().st_size))
    try:
        _keep(extract(file, re.compile(wanted, re.IGNORECASE)), folder)
    except InputError as error:
        fault: Fault = error.args[0]
        (folder / "refusal.json").write_text(json.dumps({"why": fault.why, "instead": fault.instead}), "utf-8")
        return _Ending.REFUSED
    except MemoryError:
        return _Ending.MEMORY
    return _Ending.DONE


def main(arguments: Sequence[str]) -> int:
    """Exit code of the child; an exception that nobody expected ends it by itself, with code 1."""
    module, file, wanted, folder = arguments
    extract: Extract = import_module(module).extractor()
    return serve(extract, Path(file), wanted, Path(folder))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
