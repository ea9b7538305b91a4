"""Samples of a record as compiled measures read them: arrays of records, each of which has a time."""

from __future__ import annotations

from typing import Any, TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

from simlaunch.compiled import part

Samples: TypeAlias = Any
"""A recarray, shape (n,): records whose fields are reached by name, in plain Python and in compiled code alike."""


def empty_samples(kind: np.dtype[np.void], count: int) -> Samples:
    """Samples that are yet to be filled.

    Parameters
    ----------
    kind : dtype
        What a sample holds.
    count : int
        Number of samples [-].

    Returns
    -------
    recarray, shape (n,)
        Samples of any content.
    """
    return np.empty(count, kind).view(np.recarray)


def plain(values: ArrayLike) -> NDArray[np.float64]:
    """Numbers laid out in the one way that compiled measures read them.

    Parameters
    ----------
    values : array_like, shape (n,)
        The numbers.

    Returns
    -------
    ndarray, shape (n,)
        The same array where it is laid out so already, or else a copy.
    """
    return np.require(values, np.float64, ["C", "W"])


@part
def first_from(samples: Samples, moment: float) -> int:
    """First sample at or after a moment, by halving.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        Records with a `time` that never falls [s].
    moment : float
        The moment [s].

    Returns
    -------
    int
        Index of the sample; n where there is none [-].
    """
    low, high = 0, len(samples)
    while low < high:
        middle = (low + high) // 2
        if samples[middle].time < moment:
            low = middle + 1
        else:
            high = middle
    return low
