"""A sweep in pictures: maps of the best result over two or three axes, and time against the load of a part."""

from __future__ import annotations

from collections.abc import Sequence
from enum import IntEnum
from math import ceil

import numpy as np
from matplotlib import rcParams
from matplotlib.axes import Axes
from matplotlib.colors import LinearSegmentedColormap, Normalize
from matplotlib.figure import Figure
from numpy.typing import NDArray

from simlaunch.errors import UsageError
from simlaunch.metrics.many import Measure
from simlaunch.plotting.look import (
    INK,
    QUIET,
    SHADE,
    Array,
    LineStyle,
    Panels,
    Units,
    curve_style,
    head_panel,
    in_our_look,
    is_narrow,
    label_text,
    name_x,
    plain,
    sheet,
    units_of,
)
from simlaunch.sweeping.completion import complete, groups_of
from simlaunch.sweeping.ranking import (
    Order,
    Parting,
    axis_named,
    cloud,
    field,
    front,
    groups,
    measure_named,
    parting,
    tally,
)
from simlaunch.sweeping.store import Reader
from simlaunch.sweeping.study import SweepResult
from simlaunch.sweeping.winners import Winners, winner_of

_SHADES = LinearSegmentedColormap.from_list("light is best", ["#f6f1e4", "#d8b98a", "#a3613f", "#4a2330"])
_EMPTY = "#ffffff"
_MOST_NUMBERED = 12  # cells abreast that still have room for a number
_MOST_PANELS = 6
_MOST_WON = 3  # axes of the picture of who wins where
_WON_ROW = 0.34  # height of a row of its cells [in]
_WON = {-1: (curve_style(0).colour, "^"), 1: (curve_style(1).colour, "v"), 0: (QUIET, "s")}
_COLUMNS, _NARROW_COLUMNS = 70, 22  # characters that have room below a panel
_MOST_POINTS = 4000
_ROW = 0.28  # height of a row of cells [in]
_BETWEEN = 0.08  # between two labels of an axis [in]
_MOST_DIGITS = 7  # one more than the most decimals of a number along an axis
_LOAD = "steady pull gearbox input"  # stands against the result unless another measure is named
_NOTHING = "no finished launch meets the constraints; there is nothing to draw"


def figures(
    found: SweepResult, system: str, across: Sequence[str] | None = None, against: str | None = None
) -> dict[str, Figure]:
    """Every picture of a sweep."""
    _complete(found, against or _LOAD)
    with Reader(found.path) as reader:
        made = sweep_figures(reader, found.findings.order, across, against or _LOAD, system)
    won = found.winners
    if won is not None and 1 <= len(_shown_axes(won)) <= _MOST_WON and won.whole.cells:
        made["winners"] = winners_figure(won, found.findings.order, system)
    return made


def draw(axes: Axes, found: SweepResult, system: str) -> None:
    """The map over the two axes that change the best result most; the trade-off where only one axis varies."""
    units, wanted = units_of(system), found.findings.order
    with Reader(found.path) as reader:
        across = _chosen(reader, wanted, None)[:2]
        if len(across) > 1:
            best = _best_of_cells(reader, wanted, across, units)
            blank = _blank(best, *tally(reader, across))
    if len(across) < 2:
        _complete(found, _LOAD)
        with Reader(found.path) as reader:
            _draw_front(axes, reader, wanted, measure_named(_LOAD, reader.study), units)
            axes.set_xlabel(_axis_name(measure_named(_LOAD, reader.study), units))
            axes.set_ylabel(_axis_name(wanted.by, units))
        return
    shade, numbered = _shade_of(best), _are_numbered(across[0])
    _panel(axes, best.T, blank.T, shade, across, numbered=numbered, highest=wanted.highest)
    key = f": {_numbers_key(across[0])}" if numbered else ""
    axes.set_title(plain(f"best {_axis_name(wanted.by, units)}"), fontsize="medium")
    axes.set_xlabel(plain(f"{_with_unit(across[0])}{key}"))
    axes.set_ylabel(plain(_with_unit(across[1])))


def _complete(found: SweepResult, against: str) -> None:
    """Have the file hold what stands against the result in the trade-off."""
    study = found.findings.study
    complete(found.path, groups_of(study, (measure_named(against, study).name,)))


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


