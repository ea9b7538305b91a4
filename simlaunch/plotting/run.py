"""Figures of runs over time: everything about one of them, or two of them side by side."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import pairwise

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from simlaunch.analysis.simulate import Simulation
from simlaunch.comparing.compare import Comparison, Pair
from simlaunch.launching.goals import WORTH_NAMING
from simlaunch.output.run import end_text
from simlaunch.output.words import Numbers
from simlaunch.plotting.compare import (
    LEAST_SLIP,
    best_slip,
    driven_names,
    driven_slip,
    grip_share,
    shade_peak_slip,
    show_worth_naming,
)
from simlaunch.plotting.labels import End, label_ends, spread
from simlaunch.plotting.look import (
    INK,
    QUIET,
    SHADE,
    LineStyle,
    Panels,
    Units,
    curve_style,
    head_panel,
    in_our_look,
    log_slip,
    name_x,
    named,
    plain,
    sheet,
    units_of,
)
from simlaunch.record import Pedal
from simlaunch.simulation.events import EventKind
from simlaunch.simulation.trace import Trace
from simlaunch.units.spelling import Dimension, system_named

Array = NDArray[np.float64]

_PEDALS = {Pedal.FULL: "full pedal", Pedal.HELD_SLIP: "held slip"}


@in_our_look
def run_figure(simulation: Simulation, system: str) -> Figure:
    """One run over time, its shifts marked in every panel.

    Raises
    ------
    UsageError
        No system of units of that name.
    """
    units = units_of(system)
    labels = [f"{axle} axle" for axle in driven_names(simulation)]
    panels = Panels((1.35, 1.35, 1.35, 1.1, 1.35), labels=((), (), labels, labels, labels))
    figure, rows = sheet(_title(simulation), _lead(simulation, Numbers(system_named(system))), panels)
    column = [row[0] for row in rows]
    shifts = _shifts(simulation.run.trace)
    for axes in column:
        axes.set_xlim(0.0, float(simulation.run.trace.time[-1]))
        name_x(axes, units.axis_of("time"), shown=axes is column[-1])
        for begin, end in shifts:
            axes.axvspan(begin, end, color=SHADE, linewidth=0.0, zorder=0.4)
    for draw, axes in zip(_PANELS, column, strict=True):
        draw(axes, simulation, units)
    return figure


def figures(simulation: Simulation, system: str) -> dict[str, Figure]:
    """One run over time."""
    return {"history": run_figure(simulation, system)}


def draw(axes: Axes, simulation: Simulation, system: str) -> None:
    """Speed over time on axes of the caller, shifts shaded."""
    units, trace = units_of(system), simulation.run.trace
    axes.plot(trace.time, units.of(trace["speed"], Dimension.SPEED), label=plain(simulation.curve))
    for begin, end in _shifts(trace):
        axes.axvspan(begin, end, color=SHADE, linewidth=0.0, zorder=0.4)
    axes.set_xlabel(units.axis_of("time"))
    axes.set_ylabel(units.axis_of("speed"))


SHIFT_STYLE = LineStyle(INK, (), 0.0, "v", hollow=True)


@in_our_look
def unfolding_figure(comparison: Comparison, system: str) -> Figure:
    """How two runs with full pedal unfold: speed, gap and slip over one time axis, every shift marked.

    Raises
    ------
    UsageError
        No system of units of that name.
    """
    units, pair = units_of(system), comparison.pairs[0]
    key = (
        (pair.first.name, curve_style(0)),
        (pair.second.name, curve_style(1)),
        ("shift begins (above: the first, below: the second)", SHIFT_STYLE),
    )
    figure, rows = sheet(_unfolding_title(pair, units), _UNFOLDING_LEAD, Panels((1.7, 1.25, 1.35), key=key))
    column = [row[0] for row in rows]
    for axes in column:
        axes.set_xlim(0.0, shown_until(pair))
        name_x(axes, units.axis_of("time"), shown=axes is column[-1])
    for draw, axes in zip((_both_speeds, _gap_over_time, _both_slips), column, strict=True):
        draw(axes, pair, units)
    return figure


_UNFOLDING_LEAD = (
    "Gap: how much later the second car passes the place where the first is at that time. Dashed line across: the slip "
    "at which the driven tyres give their greatest force."
)


def shown_until(pair: Pair) -> float:
    """Time up to which two runs are shown: a little after the slower one has reached the goal [s]."""
    ends = [float(runs.full.run.trace.time[-1]) for runs in (pair.first, pair.second)]
    goals = [pair.full.at_goal.first.time, pair.full.at_goal.second.time]
    return min(max(ends), 1.03 * max(goals)) if np.isfinite(goals).all() else max(ends)


def gap_over_time(pair: Pair) -> tuple[Array, Array]:
    """Times of the first car [s], and how much later the second passes the place where the first is then [s]."""
    trace, along = pair.first.full.run.trace, pair.full.along
    started = trace["distance"] > 0.0
    return np.interp(along.distance, trace["distance"][started], trace.time[started]), along.gap


def _unfolding_title(pair: Pair, units: Units) -> str:
    last = _distance_at_goal(pair)
    section = max(
        (each for each in pair.full.sections if each.end <= last), key=lambda each: abs(each.growth), default=None
    )
    if section is None or _farthest_apart(pair, last) < WORTH_NAMING:
        return f"{named(pair.first.name)} and {named(pair.second.name)} run side by side all the way"
    ahead, behind = (pair.first, pair.second) if section.growth > 0.0 else (pair.second, pair.first)
    start, end = (units.text(place, Dimension.LENGTH) for place in (section.start, section.end))
    where = "over the first" if section.start == 0.0 else f"between {start} and"
    gained = f"{named(ahead.name)} gains most on {named(behind.name)}, {abs(section.growth):.2f} s,"
    return f"{gained} {where} {end}"


def _farthest_apart(pair: Pair, last: float) -> float:
    """Largest gap at the end of a section up to a distance [s]."""
    growths = [each.growth for each in pair.full.sections if each.end <= last]
    return float(np.abs(np.cumsum(growths)).max())


def _distance_at_goal(pair: Pair) -> float:
    """Where the goal was reached by the first car, a little beyond; infinite where it was not [m]."""
    time, trace = pair.full.at_goal.first.time, pair.first.full.run.trace
    return 1.01 * float(np.interp(time, trace.time, trace["distance"])) if np.isfinite(time) else np.inf


def _both_speeds(axes: Axes, pair: Pair, units: Units) -> None:
    for index, runs in enumerate((pair.first, pair.second)):
        trace, line_style = runs.full.run.trace, curve_style(index)
        speed = units.of(trace["speed"], Dimension.SPEED)
        axes.plot(trace.time, speed, **{**line_style.drawing(), "linewidth": 1.8})
        begins = np.array([begin for begin, _ in _shifts(trace)])
        at = np.interp(begins, trace.time, speed) if begins.size else begins
        lift = (-1.0 if index else 1.0) * 0.055 * float(speed.max())
        marker = {**SHIFT_STYLE.drawing(), "markeredgecolor": line_style.colour, "marker": "^" if index else "v"}
        axes.plot(begins, at + lift, **{**marker, "linestyle": "none"})
    axes.set_ylim(bottom=0.0)
    head_panel(axes, units.axis_of("speed"))


def _gap_over_time(axes: Axes, pair: Pair, units: Units) -> None:
    time, gap = gap_over_time(pair)
    axes.axhline(0.0, color=INK, linewidth=1.0)
    axes.plot(time, gap, **{**curve_style(1).drawing(), "linewidth": 1.8})
    show_worth_naming(axes)
    head_panel(axes, f"{units.axis(f'gap of {named(pair.second.name, 16)}', Dimension.TIME)}; below 0: ahead")


def _both_slips(axes: Axes, pair: Pair, units: Units) -> None:
    runs = (pair.first.full, pair.second.full)
    most = 1.5 * max(float(driven_slip(simulation).max()) for simulation in runs)
    log_slip(axes, *(float(units.of(np.array(slip), Dimension.SHARE)) for slip in (LEAST_SLIP, most)))
    axes.axhline(float(units.of(np.array(best_slip(runs)), Dimension.SHARE)), color=QUIET, linewidth=1.2, dashes=(6, 3))
    for index, simulation in enumerate(runs):
        slip = units.of(driven_slip(simulation), Dimension.SHARE)
        axes.plot(simulation.run.trace.time, slip, **{**curve_style(index).drawing(), "linewidth": 1.5})
    head_panel(axes, units.axis("slip of the driven tyres", Dimension.SHARE))


def _shifts(trace: Trace) -> list[tuple[float, float]]:
    """Begin and end of each shift."""
    ends, last = trace.times(EventKind.GEAR_CLOSES), float(trace.time[-1])
    begins = trace.times(EventKind.SHIFT_BEGINS)
    return [(begin, min((end for end in ends if end >= begin), default=last)) for begin in begins]


def _title(simulation: Simulation) -> str:
    trace, spin = simulation.run.trace, simulation.measures.grip.wheelspin_time
    shifts = len(_shifts(trace))
    count = f"{shifts} shift{'s' if shifts != 1 else ''}"
    who = f"{named(simulation.curve)} with {_PEDALS[simulation.pedal]}"
    return f"{who}: {count} and {spin:.2f} s of wheelspin in a run of {trace.time[-1]:.2f} s"


def _lead(simulation: Simulation, numbers: Numbers) -> str:
    sentences = ["Grey bands: shifts. Grey line across: the slip of greatest force."]
    if not simulation.reached:
        sentences.append(f"Not finished: {end_text(simulation, numbers)}.")
    if simulation.measures.audit.bad:
        sentences.append("The energy of this run does not close: do not rely on it.")
    return " ".join(sentences)


def _plot(axes: Axes, time: Array, values: Array, index: int) -> None:
    line_style = curve_style(index)
    axes.plot(time, values, **{**line_style.drawing(), "linewidth": 1.7})


def _speed(axes: Axes, simulation: Simulation, units: Units) -> None:
    trace = simulation.run.trace
    _plot(axes, trace.time, units.of(trace["speed"], Dimension.SPEED), 0)
    axes.set_ylim(bottom=0.0)
    head_panel(axes, units.axis_of("speed"))


def _engine_speed(axes: Axes, simulation: Simulation, units: Units) -> None:
    trace = simulation.run.trace
    speed = units.of(trace["engine_speed"], Dimension.ROTATIONAL_SPEED)
    _plot(axes, trace.time, speed, 0)
    axes.set_ylim(0.0, 1.28 * float(speed.max()))
    _write_gears(axes, trace)
    head_panel(axes, f"{units.axis_of('engine_speed')}; numbers: gear")


def _write_gears(axes: Axes, trace: Trace) -> None:
    """The number of each gear above the middle of its time."""
    changes = np.flatnonzero(np.diff(trace["gear"])) + 1
    edges = [0, *changes.tolist(), len(trace.time) - 1]
    middles = [0.5 * (max(float(trace.time[a]), 0.0) + float(trace.time[b])) for a, b in pairwise(edges)]
    low, high = axes.get_xlim()
    places = spread(middles, [0.035 * (high - low)] * len(middles), low, high)
    for place, index in zip(places, edges, strict=False):
        axes.text(
            place,
            0.97 * axes.get_ylim()[1],
            f"{trace['gear'][index]:.0f}",
            ha="center",
            va="top",
            color=INK,
            fontweight="bold",
        )


def _by_axle(axes: Axes, simulation: Simulation, values: Callable[[str], Array]) -> Sequence[End]:
    time, ends = simulation.run.trace.time, []
    for index, axle in enumerate(driven_names(simulation)):
        shown = values(axle)
        _plot(axes, time, shown, index)
        ends.append(End(float(time[-1]), float(shown[-1]), f"{axle} axle", curve_style(index).colour))
    return ends


def _slip(axes: Axes, simulation: Simulation, units: Units) -> None:
    trace = simulation.run.trace
    most = 1.5 * float(driven_slip(simulation).max())
    log_slip(axes, *(float(units.of(np.array(slip), Dimension.SHARE)) for slip in (LEAST_SLIP, most)))
    shade_peak_slip(axes, [simulation], units)
    ends = [*_by_axle(axes, simulation, lambda axle: units.of(trace[f"slip_{axle}"], Dimension.SHARE))]
    for axle in driven_names(simulation):
        if f"slip_{axle}_left" in trace:
            slower = np.minimum(*(trace[f"slip_{axle}_{side}"] for side in ("left", "right")))
            index, shown = len(ends), units.of(slower, Dimension.SHARE)
            _plot(axes, trace.time, shown, index)
            ends.append(End(float(trace.time[-1]), float(shown[-1]), f"{axle} slow", curve_style(index).colour))
    head_panel(axes, units.axis("slip of the driven tyres", Dimension.SHARE))
    label_ends(axes, ends)


def _grip(axes: Axes, simulation: Simulation, units: Units) -> None:
    trace = simulation.run.trace

    def share(axle: str) -> Array:
        used = grip_share(trace[f"force_{axle}"], trace[f"force_limit_{axle}"])
        return units.of(used, Dimension.SHARE)

    ends = _by_axle(axes, simulation, share)
    axes.set_ylim(0.0, 108.0)
    head_panel(axes, units.axis("grip used by the driven tyres", Dimension.SHARE))
    label_ends(axes, ends)


def _axle_torque(axes: Axes, simulation: Simulation, units: Units) -> None:
    trace = simulation.run.trace
    ends = _by_axle(axes, simulation, lambda axle: units.of(trace[f"axle_torque_{axle}"], Dimension.TORQUE))
    axes.axhline(0.0, color=INK, linewidth=0.8, zorder=1.5)
    head_panel(axes, units.axis("torque of the axle shafts", Dimension.TORQUE))
    label_ends(axes, ends)


_PANELS = (_speed, _engine_speed, _slip, _grip, _axle_torque)
