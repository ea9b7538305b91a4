"""Every default that a scenario leans on, with where it comes from."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from pydantic.fields import FieldInfo

from simlaunch.scenario.model import Mark, Scenario
from simlaunch.scenario.surroundings import Section
from simlaunch.units.quantity import Quantity


@dataclass(frozen=True)
class Default:
    """A default in use: its key path, its value as text, where it comes from, and the ends of its common range."""

    key: str
    value: str
    origin: str
    common: tuple[str, ...] = ()


def defaults(scenario: Scenario) -> tuple[Default, ...]:
    """Defaults that stand in for keys left out, in the order of the model.

    Parameters
    ----------
    scenario : Scenario
        A sound scenario.

    Returns
    -------
    tuple of Default
        Values that were worked out, such as the pressure at an altitude, count as defaults too.
    """
    return tuple(_of_section(scenario, ""))


def _of_section(section: Section, prefix: str) -> Iterator[Default]:
    for name, field in type(section).model_fields.items():
        value = getattr(section, name)
        if isinstance(value, Section):
            yield from _of_section(value, f"{prefix}{name}.")
        elif name not in section.model_fields_set:
            yield from _of_key(section, name, field, prefix)


def _of_key(section: Section, name: str, field: FieldInfo, prefix: str) -> Iterator[Default]:
    worked_out = section.derived().get(name)
    extra = field.json_schema_extra
    if name in section.unused():
        return
    if worked_out:
        yield Default(prefix + name, worked_out.text, worked_out.origin, worked_out.common)
    elif isinstance(extra, dict) and "origin" in extra:
        common = extra.get("common")
        ends = tuple(map(str, common)) if isinstance(common, list) else ()
        yield Default(prefix + name, _shown(getattr(section, name)), str(extra["origin"]), ends)


def _shown(value: object) -> str:
    """Value as it would be typed; a table of one point is a constant."""
    if isinstance(value, Quantity | Mark):
        return value.text
    if isinstance(value, tuple) and len(value) == 1:
        inner = value[0]
        return _shown(inner[-1] if isinstance(inner, tuple) else inner)
    if isinstance(value, tuple):
        return ", ".join(map(_shown, value)) or "none"
    return str(value)
