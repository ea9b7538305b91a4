"""What cars do over time, many at once on several threads: the histories that logs are held against."""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from threading import local

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from simlaunch.compiled import publish
from simlaunch.launch.histories import FOLLOWED, Bench, follow_each, make_bench
from simlaunch.record import Record

Array = NDArray[np.float64]
Cars = NDArray[np.void]

STEP = 5e-3
"""Time between the values of a history [s]."""

TOLERANCE = 1e-4
"""Relative error allowed per step: speeds of the demonstration cars are then off by 0.001 m/s at most [-]."""

_NO_LAG = 1e-6  # [s]
_COARSER = 1e-3  # for a launch that cannot be followed
_AT_ONCE = 16


@dataclass(frozen=True)
class History:
    """One run: channels of `FOLLOWED` at even times from when the car was let go.

    Parameters
    ----------
    values : ndarray, shape (4, m)
        SI units; nan for a run that cannot be followed.
    step : float
        Time between values [s].
    """

    values: Array
    step: float = STEP

    def at(self, channel: str, time: Array, lag: float = 0.0) -> Array:
        """What a sensor shows at some times.

        Parameters
        ----------
        channel : str
            Name of the channel.
        time : ndarray, shape (n,)
            Time since the car was let go; before it as at the start, after the end as there [s].
        lag : float
            Time constant of a sensor of first order; below zero that of one that runs ahead by as much as it
            would lag, so that a search can pass through zero [s].

        Returns
        -------
        ndarray, shape (n,)
            SI units.
        """
        values = self.values[FOLLOWED.index(channel)]
        behind = lagged(values, self.step, abs(lag)) if abs(lag) > _NO_LAG else values
        shown = behind if lag >= 0.0 else 2.0 * values - behind
        return np.interp(time / self.step, np.arange(values.size), shown)


def lagged(values: Array, step: float, lag: float) -> Array:
    """Answer of a sensor of first order to a signal that runs straight between samples.

    y' = (x - y) / lag, settled before the first sample

    Parameters
    ----------
    values : ndarray, shape (n,)
        The signal, evenly sampled.
    step : float
        Time between samples [s].
    lag : float
        Time constant, above zero [s].

    Returns
    -------
    ndarray, shape (n,)
        What it shows.

    Source: the linear equation solved over one step of a ramp.
    """
    kept = np.exp(-step / lag)
    share = lag / step * (1.0 - kept)
    settled = np.array([share * values[0]])
    shown, _ = lfilter([1.0 - share, share - kept], [1.0, -kept], values, zi=settled)
    return np.asarray(shown)


class Runner:
    """Runs launches on several threads, each with a bench of its own.

    Parameters
    ----------
    workers : int, optional
        Threads; as many as there are processors if left out.
    """

    def __init__(self, workers: int | None = None) -> None:
        self.workers = workers or os.cpu_count() or 1
        self._pool = ThreadPoolExecutor(self.workers)
        self._own = local()
        self.launches = 0

    def __call__(self, cars: Cars, duration: float) -> Array:
        """Histories of launches, in order.

        Parameters
        ----------
        cars : ndarray of CAR, shape (n,)
            The cars; left as they are.
        duration : float
            How much of each is kept [s].

        Returns
        -------
        ndarray, shape (n, 4, m)
            Channels of `FOLLOWED`, SI units; nan for a launch that cannot be followed.
        """
        self.launches += len(cars)
        out = np.empty((len(cars), len(FOLLOWED), int(np.ceil(duration / STEP)) + 1))
        length = min(-(-len(cars) // self.workers), _AT_ONCE)
        stretches = [slice(first, first + length) for first in range(0, len(cars), length)]
        list(self._pool.map(lambda part: self._some(cars[part], out[part]), stretches))
        publish()
        return out

    def _some(self, cars: Cars, out: Array) -> None:
        benches: tuple[Bench, Bench] | None = getattr(self._own, "benches", None)
        if benches is None:
            benches = self._own.benches = make_bench(TOLERANCE), make_bench(_COARSER)
        follow_each(cars, STEP, benches[0], out, np.zeros(len(cars), np.int64))
        for i in np.flatnonzero(np.isnan(out[:, 0, 0])).tolist():
            follow_each(cars[i : i + 1], STEP, benches[1], out[i : i + 1], np.zeros(1, np.int64))

    def close(self) -> None:
        """Let the threads go."""
        self._pool.shutdown(wait=False)


def last_until(car: Record, time: float) -> None:
    """Let a run end after a time, and not before.

    Parameters
    ----------
    car : Record
        The car, changed in place.
    time : float
        Time [s].
    """
    car.run.stop_distance, car.run.stop_speed, car.run.time_limit = 1e9, 0.0, time
