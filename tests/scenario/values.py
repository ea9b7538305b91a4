"""Every key of a scenario that holds one number, and values that it may have."""

from __future__ import annotations

import numpy as np

from simlaunch.scenario.schema import quantity_at, tables
from simlaunch.sweeping.axes import BESIDE_THE_LAUNCH
from simlaunch.units.quantity import to_si, unit_spelled
from simlaunch.units.spelling import kinds


def number_keys() -> list[str]:
    """Keys of numbers of the car, its surroundings and its launch."""
    single = [table for table in tables() if table.heading.startswith("[") and not table.heading.startswith("[[")]
    found = {f"{table.heading[1:].partition(']')[0]}.{key.name}" for table in single for key in table.keys}
    found |= {key.replace(".both.", f".{axle}.") for key in found for axle in ("front", "rear")}
    others = (*BESIDE_THE_LAUNCH, "correlation", "tyre_sets")
    return sorted(key for key in found if quantity_at(key) and key.partition(".")[0] not in others)


def value_of(key: str, rng: np.random.Generator) -> str:
    """A value as typed, in any of its units, within the bounds of the key by itself; often close to the lower one."""
    within = quantity_at(key)
    assert within is not None
    dimension, low, high = within.ranges[rng.integers(len(within.ranges))]
    spelling = str(rng.choice(list(kinds()[dimension].spelling)))
    unit = unit_spelled(spelling, dimension)
    ends = sorted(unit.of(to_si(end, dimension)) for end in (low, high))
    number = ends[0] + (ends[1] - ends[0]) * rng.random() ** rng.choice([1, 4])
    return f"{round(number) if within.whole else number:.8f} {spelling}".strip()
