"""How much single values of a scenario move the result: a launch with each end of the range of each value."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import isnan, nan

import numpy as np
from numpy.typing import NDArray

from simlaunch.errors import SimlaunchError
from simlaunch.launching.goals import goal
from simlaunch.launching.launches import as_many, measure_all
from simlaunch.launching.ready import runnable
from simlaunch.record import Car, Pedal
from simlaunch.scenario.model import Scenario

Array = NDArray[np.float64]

_TOLERANCE = 1e-4  # of each step: times good to a tenth of a millisecond [-]
_LEAST = 5e-4  # what two such launches cannot resolve for certain [s]
_PEDALS = (Pedal.FULL, Pedal.HELD_SLIP)


@dataclass(frozen=True)
class Influence:
    """What a value moves within its range.

    Parameters
    ----------
    time : float
        Largest change of the time to the goal, over the first two curves, both pedals and both ends of the range; inf
        where an end keeps a car from its goal; nan where no launch can be made with it [s].
    gap : float
        Largest change of the gap between the first two curves; nan with a single curve [s].
    """

    time: float = nan
    gap: float = nan

    @property
    def rank(self) -> tuple[bool, float]:
        """Sorts what moves most to the front, and what is not known to the end."""
        return isnan(self.time), -self.time


def influences(scenario: Scenario, ranges: Mapping[str, Sequence[str]]) -> dict[str, Influence]:
    """What each of some values moves within its range, all others as they are.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    ranges : mapping of str to sequence of str
        Key path to the values that are tried.

    Returns
    -------
    dict of str to Influence
        By key, in the order given. Times are those of launches at the tolerance of sweeps; changes below half a
        millisecond count as none.
    """
    target, curves = goal(scenario), scenario.curve_names[:2]
    tried: list[tuple[str, list[Car]]] = []
    for key, values in {"": ("",), **ranges}.items():
        made = [_cars(scenario, curves, {key: value} if key else {}) for value in values]
        if all(made):  # one end alone would say that a value moves little
            tried += [(key, cars) for cars in made]
    if not tried or tried[0][0]:
        return {key: Influence() for key in ranges}
    cars = [car for _, each in tried for car in each]
    measured = measure_all(as_many(cars), (target,), _TOLERANCE, times_only=True).values[:, 0]
    times = measured.reshape(len(tried), len(_PEDALS), len(curves))
    keys = [key for key, _ in tried]
    return {key: _moved(times[0], times[[n for n, name in enumerate(keys) if name == key]]) for key in ranges}


def _cars(scenario: Scenario, curves: Sequence[str], change: Mapping[str, str]) -> list[Car]:
    """Cars with each pedal and curve; none where the scenario cannot have the value."""
    try:
        changed = scenario.replace(change) if change else scenario
        return [runnable(changed, curve, pedal, (goal(scenario),)) for pedal in _PEDALS for curve in curves]
    except SimlaunchError:  # such as a second value beside one that excludes it
        return []


def _moved(base: Array, varied: Array) -> Influence:
    """Largest changes over the values that were tried."""
    known = np.isfinite(base)
    if not len(varied) or not known.any():
        return Influence()
    if np.isnan(varied[:, known]).any():
        return Influence(np.inf, nan)
    time = float(np.abs(varied - base)[:, known].max())
    gap = nan
    if base.shape[1] == 2 and known.all():
        gap = float(np.abs(np.diff(varied, axis=2) - np.diff(base, axis=1)).max())
    return Influence(time if time >= _LEAST else 0.0, gap if not gap < _LEAST else 0.0)
