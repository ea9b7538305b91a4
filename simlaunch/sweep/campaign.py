"""A sweep from its first launch to its last: what is missing in the file is calculated, and written as it comes."""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from simlaunch.compiled import publish
from simlaunch.errors import SimlaunchError
from simlaunch.simulation.batch import cores
from simlaunch.simulation.kernel import FINISHED
from simlaunch.sweep.axes import Kind
from simlaunch.sweep.backends import BackEnd, Threads
from simlaunch.sweep.chunk import Result, Spec, Stopped, Study, maker, never, pace, prepared, study_of
from simlaunch.sweep.plan import Cases
from simlaunch.sweep.ranking import Order, ranking
from simlaunch.sweep.store import Reader, Store

CHUNK_TIME = 0.5
"""Time that a stretch of launches takes about [s]: little is lost with one, and little time goes to writing it."""

_SHARES = 4  # stretches for each worker at least, where there are launches enough
_TRIAL, _TRIALS = 0.03, 12  # length of a trial for an estimate [s], and how many for each core

Watch = Callable[["Progress"], None]


@dataclass(frozen=True)
class Progress:
    """How far a sweep is, after a stretch was written.

    Parameters
    ----------
    done, total : int
        Launches finished in all, and asked for.
    rate : float
        Launches a second since this run of the command began.
    left : float
        Time still to go at that rate [s].
    cases : Cases, optional
        What was finished last.
    result : Result, optional
        What came of it.
    """

    done: int
    total: int
    rate: float
    left: float
    cases: Cases | None = None
    result: Result | None = None


@dataclass(frozen=True)
class Estimate:
    """What a sweep will take.

    Parameters
    ----------
    launches : int
        Number of launches.
    seconds_each : float
        Time of one launch on one core [s].
    seconds : float
        Time of all of them [s].
    workers : int
        How many are made at the same time.
    trials : int
        How many launches were made for the estimate.
    bytes : int
        Room on the disk.
    """

    launches: int
    seconds_each: float
    seconds: float
    workers: int
    trials: int
    bytes: int


def estimate(spec: Spec, workers: int, *, elsewhere: bool = False) -> Estimate:
    """Time and room that a sweep will take, from some launches that are made for it.

    Parameters
    ----------
    spec : Spec
        The sweep.
    workers : int
        How many launches are made at the same time.
    elsewhere : bool
        Whether the workers are other machines, taken to be as quick as this one; else they share its cores.

    Returns
    -------
    Estimate
        Time [s] and bytes. What has to be compiled, and what it takes until workers have begun, is not counted.
    """
    alone, size = pace(spec), spec.plan.size
    stretches = math.ceil(size / chunk_length(alone.each, size, workers))
    used = min(workers, stretches)
    together = min(used, cores())
    rate, trials = (1.0 / alone.each, 0) if together == 1 else _rate(spec, together, alone.each)
    if elsewhere:
        rate *= used / together
    seconds = size / rate + alone.reading * _combinations(spec)
    study = study_of(spec)
    width = 24 + 9 * (len(study.measures) + len(study.plan.axes)) + 12 * len(study.plan.axes)
    return Estimate(size, alone.each, seconds, used, alone.trials + trials, 40_000 + size * width)


def _combinations(spec: Spec) -> int:
    """How often names are met in a combination that is new, for each of which the scenario is read."""
    named = (len(axis.values) for axis in spec.plan.axes if axis.kind is not Kind.NUMBER)
    return min(math.prod(named), spec.plan.size)


def _rate(spec: Spec, together: int, each: float) -> tuple[float, int]:
    """Launches a second on some cores at once, and how many were made to find out.

    The first stretches, with which the cores begin, and the last ones, at which some have nothing left to do, do not
    count.
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
    """The cases at the corners of a sweep, and why those have no car that have none.

    Parameters
    ----------
    spec : Spec
        The sweep.
    most : int
        How many to look at; of more, a balanced part is taken, see `Plan.corners`.

    Returns
    -------
    list of tuple of int, dict and str
        Number, values by axis, and reason; empty where there is a car.
    """
    plan, caster = spec.plan, prepared(spec).caster
    found = []
    for number in plan.corners(most):
        cases = plan.cases(number, number + 1)
        found.append((number, plan.texts(cases, 0), caster.cast(cases).refused.get(0, "")))
    return found


def chunk_length(seconds_each: float, launches: int, workers: int) -> int:
    """How many launches make a stretch.

    Parameters
    ----------
    seconds_each : float
        Time of one launch [s].
    launches, workers : int
        How many there are.

    Returns
    -------
    int
        At least 1.
    """
    by_time = max(1, int(CHUNK_TIME / max(seconds_each, 1e-6)))
    return max(1, min(by_time, math.ceil(launches / (_SHARES * workers))))


def carry_out(spec: Spec, path: Path, back_end: BackEnd, stopped: Stopped, watch: Watch, asked: str = "{}") -> Progress:
    """Calculate what is missing in a file, and write it there.

    Parameters
    ----------
    spec : Spec
        The sweep.
    path : Path
        The file; begun where it is not there yet.
    back_end : BackEnd
        Who calculates.
    stopped : callable
        Whether to stop.
    watch : callable
        Told after every stretch how far the sweep is.
    asked : str
        JSON of how its ranking is asked for; kept with the results, and no part of them.

    Returns
    -------
    Progress
        How far it came: all the way, or to where it was stopped.

    Raises
    ------
    InputError
        The file belongs to something else, or cannot be written.
    SimlaunchError
        A worker is of another version, or workers die again and again.
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
        publish()
        return far


def _length(spec: Spec, back_end: BackEnd) -> int:
    return chunk_length(pace(spec).each, spec.plan.size, back_end.workers)


def _refuse_stranger(result: Result) -> None:
    if result.maker != maker():
        raise SimlaunchError(
            f"a worker has simlaunch {result.maker}, this process {maker()}; install the same version on the same kind "
            "of processor everywhere"
        )


class BestSoFar:
    """The best result in a file, and among the stretches that it was shown since.

    Parameters
    ----------
    study : Study
        What the stretches are of.
    wanted : Order
        How to rank.
    """

    def __init__(self, study: Study, wanted: Order) -> None:
        self._axes = {axis.name: (j, axis) for j, axis in enumerate(study.plan.axes)}
        self._columns = {measure.name: k for k, measure in enumerate(study.measures)}
        self._wanted = wanted
        self.value: float | None = None

    def begin(self, reader: Reader) -> None:
        """Take in what a file holds already."""
        first = ranking(reader, self._wanted, 1)
        if first:
            self.value = first[0].measures[self._wanted.by.name]

    def see(self, cases: Cases, result: Result) -> None:
        """Take another stretch in."""
        score = result.values[:, self._columns[self._wanted.by.name]]
        kept = np.isfinite(score) & (result.ending == FINISHED)
        for constraint in self._wanted.constraints:
            kept &= constraint.met_by(self._column(constraint.column, cases, result))
        if kept.any():
            best = float(score[kept].max() if self._wanted.highest else score[kept].min())
            known = self.value
            better = known is None or (best > known if self._wanted.highest else best < known)
            self.value = best if better and math.isfinite(best) else known

    def _column(self, name: str, cases: Cases, result: Result) -> NDArray[Any]:
        if name not in self._axes:
            return result.values[:, self._columns[name]]
        j, axis = self._axes[name]
        return cases.si[:, j] if axis.kind is Kind.NUMBER else np.array(axis.values)[cases.position[:, j]]
