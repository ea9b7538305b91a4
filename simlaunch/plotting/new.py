"""Full-load curves of a scenario that was made from a data sheet."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from simlaunch.analysis.new import NewScenario
from simlaunch.plotting.look import curve_style, plain, units_of
from simlaunch.units.spelling import Dimension

_POINTS = 400


def figures(new: NewScenario, system: str) -> dict[str, Figure]:
    """None: the command writes no picture."""
    del new, system
    return {}


def draw(axes: Axes, new: NewScenario, system: str) -> None:
    """Both curves over engine speed."""
    units = units_of(system)
    curves = zip(new.scenario.curve_names, (new.sheet.curve, new.plateau.curve), strict=True)
    for index, (name, curve) in enumerate(curves):
        speed = np.linspace(curve.speed[0], curve.speed[-1], _POINTS)
        x, y = units.of(speed, Dimension.ROTATIONAL_SPEED), units.of(curve.at(speed), Dimension.TORQUE)
        axes.plot(x, y, **curve_style(index).drawing(), label=plain(name))
    axes.set_xlabel(units.axis_of("engine_speed"))
    axes.set_ylabel(units.axis("full-load torque", Dimension.TORQUE))
    axes.legend(fontsize="small")
