"""Figures of a comparison: speed and gap, slip and use of grip, where the gap comes from, and the usable torque."""

from __future__ import annotations

from collections.abc import Sequence
from math import isnan

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator
from numpy.typing import NDArray

from simlaunch.analysis.simulate import Simulation
from simlaunch.comparing.compare import Comparison, CurveRuns, Pair, PedalGap
from simlaunch.launching.goals import WORTH_NAMING, target_label
from simlaunch.metrics.ceiling import driven_axles
from simlaunch.plotting.labels import End, label_ends
from simlaunch.plotting.look import (
    BAND,
    INK,
    LineStyle,
    Panels,
    Units,
    curve_style,
    head_panel,
    in_our_look,
    log_slip,
    markers_apart,
    name_x,
    named,
    plain,
    sheet,
    units_of,
)
from simlaunch.plotting.usable import usable_figure
from simlaunch.plotting.why import why_figure
from simlaunch.record import Pedal
from simlaunch.units.spelling import Dimension

Array = NDArray[np.float64]

PEDALS = {"full": "full pedal", "held": "held slip"}
_KEYS = {Pedal.FULL: "full", Pedal.HELD_SLIP: "held"}

LEAST_SLIP = 0.01
"""Lower end of a slip axis: below it a tyre hardly works [-]."""

_AXLES = ("front", "rear")
_MOST_NAMED = 3
_SHORTEST_WINDOW = 3.0  # [s]


def figures(comparison: Comparison, system: str) -> dict[str, Figure]:
    """Speed and gap, slip and use of grip, for each pair why, and the compared curves against the usable torque."""
    units = units_of(system)
    several = len(comparison.pairs) > 1
    return {
        "gap": _gap_figure(comparison, units),
        "slip": _slip_figure(comparison, units),
        **{
            f"why-{index}" if several else "why": why_figure(
                pair, (curve_style(0), curve_style(index)), comparison.goal, units
            )
            for index, pair in enumerate(comparison.pairs, start=1)
        },
        "torque": usable_figure(comparison.usable, system),
    }


def draw(axes: Axes, comparison: Comparison, system: str) -> None:
    """Gap along the run, on axes of the caller."""
    units = units_of(system)
    _gap_panel(axes, comparison, units)
    axes.set_xlabel(units.axis("distance", Dimension.LENGTH))
    axes.set_ylabel(units.axis(_gap_name(comparison), Dimension.TIME))


@in_our_look
def _gap_figure(comparison: Comparison, units: Units) -> Figure:
    labels = ([runs.name for runs in comparison.runs], [label for label, _, _ in _gap_lines(comparison)])
    figure, rows = sheet(_gap_title(comparison), "", Panels((2.5, 2.1), shared_x=False, labels=labels))
    _speed_panel(rows[0][0], comparison, units)
    _gap_panel(rows[1][0], comparison, units)
    return figure


def _gap_title(comparison: Comparison) -> str:
    first = named(comparison.runs[0].name)
    if len(comparison.pairs) > 1:
        return f"Speed of every curve, and how far each is behind or ahead of {first} along the run"
    pair = comparison.pairs[0]
    full = _gap_words(pair.full, f"than {first} with {PEDALS['full']}", f"as {first} with {PEDALS['full']}")
    held = _gap_words(pair.held, f"with {PEDALS['held']}", f"with {PEDALS['held']}")
    return f"{plain(target_label(comparison.goal))}: {named(pair.second.name)} is {full}, {held}"


def _gap_words(gap: PedalGap, than: str, as_: str) -> str:
    """How much quicker or slower, followed by what it is measured against."""
    seconds = gap.at_goal.gap
    if isnan(seconds):
        return f"not to be compared with {PEDALS[_KEYS[gap.pedal]]} (the goal was not reached)"
    if abs(seconds) < WORTH_NAMING:
        return f"as quick {as_}"
    return f"{abs(seconds):.2f} s {'slower' if seconds > 0.0 else 'quicker'} {than}"


def _speed_panel(axes: Axes, comparison: Comparison, units: Units) -> None:
    ends = []
    for index, runs in enumerate(comparison.runs):
        trace, line_style = runs.full.run.trace, curve_style(index)
        speed = units.of(trace["speed"], Dimension.SPEED)
        axes.plot(trace.time, speed, **line_style.drawing(), **markers_apart(line_style))
        ends.append(End(float(trace.time[-1]), float(speed[-1]), runs.name, line_style.colour))
    _mark_goal(axes, comparison, units)
    axes.set_xlim(0.0, max(end.x for end in ends))
    axes.set_ylim(0.0, 1.06 * max(end.y for end in ends))
    name_x(axes, units.axis("time", Dimension.TIME))
    goal = plain(target_label(comparison.goal))
    head_panel(axes, f"{units.axis('speed with full pedal', Dimension.SPEED)}; ring: {goal}")
    label_ends(axes, ends)


