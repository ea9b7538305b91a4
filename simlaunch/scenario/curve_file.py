"""Full-load curves from plain files of two columns, and one more for each gear that has a curve of its own.

The first line names the columns with their units in brackets, in any order, for instance
`engine speed [rpm],torque [N m],gear 1 [N m]`; each line after it holds one point. Empty lines are passed over.
Above the header may stand lines that state the conditions of the figures, `# correction: SAE J1349`,
`# measured at: crank` and `# note: ...`, and torque limits of gears: `# limit in gear 1: 300 N m`.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from simlaunch.errors import Fault, InputError, ScenarioError
from simlaunch.record import MAX_CURVE_POINTS, MAX_GEAR_POINTS
from simlaunch.scenario.powertrain import Correction, MeasuredAt, order_faults
from simlaunch.units.gate import MAX_LENGTH, quoted, spellings
from simlaunch.units.quantity import Quantity, read
from simlaunch.units.spelling import Dimension

_HEADING = re.compile(r"\s*([^\[\]]{1,64}?)\s*\[([^\[\]]{1,32})\]\s*")
_COLUMNS = (Dimension.ROTATIONAL_SPEED, Dimension.TORQUE)
RAW_SHEET = "have a dyno sheet made into such a file: simlaunch curve SHEET --save CURVE.csv"
"""What to do with a sheet as a dyno exported it."""

_MODEL = 'write "engine speed [rpm],torque [N m]"'

Pair = tuple[str, str]


_GEAR = re.compile(r"(?:torque in )?gear +(\d{1,3})", re.IGNORECASE)
_LIMIT = re.compile(r"limit in gear +(\d{1,3})")


@dataclass(frozen=True)
class _Header:
    """Units of the columns, and which of them holds the engine speed, the torque, and the torque in each gear."""

    units: tuple[str, ...]
    speed: int
    torque: int
    gears: Mapping[str, int]


def read_curve(text: str, source: str) -> tuple[Pair, ...]:
    r"""Points of a full-load curve as text with units, by rising engine speed.

    Parameters
    ----------
    text : str
        Content of the file.
    source : str
        Name of the file for messages.

    Returns
    -------
    tuple of pairs of str
        Engine speed and torque, such as ``("1500 rpm", "300 N m")``.

    Raises
    ------
    ScenarioError
        With every fault of the file; places are line numbers.

    Examples
    --------
    >>> read_curve("speed [rpm],torque [N m]\n1000,200\n6000,180\n", "sample.csv")
    (('1000 rpm', '200 N m'), ('6000 rpm', '180 N m'))
    """
    header, points = _table(text, source)
    return tuple((speed.text, torques[header.torque].text) for speed, torques in points)


def read_gear_curves(text: str, source: str) -> tuple[dict[str, object], ...]:
    r"""Curves of single gears, from columns of their own.

    Parameters
    ----------
    text : str
        Content of the file.
    source : str
        Name of the file for messages.

    Returns
    -------
    tuple of dict
        What stands under `gear_limits` of a scenario's curve: gear, and torque as points.

    Raises
    ------
    ScenarioError
        With every fault of the file; places are line numbers.

    Examples
    --------
    >>> read_gear_curves("speed [rpm],torque [N m],gear 1 [N m]\n1000,200,150\n6000,180,160\n", "sample.csv")
    ({'gear': '1', 'torque': (('1000 rpm', '150 N m'), ('6000 rpm', '160 N m'))},)
    """
    header, points = _table(text, source)
    return tuple(
        {"gear": gear, "torque": tuple((speed.text, torques[place].text) for speed, torques in points)}
        for gear, place in header.gears.items()
    )


def _table(text: str, source: str) -> tuple[_Header, list[tuple[Quantity, Mapping[int, Quantity]]]]:
    """Header and rows of a file: engine speed, and torque by column."""
    lines = _lines(text)
    lines = lines[_comments(lines) :]
    if not lines:
        raise ScenarioError(source, (Fault("line 1", "", "is missing: the file is empty", _MODEL),))
    header = _header(lines[0], source)
    faults: list[Fault] = _count_faults(len(lines) - 1, bool(header.gears))
    if len(lines) - 1 > MAX_CURVE_POINTS:  # reading them all, only to refuse them, would take long
        raise ScenarioError(source, tuple(faults))
    points = [point for line in lines[1:] if (point := _point(line, header, faults))]
    faults.extend(order_faults([speed for _, speed, _ in points], [place for place, _, _ in points]))
    if faults:
        raise ScenarioError(source, tuple(faults))
    return header, [(speed, torques) for _, speed, torques in points]


def read_conditions(text: str, source: str) -> dict[str, Any]:
    r"""What the lines above the header say of the figures, and of single gears.

    Parameters
    ----------
    text : str
        Content of the file.
    source : str
        Name of the file for messages.

    Returns
    -------
    dict of str to object
        Keys of a scenario's curve: `correction`, `measured_at`, `note`, `gear_limits`; only those that are there.

    Raises
    ------
    ScenarioError
        With a fault for each line whose key is not known.

    Examples
    --------
    >>> read_conditions("# measured at: crank\nspeed [rpm],torque [N m]\n1000,200\n6000,180\n", "sample.csv")
    {'measured_at': 'crank'}
    """
    lines = _lines(text)
    found: dict[str, Any] = {}
    limits: list[dict[str, str]] = []
    faults: list[Fault] = []
    for number, line in lines[: _comments(lines)]:
        name, _, value = (part.strip() for part in line.strip().lstrip("#").partition(":"))
        if of_gear := _LIMIT.fullmatch(name):
            limits.append({"gear": of_gear[1], "torque": value})
            continue
        key, choices = _CONDITIONS.get(name, ("", ()))
        place = f"line {number}"
        if not key:
            known = ", ".join(f'"# {known}: ..."' for known in (*_CONDITIONS, "limit in gear 1"))
            faults.append(Fault(place, quoted(line.strip()), "is not a line that is known here", f"write {known}"))
        elif key in found:
            faults.append(Fault(place, quoted(name), "is given twice", "keep one of them"))
        elif choices and value not in choices:
            faults.append(Fault(place, quoted(value), "is not one of the choices", f"write {', '.join(choices)}"))
        found.setdefault(key, value)
    if faults:
        raise ScenarioError(source, tuple(faults))
    return found | ({"gear_limits": limits} if limits else {})


_CONDITIONS: Mapping[str, tuple[str, tuple[str, ...]]] = {
    "correction": ("correction", tuple(Correction)),
    "measured at": ("measured_at", tuple(MeasuredAt)),
    "note": ("note", ()),
}
"""Line above the header, its key in a scenario, and the values it may have."""


def _lines(text: str) -> list[tuple[int, str]]:
    return [(n, line) for n, line in enumerate(text.splitlines(), start=1) if line.strip()]


def _comments(lines: list[tuple[int, str]]) -> int:
    """Number of lines above the header that begin with #."""
    return next((n for n, (_, line) in enumerate(lines) if not line.lstrip().startswith("#")), len(lines))


