"""A scenario with other values: only what they touch is checked anew, with the errors of a file that holds them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pydantic import ValidationError

from simlaunch.errors import ScenarioError, UsageError
from simlaunch.scenario.model import AS_DESCRIBED, Alternative, Scenario, disagreements
from simlaunch.scenario.reading import from_mapping, gear_faults, shown_faults, suggestion, uncertain_faults, validator
from simlaunch.scenario.schema import keys
from simlaunch.scenario.surroundings import Section
from simlaunch.units.gate import quoted


def replaced(scenario: Scenario, changes: Mapping[str, object]) -> Scenario:
    """The same scenario with some values replaced; see `Scenario.replace`."""
    made = with_sections(scenario, changes)
    if made is None:
        return _read_anew(scenario, changes)  # finds every fault; or a table has become one of another kind
    touched = {path.partition(".")[0] for path in changes}
    found = disagreements(vars(made), touched) or (uncertain_faults(made) if "uncertain" in touched else ())
    found = found or (tuple(gear_faults(made)) if "curves" in touched else ())
    if found:
        raise ScenarioError(_changed_name(scenario), shown_faults(found))
    return made


class _Below(dict[str, Any]):
    """New values below a table; a plain dict among them is a new value itself."""


def with_sections(scenario: Scenario, changes: Mapping[str, object]) -> Scenario | None:
    """The same scenario with some values replaced: sections that hold one are checked, rules between sections are not.

    Parameters
    ----------
    scenario : Scenario
        Stays as it is.
    changes : mapping of str to object
        Key path to what would stand in the file.

    Returns
    -------
    Scenario or None
        None where a section cannot take its new values, or has no such key.
    """
    tree = _Below()
    for path, value in changes.items():
        *tables, key = path.split(".")
        below: dict[str, Any] = tree
        for table in tables:
            inner = below.get(table, type(below)())
            if not isinstance(inner, dict):
                return None
            below[table] = inner = type(inner)(inner)
            below = inner
        below[key] = value
    try:
        new = {name: _new_value(scenario, name, each) for name, each in tree.items()}
    except (ValidationError, LookupError):
        return None
    made = scenario.model_copy(update=new)
    made._file = None
    return made


def _new_value(holder: Section, name: str, value: object) -> object:
    """What a key of a table holds with new values: the value itself, or a table with some values below it replaced."""
    if not isinstance(value, _Below):
        return validator(name).validate_python(value) if isinstance(holder, Scenario) else value
    section = getattr(holder, name, None)
    if not isinstance(section, Section):
        raise LookupError(name)
    given = {key: getattr(section, key) for key in section.model_fields_set}
    return type(section).model_validate(given | {key: _new_value(section, key, each) for key, each in value.items()})


def _read_anew(scenario: Scenario, changes: Mapping[str, object]) -> Scenario:
    """The same scenario with some values replaced, read as a whole."""
    data = scenario.model_dump(exclude_unset=True)
    for path, value in changes.items():
        *tables, key = path.split(".")
        known = keys(tuple(tables))
        if tables and not known:
            raise UsageError(f"no key {quoted(path)} in a scenario; {quoted('.'.join(tables))} holds no keys")
        if key not in known:
            raise UsageError(f"no key {quoted(path)} in a scenario{suggestion(key, known)}")
        table = data
        for name in tables:
            inner = table.get(name, {})
            if not isinstance(inner, dict):
                raise UsageError(f"{quoted(path)} lies in a list; change {name} in the file")
            table[name] = table = dict(inner)
        table[key] = value
    return from_mapping(data, _changed_name(scenario))


def _changed_name(scenario: Scenario) -> str:
    """What messages call a scenario with other values."""
    return f"{scenario.name}, changed"


def with_gear_sets(scenario: Scenario, *, every: bool = True) -> dict[str, Scenario]:
    """The scenario as described, and with each of its gear sets, by the name of the gear set.

    Parameters
    ----------
    scenario : Scenario
        Stays as it is.
    every : bool
        False leaves it at the car as described.

    Returns
    -------
    dict of str to Scenario
        The car as described first.
    """
    kind = Alternative.GEAR_SET
    names = scenario.alternatives(kind) if every else (AS_DESCRIBED,)
    changes = {name: dict(scenario.changes_to(kind, name)) for name in names}
    return {name: scenario.replace(each) if each else scenario for name, each in changes.items()}
