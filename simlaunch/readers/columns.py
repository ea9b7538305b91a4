"""Which column of a table is what, and in which unit.

A header is a name, a unit, or both: "Torque (lb-ft)", "Engine speed [1/min]", "Power_kW", "rpm". A column is found by
the whole name, by a phrase inside it, or, where the header is nothing but a unit, by that unit. Two columns that could
be meant are refused with both names, and so is a unit that is not known; the caller may name column and unit.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from simlaunch.errors import InputError, UsageError
from simlaunch.readers.delimited import Table, TextColumn, refusal
from simlaunch.scenario.powertrain import MeasuredAt
from simlaunch.units.gate import example, phrase, quoted, spellings
from simlaunch.units.quantity import to_si
from simlaunch.units.spelling import Dimension, kinds, without_brackets

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Role:
    """What a column may hold.

    Parameters
    ----------
    name : str
        What it is called in messages and in options.
    dimensions : tuple of Dimension
        Kinds of quantity that fit.
    phrases : tuple of str
        Words, in small letters, that mean it wherever they stand in a name.
    names : tuple of str
        Whole names, in small letters; one of a single letter counts only beside a unit that fits.
    by_unit : bool
        Whether a header that is nothing but a unit of this kind means it.
    """

    name: str
    dimensions: tuple[Dimension, ...]
    phrases: tuple[str, ...]
    names: tuple[str, ...] = ()
    by_unit: bool = False


@dataclass(frozen=True)
class Known:
    """What is known of a channel of a log: names, kinds of quantity, and the largest size that makes sense [SI]."""

    names: Sequence[str]
    kinds: tuple[Dimension, ...]
    largest: float
    left: Sequence[str] = ()
    right: Sequence[str] = ()

    @property
    def units(self) -> tuple[str, ...]:
        """Spellings of its units, without the empty one."""
        return tuple(filter(None, spellings(*self.kinds)))


@cache
def known_channels() -> Mapping[str, Known]:
    """The channels that a log is searched for, by the name that each has in a trace."""
    tables = tomllib.loads(Path(__file__).with_name("channels.toml").read_text(encoding="utf-8"))
    found = {name: Known(**{**table, "kinds": tuple(map(Dimension, table["kinds"]))}) for name, table in tables.items()}
    return {**found, **dict(_single_wheels(found))}


def _single_wheels(found: Mapping[str, Known]) -> Iterator[tuple[str, Known]]:
    """Channels of the two wheels of each axle that has names for them."""
    for name, known in found.items():
        for side, names in (("left", known.left), ("right", known.right)):
            if names:
                yield f"{name}_{side}", Known(names, known.kinds, known.largest)


def plain_name(name: str) -> str:
    """Name in small letters, its words parted by one blank: "wheelSpeed_FL" is "wheel speed fl"."""
    parted = re.sub(r"(?<=[a-zäöüß])(?=[A-ZÄÖÜ])", " ", name)
    return " ".join(re.findall(r"[^\W_]+", parted.lower()))


_WHEEL_POWER = ("whp", "rwhp", "fwhp", "awhp")
"""Power at the wheels, as sheets name it (common practice); each of them is a name and a unit in one."""

ENGINE_SPEED = Role(
    "engine speed",
    (Dimension.ROTATIONAL_SPEED,),
    ("engine speed", "engine rpm", "motor speed", "crank speed", "crankshaft speed", "motordrehzahl"),
    ("speed", "rotational speed", "engine", "n", *known_channels()["engine_speed"].names),
    by_unit=True,
)
TORQUE = Role(
    "torque",
    (Dimension.TORQUE,),
    ("torque", "drehmoment", "motormoment", "raddrehmoment", "radmoment"),
    ("tq", "trq", "wtq", "moment", "m", "t"),
    by_unit=True,
)
POWER = Role(
    "power",
    (Dimension.POWER,),
    ("power", "leistung", "motorleistung", "radleistung"),
    ("pwr", "output", "p", *_WHEEL_POWER),
    by_unit=True,
)
AIR_FUEL = Role("air-fuel ratio", (Dimension.NUMBER,), ("air fuel", "air fuel ratio", "afr"), ("afr", "air fuel ratio"))
LAMBDA = Role("lambda", (Dimension.NUMBER,), ("lambda",))


@dataclass(frozen=True)
class Choices:
    """Columns and units that the caller names, keyed by role; a column by its header or by its number as "#3"."""

    columns: Mapping[str, str] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)


NO_CHOICES = Choices()


@dataclass(frozen=True)
class Unit:
    """A unit as written, the spelling it was read as, its kind, and SI value = scale * value + offset."""

    spelling: str
    dimension: Dimension
    scale: float
    offset: float

    def to_si(self, values: Array) -> Array:
        """Values in SI units."""
        return values * self.scale + self.offset


@dataclass(frozen=True)
class Column:
    """A column that was understood: what it is, where it stands, its unit, and its values in SI units."""

    role: Role
    index: int
    header: str
    unit: Unit
    values: Array

    def __str__(self) -> str:
        return f"{self.role.name}: column {self.index + 1} {quoted(self.header)} in {self.unit.spelling or 'no unit'}"


_FURTHER = {
    "r/min": "rpm",
    "u/min": "rpm",
    "min-1": "rpm",
    "min^-1": "rpm",
    "min⁻¹": "rpm",
    "rpms": "rpm",
    "bhp": "hp",
    **dict.fromkeys(_WHEEL_POWER, "hp"),
    "cv": "PS",
    "ch": "PS",
    "lbsft": "lb-ft",
    "ftlbs": "ft-lb",
    "kgm": "kgf m",
    "kph": "km/h",
    "sec": "s",
    "-": "",
}
"""Units as headers have them, and the spelling that each stands for; keys as `_loose` leaves them."""


def unit_named(text: str, *dimensions: Dimension) -> Unit | None:
    """Unit that a text names, among those of the wanted kinds.

    Parameters
    ----------
    text : str
        As in a header, with or without brackets; capitals, blanks, dots and hyphens do not matter unless they decide.
    dimensions : Dimension
        Wanted kinds.

    Returns
    -------
    Unit or None
        None when the text names none of them.

    Examples
    --------
    >>> unit_named("(LB.FT)", Dimension.TORQUE).spelling
    'lb-ft'
    """
    bare = without_brackets(text)
    bare = _FURTHER.get(bare.lower(), _FURTHER.get(_loose(bare), bare))
    for dimension in dimensions:
        own = kinds()[dimension].spelling
        near = [bare] if bare in own else [known for known in own if known and _loose(known) == _loose(bare)]
        if near and len({own[spelling] for spelling in near}) == 1:
            return _unit(near[0], dimension)
    return None


def _unit(spelling: str, dimension: Dimension) -> Unit:
    zero, one = (to_si(f"{number} {spelling}".strip(), dimension) for number in (0, 1))
    return Unit(spelling, dimension, one - zero, zero)


def _loose(unit: str) -> str:
    return re.sub(r"[\s.*·_-]", "", unit).lower()


# --- headers taken apart ---


@dataclass(frozen=True)
class _Header:
    """A header: name in small letters with single blanks, unit as written, and the whole of it."""

    name: str
    unit: str
    text: str


_BRACKETED = re.compile(r"(.*?)[\s_]*[\[(]([^\[\]()]{0,32})[\])]\s*")
_PARTS = re.compile(r"[\s_,;/:]+")


def _plain(name: str) -> str:
    return " ".join(re.findall(r"[^\W_]+", name.lower()))


def _readings(text: str, row_unit: str, role: Role) -> Iterator[_Header]:
    """Ways to take a header apart for a role; the first that fits counts."""
    match = _BRACKETED.fullmatch(text)
    if match:
        yield _Header(_plain(match.group(1)), match.group(2).strip() or row_unit, text)
        return
    if row_unit:
        yield _Header(_plain(text), row_unit, text)
        return
    if unit_named(text, *role.dimensions) and text.strip():
        yield _Header("", text.strip(), text)
    for part in _PARTS.finditer(text):
        rest = text[part.end() :]
        if rest and unit_named(rest, *role.dimensions):
            yield _Header(_plain(text[: part.start()]), rest, text)
    yield _Header(_plain(text), "", text)


def _means(header: _Header, role: Role) -> bool:
    """Whether a header's name means a role."""
    if not header.name:
        return role.by_unit and unit_named(header.unit, *role.dimensions) is not None
    if header.name in role.names:
        return len(header.name) > 1 or unit_named(header.unit, *role.dimensions) is not None
    return any(f" {known} " in f" {header.name} " for known in role.phrases)


