"""Every default that a scenario leans on, with where it comes from."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from pydantic.fields import FieldInfo

from simlaunch.scenario.model import Mark, Scenario, two_wheels
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
        Values that were worked out, such as the pressure at an altitude, count as defaults too. Keys of the two wheels
        of an axle follow last.
    """
    return (*_of_section(scenario, ""), *_of_wheels(scenario))


_ALIKE = "assumption: grip of the road as a whole"


def _of_wheels(scenario: Scenario) -> Iterator[Default]:
    """What stands in for keys of the two wheels of an axle where others of them make the wheels two."""
    if not two_wheels(scenario):
        return
    road, body, drive = scenario.road, scenario.body, scenario.drive
    if road.left_friction_factor and not road.right_friction_factor:
        yield Default("road.right_friction_factor", "1", _ALIKE)
    if road.right_friction_factor and not road.left_friction_factor:
        yield Default("road.left_friction_factor", "1", _ALIKE)
    if body.left_weight_share is None:
        origin = "assumption: as much weight on the left as on the right"
        yield Default("body.left_weight_share", "50 %", origin, ("48 %", "52 %"))
    if drive.locking is None:
        yield Default("drive.locking", "0 %", "common practice: open differentials", ("0 %", "40 %"))
    elif drive.locking_preload is None and drive.locking.si < 1.0:
        yield Default("drive.locking_preload", "0 N m", "assumption: the differential is not preloaded")


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