def _shown_axes(won: Winners) -> list[int]:
    """Places of the axes that have more than one value, the one with fewest values last."""
    places = [k for k, axis in enumerate(won.axes) if len(axis.values) > 1]
    return sorted(places, key=lambda k: -len(won.axes[k].values))


@in_our_look
def winners_figure(won: Winners, wanted: Order, system: str) -> Figure:
    """Who wins where: the gap in every cell, its winner shown by a sign's shape as well as by its colour.

    Parameters
    ----------
    won : Winners
        Two curves in every cell.
    wanted : Order
        By what they were judged.
    system : str
        ``"metric"`` or ``"us"``.

    Returns
    -------
    Figure
        A panel for each value of a third axis.

    Raises
    ------
    UsageError
        No system of units of that name.
    """
    units, places = units_of(system), _shown_axes(won)
    gaps = np.transpose(won.gap, [*places, *(k for k in range(won.gap.ndim) if k not in places)])
    gaps = gaps.reshape([*(len(won.axes[k].values) for k in places), *[1] * (_MOST_WON - len(places))])
    axes = [won.axes[k] for k in places]
    labels = [[plain(axis.shown(value)) for value in (axis.si or axis.values)] for axis in axes]
    labels += [[""]] * (_MOST_WON - len(axes))
    panels = Panels(
        (max(0.6, _WON_ROW * gaps.shape[1]),) * gaps.shape[2], shared_x=False, labels=(labels[1],) * gaps.shape[2]
    )
    figure, boxes = sheet(_winners_title(won), _winners_lead(won, wanted, units), panels)
    for k in range(gaps.shape[2]):
        panel = boxes[k][0]
        _draw_winners(panel, gaps[:, :, k].T, wanted, units, labels)
        third = f"; {axes[2].name} {labels[2][k]}" if len(axes) == _MOST_WON else ""
        head_panel(panel, plain(f"{axes[1].name if len(axes) > 1 else ''}{third}"))
        name_x(panel, plain(axes[0].name))
    return figure


