"""Usual values of what no data sheet states, as read from `usual.toml`."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from itertools import accumulate
from pathlib import Path
from typing import Any


@dataclass(frozen=True)
class Usual:
    """A usual value as the table has it.

    Parameters
    ----------
    key : str
        Key path; `tyres` stands for the tyres of each axle.
    entry : mapping of str to Any
        What the table says.
    """

    key: str
    entry: Mapping[str, Any]

    def of(self, what: str, properties: Mapping[str, str]) -> str:
        """Value or either end of its range, for a car with some properties; empty where the table has none."""
        found = self.entry.get(what, "")
        return str(found[properties[self.entry["by"]]] if isinstance(found, dict) else found)

    def says(self, what: str) -> str:
        """Reason, place to look, origin, the property that it grows with, or the key under which it is uncertain."""
        return str(self.entry.get(what, ""))


@cache
def _tables() -> Mapping[str, Any]:
    return tomllib.loads(Path(__file__).with_name("usual.toml").read_text(encoding="utf-8"))


@cache
def usual_values() -> tuple[Usual, ...]:
    """Every usual value, the most important first."""
    return tuple(Usual(entry["key"], entry) for entry in _tables()["value"])


def converter() -> Mapping[str, list[str]]:
    """Shape of a torque converter: speed ratio, capacity factor over that at stall, torque ratio."""
    found: Mapping[str, list[str]] = _tables()["converter"]
    return found


@cache
def gearbox_kinds() -> Mapping[str, Mapping[str, Any]]:
    """Kinds of gearbox: the words for each, its usual first ratio, and its spread by the number of gears."""
    return {name: entry for name, entry in _tables()["gearbox"].items() if isinstance(entry, dict)}


def tyre_kinds() -> tuple[str, ...]:
    """Kinds of tyre, by their friction."""
    friction = next(each for each in usual_values() if each.key == "tyres.friction")
    return tuple(friction.entry["usual"])


def usual_ratios(kind: str, gears: int) -> tuple[float, ...]:
    """Usual gear ratios: steps that shrink by the same factor from the first to the last.

    Parameters
    ----------
    kind : str
        Kind of gearbox.
    gears : int
        Number of gears, 3 to 10.

    Returns
    -------
    tuple of float
        First gear first; first over last is the usual spread of that kind [-].

    Source: progressive steps, each from 1.2 to 1.8 (a page on gear steps); spreads are common practice.

    Examples
    --------
    >>> [round(ratio, 2) for ratio in usual_ratios("manual", 6)]
    [3.6, 2.25, 1.52, 1.11, 0.87, 0.73]
    """
    entry = gearbox_kinds()[kind]
    spread, steps = entry["spread"][str(gears)], gears - 1
    shrink = float(_tables()["gearbox"]["first_step_over_last"]) ** (-1.0 / max(steps - 1, 1))
    first_step = (spread / shrink ** (steps * (steps - 1) / 2)) ** (1.0 / steps)
    falling = [1.0 / (first_step * shrink**k) for k in range(steps)]
    return tuple(accumulate([float(entry["first"]), *falling], lambda ratio, step: ratio * step))
