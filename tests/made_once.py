"""Studies that are made once where several tests ask for the same: for tests of words, files, JSON and exit codes."""

from __future__ import annotations

import pickle
from collections.abc import Iterator
from contextlib import contextmanager
from types import ModuleType
from typing import Any

import pytest


def _remember(patch: pytest.MonkeyPatch, module: ModuleType, name: str) -> None:
    """Let a study answer what it has answered before with the same result; only the first call counts its launches."""
    study, known = getattr(module, name), {}

    def answered(*given: Any, watch: Any = None, **options: Any) -> Any:
        call = pickle.dumps((given, sorted(options.items())))
        if call not in known:
            known[call] = study(*given, **options, **({"watch": watch} if watch else {}))
        return known[call]

    patch.setattr(module, name, answered)


@contextmanager
def made_once(**modules: ModuleType) -> Iterator[None]:
    """Within this block each of these modules makes no study twice; modules are given by the names of their studies."""
    with pytest.MonkeyPatch.context() as patch:
        for name, module in modules.items():
            _remember(patch, module, name)
        yield
