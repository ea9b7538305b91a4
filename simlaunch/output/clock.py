"""How times are named that are counted from the first foot, and where time zero is (`logged.clock`)."""

from __future__ import annotations

from math import isfinite

from simlaunch.launching.goals import target_label
from simlaunch.logged.clock import from_foot
from simlaunch.metrics.marks import Target
from simlaunch.output.words import Numbers
from simlaunch.units.spelling import Dimension

FROM_FOOT = (
    "1 ft: the time begins where the car has moved one foot (rollout), since noise hides when a logged car moves off."
)


def row_label(target: Target) -> str:
    """Name of a mark in a table."""
    return f"{target_label(target)}, 1 ft" if from_foot(target) else target_label(target)


def mark_name(target: Target) -> str:
    """Name of a mark in a sentence."""
    return f"{target_label(target)} with 1 ft rollout" if from_foot(target) else target_label(target)


def time_zero(aligned_at: float, known_to: float, numbers: Numbers) -> str:
    """Where time zero of logs is, and how well they show it."""
    if aligned_at:
        return f"Time zero: the car passes {numbers.with_unit(aligned_at, Dimension.SPEED)}."
    known = f", known to {known_to:.3f} s in the logs" if isfinite(known_to) else ""
    return f"Time zero: the car has moved one foot{known}."
