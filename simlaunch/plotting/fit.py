"""Figures of a fit: each log beside the car that was fitted to it."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from scipy.ndimage import uniform_filter1d

from simlaunch.fitting.result import Fit, FittedRun
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
from simlaunch.units.spelling import Dimension


@in_our_look
def residual_figure(found: FittedRun, system: str) -> Figure:
    """Speed of a log and of the car fitted to it, and what is left over.

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
        name_x(axes, units.axis_of("time"), shown=axes is column[-1])
    _draw_both(column[0], time, speed.values, shown, units)
    _draw_residuals(column[1], time, speed.values - shown, left.noise, units)
    return figure


def figures(fit: Fit, system: str) -> dict[str, Figure]:
    """A figure of every log, the one that was left out last."""
    runs = [*fit.runs, *([fit.left_out] if fit.left_out else [])]
    names = ["residuals"] if len(runs) == 1 else [f"residuals-{run.run.place + 1}" for run in runs]
    return {name: residual_figure(run, system) for name, run in zip(names, runs, strict=True)}


def draw(axes: Axes, fit: Fit, system: str) -> None:
    """Speed of the first log and of the car fitted to it, on axes of the caller."""
    units, found = units_of(system), fit.runs[0]
    speed = found.run.log.speed
    time = found.timing.since(speed.time, "speed")
    measured, shown = (units.of(values, Dimension.SPEED) for values in (speed.values, found.shown["speed"]))
    axes.plot(time, measured, linestyle="none", marker="o", markersize=2.4, color=curve_style(0).colour, label="log")
    axes.plot(time, shown, **{**curve_style(1).drawing(), "linewidth": 1.5}, label="fitted car")
    axes.set_xlabel(units.axis_of("time"))
    axes.set_ylabel(units.axis_of("speed"))
    axes.legend(fontsize="small")


def _draw_both(axes: Axes, time: Array, measured: Array, shown: Array, units: Units) -> None:
    log_look, car_look = curve_style(0), curve_style(1)
    both = [units.of(values, Dimension.SPEED) for values in (measured, shown)]
    axes.plot(time, both[0], linestyle="none", marker="o", markersize=2.4, color=log_look.colour)
    axes.plot(time, both[1], **{**car_look.drawing(), "linewidth": 1.5})
    axes.set_ylim(bottom=0.0)
    head_panel(axes, units.axis_of("speed"))
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
