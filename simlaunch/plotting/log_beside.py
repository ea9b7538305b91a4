"""Logged runs and calculated ones over time."""

from __future__ import annotations

from matplotlib.figure import Figure

from simlaunch.analysis.log_beside import LogsBeside
from simlaunch.output.log_beside import zero
from simlaunch.output.words import Numbers
from simlaunch.plotting.look import (
    INK,
    LineStyle,
    Panels,
    curve_style,
    head_panel,
    in_our_look,
    name_x,
    named,
    sheet,
    units_of,
)
from simlaunch.units.spelling import Dimension, system_named

_LOG = LineStyle(INK, (1.0, 1.6), 1.2)  # drawn on top, so that the lines below show through


@in_our_look
def beside_figure(found: LogsBeside, system: str) -> Figure:
    """Speed over time: every log, and every calculated run.

    Raises
    ------
    UsageError
        No system of units of that name.
    """
    units, numbers = units_of(system), Numbers(system_named(system))
    count = len(found.logs)
    key = [(f"logged, {count} run{'s' if count > 1 else ''}", _LOG)]
    key += [(f"calculated, {named(run.name)}", curve_style(k)) for k, run in enumerate(found.runs)]
    figure, rows = sheet("Logged and calculated", zero(found, numbers), Panels((2.6,), key=key))
    axes, last = rows[0][0], 0.0
    for k, run in enumerate(found.runs):
        trace = found.aligned(run.trace)
        axes.plot(trace.time, units.of(trace["speed"], Dimension.SPEED), **curve_style(k).drawing())
        last = max(last, float(trace.time[-1]))
    for log in found.logs:
        trace = found.aligned(log.trace)
        axes.plot(trace.time, units.of(trace["speed"], Dimension.SPEED), **_LOG.drawing())
        last = max(last, float(trace.time[-1]))
    axes.set_xlim(0.0, last)
    axes.set_ylim(bottom=0.0)
    name_x(axes, units.axis_of("time"))
    head_panel(axes, units.axis_of("speed"))
    return figure
