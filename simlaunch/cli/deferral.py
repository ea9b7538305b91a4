"""Modules that run when something in them is first used, so that every `--help` is quick and imports stand at the top.

Inside `with deferred():` an import of a module of this package binds the module without running its file; the first
use of something in it runs the file. ``from simlaunch.analysis import worth`` therefore costs nothing until
``worth.worth(...)`` is called. ``from simlaunch.units.spelling import System`` uses `System` at once, and so runs the
file at once, as everywhere else.

`importlib.util.LazyLoader` is not used: in Python 3.11 it hands half-run modules to other threads, takes a module that
failed for one that ran, and runs a file as soon as a second import asks the module for its `__spec__`.
"""

from __future__ import annotations

import contextlib
import sys
import threading
from collections.abc import Iterator, Sequence
from importlib.abc import Loader, MetaPathFinder
from importlib.machinery import ModuleSpec, PathFinder
from types import ModuleType
from typing import Any

_PACKAGE = "simlaunch"
_WITHOUT_RUNNING = frozenset((
    "__class__", "__file__", "__loader__", "__name__", "__package__", "__path__", "__spec__",
))  # fmt: skip
"""What imports ask of every module."""


class _Waiting:
    """How a module is run, once, by one thread while others wait.

    Each module has a lock of its own. Threads cannot block each other with them as long as modules import each other
    in one direction only, as the layers do.
    """

    def __init__(self, loader: Loader) -> None:
        self.loader, self.turn, self.running = loader, threading.RLock(), False


class _Deferred(ModuleType):
    """A module whose file has not run yet; it becomes a plain one when it has."""

    def __getattribute__(self, name: str) -> Any:
        if name not in _WITHOUT_RUNNING:
            _run(self)
        return ModuleType.__getattribute__(self, name)


def _run(module: Any) -> None:
    """Run the file of a module, or wait until another thread has run it."""
    waiting = module.__spec__.loader_state if module.__spec__ else None
    if not isinstance(waiting, _Waiting):  # run by a reload
        module.__class__ = ModuleType
        return
    with waiting.turn:
        looked_at = waiting.running  # by itself, as it runs in this thread
        if looked_at or type(module) is ModuleType:
            return
        waiting.running = True
        held = module.__dict__
        before = dict(held)
        try:
            waiting.loader.exec_module(module)
            module.__class__ = ModuleType
        except BaseException:  # nothing of a file that failed is left to be used
            for name in held.keys() - before.keys():
                del held[name]
            held.update(before)
            raise
        finally:
            waiting.running = False


def has_run(module: ModuleType) -> bool:
    """Whether the file of a module has run, to its end."""
    return type(module) is ModuleType


class _Later(Loader):
    """Leaves the running of a file to the first use of its module."""

    def __init__(self, loader: Loader) -> None:
        self._loader = loader

    def create_module(self, spec: ModuleSpec) -> ModuleType | None:
        return self._loader.create_module(spec)

    def exec_module(self, module: Any) -> None:
        module.__spec__.loader = module.__loader__ = self._loader  # sources and data files are asked of it
        module.__spec__.loader_state = _Waiting(self._loader)
        module.__class__ = _Deferred


class _Finder(MetaPathFinder):
    """Finds the modules of this package as the interpreter does, to be run later."""

    def find_spec(self, fullname: str, path: Sequence[str] | None, target: ModuleType | None = None) -> Any:
        if fullname.partition(".")[0] != _PACKAGE:
            return None
        spec = PathFinder.find_spec(fullname, path, target)
        if spec is not None and spec.loader is not None:
            spec.loader = _Later(spec.loader)
        return spec


@contextlib.contextmanager
def deferred() -> Iterator[None]:
    """Let modules of this package that are imported inside run at their first use."""
    finder = _Finder()
    sys.meta_path.insert(0, finder)
    try:
        yield
    finally:
        sys.meta_path.remove(finder)
