"""Figures to files."""

from __future__ import annotations

import re
from collections.abc import Mapping
from io import BytesIO
from pathlib import Path
from typing import Any

from matplotlib.figure import Figure

from simlaunch.drawing.look import DPI, look
from simlaunch.errors import InputError

# Neither a date nor the version of the drawing library: the same figure gives the same bytes.
_FORMATS: Mapping[str, Mapping[str, Any]] = {
    "png": {"dpi": DPI, "metadata": {"Software": None}},
    "svg": {"metadata": {"Date": None, "Creator": None}},
}


def as_bytes(figure: Figure, kind: str) -> bytes:
    """A figure as the content of a file, `png` or `svg`."""
    content = BytesIO()
    with look():
        figure.savefig(content, format=kind, **_FORMATS[kind])
    return content.getvalue()


def save(figures: Mapping[str, Figure], folder: Path, stem: str) -> list[Path]:
    """Write each figure as PNG and as SVG.

    Parameters
    ----------
    figures : mapping of str to Figure
        Figures by name.
    folder : Path
        Where to; it is made if it is not there.
    stem : str
        Beginning of the file names; what a file name should not have is replaced by a hyphen.

    Returns
    -------
    list of Path
        The files, in order: ``stem-name.png``, ``stem-name.svg``.

    Raises
    ------
    InputError
        A file or the folder cannot be written.
    """
    start = re.sub(r"[^\w.-]+", "-", stem).strip("-.") or "figure"
    paths = []
    for name, figure in figures.items():
        for kind in _FORMATS:
            path = folder / f"{start}-{name}.{kind}"
            _write(path, as_bytes(figure, kind))
            paths.append(path)
    return paths


def _write(path: Path, content: bytes) -> None:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    except OSError as error:
        why = (error.strerror or "unknown reason").lower()
        raise InputError(f"{path}: cannot be written ({why}); name a folder that you may write to") from None
