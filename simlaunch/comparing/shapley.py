"""Sharing a number among the things that made it, when they act together."""

from __future__ import annotations

from dataclasses import dataclass
from math import factorial

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class Share:
    """What one player adds to the value of all of them.

    Parameters
    ----------
    share : float
        Shapley value; the shares of all players add up to the value of all less the value of none.
    least, most : float
        Smallest and largest change of the value when the player joins a set of others.
    """

    share: float
    least: float
    most: float

    def turned(self) -> Share:
        """The share in the same value with its sign changed."""
        return Share(-self.share, -self.most, -self.least)


def moved_to(values: NDArray[np.float64], none: float, everyone: float) -> NDArray[np.float64]:
    """Values of sets, moved so that those of none and of all players become given ones.

    Each player takes over as much of the difference as any other, so that shares of rough values still add up exactly.

    Parameters
    ----------
    values : ndarray, shape (2**n,)
        Value of each set of players, as in `shapley`.
    none, everyone : float
        Value of no player and of all of them.

    Returns
    -------
    ndarray, shape (2**n,)
        In the unit of the values.
    """
    size = np.array([index.bit_count() for index in range(values.size)])
    first, last = none - values[0], everyone - values[-1]
    moved: NDArray[np.float64] = values + first + (last - first) * size / size[-1]
    return moved


def shapley(values: NDArray[np.float64]) -> list[Share]:
    """Share of each player in a value.

    phi_i = sum over S without i of |S|! (n - |S| - 1)! / n! (v(S with i) - v(S))

    Parameters
    ----------
    values : ndarray, shape (2**n,)
        Value of each set of players; the bits of the index say who belongs to it.

    Returns
    -------
    list of Share
        One for each player, in the unit of the values.

    Source: Shapley, A value for n-person games, in Contributions to the Theory of Games II (1953) 307.
    """
    players = int(values.size).bit_length() - 1
    sets = np.arange(values.size)
    size = np.array([int(each).bit_count() for each in sets])
    weight = np.array([factorial(k) * factorial(players - k - 1) / factorial(players) for k in range(players)])
    shares = []
    for i in range(players):
        without = sets[(sets >> i & 1) == 0]
        changes = values[without | 1 << i] - values[without]
        shares.append(Share(float(weight[size[without]] @ changes), float(changes.min()), float(changes.max())))
    return shares
