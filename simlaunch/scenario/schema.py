"""What the model says about itself: its JSON Schema, the keys of a table, how to write a missing key."""

from __future__ import annotations

import inspect
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Literal, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo
from pydantic_core import PydanticCustomError

from simlaunch.scenario.model import Mark, Scenario
from simlaunch.scenario.surroundings import Section
from simlaunch.units.field import Within
from simlaunch.units.gate import example, phrase

SCHEMA_ID = "urn:simlaunch:scenario:1"
FILE_SECTIONS = ("body", "air", "road", "drive", "engine", "coupling", "gearbox", "launch", "pedal")
"""Sections that may stand in a file of their own; so may each table of `tyres` and of `curves`."""

_FILE_MODELS = (
    "Body", "Air", "Road", "Drive", "Engine", "FrictionClutch", "TorqueConverter", "Gearbox", "Launch",
    "PedalSettings", "Tyre", "Curve", "GearSet", "GearLimit", "LimitCurve",
)  # fmt: skip


def json_schema() -> dict[str, Any]:
    """JSON Schema of a scenario file, draft 2020-12.

    Returns
    -------
    dict
        With a versioned `$id` of our own, and examples for every key.
    """
    schema = Scenario.model_json_schema()
    for model in _models_below(Scenario):
        definition = schema if model is Scenario else schema["$defs"][model.__name__]
        for name, field in model.model_fields.items():
            definition["properties"][name]["examples"] = field.examples or [example_of(field)]
    schema["examples"] = [example_table(Scenario)]
    for name in _FILE_MODELS:
        _allow_file(schema["$defs"][name])
    head = {"$schema": "https://json-schema.org/draft/2020-12/schema", "$id": SCHEMA_ID}
    return {**head, **schema}


_EITHER = {
    "Tyre": ("size",),
    "Tyres": ("both",),
    "TyreSet": ("both",),
    "RoadSurface": ("surface",),
    "Uncertain": ("low", "high"),
    "CurveLimits": ("power",),
}
"""Keys that an example of a table needs beside those that are always required."""


def _models_below(model: type[BaseModel], seen: set[type[BaseModel]] | None = None) -> Iterator[type[BaseModel]]:
    """A model and every model of the tables below it, each once."""
    found = set() if seen is None else seen
    found.add(model)
    yield model
    for field in model.model_fields.values():
        for part in _of_field(field):
            if _is_model(part) and part not in found:
                yield from _models_below(part, found)  # type: ignore[arg-type]


def example_table(model: type[BaseModel]) -> dict[str, Any]:
    """A table with the keys that it needs, each with its example.

    Parameters
    ----------
    model : type
        Model of the table.

    Returns
    -------
    dict of str to Any
        As a TOML file would hold it; the table of a whole scenario is a sound one.
    """
    wanted = _EITHER.get(model.__name__, ())
    fields = model.model_fields.items()
    return {name: example_of(field) for name, field in fields if field.is_required() or name in wanted}


def example_of(field: FieldInfo) -> Any:
    """A value that a key takes, as a TOML file would hold it; of a table that comes in several kinds, the first."""
    if field.examples:
        return field.examples[0]
    parts = _of_field(field)
    model = next((part for part in parts if _is_model(part)), None)
    if model is None:
        return next(choice for part in parts if get_origin(part) is Literal for choice in get_args(part))
    table = example_table(model)  # type: ignore[arg-type]
    return [table] if tuple in map(get_origin, parts) else table


def _allow_file(definition: dict[str, Any]) -> None:
    """Let a table name a file that holds its keys, in which case none of them is required here."""
    definition["properties"]["file"] = {
        "type": "string",
        "description": "File with the keys of this table, by relative path below the scenario's folder.",
        "examples": ["tyres/road.toml"],
    }
    needed = definition.pop("required", [])
    if needed:
        definition["anyOf"] = [{"required": needed}, {"required": ["file"]}]


def keys(path: Sequence[str | int]) -> tuple[str, ...]:
    """Keys that a table may have.

    Parameters
    ----------
    path : sequence of str or int
        Where the table stands, in pydantic's manner; kinds of coupling and of shift count as steps.

    Returns
    -------
    tuple of str
        Without `file`.
    """
    return tuple(name for model in _models_at(path) for name in model.model_fields)


