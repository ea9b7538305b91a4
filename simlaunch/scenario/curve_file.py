"""Full-load curves from plain files of two columns, and one more for each gear that has a curve of its own.

The first line names the columns with their units in brackets, in any order, for instance
`engine speed [rpm],torque [N m],gear 1 [N m]`; each line after it holds one point. Empty lines are passed over, and
empty cells in the column of a gear.
Above the header may stand lines that state the conditions of the figures, `# correction: SAE J1349`,
`# measured at: crank` and `# note: ...`, and torque limits of gears: `# limit in gear 1: 300 N m`.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from simlaunch.errors import Fault, InputError, ScenarioError
from simlaunch.record import MAX_CURVE_POINTS, MAX_GEAR_POINTS
from simlaunch.scenario.powertrain import Correction, MeasuredAt, order_faults
from simlaunch.units.gate import MAX_LENGTH, quoted, spellings
from simlaunch.units.quantity import Quantity, read
from simlaunch.units.spelling import Dimension

_HEADING = re.compile(r"\s*([^\[\]]{1,64}?)\s*\[([^\[\]]{1,32})\]\s*")
RAW_SHEET = "have a dyno sheet made into such a file: simlaunch curve SHEET --save CURVE.csv"
"""What to do with a sheet as a dyno exported it."""

_MODEL = 'write "engine speed [rpm],torque [N m]"'

Pair = tuple[str, str]


_LIMIT_KINDS = (Dimension.TORQUE, Dimension.PRESSURE, Dimension.POWER)
"""What a limit over engine speed may be given as."""

_GEAR = re.compile(r"(?:torque in )?gear +(\d{1,3})", re.IGNORECASE)
_LIMIT = re.compile(r"limit in gear +(\d{1,3})")


@dataclass(frozen=True)
class _Header:
    """Units of the columns, and which of them holds the engine speed, the torque, and the torque in each gear."""

    units: tuple[str, ...]
    kinds: tuple[Dimension, ...]
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
        {"gear": gear, "torque": tuple((s.text, torques[place].text) for s, torques in points if place in torques)}
        for gear, place in header.gears.items()
    )


def read_limit(text: str, source: str) -> dict[str, Any]:
    r"""A limit over engine speed: torque, mean effective pressure or power, and where it comes from.

    Parameters
    ----------
    text : str
        Content of the file; above its header may stand `# origin: ...` and `# note: ...`.
    source : str
        Name of the file for messages.

    Returns
    -------
    dict
        Keys of a limit curve of a scenario.

    Raises
    ------
    ScenarioError
        With every fault of the file; places are line numbers.

    Examples
    --------
    >>> read_limit("# origin: sensor\nspeed [rpm],bmep [bar]\n1000,20\n6000,18\n", "limit.csv")
    {'origin': 'sensor', 'points': (('1000 rpm', '20 bar'), ('6000 rpm', '18 bar'))}
    """
    lines = _lines(text)
    comments = lines[: _comments(lines)]
    conditions = _stated(comments, source, {"origin": ("origin", ()), "note": ("note", ())})
    header, points = _table(text, source, _LIMIT_KINDS)
    return {**conditions, "points": tuple((speed.text, most[header.torque].text) for speed, most in points)}


def _table(
    text: str, source: str, kinds: tuple[Dimension, ...] = (Dimension.TORQUE,)
) -> tuple[_Header, list[tuple[Quantity, Mapping[int, Quantity]]]]:
    """Header and rows of a file: engine speed, and torque by column."""
    lines = _lines(text)
    lines = lines[_comments(lines) :]
    if not lines:
        raise ScenarioError(source, (Fault("line 1", "", "is missing: the file is empty", _MODEL),))
    header = _header(lines[0], source, kinds)
    faults: list[Fault] = _count_faults(len(lines) - 1)
    if len(lines) - 1 > MAX_CURVE_POINTS:  # reading them all, only to refuse them, would take long
        raise ScenarioError(source, tuple(faults))
    points = [point for line in lines[1:] if (point := _point(line, header, faults))]
    faults.extend(order_faults([speed for _, speed, _ in points], [place for place, _, _ in points]))
    faults.extend(_gear_faults(header, [torques for _, _, torques in points]))
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
    comments = lines[: _comments(lines)]
    named = [(line.strip().lstrip("#").partition(":")) for _, line in comments]
    limits = [
        {"gear": of_gear[1], "torque": value.strip()}
        for name, _, value in named
        if (of_gear := _LIMIT.fullmatch(name.strip()))
    ]
    others = [line for line, (name, _, _) in zip(comments, named, strict=True) if not _LIMIT.fullmatch(name.strip())]
    found = _stated(others, source, _CONDITIONS, "limit in gear 1")
    return found | ({"gear_limits": limits} if limits else {})


def _stated(
    comments: list[tuple[int, str]], source: str, known: Mapping[str, tuple[str, tuple[str, ...]]], *further: str
) -> dict[str, Any]:
    """Keys that the lines above a header state."""
    found: dict[str, Any] = {}
    faults: list[Fault] = []
    for number, line in comments:
        name, _, value = (part.strip() for part in line.strip().lstrip("#").partition(":"))
        key, choices = known.get(name, ("", ()))
        place = f"line {number}"
        if not key:
            choice = ", ".join(f'"# {each}: ..."' for each in (*known, *further))
            faults.append(Fault(place, quoted(line.strip()), "is not a line that is known here", f"write {choice}"))
        elif key in found:
            faults.append(Fault(place, quoted(name), "is given twice", "keep one of them"))
        elif choices and value not in choices:
            faults.append(Fault(place, quoted(value), "is not one of the choices", f"write {', '.join(choices)}"))
        found.setdefault(key, value)
    if faults:
        raise ScenarioError(source, tuple(faults))
    return found


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


def _header(line: tuple[int, str], source: str, allowed: tuple[Dimension, ...]) -> _Header:
    number, text = line
    matches = [_HEADING.fullmatch(cell) for cell in text.split(",")]
    named = [(match.group(1).strip(), match.group(2).strip()) for match in matches if match]
    choices = (Dimension.ROTATIONAL_SPEED, *allowed)
    kinds = [next((kind for kind in choices if unit in spellings(kind)), None) for _, unit in named]
    gears = {
        of_gear[1].lstrip("0"): place
        for place, ((name, _), kind) in enumerate(zip(named, kinds, strict=True))
        if len(allowed) == 1 and kind in allowed and (of_gear := _GEAR.fullmatch(name))
    }
    own = [kind for place, kind in enumerate(kinds) if place not in gears.values()]
    sound = tuple(kind for kind in kinds if kind)
    two = own.count(Dimension.ROTATIONAL_SPEED) == 1 and all(own)
    if len(matches) == len(sound) == len(gears) + 2 and two:
        speed = kinds.index(Dimension.ROTATIONAL_SPEED)
        torque = next(k for k in range(len(sound)) if k != speed and k not in gears.values())
        return _Header(tuple(unit for _, unit in named), sound, speed, torque, gears)
    if len(allowed) > 1:
        why = "is no header of two columns, engine speed and a limit, with units in brackets"
        instead = 'write such as "engine speed [rpm],mean effective pressure [bar]"; torque and power do as well'
        raise ScenarioError(source, (Fault(f"line {number}", quoted(text.strip()), why, instead),))
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
        k: _cell(cell, header.units[k], header.kinds[k], place, faults)
        for k, cell in enumerate(cells)
        if cell or k not in header.gears.values()
    }
    sound = {k: each for k, each in read_cells.items() if each is not None}
    if len(sound) < len(read_cells):
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


def _count_faults(points: int) -> list[Fault]:
    if points < 2:
        return [Fault("file", "", f"holds {points} point{'s' if points != 1 else ''}", "give at least two")]
    if points > MAX_CURVE_POINTS:
        return [Fault("file", "", f"holds {points} points", f"thin them out to {MAX_CURVE_POINTS} or fewer")]
    return []


def _gear_faults(header: _Header, rows: list[Mapping[int, Quantity]]) -> Iterator[Fault]:
    for gear, place in header.gears.items():
        count = sum(place in row for row in rows)
        if rows and not count:
            yield Fault(f"gear {gear}", "", "has no value in its column", "fill it in, or leave the column out")
        if count > MAX_GEAR_POINTS:
            instead = f"leave cells of that column empty, so that {MAX_GEAR_POINTS} or fewer are left"
            yield Fault(f"gear {gear}", "", f"has {count} values in its column", instead)