def _meant(text: str, row_unit: str, role: Role) -> _Header | None:
    return next((header for header in _readings(text, row_unit, role) if _means(header, role)), None)


def _fits(header: _Header, role: Role) -> bool:
    """Whether a header's unit can belong to a role; one that is missing or unknown may still be named."""
    if not header.unit or unit_named(header.unit, *role.dimensions):
        return True
    return unit_named(header.unit, *(kind for kind in Dimension if kind not in role.dimensions)) is None


# --- roles to columns ---


def find_column(table: Table, role: Role, choices: Choices = NO_CHOICES) -> Column | None:
    """Column of a table that holds a role.

    Parameters
    ----------
    table : Table
        As read.
    role : Role
        What is looked for.
    choices : Choices
        What the caller names.

    Returns
    -------
    Column or None
        With values in SI units; None when no header means the role.

    Raises
    ------
    InputError
        Several columns could be meant, the unit is missing, unknown or of another kind, or the column holds text.
    """
    index = _chosen(table, role, choices) if role.name in choices.columns else _found(table, role, choices)
    if index is None:
        return None
    text = table.header[index]
    header = _meant(text, table.unit(index), role) or next(_readings(text, table.unit(index), role))
    unit = _unit_of(table, header, role, choices)
    return Column(role, index, text, unit, unit.to_si(table.columns[index]))


