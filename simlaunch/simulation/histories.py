"""Many launches in compiled code, with the interpreter's lock let go: a few channels of each at even times."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from simlaunch.compiled import entry, part
from simlaunch.integrator import sampling
from simlaunch.integrator.control import Accuracy
from simlaunch.physics import state as at
from simlaunch.record import CAR, Record
from simlaunch.simulation import channels, events, kernel, prepare
from simlaunch.simulation.run import FIRST_SAMPLES, LONGEST_STEP, PHASES, SAMPLE_GAP, scales

Array = NDArray[np.float64]
Codes = NDArray[np.int64]

FOLLOWED = ("speed", "engine_speed", "wheel_speed_front", "wheel_speed_rear")
"""Channels that are kept."""

_STATES = np.array([channels.STATE_CHANNELS[name] for name in FOLLOWED])


class Bench(NamedTuple):
    """What launches of one thread are run with, one after the other."""

    car: NDArray[np.void]  # (1,) own copy of the car that is running
    phase: NDArray[np.void]  # (2,) the phase that is running, and one that stays fresh
    accuracy: Accuracy
    work: Record
    recorded: sampling.Samples
    log: kernel.PhaseLog
    states: Codes  # places of the channels that are kept


def make_bench(tolerance: float) -> Bench:
    """Room for one launch at a time.

    Parameters
    ----------
    tolerance : float
        Relative error allowed per step [-].

    Returns
    -------
    Bench
        Buffers; never shared between threads.
    """
    return Bench(
        np.zeros(1, CAR),
        np.zeros(2, at.PHASE),
        Accuracy(tolerance, scales(), LONGEST_STEP, SAMPLE_GAP),
        kernel.launch_work(),
        sampling.make_samples(FIRST_SAMPLES, at.STATES),
        kernel.PhaseLog(np.zeros(PHASES, at.PHASE), np.zeros(PHASES), np.zeros(PHASES, np.int64)),
        _STATES,
    )


@part
def _time_zero(bench: Bench, segments: int) -> float:
    """Time at which brakes let go [s]."""
    for i in range(segments):
        if bench.log.event[i] == events.BRAKE_OFF:
            return bench.log.start[i]
    return 0.0


@part
def _put_on_grid(bench: Bench, count: int, zero: float, step: float, out: Array) -> None:
    """Kept channels at even times since time zero, straight between samples; after the end as at the end."""
    time, state, i = bench.recorded.time, bench.recorded.state, 0
    for k in range(out.shape[1]):
        wanted = zero + k * step
        while i < count - 2 and time[i + 1] <= wanted:
            i += 1
        length = time[i + 1] - time[i]
        share = min(max((wanted - time[i]) / length, 0.0), 1.0) if length > 0.0 else 1.0
        for j in range(out.shape[0]):
            here, there = state[i, bench.states[j]], state[i + 1, bench.states[j]]
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
        bench.car[0] = cars[i]
        bench.phase[0] = bench.phase[1]
        bench.recorded.cursor[:] = 0
        prepare.complete(bench.car[0], bench.work, bench.phase[0])
        prepare.begin(bench.car[0], bench.work, bench.phase[0])
        done = kernel.run_compiled(bench.car[0], bench.phase[0], bench.accuracy, bench.work, bench.recorded, bench.log)
        ending[i], count = done.status, bench.recorded.cursor[0]
        if count >= 2 and done.status <= kernel.STALLED:  # finished, out of time, or stalled
            _put_on_grid(bench, count, _time_zero(bench, done.segments), step, out[i])
        else:
            out[i] = np.nan
