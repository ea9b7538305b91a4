"""Many launches in compiled code, with the interpreter's lock let go: a few channels of each at even times."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from simlaunch.compiled import entry, part
from simlaunch.simulation import channels, kernel
from simlaunch.simulation.bench import Bench, run_next

Array = NDArray[np.float64]
Codes = NDArray[np.int64]

FOLLOWED = ("speed", "engine_speed", "wheel_speed_front", "wheel_speed_rear")
"""Channels that are kept."""

_STATES = tuple(channels.STATE_CHANNELS[name] for name in FOLLOWED)


@part
def _put_on_grid(bench: Bench, count: int, zero: float, step: float, out: Array) -> None:
    """Kept channels at even times since time zero, straight between samples; after the end as at the end."""
    time, state, i = bench.samples.time, bench.samples.state, 0
    for k in range(out.shape[1]):
        wanted = zero + k * step
        while i < count - 2 and time[i + 1] <= wanted:
            i += 1
        length = time[i + 1] - time[i]
        share = min(max((wanted - time[i]) / length, 0.0), 1.0) if length > 0.0 else 1.0
        for j in range(out.shape[0]):
            here, there = state[i, _STATES[j]], state[i + 1, _STATES[j]]
            out[j, k] = here + share * (there - here)


@entry
def follow_each(cars: NDArray[np.void], step: float, bench: Bench, out: Array, ending: Codes) -> None:
    """Run every car and keep some channels of what it does.

    Parameters
    ----------
    cars : ndarray of CAR, shape (n,)
        The cars; left as they are.
    step : float
        Time between the values that are kept [s].
    bench : Bench
        Buffers of this thread.
    out : ndarray, shape (n, 4, m)
        Filled with the channels of `FOLLOWED` from time zero on, SI units; nan for a launch that was not followed.
    ending : ndarray of int, shape (n,)
        Filled with how each launch ended, one of the statuses of `kernel`.
    """
    for i in range(cars.size):
        done = run_next(cars[i], bench)
        ending[i], count = done.status, bench.samples.cursor[0]
        if count >= 2 and done.status in kernel.FOLLOWED:
            _put_on_grid(bench, count, bench.phase[0].brake_off, step, out[i])
        else:
            out[i] = np.nan
