"""Names of lines beside a panel: each at the end of its line, and clear of the others."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.text import Text
from numpy.typing import NDArray

from simlaunch.plotting.look import LEADER, label_text, panel_size, text_size

Array = NDArray[np.float64]


@dataclass(frozen=True)
class End:
    """End of a line, and what the line is called; the place is in the units of the panel."""

    x: float
    y: float
    label: str
    colour: str


def rising(wanted: Array) -> Array:
    """Numbers that never fall and lie nearest to given ones: neighbours that would fall share their mean.

    Source: pool adjacent violators, Ayer et al., Ann. Math. Statist. 26 (1955) 641 (from memory).
    """
    pools: list[tuple[float, int]] = []
    for each in wanted:
        mean, count = float(each), 1
        while pools and pools[-1][0] >= mean:
            before, many = pools.pop()
            mean, count = (before * many + mean * count) / (many + count), many + count
        pools.append((mean, count))
    return np.repeat([mean for mean, _ in pools], [count for _, count in pools])


def spread(wanted: Sequence[float], sizes: Sequence[float], low: float, high: float) -> Array:
    """Places nearest to those wanted at which things of these sizes stand clear of each other, in rising order.

    They stay between the bounds as long as there is room for all.
    """
    size = np.asarray(sizes, dtype=np.float64)
    offsets = np.concatenate([[0.0], np.cumsum(0.5 * (size[:-1] + size[1:]))])
    base: Array = rising(np.asarray(wanted, dtype=np.float64) - offsets)
    most = high - 0.5 * size[-1] - offsets[-1]
    places: Array = np.maximum(np.minimum(base, most), low + 0.5 * size[0]) + offsets
    return places


def label_ends(axes: Axes, ends: Sequence[End]) -> list[Text]:
    """Write the name of each line to the right of the panel, tied to its end; limits of the axes must stand by then."""
    figure = axes.figure
    assert isinstance(figure, Figure)
    width, height = panel_size(axes)
    transform = axes.transData
    inside = [_inside(axes, end) for end in ends if np.isfinite([end.x, end.y]).all()]
    shown = sorted(inside, key=lambda end: (end.y, -end.x))
    if not shown:
        return []
    texts = [label_text(end.label) for end in shown]
    floor = axes.get_window_extent().y0
    wanted = [(transform.transform((end.x, end.y))[1] - floor) / figure.dpi for end in shown]
    places = spread(wanted, [text_size(figure, text)[1] + 0.05 for text in texts], 0.0, height)
    return [
        axes.annotate(
            text,
            xy=(end.x, end.y),
            xytext=(72.0 * (width + LEADER - 0.02), 72.0 * place),
            textcoords="axes points",
            va="center",
            linespacing=1.05,
            annotation_clip=False,
            parse_math=False,
            arrowprops={
                "arrowstyle": "-",
                "color": end.colour,
                "linewidth": 0.9,
                "relpos": (0.0, 0.5),
                "shrinkA": 1.5,
                "shrinkB": 1.0,
            },
        )
        for end, text, place in zip(shown, texts, places, strict=True)
    ]


def _inside(axes: Axes, end: End) -> End:
    """The end of a line, or the nearest place in the panel."""
    (left, right), (low, high) = axes.get_xlim(), axes.get_ylim()
    return replace(end, x=min(max(end.x, left), right), y=min(max(end.y, low), high))
