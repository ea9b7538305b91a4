"""Where the texts of a figure stand: which of them lie over one another, and which leave the sheet."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

from matplotlib.axes import Axes
from matplotlib.axis import Tick
from matplotlib.figure import Figure
from matplotlib.text import Text
from matplotlib.transforms import Bbox

SLACK = 1.0
"""By how much boxes may reach into one another: a box has a margin about its letters [pt]."""


def _ticks(axes: Axes) -> Iterator[tuple[Text, bool]]:
    """Every text of the axes' ticks, and whether it is drawn."""
    for axis in (axes.xaxis, axes.yaxis):
        low, high = sorted(axis.get_view_interval())
        every: list[Tick] = [*axis.get_major_ticks(), *axis.get_minor_ticks()]
        for tick in every:
            for label in (tick.label1, tick.label2):
                yield label, low <= tick.get_loc() <= high


def texts(figure: Figure) -> list[tuple[str, Bbox]]:
    """Every text that is drawn, with its box [px]; the line that ties a name to its place is no part of the box."""
    figure.draw_without_rendering()
    hidden = {id(text) for axes in figure.axes for text, shown in _ticks(axes) if not shown}
    return [
        (each.get_text(), Text.get_window_extent(each))
        for each in figure.findobj(Text)
        if id(each) not in hidden and each.get_visible() and each.get_text().strip()
    ]


def misplaced(figure: Figure) -> tuple[list[tuple[str, str]], list[str]]:
    """Pairs of texts that lie over one another, and texts that leave the sheet."""
    slack = SLACK * figure.dpi / 72.0
    width, height = figure.get_size_inches() * figure.dpi
    every = texts(figure)
    collisions = [
        (one, other)
        for (one, a), (other, b) in combinations(every, 2)
        if min(a.x1, b.x1) - max(a.x0, b.x0) > slack and min(a.y1, b.y1) - max(a.y0, b.y0) > slack
    ]
    outside = [
        text
        for text, box in every
        if box.x0 < -slack or box.y0 < -slack or box.x1 > width + slack or box.y1 > height + slack
    ]
    return collisions, outside
