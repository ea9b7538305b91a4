"""A search for the highest plateau that is soon over."""

from __future__ import annotations

import pytest

from simlaunch.searching import plateau_search


def search_briefly(patch: pytest.MonkeyPatch) -> None:
    """Let a search try a fifth as much: for tests of words, files and JSON, not of what is found."""
    patch.setattr(plateau_search, "_GENERATIONS", 2)
    patch.setattr(plateau_search, "_POLISHINGS", 1)
