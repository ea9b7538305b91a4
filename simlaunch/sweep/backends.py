"""Who calculates: this thread, threads, or processes of this machine, all behind one protocol."""

from __future__ import annotations

import concurrent.futures as cf
import multiprocessing
import multiprocessing.util
import os
import signal
import threading
from collections.abc import Callable, Iterable, Iterator, Mapping
from concurrent.futures.process import BrokenProcessPool
from enum import StrEnum
from multiprocessing import resource_tracker
from multiprocessing.context import SpawnContext, SpawnProcess
from typing import Any, Protocol

from simlaunch.compiled import finish
from simlaunch.errors import SimlaunchError
from simlaunch.processes import SAFE_PATH, variables
from simlaunch.sweep.chunk import Result, Spec, Stopped, calculate

Chunks = Mapping[int, tuple[int, int]]
Finished = Iterator[tuple[int, Result]]

MOST_TRIES = 3
"""Times that a stretch is given out, and its worker dies, before the stretch is blamed for it."""

_GIVEN_OUT = 2  # stretches for each worker
_LOOK = 0.1  # time between two looks at whether to stop [s]


class BackEnd(Protocol):
    """Something that calculates stretches of launches."""

    @property
    def workers(self) -> int:
        """How many stretches are calculated at the same time."""

    def results(self, spec: Spec, chunks: Chunks, stopped: Stopped) -> Finished:
        """Stretches as they are finished, in any order, until there is none left or the work is stopped."""

    def close(self) -> None:
        """Let go of what the work needed."""


class Place(StrEnum):
    """Where launches are calculated on this machine."""

    SERIAL = "serial"
    THREADS = "threads"
    PROCESSES = "processes"


def cores() -> int:
    """Processor cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


class _Here:
    """A back end of this machine, which needs nothing beyond its work."""

    def close(self) -> None:
        """Do nothing."""


class Serial(_Here):
    """One stretch after the other, on the thread that asks."""

    workers = 1

    def results(self, spec: Spec, chunks: Chunks, stopped: Stopped) -> Finished:
        """Stretches in their order."""
        for number, (first, last) in chunks.items():
            result = calculate(spec, first, last, stopped)
            if result is None:
                return
            yield number, result


class Pool(Protocol):
    """Workers that take stretches and give futures."""

    lost: tuple[type[BaseException], ...]
    """What a future raises when its worker died."""

    def give(self, first: int, last: int) -> Any:
        """Future of a stretch."""

    def wait(self, futures: Iterable[Any]) -> set[Any]:
        """Futures that are done, after a short time at most."""

    def revive(self) -> None:
        """Replace workers that died."""


def pumped(pool: Pool, chunks: Chunks, workers: int, stopped: Stopped) -> Finished:
    """Give stretches out, a few for each worker, and hand on what comes back.

    Parameters
    ----------
    pool : Pool
        The workers.
    chunks : mapping of int to tuple of int
        First and last number of each stretch.
    workers : int
        How many there are.
    stopped : callable
        Whether to stop.

    Yields
    ------
    tuple of int and Result
        Number of a stretch, and its result.

    Raises
    ------
    SimlaunchError
        A stretch whose worker died again and again.
    """
    given = _Given(pool, chunks, _GIVEN_OUT * workers)
    while given.more() and not stopped():
        for future in pool.wait(given.out):
            number = given.out.pop(future)
            try:
                result = future.result()
            except pool.lost:
                given.lose(number)
                break
            if result is None:
                return
            yield number, result


class _Given:
    """Stretches that are out.

    After a worker died, those that were out then go one at a time, so that none is blamed for another.
    """

    def __init__(self, pool: Pool, chunks: Chunks, most: int) -> None:
        self.out: dict[Any, int] = {}
        self._pool, self._chunks, self._most = pool, chunks, most
        self._waiting = iter(chunks)
        self._suspects: list[int] = []
        self._deaths: dict[int, int] = {}

    def more(self) -> bool:
        """Give out what there is room for; whether anything is out."""
        if self._suspects and not self.out:
            self._give(self._suspects.pop(0))
        while not self._suspects and len(self.out) < self._most and (number := next(self._waiting, None)) is not None:
            self._give(number)
        return bool(self.out)

    def _give(self, number: int) -> None:
        self.out[self._pool.give(*self._chunks[number])] = number

    def lose(self, number: int) -> None:
        """Take back everything that is out, since a worker died over one of them."""
        lost = [number, *self.out.values()]
        self.out = {}
        for each in lost:
            self._deaths[each] = self._deaths.get(each, 0) + 1
            if self._deaths[each] >= MOST_TRIES:
                first, last = self._chunks[each]
                raise SimlaunchError(f"workers die again and again, last over launches {first} to {last - 1}")
        self._suspects = [*lost, *self._suspects]
        self._pool.revive()


class Threads(_Here):
    """Threads of this process; the compiled code runs beside each other.

    Parameters
    ----------
    workers : int, optional
        How many; as many as there are cores if left out.
    """

    def __init__(self, workers: int | None = None) -> None:
        self.workers = workers or cores()

    def results(self, spec: Spec, chunks: Chunks, stopped: Stopped) -> Finished:
        """Stretches as they are finished."""
        ended = threading.Event()

        def any_stop() -> bool:
            return ended.is_set() or stopped()

        with cf.ThreadPoolExecutor(self.workers, thread_name_prefix="launches") as executor:
            pool = _Futures(lambda first, last: executor.submit(calculate, spec, first, last, any_stop))
            try:
                yield from pumped(pool, chunks, self.workers, stopped)
            finally:
                ended.set()


class _Futures:
    """Futures of the standard library."""

    lost: tuple[type[BaseException], ...] = ()

    def __init__(self, give: Callable[[int, int], cf.Future[Result | None]]) -> None:
        self.give = give

    def wait(self, futures: Iterable[Any]) -> set[Any]:
        return cf.wait(futures, _LOOK, cf.FIRST_COMPLETED).done

    def revive(self) -> None:
        raise SimlaunchError("threads do not die")


_told_to_stop: Any = None
"""A byte that a worker process shares with its parent; not zero: stop."""


def _begin_worker(flag: Any) -> None:
    """Settings of a worker: interruptions are its parent's to answer, and it ends when its parent does."""
    global _told_to_stop
    _told_to_stop = flag
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    multiprocessing.util.Finalize(None, finish, exitpriority=1)
    parent = multiprocessing.parent_process()
    if parent is not None:
        threading.Thread(target=_end_with, args=(parent,), daemon=True).start()


