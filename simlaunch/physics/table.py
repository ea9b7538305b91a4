"""Evaluation of a piecewise cubic, the one way in which simlaunch reads a curve, and of a smooth step."""

from __future__ import annotations

from math import exp, tanh

import numpy as np
from numpy.typing import NDArray

from simlaunch.compiled import entry, inline
from simlaunch.record import Record


@inline
def value_at(table: Record, x: float) -> float:
    """Value of a piecewise cubic; outside its knots the value of the nearest end holds.

    value = c0 + d (c1 + d (c2 + d c3)), d = x - knot

    Parameters
    ----------
    table : Record
        Knots in rising order with one cubic per interval.
    x : float
        Where to evaluate [unit of knot].

    Returns
    -------
    float
        Value [unit of cubic].

    Source: cubics from Fritsch and Carlson's monotone interpolation, SIAM J. Numer. Anal. 17 (1980) 238.
    """
    last = table.count - 1
    if x <= table.knot[0]:
        return float(table.cubic[0, 0])
    if x >= table.knot[last]:
        x = table.knot[last]
    low, high = 0, last
    while high - low > 1:  # both ends by choice, not by branch: a processor cannot foresee which half it will be
        middle = (low + high) >> 1
        beyond = table.knot[middle] <= x
        low, high = (middle if beyond else low), (high if beyond else middle)
    d = x - table.knot[low]
    c = table.cubic
    return float(c[low, 0] + d * (c[low, 1] + d * (c[low, 2] + d * c[low, 3])))


@inline
def ease(x: float) -> float:
    """A passage from -1 to 1 through zero.

    tanh x, which in double precision is 1 beyond 20

    Parameters
    ----------
    x : float
        Distance from the middle, over the width [-].

    Returns
    -------
    float
        Value, -1 to 1 [-].

    Source: definition.
    """
    if x > 20.0:
        return 1.0
    return tanh(x)


@inline
def exponential(x: float) -> float:
    """Exponential function: near zero, within 1e-12, by its series, which a processor works on out of turn.

    e^x = sum of x^k / k!

    Parameters
    ----------
    x : float
        Any number [-].

    Returns
    -------
    float
        Value [-].

    Source: Taylor's series, in Estrin's order.

    Examples
    --------
    >>> round(exponential(0.5), 11)
    1.6487212707
    """
    if abs(x) > 0.5:
        return exp(x)
    square = x * x
    fourth = square * square
    first = (1.0 + x) + square * (1.0 / 2.0 + x * (1.0 / 6.0))
    second = (1.0 / 24.0 + x * (1.0 / 120.0)) + square * (1.0 / 720.0 + x * (1.0 / 5040.0))
    third = (1.0 / 40320.0 + x * (1.0 / 362880.0)) + square * (1.0 / 3628800.0 + x * (1.0 / 39916800.0))
    return first + fourth * (second + fourth * third)


def values_at(table: Record, x: NDArray[np.float64]) -> NDArray[np.float64]:
    """Values of a piecewise cubic; outside its knots the value of the nearest end holds.

    Parameters
    ----------
    table : Record
        Knots in rising order with one cubic per interval.
    x : ndarray, shape (n,)
        Where to evaluate [unit of knot].

    Returns
    -------
    ndarray, shape (n,)
        Values [unit of cubic].

    Source: see `value_at`.
    """
    out = np.empty(x.size)
    _fill(table, np.ascontiguousarray(x, np.float64), out)
    return out


@entry
def _fill(table: Record, x: NDArray[np.float64], out: NDArray[np.float64]) -> None:
    for i in range(x.size):
        out[i] = value_at(table, x[i])
