"""Unbroken stretches of what holds, along samples or bands."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


def stretches_of(holds: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """First place of every unbroken stretch that holds, and the one behind its last."""
    edges = np.flatnonzero(np.diff(np.r_[False, holds, False]))
    return [(int(first), int(behind)) for first, behind in edges.reshape(-1, 2)]