def _mark_goal(axes: Axes, comparison: Comparison, units: Units) -> None:
    """A ring where each curve passes the goal."""
    first = comparison.pairs[0].full.at_goal.first
    marks = [first, *(pair.full.at_goal.second for pair in comparison.pairs)]
    times = np.array([mark.time for mark in marks])
    speeds = units.of(np.array([mark.speed for mark in marks]), Dimension.SPEED)
    axes.plot(times, speeds, "o", mfc="white", mec=INK, mew=1.4, ms=6.5, zorder=4, clip_on=False)


def _gap_lines(comparison: Comparison) -> list[tuple[str, LineStyle, PedalGap]]:
    """Label, style and gap of each pair with each pedal."""
    lines = []
    for index, pair in enumerate(comparison.pairs, start=1):
        solid = curve_style(index)
        for key, line_style in (("full", solid), ("held", solid.with_rings())):
            lines.append((_gap_label(comparison, pair, key), line_style, getattr(pair, key)))
    return lines


def _gap_label(comparison: Comparison, pair: Pair, key: str) -> str:
    return PEDALS[key] if len(comparison.pairs) == 1 else f"{pair.second.name}, {PEDALS[key]}"


def _gap_name(comparison: Comparison) -> str:
    if len(comparison.pairs) == 1:
        return f"time that {named(comparison.runs[1].name, 20)} is behind"
    return f"time behind {named(comparison.runs[0].name, 20)}"


def _gap_panel(axes: Axes, comparison: Comparison, units: Units) -> None:
    ends = []
    for label, line_style, gap in _gap_lines(comparison):
        distance = units.of(gap.along.distance, Dimension.LENGTH)
        axes.plot(distance, gap.along.gap, **line_style.drawing(), **markers_apart(line_style))
        ends.append(End(float(distance[-1]), float(gap.along.gap[-1]), label, line_style.colour))
    axes.axhline(0.0, color=INK, linewidth=1.0, zorder=1.5)
    show_worth_naming(axes)
    axes.set_xlim(0.0, max(end.x for end in ends))
    name_x(axes, units.axis("distance", Dimension.LENGTH))
    head_panel(axes, f"{units.axis(_gap_name(comparison), Dimension.TIME)}; below 0: ahead")
    label_ends(axes, ends)


def show_worth_naming(axes: Axes) -> None:
    """Let a gap that is not worth naming look as small as it is, and number the axis in steps of few digits."""
    low, high = axes.get_ylim()
    axes.set_ylim(min(low, -WORTH_NAMING), max(high, WORTH_NAMING))
    axes.yaxis.set_major_locator(MaxNLocator(6, steps=[1, 2, 5, 10]))


@in_our_look
def _slip_figure(comparison: Comparison, units: Units) -> Figure:
    key = [(runs.name, curve_style(index)) for index, runs in enumerate(comparison.runs)]
    end, whole = _window(comparison)
    figure, rows = sheet(_slip_title(comparison), _slip_lead(end, whole), Panels((2.2, 1.7), columns=2, key=key))
    for column, pedal in enumerate(PEDALS):
        slip_axes, grip_axes = rows[0][column], rows[1][column]
        for axes, lowest in ((slip_axes, False), (grip_axes, True)):
            axes.set_xlim(0.0, end)
            name_x(axes, units.axis("time", Dimension.TIME), shown=lowest)
        _slip_panel(slip_axes, comparison, pedal, units)
        _grip_panel(grip_axes, comparison, pedal, units)
    return figure


def _slip_panel(axes: Axes, comparison: Comparison, pedal: str, units: Units) -> None:
    everything = [getattr(runs, key) for runs in comparison.runs for key in PEDALS]
    most = max(float(driven_slip(simulation).max()) for simulation in everything)
    log_slip(axes, *(float(units.of(np.array(s), Dimension.SHARE)) for s in (LEAST_SLIP, 1.5 * most)))
    shade_peak_slip(axes, everything, units)
    for index, runs in enumerate(comparison.runs):
        simulation, line_style = getattr(runs, pedal), curve_style(index)
        slip = units.of(driven_slip(simulation), Dimension.SHARE)
        axes.plot(simulation.run.trace.time, slip, **line_style.drawing(), **markers_apart(line_style))
    head_panel(axes, units.axis(f"{PEDALS[pedal]}: slip", Dimension.SHARE))


