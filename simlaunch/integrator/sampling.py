"""A record of an integration: samples close enough together to draw and to measure."""

from __future__ import annotations

from math import ceil
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from simlaunch.compiled import part
from simlaunch.integrator.step import read_dense
from simlaunch.record import Record


class Samples(NamedTuple):
    """Buffers that an integration fills; `cursor` holds the number of samples and the current segment."""

    time: NDArray[np.float64]  # (capacity,)
    state: NDArray[np.float64]  # (capacity, n)
    segment: NDArray[np.int64]  # (capacity,)
    cursor: NDArray[np.int64]  # (2,)


def make_samples(capacity: int, states: int) -> Samples:
    """Empty buffers.

    Parameters
    ----------
    capacity : int
        Number of samples that fit [-].
    states : int
        Number of states [-].

    Returns
    -------
    Samples
        Buffers [-].
    """
    return Samples(
        np.empty(capacity), np.empty((capacity, states)), np.empty(capacity, np.int64), np.zeros(2, np.int64)
    )


@part
def record(samples: Samples, t: float, y: NDArray[np.float64]) -> bool:
    """Append one sample.

    Parameters
    ----------
    samples : Samples
        Buffers.
    t : float
        Time [s].
    y : ndarray, shape (n,)
        State.

    Returns
    -------
    bool
        False when the buffers are full [-].
    """
    n = samples.cursor[0]
    if n >= samples.time.size:
        return False
    samples.time[n] = t
    samples.segment[n] = samples.cursor[1]
    for i in range(y.size):
        samples.state[n, i] = y[i]
    samples.cursor[0] = n + 1
    return True


@part
def record_step(samples: Samples, t: float, h: float, gap: float, work: Record) -> bool:
    """Append the end of a step, and samples within it so that none are further apart than `gap`.

    Parameters
    ----------
    samples : Samples
        Buffers.
    t : float
        Time at the start of the step [s].
    h : float
        Step [s].
    gap : float
        Largest distance between samples [s].
    work : Record
        The step, with its continuous extension prepared.

    Returns
    -------
    bool
        False when the buffers are full [-].
    """
    pieces = max(ceil(h / gap), 1)
    for j in range(1, pieces):
        share = j / pieces
        read_dense(share, work, work.inner)
        if not record(samples, t + share * h, work.inner):
            return False
    return record(samples, t + h, work.trial)
