"""Figures of several logs: speed over time from where they are aligned, and the gap along speed."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from simlaunch.analysis.logs import LogComparison, Setup
from simlaunch.logged.scatter import Evidence
from simlaunch.output.clock import mark_name, time_zero
from simlaunch.output.words import Numbers
from simlaunch.plotting.look import (
    INK,
    SHADE,
    LineStyle,
    Panels,
    Units,
    curve_style,
    head_panel,
    in_our_look,
    name_x,
    sheet,
    units_of,
)
from simlaunch.units.spelling import Dimension

_WEIGHED = (Evidence.MORE, Evidence.LESS)


def _style(setup: Setup) -> LineStyle:
    look = curve_style(0 if setup is Setup.BEFORE else 1)
    return LineStyle(look.colour, look.dash, 1.3)


@in_our_look
def logs_figure(found: LogComparison, system: str) -> Figure:
    """Speed over time of every log, and below it the gap along speed.

    Raises
    ------
    UsageError
        No system of units of that name.
    """
    units, setups = units_of(system), [setup for setup in Setup if found.of(setup)]
    both = len(setups) > 1
    key = [(f"{setup.value}, {len(found.of(setup))} logs", _style(setup)) for setup in setups]
    panels = Panels((2.8, 1.8) if both else (2.8,), shared_x=False, key=key)
    figure, rows = sheet(_title(found, both), _lead(found, units), panels)
    _draw_speeds(rows[0][0], found, units)
    name_x(rows[0][0], units.axis_of("time"))
    head_panel(rows[0][0], units.axis_of("speed"))
    if both:
        _draw_gap(rows[1][0], found, units)
    return figure


def figures(found: LogComparison, system: str) -> dict[str, Figure]:
    """Every log over time, and the gap."""
    return {"history": logs_figure(found, system)}


def draw(axes: Axes, found: LogComparison, system: str) -> None:
    """Speed over time on axes of the caller."""
    units = units_of(system)
    _draw_speeds(axes, found, units)
    axes.set_xlabel(units.axis_of("time"))
    axes.set_ylabel(units.axis_of("speed"))


def _title(found: LogComparison, both: bool) -> str:
    change = found.verdict.change
    if not both or change is None or not np.isfinite(change.gap):
        return f"{len(found.logs)} logs side by side"
    way = "slower" if change.gap > 0.0 else "quicker"
    printed = round(change.after.mean, 3) - round(change.before.mean, 3)  # the difference that the verdict states
    return f"After: {abs(printed):.3f} s {way} in {mark_name(found.target)}"


def _lead(found: LogComparison, units: Units) -> str:
    change = found.verdict.change
    said = f" The change is {change.evidence.value}." if change and change.evidence in _WEIGHED else ""
    return f"{time_zero(found.aligned_at, found.known_to, Numbers(units.system))}{said}"


def _draw_speeds(axes: Axes, found: LogComparison, units: Units) -> None:
    last = 0.0
    for log in found.logs:
        trace = found.aligned(log)
        kept = trace.time >= 0.0
        axes.plot(trace.time[kept], units.of(trace["speed"][kept], Dimension.SPEED), **_style(log.setup).drawing())
        last = max(last, float(trace.time[-1]))
    axes.set_xlim(0.0, last)
    if not found.aligned_at:
        axes.set_ylim(bottom=0.0)


def _draw_gap(axes: Axes, found: LogComparison, units: Units) -> None:
    along = found.along
    speed = units.of(along.speed, Dimension.SPEED)
    if np.isfinite(along.low).any():
        axes.fill_between(speed, along.low, along.high, color=SHADE, linewidth=0.0)
    axes.axhline(0.0, color=INK, linewidth=0.8)
    axes.plot(speed, along.gap, **{**_style(Setup.AFTER).drawing(), "linewidth": 1.8})
    axes.set_xlim(float(speed[0]), float(speed[-1]))
    head_panel(axes, "after less before [s], with its interval of 95 %")
    name_x(axes, units.axis_of("speed"))
