"""Figures of a logged run: speed, wheels and engine speed over time."""

from __future__ import annotations

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from simlaunch.analysis.log import LoggedRun
from simlaunch.metrics.crossing import with_distance
from simlaunch.plotting.labels import End, label_ends
from simlaunch.plotting.look import (
    Panels,
    Units,
    curve_style,
    head_panel,
    in_our_look,
    name_x,
    sheet,
    units_of,
)
from simlaunch.simulation.channels import SIDES
from simlaunch.simulation.trace import Trace
from simlaunch.units.spelling import Dimension


@in_our_look
def log_figure(logged: LoggedRun, system: str) -> Figure:
    """A logged run over time.

    Raises
    ------
    UsageError
        No system of units of that name.
    """
    units, trace = units_of(system), logged.account.trace
    speeds = _speeds(logged)
    engine = "engine_speed" in trace
    panels = Panels((2.6, 1.6) if engine else (2.6,), labels=(list(speeds), *([()] if engine else [])))
    figure, rows = sheet(_title(trace, units), _lead(logged), panels)
    column = [row[0] for row in rows]
    for axes in column:
        axes.set_xlim(0.0, float(trace.time[-1]))
        name_x(axes, units.axis_of("time"), shown=axes is column[-1])
    _draw_speeds(column[0], trace, speeds, units)
    if engine:
        shown = units.of(trace["engine_speed"], Dimension.ROTATIONAL_SPEED)
        column[1].plot(trace.time, shown, **{**curve_style(0).drawing(), "linewidth": 1.7})
        column[1].set_ylim(bottom=0.0)
        head_panel(column[1], units.axis_of("engine_speed"))
    return figure


def figures(logged: LoggedRun, system: str) -> dict[str, Figure]:
    """A logged run over time."""
    return {"history": log_figure(logged, system)}


def draw(axes: Axes, logged: LoggedRun, system: str) -> None:
    """Speed over time on axes of the caller."""
    units = units_of(system)
    axes.plot(logged.trace.time, units.of(logged.trace["speed"], Dimension.SPEED))
    axes.set_xlabel(units.axis_of("time"))
    axes.set_ylabel(units.axis_of("speed"))


def _lead(logged: LoggedRun) -> str:
    if logged.account.onset is None:
        return "Time zero: the first sample; the car rolls."
    return f"Time zero: the car moves off, known to {logged.account.onset.zero_within:.3f} s."


def _title(trace: Trace, units: Units) -> str:
    distance = float(with_distance(trace)["distance"][-1])
    reached = units.text(float(trace["speed"][-1]), Dimension.SPEED)
    return f"Logged run: {reached} after {trace.time[-1]:.2f} s and {units.text(distance, Dimension.LENGTH)}"


def _speeds(logged: LoggedRun) -> dict[str, tuple[str, float]]:
    """Lines of the speed panel: label, and channel with the factor that makes a road speed of it."""
    lines = {"car": ("speed", 1.0)}
    for end, radius in zip(("front", "rear"), logged.radii or (), strict=False):
        sides = [side for side in SIDES if f"wheel_speed_{end}_{side}" in logged.account.trace]
        if len(sides) == len(SIDES):
            lines.update({f"{end} {side}": (f"wheel_speed_{end}_{side}", radius) for side in sides})
        elif f"wheel_speed_{end}" in logged.account.trace:
            lines[f"{end} wheels"] = (f"wheel_speed_{end}", radius)
    return lines


def _draw_speeds(axes: Axes, trace: Trace, speeds: dict[str, tuple[str, float]], units: Units) -> None:
    ends = []
    for index, (label, (channel, factor)) in enumerate(speeds.items()):
        shown, look = units.of(trace[channel] * factor, Dimension.SPEED), curve_style(index)
        axes.plot(trace.time, shown, **{**look.drawing(), "linewidth": 1.7})
        ends.append(End(float(trace.time[-1]), float(shown[-1]), label, look.colour))
    axes.set_ylim(bottom=0.0)
    head_panel(axes, units.axis_of("speed"))
    label_ends(axes, ends)
