"""The axes of a sweep, one for each thing it varies, read from text such as "body.mass: 1400 kg to 1700 kg in 7"."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from enum import StrEnum

from simlaunch.errors import Fault, InputError, UsageError, plain
from simlaunch.scenario.car import LOCKING
from simlaunch.scenario.model import AS_DESCRIBED, Alternative, Scenario
from simlaunch.scenario.powertrain import BEST
from simlaunch.scenario.schema import quantity_at
from simlaunch.scenario.surroundings import surfaces
from simlaunch.units.field import Within
from simlaunch.units.gate import examine, quoted
from simlaunch.units.quantity import DisplayUnit, Quantity, read, unit_spelled
from simlaunch.units.spelling import Dimension, kinds

MOST_VALUES = 10_000
_DIGITS = 12  # of a number that is worked out, so that its text says exactly what it is
_ALSO_CALLED = {"final drive": "gearbox.final_drive"}
_MOST_CHOICES = 8
BESIDE_THE_LAUNCH = ("note", "sweep", "limits", "parts", "tests", "uncertain")
"""Keys of a scenario that no launch depends on: free text, and what a decision needs beside the car."""

_SPAN = re.compile(r"(?P<low>.+?) to (?P<high>.+?)(?: in (?P<count>\d{1,6}))?", re.ASCII)


class Kind(StrEnum):
    """What an axis varies."""

    CURVE = "curve"
    GEAR_SET = "gear set"
    TYRE = "tyre"
    SURFACE = "surface"
    PEDAL = "pedal"
    LAUNCH = "launch speed"
    NUMBER = "number"


class Role(StrEnum):
    """What an axis is to the one who asks."""

    CHOICE = "choice"
    """Something that is chosen: curve, gears, tyres, shifts, launch, pedal."""
    CONDITION = "condition"
    """Something that is met: surface, weather, grade."""
    VALUE = "value of the car"
    """Something that the car has and nobody chooses, known more or less exactly: mass, drag, grip, inertia."""


_CONDITIONS = ("air", "road")
_CHOSEN = (
    "gearbox.ratios",
    "gearbox.final_drive",
    "gearbox.shift",
    "gearbox.shift_at",
    "launch.engine_speed",
    "launch.boost",
    "pedal.target_slip",
    "coupling.engagement_time",
    "coupling.lock_up_capacity",
    "coupling.lock_up_gear",
    "coupling.lock_up_speed_ratio",
    "coupling.lock_up_time",
    "engine.rev_limit",
    "drive.front_share",
    *(f"drive.{name}" for name in LOCKING),
    "drive.second_axle",
)
"""Keys and tables of numbers that are chosen by whoever builds, calibrates or drives the car."""

LAUNCH_SPEED = "launch.engine_speed"

ALTERNATIVE = {Kind(alternative.value): alternative for alternative in Alternative}
PEDALS = ("full", "held")


@dataclass(frozen=True)
class Span:
    """A range of numbers, in the unit that it was typed in."""

    low: float
    high: float
    unit: str

    def text(self, number: float) -> str:
        """A number of the range as it would be typed."""
        return f"{number:.{_DIGITS}g} {self.unit}".strip()

    def at(self, share: float) -> float:
        """Number at a share of the way, rounded so that its text says exactly what it is."""
        return float(f"{self.low + share * (self.high - self.low):.{_DIGITS}g}")


@dataclass(frozen=True)
class Axis:
    """One thing that is varied, and what it is set to.

    Parameters
    ----------
    name : str
        Kind of alternative, or key path of a number.
    kind : Kind
        What it varies.
    values : tuple of str
        Names, or quantities as typed; empty for a range that only a sample can fill.
    si : tuple of float
        The same in SI units; empty for names.
    dimension : Dimension, optional
        Kind of quantity; None for names.
    unit : str
        Unit of display of a number.
    span : Span, optional
        Range that a sample fills.
    """

    name: str
    kind: Kind
    values: tuple[str, ...]
    si: tuple[float, ...] = ()
    dimension: Dimension | None = None
    unit: str = ""
    span: Span | None = None

    @property
    def role(self) -> Role:
        """Whether it is chosen, met, or a value of the car."""
        if self.kind is Kind.SURFACE:
            return Role.CONDITION
        if self.kind is not Kind.NUMBER or _stands_in(self.name, _CHOSEN):
            return Role.CHOICE
        return Role.CONDITION if _stands_in(self.name, _CONDITIONS) else Role.VALUE

    @property
    def shown_in(self) -> DisplayUnit | None:
        """Unit in which numbers of this axis are shown; None for names."""
        return None if self.dimension is None else unit_spelled(self.unit, self.dimension)

    def shown(self, value: str | float) -> str:
        """A value as it stands in a table: a name, or a number in the unit of the axis."""
        unit = self.shown_in
        if unit is None or isinstance(value, str):
            return str(value)
        return f"{unit.of(value):.6g} {unit.label}".strip()


def _stands_in(key: str, places: Sequence[str]) -> bool:
    """Whether a key is one of some keys, or stands in one of some tables."""
    return any(key == place or key.startswith(f"{place}.") for place in places)


def called(name: str) -> str:
    """Name of an axis, whichever of its names is given: "final drive" is gearbox.final_drive."""
    return _ALSO_CALLED.get(name, name)


def choices(typed: str, known: Iterable[str]) -> str:
    """Names to choose from, for a message: all of few, the nearest of many, each whole so that it can be typed."""
    names = list(dict.fromkeys(known))
    if len(names) <= _MOST_CHOICES:
        return ", ".join(f'"{plain(name)}"' for name in names)
    near = get_close_matches(typed, names, n=_MOST_CHOICES // 2, cutoff=0.0)
    shown = ", ".join(f'"{plain(name)}"' for name in near)
    return f"{shown}, or {len(names) - len(near)} others"


def axes(texts: Sequence[str], scenario: Scenario, place: str = "--vary") -> tuple[Axis, ...]:
    """Axes from the texts that name them.

    Parameters
    ----------
    texts : sequence of str
        Such as ``"curve"``, ``"gear set: short, long"`` or ``"body.mass: 1400 kg to 1700 kg in 7"``.
    scenario : Scenario
        What they vary.
    place : str
        Where the texts stand, for messages.

    Returns
    -------
    tuple of Axis
        In the order given.

    Raises
    ------
    UsageError
        An axis or a name that does not exist, or one that is given twice.
    InputError
        A value that cannot be read, or is out of range.
    """
    found = tuple(_axis(text, scenario, place) for text in texts)
    names = [axis.name for axis in found]
    for name in names:
        if names.count(name) > 1:
            raise UsageError(f"{place}: {quoted(name)} is varied twice; put all its values into one axis")
    if not found:
        raise UsageError(f'nothing is varied: give {place}, such as "curve" or "body.mass: 1400 kg, 1500 kg"')
    return found


def _axis(text: str, scenario: Scenario, place: str) -> Axis:
    name, sign, listed = (part.strip() for part in text.partition(":"))
    if sign and not _split(listed):
        raise UsageError(f'{place} {quoted(text)}: gives no values; write some, such as "{name}: one, another"')
    key = called(name)
    if key == LAUNCH_SPEED and BEST in _split(listed):
        return _launch_speeds(_split(listed), f"{place} {name}")
    if key in set(Kind) - {Kind.NUMBER, Kind.LAUNCH}:
        return _named(Kind(key), listed, scenario, place)
    if key.partition(".")[0] in BESIDE_THE_LAUNCH:
        raise UsageError(f"{place}: no launch depends on {quoted(name)}; vary the car, the air or the road")
    limits = quantity_at(key)
    if limits is not None and key == "gearbox.final_drive" and _final_drive_per_gear(scenario):
        raise UsageError(
            f"{place}: the scenario has final drives of its own for gears, and one number cannot stand for several; "
            'give each choice as one of [[gear_sets]], and vary "gear set"'
        )
    if limits is None:
        named = ", ".join(kind for kind in Kind if kind not in (Kind.NUMBER, Kind.LAUNCH))
        raise UsageError(
            f"{place}: nothing called {quoted(name)} can be varied; choose one of {named}, final drive, or the key "
            "of a single quantity such as body.mass"
        )
    if not listed:
        raise UsageError(
            f'{place} {quoted(text)}: gives no values; write some, such as "{name}: {_two_examples(limits)}"'
        )
    return _numbers(key, listed, limits, f"{place} {name}")


def _final_drive_per_gear(scenario: Scenario) -> bool:
    drives = (scenario.gearbox.final_drive, *(gears.final_drive for gears in scenario.gear_sets or ()))
    return any(isinstance(drive, tuple) for drive in drives)


def _two_examples(limits: Within) -> str:
    return f"{kinds()[limits.dimension].example}, ..."


def _split(text: str) -> tuple[str, ...]:
    """Values between commas; one that holds a comma itself stands in double quotes."""
    return tuple(part.strip() for part in next(csv.reader([text], skipinitialspace=True)) if part.strip())


def _choices(kind: Kind, scenario: Scenario) -> tuple[str, ...]:
    if kind is Kind.CURVE:
        return scenario.curve_names
    return PEDALS if kind is Kind.PEDAL else scenario.alternatives(ALTERNATIVE[kind])


def _named(kind: Kind, listed: str, scenario: Scenario, place: str) -> Axis:
    known = _choices(kind, scenario)
    wanted = _split(listed) if listed else known
    also = tuple(surfaces()) if kind is Kind.SURFACE else ()
    for name in wanted:
        if name not in (*known, *also):
            known_ones = choices(name, (*known, *also))
            raise UsageError(f"{place}: no {kind} is named {quoted(name)}; choose from {known_ones}")
    _all_different(wanted, wanted, f"{place} {kind}")
    if known == (AS_DESCRIBED,) == wanted:
        raise UsageError(f"{place}: the scenario names no other {kind}; add [[{_TABLES[kind]}]] to it")
    return Axis(kind.value, kind, wanted)


def _launch_speeds(listed: tuple[str, ...], place: str) -> Axis:
    """An axis on which the best launch speed stands beside stated ones; such values are names, since best is none."""
    limits = quantity_at(LAUNCH_SPEED)
    assert limits is not None, "a launch speed is a quantity"
    values = [text if text == BEST else _quantity(text, limits, place).si for text in listed]
    _all_different(values, listed, place)
    return Axis(LAUNCH_SPEED, Kind.LAUNCH, listed)


_TABLES = {Kind.GEAR_SET: "gear_sets", Kind.TYRE: "tyre_sets", Kind.SURFACE: "surfaces"}


def _all_different(values: Sequence[object], texts: Sequence[str], place: str) -> None:
    if len(values) > MOST_VALUES:
        raise UsageError(f"{place} has {len(values)} values; at most {MOST_VALUES} are taken")
    seen: set[object] = set()
    for value, text in zip(values, texts, strict=True):
        if value in seen:
            raise UsageError(f"{place}: {quoted(text)} is given twice; give each value once")
        seen.add(value)


def _quantity(text: str, limits: Within, place: str) -> Quantity:
    """Quantity that the key may hold."""
    try:
        value = read(text, *limits.dimensions)
    except InputError as error:
        fault: Fault = error.args[0]
        raise InputError(Fault(place, fault.typed, fault.why, fault.instead)) from None
    low, high = next((low, high) for kind, low, high in limits.ranges if kind is value.dimension)
    if not read(low, value.dimension).si <= value.si <= read(high, value.dimension).si:
        raise InputError(Fault(place, quoted(text), f"is not from {low} to {high}", "check value and unit"))
    if limits.whole and not value.si.is_integer():
        raise InputError(Fault(place, quoted(text), "is not a whole number", "write whole numbers one by one"))
    return value


def _numbers(key: str, listed: str, limits: Within, place: str) -> Axis:
    match = _SPAN.fullmatch(listed)
    if match is None:
        return _list(key, _split(listed), None, limits, place)
    span = _span(match["low"], match["high"], limits, place)
    if match["count"] is None:
        return _list(key, (), span, limits, place, span.text(span.low))
    count = int(match["count"])
    if not 2 <= count <= MOST_VALUES:
        raise UsageError(f"{place}: {count} values cannot fill a range; write 2 to {MOST_VALUES}")
    texts = tuple(span.text(span.at(k / (count - 1))) for k in range(count))
    return _list(key, texts, span, limits, place)


def _list(key: str, texts: tuple[str, ...], span: Span | None, limits: Within, place: str, unit_from: str = "") -> Axis:
    values = [_quantity(text, limits, place) for text in texts]
    dimensions = {value.dimension for value in values}
    if len(dimensions) > 1:
        raise UsageError(f"{place} mixes {' and '.join(sorted(dimensions))}; write all values as one kind of quantity")
    _all_different([value.si for value in values], texts, place)
    typed = examine(unit_from or texts[0], *limits.dimensions)
    return Axis(key, Kind.NUMBER, texts, tuple(v.si for v in values), typed.dimension, typed.spelling, span)


def _span(low: str, high: str, limits: Within, place: str) -> Span:
    ends = [_quantity(text, limits, place) for text in (low, high)]
    typed = examine(low, *limits.dimensions)
    if ends[0].dimension is not ends[1].dimension or ends[0].si >= ends[1].si:
        raise UsageError(
            f"{place}: {quoted(f'{low} to {high}')} does not run from a lower to a higher value of one kind"
        )
    unit = unit_spelled(typed.spelling, typed.dimension)
    return Span(typed.number, float(f"{unit.of(ends[1].si):.{_DIGITS}g}"), typed.spelling)