def _how_to_name(table: Table, *roles: Role) -> str:
    listed = ", ".join(quoted(name) for name in table.header[:20])
    options = " and ".join(f'--column "{role.name}=..."' for role in roles)
    return f"give {options} with one of {listed}"


def _chosen(table: Table, role: Role, choices: Choices) -> int:
    wanted = choices.columns[role.name].strip()
    number = re.fullmatch(r"#(\d{1,4})", wanted, re.ASCII)
    if number and 1 <= int(number.group(1)) <= len(table.header):
        return int(number.group(1)) - 1
    same = [n for n, name in enumerate(table.header) if name.lower() == wanted.lower()]
    if len(same) == 1:
        return same[0]
    _refuse_text(table, role, [column for column in table.text_columns if column.name.lower() == wanted.lower()])
    if same:
        numbers = " or ".join(f'"#{n + 1}"' for n in same)
        why = f"is the name of {len(same)} columns"
        raise refusal(table.source, role.name, wanted, why, f'give --column "{role.name}=..." with {numbers}')
    raise refusal(table.source, role.name, wanted, "is not the name of a column", _how_to_name(table, role))


def _found(table: Table, role: Role, choices: Choices) -> int | None:
    meant = {
        n: header for n, text in enumerate(table.header) if (header := _meant(text, table.unit(n), role)) is not None
    }
    fitting = [n for n, header in meant.items() if role.name in choices.units or _fits(header, role)]
    if len(fitting) > 1:
        listed = " or ".join(quoted(_unambiguous(table, n)) for n in fitting[:20])
        why = f"has {len(fitting)} columns that may be the {role.name}"
        raise refusal(table.source, "header", "", why, f'give --column "{role.name}=..." with {listed}')
    if fitting:
        return fitting[0]
    if meant:
        index, header = next(iter(meant.items()))
        why = f"has the unit {quoted(header.unit)}, which is not {phrase(*role.dimensions)}"
        place = f"header, column {index + 1}"
        instead = f'give --unit "{role.name}=..." if the heading is wrong, or --column if it is another'
        raise refusal(table.source, place, table.header[index], why, instead)
    _refuse_text(table, role, [column for column in table.text_columns if _meant(column.name, column.unit, role)])
    return None


def _unambiguous(table: Table, index: int) -> str:
    name = table.header[index]
    return name if name and table.header.count(name) == 1 else f"#{index + 1}"


def _refuse_text(table: Table, role: Role, columns: list[TextColumn]) -> None:
    if columns:
        column = columns[0]
        place = f"line {column.line}, column {quoted(column.name)}"
        raise refusal(
            table.source, place, column.cell, f"is not a number, which the {role.name} has to be", "write digits"
        )


