"""The central picture: full-load curves against the torque that the tyres can use in each gear."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from simlaunch.analysis.usable import GearCeiling, UsableTorque
from simlaunch.plotting.labels import End, label_ends
from simlaunch.plotting.look import (
    HATCHES,
    LineStyle,
    Panels,
    Units,
    curve_style,
    gear_style,
    head_panel,
    in_our_look,
    is_narrow,
    key_or_labels,
    markers_apart,
    name_x,
    named,
    ordinal,
    plain,
    sheet,
    units_of,
)
from simlaunch.units.spelling import Dimension

Array = NDArray[np.float64]

CUT_LABEL = "chosen plateau"
CUT_STYLE = LineStyle("#3450b4", (1.6, 1.2), 3.2)
"""A curve cut off at a chosen height."""

_HEADROOM = 1.2  # height of the picture over the highest peak
_FARTHEST = 2.0  # as far up as the picture goes to show the lowest ceiling
_MOST_NAMED = 3


@in_our_look
def usable_figure(usable: UsableTorque, system: str) -> Figure:
    """Curves against the usable torque of each gear; what stands above the lowest ceiling is hatched.

    Raises
    ------
    UsageError
        No system of units of that name.
    """
    units, top = units_of(system), _top(usable)
    near = [ceiling for ceiling in usable.ceilings if _lowest(ceiling) <= top]
    lines = [(name, curve_style(index)) for index, name in enumerate(usable.curves)]
    lines += [(limited.label, limited.style) for limited in _limited(usable)]
    key, labels = key_or_labels(lines)
    labels += [_label(ceiling) for ceiling in near]
    panels = Panels((3.1,), labels=(labels,), key=key)
    figure, rows = sheet(_title(usable), _lead(usable, near, units), panels)
    axes = rows[0][0]
    axes.set_xlim(*units.of(usable.engine_speed[[0, -1]], Dimension.ROTATIONAL_SPEED))
    axes.set_ylim(0.0, float(units.of(np.array(top), Dimension.TORQUE)))
    ends = [
        *_draw_ceilings(axes, usable, near, units),
        *_draw_curves(axes, usable, units),
        *_draw_limited(axes, usable, units),
    ]
    name_x(axes, units.axis_of("engine_speed"))
    head_panel(axes, units.axis_of("engine_torque"))
    label_ends(axes, [end for end in ends if end.label in labels])
    return figure


def figures(usable: UsableTorque, system: str) -> dict[str, Figure]:
    """The central picture."""
    return {"torque": usable_figure(usable, system)}


def draw(axes: Axes, usable: UsableTorque, system: str) -> None:
    """Curves and ceilings on axes of the caller, named in a legend."""
    units, top = units_of(system), _top(usable)
    near = [ceiling for ceiling in usable.ceilings if _lowest(ceiling) <= top]
    ends = [
        *_draw_ceilings(axes, usable, near, units),
        *_draw_curves(axes, usable, units),
        *_draw_limited(axes, usable, units),
    ]
    for line, end in zip(axes.lines[-len(ends) :], ends, strict=True):
        line.set_label(plain(end.label))
    axes.set_xlim(*units.of(usable.engine_speed[[0, -1]], Dimension.ROTATIONAL_SPEED))
    axes.set_ylim(0.0, float(units.of(np.array(top), Dimension.TORQUE)))
    axes.set_xlabel(units.axis_of("engine_speed"))
    axes.set_ylabel(units.axis_of("engine_torque"))
    axes.legend(fontsize="small")


@in_our_look
def plateau_choice_figure(usable: UsableTorque, chosen: Array, shown: Sequence[GearCeiling], system: str) -> Figure:
    """Curves, a curve cut off at a chosen height, and usable torque, with lines that a page can move.

    Parameters
    ----------
    usable : UsableTorque
        Curves and ceilings.
    chosen : ndarray, shape (n,)
        Torque of the cut curve at the engine speeds of `usable` [N m].
    shown : sequence of GearCeiling
        Ceilings that are drawn.
    system : str
        ``"metric"`` or ``"us"``.

    Returns
    -------
    Figure
        One panel; its lines ``cut`` and ``ceiling-1`` and so on go by these names in the SVG.

    Raises
    ------
    UsageError
        No system of units of that name.
    """
    units = units_of(system)
    lines = [(name, curve_style(index)) for index, name in enumerate(usable.curves)]
    gears = [(f"usable in {_gear(ceiling)}", gear_style(ceiling.gear)) for ceiling in shown]
    key = (*lines, (CUT_LABEL, CUT_STYLE), *gears)
    figure, rows = sheet(CUT_LABEL, "", Panels((2.9,), key=key))
    axes, speed = rows[0][0], units.of(usable.engine_speed, Dimension.ROTATIONAL_SPEED)
    for ceiling in shown:
        torque, gear = units.of(ceiling.usable, Dimension.TORQUE), ceiling.gear
        axes.plot(speed, torque, **gear_style(gear).drawing(), gid=f"ceiling-{gear}")
    for (_, line_style), torque in zip(lines, usable.curves.values(), strict=True):
        axes.plot(speed, units.of(torque, Dimension.TORQUE), **line_style.drawing())
    axes.plot(speed, units.of(chosen, Dimension.TORQUE), **CUT_STYLE.drawing(), gid="cut")
    axes.set_xlim(speed[0], speed[-1])
    peak = max(float(torque.max()) for torque in usable.curves.values())
    axes.set_ylim(0.0, float(units.of(np.array(_HEADROOM * peak), Dimension.TORQUE)))
    name_x(axes, units.axis_of("engine_speed"))
    head_panel(axes, units.axis_of("engine_torque"))
    return figure


def _lowest(ceiling: GearCeiling) -> float:
    known = ceiling.usable[np.isfinite(ceiling.usable)]
    return float(known.min()) if known.size else np.inf


def _lowest_ceiling(usable: UsableTorque) -> GearCeiling:
    return min(usable.ceilings, key=_lowest)


def _top(usable: UsableTorque) -> float:
    peak = max(float(torque.max()) for torque in usable.curves.values())
    to_see_it = 1.05 * _lowest(_lowest_ceiling(usable))
    return max(_HEADROOM * peak, min(to_see_it, _FARTHEST * peak))


def _gear(ceiling: GearCeiling) -> str:
    return f"{ordinal(ceiling.gear)} gear"


def _label(ceiling: GearCeiling) -> str:
    return ordinal(ceiling.gear) if is_narrow() else _gear(ceiling)


def _draw_ceilings(axes: Axes, usable: UsableTorque, near: Sequence[GearCeiling], units: Units) -> list[End]:
    speed = units.of(usable.engine_speed, Dimension.ROTATIONAL_SPEED)
    ends = []
    for ceiling in near:
        torque = units.of(ceiling.usable, Dimension.TORQUE)
        line_style = gear_style(ceiling.gear)
        axes.plot(speed, torque, **line_style.drawing())
        ends.append(End(speed[-1], torque[-1], _label(ceiling), line_style.colour))
    return ends


def _draw_curves(axes: Axes, usable: UsableTorque, units: Units) -> list[End]:
    speed = units.of(usable.engine_speed, Dimension.ROTATIONAL_SPEED)
    lowest = _lowest_ceiling(usable)
    ceiling = units.of(lowest.usable, Dimension.TORQUE)
    ends = []
    for index, (name, values) in enumerate(usable.curves.items()):
        torque, line_style = units.of(values, Dimension.TORQUE), curve_style(index)
        there = units.of(usable.torque(name, lowest.gear), Dimension.TORQUE)
        axes.fill_between(
            speed,
            ceiling,
            there,
            where=(there > ceiling).tolist(),
            interpolate=True,
            facecolor="none",
            edgecolor=line_style.colour,
            hatch=HATCHES[index % len(HATCHES)],
            linewidth=0.0,
            alpha=0.55,
        )
        axes.plot(speed, torque, **line_style.drawing(), **markers_apart(line_style))
        ends.append(End(speed[-1], torque[-1], name, line_style.colour))
    return ends


class _Limited(NamedTuple):
    """A curve in a gear that lets the engine give less of it."""

    label: str
    style: LineStyle
    torque: Array


def _limited(usable: UsableTorque) -> list[_Limited]:
    """Curves in the gears whose limits lie below them, in the colour of the curve and the dashes of the gear."""
    return [
        _Limited(f"{name}, {ordinal(gear)}", replace(gear_style(gear), colour=curve_style(index).colour), torque)
        for index, (name, by_gear) in enumerate(usable.by_gear.items())
        for gear, torque in by_gear.items()
        if (torque < usable.curves[name]).any()
    ]


def _draw_limited(axes: Axes, usable: UsableTorque, units: Units) -> list[End]:
    speed, ends = units.of(usable.engine_speed, Dimension.ROTATIONAL_SPEED), []
    for limited in _limited(usable):
        torque = units.of(limited.torque, Dimension.TORQUE)
        axes.plot(speed, torque, **limited.style.drawing())
        ends.append(End(speed[-1], torque[-1], limited.label, limited.style.colour))
    return ends


def _title(usable: UsableTorque) -> str:
    gear = _lowest_ceiling(usable).gear
    above = [each for each in usable.surplus if each.gear == gear and each.share_of_area > 0.0]
    above = [each for each in above if each.curve in usable.curves]
    if not above:
        return "With the coupling closed, every curve stays below what the tyres can use in every gear"
    what = f"Hatched area, more than the tyres can use in {ordinal(gear)} gear"
    if len(above) > _MOST_NAMED:
        return f"{what}, with {len(above)} of {len(usable.curves)} curves"
    shares = (f"{100.0 * each.share_of_area:.0f} % of {named(each.curve)}" for each in above)
    return f"{what}: {', '.join(shares)}"


def _lead(usable: UsableTorque, near: Sequence[GearCeiling], units: Units) -> str:
    shown = "Thin lines: usable torque of each gear, with dashes in groups of its number."
    far = [ceiling for ceiling in usable.ceilings if ceiling not in near]
    if not near:
        shown = ""
    if _limited(usable):
        shown += " In colour with such dashes: a curve in the gear that limits it."
    shown = shown.strip()
    if not far:
        return shown
    least = min(_lowest(ceiling) for ceiling in far)
    if not np.isfinite(least):
        return shown
    where = f"{_gears(far)} above this picture, at {units.text(least, Dimension.TORQUE)} and more."
    return f"{shown} {where}".strip()


def _gears(ceilings: Sequence[GearCeiling]) -> str:
    if len(ceilings) == 1:
        return f"The ceiling of {_gear(ceilings[0])} lies"
    first, last = ceilings[0].gear, ceilings[-1].gear
    joined = "and" if len(ceilings) == 2 else "to"
    return f"The ceilings of {ordinal(first)} {joined} {ordinal(last)} gear lie"
