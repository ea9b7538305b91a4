"""Figures of a logged run: speed, wheels and engine speed over time; and the log beside a car fitted to it."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from scipy.ndimage import uniform_filter1d

from simlaunch.analysis.log import LoggedRun
from simlaunch.fit.result import FittedRun
from simlaunch.metrics.crossing import with_distance
from simlaunch.plotting.labels import End, label_ends
from simlaunch.plotting.look import (
    INK,
    Array,
    Panels,
    Units,
    curve_style,
    head_panel,
    in_our_look,
    name_x,
    sheet,
    units_of,
)
from simlaunch.simulation.trace import Trace
from simlaunch.units.spelling import Dimension


@in_our_look
def log_figure(logged: LoggedRun, system: str) -> Figure:
    """A logged run over time.

    Parameters
    ----------
    logged : LoggedRun
        The run.
    system : str
        ``"metric"`` or ``"us"``.

    Returns
    -------
    Figure
        A panel for speed, and one for engine speed where it was logged.

    Raises
    ------
    UsageError
        No system of units of that name.
    """
    units, trace = units_of(system), logged.account.trace
    speeds = _speeds(logged)
    engine = "engine_speed" in trace
    panels = Panels((2.6, 1.6) if engine else (2.6,), labels=(list(speeds), *([()] if engine else [])))
    figure, rows = sheet(_title(trace, units), "Time zero: the car moves off.", panels)
    column = [row[0] for row in rows]
    for axes in column:
        axes.set_xlim(0.0, float(trace.time[-1]))
        name_x(axes, units.axis("time", Dimension.TIME), shown=axes is column[-1])
    _draw_speeds(column[0], trace, speeds, units)
    if engine:
        shown = units.of(trace["engine_speed"], Dimension.ROTATIONAL_SPEED)
        column[1].plot(trace.time, shown, **{**curve_style(0).drawing(), "linewidth": 1.7})
        column[1].set_ylim(bottom=0.0)
        head_panel(column[1], units.axis("engine speed", Dimension.ROTATIONAL_SPEED))
    return figure


def figures(logged: LoggedRun, system: str) -> dict[str, Figure]:
    """A logged run over time."""
    return {"history": log_figure(logged, system)}


def draw(axes: Axes, logged: LoggedRun, system: str) -> None:
    """Speed over time on axes of the caller."""
    units = units_of(system)
    axes.plot(logged.trace.time, units.of(logged.trace["speed"], Dimension.SPEED))
    axes.set_xlabel(units.axis("time", Dimension.TIME))
    axes.set_ylabel(units.axis("speed", Dimension.SPEED))


def _title(trace: Trace, units: Units) -> str:
    distance = float(with_distance(trace)["distance"][-1])
    reached = units.text(float(trace["speed"][-1]), Dimension.SPEED)
    return f"Logged run: {reached} after {trace.time[-1]:.2f} s and {units.text(distance, Dimension.LENGTH)}"


def _speeds(logged: LoggedRun) -> dict[str, tuple[str, float]]:
    """Lines of the speed panel: label, and channel with the factor that makes a road speed of it."""
    lines = {"car": ("speed", 1.0)}
    for end, radius in zip(("front", "rear"), logged.radii or (), strict=False):
        if f"wheel_speed_{end}" in logged.account.trace:
            lines[f"{end} wheels"] = (f"wheel_speed_{end}", radius)
    return lines


def _draw_speeds(axes: Axes, trace: Trace, speeds: dict[str, tuple[str, float]], units: Units) -> None:
    ends = []
    for index, (label, (channel, factor)) in enumerate(speeds.items()):
        shown, look = units.of(trace[channel] * factor, Dimension.SPEED), curve_style(index)
        axes.plot(trace.time, shown, **{**look.drawing(), "linewidth": 1.7})
        ends.append(End(float(trace.time[-1]), float(shown[-1]), label, look.colour))
    axes.set_ylim(bottom=0.0)
    head_panel(axes, units.axis("speed", Dimension.SPEED))
    label_ends(axes, ends)


# --- a log beside the car that was fitted to it ---


@in_our_look
def residual_figure(found: FittedRun, system: str) -> Figure:
    """Speed of a log and of the car fitted to it, and what is left over.

    Parameters
    ----------
    found : FittedRun
        One log of a fit.
    system : str
        ``"metric"`` or ``"us"``.

    Returns
    -------
    Figure
        Two panels over time.

    Raises
    ------
    UsageError
        No system of units of that name.
    """
    units, speed = units_of(system), found.run.log.speed
    left = next(each for each in found.misfits if each.channel == "speed")
    time, shown = found.timing.since(speed.time, "speed"), found.shown["speed"]
    rms, band = (units.text(size, Dimension.SPEED, 2) for size in (left.rms, 2.0 * left.noise))
    lead = f"Time zero: the car is let go. Band: twice the noise of a sample, {band}. Line: mean of half a second."
    panels = Panels((2.6, 1.6), labels=(("log", "fitted car"), ()))
    figure, rows = sheet(f"Fitted car and log: {rms} rms of speed are left over", lead, panels)
    column = [row[0] for row in rows]
    for axes in column:
        axes.set_xlim(min(0.0, float(time[0])), float(time[-1]))
        name_x(axes, units.axis("time", Dimension.TIME), shown=axes is column[-1])
    _draw_both(column[0], time, speed.values, shown, units)
    _draw_residuals(column[1], time, speed.values - shown, left.noise, units)
    return figure


def _draw_both(axes: Axes, time: Array, measured: Array, shown: Array, units: Units) -> None:
    log_look, car_look = curve_style(0), curve_style(1)
    both = [units.of(values, Dimension.SPEED) for values in (measured, shown)]
    axes.plot(time, both[0], linestyle="none", marker="o", markersize=2.4, color=log_look.colour)
    axes.plot(time, both[1], **{**car_look.drawing(), "linewidth": 1.5})
    axes.set_ylim(bottom=0.0)
    head_panel(axes, units.axis("speed", Dimension.SPEED))
    names = zip(("log", "fitted car"), both, (log_look, car_look), strict=True)
    label_ends(axes, [End(float(time[-1]), float(values[-1]), name, look.colour) for name, values, look in names])


def _draw_residuals(axes: Axes, time: Array, left: Array, noise: float, units: Units) -> None:
    shown, band = units.of(left, Dimension.SPEED), float(units.of(np.array(2.0 * noise), Dimension.SPEED))
    length = max(1, round(0.5 * time.size / max(float(np.ptp(time)), 0.5)))
    axes.axhspan(-band, band, color="#dddad4", linewidth=0.0)
    axes.axhline(0.0, color=INK, linewidth=0.8)
    axes.plot(time, shown, linestyle="none", marker="o", markersize=1.8, color=curve_style(0).colour)
    axes.plot(time, uniform_filter1d(shown, length), color=curve_style(1).colour, linewidth=1.4)
    farthest = 1.1 * max(float(np.abs(shown).max()), band)
    axes.set_ylim(-farthest, farthest)
    head_panel(axes, units.axis("log less car", Dimension.SPEED))
