"""The scenario that a command works on: read from its file, with the values replaced that were set on the line."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from pathlib import Path

from simlaunch.errors import UsageError
from simlaunch.scenario import model, reading
from simlaunch.units import gate


def _value(key: str, text: str) -> object:
    """What would stand in the file: text, or a list where brackets say so."""
    if not text.startswith("["):
        return text
    try:
        return tomllib.loads(f"value = {text}")["value"]
    except (ValueError, RecursionError):
        raise UsageError(f'--set {key}: {gate.quoted(text)} is not a list; write one such as ["402.336 m"]') from None


def _split(change: str) -> tuple[str, object]:
    key, sign, text = (part.strip() for part in change.partition("="))
    if not (key and sign and text):
        raise UsageError(f'--set {change}: write KEY=VALUE, such as "body.mass=1500 kg"')
    return key, _value(key, text)


def _alternatives(scenario: model.Scenario, taken: Sequence[str]) -> dict[str, object]:
    """What has to be changed for the alternatives that are taken, each kind once."""
    found: dict[str, object] = {}
    seen: set[model.Alternative] = set()
    for text in taken:
        kind, sign, name = (part.strip() for part in text.partition("="))
        if not (sign and name) or kind not in set(model.Alternative) or kind in seen:
            why = "is given twice" if kind in seen else f"write KIND=NAME; kinds are {', '.join(model.Alternative)}"
            raise UsageError(f"--with {gate.quoted(text)}: {why}")
        seen.add(model.Alternative(kind))
        found |= scenario.changes_to(model.Alternative(kind), name)
    return found


def read(file: Path, changes: Sequence[str] | None = None, taken: Sequence[str] | None = None) -> model.Scenario:
    """Scenario of a file, with some alternatives taken, and then some values replaced."""
    scenario = reading.load(file)
    if not changes and not taken:
        return scenario
    wanted = {**_alternatives(scenario, taken or ()), **dict(map(_split, changes or ()))}
    if not wanted:
        return scenario
    try:
        return scenario.replace(wanted)
    except (TypeError, AttributeError):  # the path leads into a list or into a value
        listed = ", ".join(wanted)
        raise UsageError(f"--set {listed}: leads into a list or a value; change it in the file") from None
