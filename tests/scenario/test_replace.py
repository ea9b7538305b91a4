"""A scenario with other values is the one that a file with these values gives, with the same errors."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tomlkit

from scenario.values import number_keys, value_of
from simlaunch.errors import ScenarioError, UsageError
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.reading import from_mapping, load
from simlaunch.scenario.replacing import with_gear_sets, with_sections

SCENARIOS = sorted((Path(__file__).parents[2] / "scenarios").glob("*.toml"))
COUPE = load(SCENARIOS[0].with_name("road-coupe.toml"))

KINDS: tuple[dict[str, object], ...] = (
    {"gearbox.shift": {"kind": "torque dip"}, "gearbox.shift.dip": "30 %"},
    {"gearbox.shift.kind": "torque hand-over"},
    {"coupling": {"kind": "friction clutch", "capacity": "700 N m"}},
    {"tyres": {"both": {"size": "225/45 R17", "friction": "1.1"}}, "tyres.both.friction": "1.2"},
    {"road": {"surface": "wet asphalt"}, "road.grade": "3 deg"},
    {"drive": {"driven": "all", "front_share": "30 %"}},
    {"run.until": ["100 km/h"], "run.marks": ["50 m"]},
    {"limits.torque": "500 N m"},
    {"uncertain": [{"key": "body.mass", "kind": "normal", "deviation": "1 kg", "origin": "invented"}]},
    {"uncertain": [{"key": "body", "kind": "normal", "deviation": "1 kg", "origin": "invented"}]},
    {"name": "Another", "note": "Another."},
    {"curves": [{"name": "a", "points": [["1000 rpm", "0 N m"], ["9000 rpm", "0 N m"]]}]},
    {"engine.idle": "9000 rpm", "launch.engine_speed": "20 rpm", "body.mass": "1500 kg"},
    {"body.mass": "1 kg", "engine.idle": "9000 rpm"},
    {"body.mass": 1500, "gearbox.final_drive": None},
    {"gearbox.ratios": ["3", "2"], "coupling.engagement_time": "1 s", "coupling.lock_up_gear": "2"},
)


def _in_full(scenario: Scenario, changes: Mapping[str, object]) -> Scenario:
    """The values put into the text of all others, which is then read like a file."""
    data: dict[str, Any] = scenario.model_dump(exclude_unset=True)
    for path, value in changes.items():
        *tables, key = path.split(".")
        table = data
        for name in tables:
            table[name] = table = dict(table.get(name) or {})
        table[key] = value
    return from_mapping(data, f"{scenario.name}, changed")


def _said(scenario: Scenario) -> tuple[dict[str, Any], dict[str, Any], Path | None]:
    return scenario.model_dump(exclude_unset=True), scenario.model_dump(), scenario.file


def _outcome(make: Any, scenario: Scenario, changes: Mapping[str, object]) -> object:
    try:
        return _said(make(scenario, changes))
    except ScenarioError as error:
        return str(error)


@pytest.mark.parametrize("path", SCENARIOS, ids=lambda path: path.stem)
def test_numbers_that_are_replaced_are_those_of_a_file(path: Path) -> None:
    rng, scenario, keys = np.random.default_rng(1), load(path), number_keys()
    refused = 0
    for key in [*keys, *keys[:60]]:
        several = [key, *rng.choice(keys, rng.integers(3)).tolist()]
        changes = {each: value_of(each, rng) for each in several}
        expected = _outcome(_in_full, scenario, changes)
        assert _outcome(Scenario.replace, scenario, changes) == expected
        refused += isinstance(expected, str)
    assert 20 < refused < len(keys) + 40  # values within their own bounds, and often at odds with the rest


@pytest.mark.parametrize("changes", KINDS, ids=lambda changes: ", ".join(changes))
@pytest.mark.parametrize("path", SCENARIOS[:2], ids=lambda path: path.stem)
def test_tables_lists_and_kinds_are_those_of_a_file(path: Path, changes: dict[str, object]) -> None:
    scenario = load(path)
    assert _outcome(Scenario.replace, scenario, changes) == _outcome(_in_full, scenario, changes)


@pytest.mark.parametrize("changes", [KINDS[12], {"body.mass": "1 kg"}, {"engine.rev_limit": "9900 rpm"}])
def test_errors_are_those_of_a_file(changes: dict[str, object], tmp_path: Path) -> None:
    document = tomlkit.parse(tomlkit.dumps(COUPE.model_dump(mode="json", exclude_unset=True, exclude_none=True)))
    for path, value in changes.items():
        table, _, key = path.partition(".")
        document[table][key] = value
    file = tmp_path / "changed.toml"
    file.write_text(tomlkit.dumps(document), "utf-8")
    with pytest.raises(ScenarioError) as of_file:
        load(file)
    with pytest.raises(ScenarioError) as of_values:
        COUPE.replace(changes)
    assert of_values.value.faults == of_file.value.faults


def test_a_number_is_replaced_without_reading_the_rest(monkeypatch: pytest.MonkeyPatch) -> None:
    """What makes it quick: no text but the new one is looked at, and one section is validated."""
    monkeypatch.setattr("simlaunch.scenario.replacing.from_mapping", None)
    for key in ("body.mass", "tyres.rear.friction", "gearbox.shift.gap"):
        own = COUPE.replace({key: {"body.mass": "1500 kg"}.get(key, "0.9" if "tyres" in key else "0.2 s")})
        untouched = [name for name in type(COUPE).model_fields if name != key.partition(".")[0]]
        assert all(getattr(own, name) is getattr(COUPE, name) for name in untouched)


def test_a_scenario_stays_as_it_is() -> None:
    before, surface = _said(COUPE), {"surface": "wet asphalt"}
    other = COUPE.replace({"road": surface, "road.grade": "1 %"}, name="Another")
    assert (other.name, other.road.surface, other.road.grade.text) == ("Another", "wet asphalt", "1 %")
    assert other.file is None
    assert _said(COUPE) == before
    assert surface == {"surface": "wet asphalt"}
    assert COUPE.replace(**{"body.mass": "1500 kg"}) == COUPE.replace({"body.mass": "1500 kg"})
    assert with_gear_sets(COUPE)["as described"] is COUPE


@pytest.mark.parametrize("path", ["body.masss", "mass", "body.mass.unit", "curves.name", "nothing.mass"])
def test_a_path_that_leads_nowhere_is_refused(path: str) -> None:
    with pytest.raises(UsageError):
        COUPE.replace({path: "1500 kg"})
    assert with_sections(COUPE, {path: "1500 kg"}) is None
