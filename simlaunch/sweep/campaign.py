"""A sweep from its first launch to its last: what is missing in the file is calculated, and written as it comes."""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from simlaunch.compiled import publish
from simlaunch.errors import SimlaunchError
from simlaunch.sweep.backends import BackEnd
from simlaunch.sweep.chunk import Result, Spec, Stopped, maker, pace, prepared
from simlaunch.sweep.plan import Cases
from simlaunch.sweep.store import Store, study_of

CHUNK_TIME = 0.5
"""Time that a stretch of launches takes about [s]: little is lost with one, and little time goes to writing it."""

_SHARES = 4  # stretches for each worker at least, where there are launches enough

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
    bytes : int
        Room on the disk.
    """

    launches: int
    seconds_each: float
    seconds: float
    bytes: int


def estimate(spec: Spec, workers: int) -> Estimate:
    """Time and room that a sweep will take, from a few launches that are made for it.

    Parameters
    ----------
    spec : Spec
        The sweep.
    workers : int
        How many launches are made at the same time.

    Returns
    -------
    Estimate
        Time [s] and bytes.
    """
    each = pace(spec)
    study = study_of(spec)
    width = 24 + 9 * (len(study.measures) + len(study.plan.axes)) + 12 * len(study.plan.axes)
    size = spec.plan.size
    return Estimate(size, each, each * size / workers, 40_000 + size * width)


def corners(spec: Spec, most: int = 16) -> list[tuple[int, dict[str, str], str]]:
    """The cases at the corners of a sweep, and why those have no car that have none.

    Parameters
    ----------
    spec : Spec
        The sweep.
    most : int
        How many to look at.

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
    return chunk_length(pace(spec), spec.plan.size, back_end.workers)


def _refuse_stranger(result: Result) -> None:
    if result.maker != maker():
        raise SimlaunchError(
            f"a worker has simlaunch {result.maker}, this process {maker()}; install the same version on the same kind "
            "of processor everywhere"
        )