def quantity_at(path: str) -> Within | None:
    """What a key takes that holds a single quantity.

    Parameters
    ----------
    path : str
        Key path, such as ``body.mass``.

    Returns
    -------
    Within or None
        Kind of quantity and bounds; None for a key that holds anything else, holds lists only, lies in a list, or is no
        key at all.
    """
    *tables, key = path.split(".")
    top = Scenario.model_fields.get(tables[0]) if tables else None
    if top and tuple in map(get_origin, _of_field(top)):
        return None
    fields = [model.model_fields[key] for model in _models_at(tables) if key in model.model_fields]
    return next((within for field in fields for within in _of_one(field)), None)


def field_at(path: str) -> FieldInfo | None:
    """Field of the model at a key path, in which kinds of coupling and of shift count as steps; None for no key."""
    *tables, key = path.split(".")
    return next((model.model_fields[key] for model in _models_at(tables) if key in model.model_fields), None)


def kinds(path: Sequence[str | int]) -> tuple[str, ...]:
    """Choices for the key `kind` of a table that comes in several kinds."""
    return tuple(kind for model in _models_at(path) if (kind := _kind(model)))


def how_to_add(path: Sequence[str | int]) -> str:
    """What to write for a key that is missing, as an example.

    Parameters
    ----------
    path : sequence of str or int
        Path of the missing key.

    Returns
    -------
    str
        Such as ``add mass = "1610 kg"``.
    """
    key = str(path[-1])
    fields = [model.model_fields[key] for model in _models_at(path[:-1]) if key in model.model_fields]
    parts = [part for field in fields for part in _of_field(field)]
    texts = [text for field in fields for text in _samples(field)]
    if any(_is_model(part) for part in parts):
        table = ".".join(map(str, path))
        return f"add a table [[{table}]]" if tuple in map(get_origin, parts) else f"add the table [{table}]"
    if any(map(_of_one, fields)):
        parts = [part for part in parts if get_origin(part) is not tuple]  # one value is the shortest of its examples
    return f"add {key} = {_example(parts, texts)}"


def _samples(field: FieldInfo) -> list[str]:
    """A fitting value for each quantity that a field holds: its own, its default, or the example of its kind."""
    own = list(_texts(field.examples[0] if field.examples else field.default))
    limits = _limits(field)
    fitting = (next((text for text in own if _takes(limit, text)), None) for limit in limits)
    return [f'"{text}"' if text else example(limit.dimension) for limit, text in zip(limits, fitting, strict=True)]