def _header(line: tuple[int, str], source: str) -> _Header:
    number, text = line
    matches = [_HEADING.fullmatch(cell) for cell in text.split(",")]
    named = [(match.group(1).strip(), match.group(2).strip()) for match in matches if match]
    kinds = [next((kind for kind in _COLUMNS if unit in spellings(kind)), None) for _, unit in named]
    gears = {
        of_gear[1].lstrip("0"): place
        for place, ((name, _), kind) in enumerate(zip(named, kinds, strict=True))
        if kind is Dimension.TORQUE and (of_gear := _GEAR.fullmatch(name))
    }
    own = [kind for place, kind in enumerate(kinds) if place not in gears.values()]
    if len(matches) == len(named) == len(gears) + 2 and set(own) == set(_COLUMNS):
        torque = next(k for k, kind in enumerate(kinds) if kind is Dimension.TORQUE and k not in gears.values())
        units = tuple(unit for _, unit in named)
        return _Header(units, kinds.index(Dimension.ROTATIONAL_SPEED), torque, gears)
    why = "is no header of two columns, engine speed and torque, with units in brackets"
    if gears:
        why = "is no header of engine speed, torque and torque by gear, with units in brackets, each once"
        instead = 'write such as "engine speed [rpm],torque [N m],gear 1 [N m],gear 2 [N m]"'
        raise ScenarioError(source, (Fault(f"line {number}", quoted(text.strip()), why, f"{instead}, or {RAW_SHEET}"),))
    instead = f"{_MODEL}, or {RAW_SHEET}"
    raise ScenarioError(source, (Fault(f"line {number}", quoted(text.strip()), why, instead),))


def _point(
    line: tuple[int, str], header: _Header, faults: list[Fault]
) -> tuple[str, Quantity, Mapping[int, Quantity]] | None:
    """Place, speed and torques of one line; None with its faults noted when it cannot be read."""
    number, text = line
    place, wanted = f"line {number}", len(header.units)
    cells = [cell.strip() for cell in text.split(",")]
    if len(cells) != wanted:
        called = "two" if wanted == 2 else str(wanted)
        why = f"has {len(cells)} value{'s' if len(cells) != 1 else ''} instead of {called}"
        part = "the two by one comma" if wanted == 2 else "them by commas, one for each column"
        faults.append(Fault(place, quoted(text.strip()), why, f"separate {part}, and write decimals with a point"))
        return None
    read_cells = {
        k: _cell(cell, header.units[k], _COLUMNS[k != header.speed], place, faults) for k, cell in enumerate(cells)
    }
    sound = {k: each for k, each in read_cells.items() if each is not None}
    if len(sound) < wanted:
        return None
    speed = sound.pop(header.speed)
    return place, speed, sound


def _cell(text: str, unit: str, kind: Dimension, place: str, faults: list[Fault]) -> Quantity | None:
    if not text or len(text) > MAX_LENGTH // 2:
        faults.append(Fault(place, quoted(text), "is not a number", "write plain digits, such as 3500"))
        return None
    try:
        quantity = read(f"{text} {unit}", kind)
    except InputError as error:
        fault: Fault = error.args[0]
        faults.append(Fault(place, quoted(text), fault.why, "write a plain number, without a unit, such as 3500"))
        return None
    if quantity.si < 0.0:
        faults.append(Fault(place, quoted(text), "is negative", "write zero or more"))
        return None
    return quantity


def _count_faults(points: int, by_gear: bool) -> list[Fault]:
    if points < 2:
        return [Fault("file", "", f"holds {points} point{'s' if points != 1 else ''}", "give at least two")]
    if points > MAX_CURVE_POINTS:
        return [Fault("file", "", f"holds {points} points", f"thin them out to {MAX_CURVE_POINTS} or fewer")]
    if by_gear and points > MAX_GEAR_POINTS:
        why = f"holds {points} points, and columns of gears take {MAX_GEAR_POINTS} at most"
        return [Fault("file", "", why, f"thin them out to {MAX_GEAR_POINTS} or fewer")]
    return []
