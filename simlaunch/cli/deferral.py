"""Modules that run when something in them is first used, so that every `--help` is quick and imports stand at the top.

Inside `with deferred():` an import of a module of this package binds the module without running its file; the first
use of something in it runs the file. ``from simlaunch.analysis import worth`` therefore costs nothing until
``worth.worth(...)`` is called. ``from simlaunch.units.spelling import System`` uses `System` at once, and so runs the
file at once, as everywhere else.
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


class _Deferred(ModuleType):
    """A module whose file has not run yet."""

    def __init__(self, name: str) -> None:
        super().__init__(name)
        self._waiting: Loader | None = None
        self._turn = threading.RLock()

    def __getattr__(self, name: str) -> Any:
        with self._turn:
            loader, self._waiting = self._waiting, None  # before the file runs, since it may look at its own module
            if loader is not None:
                try:
                    loader.exec_module(self)
                except BaseException:
                    self._waiting = loader
                    raise
        return super().__getattribute__(name)


class _Later(Loader):
    """Makes a module, and leaves the running of its file to its first use."""

    def __init__(self, loader: Loader) -> None:
        self._loader = loader

    def create_module(self, spec: ModuleSpec) -> ModuleType:
        return _Deferred(spec.name)

    def exec_module(self, module: Any) -> None:
        module.__spec__.loader = module.__loader__ = self._loader  # sources and data files are asked of it
        module._waiting = self._loader


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
