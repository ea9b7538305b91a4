"""The map of keys to fields: complete, and the same for one car as for many."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from scenario.values import number_keys, value_of
from simlaunch.errors import InputError
from simlaunch.parameters.fill import lower, vary
from simlaunch.parameters.table import ROWS
from simlaunch.record import CAR, CURVE, FIXED, TABLE, Pedal
from simlaunch.scenario.reading import load
from simlaunch.uncertainty.draws import own_value

SCENARIOS = sorted((Path(__file__).parents[2] / "scenarios").glob("*.toml"))

_WORKED_OUT = ("slip_damping", "per_load", "per_shape", "per_inertia")
NO_KEYS = {
    "pedal.kind",  # chosen with the launch
    "launch.roll_speed", "launch.roll_gear", "launch.roll_boost", "launch.hold_gear",  # a target starts the launch
    "launch.brake_front", "launch.brake_rear", "gearbox.shift_road_speed", "front.outer_curve", "rear.outer_curve",
    *(f"{end}.{name}" for end in ("front", "rear") for name in _WORKED_OUT),
    *(f"fixed.{name}" for name in FIXED.names or ()),
}  # fmt: skip
"""Fields that no key of a scenario goes into: chosen by a call, or worked out by the launch."""

NO_FIELDS = {"engine.displacement"}
"""Keys of numbers that no launch depends on: only the mean effective pressure does."""


def _fields(record: np.dtype[np.void], path: str) -> Iterator[str]:
    for name in record.names or ():
        inner = record[name]
        yield from _fields(inner, f"{path}{name}.") if inner.names and inner not in (CURVE, TABLE) else [path + name]


def test_every_field_has_one_row() -> None:
    rows = [row.field for row in ROWS]
    assert len(rows) == len(set(rows))
    assert set(rows) == set(_fields(CAR, "")) - NO_KEYS


def test_every_number_of_a_scenario_goes_into_the_record() -> None:
    read = {key for row in ROWS for key in row.keys}
    assert {key for key in number_keys() if ".both." not in key} - read == NO_FIELDS


@pytest.mark.parametrize("path", SCENARIOS, ids=lambda path: path.stem)
def test_columns_of_values_fill_the_cars_that_single_readings_give(path: Path) -> None:
    """Bit for bit, for every key that the scenario takes; other fields stay as they are."""
    rng, scenario = np.random.default_rng(3), load(path)
    curve, tried = scenario.curve_names[0], 0
    for key in set(number_keys()) - NO_FIELDS:
        singles = []
        for _ in range(4):
            try:
                singles.append(scenario.replace({key: value_of(key, rng)}))
            except InputError:
                continue
        singles = [single for single in singles if single.road.grade.dimension is singles[0].road.grade.dimension]
        if not singles:
            continue
        cars = np.array([lower(scenario, curve, Pedal.FULL)] * len(singles), CAR)
        values = np.array([own_value(single, key) for single in singles])
        broken = vary(cars, singles[0], {key: values}, curve=curve)
        for car, single in zip(cars, singles, strict=True):
            assert car.tobytes() == lower(single, curve, Pedal.FULL).tobytes(), key
        assert not broken.any()
        tried += 1
    assert tried > 50


def test_numbers_at_odds_are_found_in_columns() -> None:
    """As reading finds them, value by value."""
    scenario = load(SCENARIOS[0].with_name("all-drive-saloon.toml"))
    rng = np.random.default_rng(5)
    unit = {"engine.idle": "rpm", "engine.rev_limit": "rpm", "launch.engine_speed": "rpm", "engine.limiter_band": "rpm",
            "body.cg_height": "m", "coupling.lock_up_gear": ""}  # fmt: skip
    drawn = {
        "engine.idle": rng.uniform(600.0, 4000.0, 300), "engine.rev_limit": rng.uniform(3500.0, 7500.0, 300),
        "launch.engine_speed": rng.uniform(600.0, 6000.0, 300), "engine.limiter_band": rng.uniform(1.0, 1000.0, 300),
        "body.cg_height": rng.uniform(0.3, 2.0, 300), "coupling.lock_up_gear": rng.integers(1, 12, 300).astype(float),
    }  # fmt: skip
    for keys in [[key] for key in drawn] + [list(drawn)[:4], list(drawn)]:
        texts = [{key: f"{drawn[key][n]:.6f} {unit[key]}".strip() for key in keys} for n in range(300)]
        columns = {key: np.array([float(text[key].split()[0]) for text in texts]) for key in keys}
        si = {key: values * (np.pi / 30.0 if unit[key] == "rpm" else 1.0) for key, values in columns.items()}
        cars = np.array([lower(scenario, scenario.curve_names[0], Pedal.FULL)] * 300, CAR)
        broken = vary(cars, scenario, si)
        refused = []
        for text in texts:
            try:
                scenario.replace(text)
            except InputError:
                refused.append(True)
            else:
                refused.append(False)
        assert broken.tolist() == refused
        assert 0 < sum(refused) < 300 or keys == ["engine.limiter_band"]
