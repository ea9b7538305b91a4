"""Many cars on several threads: the one place that hands pieces of a batch to cores.

Compiled launches let go of the interpreter's lock, so threads are all that one machine needs. Each car's numbers
depend on that car alone, so neither the number of threads nor the length of a piece changes a bit.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

Found = TypeVar("Found")

MOST_AT_ONCE = 32
"""Longest piece that is handed to a thread: short enough that all cores end at about the same time."""


def cores() -> int:
    """Processor cores that this process may use.

    Returns
    -------
    int
        At least 1.
    """
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def pieces(count: int, workers: int, most: int = MOST_AT_ONCE) -> list[slice]:
    """Rows of a batch as pieces in order, at least one for each worker where there are enough rows."""
    length = min(max(-(-count // workers), 1), most)
    return [slice(first, min(first + length, count)) for first in range(0, count, length)]


def on_threads(
    work: Callable[[slice], Found], count: int, workers: int | None = None, most: int = MOST_AT_ONCE
) -> Iterator[Found]:
    """Results of the pieces of a batch, in order, as they are finished.

    Parameters
    ----------
    work : callable
        Takes a piece; what it raises is raised here.
    count : int
        Rows of the batch.
    workers : int, optional
        Threads; one for each core if left out.
    most : int
        Longest piece.

    Yields
    ------
    Found
        What `work` returned.
    """
    threads = workers or cores()
    with ThreadPoolExecutor(threads, thread_name_prefix="launches") as pool:
        yield from pool.map(work, pieces(count, threads, most))