def _draw_winners(axes: Axes, gaps: Array, wanted: Order, units: Units, labels: Sequence[Sequence[str]]) -> None:
    signs = winner_of(gaps, wanted)
    shown = units.of(gaps, wanted.by.dimension)
    axes.grid(visible=False)
    for row, column in np.ndindex(*gaps.shape):
        if np.isnan(gaps[row, column]):
            continue
        colour, mark = _WON[int(signs[row, column])]
        axes.plot(column + 0.2, row + 0.5, mark, color=colour, markersize=7.0)
        if gaps.shape[1] <= _MOST_NUMBERED:
            text = f"{abs(shown[row, column]):.2f}"
            axes.text(column + 0.34, row + 0.5, text, va="center", ha="left", fontsize=8.5, color=colour)
    axes.set_xlim(0.0, gaps.shape[1])
    axes.set_ylim(0.0, gaps.shape[0])
    stride = max(1, -(-gaps.shape[1] // _MOST_NUMBERED))
    ticks = range(0, gaps.shape[1], stride)
    axes.set_xticks([k + 0.5 for k in ticks], [labels[0][k] for k in ticks], parse_math=False)
    axes.set_yticks(np.arange(gaps.shape[0]) + 0.5, labels[1], parse_math=False)
    axes.yaxis.tick_right()
    for edge in range(1, max(gaps.shape)):
        if edge < gaps.shape[1]:
            axes.axvline(edge, color=SHADE, linewidth=1.0)
        if edge < gaps.shape[0]:
            axes.axhline(edge, color=SHADE, linewidth=1.0)


def _winners_title(won: Winners) -> str:
    whole = won.whole
    names = (f"“{plain(won.first)}”", f"“{plain(won.second)}”")
    level = f", {whole.level} level" if whole.level else ""
    return f"{names[0]} wins {whole.first} of {whole.cells} cells, {names[1]} {whole.second}{level}"


def _winners_lead(won: Winners, wanted: Order, units: Units) -> str:
    what = f"Numbers: {_axis_name(wanted.by, units)}, how much better."
    return f"{what} Triangle up: {plain(won.first)}; down: {plain(won.second)}; square: level."


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
    across = [axis_named(name, reader.study).name for name in across]
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
    found = _best_of_cells(reader, wanted, across, units)
    layers = found[..., None] if found.ndim == 2 else found
    blank = _blank(found, *tally(reader, across))
    marks = blank[..., None] if blank.ndim == 2 else blank
    rows, count = len(across[1].keys), layers.shape[2]
    names = [text for _, text in _ticks(across[1])]
    panels = Panels((max(0.6, _ROW * rows),) * count, shared_x=False, labels=(names,) * count)
    title = f"Best {plain(wanted.by.label)} for each {plain(across[0].axis.name)} and {plain(across[1].axis.name)}"
    numbered = _are_numbered(across[0])
    figure, boxes = sheet(title, _map_lead(wanted, units, blank, across[0] if numbered else None), panels)
    shade = _shade_of(found)
    for k in range(count):
        axes = boxes[k][0]
        _panel(axes, layers[:, :, k].T, marks[:, :, k].T, shade, across, numbered=numbered, highest=wanted.highest)
        axes.yaxis.tick_right()
        panel = f"; {across[2].axis.name} {across[2].labels[k]}" if len(across) == 3 else ""
        head_panel(axes, plain(f"{_with_unit(across[1])}{panel}"))
        name_x(axes, plain(_with_unit(across[0])))
    return figure


def _best_of_cells(reader: Reader, wanted: Order, across: Sequence[Parting], units: Units) -> Array:
    found = _in_units(field(reader, wanted, across), wanted.by, units)
    if not np.isfinite(found).any():
        raise UsageError(_NOTHING)
    return found


def _shade_of(found: Array) -> Normalize:
    return Normalize(float(np.nanmin(found)), float(np.nanmax(found)))


def _panel(
    axes: Axes,
    best: Array,
    blank: NDArray[np.int64],
    shade: Normalize,
    across: Sequence[Parting],
    *,
    numbered: bool,
    highest: bool,
) -> None:
    """The cells of one panel, a row for each value of the second axis."""
    _cells(axes, best, shade, highest=highest)
    _mark_blank(axes, blank)
    _name_cells(axes, across, numbered)


def _in_units(values: Array, measure: Measure, units: Units) -> Array:
    return units.of(values, measure.dimension)


def _axis_name(measure: Measure, units: Units) -> str:
    return units.axis(plain(measure.label), measure.dimension)


class _Blank(IntEnum):
    """Why a cell of a map has no number."""

    NO = 0
    NOT_YET = 1
    FAILED = 2
    NOT_MET = 3


_BLANK_TEXTS = {
    _Blank.NOT_YET: "A blank cell has no finished launch.",
    _Blank.FAILED: "A cross: all launches there failed.",
    _Blank.NOT_MET: "A ring: no launch there meets the constraints.",
}
_BLANK_MARKS = {_Blank.FAILED: "x", _Blank.NOT_MET: "o"}


def _blank(best: Array, finished: Array, failed: Array) -> NDArray[np.int64]:
    """Why cells have no number."""
    why = np.where(finished == 0, _Blank.NOT_YET, np.where(failed == finished, _Blank.FAILED, _Blank.NOT_MET))
    return np.where(np.isfinite(best), _Blank.NO, why).astype(np.int64)


def _mark_blank(axes: Axes, blank: NDArray[np.int64]) -> None:
    for why, mark in _BLANK_MARKS.items():
        rows, columns = np.nonzero(blank == why)
        axes.plot(columns + 0.5, rows + 0.5, mark, color=QUIET, markersize=5.0, markerfacecolor="none")


def _map_lead(wanted: Order, units: Units, blank: NDArray[np.int64], numbered: Parting | None) -> str:
    parts = [f"{_axis_name(wanted.by, units)}, the lightest cell is the best."]
    parts += [text for why, text in _BLANK_TEXTS.items() if (blank == why).any()]
    if numbered is not None:
        parts.append(f"{plain(numbered.axis.name)} {_numbers_key(numbered)}.")
    constraints = "; ".join(plain(each.text) for each in wanted.constraints)
    return " ".join([*parts, *([f"Only launches with {constraints}."] if constraints else [])])


def _numbers_key(parted: Parting) -> str:
    """The name behind each number along a panel."""
    return "; ".join(f"{n}: {plain(text)}" for n, text in enumerate(parted.labels, start=1))


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


def _with_unit(parted: Parting) -> str:
    """Name of an axis, with the unit of its numbers."""
    unit = parted.axis.shown_in
    return f"{parted.axis.name} [{unit.label}]" if unit is not None and unit.label else parted.axis.name


def _are_numbered(parted: Parting) -> bool:
    """Whether names along a panel are too long to stand there, so that numbers have to stand for them."""
    room = round((_NARROW_COLUMNS if is_narrow() else _COLUMNS) / len(parted.labels))
    return not parted.numbers and max(len(text) for text in parted.labels) > room


def _ticks(parted: Parting) -> list[tuple[float, str]]:
    """Places along an axis in cells, and what stands there: names, rounded values, or the ends of ranges."""
    if parted.edges:
        return list(enumerate(rounded(parted.edges)))
    texts = rounded(parted.numbers) if parted.numbers else parted.labels
    stride = max(1, -(-len(texts) // _MOST_NUMBERED))
    return [(k + 0.5, text) for k, text in enumerate(texts)][::stride]


def rounded(values: Sequence[float]) -> list[str]:
    """Numbers with as few decimals as state each within a twentieth of the smallest step between them."""
    ordered = np.unique(values)
    step = float(np.diff(ordered).min()) if ordered.size > 1 else 0.02 * abs(float(ordered[0]))
    exact = np.asarray(values)
    digits = next((d for d in range(_MOST_DIGITS) if np.abs(np.round(exact, d) - exact).max() <= 0.05 * step), None)
    return [f"{value:.9g}" if digits is None else f"{value:.{digits}f}" for value in values]


def _name_cells(axes: Axes, across: Sequence[Parting], numbered: bool) -> None:
    along, up = (_ticks(parted) for parted in across[:2])
    if numbered:
        along = [(k + 0.5, str(k + 1)) for k in range(len(across[0].labels))]
    along = _apart(axes, along, len(across[0].labels))
    axes.set_xlim(0.0, len(across[0].labels))
    axes.set_xticks([place for place, _ in along], [plain(text) for _, text in along], parse_math=False)
    axes.set_yticks([place for place, _ in up], [label_text(text) for _, text in up], parse_math=False)
    axes.tick_params(length=0.0)


def _apart(axes: Axes, ticks: list[tuple[float, str]], cells: int) -> list[tuple[float, str]]:
    """Every one of the ticks, or every second, third ... of them, so that none runs into the next."""
    figure = axes.get_figure(root=True)
    assert figure is not None, "axes belong to a figure"
    trials = [figure.text(0.0, 0.0, text, fontsize=rcParams["xtick.labelsize"], parse_math=False) for _, text in ticks]
    widest = max(trial.get_window_extent().width for trial in trials) + _BETWEEN * figure.dpi
    for trial in trials:
        trial.remove()
    pitch = axes.get_window_extent().width / cells
    return ticks[:: max(1, ceil(widest / pitch))]


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
    title = f"What less {plain(against.label)} costs"
    key = (
        ("no other launch is better in both", LineStyle(INK, (), 1.6, "o")),
        ("other launches", LineStyle(QUIET, (), 0.0, "o", hollow=True)),
    )
    figure, rows = sheet(title, _front_lead(wanted), Panels((3.0,), key=key))
    axes = rows[0][0]
    _draw_front(axes, reader, wanted, against, units)
    name_x(axes, _axis_name(against, units))
    head_panel(axes, _axis_name(wanted.by, units))
    return figure


def _draw_front(axes: Axes, reader: Reader, wanted: Order, against: Measure, units: Units) -> None:
    best = np.array([entry[1:] for entry in front(reader, wanted, against)])
    if not best.size:
        raise UsageError(_NOTHING)
    every = np.array(list(cloud(reader, wanted, against, _MOST_POINTS))).reshape(-1, 2)
    others = _both(every, wanted.by, against, units)
    axes.plot(others[:, 0], others[:, 1], "o", color=SHADE, markeredgecolor=QUIET, markeredgewidth=0.4, markersize=4.0)
    kept = _both(best, wanted.by, against, units)
    axes.step(kept[:, 0], kept[:, 1], where="post", color=INK, linewidth=1.0)
    axes.plot(kept[:, 0], kept[:, 1], "o", color=INK, markersize=5.5)
    axes.margins(0.06)


def _front_lead(wanted: Order) -> str:
    constraints = "; ".join(plain(each.text) for each in wanted.constraints)
    return f"Only launches with {constraints}." if constraints else ""


def _both(pairs: Array, by: Measure, against: Measure, units: Units) -> Array:
    return np.column_stack([_in_units(pairs[:, 0], against, units), _in_units(pairs[:, 1], by, units)])
