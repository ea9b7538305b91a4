"""The JSON Schema agrees with the reader."""

from __future__ import annotations

import json
from collections.abc import Iterator
from functools import cache
from typing import Any

import pytest
from pydantic import TypeAdapter, ValidationError

from simlaunch.scenario.model import Scenario
from simlaunch.scenario.reading import from_mapping
from simlaunch.scenario.schema import SCHEMA_ID, _models_below, json_schema
from simlaunch.scenario.surroundings import Section
from simlaunch.units.quantity import Quantity

_schema = cache(json_schema)


def _properties(schema: dict[str, Any]) -> Iterator[tuple[str, str, dict[str, Any]]]:
    for model, definition in {"Scenario": schema, **schema["$defs"]}.items():
        for name, entry in definition.get("properties", {}).items():
            yield model, name, entry


def test_it_is_versioned_and_plain_json() -> None:
    schema = _schema()
    assert schema["$id"] == SCHEMA_ID == "urn:simlaunch:scenario:1"
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert json.loads(json.dumps(schema, allow_nan=False)) == schema


def test_every_key_is_described_and_every_default_has_an_origin() -> None:
    for model, name, entry in _properties(_schema()):
        assert entry.get("description"), f"{model}.{name}"
        if entry.get("default") is not None and name != "kind":
            assert entry.get("origin"), f"{model}.{name}"


def test_unknown_keys_are_closed_out() -> None:
    schema = _schema()
    assert schema["additionalProperties"] is False
    objects = [entry for entry in schema["$defs"].values() if entry.get("type") == "object"]
    assert len(objects) == 33
    assert all(entry["additionalProperties"] is False for entry in objects)


@pytest.mark.parametrize("model", ["Body", "Tyre", "Gearbox", "Curve"])
def test_a_table_may_name_a_file_instead(model: str) -> None:
    definition = _schema()["$defs"][model]
    assert "file" in definition["properties"]
    assert definition["anyOf"][1] == {"required": ["file"]}


def test_quantities_state_range_and_units() -> None:
    mass = _schema()["$defs"]["Body"]["properties"]["mass"]
    assert mass["type"] == "string"
    assert mass["$comment"] == "a mass from 100 kg to 20 t; units: kg, g, t, lb"


def test_a_constant_or_a_table_is_allowed_where_the_reader_allows_both() -> None:
    overrun = _schema()["$defs"]["Engine"]["properties"]["overrun_torque"]
    assert [choice["type"] for choice in overrun["anyOf"]] == ["string", "array"]


FIELDS = [
    pytest.param(model, name, id=f"{model.__name__}.{name}")
    for model in _models_below(Scenario)
    for name in model.model_fields
]


@pytest.mark.parametrize(("model", "name"), FIELDS)
def test_every_key_carries_an_example_that_it_takes(model: type[Section], name: str) -> None:
    schema = _schema()
    definition = schema if model is Scenario else schema["$defs"][model.__name__]
    field = model.model_fields[name]
    for example in definition["properties"][name]["examples"]:
        assert TypeAdapter(field.rebuild_annotation()).validate_python(example) is not None


def test_every_property_of_the_schema_carries_an_example() -> None:
    """Those that no model has as well, such as the name of a file."""
    assert [f"{model}.{name}" for model, name, entry in _properties(_schema()) if not entry.get("examples")] == []


def test_an_example_of_the_wrong_kind_is_not_taken() -> None:
    with pytest.raises(ValidationError):
        TypeAdapter(Scenario.model_fields["body"].rebuild_annotation()).validate_python({"mass": "1610 rpm"})


def test_the_example_of_the_whole_is_a_sound_scenario() -> None:
    (whole,) = _schema()["examples"]
    assert from_mapping(whole, "the example").curve_names == ("as delivered",)


def test_a_common_range_is_one_that_the_key_takes() -> None:
    """Each end is a value of the key; for numbers the default lies between them."""
    for model in _models_below(Scenario):
        for name, field in model.model_fields.items():
            extra = field.json_schema_extra
            ends = extra.get("common") if isinstance(extra, dict) else None
            if not ends:
                continue
            adapter = TypeAdapter(field.rebuild_annotation())
            low, high = (adapter.validate_python(end) for end in ends)  # type: ignore[union-attr]
            own = adapter.validate_python(field.default)
            if isinstance(own, Quantity):
                assert low.si <= own.si <= high.si, f"{model.__name__}.{name}"
            else:
                assert low != high, f"{model.__name__}.{name}"
