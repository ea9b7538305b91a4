"""Logs in ASAM MDF 4, read through asammdf in a confined process."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import numpy as np

from simlaunch.readers.child import Channel, Extract, Recording, extract_confined, short_name, unread

_FINISHED, _UNFINISHED = b"MDF     ", b"UnFinMF "
_VERSION = slice(8, 16)  # where the identification block states the version, such as b"4.10    "
_MASTER, _VIRTUAL_MASTER = 2, 3  # kinds of channel that the others of their group are recorded against
_NUMERIC = "iufb"


def read_mdf(content: bytes, source: str, wanted: Sequence[str]) -> Recording:
    """Wanted channels of a log in ASAM MDF 4.

    Parameters
    ----------
    content : bytes
        The file.
    source : str
        Its name for messages.
    wanted : sequence of str
        Regular expressions for names of channels.

    Returns
    -------
    Recording
        Each channel with its own time; recorded units, conversions applied, invalid samples left out.

    Raises
    ------
    InputError
        When the file is of another kind or version, unfinished or damaged, or asammdf is not installed.
    """
    if content.startswith(_UNFINISHED):
        raise unread(source, "is an MDF file that was not finished", "let the logger close it, then copy it again")
    if not content.startswith(_FINISHED):
        raise unread(source, "is not an MDF file", "name a log in ASAM MDF 4, or export it as CSV")
    if not content[_VERSION].startswith(b"4."):
        raise unread(source, "is not of MDF version 4", "export it as MDF 4 or as CSV")
    if find_spec("asammdf") is None:
        raise unread(source, "cannot be read without asammdf", 'install it with: pip install "simlaunch[mdf]"')
    return extract_confined(__name__, content, source, wanted)


# --- in the confined process ---


def extractor() -> Extract:
    """The reading function, its library loaded."""
    from asammdf import MDF  # noqa: PLC0415  an optional package

    def extract(path: Path, wanted: re.Pattern[str]) -> Recording:
        with MDF(path) as log:
            return _recording(log, wanted)

    return extract


def _recording(log: Any, wanted: re.Pattern[str]) -> Recording:
    found: list[Channel] = []
    others: list[str] = []
    for group, index, name in _named(log):
        channel = _channel(log, group, index, name) if wanted.search(name) else None
        if channel is None:
            others.append(name)
        else:
            found.append(channel)
    return Recording(tuple(found), tuple(others))


def _named(log: Any) -> Iterator[tuple[int, int, str]]:
    """Group, index and name of every channel that is recorded over time."""
    for group, content in enumerate(log.groups):
        for index, channel in enumerate(content.channels):
            if channel.channel_type not in (_MASTER, _VIRTUAL_MASTER):
                yield group, index, short_name(channel.name)


def _channel(log: Any, group: int, index: int, name: str) -> Channel | None:
    """A channel of plain numbers; None for text and structures."""
    signal = log.get(group=group, index=index)
    if signal.samples.ndim != 1 or signal.samples.dtype.kind not in _NUMERIC:
        return None
    values = np.ascontiguousarray(signal.samples, dtype=np.float64)
    return Channel(name, short_name(signal.unit), values, np.ascontiguousarray(signal.timestamps, dtype=np.float64))
