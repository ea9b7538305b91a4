"""What the samples of a sensor scatter by, what they are rounded to, and which of them are new."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

FEWEST = 12
"""Fewer samples of a run determine nothing, not even their noise."""

_HELD = 3.0  # a jump of so many resolutions after equal values: the sensor is slower than the logger
_ON_GRID = 0.01  # a gap this near to a multiple of the step is one [steps]
_PARTS = 10  # the least gap may be so many steps


def as_measured(time: Array, values: Array) -> tuple[Array, Array]:
    """Samples without those at which a slow sensor's last value was written down once more."""
    if values.size < FEWEST:
        return time, values
    new = np.concatenate([[True], np.diff(values) != 0.0])
    jumps = np.abs(np.diff(values[new]))
    if new.mean() > 0.7 or not jumps.size or np.median(jumps) < _HELD * resolution(values):
        return time, values
    return time[new], values[new]


def resolution(values: Array) -> float:
    """Smallest step between values that differ; 0 where all are the same."""
    gaps = np.diff(np.unique(np.round(values, 9)))
    gaps = gaps[gaps > 1e-9]
    return float(gaps.min()) if gaps.size else 0.0


def noise_of(time: Array, values: Array) -> float:
    """Standard deviation of a sample, from third differences: what a smooth signal leaves over.

    Parameters
    ----------
    time : ndarray, shape (n,)
        [s]
    values : ndarray, shape (n,)
        Samples.

    Returns
    -------
    float
        In their unit, no less than what their resolution and size allow.

    Source: J. von Neumann et al., Ann. Math. Statist. 12 (1941) 153, for differences of the first order; the third
    has the variance 20 s^2 for independent samples.
    """
    least = 1e-4 * float(np.abs(values).max(initial=0.0)) + 1e-6
    if values.size < FEWEST:
        return max(least, resolution(values))
    return float(max(spread_of(time, values), rounded(values) / np.sqrt(12.0), least))


def spread_of(time: Array, values: Array) -> float:
    """Noise as third differences show it, however little that is; 0 for too few samples."""
    if values.size < FEWEST:
        return 0.0
    steps = np.diff(time)
    even = np.abs(steps / np.median(steps) - 1.0) < 0.2
    sound = even[:-2] & even[1:-1] & even[2:]
    third = np.diff(values, 3)[sound]
    return float(np.median(np.abs(third)) / 0.6745 / np.sqrt(20.0)) if third.size > FEWEST else 0.0


def rounded(values: Array) -> float:
    """Step that values are rounded to; 0 where they are not, or where that does not show."""
    different, least = np.unique(np.round(values, 9)), resolution(values)
    if least <= 0.0:
        return 0.0
    for parts in range(1, _PARTS + 1):
        multiples = np.diff(different) * parts / least
        whole = np.round(multiples)
        if (np.abs(multiples - whole) < _ON_GRID).all() and np.unique(whole).size > 1:
            return least / parts
    return least if different.size < 0.7 * values.size else 0.0
