"""What torque is worth: the full-load curve above, and what more of it gains or costs below."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.figure import Figure
from numpy.typing import NDArray

from simlaunch.analysis.worth import GearSetWorth, Worth, best_span
from simlaunch.cubics import monotone
from simlaunch.output.words import PEDAL_WORDS
from simlaunch.output.worth import LEAST, MORE
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
    sheet,
    units_of,
)
from simlaunch.record import Pedal
from simlaunch.stretches import stretches_of
from simlaunch.units.spelling import Dimension

_PALE_TO_STRONG = LinearSegmentedColormap.from_list("gain", ["#f3f1ec", "#43a184"])
_COST = "#d1492c"
_FINE = 40  # points of the curve in each band
_MILLI = 1e3


@in_our_look
def worth_figure(found: GearSetWorth, system: str) -> Figure:
    """The curve shaded by what torque is worth, hatched where more of it costs time, and the worth of every band.

    Raises
    ------
    UsageError
        No system of units of that name.
    """
    units = units_of(system)
    key = tuple((PEDAL_WORDS[pedal], line_style) for pedal, line_style in _styles().items())
    costly = _costly(found, units)
    lead = "Upper picture: the darker, the more a band is worth with full pedal"
    lead += "; hatched: more torque costs time." if costly.any() else "."
    figure, rows = sheet(_title(found, units), lead, Panels((2.0, 1.6), key=key))
    speed = units.of(found.middles, Dimension.ROTATIONAL_SPEED)
    half = 0.5 * (speed[1] - speed[0])
    upper, lower = rows[0][0], rows[1][0]
    _draw_curve(upper, found, units, costly)
    _draw_gains(lower, found, units)
    for axes in (upper, lower):
        axes.set_xlim(speed[0] - half, speed[-1] + half)
    name_x(upper, "", shown=False)
    name_x(lower, units.axis_of("engine_speed"))
    head_panel(upper, units.axis("full-load torque", Dimension.TORQUE))
    head_panel(lower, _gained(units))
    return figure


def figures(worth: Worth, system: str) -> dict[str, Figure]:
    """A figure of every gear set."""
    names = ["bands", *(f"bands-{each.gear_set}" for each in worth.gear_sets[1:])]
    return {name: worth_figure(each, system) for name, each in zip(names, worth.gear_sets, strict=True)}


def draw(axes: Axes, worth: Worth, system: str) -> None:
    """Time that more torque gains in each band with the car as described, on axes of the caller."""
    units = units_of(system)
    _draw_gains(axes, worth.first, units)
    axes.set_xlabel(units.axis_of("engine_speed"))
    axes.set_ylabel(_gained(units))
    axes.legend(fontsize="small")


def _styles() -> dict[Pedal, LineStyle]:
    return {Pedal.FULL: curve_style(1), Pedal.HELD_SLIP: curve_style(2).with_rings()}


def _gained(units: Units) -> str:
    return f"time gained by {units.text(_si_more(units), Dimension.TORQUE)} more [ms]"


def _draw_gains(axes: Axes, found: GearSetWorth, units: Units) -> None:
    """What more torque gains in every band, with both pedals."""
    speed = units.of(found.middles, Dimension.ROTATIONAL_SPEED)
    axes.axhline(0.0, color=INK, linewidth=0.8)
    for pedal, line_style in _styles().items():
        axes.plot(speed, _gains(found, pedal, units), **line_style.drawing(), label=PEDAL_WORDS[pedal])


def _si_more(units: Units) -> float:
    """The amount of torque for which worth is stated [N m]."""
    return MORE / float(units.of(np.array(1.0), Dimension.TORQUE))


def _gains(found: GearSetWorth, pedal: Pedal, units: Units) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    return np.asarray(_MILLI * _si_more(units) * found.of(pedal).gain, np.float64)


def _title(found: GearSetWorth, units: Units) -> str:
    best = best_span(found)
    if best is None:
        return f"More torque on {named(found.curve)} gains no time anywhere"
    first, last = (units.text(each, Dimension.ROTATIONAL_SPEED) for each in (best.first, best.last))
    return f"Torque on {named(found.curve)} is worth most between {first} and {last}"


def _costly(found: GearSetWorth, units: Units) -> NDArray[np.bool_]:
    """Bands of spans in which more torque costs time worth naming with full pedal."""
    full, costly = found.of(Pedal.FULL), np.zeros(found.middles.size, np.bool_)
    for first, behind in stretches_of(full.gain < -np.maximum(full.noise, 1e-9)):
        costly[first:behind] = -_si_more(units) * full.gain[first:behind].sum() >= LEAST
    return costly


def _draw_curve(axes: Axes, found: GearSetWorth, units: Units, costly: NDArray[np.bool_]) -> None:
    """The curve with each band below it shaded by its worth."""
    gain = found.of(Pedal.FULL).gain
    most = max(float(gain[found.inner].max(initial=0.0)), 1e-12)
    curve, half = monotone(found.middles, found.torque), 0.5 * (found.middles[1] - found.middles[0])
    for middle, worth, costs in zip(found.middles, gain, costly, strict=True):
        speed = np.clip(np.linspace(middle - half, middle + half, _FINE), found.middles[0], found.middles[-1])
        x, y = units.of(speed, Dimension.ROTATIONAL_SPEED), units.of(curve(speed), Dimension.TORQUE)
        axes.fill_between(x, 0.0, y, color=_PALE_TO_STRONG(min(max(worth, 0.0) / most, 1.0)), linewidth=0.0)
        if costs:
            axes.fill_between(x, 0.0, y, facecolor="none", edgecolor=_COST, hatch="//", linewidth=0.0)
    speed = np.linspace(found.middles[0], found.middles[-1], _FINE * found.middles.size)
    x, y = units.of(speed, Dimension.ROTATIONAL_SPEED), units.of(curve(speed), Dimension.TORQUE)
    axes.plot(x, y, color=INK, linewidth=2.0)
    axes.set_ylim(0.0, 1.1 * float(y.max()))
    axes.tick_params(colors=QUIET, labelcolor=INK)
