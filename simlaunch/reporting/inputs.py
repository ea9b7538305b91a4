"""Every value that was typed into a scenario: as typed, in SI, in US customary units, and in plain words."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace

from pydantic.fields import FieldInfo

from simlaunch.output.layout import Row, Table
from simlaunch.reporting.plain_words import plain_key
from simlaunch.reporting.typeset import unit_text
from simlaunch.scenario.model import Mark, Scenario
from simlaunch.scenario.powertrain import Curve
from simlaunch.scenario.surroundings import Section
from simlaunch.units.quantity import Quantity, display_unit
from simlaunch.units.spelling import System, kinds

Way = Callable[[Quantity], str]

_SYMBOLS = {
    "dimensionless": "",
    "kilogram": "kg",
    "meter": "m",
    "second": "s",
    "newton": "N",
    "radian": "rad",
    "pascal": "Pa",
    "kelvin": "K",
    "hertz": "Hz",
    "watt": "W",
    "joule": "J",
    "**": "^",
    "*": " ",
}
_OF_A_SWEEP = ("gear_sets", "tyre_sets", "surfaces", "sweep", "limits")
_SHOWN_ELSEWHERE = ("format", "name", "note", "curves", "uncertain")


@dataclass(frozen=True)
class Input:
    """One value: its name, what it means, and its text as typed, in SI and in US customary units."""

    name: str
    meaning: str
    typed: str
    si: str
    us: str


def inputs(scenario: Scenario, curves: Iterable[str] = ()) -> tuple[Input, ...]:
    """Every value that was typed for a launch, without points of curves and what is uncertain.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    curves : iterable of str
        Names of the curves of which it is listed how they follow the air.

    Returns
    -------
    tuple of Input
        In the order of the model; alternatives that only a sweep tries are left out.
    """
    found: list[Input] = []
    for name, field in type(scenario).model_fields.items():
        value = getattr(scenario, name)
        if name not in _OF_A_SWEEP and name not in _SHOWN_ELSEWHERE and value is not None:
            found += _of_value(name, value, field)
    for name in curves:
        if (weather := scenario.curve(name).weather) is not None:
            found += (replace(each, name=f'Curve "{name}", {each.name}') for each in _of_section("weather", weather))
    return tuple(found)


def curve_tables(curve: Curve) -> tuple[Table, ...]:
    """Points of a full-load curve, and of its limits by gear: as typed, in SI and in US customary units."""
    heads = ("speed as typed", "torque as typed", "speed, SI", "torque, SI", "speed, US", "torque, US")
    title = f'Curve "{curve.name}"'
    if curve.correction is not None:
        title += f", weather correction {curve.correction}"
    points = tuple(Row(str(n), "", _cells(point)) for n, point in enumerate(curve.points, start=1))
    limits = tuple(
        Row(f"gear {limit.gear.text}", "", _cells(point) if len(limit.torque) > 1 else _at_any_speed(point))
        for limit in curve.gear_limits or ()
        for point in limit.torque
    )
    by_gear = (Table(f'Curve "{curve.name}", most torque in single gears', heads, limits),) if limits else ()
    return (Table(title, heads, points), *by_gear)


def _cells(point: tuple[Quantity, Quantity]) -> tuple[str, ...]:
    return tuple(way(each) for way in _WAYS for each in point)


def _at_any_speed(point: tuple[Quantity, Quantity]) -> tuple[str, ...]:
    return tuple(text for way in _WAYS for text in ("any", way(point[1])))


def _of_value(key: str, value: object, field: FieldInfo) -> Iterator[Input]:
    if isinstance(value, Section):
        yield from _of_section(key, value)
    elif isinstance(value, tuple) and value and all(isinstance(each, Section) for each in value):
        for n, each in enumerate(value, start=1):
            yield from _of_section(f"{key}[{n}]", each)
    else:
        yield Input(plain_key(key), field.description or "", *(_shown(value, way) for way in _WAYS))


def _of_section(key: str, section: Section) -> Iterator[Input]:
    for name, field in type(section).model_fields.items():
        value = getattr(section, name)
        if value is None or name == "note" or (name not in section.model_fields_set and not isinstance(value, Section)):
            continue
        yield from _of_value(f"{key}.{name}", value, field)


def _typed(quantity: Quantity) -> str:
    return quantity.text


def _si(quantity: Quantity) -> str:
    return unit_text(f"{quantity.si:.6g} {_si_label(kinds()[quantity.dimension].si)}".strip())


def _si_label(unit: str) -> str:
    """Symbols in place of the names of units."""
    for name, symbol in _SYMBOLS.items():
        unit = unit.replace(name, symbol)
    return unit


def _us(quantity: Quantity) -> str:
    unit = display_unit(quantity.dimension, System.US)
    return unit_text(f"{unit.of(quantity.si):.5g} {unit.label}".strip())


_WAYS: tuple[Way, ...] = (_typed, _si, _us)


def _shown(value: object, way: Way, depth: int = 0) -> str:
    """A value in one way; points of a curve one after the other."""
    if isinstance(value, Quantity):
        return way(value)
    if isinstance(value, Mark):
        return " to ".join(_shown(end, way) for end in (value.start, value.end) if end)
    if isinstance(value, tuple):
        return (": " if depth else "; ").join(_shown(each, way, depth + 1) for each in value)
    return str(value) if way is _typed or not isinstance(value, str) else ""
