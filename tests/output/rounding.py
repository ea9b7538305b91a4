"""Whether a number of a sentence is one of a table, rounded."""

from __future__ import annotations

from collections.abc import Iterable


def stands_in(told: str, shown: Iterable[str]) -> bool:
    """Whether some number of a table is as it is printed, or comes to it when it is rounded half up or down."""
    digits = len(told.partition(".")[2])
    half = 0.5 * 10.0**-digits
    for each in shown:
        finer = len(each.partition(".")[2]) > digits
        if each == told or (finer and abs(float(each) - float(told)) <= half + 1e-9):
            return True
    return False
