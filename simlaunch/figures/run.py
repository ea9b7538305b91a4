"""The figure of one run: speed, engine speed and gear, slip, use of grip and axle torque over time."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import pairwise

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from simlaunch.drawing.look import (
    INK,
    SHADE,
    End,
    Panels,
    Units,
    curve_style,
    head_panel,
    in_our_look,
    label_ends,
    log_slip,
    name_x,
    named,
    sheet,
    spread,
    units_of,
)
from simlaunch.figures.compare import (
    LEAST_SLIP,
    driven_names,
    driven_slip,
    grip_share,
    shade_peak_slip,
)
from simlaunch.launch.trace import Trace
from simlaunch.record import Pedal
from simlaunch.study.single import Simulation
from simlaunch.units.spelling import Dimension

Array = NDArray[np.float64]

SHIFT_BEGINS = "shift begins"
GEAR_ENGAGED = "gear engaged"

_PEDALS = {Pedal.FULL: "full pedal", Pedal.HELD_SLIP: "held slip"}


@in_our_look
def run_figure(simulation: Simulation, system: str) -> Figure:
    """One run over time, its shifts marked in every panel.

    Parameters
    ----------
    simulation : Simulation
        The run.
    system : str
        ``"metric"`` or ``"us"``.

    Returns
    -------
    Figure
        Five panels over one time axis.

    Raises
    ------
    UsageError
        No system of units of that name.
    """
    units = units_of(system)
    labels = [f"{axle} axle" for axle in driven_names(simulation)]
    panels = Panels((1.35, 1.35, 1.35, 1.1, 1.35), labels=((), (), labels, labels, labels))
    figure, rows = sheet(_title(simulation), _lead(simulation), panels)
    column = [row[0] for row in rows]
    shifts = _shifts(simulation.run.trace)
    for axes in column:
        axes.set_xlim(0.0, float(simulation.run.trace.time[-1]))
        name_x(axes, units.axis("time", Dimension.TIME), shown=axes is column[-1])
        for begin, end in shifts:
            axes.axvspan(begin, end, color=SHADE, linewidth=0.0, zorder=0.4)
    for draw, axes in zip(_PANELS, column, strict=True):
        draw(axes, simulation, units)
    return figure


def _shifts(trace: Trace) -> list[tuple[float, float]]:
    """Begin and end of each shift."""
    begins = [moment.time for moment in trace.moments if moment.what == SHIFT_BEGINS]
    ends = [moment.time for moment in trace.moments if moment.what == GEAR_ENGAGED]
    last = float(trace.time[-1])
    return [(begin, min((end for end in ends if end >= begin), default=last)) for begin in begins]


def _title(simulation: Simulation) -> str:
    trace, spin = simulation.run.trace, simulation.measures.grip.wheelspin_time
    shifts = len(_shifts(trace))
    count = f"{shifts} shift{'s' if shifts != 1 else ''}"
    who = f"{named(simulation.curve)} with {_PEDALS[simulation.pedal]}"
    return f"{who}: {count} and {spin:.2f} s of wheelspin in a run of {trace.time[-1]:.2f} s"


def _lead(simulation: Simulation) -> str:
    sentences = ["Grey bands: shifts. Grey line across: the slip of greatest force."]
    if not simulation.reached:
        sentences.append(f"Not finished: {simulation.run.outcome.value}.")
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
    head_panel(axes, units.axis("speed", Dimension.SPEED))


def _engine_speed(axes: Axes, simulation: Simulation, units: Units) -> None:
    trace = simulation.run.trace
    speed = units.of(trace["engine_speed"], Dimension.ROTATIONAL_SPEED)
    _plot(axes, trace.time, speed, 0)
    axes.set_ylim(0.0, 1.28 * float(speed.max()))
    _write_gears(axes, trace)
    head_panel(axes, f"{units.axis('engine speed', Dimension.ROTATIONAL_SPEED)}; numbers: gear")


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
    ends = _by_axle(axes, simulation, lambda axle: units.of(trace[f"slip_{axle}"], Dimension.SHARE))
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
