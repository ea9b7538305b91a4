"""Evaluation of a piecewise cubic, the one way in which simlaunch reads a curve."""

from __future__ import annotations

from simlaunch.compiled import inline
from simlaunch.scenario.numbers import Record


@inline
def value_at(table: Record, x: float) -> float:
    """Value of a piecewise cubic; outside its knots the value of the nearest end holds.

    value = c0 + d (c1 + d (c2 + d c3)), d = x - knot

    Parameters
    ----------
    table : Record
        Knots in rising order with one cubic per interval.
    x : float
        Where to evaluate, in the unit of the knots.

    Returns
    -------
    float
        Value, in the unit of the table.

    Source: cubics from Fritsch and Carlson's monotone interpolation, SIAM J. Numer. Anal. 17 (1980) 238.
    """
    last = table.count - 1
    if x <= table.knot[0]:
        return float(table.cubic[0, 0])
    if x >= table.knot[last]:
        x = table.knot[last]
    low, high = 0, last
    while high - low > 1:
        middle = (low + high) // 2
        if table.knot[middle] <= x:
            low = middle
        else:
            high = middle
    d = x - table.knot[low]
    c = table.cubic
    return float(c[low, 0] + d * (c[low, 1] + d * (c[low, 2] + d * c[low, 3])))
