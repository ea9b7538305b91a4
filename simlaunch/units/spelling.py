"""The kinds of quantity, and the unit spellings that each accepts."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from pathlib import Path

from simlaunch.errors import UsageError


class Dimension(StrEnum):
    """Kind of quantity; the value is the key of its table in `spellings.toml`."""

    MASS = "mass"
    LENGTH = "length"
    TIME = "time"
    SPEED = "speed"
    ACCELERATION = "acceleration"
    ROTATIONAL_SPEED = "rotational_speed"
    TORQUE = "torque"
    POWER = "power"
    ENERGY = "energy"
    FORCE = "force"
    PRESSURE = "pressure"
    INERTIA = "inertia"
    TEMPERATURE = "temperature"
    SHARE = "share"
    SLOPE = "slope"
    NUMBER = "number"
    AREA = "area"
    VOLUME = "volume"
    DENSITY = "density"
    ANGLE = "angle"
    FREQUENCY = "frequency"
    TORSIONAL_STIFFNESS = "torsional_stiffness"
    TORSIONAL_DAMPING = "torsional_damping"
    CAPACITY_FACTOR = "capacity_factor"
    INVERSE_SPEED_SQUARED = "inverse_speed_squared"
    ROTATIONAL_ACCELERATION = "rotational_acceleration"
    SPECIFIC_CONSUMPTION = "specific_consumption"
    MASS_FLOW = "mass_flow"


class System(StrEnum):
    """System of units for display."""

    METRIC = "metric"
    US = "us"


def system_named(name: str) -> System:
    """System of units by its name.

    Parameters
    ----------
    name : str
        ``"metric"`` or ``"us"``.

    Returns
    -------
    System
        The system.

    Raises
    ------
    UsageError
        No system of that name.
    """
    try:
        return System(name)
    except ValueError:
        choices = ", ".join(System)
        raise UsageError(f"no system of units is named {name!r}; choose one of {choices}") from None


@dataclass(frozen=True)
class Kind:
    """What is known of one dimension: words, SI unit, display labels and spellings."""

    phrase: str
    example: str
    si: str
    metric: str
    us: str
    spelling: Mapping[str, str]

    def label(self, system: System) -> str:
        """Unit label shown in a system of units."""
        return self.us if system is System.US else self.metric


@dataclass(frozen=True)
class RefusedUnit:
    """A unit text that is refused by name: why, and what to write, with `{number}` for the number typed."""

    why: str
    instead: str


@cache
def kinds() -> Mapping[Dimension, Kind]:
    """Every dimension with its words and spellings, as read from `spellings.toml`."""
    tables = tomllib.loads(Path(__file__).with_name("spellings.toml").read_text(encoding="utf-8"))
    return {Dimension(name): Kind(**entry) for name, entry in tables.items()}


@cache
def refused_units() -> Mapping[str, RefusedUnit]:
    """Unit texts that are refused by name, keyed in small letters."""
    tables = tomllib.loads(Path(__file__).with_name("refused.toml").read_text(encoding="utf-8"))
    return {text: RefusedUnit(**entry) for text, entry in tables.items()}


_BRACKETS = re.compile(r"[\[(](.{0,32})[\])]")


def without_brackets(unit: str) -> str:
    """Text of a unit without the square or round brackets around it.

    Examples
    --------
    >>> without_brackets("[N m]")
    'N m'
    """
    match = _BRACKETS.fullmatch(unit.strip())
    return match.group(1).strip() if match else unit.strip()


@cache
def _all_spellings() -> frozenset[str]:
    """Every spelling in small letters, and the dash that stands for no unit."""
    return frozenset(spelling.lower() for kind in kinds().values() for spelling in kind.spelling) | {"-"}


def is_unit(text: str) -> bool:
    """Whether a text is a known unit of any kind, in brackets or not, whatever its capitals."""
    return without_brackets(text).lower() in _all_spellings()
