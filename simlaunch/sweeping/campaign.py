"""A sweep from first launch to last: calculates what the file does not hold yet, and writes it chunk by chunk."""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from simlaunch.errors import SimlaunchError
from simlaunch.metrics.many import Measure
from simlaunch.simulation.batch import cores
from simlaunch.simulation.kernel import FINISHED
from simlaunch.sweeping.axes import Kind
from simlaunch.sweeping.backends import BackEnd, Threads
from simlaunch.sweeping.chunk import ChunkResult, Spec, Stopped, Study, maker, never, pace, prepared, study_of
from simlaunch.sweeping.plan import Cases
from simlaunch.sweeping.ranking import Order, ranking
from simlaunch.sweeping.store import Reader, Store

CHUNK_TIME = 0.5
"""Approximate time of one chunk [s]: losing one costs little time, and so does writing it."""

_SHARES = 4  # least number of chunks for each worker, where there are enough launches
_TRIAL, _TRIALS = 0.03, 12  # length of a trial for an estimate [s], and how many for each core

Watch = Callable[["Progress"], None]


@dataclass(frozen=True)
class Progress:
    """How far a sweep is, after a chunk was written.

    Parameters
    ----------
    done, total : int
        Launches finished so far, and launches of the whole sweep.
    rate : float
        Launches a second since this run began.
    left : float
        Time left at that rate [s]; nan before the first chunk.
    cases : Cases, optional
        Cases of the last chunk.
    result : ChunkResult, optional
        Result of the last chunk.
    best : float, optional
        Best result so far [SI unit of `by`].
    by : Measure, optional
        Measure that the sweep is ranked by.
    """

    done: int
    total: int
    rate: float
    left: float
    cases: Cases | None = None
    result: ChunkResult | None = None
    best: float | None = None
    by: Measure | None = None


@dataclass(frozen=True)
class Estimate:
    """Time and disk space that a sweep will need.

    Parameters
    ----------
    launches : int
        Number of launches.
    seconds_each : float
        Time of one launch on one core [s].
    seconds : float
        Time of all of them [s].
    workers : int
        Number of launches at the same time.
    trials : int
        Number of launches made for the estimate.
    bytes : int
        Disk space.
    """

    launches: int
    seconds_each: float
    seconds: float
    workers: int
    trials: int
    bytes: int


def estimate(spec: Spec, workers: int, *, elsewhere: bool = False) -> Estimate:
    """Time and disk space that a sweep will need, estimated from trial launches.

    Parameters
    ----------
    spec : Spec
        The sweep.
    workers : int
        Number of launches at the same time.
    elsewhere : bool
        Whether the workers run on other machines, assumed to be as quick as this one; else they share its cores.

    Returns
    -------
    Estimate
        Time [s] and bytes, without the time for compiling and for starting workers.
    """
    alone, size = pace(spec), spec.plan.size
    chunks = math.ceil(size / chunk_length(alone.each, size, workers))
    used = min(workers, chunks)
    together = min(used, cores())
    rate, trials = (1.0 / alone.each, 0) if together == 1 else _rate(spec, together, alone.each)
    if elsewhere:
        rate *= used / together
    seconds = size / rate + alone.reading * _combinations(spec)
    study = study_of(spec)
    width = 24 + 9 * (len(study.measures) + len(study.plan.axes)) + 12 * len(study.plan.axes)
    return Estimate(size, alone.each, seconds, used, alone.trials + trials, 40_000 + size * width)


def _combinations(spec: Spec) -> int:
    """Number of combinations of names; the scenario is read once for each."""
    named = (len(axis.values) for axis in spec.plan.axes if axis.kind is not Kind.NUMBER)
    return min(math.prod(named), spec.plan.size)


