"""Logs in MATLAB's file format, version 5 (as saved with -v6 or -v7), read through SciPy in a confined process."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from math import prod
from pathlib import Path
from typing import Any

import numpy as np

from simlaunch.errors import Fault, InputError
from simlaunch.readers.child import MEMORY, Channel, Extract, Recording, extract_confined, short_name, unread
from simlaunch.units.gate import quoted

_HEADER = b"MATLAB 5.0 MAT-file"
_HEADER_OF_7_3 = b"MATLAB 7.3 MAT-file"
_HDF5 = b"\x89HDF\r\n\x1a\n"
_NUMERIC = {f"{sign}int{bits}" for sign in ("", "u") for bits in (8, 16, 32, 64)} | {"double", "single", "logical"}
_HARMLESS = _NUMERIC | {"char"}
_MOST_VALUES = MEMORY // (4 * np.dtype(np.float64).itemsize)  # as read, as float, as written, and room to work
_LONGEST_TEXT = 64

_Listed = tuple[str, tuple[int, ...], str]


def read_matlab(content: bytes, source: str, wanted: Sequence[str]) -> Recording:
    """Wanted variables of a log in MATLAB's format of version 5.

    A text variable named for a channel with `_unit` behind it, such as `speed_unit`, names that channel's unit.

    Parameters
    ----------
    content : bytes
        The file.
    source : str
        Its name for messages.
    wanted : sequence of str
        Regular expressions for names of variables.

    Returns
    -------
    Recording
        Numeric vectors, none with a time of its own.

    Raises
    ------
    InputError
        When the file is of another version, damaged or too large, or holds anything but numbers and text.
    """
    if content.startswith((_HEADER_OF_7_3, _HDF5)):
        raise unread(source, "is of MATLAB version 7.3 (HDF5)", "save it with -v7")
    if not content.startswith(_HEADER):
        raise unread(source, "is not a MATLAB file of version 5", "save it with -v7, or export it as CSV")
    return extract_confined(__name__, content, source, wanted)


# --- in the confined process ---


def extractor() -> Extract:
    """The reading function, its library loaded."""
    from scipy.io import loadmat, whosmat  # noqa: PLC0415  only where a log is opened, in a confined process

    def extract(path: Path, wanted: re.Pattern[str]) -> Recording:
        listed: list[_Listed] = whosmat(path)
        _refuse_objects(listed)
        chosen = [entry for entry in listed if _is_vector(entry) and wanted.search(entry[0])]
        _refuse_size(chosen)
        return _recording(loadmat, path, listed, [short_name(name) for name, _, _ in chosen])

    return extract


def _recording(load: Callable[..., Any], path: Path, listed: Iterable[_Listed], chosen: list[str]) -> Recording:
    units = {f"{name}_unit" for name in chosen}
    texts = [name for name, shape, kind in listed if name in units and kind == "char" and prod(shape) <= _LONGEST_TEXT]
    content = load(path, variable_names=[*chosen, *texts])
    channels = tuple(Channel(name, _text(content, f"{name}_unit"), _vector(content[name]), None) for name in chosen)
    return Recording(channels, tuple(short_name(name) for name, _, _ in listed if name not in {*chosen, *texts}))


def _refuse_objects(listed: Iterable[_Listed]) -> None:
    for name, _, kind in listed:
        if kind not in _HARMLESS:
            why = f"holds {quoted(name)}, which is a {kind}, neither numbers nor text"
            raise _refusal(why, "save each channel as a numeric vector of its own")


def _refuse_size(chosen: Iterable[_Listed]) -> None:
    values = sum(prod(shape) for _, shape, _ in chosen)
    if values > _MOST_VALUES:
        raise _refusal(f"holds {values} values, more than {_MOST_VALUES}", "cut the log down to one run")


def _refusal(why: str, instead: str) -> InputError:
    return InputError(Fault("file", "", why, instead))


def _is_vector(entry: _Listed) -> bool:
    _, shape, kind = entry
    return kind in _NUMERIC and prod(shape) == max(shape, default=0) > 0


def _vector(values: Any) -> Any:
    if np.iscomplexobj(values):
        raise _refusal("holds complex numbers", "save real numbers")
    return np.ascontiguousarray(values, dtype=np.float64).ravel()


def _text(content: Any, name: str) -> str:
    return short_name("".join(np.asarray(content[name], dtype=str).ravel())) if name in content else ""
