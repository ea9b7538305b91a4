"""A reader's own process, forked from one that has the libraries."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from nursery import ask
from simlaunch.readers import child

SERVE = "import sys; from simlaunch.readers.child import main; sys.exit(main({arguments!r}))"


def _forked(module: str, wanted: str, folder: Path, size: int) -> int:
    arguments = [module, str(folder / "input"), wanted, str(folder)]
    job = ask(SERVE.format(arguments=arguments), child._environment(folder), str(folder))
    return job.end()[0]


@pytest.fixture
def forked(monkeypatch: pytest.MonkeyPatch) -> None:
    """Have confined processes forked, which saves the start and the import of the library; they are confined alike."""
    if os.name == "posix":
        monkeypatch.setattr(child, "_run", _forked)
