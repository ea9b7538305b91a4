"""A search for the highest plateau that is soon over."""

from __future__ import annotations

import pytest

from simlaunch.searching import plateau_search


def search_briefly(patch: pytest.MonkeyPatch) -> None:
    """Let a search try a tenth as much: for tests of words, files and JSON, not of what is found."""
    for name, count in {"FRONT": 13, "_GRID": 3, "_CLOSINGS": 1, "_GENERATIONS": 2, "_POLISHINGS": 1}.items():
        patch.setattr(plateau_search, name, count)