def _grip_panel(axes: Axes, comparison: Comparison, pedal: str, units: Units) -> None:
    for index, runs in enumerate(comparison.runs):
        simulation, line_style = getattr(runs, pedal), curve_style(index)
        share = units.of(driven_grip(simulation), Dimension.SHARE)
        axes.plot(simulation.run.trace.time, share, **line_style.drawing(), **markers_apart(line_style))
    axes.set_ylim(0.0, 108.0)
    head_panel(axes, units.axis(f"{PEDALS[pedal]}: grip used", Dimension.SHARE))


def driven_names(simulation: Simulation) -> tuple[str, ...]:
    """Names of the driven axles."""
    return tuple(name for name, driven in zip(_AXLES, driven_axles(simulation.car), strict=True) if driven)


def _of_driven(simulation: Simulation, channel: str) -> list[Array]:
    return [simulation.run.trace[f"{channel}_{axle}"] for axle in driven_names(simulation)]


def driven_slip(simulation: Simulation) -> Array:
    """Slip of the driven axle that slips more, sample by sample [-]."""
    slip: Array = np.maximum.reduce(_of_driven(simulation, "slip"))
    return slip


def driven_grip(simulation: Simulation) -> Array:
    """Share of its grip used by the driven axle that uses more, sample by sample [-]."""
    pairs = zip(_of_driven(simulation, "force"), _of_driven(simulation, "force_limit"), strict=True)
    share: Array = np.maximum.reduce([grip_share(force, limit) for force, limit in pairs])
    return share


def grip_share(force: Array, limit: Array) -> Array:
    """Force as a share of the force that the tyres could give; nan for an axle in the air [-]."""
    share: Array = np.divide(force, limit, out=np.full(force.shape, np.nan), where=limit > 0.0)
    return share


def _peak_slips(simulations: Sequence[Simulation]) -> Array:
    """Every slip at which the driven tyres of some runs gave their greatest force [-]."""
    every: Array = np.concatenate([peak for simulation in simulations for peak in _of_driven(simulation, "peak_slip")])
    known: Array = every[np.isfinite(every)]
    return known


def best_slip(simulations: Sequence[Simulation]) -> float:
    """Slip at which the driven tyres of some runs mostly gave their greatest force [-]."""
    return float(np.median(_peak_slips(simulations)))


def shade_peak_slip(axes: Axes, simulations: Sequence[Simulation], units: Units) -> None:
    """A grey line over the slips at which the driven tyres of these runs give their greatest force."""
    found = units.of(_peak_slips(simulations), Dimension.SHARE)
    axes.axhspan(float(found.min()), float(found.max()), color=BAND, linewidth=1.4, zorder=0.6)


def _window(comparison: Comparison) -> tuple[float, bool]:
    """Time up to which slip is shown, and whether that is the whole run.

    It ends some time after slip was last beyond that of peak force, so that what matters has room.
    """
    simulations = [getattr(runs, key) for runs in comparison.runs for key in PEDALS]
    end = max(float(simulation.run.trace.time[-1]) for simulation in simulations)
    last = max(_last_spin(simulation) for simulation in simulations)
    window = max(_SHORTEST_WINDOW, float(np.ceil(1.3 * last)))
    return (window, False) if window < end else (end, True)


def _last_spin(simulation: Simulation) -> float:
    slips, peaks = _of_driven(simulation, "slip"), _of_driven(simulation, "peak_slip")
    beyond = np.logical_or.reduce([slip > peak for slip, peak in zip(slips, peaks, strict=True)])
    return float(simulation.run.trace.time[beyond].max(initial=0.0))


def _slip_title(comparison: Comparison) -> str:
    if len(comparison.runs) > _MOST_NAMED:
        return "Slip and use of grip of the driven tyres, full pedal against held slip"
    spins = ", ".join(f"{named(runs.name)} {_spin(runs, 'full')}" for runs in comparison.runs)
    held = ", ".join(_spin(runs, "held") for runs in comparison.runs)
    held = "none" if set(held.split(", ")) == {"0.00 s"} else held
    return f"Wheelspin with full pedal: {spins}; with held slip: {held}"


def _spin(runs: CurveRuns, key: str) -> str:
    time: float = getattr(runs, key).measures.grip.wheelspin_time
    return f"{time:.2f} s"


def _slip_lead(end: float, whole: bool) -> str:
    band = "Grey line: the slip at which the driven tyres give their greatest force."
    return band if whole else f"{band} After {end:g} s no run goes beyond it."
