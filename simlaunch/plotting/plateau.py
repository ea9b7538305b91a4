"""The highest plateau that pays beside the curve that was wished for, and what less torque would cost."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from simlaunch.analysis.plateau import PlateauResult
from simlaunch.output.layout import short
from simlaunch.plotting.labels import Place, label_points
from simlaunch.plotting.look import (
    INK,
    QUIET,
    LineStyle,
    Panels,
    Units,
    curve_style,
    head_panel,
    in_our_look,
    name_x,
    named,
    panel_size,
    plain,
    sheet,
    text_size,
    units_of,
)
from simlaunch.searching.plateau_search import Plateau
from simlaunch.searching.plateau_search_space import Point
from simlaunch.units.spelling import Dimension

_LANE = 0.2  # height of a lane of names [in]
_NAME = 8.5  # size of a name of a limit [pt]
_APART = 0.08  # between two names in one lane [in]
_LONGEST = 24  # of a name in the lower picture
_LIMIT_DASHES: tuple[tuple[float, ...], ...] = ((), (2.4, 0.8), (0.8, 0.6), (3.0, 0.7, 0.8, 0.7))
_NEAR = 1.1  # points of the front that are drawn come so near the quickest


@in_our_look
def plateau_figure(found: Plateau, wish: str, system: str) -> Figure:
    """Both curves, with the limits that bind named along the found one, above time against torque of the gearbox.

    Parameters
    ----------
    found : Plateau
        What was found.
    wish : str
        Name of the curve that was wished for.
    system : str
        ``"metric"`` or ``"us"``.

    Returns
    -------
    Figure
        Two panels, one above the other.

    Raises
    ------
    UsageError
        No system of units of that name.
    """
    units, chosen, wished = units_of(system), curve_style(0), curve_style(1)
    height = units.text(found.chosen.shape.height, Dimension.TORQUE)
    lead = "Bars: what keeps the curve from being higher. Lower picture: what less torque would cost."
    measured = [(f"limit: {name}", _measured_style(index)) for index, name in enumerate(found.measured)]
    key = (("plateau that pays", chosen), (f"wished for: {wish}", wished), *measured)
    panels = Panels((2.2, 1.7), shared_x=False, key=key)
    figure, rows = sheet(f"The highest plateau that pays: {height}, against {named(wish)}", lead, panels)
    upper, lower = rows[0][0], rows[1][0]
    speed = units.of(found.speeds, Dimension.ROTATIONAL_SPEED)
    _draw_curves(upper, found, units)
    _draw_measured(upper, found, units)
    upper.set_xlim(speed[0], speed[-1] + 0.02 * (speed[-1] - speed[0]))
    highest = float(units.of(np.maximum(found.torque, found.wish_torque), Dimension.TORQUE).max())
    upper.set_ylim(0.0, 1.12 * highest)
    _name_limits(upper, found, units)
    name_x(upper, units.axis_of("engine_speed"))
    head_panel(upper, units.axis_of("engine_torque"))
    _draw_front(lower, found, wish, units)
    name_x(lower, units.axis("steady torque at the gearbox input", Dimension.TORQUE))
    head_panel(lower, "time [s]")
    return figure


def figures(result: PlateauResult, system: str) -> dict[str, Figure]:
    """The plateau of the car as described."""
    return {"torque": plateau_figure(result.first, result.wish, system)}


def draw(axes: Axes, result: PlateauResult, system: str) -> None:
    """The plateau of the car as described and the curve that was wished for, on axes of the caller."""
    units = units_of(system)
    wished, chosen = _draw_curves(axes, result.first, units)
    wished.set_label(f"wished for: {plain(result.wish)}")
    chosen.set_label("plateau that pays")
    axes.set_xlabel(units.axis_of("engine_speed"))
    axes.set_ylabel(units.axis_of("engine_torque"))
    axes.legend(fontsize="small")


def _draw_curves(axes: Axes, found: Plateau, units: Units) -> tuple[Line2D, Line2D]:
    """The curve that is wished for, and the one that was found."""
    speed = units.of(found.speeds, Dimension.ROTATIONAL_SPEED)
    torques = (found.wish_torque, found.torque)
    (wished,), (chosen,) = (
        axes.plot(speed, units.of(torque, Dimension.TORQUE), **curve_style(index).drawing())
        for index, torque in zip((1, 0), torques, strict=True)
    )
    return wished, chosen


def _measured_style(index: int) -> LineStyle:
    """Style of a measured limit: broad and quiet, behind the curves."""
    return LineStyle("#a3a8ad", _LIMIT_DASHES[index % len(_LIMIT_DASHES)], 3.2)


def _draw_measured(axes: Axes, found: Plateau, units: Units) -> None:
    """Each measured limit as a broad line, named in the key."""
    speed = units.of(found.speeds, Dimension.ROTATIONAL_SPEED)
    for index, cap in enumerate(found.measured.values()):
        axes.plot(speed, units.of(cap, Dimension.TORQUE), **_measured_style(index).drawing(), zorder=1.5)


def _name_limits(axes: Axes, found: Plateau, units: Units) -> None:
    """The name of each limit over a bar along the stretch that it binds, in the lowest lane that is free there."""
    turns = [0, *(k for k in range(1, found.speeds.size) if found.binding[k] != found.binding[k - 1])]
    ends = [*turns[1:], found.speeds.size]
    (left, right), (width, height) = axes.get_xlim(), panel_size(axes)
    figure, lanes = axes.figure, list[list[tuple[float, float]]]()
    assert isinstance(figure, Figure)
    for first, after in zip(turns, ends, strict=True):
        x = units.of(found.speeds[[first, after - 1]], Dimension.ROTATIONAL_SPEED)
        bar = [width * (float(each) - left) / (right - left) for each in x]
        name, late = plain(found.binding[first]), bar[0] > 0.5 * width
        wide = text_size(figure, name, fontsize=_NAME)[0]
        start = min(max(bar[1] - wide if late else bar[0], 0.0), max(width - wide, 0.0))
        begin, end = min(bar[0], start), max(bar[1], start + wide)
        lane = next((n for n, taken in enumerate(lanes) if _is_free(taken, begin, end)), len(lanes))
        lanes += [[]] * (lane == len(lanes))
        lanes[lane] = [*lanes[lane], (begin, end)]
        y = (_LANE * lane + 0.06) / height * axes.get_ylim()[1]
        axes.plot(x, [y, y], color=INK, linewidth=2.2, solid_capstyle="butt")
        axes.annotate(
            name,
            xy=(left + start / width * (right - left), y),
            xytext=(0.0, 2.0),
            textcoords="offset points",
            va="bottom",
            fontsize=_NAME,
            parse_math=False,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.3},
        )


def _is_free(taken: Sequence[tuple[float, float]], begin: float, end: float) -> bool:
    return all(end + _APART <= first or last + _APART <= begin for first, last in taken)


def _draw_front(axes: Axes, found: Plateau, wish: str, units: Units) -> None:
    """The quicker end of the front, where the choice lies."""
    near = [point for point in found.front if point.score <= _NEAR * found.front[-1].score]
    torque = units.of(np.array([point.strain for point in near]), Dimension.TORQUE)
    axes.plot(torque, [point.score for point in near], color=QUIET, marker="o", markersize=3.5, linewidth=1.2)
    marks = [_Mark("plateau that pays", found.unlimited, curve_style(0).colour, "D")]
    if found.front[found.knee].shape != found.unlimited.shape:
        marks.append(_Mark("knee", found.front[found.knee], curve_style(2).colour, "^"))
    marks.append(_Mark(short(wish, _LONGEST), found.wish, curve_style(1).colour, "s"))
    marks = [mark for mark in marks if np.isfinite([mark.point.score, mark.point.strain]).all()]
    places = [_place(mark, units) for mark in marks]
    for mark, place in zip(marks, places, strict=True):
        axes.plot([place.x], [place.y], marker=mark.sign, color=mark.colour, markersize=7.0, linestyle="None")
    axes.margins(x=0.12, y=0.2)
    axes.autoscale_view()
    label_points(axes, places)


class _Mark(NamedTuple):
    """A point of the lower picture that has a name."""

    name: str
    point: Point
    colour: str
    sign: str


def _place(mark: _Mark, units: Units) -> Place:
    return Place(float(units.of(np.array(mark.point.strain), Dimension.TORQUE)), mark.point.score, mark.name)
