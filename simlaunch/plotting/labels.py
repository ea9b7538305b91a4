"""Names of lines beside a panel, and of points and stretches within it, each clear of the others."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.text import Text
from numpy.typing import NDArray

from simlaunch.plotting.look import LEADER, QUIET, label_text, panel_size, plain, text_size

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


@dataclass(frozen=True)
class Place:
    """A point that has a name; the place is in the units of the panel."""

    x: float
    y: float
    label: str


TIE = {"arrowstyle": "-", "color": QUIET, "linewidth": 0.8, "shrinkA": 1.0, "shrinkB": 0.0}
"""The line from a name to what it names."""

_AROUND = np.deg2rad([35.0, 90.0, 145.0, 0.0, 180.0, 325.0, 270.0, 215.0, 60.0, 120.0, 300.0, 240.0])
_FAR_OFF = (9.0, 16.0, 26.0, 38.0, 52.0, 70.0)  # from a point to the nearest edge of its name [pt]
_POINT = 5.0  # half of the mark of a point [pt]
_CLEAR = 1.5  # between a name and all else [pt]
_NAME = 9.0  # height of a name [pt]


def label_points(axes: Axes, points: Sequence[Place]) -> list[Text]:
    """Write the name of each point near it, clear of the other names, of all points, and of the lines of the panel.

    A name that has to stand farther off is tied to its point. Limits of the axes must stand by then.
    """
    figure = axes.figure
    assert isinstance(figure, Figure)
    scale = figure.dpi / 72.0
    at = [axes.transData.transform((point.x, point.y)) / scale for point in points]
    traced = np.vstack([_traced(axes, scale), *at, np.empty((0, 2))])
    marks = [(x - _POINT, y - _POINT, x + _POINT, y + _POINT) for x, y in at]
    panel, names = axes.get_window_extent(), list[Text]()
    room = (panel.x0 / scale, panel.y0 / scale, panel.x1 / scale, panel.y1 / scale)
    taken: list[Sequence[float]] = list(marks)
    for point, (x, y) in zip(points, at, strict=True):
        wide, tall = (72.0 * each for each in text_size(figure, plain(point.label), fontsize=_NAME))
        choices = [(far, *_beside(x, y, angle, far, wide, tall)) for far in _FAR_OFF for angle in _AROUND]
        costs = [far + _in_the_way(box, taken, traced, room) for far, *box in choices]
        far, *box = choices[int(np.argmin(costs))]
        taken.append(box)
        names.append(
            axes.annotate(
                plain(point.label),
                xy=(point.x, point.y),
                xytext=(0.5 * (box[0] + box[2]) - x, 0.5 * (box[1] + box[3]) - y),
                textcoords="offset points",
                ha="center",
                va="center",
                fontsize=_NAME,
                parse_math=False,
                arrowprops=None if far <= _FAR_OFF[0] else {**TIE, "shrinkB": _POINT},
            )
        )
    return names


def _traced(axes: Axes, scale: float) -> Array:
    """Places along every line of a panel, close together [pt]."""
    found: list[Array] = [np.empty((0, 2))]
    for line in axes.lines:
        corners = line.get_transform().transform(line.get_xydata()) / scale
        known = corners[np.isfinite(corners).all(axis=1)]
        steps = [np.linspace(a, b, max(2, int(np.hypot(*(b - a)) / 2.0))) for a, b in pairwise(known)]
        found += [*steps, known]
    return np.vstack(found)


def _beside(x: float, y: float, angle: float, far: float, wide: float, tall: float) -> tuple[float, ...]:
    """Box of a name whose nearest edge lies so far from a point in a direction [pt]."""
    middle = (x + np.cos(angle) * (far + 0.5 * wide), y + np.sin(angle) * (far + 0.5 * tall))
    return middle[0] - 0.5 * wide, middle[1] - 0.5 * tall, middle[0] + 0.5 * wide, middle[1] + 0.5 * tall


def _in_the_way(box: Sequence[float], taken: Sequence[Sequence[float]], traced: Array, room: Sequence[float]) -> float:
    """How much a box is to be avoided: most where it leaves the panel or lies on a name, less where on a line."""
    left, low, right, high = (box[0] - _CLEAR, box[1] - _CLEAR, box[2] + _CLEAR, box[3] + _CLEAR)
    leaves = left < room[0] or low < room[1] or right > room[2] or high > room[3]
    on_names = sum(left < b[2] and b[0] < right and low < b[3] and b[1] < high for b in taken)
    x, y = traced[:, 0], traced[:, 1]
    on_lines = int(((x > left) & (x < right) & (y > low) & (y < high)).sum())
    return 1e4 * (leaves + on_names) + 10.0 * on_lines
