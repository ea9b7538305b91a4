"""Full-load curves of a scenario, as they were understood."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from simlaunch.analysis.check import Check
from simlaunch.physics.table import values_at
from simlaunch.plotting.look import curve_style, plain, units_of
from simlaunch.units.spelling import Dimension

_POINTS = 200


def figures(check: Check, system: str) -> dict[str, Figure]:
    """None: the command writes no picture of a check."""
    del check, system
    return {}


def draw(axes: Axes, check: Check, system: str) -> None:
    """Every full-load curve over the engine speeds that it is given for."""
    units = units_of(system)
    for index, (name, car) in enumerate(check.cars.items()):
        table = car.engine.torque
        speed = np.linspace(table.knot[0], table.knot[int(table.count) - 1], _POINTS)
        x, y = units.of(speed, Dimension.ROTATIONAL_SPEED), units.of(values_at(table, speed), Dimension.TORQUE)
        axes.plot(x, y, **curve_style(index).drawing(), label=plain(name))
    axes.set_xlabel(units.axis_of("engine_speed"))
    axes.set_ylabel(units.axis("full-load torque", Dimension.TORQUE))
    axes.legend(fontsize="small")
