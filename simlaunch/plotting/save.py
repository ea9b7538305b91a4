"""Figures to files."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from io import BytesIO
from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from simlaunch.plotting.look import DPI, look, on_page, words_of

POINTS_PER_INCH = 72.0
"""Units of an SVG in an inch."""

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


@dataclass(frozen=True)
class PlotArea:
    """Where a panel stands in its SVG, and which numbers its edges stand for.

    Parameters
    ----------
    left, right, top, bottom : float
        Edges in the coordinates of the SVG; the vertical one runs downwards [pt].
    x, y : tuple of float
        Numbers at the left and right, and at the lower and upper edge, in the units that are shown.
    """

    left: float
    right: float
    top: float
    bottom: float
    x: tuple[float, float]
    y: tuple[float, float]


@dataclass(frozen=True)
class PageDrawing:
    """A figure for a page: SVG with text as text, the title and the lead that the page sets, and its panels."""

    svg: bytes
    title: str
    lead: str
    areas: tuple[PlotArea, ...]


def _area(axes: Axes, width: float, height: float) -> PlotArea:
    box = axes.get_position()
    (x0, x1), (y0, y1) = axes.get_xlim(), axes.get_ylim()
    left, right = float(width * box.x0), float(width * box.x1)
    top, bottom = float(height * (1.0 - box.y1)), float(height * (1.0 - box.y0))
    return PlotArea(left, right, top, bottom, (float(x0), float(x1)), (float(y0), float(y1)))


def drawn_for_page(make: Callable[[], Figure], width: float) -> PageDrawing:
    """A figure for a page of some width.

    Parameters
    ----------
    make : callable
        Makes the figure; called once.
    width : float
        Width [in].

    Returns
    -------
    PageDrawing
        The same bytes for the same figure.
    """
    with on_page(width):
        figure = make()
        svg = as_bytes(figure, "svg")
    wide, tall = (POINTS_PER_INCH * float(each) for each in figure.get_size_inches())
    return PageDrawing(svg, *words_of(figure), tuple(_area(axes, wide, tall) for axes in figure.axes))


def drawn(figures: Mapping[str, Figure], stem: str) -> dict[str, bytes]:
    """Each figure as PNG and as SVG, by the name of its file.

    Parameters
    ----------
    figures : mapping of str to Figure
        Figures by name.
    stem : str
        Beginning of the file names; what a file name should not have is replaced by a hyphen.

    Returns
    -------
    dict of str to bytes
        In order: ``stem-name.png``, ``stem-name.svg``.
    """
    start = re.sub(r"[^\w.-]+", "-", stem).strip("-.") or "figure"
    return {f"{start}-{name}.{kind}": as_bytes(figure, kind) for name, figure in figures.items() for kind in _FORMATS}
