"""How far a study is: launches that are done, of those that it expects to make.

A study that takes long opens a `Following` with whoever watches; whatever makes many launches at once counts them. The
count belongs to the context of the study, so that two studies at the same time do not mix theirs.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from threading import Lock

Watch = Callable[[int, int], None]
"""Receives how many launches are done, and how many are expected in all; the second may change on the way."""


class Following:
    """Launches of one study.

    Parameters
    ----------
    watch : callable
        Receives the counts.
    expected : int
        Launches that the study expects to make.
    """

    def __init__(self, watch: Watch, expected: int) -> None:
        self._watch, self.done, self.expected, self.later = watch, 0, expected, 0
        self._turn = Lock()  # parts of a study may launch at the same time

    def add(self, launches: int) -> None:
        """Count launches that are done."""
        with self._turn:
            self.done += launches
            self.expected = max(self.expected, self.done + self.later)
            self._watch(self.done, self.expected)

    def expect(self, further: int) -> None:
        """State how many launches are still to come, where that is known better by now."""
        self.expected = self.done + further + self.later


_now: ContextVar[Following | None] = ContextVar("following", default=None)


@contextmanager
def following(watch: Watch | None, expected: int) -> Iterator[None]:
    """Count the launches of a study within a block; nothing is counted without anybody who watches.

    Parameters
    ----------
    watch : callable or None
        Receives the counts.
    expected : int
        Launches that the study expects to make.
    """
    if watch is None:
        yield
        return
    token = _now.set(Following(watch, expected))
    try:
        yield
    finally:
        _now.reset(token)


def count(launches: int) -> None:
    """Count launches that are done, if anybody watches."""
    if (current := _now.get()) is not None:
        current.add(launches)


def expect(further: int) -> None:
    """State how many launches are still to come, if anybody watches."""
    if (current := _now.get()) is not None:
        current.expect(further)


@contextmanager
def before(launches: int) -> Iterator[None]:
    """A part of a study after which so many launches are still to come, whatever the part itself expects."""
    current = _now.get()
    if current is None:
        yield
        return
    current.later += launches
    try:
        yield
    finally:
        current.later -= launches
