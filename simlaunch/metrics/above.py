"""The parts of a record in which a signal lies above zero."""

from __future__ import annotations

from math import isnan, nan
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from simlaunch.compiled import entry, inline
from simlaunch.metrics.samples import plain

Array = NDArray[np.float64]

_FAR = 1e9  # infinite margins are brought down to this, so that a crossing can be interpolated


class Part(NamedTuple):
    """Part of the way between two samples."""

    begin: float  # share of the way [-]
    end: float  # equal to the begin where there is no such part [-]


WHOLE = Part(0.0, 1.0)
"""All the way between two samples."""

_NONE = Part(0.0, 0.0)


@inline
def part_above(left: float, right: float) -> Part:
    """Where, between two samples, a signal that runs straight between them is above zero.

    Parameters
    ----------
    left : float
        Signal at the first sample; nan counts as not above [-].
    right : float
        Signal at the second sample [-].

    Returns
    -------
    Part
        Shares of the way [-].
    """
    if left > 0.0 and right > 0.0:
        return WHOLE
    if not (left > 0.0 or right > 0.0):
        return _NONE
    below, above = (left, right) if right > 0.0 else (right, left)
    below = -1.0 if isnan(below) else max(below, -_FAR)
    above = min(above, _FAR)
    if right > 0.0:
        return Part(below / (below - above), 1.0)
    return Part(0.0, above / (above - below))


@inline
def area(part: Part, step: float, left: float, right: float) -> float:
    """Integral, over a part of the way between two samples, of a signal that runs straight between them.

    Parameters
    ----------
    part : Part
        Part of the way.
    step : float
        Distance of the samples [unit of x].
    left : float
        Signal at the first sample [unit of y].
    right : float
        Signal at the second sample [unit of y].

    Returns
    -------
    float
        Integral [unit of x y].
    """
    if part.end <= part.begin:
        return 0.0
    return (part.end - part.begin) * (left + 0.5 * (part.begin + part.end) * (right - left)) * step


@inline
def _all_unknown(values: Array) -> bool:
    i = 0
    while i < values.size and isnan(values[i]):
        i += 1
    return i == values.size


@entry
def _integral_above(x: Array, y: Array, margin: Array) -> float:
    if _all_unknown(y) or _all_unknown(margin):
        return nan
    whole = 0.0
    for i in range(1, x.size):
        whole += area(part_above(margin[i - 1], margin[i]), x[i] - x[i - 1], y[i - 1], y[i])
    return whole


def integral_above(x: Array, y: Array, margin: Array) -> float:
    """Integral of y over x, of the parts in which a margin is above zero.

    Parameters
    ----------
    x : ndarray, shape (n,)
        Never falling.
    y : ndarray, shape (n,)
        Runs straight between samples.
    margin : ndarray, shape (n,)
        Runs straight between samples; where it is nan it counts as not above.

    Returns
    -------
    float
        Integral; nan where y or the margin is not known at all [unit of x y].
    """
    return _integral_above(plain(x), plain(y), plain(margin))


def length_above(x: Array, margin: Array) -> float:
    """Length of x over which a margin is above zero.

    Parameters
    ----------
    x : ndarray, shape (n,)
        Never falling.
    margin : ndarray, shape (n,)
        Runs straight between samples.

    Returns
    -------
    float
        Length; nan where the margin is not known at all [unit of x].
    """
    return integral_above(x, np.ones(np.shape(x)), margin)
