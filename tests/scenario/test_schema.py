"""The JSON Schema agrees with the reader."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

import pytest

from simlaunch.scenario.schema import SCHEMA_ID, json_schema


def _properties(schema: dict[str, Any]) -> Iterator[tuple[str, str, dict[str, Any]]]:
    for model, definition in {"Scenario": schema, **schema["$defs"]}.items():
        for name, entry in definition.get("properties", {}).items():
            yield model, name, entry


def test_it_is_versioned_and_plain_json() -> None:
    schema = json_schema()
    assert schema["$id"] == SCHEMA_ID == "urn:simlaunch:scenario:1"
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert json.loads(json.dumps(schema, allow_nan=False)) == schema


def test_every_key_is_described_and_every_default_has_an_origin() -> None:
    for model, name, entry in _properties(json_schema()):
        assert entry.get("description"), f"{model}.{name}"
        if entry.get("default") is not None and name != "kind":
            assert entry.get("origin"), f"{model}.{name}"


def test_unknown_keys_are_closed_out() -> None:
    schema = json_schema()
    assert schema["additionalProperties"] is False
    objects = [entry for entry in schema["$defs"].values() if entry.get("type") == "object"]
    assert len(objects) == 32
    assert all(entry["additionalProperties"] is False for entry in objects)


@pytest.mark.parametrize("model", ["Body", "Tyre", "Gearbox", "Curve"])
def test_a_table_may_name_a_file_instead(model: str) -> None:
    definition = json_schema()["$defs"][model]
    assert "file" in definition["properties"]
    assert definition["anyOf"][1] == {"required": ["file"]}


def test_quantities_tell_range_and_units() -> None:
    mass = json_schema()["$defs"]["Body"]["properties"]["mass"]
    assert mass["type"] == "string"
    assert mass["$comment"] == "a mass from 100 kg to 20 t; units: kg, g, t, lb"


def test_a_constant_or_a_table_is_allowed_where_the_reader_allows_both() -> None:
    overrun = json_schema()["$defs"]["Engine"]["properties"]["overrun_torque"]
    assert [choice["type"] for choice in overrun["anyOf"]] == ["string", "array"]
