"""What a calibrator reads off a full-load curve: its peaks, mean effective pressure, and the air it needs."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from simlaunch.physics.engine import air_mass_flow, mean_effective_pressure
from simlaunch.scenario.powertrain import MeasuredAt
from simlaunch.units.quantity import to_si
from simlaunch.units.spelling import Dimension

if TYPE_CHECKING:
    from simlaunch.readers.curve import CurveAccount

USUAL_CONSUMPTION = "340 g/(kW h)"
USUAL_AIR_FUEL_RATIO = "12.0"
ORIGIN = "common practice: boosted petrol engine, full load, enriched"


@dataclass(frozen=True)
class Peak:
    """The highest point of a curve.

    Parameters
    ----------
    speed : float
        Engine speed there [rad/s].
    torque : float
        Torque there [N m].
    """

    speed: float
    torque: float

    @property
    def power(self) -> float:
        """Power there [W]."""
        return self.torque * self.speed


@dataclass(frozen=True)
class AirNeed:
    """Air that an engine has to breathe for its peak power.

    Parameters
    ----------
    flow : float
        Mass flow of air [kg/s].
    consumption : float
        Brake specific fuel consumption that was used [kg/J].
    consumption_origin : str
        Where that number comes from.
    ratio : float
        Mass of air over mass of fuel that was used [-].
    ratio_origin : str
        Where that number comes from.
    """

    flow: float
    consumption: float
    consumption_origin: str
    ratio: float
    ratio_origin: str


@dataclass(frozen=True)
class EngineFigures:
    """Peaks of a curve and what follows from them; None where figures are not at the crank or something is not known.

    Parameters
    ----------
    peak_torque, peak_power : Peak
        Points of highest torque and of highest power.
    displacement : float or None
        Swept volume [m^3].
    mean_effective_pressure : float or None
        Brake mean effective pressure at peak torque [Pa].
    air : AirNeed or None
        Air for the peak power.
    """

    peak_torque: Peak
    peak_power: Peak
    displacement: float | None
    mean_effective_pressure: float | None
    air: AirNeed | None


def engine_figures(
    account: CurveAccount,
    displacement: float | None = None,
    consumption: float | None = None,
    air_fuel_ratio: float | None = None,
) -> EngineFigures:
    """Peaks, mean effective pressure and air need of a curve.

    Parameters
    ----------
    account : CurveAccount
        The curve. At hub or wheel it has peaks only; where the place is not known, the crank is assumed.
    displacement : float, optional
        Swept volume of all cylinders [m^3].
    consumption : float, optional
        Brake specific fuel consumption; a usual one if left out [kg/J].
    air_fuel_ratio : float, optional
        Mass of air over mass of fuel; the logged one, or else a usual one, if left out [-].

    Returns
    -------
    EngineFigures
        In SI units.
    """
    highest, strongest = (_peak(account, int(np.argmax(values))) for values in (account.torque, account.power))
    if account.measured_at not in (None, MeasuredAt.CRANK):
        return EngineFigures(highest, strongest, displacement, None, None)
    pressure = mean_effective_pressure(highest.torque, displacement) if displacement else None
    logged = air_fuel_ratio is None and account.air_fuel is not None
    air = _air_need(strongest.power, consumption, account.air_fuel if logged else air_fuel_ratio)
    air = replace(air, ratio_origin="logged at peak power") if logged else air
    return EngineFigures(highest, strongest, displacement, pressure, air)


def _peak(account: CurveAccount, place: int) -> Peak:
    return Peak(float(account.speed[place]), float(account.torque[place]))


def _air_need(power: float, consumption: float | None, ratio: float | None) -> AirNeed:
    burnt = to_si(USUAL_CONSUMPTION, Dimension.SPECIFIC_CONSUMPTION) if consumption is None else consumption
    mixed = float(USUAL_AIR_FUEL_RATIO) if ratio is None else ratio
    origins = tuple(ORIGIN if value is None else "as given" for value in (consumption, ratio))
    return AirNeed(air_mass_flow(power, burnt, mixed), burnt, origins[0], mixed, origins[1])
