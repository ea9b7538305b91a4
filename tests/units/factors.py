"""Factors of every unit that may be typed, from pint, and the file of the package that holds them.

`python tests/units/factors.py` writes the file anew, after a change of `spellings.toml`.
"""

from __future__ import annotations

import json
from pathlib import Path

import pint

from simlaunch.units.spelling import kinds

KEPT = Path(__file__).parents[2] / "simlaunch/units/factors.json"

_REGISTRY = pint.UnitRegistry[float]()


def factors() -> dict[str, dict[str, tuple[float, float]]]:
    """Scale and offset that take a value in each unit to the SI unit of its kind."""
    return {
        name: {spelling: _factor(unit, kind.si) for spelling, unit in kind.spelling.items()}
        for name, kind in kinds().items()
    }


def _factor(unit: str, si: str) -> tuple[float, float]:
    zero, one, far = (float(_REGISTRY.Quantity(number, unit).to(si).magnitude) for number in (0.0, 1.0, 2.0**20))
    return ((far - zero) / 2.0**20 if zero else one), zero  # a far point, so that an offset costs no digits


def _text() -> str:
    kind_by_kind = (
        f'  "{name}": {{\n'
        + ",\n".join(f"    {json.dumps(unit)}: {json.dumps(pair)}" for unit, pair in units.items())
        + "\n  }"
        for name, units in factors().items()
    )
    return "{\n" + ",\n".join(kind_by_kind) + "\n}\n"


if __name__ == "__main__":
    KEPT.write_text(_text(), "utf-8")
