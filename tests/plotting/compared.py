"""Comparisons of the demonstration cars and their figures, each made once for all tests that look at them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from matplotlib.figure import Figure

from output.compared import comparison, scenario
from simlaunch.analysis.usable import UsableTorque, usable
from simlaunch.comparing.compare import Comparison
from simlaunch.plotting.run import run_figure
from simlaunch.plotting.usable import usable_figure

CARS = ("road-coupe", "front-hatch", "all-drive-saloon", "track-car", "all-drive-grip")


@dataclass(frozen=True)
class Found:
    """What the figures of one scenario are made from."""

    comparison: Comparison
    usable: UsableTorque


@cache
def found(car: str) -> Found:
    return Found(comparison(car), usable(scenario(car)))


@cache
def of_comparison(car: str, system: str) -> Mapping[str, Figure]:
    """The figures that a comparison has by itself."""
    return found(car).comparison.figures(system)


@cache
def figures(car: str, system: str) -> Mapping[str, Figure]:
    """Those, and the ones of its usable torque and of its first launches."""
    first = found(car).comparison.runs[0]
    return {
        **of_comparison(car, system),
        "usable": usable_figure(found(car).usable, system),
        "run": run_figure(first.full, system),
        "held": run_figure(first.held, system),
    }
