"""What the page may write: a curve, a scenario and a report, each new and in the folder of the scenario."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import tomlkit
from numpy.typing import NDArray
from tomlkit.items import AoT

from simlaunch.cubics import monotone
from simlaunch.errors import Fault, InputError, UsageError, plain
from simlaunch.readers.curve import curve_text
from simlaunch.scenario.powertrain import Curve
from simlaunch.scenario.reading import from_mapping, load, read_text
from simlaunch.shaping.states import Start, State
from simlaunch.units.gate import quoted
from simlaunch.units.quantity import Quantity
from simlaunch.writing import check, write

Array = NDArray[np.float64]

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9 _-]{0,59}")


def place_of(start: Start, name: str, ending: str) -> Path:
    """Path of a new file beside the scenario.

    Parameters
    ----------
    start : Start
        What the page began with.
    name : str
        Name as typed, with or without its ending.
    ending : str
        Such as ``".csv"``.

    Returns
    -------
    Path
        Free, and in the folder of the scenario.

    Raises
    ------
    UsageError
        The scenario does not come from a file.
    InputError
        Not a plain name, or the place is taken.
    """
    file = start.scenario.file
    if file is None:
        raise UsageError("the scenario does not come from a file, so there is no folder to write to")
    stem = name.strip().removesuffix(ending)
    if not _NAME.fullmatch(stem):
        why = "is not a plain name of a file"
        raise InputError(Fault("name", quoted(name), why, "write up to 60 letters, digits, blanks, - and _"))
    path = file.parent / f"{stem}{ending}"
    check("name", path)
    return path


def save_curve(start: Start, state: State, name: str) -> Path:
    """Write the shaped curve to a new file that a scenario can name.

    Raises
    ------
    InputError
        Not a plain name, the place is taken, or numbers that do not do.
    """
    path = place_of(start, name, ".csv")
    curve = start.scenario_of(state).curve(start.name)
    speed, torque = ([pair[k].si for pair in curve.points] for k in range(2))
    write("name", path, curve_text(speed, torque, curve.correction, curve.measured_at, _by_gear(curve)))
    return path


def _by_gear(curve: Curve) -> dict[int, float | Array]:
    """Limits of a curve by gear: one torque, or torque at the engine speeds of the curve."""
    own = np.array([speed.si for speed, _ in curve.points])
    found: dict[int, float | Array] = {}
    for limit in curve.gear_limits or ():
        speed, torque = (np.array([pair[k].si for pair in limit.torque]) for k in range(2))
        gear = int(limit.gear.si)
        found[gear] = (
            float(torque[0]) if len(torque) == 1 else monotone(speed, torque)(np.clip(own, speed[0], speed[-1]))
        )
    return found


def _as_toml(value: object) -> Any:
    """A value that tomlkit can write."""
    if isinstance(value, Mapping):
        return {key: _as_toml(each) for key, each in value.items() if each is not None}
    if isinstance(value, list | tuple):
        return [_as_toml(each) for each in value]
    if isinstance(value, Quantity):
        return value.text
    return str(value) if isinstance(value, str) else value


def _set(document: Any, path: str, value: object) -> None:
    *tables, key = path.split(".")
    table = document
    for name in tables:
        if name not in table:
            table[name] = tomlkit.table()
        table = table[name]
    table[key] = _as_toml(value)


def scenario_text(start: Start, state: State, text: str, today: date) -> str:
    """The scenario's file with what the page changed, and the shaped curve as its last one.

    Parameters
    ----------
    start : Start
        What the page began with.
    state : State
        What it has now.
    text : str
        The file as it is; its comments stay.
    today : date
        Day on which it was shaped.

    Returns
    -------
    str
        TOML.
    """
    document = tomlkit.parse(text)
    for path, value in start.changes(state).items():
        _set(document, path, value)
    curve = _as_toml(start.shaped(state))
    curves: Any = document["curves"]
    if isinstance(curves, AoT):
        table = tomlkit.table()
        for key, value in curve.items():
            table.add(key, value)
        table.trivia.indent = "\n"
        curves.append(table)
    else:
        curves.append(curve)
    file = start.scenario.file
    source = plain(file.name) if file else "a scenario"
    return f"# Shaped by hand with simlaunch live from {source}, {today.isoformat()}.\n{tomlkit.dumps(document)}"


def save_scenario(start: Start, state: State, name: str, today: date | None = None) -> Path:
    """Write a new scenario with the shaped curve and what else was changed.

    Raises
    ------
    UsageError
        The file says something else by now.
    InputError
        Not a plain name, the place is taken, or the new scenario would not be sound.
    """
    path = place_of(start, name, ".toml")
    file = start.scenario.file
    assert file is not None  # place_of refuses that
    if load(file) != start.scenario:
        raise UsageError(f"{file.name} was changed since this page was opened; start simlaunch live again")
    text = scenario_text(start, state, read_text(file), today or date.today())
    from_mapping(tomllib.loads(text), str(path), path.parent)  # refuses what would not be read
    write("name", path, text)
    return path
