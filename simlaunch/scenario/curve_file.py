"""Full-load curves from plain files of two columns.

The first line names the columns with their units in brackets, in either order, for instance
`engine speed [rpm],torque [N m]`; each line after it holds one point. Empty lines are passed over.
Above the header may stand lines that state the footing of the figures: `# correction: SAE J1349`,
`# measured at: crank`, and `# note: ...`.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from simlaunch.errors import Fault, InputError, ScenarioError
from simlaunch.record import MAX_CURVE_POINTS
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


@dataclass(frozen=True)
class _Header:
    """Units of the two columns, and whether torque stands first."""

    units: Pair
    torque_first: bool


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
    lines = _lines(text)
    lines = lines[_comments(lines) :]
    if not lines:
        raise ScenarioError(source, (Fault("line 1", "", "is missing: the file is empty", _MODEL),))
    header = _header(lines[0], source)
    faults: list[Fault] = _count_faults(len(lines) - 1)
    if len(lines) - 1 > MAX_CURVE_POINTS:  # reading them all, only to refuse them, would take long
        raise ScenarioError(source, tuple(faults))
    points = [point for line in lines[1:] if (point := _point(line, header, faults))]
    faults.extend(order_faults([speed for _, speed, _ in points], [place for place, _, _ in points]))
    if faults:
        raise ScenarioError(source, tuple(faults))
    return tuple((speed.text, torque.text) for _, speed, torque in points)


def read_footing(text: str, source: str) -> dict[str, str]:
    r"""What the lines above the header say of the figures.

    Parameters
    ----------
    text : str
        Content of the file.
    source : str
        Name of the file for messages.

    Returns
    -------
    dict of str to str
        Keys of a scenario's curve: `correction`, `measured_at`, `note`; only those that are there.

    Raises
    ------
    ScenarioError
        With a fault for each line whose key is not known.

    Examples
    --------
    >>> read_footing("# measured at: crank\nspeed [rpm],torque [N m]\n1000,200\n6000,180\n", "sample.csv")
    {'measured_at': 'crank'}
    """
    lines = _lines(text)
    found: dict[str, str] = {}
    faults: list[Fault] = []
    for number, line in lines[: _comments(lines)]:
        name, _, value = (part.strip() for part in line.strip().lstrip("#").partition(":"))
        key, choices = _FOOTING.get(name, ("", ()))
        place = f"line {number}"
        if not key:
            known = ", ".join(f'"# {known}: ..."' for known in _FOOTING)
            faults.append(Fault(place, quoted(line.strip()), "is no line that is known here", f"write {known}"))
        elif key in found:
            faults.append(Fault(place, quoted(name), "stands there twice", "keep one of them"))
        elif choices and value not in choices:
            faults.append(Fault(place, quoted(value), "is not one of the choices", f"write {', '.join(choices)}"))
        found.setdefault(key, value)
    if faults:
        raise ScenarioError(source, tuple(faults))
    return found


_FOOTING: Mapping[str, tuple[str, tuple[str, ...]]] = {
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
    units = [match.group(2).strip() for match in matches if match]
    kinds = [next((kind for kind in _COLUMNS if unit in spellings(kind)), None) for unit in units]
    if len(matches) == len(units) == 2 and set(kinds) == set(_COLUMNS):
        torque_first = kinds[0] is Dimension.TORQUE
        return _Header((units[torque_first], units[not torque_first]), torque_first)
    why = "is no header of two columns, engine speed and torque, with units in brackets"
    instead = f"{_MODEL}, or {RAW_SHEET}"
    raise ScenarioError(source, (Fault(f"line {number}", quoted(text.strip()), why, instead),))


def _point(line: tuple[int, str], header: _Header, faults: list[Fault]) -> tuple[str, Quantity, Quantity] | None:
    """Place, speed and torque of one line; None with its faults noted when it cannot be read."""
    number, text = line
    place = f"line {number}"
    cells = [cell.strip() for cell in text.split(",")]
    if len(cells) != 2:
        why = f"has {len(cells)} value{'s' if len(cells) != 1 else ''} instead of two"
        faults.append(Fault(place, quoted(text.strip()), why, "part the two by one comma; decimals follow a point"))
        return None
    speed, torque = reversed(cells) if header.torque_first else cells
    pair = (
        _cell(speed, header.units[0], Dimension.ROTATIONAL_SPEED, place, faults),
        _cell(torque, header.units[1], Dimension.TORQUE, place, faults),
    )
    return (place, pair[0], pair[1]) if pair[0] and pair[1] else None


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
