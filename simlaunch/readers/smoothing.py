"""A smooth curve through noisy rows, without shaving the peak.

Rows are gathered in up to 200 equal bins of engine speed; a cubic smoothing spline goes through the means of the bins,
each weighted by its number of rows, and generalised cross-validation sets how smooth it is. Nothing has to be chosen
by hand: rows without noise are passed through, noisy ones are averaged as widely as the curve allows. Noise that is
the same from row to row, such as a slow swing of the dyno, looks like the curve and is kept.

Fewer than 12 different speeds are taken as they are, with the monotone cubic of the launch between them. Where rows
crowd together so that the spline cannot be found, the means of the bins are joined in the same way.

Source: Craven and Wahba, Numerische Mathematik 31 (1979) 377, as in SciPy.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
import scipy  # loads its parts when they are used
from numpy.typing import NDArray

from simlaunch.cubics import monotone

BINS = 200
FEWEST = 12
_LENGTH = 20.0  # the library looks for the smoothness between 0 and the number of points: here torque curves have it

Array = NDArray[np.float64]


class Smoothing(StrEnum):
    """How a smooth curve is made of rows, in words."""

    SPLINE = "cubic smoothing spline, smoothness set by generalised cross-validation"
    AS_IT_IS = "taken as it is"
    LOGGED_SPEED = (
        "cubic smoothing spline through the logged speed, smoothness set by generalised cross-validation; its slope is "
        "the acceleration"
    )
    JOINED = (
        "penalised splines through the logged speeds of all gears at once, smoothness set by restricted maximum "
        "likelihood"
    )
    BIN_MEANS = "means of equal bins, joined by a monotone cubic"


@dataclass(frozen=True)
class Smooth:
    """A smooth curve: how it was made, how far the rows scatter about it, and the curve itself.

    Parameters
    ----------
    method : Smoothing
        How it was made.
    noise : float
        Root mean square of row less curve, over the mean of the rows [-].
    at : callable
        Values at given places.
    """

    method: Smoothing
    noise: float
    at: Callable[[Array], Array]


def merged(x: Array, y: Array) -> tuple[Array, Array, Array]:
    """Rows by rising place, one for each, with the mean of those that repeat it.

    Parameters
    ----------
    x, y : ndarray, shape (n,)
        Places and values, in any order.

    Returns
    -------
    tuple of ndarray
        Places, values, and the number of rows behind each.
    """
    places, group, count = np.unique(x, return_inverse=True, return_counts=True)
    return places, np.bincount(group, y) / count, count.astype(float)


def smooth(x: Array, y: Array) -> Smooth:
    """Smooth curve through noisy rows.

    Parameters
    ----------
    x : ndarray, shape (n,)
        Places, in any order; two different ones at least.
    y : ndarray, shape (n,)
        Values.

    Returns
    -------
    Smooth
        The curve; good between the least and the greatest place.
    """
    low, span = float(x.min()), float(np.ptp(x))
    if len(np.unique(x)) < FEWEST:
        return as_it_is(x, y)
    means, heights, weights = _binned((x - low) / span, y)
    scale = float(np.abs(heights).max()) or 1.0
    try:
        spline = scipy.interpolate.make_smoothing_spline(means * _LENGTH, heights / scale, w=weights / weights.mean())
    except (ValueError, np.linalg.LinAlgError):  # too few bins are filled, or they crowd together
        return replace(as_it_is(means * span + low, heights), method=Smoothing.BIN_MEANS)

    def at(wanted: Array) -> Array:
        return np.asarray(spline((wanted - low) * (_LENGTH / span)) * scale)

    return Smooth(Smoothing.SPLINE, _scatter(x, y, at), at)


def as_it_is(x: Array, y: Array) -> Smooth:
    """The rows themselves, with the monotone cubic between them; rows of one place are averaged.

    Parameters
    ----------
    x : ndarray, shape (n,)
        Places, in any order; two different ones at least.
    y : ndarray, shape (n,)
        Values.

    Returns
    -------
    Smooth
        The curve; good between the least and the greatest place.
    """
    places, values, _ = merged(x, y)
    curve = monotone(places, values)

    def at(wanted: Array) -> Array:
        return np.asarray(curve(wanted))

    return Smooth(Smoothing.AS_IT_IS, _scatter(x, y, at), at)


PEAK_BOUNDS = ((2000, 0.5, 0.001), (300, 1.0, 0.001), (60, 2.0, 0.002))
"""Rows at least; the peak of a known curve with noise comes back within noise times the second plus the third [-]."""


def peak_bound(rows: int, noise: float) -> float | None:
    """How far from the truth the peak of a smoothed pull may lie.

    It holds for noise that is independent from row to row, over rows that are spread over the whole sweep.

    Parameters
    ----------
    rows : int
        Rows of the pull.
    noise : float
        Standard deviation of the noise, relative [-].

    Returns
    -------
    float or None
        Relative to the peak; None below 60 rows, for which nothing is stated [-].

    Examples
    --------
    >>> peak_bound(300, 0.003)
    0.004
    """
    return next((share * noise + offset for least, share, offset in PEAK_BOUNDS if rows >= least), None)


def _binned(x: Array, y: Array) -> tuple[Array, Array, Array]:
    """Means of places from 0 to 1 and of values in equal bins, and the number of rows in each."""
    group = np.minimum((x * BINS).astype(np.int64), BINS - 1)
    count = np.bincount(group, minlength=BINS)
    filled = count > 0
    sums = (np.bincount(group, values, BINS)[filled] for values in (x, y))
    means, heights = (total / count[filled] for total in sums)
    return means, heights, count[filled].astype(float)


def _scatter(x: Array, y: Array, at: Callable[[Array], Array]) -> float:
    mean = abs(float(np.mean(y)))
    return float(np.sqrt(np.mean((y - at(x)) ** 2))) / mean if mean else 0.0
