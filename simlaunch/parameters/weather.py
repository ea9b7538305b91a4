"""What the weather does to torque: corrections to the air of a standard, and the way back to the air of a launch.

A corrected figure is the measured one times a factor. Every factor here is for spark ignition at full load.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import sqrt

from simlaunch.errors import Fault, InputError
from simlaunch.physics.air import saturation_pressure
from simlaunch.scenario.powertrain import CompressorLimit, Correction, Curve, HeldCharge, InAir, ShareOfLoss
from simlaunch.scenario.surroundings import Air
from simlaunch.units.quantity import to_si
from simlaunch.units.spelling import Dimension

USUAL = 0.07
"""Formulas hold for factors no further from 1 than this (common practice; also the range ISO 1585 is valid in)."""

DOUBT = f"do not trust a factor further than {100.0 * USUAL:.0f} % from 1"

_POSSIBLE = {"pressure": (40e3, 120e3), "temperature": (213.149, 343.15), "humidity": (0.0, 1.0)}
_SHOWN = {
    "pressure": ("{:.4g} kPa", 1e-3, 0.0),
    "temperature": ("{:.1f} degC", 1.0, -273.15),
    "humidity": ("{:.0f} %", 100.0, 0.0),
}


@dataclass(frozen=True)
class Weather:
    """Air that the engine breathed.

    Parameters
    ----------
    pressure : float
        Absolute pressure at the place of the test, not brought to sea level [Pa].
    temperature : float
        Absolute temperature at the intake [K].
    humidity : float
        Relative humidity, 0 to 1 [-].

    Raises
    ------
    InputError
        A value outside what weather can be; with a `Fault` as its only argument.
    """

    pressure: float
    temperature: float
    humidity: float

    def __post_init__(self) -> None:
        """Refuse what no weather is, infinities and `nan` included."""
        for name, (low, high) in _POSSIBLE.items():
            value = getattr(self, name)
            if not low <= value <= high:
                pattern, scale, offset = _SHOWN[name]
                typed, least, most = (pattern.format(v * scale + offset) for v in (value, low, high))
                fault = Fault(f"weather, {name}", typed, f"is not from {least} to {most}", "check value and unit")
                raise InputError(fault)

    @property
    def dry_pressure(self) -> float:
        """Pressure of the air without its water vapour [Pa]."""
        return self.pressure - self.humidity * saturation_pressure(self.temperature)

    def __str__(self) -> str:
        shown = (_SHOWN[name][0].format(getattr(self, name) * _SHOWN[name][1] + _SHOWN[name][2]) for name in _POSSIBLE)
        return ", ".join(shown)


@dataclass(frozen=True)
class Factor:
    """Corrected over measured, why it is what it is, and whether it is too far from 1 to be trusted."""

    value: float
    why: str
    flagged: bool


NOT_CORRECTED = Factor(1.0, "1, since no correction is asked for", flagged=False)


def sae_j1349(weather: Weather) -> float:
    """Factor to 99 kPa dry and 25 degC, with a mechanical efficiency of 85 %.

    CF = 1.18 (99 kPa / p_dry) sqrt((t + 273) / 298) - 0.18

    Source: SAE J1349, June 1990, as quoted in secondary text.
    """
    return 1.18 * (99e3 / weather.dry_pressure) * sqrt((_celsius(weather) + 273.0) / 298.0) - 0.18


def iso_1585(weather: Weather) -> float:
    """Factor to 99 kPa dry and 25 degC.

    CF = (99 kPa / p_dry)^1.2 ((t + 273) / 298)^0.6

    Source: ISO 1585 and UN Regulation 85, spark ignition, as quoted in secondary text.
    """
    return float((99e3 / weather.dry_pressure) ** 1.2 * ((_celsius(weather) + 273.0) / 298.0) ** 0.6)


def din_70020(weather: Weather) -> float:
    """Factor to 1013 mbar, humidity not regarded, and 20 degC.

    CF = (1013 mbar / p) sqrt((t + 273) / 293)

    Source: DIN 70020, as quoted in secondary text.
    """
    return 1013e2 / weather.pressure * sqrt((_celsius(weather) + 273.0) / 293.0)


def sae_j607(weather: Weather) -> float:
    """Factor to 29.92 inHg dry and 60 degF.

    CF = (29.92 inHg / p_dry) sqrt((459.7 + t_F) / 519.7)

    Source: SAE J607, withdrawn, as quoted in secondary text.
    """
    fahrenheit = 1.8 * _celsius(weather) + 32.0
    standard = to_si("29.92 inHg", Dimension.PRESSURE)
    return standard / weather.dry_pressure * sqrt((459.7 + fahrenheit) / 519.7)


def _celsius(weather: Weather) -> float:
    return weather.temperature - 273.15


_FORMULA: Mapping[Correction, Callable[[Weather], float]] = {
    Correction.SAE_J1349: sae_j1349,
    Correction.ISO_1585: iso_1585,
    Correction.DIN_70020: din_70020,
    Correction.SAE_J607: sae_j607,
}

_HOLDS_ITS_PRESSURE = (
    "1, since the engine holds its own charge pressure: it has made up for the weather already, and a factor would "
    "count the weather twice (UN Regulation 85, amendment of 2015); {correction} would say {plain:.4f}"
)


def factor(correction: Correction, weather: Weather, *, boosted: bool, override: bool = False) -> Factor:
    """Factor from measured to corrected figures; divide by it to go back.

    Parameters
    ----------
    correction : Correction
        What to correct to.
    weather : Weather
        Air of the test.
    boosted : bool
        Whether the engine holds its own charge pressure whatever the weather.
    override : bool
        Correct a boosted engine by the formula all the same.

    Returns
    -------
    Factor
        Value [-], the reason, and whether it is outside 0.93 to 1.07.

    Examples
    --------
    >>> hot = Weather(95e3, 308.15, 0.3)
    >>> round(factor(Correction.SAE_J1349, hot, boosted=False).value, 4)
    1.0928
    >>> factor(Correction.SAE_J1349, hot, boosted=True).value
    1.0
    """
    if correction is Correction.NONE:
        return NOT_CORRECTED
    value = _FORMULA[correction](weather)
    if boosted and not override:
        return Factor(1.0, _HOLDS_ITS_PRESSURE.format(correction=correction, plain=value), flagged=False)
    flagged = abs(value - 1.0) > USUAL
    why = f"{value:.4f} by {correction} for {weather}"
    if boosted:
        why += "; asked for although the engine holds its own charge pressure"
    if flagged:
        why += f"; {DOUBT}"
    return Factor(value, why, flagged)


def gap(first: Correction, second: Correction, weather: Weather) -> float:
    """How much higher the same run reads under a second correction than under a first, on the same day.

    Parameters
    ----------
    first, second : Correction
        Corrections to compare.
    weather : Weather
        Air of the test.

    Returns
    -------
    float
        Relative difference [-].

    Examples
    --------
    >>> round(gap(Correction.SAE_J1349, Correction.SAE_J607, Weather(99e3, 298.15, 0.0)), 3)
    0.04
    """
    plain = (factor(correction, weather, boosted=False).value for correction in (first, second))
    low, high = plain
    return high / low - 1.0


# --- from the air in which a curve holds to that of a launch ---

_STANDARD_AIR: Mapping[Correction, tuple[str, str]] = {
    Correction.SAE_J1349: ("99 kPa", "25 degC"),
    Correction.ISO_1585: ("99 kPa", "25 degC"),
    Correction.DIN_70020: ("1013 hPa", "20 degC"),
    Correction.SAE_J607: ("29.92 inHg", "60 degF"),
}
"""Pressure of the dry air, and temperature, in which each factor is 1."""


def scenario_weather(air: Air) -> Weather:
    """Air of a scenario, as an engine breathes it.

    Parameters
    ----------
    air : Air
        Given, or standard at its altitude.

    Returns
    -------
    Weather
        Pressure, temperature and humidity.
    """
    return Weather(air.pressure_si, air.temperature_si, air.humidity.si)


def air_of(curve: Curve) -> Weather:
    """Air in which a curve holds: that of the correction that it carries, or that of its measurement.

    Parameters
    ----------
    curve : Curve
        States how its torque follows the air, and does not hold its charge pressure in any.

    Returns
    -------
    Weather
        Dry where a standard says so.
    """
    if curve.correction not in (None, Correction.NONE):
        pressure, temperature = _STANDARD_AIR[curve.correction]
        return Weather(to_si(pressure, Dimension.PRESSURE), to_si(temperature, Dimension.TEMPERATURE), 0.0)
    stated = curve.weather
    assert isinstance(stated, InAir), "only curves that follow the air come here"
    assert stated.pressure, "a sound curve states its air"
    assert stated.temperature, "a sound curve states its air"
    return Weather(stated.pressure.si, stated.temperature.si, stated.humidity.si if stated.humidity else 0.0)


def torque_factor(curve: Curve, weather: Weather) -> float:
    """Torque of a curve in some air over the torque that it states.

    Naturally aspirated: CF(air of the curve) / CF(air); a share of the loss: 1 - s (1 - that); otherwise 1.

    Parameters
    ----------
    curve : Curve
        A full-load curve.
    weather : Weather
        Air of the launch.

    Returns
    -------
    float
        Factor [-]; 1 where the curve does not say how it follows the air.

    Source: the inverse of the corrections above; the share is the user's own.
    """
    stated = curve.weather
    if stated is None or isinstance(stated, HeldCharge | CompressorLimit):
        return 1.0
    formula = stated.formula or curve.correction
    assert formula is not None, "a sound curve states its formula"
    plain = _FORMULA[formula](air_of(curve)) / _FORMULA[formula](weather)
    return 1.0 - stated.share.si * (1.0 - plain) if isinstance(stated, ShareOfLoss) else plain


def power_limit(curve: Curve, weather: Weather) -> float:
    """Highest power that the compressor allows a curve in some air.

    P = P_ref (p_dry / p_ref) sqrt(T_ref / T): at its limit a compressor takes in a fixed corrected flow,
    m sqrt(T) / p, and power goes with the mass of dry air.

    Parameters
    ----------
    curve : Curve
        A full-load curve.
    weather : Weather
        Air of the launch.

    Returns
    -------
    float
        Power; infinite where the curve states no limit of a compressor [W].

    Source: similarity of compressors, corrected mass flow (from memory: SAE J1826, and Dixon, Fluid Mechanics and
    Thermodynamics of Turbomachinery, ch. 1).
    """
    stated = curve.weather
    if not isinstance(stated, CompressorLimit):
        return float("inf")
    own = air_of(curve)
    return stated.power.si * (weather.dry_pressure / own.dry_pressure) * sqrt(own.temperature / weather.temperature)
