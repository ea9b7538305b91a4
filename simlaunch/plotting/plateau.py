"""The highest plateau that pays beside the curve that was wished for, and what less torque would cost."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from simlaunch.analysis.plateau import PlateauResult
from simlaunch.analysis.plateau_search import Plateau
from simlaunch.analysis.plateau_search_space import Point
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
    plain,
    sheet,
    units_of,
)
from simlaunch.units.spelling import Dimension

_LANES = 3
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
    _draw_front(lower, found, units)
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
    """The name of each limit in a lane of its own below the curve, under the stretch that it binds."""
    turns = [0, *(k for k in range(1, found.speeds.size) if found.binding[k] != found.binding[k - 1])]
    ends = [*turns[1:], found.speeds.size]
    lane = 0.085 * axes.get_ylim()[1]
    for row, (first, after) in enumerate(zip(turns, ends, strict=True)):
        x = units.of(found.speeds[[first, after - 1]], Dimension.ROTATIONAL_SPEED)
        y = lane * (0.35 + row % _LANES)
        axes.plot(x, [y, y], color=INK, linewidth=2.2, solid_capstyle="butt")
        right = x[0] > 0.5 * sum(axes.get_xlim())
        place, side = (float(x[1]), "right") if right else (float(x[0]), "left")
        text = axes.text(place, y + 0.12 * lane, f" {plain(found.binding[first])} ", fontsize=8.5, va="bottom", ha=side)
        text.set_color(INK)
        text.set_bbox({"facecolor": "white", "edgecolor": "none", "pad": 0.6})


def _draw_front(axes: Axes, found: Plateau, units: Units) -> None:
    """The quicker end of the front, where the choice lies."""
    near = [point for point in found.front if point.score <= _NEAR * found.front[-1].score]
    torque = units.of(np.array([point.strain for point in near]), Dimension.TORQUE)
    axes.plot(torque, [point.score for point in near], color=QUIET, marker="o", markersize=3.5, linewidth=1.2)
    _mark(axes, _Mark("wish", found.wish, curve_style(1).colour, "s", (8.0, 6.0)), units)
    if found.front[found.knee].shape != found.unlimited.shape:
        _mark(axes, _Mark("knee", found.front[found.knee], curve_style(2).colour, "^", (6.0, 6.0)), units)
    _mark(axes, _Mark("pays", found.unlimited, curve_style(0).colour, "D", (-8.0, 8.0)), units)
    axes.margins(x=0.12, y=0.2)


class _Mark(NamedTuple):
    """A point of the lower picture that has a name."""

    name: str
    point: Point
    colour: str
    sign: str
    beside: tuple[float, float]  # place of the name [pt]


def _mark(axes: Axes, mark: _Mark, units: Units) -> None:
    """Draw a named point; nothing where it did not get there."""
    if not np.isfinite([mark.point.score, mark.point.strain]).all():
        return
    x, side = float(units.of(np.array(mark.point.strain), Dimension.TORQUE)), "right" if mark.beside[0] < 0 else "left"
    axes.plot([x], [mark.point.score], marker=mark.sign, color=mark.colour, markersize=7.0, linestyle="None")
    place, how = (x, mark.point.score), "offset points"
    axes.annotate(mark.name, place, xytext=mark.beside, textcoords=how, fontsize=9.0, ha=side)
