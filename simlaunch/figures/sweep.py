"""A sweep in pictures: maps of the best result over two or three axes, and time against the load of a part."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import LinearSegmentedColormap, Normalize
from matplotlib.figure import Figure

from simlaunch.drawing.look import (
    INK,
    QUIET,
    SHADE,
    Array,
    LineStyle,
    Panels,
    Units,
    head_panel,
    in_our_look,
    is_narrow,
    label_text,
    name_x,
    plain,
    sheet,
    units_of,
)
from simlaunch.errors import UsageError
from simlaunch.show.layout import short
from simlaunch.sweep.ranking import Order, Parting, cloud, field, front, groups, measure_named, parting
from simlaunch.sweep.store import Measure, Reader

_SHADES = LinearSegmentedColormap.from_list("light is best", ["#f6f1e4", "#d8b98a", "#a3613f", "#4a2330"])
_EMPTY = "#ffffff"
_MOST_NUMBERED = 12  # cells abreast that still have room for a number
_MOST_PANELS = 6
_COLUMNS, _NARROW_COLUMNS = 70, 22  # characters that have room below a panel
_MOST_POINTS = 4000
_ROW = 0.28  # height of a row of cells [in]


def sweep_figures(
    reader: Reader, wanted: Order, across: Sequence[str] | None, against: str, system: str
) -> dict[str, Figure]:
    """Every picture of a sweep.

    Parameters
    ----------
    reader : Reader
        File of results.
    wanted : Order
        How they are ranked.
    across : sequence of str, optional
        Two or three axes of the map; those that matter most if left out.
    against : str
        Measure that stands against the result in the trade-off.
    system : str
        ``"metric"`` or ``"us"``.

    Returns
    -------
    dict of str to Figure
        ``map`` where there are two axes for one, and ``trade-off``.

    Raises
    ------
    UsageError
        No axis or measure of that name, or nothing to draw.
    """
    found = {"trade-off": front_figure(reader, wanted, measure_named(against, reader.study), system)}
    chosen = _chosen(reader, wanted, across)
    return {"map": map_figure(reader, wanted, chosen, system), **found} if len(chosen) > 1 else found


def _chosen(reader: Reader, wanted: Order, across: Sequence[str] | None) -> list[Parting]:
    """Axes of the map, in groups."""
    axes = {axis.name: axis for axis in reader.study.plan.axes}
    if across is None:
        spread = {name: _effect(reader, wanted, name) for name in axes}
        ordered = sorted(
            (name for name in axes if len(parting(reader.study, axes[name]).keys) > 1), key=spread.__getitem__
        )
        across = ordered[::-1][:3]
        across = (
            across
            if len(across) < 3 or len(parting(reader.study, axes[across[2]]).keys) <= _MOST_PANELS
            else across[:2]
        )
    for name in across:
        if name not in axes:
            raise UsageError(f"no axis is called {name!r}; choose from {', '.join(axes)}")
    if len(across) > 3 or len(set(across)) < len(across):
        raise UsageError("a map has two or three different axes")
    parted = [parting(reader.study, axes[name]) for name in across]
    if len(parted) == 3 and len(parted[2].keys) > _MOST_PANELS:
        raise UsageError(f"{across[2]} has too many values for a panel each; at most {_MOST_PANELS} have room")
    return parted


def _effect(reader: Reader, wanted: Order, name: str) -> float:
    axis = next(axis for axis in reader.study.plan.axes if axis.name == name)
    best = [group.best for group in groups(reader, wanted, axis)]
    return max(best) - min(best) if best else 0.0


@in_our_look
def map_figure(reader: Reader, wanted: Order, across: Sequence[Parting], system: str) -> Figure:
    """Best result for every combination of two axes, and a panel for each value of a third.

    Parameters
    ----------
    reader : Reader
        File of results.
    wanted : Order
        How they are ranked.
    across : sequence of Parting
        Axis along the panel, axis up the panel, and axis of the panels, if any.
    system : str
        ``"metric"`` or ``"us"``.

    Returns
    -------
    Figure
        A panel below the other.

    Raises
    ------
    UsageError
        No launch meets what was asked.
    """
    units = units_of(system)
    found = _in_units(field(reader, wanted, across), wanted.by, units)
    if not np.isfinite(found).any():
        raise UsageError("no finished launch meets what was asked; there is nothing to draw")
    layers = found[..., None] if found.ndim == 2 else found
    rows = len(across[1].keys)
    names = [text for _, text in _thinned(across[1].labels)]
    count = layers.shape[2]
    panels = Panels((max(0.6, _ROW * rows),) * count, shared_x=False, labels=(names,) * count)
    title = f"Best {plain(wanted.by.label)} for each {plain(across[0].axis.name)} and {plain(across[1].axis.name)}"
    figure, boxes = sheet(title, _map_lead(wanted, units), panels)
    shade = Normalize(float(np.nanmin(found)), float(np.nanmax(found)))
    for k in range(count):
        axes = boxes[k][0]
        _cells(axes, layers[:, :, k].T, shade, highest=wanted.highest)
        _name_cells(axes, across)
        panel = f"; {across[2].axis.name} {across[2].labels[k]}" if len(across) == 3 else ""
        head_panel(axes, plain(f"{across[1].axis.name}{panel}"))
        name_x(axes, plain(across[0].axis.name))
    return figure


def _in_units(values: Array, measure: Measure, units: Units) -> Array:
    return values if measure.dimension is None else units.of(values, measure.dimension)


def _axis_name(measure: Measure, units: Units) -> str:
    return plain(measure.label) if measure.dimension is None else units.axis(plain(measure.label), measure.dimension)


def _map_lead(wanted: Order, units: Units) -> str:
    told = f"{_axis_name(wanted.by, units)}, the lightest cell is the best. An empty cell has no launch."
    constraints = "; ".join(plain(each.text) for each in wanted.constraints)
    return f"{told} Only launches with {constraints}." if constraints else told


def _cells(axes: Axes, values: Array, shade: Normalize, *, highest: bool) -> None:
    shown = np.ma.masked_invalid(values)
    colours = (_SHADES.reversed() if highest else _SHADES).with_extremes(bad=_EMPTY)
    axes.pcolormesh(shown, cmap=colours, norm=shade, edgecolors="white", linewidth=1.0)
    axes.grid(visible=False)
    if values.shape[1] > _MOST_NUMBERED:
        return
    digits = 3 if np.nanmax(np.abs(values)) < 100.0 else 1
    for (row, column), value in np.ndenumerate(values):
        if np.isfinite(value):
            share = float(shade(value)) if shade.vmin != shade.vmax else 0.0
            dark = (1.0 - share if highest else share) > 0.55
            ink = "white" if dark else INK
            axes.text(column + 0.5, row + 0.5, f"{value:.{digits}f}", ha="center", va="center", color=ink, fontsize=8.5)


def _name_cells(axes: Axes, across: Sequence[Parting]) -> None:
    along, up = (_thinned(parted.labels) for parted in across[:2])
    room = max(4, round((_NARROW_COLUMNS if is_narrow() else _COLUMNS) / max(1, len(across[0].labels))))
    axes.set_xticks([k + 0.5 for k, _ in along], [plain(short(text, room)) for _, text in along], parse_math=False)
    axes.yaxis.tick_right()
    axes.set_yticks([k + 0.5 for k, _ in up], [label_text(text) for _, text in up], parse_math=False)
    axes.tick_params(length=0.0)


def _thinned(labels: Sequence[str]) -> list[tuple[int, str]]:
    """Labels with their places, not so many that they run into each other."""
    stride = max(1, -(-len(labels) // _MOST_NUMBERED))
    return list(enumerate(labels))[::stride]


@in_our_look
def front_figure(reader: Reader, wanted: Order, against: Measure, system: str) -> Figure:
    """Result against another measure: every launch, and those that no other one beats in both.

    Parameters
    ----------
    reader : Reader
        File of results.
    wanted : Order
        How they are ranked.
    against : Measure
        The other measure, of which less is better.
    system : str
        ``"metric"`` or ``"us"``.

    Returns
    -------
    Figure
        One panel.

    Raises
    ------
    UsageError
        No launch meets what was asked.
    """
    units = units_of(system)
    best = np.array([entry[1:] for entry in front(reader, wanted, against)])
    if not best.size:
        raise UsageError("no finished launch meets what was asked; there is nothing to draw")
    every = np.array(list(cloud(reader, wanted, against, _MOST_POINTS))).reshape(-1, 2)
    style = LineStyle(INK, (), 1.6, "o")
    title = f"What less {plain(against.label)} costs"
    key = (
        ("no other launch is better in both", style),
        ("other launches", LineStyle(QUIET, (), 0.0, "o", hollow=True)),
    )
    figure, rows = sheet(title, _front_lead(wanted), Panels((3.0,), key=key))
    axes = rows[0][0]
    others = _both(every, wanted.by, against, units)
    axes.plot(others[:, 0], others[:, 1], "o", color=SHADE, markeredgecolor=QUIET, markeredgewidth=0.4, markersize=4.0)
    kept = _both(best, wanted.by, against, units)
    axes.step(kept[:, 0], kept[:, 1], where="post", color=style.colour, linewidth=1.0)
    axes.plot(kept[:, 0], kept[:, 1], "o", color=style.colour, markersize=5.5)
    axes.margins(0.06)
    name_x(axes, _axis_name(against, units))
    head_panel(axes, _axis_name(wanted.by, units))
    return figure


def _front_lead(wanted: Order) -> str:
    constraints = "; ".join(plain(each.text) for each in wanted.constraints)
    return f"Only launches with {constraints}." if constraints else ""


def _both(pairs: Array, by: Measure, against: Measure, units: Units) -> Array:
    return np.column_stack([_in_units(pairs[:, 0], against, units), _in_units(pairs[:, 1], by, units)])
