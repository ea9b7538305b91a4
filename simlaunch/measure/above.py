"""The parts of a record in which a signal lies above zero."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

_FAR = 1e9  # infinite margins are brought down to this, so that a crossing can be interpolated


def parts_above(margin: Array) -> tuple[Array, Array]:
    """Where, between each two samples, a signal that runs straight between them is above zero.

    Parameters
    ----------
    margin : ndarray, shape (n,)
        The signal; where it is nan it counts as not above [-].

    Returns
    -------
    tuple of ndarray, shape (n - 1,)
        Begin and end of the part above zero, as shares of the way between the samples; equal where
        there is none [-].
    """
    signal = np.clip(np.nan_to_num(margin, nan=-1.0, posinf=_FAR, neginf=-_FAR), -_FAR, _FAR)
    left, right = signal[:-1], signal[1:]
    rises, falls = (left <= 0.0) & (right > 0.0), (left > 0.0) & (right <= 0.0)
    cut = np.divide(left, left - right, out=np.zeros(left.shape), where=rises | falls)
    begin = np.where(rises, cut, 0.0)
    end = np.where(falls, cut, np.where(right > 0.0, 1.0, 0.0))
    return begin, end


def integral_above(x: Array, y: Array, margin: Array) -> float:
    """Integral of y over x, of the parts in which a margin is above zero.

    Parameters
    ----------
    x : ndarray, shape (n,)
        Never falling.
    y : ndarray, shape (n,)
        Runs straight between samples.
    margin : ndarray, shape (n,)
        Runs straight between samples.

    Returns
    -------
    float
        Integral; nan where y or the margin is not known at all [unit of x y].
    """
    if np.isnan(y).all() or np.isnan(margin).all():
        return float("nan")
    begin, end = parts_above(margin)
    middle = y[:-1] + 0.5 * (begin + end) * np.diff(y)
    return float(np.sum(np.where(end > begin, (end - begin) * middle, 0.0) * np.diff(x)))


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
    return integral_above(x, np.ones(x.shape), margin)