def _unit_of(table: Table, header: _Header, role: Role, choices: Choices) -> Unit:
    wanted = choices.units.get(role.name, header.unit)
    unit = unit_named(wanted, *role.dimensions)
    if unit is not None:
        return unit
    listed = ", ".join(spelling for spelling in spellings(*role.dimensions) if spelling)
    instead = f'give --unit "{role.name}=..." with one of {listed}'
    place = f"header, {role.name}"
    if not wanted:
        raise refusal(table.source, place, header.text, "has no unit", instead)
    why = f"has the unit {quoted(wanted)}, which is not known as {phrase(*role.dimensions)}"
    raise refusal(table.source, place, header.text, why, instead)


def pairs_named(pairs: tuple[str, ...], option: str, roles: tuple[Role, ...]) -> dict[str, str]:
    """Values of a repeatable option of the form "role=text".

    Parameters
    ----------
    pairs : tuple of str
        As typed, such as ``"torque=Torque 2"``.
    option : str
        Name of the option for messages.
    roles : tuple of Role
        Roles that may be named.

    Returns
    -------
    dict of str to str
        Text by role name.

    Raises
    ------
    UsageError
        A pair without "=", of an unknown role, or a role twice.

    Examples
    --------
    >>> pairs_named(("torque=Torque 2",), "--column", (TORQUE, POWER))
    {'torque': 'Torque 2'}
    """
    known = {role.name for role in roles}
    found: dict[str, str] = {}
    for pair in pairs:
        name, equals, text = pair.partition("=")
        name = name.strip().lower()
        if not equals or not text.strip() or name not in known or name in found:
            listed = ", ".join(f'"{role.name}=..."' for role in roles)
            raise UsageError(f"{option} {quoted(pair)}: write one of {listed}, each of them once")
        found[name] = text.strip()
    return found


def speed_and_load(table: Table, choices: Choices = NO_CHOICES) -> tuple[Column, Column | None, Column | None]:
    """Engine speed, torque and power of a dyno sheet; one of the last two may be missing.

    Parameters
    ----------
    table : Table
        As read.
    choices : Choices
        What the caller names.

    Returns
    -------
    tuple of Column
        Engine speed, torque or None, power or None.

    Raises
    ------
    InputError
        The engine speed is not there, or neither torque nor power.
    """
    speed = find_column(table, ENGINE_SPEED, choices)
    torque = _either(table, TORQUE, POWER, choices)
    power = _either(table, POWER, TORQUE, choices)
    loaded = torque is not None or power is not None
    if speed is None or not loaded:
        raise refusal(table.source, "header", "", *_what_is_missing(table, speed is None, not loaded))
    return speed, torque, power


def _what_is_missing(table: Table, speed: bool, load: bool) -> tuple[str, str]:
    """Everything that a sheet lacks, in one go, and how to name it."""
    missing = [*(["no engine speed"] if speed else []), *(["neither torque nor power"] if load else [])]
    instead = _how_to_name(table, *([ENGINE_SPEED] if speed else []), *([TORQUE] if load else []))
    if load:
        instead += f", or the same for power (cells in a unit as in {example(Dimension.TORQUE, Dimension.POWER)})"
    return f"names {', and '.join(missing)}", instead


_PLACES: Mapping[str, MeasuredAt] = {
    **dict.fromkeys((*_WHEEL_POWER, "wtq", "wheel", "wheels", "rad", "radleistung", "radmoment"), MeasuredAt.WHEEL),
    "raddrehmoment": MeasuredAt.WHEEL,
    **dict.fromkeys(("hub", "hubs", "nabe", "naben"), MeasuredAt.HUB),
    **dict.fromkeys(("crank", "crankshaft", "flywheel", "kurbelwelle"), MeasuredAt.CRANK),
}
"""Words of a heading that say where its figures were taken (common practice)."""


def place_of(column: Column) -> MeasuredAt | None:
    """Where the figures of a column were taken, as its heading says: "Whp", "Wheel Torque"; None if it does not."""
    words = plain_name(column.header).replace("fly wheel", "flywheel").split()
    return next((_PLACES[word] for word in words if word in _PLACES), None)


def air_fuel_ratio(table: Table) -> Column | None:
    """A column of air-fuel ratio; None where there is none, or where it is not clear which one counts."""
    try:
        return find_column(table, AIR_FUEL)
    except InputError:
        return None


def _either(table: Table, role: Role, other: Role, choices: Choices) -> Column | None:
    """A column, or None where it is unclear but the caller has named the other of the two."""
    try:
        return find_column(table, role, choices)
    except InputError:
        if other.name in choices.columns and role.name not in choices.columns:
            return None
        raise
