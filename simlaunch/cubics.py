"""Piecewise cubics on the way into tables of a record, without the second that a library for them takes to load."""

from __future__ import annotations

from dataclasses import dataclass
from math import factorial
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Cubics:
    """A piecewise cubic; beyond its ends the outer cubics go on.

    Parameters
    ----------
    knots : ndarray, shape (n,)
        In rising order.
    parts : ndarray, shape (..., n - 1, 4)
        Cubic between two knots, constant term first, in the distance from the knot to the left.
    """

    knots: Array
    parts: Array

    def __call__(self, x: ArrayLike, order: int = 0) -> Any:
        """Values of a single curve, or of its derivative of some order, at some places."""
        place = np.clip(np.searchsorted(self.knots, x, "right") - 1, 0, self.knots.size - 2)
        part, away = self.parts[place], np.asarray(x, np.float64) - self.knots[place]
        found, power = np.zeros_like(away), np.ones_like(away)
        for k in range(order, 4):
            found = found + part[..., k] * power * (factorial(k) / factorial(k - order))
            power = power * away
        return found

    def seen_from(self, places: Array) -> Array:
        """Cubic from each of some places on, constant term first, shape (m, 4)."""
        return np.column_stack([self(places, k) / factorial(k) for k in range(4)])


def with_slopes(x: Array, y: Array, slopes: Array) -> Cubics:
    """Piecewise cubic with given values and slopes (Hermite).

    Parameters
    ----------
    x : ndarray, shape (n,)
        Knots, strictly rising, at least two.
    y, slopes : ndarray, shape (..., n)
        Values and slopes at the knots.

    Returns
    -------
    Cubics
        As `scipy.interpolate.CubicHermiteSpline`, to the last bit.
    """
    width = np.diff(x)
    mean = np.diff(y) / width
    bend = (slopes[..., :-1] + slopes[..., 1:] - 2.0 * mean) / width
    parts = (y[..., :-1], slopes[..., :-1], (mean - slopes[..., :-1]) / width - bend, bend / width)
    return Cubics(x, np.stack(parts, axis=-1))


def monotone(x: ArrayLike, y: ArrayLike) -> Cubics:
    """Piecewise cubic through points that rises and falls only where they do.

    Parameters
    ----------
    x : array_like, shape (n,)
        Knots, strictly rising, at least two.
    y : array_like, shape (..., n)
        Values at the knots.

    Returns
    -------
    Cubics
        As `scipy.interpolate.PchipInterpolator`, to the last bit.

    Source: Fritsch and Butland, SIAM J. Sci. Stat. Comput. 5 (1984) 300; ends: Moler, Numerical Computing with MATLAB
    (2004) chap. 3.6; both as named by SciPy.
    """
    x, y = np.asarray(x, np.float64), np.asarray(y, np.float64)
    width = np.diff(x)
    mean = np.diff(y) / width
    if x.size == 2:
        return with_slopes(x, y, np.concatenate([mean, mean], axis=-1))
    before, after = mean[..., :-1], mean[..., 1:]
    one, other = 2.0 * width[1:] + width[:-1], width[1:] + 2.0 * width[:-1]
    with np.errstate(divide="ignore", invalid="ignore"):
        inner = 1.0 / ((one / before + other / after) / (one + other))
    turns = (np.sign(before) != np.sign(after)) | (before == 0.0) | (after == 0.0)
    first = _end(width[0], width[1], mean[..., :1], mean[..., 1:2])
    last = _end(width[-1], width[-2], mean[..., -1:], mean[..., -2:-1])
    return with_slopes(x, y, np.concatenate([first, np.where(turns, 0.0, inner), last], axis=-1))


def _end(near: float, far: float, outer: Array, inner: Array) -> Array:
    """Slope at an end from three points, kept to the direction of the outer interval."""
    slope = ((2.0 * near + far) * outer - near * inner) / (near + far)
    steep = (np.sign(outer) != np.sign(inner)) & (np.abs(slope) > 3.0 * np.abs(outer))
    return np.where(np.sign(slope) != np.sign(outer), 0.0, np.where(steep, 3.0 * outer, slope))
