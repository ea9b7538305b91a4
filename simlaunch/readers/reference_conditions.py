"""On what footing figures stand: the weather correction they carry, and where along the driveline they are valid.

A corrected figure is the measured one times a factor. Every factor here is for spark ignition at full load.

Torque taken at hub or wheel is the engine-speed torque of the trade: power there over engine speed. Tyre losses on a
roller are in no formula here; whoever has measured them states a percentage.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from simlaunch.errors import Fault, InputError, UsageError
from simlaunch.physics.air import saturation_pressure
from simlaunch.record import Axle
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.powertrain import Correction, MeasuredAt
from simlaunch.units.quantity import to_si
from simlaunch.units.spelling import Dimension

Array = NDArray[np.float64]

# --- weather ---

USUAL = 0.07
"""A factor further from 1 than this is not to be trusted (common practice; also the range ISO 1585 is valid in)."""

_POSSIBLE = {"pressure": (40e3, 120e3), "temperature": (223.15, 343.15), "humidity": (0.0, 1.0)}
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
        why += f"; further than {USUAL:.0%} from 1, not to be trusted"
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


# --- driveline ---


@dataclass(frozen=True)
class Losses:
    """What stands between the crank and the place of measurement.

    Parameters
    ----------
    efficiency : float
        Share of the power that arrives [-].
    inertia_before : float
        Inertia that turns with the engine [kg m^2].
    inertia_after : float
        Inertia beyond the gears, seen from the engine: over the overall ratio squared [kg m^2].
    acceleration : float
        Rate of engine speed during the sweep [rad/s^2].
    why : str
        Where these numbers come from, in words.
    """

    efficiency: float
    inertia_before: float
    inertia_after: float
    acceleration: float
    why: str


def stated_losses(share: float) -> Losses:
    """Losses as a stated share of the power at the crank.

    Parameters
    ----------
    share : float
        From 0 to 0.5 [-].

    Returns
    -------
    Losses
        Without inertia: a share measured in a sweep holds that as well.

    Raises
    ------
    UsageError
        A share outside that range.
    """
    if not 0.0 <= share <= 0.5:
        raise UsageError(f"losses of {100 * share:g} % of the crank power are not from 0 % to 50 %")
    return Losses(1.0 - share, 0.0, 0.0, 0.0, f"stated losses of {100 * share:g} % of the power at the crank")


def driveline_losses(scenario: Scenario, place: MeasuredAt, gear: int, acceleration: float) -> Losses:
    """Losses of a scenario's own driveline in one gear.

    Parameters
    ----------
    scenario : Scenario
        Whose gearbox, drive, engine and tyres are taken.
    place : MeasuredAt
        Wheels turn with the shafts on a roller, not on a hub dyno.
    gear : int
        Gear of the sweep, from 1.
    acceleration : float
        Rate of engine speed during the sweep; 0 for points held steady [rad/s^2].

    Returns
    -------
    Losses
        Efficiency of the gear, and the inertia on both sides of it.

    Raises
    ------
    UsageError
        There is no such gear, or the figures stand at the crank already.
    """
    if place is MeasuredAt.CRANK:
        raise UsageError("figures at the crank have no driveline losses; name hub or wheel")
    box = scenario.gearbox
    if not 1 <= gear <= len(box.ratios):
        raise UsageError(f"there is no gear {gear}; the gearbox has 1 to {len(box.ratios)}")
    ratio = box.ratios[gear - 1].si * box.final_drive.si
    efficiency = box.efficiency[gear - 1 if len(box.efficiency) > 1 else 0].si
    beyond = scenario.drive.inertia.si + (_driven_wheels(scenario) if place is MeasuredAt.WHEEL else 0.0)
    before = scenario.engine.inertia.si + box.input_inertia.si
    why = (
        f"driveline of {scenario.name} in gear {gear} (overall ratio {ratio:.4g}, efficiency {efficiency:.1%}) at "
        f"{acceleration * 30.0 / np.pi:.4g} rpm/s; inertia {before:.4g} kg m^2 with the engine, "
        f"{beyond:.4g} kg m^2 beyond the gears; tyre losses on a roller not included"
    )
    return Losses(efficiency, before, beyond / ratio**2, acceleration, why)


def _driven_wheels(scenario: Scenario) -> float:
    """Inertia of the wheels that the engine drives [kg m^2]."""
    driven = {"front": (Axle.FRONT,), "rear": (Axle.REAR,), "all": (Axle.FRONT, Axle.REAR)}[scenario.drive.driven]
    return sum(2.0 * scenario.tyres.of(axle).wheel_inertia.si for axle in driven)


def to_crank(torque: Array, losses: Losses) -> Array:
    """Torque at the crank, as held steady, from the torque taken during a sweep further down.

    T = (T_taken + J_after a) / efficiency + J_before a

    Parameters
    ----------
    torque : ndarray
        Engine-speed torque where it was taken [N m].
    losses : Losses
        What stands between.

    Returns
    -------
    ndarray
        Torque [N m].

    Source: Newton's second law; power through gears with a constant efficiency.
    """
    taken = torque + losses.inertia_after * losses.acceleration
    return taken / losses.efficiency + losses.inertia_before * losses.acceleration


def from_crank(torque: Array, losses: Losses) -> Array:
    """Torque that a sweep would show further down, from the torque at the crank.

    Parameters
    ----------
    torque : ndarray
        Torque at the crank [N m].
    losses : Losses
        What stands between.

    Returns
    -------
    ndarray
        Engine-speed torque [N m].

    Source: `to_crank`, solved for the torque taken.
    """
    arriving = (torque - losses.inertia_before * losses.acceleration) * losses.efficiency
    return arriving - losses.inertia_after * losses.acceleration