def _texts(value: object) -> Iterator[str]:
    """Every text in a value, however deep in lists."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, list | tuple):
        for inner in value:
            yield from _texts(inner)


def _takes(limit: Within, text: str) -> bool:
    try:
        limit.parse(text)
    except PydanticCustomError:
        return False
    return True


def fitting(path: Sequence[str | int], instead: str) -> str:
    """What to write instead, the example of the kind of quantity replaced by one that fits the key.

    Parameters
    ----------
    path : sequence of str or int
        Path of the key, in pydantic's manner.
    instead : str
        What the reader of quantities proposes.

    Returns
    -------
    str
        The same where no example stands in it.
    """
    key = next((str(step) for step in reversed(path) if isinstance(step, str)), "")
    tables = path[: len(path) - list(reversed(path)).index(key) - 1] if key in path else ()
    for field in (model.model_fields[key] for model in _models_at(tables) if key in model.model_fields):
        limits = _limits(field)
        for limit, text in zip(limits, _samples(field), strict=True):
            instead = instead.replace(f"such as {example(limit.dimension)}", f"such as {text}")
    return instead


def _example(parts: list[object], samples: list[str]) -> str:
    choices = [choice for part in parts if get_origin(part) is Literal for choice in get_args(part)]
    if choices:
        return " or ".join(f'"{choice}"' if isinstance(choice, str) else str(choice) for choice in choices)
    texts = ", ".join(samples)
    if not texts:
        return '"..."'
    return {1: f"[{texts}, ...]", 2: f"[[{texts}], ...]"}[len(samples)] if tuple in map(get_origin, parts) else texts


def _parts(hint: object, leave_out: object = None) -> Iterator[object]:
    """A type hint and everything inside it, what is attached to it as well; nothing from inside what is left out."""
    yield hint
    if get_origin(hint) not in (Literal, leave_out):
        for inner in get_args(hint):
            yield from _parts(inner, leave_out)


def _of_field(field: FieldInfo) -> list[object]:
    return [*_parts(field.annotation), *field.metadata]


def _of_one(field: FieldInfo) -> list[Within]:
    """What a field takes as a single quantity, whether or not it takes a list as well."""
    parts = (*_parts(field.annotation, leave_out=tuple), *field.metadata)
    return [part for part in parts if isinstance(part, Within)]


def _limits(field: FieldInfo) -> list[Within]:
    """Kinds of quantity that a field takes: of one alone where it takes one, or else of a list."""
    return _of_one(field) or [part for part in _of_field(field) if isinstance(part, Within)]


def _is_model(part: object) -> bool:
    return inspect.isclass(part) and issubclass(part, Section)


def _kind(model: type[BaseModel]) -> str:
    field = model.model_fields.get("kind")
    return str(get_args(field.annotation)[0]) if field else ""


def _models_at(path: Sequence[str | int]) -> list[type[BaseModel]]:
    """Models that may stand at a path; several where the kind is not settled."""
    models: list[type[BaseModel]] = [Scenario]
    for step in path:
        if isinstance(step, int):
            continue
        of_kind = [model for model in models if _kind(model) == step]
        models = of_kind or [
            part  # type: ignore[misc]
            for model in models
            if step in model.model_fields
            for part in _of_field(model.model_fields[step])
            if _is_model(part)
        ]
    return models


@dataclass(frozen=True)
class Key:
    """One key of a table, in the words and spellings of the model."""

    name: str
    required: bool
    takes: str
    """Kind of quantity with its range, or the choices."""
    default: str
    """As it would be typed; empty without a default."""
    origin: str
    """Where the default comes from."""
    examples: tuple[str, ...]
    meaning: str


@dataclass(frozen=True)
class Table:
    """One table of a scenario file: its heading, what it is, and its keys."""

    heading: str
    meaning: str
    keys: tuple[Key, ...]


def tables() -> Iterator[Table]:
    """Every table of a scenario, in the order of the model; a table that comes in several kinds stands once for each.

    Yields
    ------
    Table
        Without `note`, which every table may have.
    """
    yield from _tables_below(Scenario, "", listed=False, seen=set())


def _tables_below(model: type[BaseModel], path: str, *, listed: bool, seen: set[type[BaseModel]]) -> Iterator[Table]:
    inner = {name: [part for part in _of_field(field) if _is_model(part)] for name, field in model.model_fields.items()}
    single = tuple(_key(name, model.model_fields[name]) for name in inner if not inner[name] and name != "note")
    if single:
        brackets = f"[[{path}]]" if listed else f"[{path}]"
        kind = f', kind = "{_kind(model)}"' if _is_one_of_several(model) else ""
        yield Table(f"{brackets if path else 'Top of the file'}{kind}", inspect.getdoc(model) or "", single)
    for name, parts in inner.items():
        is_list = tuple in map(get_origin, _of_field(model.model_fields[name]))
        for part in parts:
            if part not in seen:
                place = f"{path}.{name}" if path else name
                nested = seen | {part}
                yield from _tables_below(part, place, listed=is_list, seen=nested)  # type: ignore[arg-type]


def _is_one_of_several(model: type[BaseModel]) -> bool:
    field = model.model_fields.get("kind")
    return field is not None and len(get_args(field.annotation)) == 1


def _key(name: str, field: FieldInfo) -> Key:
    extra = field.json_schema_extra
    origin = str(extra.get("origin", "")) if isinstance(extra, dict) else ""
    default = "" if field.is_required() or field.default is None else typed(field.default)
    own = [example for example in field.examples or () if example != field.default]
    examples = tuple(map(typed, own))
    return Key(name, field.is_required(), _takes_in_words(field), default, origin, examples, field.description or "")


def typed(value: object) -> str:
    """A value as it would be typed into a scenario file."""
    if isinstance(value, list | tuple):
        return f"[{', '.join(map(typed, value))}]"
    return f'"{value}"' if isinstance(value, str) else str(value)


def _takes_in_words(field: FieldInfo) -> str:
    parts = _of_field(field)
    limits, one = _limits(field), bool(_of_one(field))
    choices = [typed(str(choice) if isinstance(choice, str) else choice) for part in parts for choice in _choices(part)]
    quantities = [f"{phrase(kind)} from {low} to {high}" for each in limits for kind, low, high in each.ranges]
    if len(limits) == 2 and not choices and not one:
        words = f"a list of pairs, {' and '.join(quantities)}"
    else:
        words = " or ".join(dict.fromkeys([*choices, *quantities])) or _other_kind(parts)
    several = tuple in map(get_origin, parts) and len(limits) != 2
    if several and one:
        return f"{words}, or a list of such"
    return f"a list, each {words}" if several else words


def _choices(part: object) -> tuple[Any, ...]:
    if get_origin(part) is Literal:
        return get_args(part)
    return tuple(part) if inspect.isclass(part) and issubclass(part, StrEnum) else ()


def _other_kind(parts: list[object]) -> str:
    return "a distance, a speed, or a span of either" if Mark in parts else "text"