def _rate(spec: Spec, together: int, each: float) -> tuple[float, int]:
    """Launches a second on several cores at once, and the number of trial launches.

    The first and the last chunk of each core do not count, since not all cores work during them.
    """
    length = max(1, int(_TRIAL / each))
    count = min(_TRIALS * together, spec.plan.size // length)
    if count < 4 * together:
        return together / each, 0
    begins = [k * (spec.plan.size - length) // (count - 1) for k in range(count)]
    for begin in begins:
        prepared(spec).caster.prime(spec.plan.cases(begin, begin + length))
    trials = {k: (begin, begin + length) for k, begin in enumerate(begins)}
    ends = [time.perf_counter() for _ in Threads(together).results(spec, trials, never)]
    counted = ends[together - 1 : len(ends) - together + 1]
    return (len(counted) - 1) * length / (counted[-1] - counted[0]), count * length


def corners(spec: Spec, most: int = 16) -> list[tuple[int, dict[str, str], str]]:
    """The cases at the corners of a sweep, with the reason where values do not make a car.

    Parameters
    ----------
    spec : Spec
        The sweep.
    most : int
        Largest number of corners; if there are more, a balanced part, see `Plan.corners`.

    Returns
    -------
    list of tuple of int, dict and str
        Number, values by axis, and reason; the reason is empty where the values make a car.
    """
    plan, caster = spec.plan, prepared(spec).caster
    found = []
    for number in plan.corners(most):
        cases = plan.cases(number, number + 1)
        found.append((number, plan.texts(cases, 0), caster.cast(cases).refused.get(0, "")))
    return found


def chunk_length(seconds_each: float, launches: int, workers: int) -> int:
    """Number of launches in a chunk.

    Parameters
    ----------
    seconds_each : float
        Time of one launch [s].
    launches, workers : int
        Number of launches and of workers.

    Returns
    -------
    int
        At least 1.
    """
    by_time = max(1, int(CHUNK_TIME / max(seconds_each, 1e-6)))
    return max(1, min(by_time, math.ceil(launches / (_SHARES * workers))))


def carry_out(spec: Spec, path: Path, back_end: BackEnd, stopped: Stopped, watch: Watch, asked: str = "{}") -> Progress:
    """Calculate what a file does not hold yet, and write it there.

    Parameters
    ----------
    spec : Spec
        The sweep.
    path : Path
        The file; created if it does not exist.
    back_end : BackEnd
        What calculates.
    stopped : callable
        Whether to stop.
    watch : callable
        Receives the progress at the start and after every chunk.
    asked : str
        JSON of how its ranking is asked for; the file keeps it beside the results.

    Returns
    -------
    Progress
        Progress at the end, or when it was stopped.

    Raises
    ------
    InputError
        The file holds something else, or cannot be written.
    SimlaunchError
        A worker has another version, or workers die again and again.
    """
    with Store(path, study_of(spec, asked), lambda: _length(spec, back_end)) as store:
        chunks = store.missing()
        left = sum(last - first for first, last in chunks.values())
        far = Progress(spec.plan.size - left, spec.plan.size, 0.0, math.nan)
        watch(far)
        begin, before = time.monotonic(), far.done
        for number, result in back_end.results(spec, chunks, stopped):
            _refuse_stranger(result)
            first, last = chunks[number]
            cases = spec.plan.cases(first, last)
            store.write(number, cases, result)
            done = far.done + last - first
            rate = (done - before) / max(time.monotonic() - begin, 1e-9)
            far = Progress(done, far.total, rate, (far.total - done) / rate, cases, result)
            watch(far)
        return far


def _length(spec: Spec, back_end: BackEnd) -> int:
    return chunk_length(pace(spec).each, spec.plan.size, back_end.workers)


def _refuse_stranger(result: ChunkResult) -> None:
    if result.maker != maker():
        raise SimlaunchError(
            f"a worker has simlaunch {result.maker}, this process {maker()}; install the same version on the same kind "
            "of processor everywhere"
        )


class BestSoFar:
    """The best result in a file and in the chunks seen since.

    Parameters
    ----------
    study : Study
        The study that the chunks belong to.
    wanted : Order
        How to rank.
    """

    def __init__(self, study: Study, wanted: Order) -> None:
        self._axes = {axis.name: (j, axis) for j, axis in enumerate(study.plan.axes)}
        self._columns = {measure.name: k for k, measure in enumerate(study.measures)}
        self._wanted = wanted
        self.value: float | None = None

    def begin(self, reader: Reader) -> None:
        """Start from what a file holds already."""
        first = ranking(reader, self._wanted, 1)
        if first:
            self.value = first[0].measures[self._wanted.by.name]

    def see(self, cases: Cases, result: ChunkResult) -> None:
        """Consider another chunk."""
        score = result.values[:, self._columns[self._wanted.by.name]]
        kept = np.isfinite(score) & (result.ending == FINISHED)
        for constraint in self._wanted.constraints:
            kept &= constraint.met_by(self._column(constraint.column, cases, result))
        if kept.any():
            best = float(score[kept].max() if self._wanted.highest else score[kept].min())
            known = self.value
            better = known is None or (best > known if self._wanted.highest else best < known)
            self.value = best if better and math.isfinite(best) else known

    def _column(self, name: str, cases: Cases, result: ChunkResult) -> NDArray[Any]:
        if name not in self._axes:
            return result.values[:, self._columns[name]]
        j, axis = self._axes[name]
        return cases.si[:, j] if axis.kind is Kind.NUMBER else np.array(axis.values)[cases.position[:, j]]