def _calculate_there(spec: Spec, first: int, last: int) -> Result | None:
    """A stretch, calculated in a worker process."""
    return calculate(spec, first, last, lambda: bool(_told_to_stop.value))


def _end_with(parent: Any) -> None:
    parent.join()
    finish()
    os._exit(1)


def _begin_tracker() -> None:
    """Begin what frees semaphores of a process that ends abruptly, so that it does so without a word about it."""
    with variables(PYTHONWARNINGS="ignore", **SAFE_PATH):
        resource_tracker.ensure_running()


class _Worker(SpawnProcess):
    """A process that finds no modules in the current folder."""

    def start(self) -> None:
        """Begin it."""
        with variables(**SAFE_PATH):
            super().start()


class _Context(SpawnContext):
    Process = _Worker


class Processes(_Here):
    """Processes of this machine; one that dies costs the stretch it was at, which another one takes.

    Parameters
    ----------
    workers : int, optional
        How many; as many as there are cores if left out.
    """

    def __init__(self, workers: int | None = None) -> None:
        self.workers = workers or cores()

    def results(self, spec: Spec, chunks: Chunks, stopped: Stopped) -> Finished:
        """Stretches as they are finished."""
        pool = _ProcessPool(spec, self.workers)
        try:
            yield from pumped(pool, chunks, self.workers, stopped)
        finally:
            pool.end(wait=not stopped())


class _ProcessPool:
    """A pool of processes that can be made anew."""

    lost: tuple[type[BaseException], ...] = (BrokenProcessPool,)

    def __init__(self, spec: Spec, workers: int) -> None:
        self._spec = spec
        self._workers = workers
        _begin_tracker()
        self._context = _Context()
        self._stop: Any = self._context.RawValue("b", 0)
        self._executor = self._made()

    def _made(self) -> cf.ProcessPoolExecutor:
        return cf.ProcessPoolExecutor(
            self._workers, mp_context=self._context, initializer=_begin_worker, initargs=(self._stop,)
        )

    def give(self, first: int, last: int) -> cf.Future[Result | None]:
        try:
            return self._executor.submit(_calculate_there, self._spec, first, last)
        except BrokenProcessPool as error:  # found out while giving out: told like any other loss
            future: cf.Future[Result | None] = cf.Future()
            future.set_exception(error)
            return future

    def wait(self, futures: Iterable[Any]) -> set[Any]:
        return cf.wait(futures, _LOOK, cf.FIRST_COMPLETED).done

    def revive(self) -> None:
        self._executor.shutdown(wait=False, cancel_futures=True)
        self._executor = self._made()

    def end(self, *, wait: bool) -> None:
        """Stop the work and let the workers go."""
        self._stop.value = 1
        self._executor.shutdown(wait=wait, cancel_futures=True)


ON_THIS_MACHINE: Mapping[Place, Callable[[int | None], BackEnd]] = {
    Place.SERIAL: lambda workers: Serial(),
    Place.THREADS: Threads,
    Place.PROCESSES: Processes,
}
