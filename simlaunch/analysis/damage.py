"""How much of a part's life a history of torque uses up: cycles by rainflow counting, added up by Miner's rule."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import rainflow
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Cycles:
    """Swings of a load, each with how often it occurs.

    Parameters
    ----------
    ranges : ndarray, shape (n,)
        From the lowest to the highest load of a swing, in the unit of the load.
    counts : ndarray, shape (n,)
        1 for a whole cycle, one half for a half one [-].
    """

    ranges: Array
    counts: Array

    def damage(self, line: Line) -> float:
        """Share of the life that the cycles use up: the sum of n / N.

        Parameters
        ----------
        line : Line
            S-N line; its load is compared with the ranges.

        Returns
        -------
        float
            1 where the part is expected to fail [-].

        Source: Palmgren (1924), Miner (1945).
        """
        return float(np.sum(self.counts / line.life(self.ranges)))


@dataclass(frozen=True)
class Line:
    """S-N line: life N = cycles (load / S)^slope, without a fatigue limit.

    Parameters
    ----------
    load : float
        A load on the line, in the unit of the load.
    cycles : float
        Cycles that the part lasts at that load [-].
    slope : float
        Slope in double logarithmic scale [-].
    """

    load: float
    cycles: float
    slope: float

    def life(self, loads: Array) -> Array:
        """Cycles that the part lasts at loads; without end at no load at all [-]."""
        ratio = np.divide(self.load, loads, out=np.full(np.shape(loads), np.inf), where=np.asarray(loads) > 0.0)
        return np.asarray(self.cycles * ratio**self.slope)


def cycles(history: Array) -> Cycles:
    """Cycles of a history of load, counted by the rainflow method.

    Parameters
    ----------
    history : ndarray, shape (n,)
        Load over time.

    Returns
    -------
    Cycles
        Ranges and counts, in the order of counting.

    Source: ASTM E1049-85 section 5.4.4, as in the package `rainflow`.
    """
    found = np.array([(span, count) for span, _, count, _, _ in rainflow.extract_cycles(history.tolist())])
    ranges, counts = found.reshape(-1, 2).T
    return Cycles(ranges, counts)


def wear_ratio(one: Cycles, other: Cycles, slope: float) -> float:
    """How much faster a part's life is used up by some cycles than by others.

    No level of the S-N line plays a part in it, only its slope.

    Parameters
    ----------
    one, other : Cycles
        Cycles of the same part, loads in the same unit.
    slope : float
        Slope of the S-N line [-].

    Returns
    -------
    float
        Damage of the one over damage of the other; nan where the other does none [-].
    """
    largest = max(float(each.ranges.max(initial=0.0)) for each in (one, other))
    if not largest > 0.0:
        return float("nan")
    line = Line(largest, 1.0, slope)
    damage = other.damage(line)
    return one.damage(line) / damage if damage > 0.0 else float("nan")
