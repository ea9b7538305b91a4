"""How much of a part's life a history of torque uses up, added up by Miner's rule.

Shafts, joints and clutch: swings of torque, counted by the rainflow method. Teeth: loaded once a turn, so that turns at
torque count, as in a load spectrum after ISO 6336-6 (form from memory; the standard was not opened).
"""

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
    begins : ndarray of int, shape (n,), optional
        Where in the history each begins.
    """

    ranges: Array
    counts: Array
    begins: NDArray[np.int64] | None = None

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
        Ranges, counts and where each begins, in the order of counting.

    Source: ASTM E1049-85 section 5.4.4, as in the package `rainflow`.
    """
    found = np.array([(span, count, begin) for span, _, count, begin, _ in rainflow.extract_cycles(history.tolist())])
    ranges, counts, begins = found.reshape(-1, 3).T
    return Cycles(ranges, counts, begins.astype(np.int64))


def turns(time: Array, torque: Array, speed: Array) -> Cycles:
    """Load spectrum of a pinion: each turn under pull swings the load of a tooth from nothing to the torque and back.

    Parameters
    ----------
    time : ndarray, shape (n,)
        Time, never falling [s].
    torque : ndarray, shape (n,)
        Torque; below zero the other flank is loaded, which is not counted [N m].
    speed : ndarray, shape (n,)
        Speed of the pinion [rad/s].

    Returns
    -------
    Cycles
        Torque in the middle between neighbouring samples, and turns between them.
    """
    middle = 0.5 * (torque[1:] + torque[:-1])
    made = 0.5 * np.abs(speed[1:] + speed[:-1]) * np.diff(time) / (2.0 * np.pi)
    pulls = (middle > 0.0) & (made > 0.0)
    return Cycles(middle[pulls], made[pulls])
