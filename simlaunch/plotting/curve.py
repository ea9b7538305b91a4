"""The figure of a curve from dyno sheets: its pulls as thin lines, the curve itself strong, torque above power."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from simlaunch.analysis.curve import DynoCurve
from simlaunch.curves.engine_figures import EngineFigures, Peak
from simlaunch.plotting.look import (
    BAND,
    INK,
    QUIET,
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
from simlaunch.readers.curve import CurveAccount
from simlaunch.units.spelling import Dimension

Array = NDArray[np.float64]

_PULL = LineStyle(BAND, (), 0.8)
_LEFT_OUT = LineStyle(QUIET, (2.0, 2.0), 0.8)


@in_our_look
def curve_figure(account: CurveAccount, figures: EngineFigures, system: str) -> Figure:
    """Torque and power over engine speed, with the rows of every pull.

    Parameters
    ----------
    account : CurveAccount
        The curve and its pulls, all under the reference conditions of the curve.
    figures : EngineFigures
        Its peaks.
    system : str
        ``"metric"`` or ``"us"``.

    Returns
    -------
    Figure
        Two panels.

    Raises
    ------
    UsageError
        No system of units of that name.
    """
    units = units_of(system)
    figure, rows = sheet(_title(figures, units), _lead(account), Panels((2.6, 2.0), key=_key(account)))
    torque, power = (row[0] for row in rows)
    for axes in (torque, power):
        axes.set_xlim(*units.of(_ends(account), Dimension.ROTATIONAL_SPEED))
        name_x(axes, units.axis_of("engine_speed"), shown=axes is power)
    _draw(torque, account, figures.peak_torque, Dimension.TORQUE, units)
    _draw(power, account, figures.peak_power, Dimension.POWER, units)
    return figure


def figures(curve: DynoCurve, system: str) -> dict[str, Figure]:
    """Torque and power over engine speed."""
    return {"torque": curve_figure(curve.account, curve.engine, system)}


def draw(axes: Axes, curve: DynoCurve, system: str) -> None:
    """Torque over engine speed on axes of the caller, with the rows of every pull."""
    units = units_of(system)
    _draw(axes, curve.account, curve.engine.peak_torque, Dimension.TORQUE, units)
    axes.set_xlabel(units.axis_of("engine_speed"))


def _ends(account: CurveAccount) -> Array:
    """Lowest and highest engine speed of all that is drawn."""
    speeds = np.concatenate([account.speed, *(pull.speed for pull in account.pulls)])
    return np.array([speeds.min(), speeds.max()])


def _title(figures: EngineFigures, units: Units) -> str:
    torque = units.text(figures.peak_torque.torque, Dimension.TORQUE)
    power = units.text(figures.peak_power.power, Dimension.POWER)
    speeds = (units.text(peak.speed, Dimension.ROTATIONAL_SPEED) for peak in (figures.peak_torque, figures.peak_power))
    return f"{torque} at {next(speeds)}, {power} at {next(speeds)}"


def _lead(account: CurveAccount) -> str:
    place = f"at the {account.measured_at}" if account.measured_at else "at a place that nobody states"
    carried = f"weather correction {account.correction}" if account.correction else "weather correction not stated"
    return f"Full load {place}; {carried}. Dots: the peaks."


def _key(account: CurveAccount) -> list[tuple[str, LineStyle]]:
    key = [("curve", curve_style(0)), ("each gear" if account.by_gear else "rows of a pull", _PULL)]
    return [*key, ("pull left out", _LEFT_OUT)] if any(pull.left_out for pull in account.pulls) else key


def _shown(speed: Array, torque: Array, kind: Dimension, units: Units) -> tuple[Array, Array]:
    values = torque * speed if kind is Dimension.POWER else torque
    return units.of(speed, Dimension.ROTATIONAL_SPEED), units.of(values, kind)


def _draw(axes: Axes, account: CurveAccount, peak: Peak, kind: Dimension, units: Units) -> None:
    for pull in account.pulls:
        look = _LEFT_OUT if pull.left_out else _PULL
        axes.plot(*_shown(pull.speed, pull.torque, kind, units), **look.drawing())
    axes.plot(*_shown(account.speed, account.torque, kind, units), **curve_style(0).drawing())
    dot = _shown(np.array([peak.speed]), np.array([peak.torque]), kind, units)
    axes.plot(*dot, marker="o", markersize=5.5, color=INK, linestyle="none", clip_on=False)
    axes.set_ylim(0.0, 1.06 * axes.dataLim.y1)
    head_panel(axes, units.axis(kind.value, kind))
