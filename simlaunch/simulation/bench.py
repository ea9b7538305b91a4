"""What launches of one thread run on, one after the other: buffers, step control, and the way to run the next car.

Time zero of a launch, from which it is timed, is when its brakes let go: `brake_off` of its last phase, which is zero
where no brake holds the car.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from simlaunch.compiled import part
from simlaunch.errors import UsageError
from simlaunch.integrator.control import Accuracy
from simlaunch.integrator.sampling import Samples, make_samples
from simlaunch.physics import state as at
from simlaunch.record import CAR, Record
from simlaunch.simulation import kernel, prepare

Array = NDArray[np.float64]

DEFAULT_TOLERANCE = 1e-5
REFERENCE_TOLERANCE = 1e-10
LEAST_TOLERANCE, MOST_TOLERANCE = 1e-13, 1e-2
SAMPLE_GAP = 5e-3  # [s]
LONGEST_STEP = 0.25  # [s]
CAPACITIES = (20_000, 160_000, 320_000)
"""Samples that buffers have room for: the first, and what a launch gets that does not fit."""
_PHASES = 2_100
_HOPELESS = 2e-7  # mean step over half a record [s]: of 3,600 random launches none that came to an end was below 4e-6

_SCALES = {
    at.DISTANCE: 1.0,
    at.SPEED: 1.0,
    at.WHEEL_FRONT: 3.0,
    at.WHEEL_REAR: 3.0,
    at.SLIP_FRONT: 0.05,
    at.SLIP_REAR: 0.05,
    at.TRANSFER: 1e3,
    at.TRANSFER_RATE: 1e4,
    at.ENGINE_SPEED: 30.0,
    at.INPUT_SPEED: 30.0,
    at.SHAFT_SPEED: 3.0,
    at.TWIST_FRONT: 0.05,
    at.TWIST_REAR: 0.05,
    at.BOOST: 1.0,
    at.REQUEST: 1e3,
    at.APART_FRONT: 3.0,
    at.APART_REAR: 3.0,
    at.SLIP_APART_FRONT: 0.05,
    at.SLIP_APART_REAR: 0.05,
    at.CROSS_LOAD: 1e3,
}
_WORK_SCALE = 1e4  # [J]


class Bench(NamedTuple):
    """Buffers of one launch at a time; never shared between threads."""

    car: NDArray[np.void]  # (1,) own copy of the car that is running
    phase: NDArray[np.void]  # (2,) the phase that is running, and one that stays fresh
    accuracy: Accuracy
    work: Record
    samples: Samples
    log: kernel.PhaseLog


def scales() -> Array:
    """Size of each state, SI units, below which its error is taken as absolute."""
    sizes = np.full(at.STATES, _WORK_SCALE)
    for index, size in _SCALES.items():
        sizes[index] = size
    return sizes


def checked(tolerance: float) -> float:
    """A relative error per step that the method can keep.

    Raises
    ------
    UsageError
        It is not between 1e-13 and 1e-2.
    """
    if not LEAST_TOLERANCE <= tolerance <= MOST_TOLERANCE:
        bounds = f"{LEAST_TOLERANCE:g} to {MOST_TOLERANCE:g}"
        raise UsageError(f"tolerance {tolerance:g} is out of range; give a number from {bounds}")
    return float(tolerance)


def make_bench(
    tolerance: float = DEFAULT_TOLERANCE,
    capacity: int = CAPACITIES[0],
    sample_gap: float = SAMPLE_GAP,
    *,
    integrals: bool = True,
) -> Bench:
    """Empty buffers.

    Parameters
    ----------
    tolerance : float
        Relative error allowed per step [-].
    capacity : int
        Number of samples that fit.
    sample_gap : float
        Largest distance between samples; none is recorded with 0 [s].
    integrals : bool
        Whether samples hold the energies too, which take an eighth of the time of a launch.

    Returns
    -------
    Bench
        For launches with this accuracy.

    Raises
    ------
    UsageError
        The tolerance is not between 1e-13 and 1e-2.
    """
    return Bench(
        np.zeros(1, CAR),
        np.zeros(2, at.PHASE),
        Accuracy(checked(tolerance), scales(), LONGEST_STEP, sample_gap, integrals),
        kernel.launch_work(),
        make_samples(capacity, at.STATES),
        kernel.PhaseLog(np.zeros(_PHASES, at.PHASE), np.zeros(_PHASES), np.full(_PHASES, -1, np.int64)),
    )


def hopeless(samples: Samples) -> bool:
    """Whether a full record hardly moves on: eight or sixteen times its length would hardly do so either."""
    half = samples.time.size // 2
    return bool(samples.time[-1] - samples.time[half] < _HOPELESS * half)


@part
def run_next(car: Record, bench: Bench) -> kernel.Ending:
    """Run a copy of a car from standstill, in place of what ran before."""
    bench.car[0] = car
    bench.phase[0] = bench.phase[1]
    bench.samples.cursor[:] = 0
    prepare.complete(bench.car[0], bench.work, bench.phase[0])
    prepare.begin(bench.car[0], bench.work, bench.phase[0])
    return kernel.run_compiled(bench.car[0], bench.phase[0], bench.accuracy, bench.work, bench.samples, bench.log)
