"""Air and road, and what every section of a scenario has in common."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from pathlib import Path
from typing import Annotated

from pydantic import AfterValidator, BaseModel, ConfigDict, model_validator

from simlaunch.errors import Fault
from simlaunch.units.field import Within, default, optional, refusal, refused, required
from simlaunch.units.gate import quoted
from simlaunch.units.quantity import Quantity, to_si
from simlaunch.units.spelling import Dimension

MAX_NAME, MAX_NOTE = 80, 4000


def _printable(text: str) -> str:
    if not text.strip() or not text.isprintable() or len(text) > MAX_NAME:
        raise refused(quoted(text), f"is not 1 to {MAX_NAME} printable characters", "write a short name on one line")
    return text


def _note(text: str) -> str:
    if not text.replace("\n", " ").replace("\t", " ").isprintable() or len(text) > MAX_NOTE:
        raise refused(quoted(text), f"is not up to {MAX_NOTE} printable characters", "write plain text")
    return text


Name = Annotated[str, AfterValidator(_printable)]
Note = Annotated[str, AfterValidator(_note)]


@dataclass(frozen=True)
class Derived:
    """A value that was worked out for a key that was left out: its text, its origin, and its common range."""

    text: str
    origin: str
    common: tuple[str, ...] = ()


class Section(BaseModel):
    """A table of the scenario: frozen, and closed to unknown keys."""

    model_config = ConfigDict(frozen=True, extra="forbid", validate_default=True)

    note: Note | None = optional("Free text about this table.", "Invented demonstration data.")

    def derived(self) -> Mapping[str, Derived]:
        """Values worked out for keys that were left out."""
        return {}

    def unused(self) -> frozenset[str]:
        """Keys whose defaults play no part here."""
        return frozenset()


_WEATHER = ((-2000.0, 2000.0), (-10.0, 15.0))
"""Changes of pressure [Pa] and temperature [K] from day to day (common practice)."""

_GRIP = (0.9, 1.1)
"""Friction of one kind of surface from place to place, over its usual value (common practice)."""

_ROLLING = (0.8, 1.5)
"""The same for rolling resistance (common practice)."""

GAS_CONSTANT = 287.05287
LAPSE_RATE = 0.0065
SEA_LEVEL_TEMPERATURE = 288.15
SEA_LEVEL_PRESSURE = 101325.0
STANDARD_GRAVITY = 9.80665


def standard_temperature(altitude: float) -> float:
    """Temperature of the standard atmosphere below 11 km.

    Parameters
    ----------
    altitude : float
        Geopotential altitude [m].

    Returns
    -------
    float
        Temperature [K].

    Source: ISO 2533.

    Examples
    --------
    >>> round(standard_temperature(1000.0), 2)
    281.65
    """
    return SEA_LEVEL_TEMPERATURE - LAPSE_RATE * altitude


def standard_pressure(altitude: float) -> float:
    """Pressure of the standard atmosphere below 11 km.

    Parameters
    ----------
    altitude : float
        Geopotential altitude [m].

    Returns
    -------
    float
        Pressure [Pa].

    Source: ISO 2533.

    Examples
    --------
    >>> round(standard_pressure(1000.0), 2)
    89874.56
    """
    ratio = standard_temperature(altitude) / SEA_LEVEL_TEMPERATURE
    return float(SEA_LEVEL_PRESSURE * ratio ** (STANDARD_GRAVITY / (GAS_CONSTANT * LAPSE_RATE)))


def air_pressure(given: Quantity | None, altitude: Quantity) -> float:
    """Absolute pressure, given or standard at the altitude [Pa]."""
    return given.si if given else standard_pressure(altitude.si)


def air_temperature(given: Quantity | None, altitude: Quantity) -> float:
    """Temperature, given or standard at the altitude [K]."""
    return given.si if given else standard_temperature(altitude.si)


class Air(Section):
    """Air that the car drives through."""

    altitude: Annotated[Quantity, Within(Dimension.LENGTH, "-500 m", "6000 m")] = default(
        "0 m",
        "Geopotential altitude; sets pressure and temperature where they are left out.",
        "ISO 2533 sea level",
        common=("0 m", "500 m"),
    )
    pressure: Annotated[Quantity, Within(Dimension.PRESSURE, "40 kPa", "110 kPa")] | None = optional(
        "Absolute air pressure at the car; replaces the altitude.", "1013 hPa"
    )
    temperature: Annotated[Quantity, Within(Dimension.TEMPERATURE, "-60 degC", "60 degC")] | None = optional(
        "Air temperature.", "20 degC"
    )
    humidity: Annotated[Quantity, Within(Dimension.SHARE, "0 %", "100 %")] = default(
        "0 %", "Relative humidity.", "ISO 2533: dry air", common=("0 %", "70 %")
    )
    head_wind: Annotated[Quantity, Within(Dimension.SPEED, "-40 m/s", "40 m/s")] = default(
        "0 m/s", "Wind against the direction of travel.", "common practice: still air", common=("-3 m/s", "3 m/s")
    )
    density: Annotated[Quantity, Within(Dimension.DENSITY, "0 kg/m^3", "2 kg/m^3")] | None = optional(
        "Air density, in place of the one that follows from pressure, temperature and humidity.", "1.225 kg/m^3"
    )

    @model_validator(mode="after")
    def _one_source_of_pressure(self) -> Air:
        if self.pressure is not None and "altitude" in self.model_fields_set:
            raise refusal(
                Fault("altitude", quoted(self.altitude.text), "is given together with pressure", "give one of the two")
            )
        return self

    @property
    def pressure_si(self) -> float:
        """Absolute pressure, given or standard [Pa]."""
        return air_pressure(self.pressure, self.altitude)

    @property
    def temperature_si(self) -> float:
        """Temperature, given or standard [K]."""
        return air_temperature(self.temperature, self.altitude)

    def derived(self) -> Mapping[str, Derived]:
        """Pressure and temperature of the standard atmosphere."""
        origin = "ISO 2533 at the altitude"
        pressure, temperature = self.pressure_si, self.temperature_si - to_si("0 degC", Dimension.TEMPERATURE)
        changes = () if "altitude" in self.model_fields_set else _WEATHER[0]  # one of the two may be given
        pressures = tuple(f"{pressure + change:.0f} Pa" for change in changes)
        temperatures = tuple(f"{temperature + change:.2f} degC" for change in _WEATHER[1])
        return {
            "pressure": Derived(f"{pressure:.0f} Pa", origin, pressures),
            "temperature": Derived(f"{temperature:.2f} degC", origin, temperatures),
        }


@dataclass(frozen=True)
class Surface:
    """A named road surface; factors are relative to dry asphalt."""

    friction_factor: str
    rolling_factor: str
    origin: str


@cache
def surfaces() -> Mapping[str, Surface]:
    """The named road surfaces, as read from `surfaces.toml`."""
    tables = tomllib.loads(Path(__file__).with_name("surfaces.toml").read_text(encoding="utf-8"))
    return {name: Surface(**entry) for name, entry in tables.items()}


def _known_surface(name: str) -> str:
    if name in surfaces():
        return name
    near = get_close_matches(name, surfaces(), n=1)
    listed = ", ".join(f'"{known}"' for known in surfaces())
    instead = f'did you mean "{near[0]}"?' if near else f"write one of {listed}, or give friction_factor"
    raise refused(quoted(name), "is not a known surface", instead)


STEEPEST = (Dimension.ANGLE, "-22 deg", "22 deg")

FrictionFactor = Annotated[Quantity, Within(Dimension.NUMBER, "0.01", "3")]
RollingFactor = Annotated[Quantity, Within(Dimension.NUMBER, "0", "50")]


_LEFT = (
    "Friction under the left driven wheels over that of the road; stated, the two wheels of a driven axle are two. "
    "Yaw and steering are not modelled."
)
_RIGHT = "The same under the right driven wheels; left out, 1."


class Road(Section):
    """Road under the car."""

    surface: Annotated[str, AfterValidator(_known_surface)] = default(
        "dry asphalt", "Named road surface.", "common practice: the reference of all surface factors"
    )
    friction_factor: FrictionFactor | None = optional(
        "Peak friction relative to the tyre's own on dry asphalt; replaces that of the surface.", "0.7"
    )
    rolling_factor: RollingFactor | None = optional(
        "Rolling resistance relative to asphalt; replaces that of the surface.", "1.2"
    )
    left_friction_factor: FrictionFactor | None = optional(_LEFT, "0.6")
    right_friction_factor: FrictionFactor | None = optional(_RIGHT, "1")
    grade: Annotated[Quantity, Within(Dimension.SLOPE, "-40 %", "40 %", also=(STEEPEST,))] = default(
        "0 %", "Uphill grade, as rise over run or as an angle.", "common practice: level road", common=("-1 %", "1 %")
    )

    def unused(self) -> frozenset[str]:
        """The surface plays no part when both of its factors are given."""
        return frozenset({"surface"}) if self.friction_factor and self.rolling_factor else frozenset()

    def derived(self) -> Mapping[str, Derived]:
        """Factors of the named surface."""
        surface = surfaces()[self.surface]
        grip = tuple(f"{float(surface.friction_factor) * each:.3g}" for each in _GRIP)
        rolling = tuple(f"{float(surface.rolling_factor) * each:.3g}" for each in _ROLLING)
        return {
            "friction_factor": Derived(surface.friction_factor, surface.origin, grip),
            "rolling_factor": Derived(surface.rolling_factor, surface.origin, rolling),
        }


class RoadSurface(Section):
    """A surface to try in place of that of the road."""

    name: Name = required("Name of the surface, unique among them.", "cold and dusty")
    surface: Annotated[str, AfterValidator(_known_surface)] | None = optional(
        "Named road surface that it starts from.", "dry asphalt"
    )
    friction_factor: FrictionFactor | None = optional("Peak friction relative to the tyre's own on dry asphalt.", "0.7")
    rolling_factor: RollingFactor | None = optional("Rolling resistance relative to asphalt.", "1.2")
    left_friction_factor: FrictionFactor | None = optional(_LEFT, "0.6")
    right_friction_factor: FrictionFactor | None = optional(_RIGHT, "1")

    @model_validator(mode="after")
    def _says_something(self) -> RoadSurface:
        if self.surface is None and self.friction_factor is None:
            raise refusal(Fault("friction_factor", "", "is missing, and so is surface", "give one of the two, or both"))
        return self
