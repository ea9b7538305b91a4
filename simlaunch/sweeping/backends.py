"""Back ends that calculate a sweep: threads of this process, or anything else that follows the same protocol."""

from __future__ import annotations

import concurrent.futures as cf
import threading
from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import Any, Protocol

from simlaunch.errors import SimlaunchError
from simlaunch.simulation.batch import cores
from simlaunch.sweeping.chunk import ChunkResult, Spec, Stopped, calculate

Chunks = Mapping[int, tuple[int, int]]
Finished = Iterator[tuple[int, ChunkResult]]

MOST_TRIES = 3
"""Number of workers that may die over a chunk before the sweep ends with an error."""

_GIVEN_OUT = 2  # chunks for each worker
_LOOK = 0.1  # time between two looks at whether to stop [s]


class BackEnd(Protocol):
    """Something that calculates chunks of launches."""

    @property
    def workers(self) -> int:
        """Number of chunks that are calculated at the same time."""

    def results(self, spec: Spec, chunks: Chunks, stopped: Stopped) -> Finished:
        """Chunks as they are finished, in any order, until there is none left or the work is stopped."""

    def close(self) -> None:
        """Release what the work needed."""


class Pool(Protocol):
    """Workers that take chunks and give futures."""

    lost: tuple[type[BaseException], ...]
    """What a future raises when its worker died."""

    def give(self, first: int, last: int) -> Any:
        """Future of a chunk."""

    def wait(self, futures: Iterable[Any]) -> set[Any]:
        """Futures that are done, after a short time at most."""

    def revive(self) -> None:
        """Replace workers that died."""


def pumped(pool: Pool, chunks: Chunks, workers: int, stopped: Stopped) -> Finished:
    """Give chunks to workers, a few for each, and yield the results as they come.

    Parameters
    ----------
    pool : Pool
        The workers.
    chunks : mapping of int to tuple of int
        First and last number of each chunk.
    workers : int
        How many there are.
    stopped : callable
        Whether to stop.

    Yields
    ------
    tuple of int and ChunkResult
        Number of a chunk, and its result.

    Raises
    ------
    SimlaunchError
        A chunk whose worker died again and again.
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
    """Chunks that workers hold.

    After a worker died, those that were out then go one at a time, so that none is blamed for another.
    """

    def __init__(self, pool: Pool, chunks: Chunks, most: int) -> None:
        self.out: dict[Any, int] = {}
        self._pool, self._chunks, self._most = pool, chunks, most
        self._waiting = iter(chunks)
        self._suspects: list[int] = []
        self._deaths: dict[int, int] = {}

    def more(self) -> bool:
        """Give workers as many chunks as they may hold; whether they hold any."""
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
                raise SimlaunchError(
                    f"workers end again and again before their work is done, last with launches {first} to {last - 1}"
                )
        self._suspects = [*lost, *self._suspects]
        self._pool.revive()


class Threads:
    """Threads of this process: compiled launches let go of the interpreter's lock.

    Parameters
    ----------
    workers : int, optional
        How many; one for each core if left out.
    """

    def __init__(self, workers: int | None = None) -> None:
        self.workers = workers or cores()

    def results(self, spec: Spec, chunks: Chunks, stopped: Stopped) -> Finished:
        """Chunks as they are finished."""
        ended = threading.Event()

        def any_stop() -> bool:
            return ended.is_set() or stopped()

        with cf.ThreadPoolExecutor(self.workers, thread_name_prefix="launches") as executor:
            pool = _Futures(lambda first, last: executor.submit(calculate, spec, first, last, any_stop))
            try:
                yield from pumped(pool, chunks, self.workers, stopped)
            finally:
                ended.set()

    def close(self) -> None:
        """Threads hold nothing once their work has ended."""


class _Futures:
    """Futures of the standard library."""

    lost: tuple[type[BaseException], ...] = ()

    def __init__(self, give: Callable[[int, int], cf.Future[ChunkResult | None]]) -> None:
        self.give = give

    def wait(self, futures: Iterable[Any]) -> set[Any]:
        return cf.wait(futures, _LOOK, cf.FIRST_COMPLETED).done

    def revive(self) -> None:
        raise SimlaunchError("threads do not die")
