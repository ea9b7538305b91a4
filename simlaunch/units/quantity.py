"""Text to SI and SI to display units."""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache, lru_cache
from math import pi
from pathlib import Path
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from simlaunch.units.gate import MAX_DECIMALS, examine
from simlaunch.units.spelling import Dimension, System, kinds

Value = TypeVar("Value", float, NDArray[np.float64])

RPM = pi / 30.0
"""One revolution a minute [rad/s]."""


@dataclass(frozen=True)
class Quantity:
    """A quantity that was typed: the text, its value in SI units and its kind."""

    text: str
    si: float
    dimension: Dimension


@dataclass(frozen=True)
class DisplayUnit:
    """A unit for display: its label, and SI value = scale * shown value + offset."""

    label: str
    scale: float
    offset: float

    def of(self, value_si: Value) -> Value:
        """Value in this unit of a number, or an array of numbers, in SI units."""
        return (value_si - self.offset) / self.scale

    def si(self, value: Value) -> Value:
        """Value in SI units of a number, or an array of numbers, in this unit."""
        return value * self.scale + self.offset


@cache
def _factors() -> dict[str, dict[str, tuple[float, float]]]:
    """Scale and offset of every unit of every kind, worked out by a unit library that is too slow to load each time."""
    kept: dict[str, dict[str, tuple[float, float]]] = json.loads(
        Path(__file__).with_name("factors.json").read_text(encoding="utf-8")
    )
    return kept


@lru_cache(maxsize=8192)  # most texts of a scenario are read again and again: defaults, bounds, all but what changed
def read(text: str, *dimensions: Dimension) -> Quantity:
    """Quantity of one of the wanted kinds, from text with a unit.

    Parameters
    ----------
    text : str
        Such as ``"1610 kg"``.
    dimensions : Dimension
        The kinds that are wanted here.

    Returns
    -------
    Quantity
        Text, SI value and kind.

    Raises
    ------
    InputError
        With a `Fault` as its only argument.
    """
    typed = examine(text, *dimensions)
    scale, offset = _factors()[typed.dimension][typed.spelling]
    return Quantity(text.strip(" "), typed.number * scale + offset, typed.dimension)


def to_si(text: str, dimension: Dimension) -> float:
    """Value in SI units of text with a unit.

    Parameters
    ----------
    text : str
        Such as ``"100 km/h"``.
    dimension : Dimension
        The kind that is wanted.

    Returns
    -------
    float
        Value in the SI unit of the dimension.

    Raises
    ------
    InputError
        With a `Fault` as its only argument.

    Examples
    --------
    >>> to_si("60 mph", Dimension.SPEED)
    26.8224
    """
    return read(text, dimension).si


@cache
def unit_spelled(spelling: str, dimension: Dimension) -> DisplayUnit:
    """Unit that goes by one of its accepted spellings.

    Parameters
    ----------
    spelling : str
        Such as ``"lb-ft"``; a pure number has the empty one.
    dimension : Dimension
        Kind of quantity.

    Returns
    -------
    DisplayUnit
        Label, scale and offset.
    """
    return DisplayUnit(spelling, *_factors()[dimension][spelling])


@cache
def display_unit(dimension: Dimension, system: System) -> DisplayUnit:
    """Unit in which a kind of quantity is shown.

    Parameters
    ----------
    dimension : Dimension
        Kind of quantity.
    system : System
        Metric or US customary.

    Returns
    -------
    DisplayUnit
        Label, scale and offset.
    """
    return unit_spelled(kinds()[dimension].label(system), dimension)


def to_display(value_si: float, dimension: Dimension, system: System) -> tuple[float, str]:
    """Value and unit label for display.

    Parameters
    ----------
    value_si : float
        Value in the SI unit of the dimension.
    dimension : Dimension
        Kind of quantity.
    system : System
        Metric or US customary.

    Returns
    -------
    tuple of float and str
        Value in the display unit, and its label.

    Examples
    --------
    >>> to_display(26.8224, Dimension.SPEED, System.US)
    (60.0, 'mph')
    """
    unit = display_unit(dimension, system)
    return unit.of(value_si), unit.label


def as_typed(value: float, dimension: Dimension, digits: int = 12) -> str:
    """A value as it would be typed in a scenario.

    Parameters
    ----------
    value : float
        SI units.
    dimension : Dimension
        Kind of quantity.
    digits : int
        Significant digits.

    Returns
    -------
    str
        Number and unit.

    Examples
    --------
    >>> as_typed(0.012, Dimension.LENGTH, 3)
    '0.012 m'
    """
    unit = display_unit(dimension, System.METRIC)
    number = np.format_float_positional(unit.of(value), precision=digits, fractional=False, trim="-", unique=False)
    if len(number.partition(".")[2]) > MAX_DECIMALS:
        number = f"{unit.of(value):.{digits}g}"
    return f"{number} {unit.label}".strip()
