"""Air: density of moist air, and drag."""

from __future__ import annotations

from math import exp

from simlaunch.compiled import inline, part

_GAS_CONSTANT = 8.314472  # [J/(mol K)], the value CIPM-2007 is written with
_MOLAR_MASS_DRY = 28.96546e-3  # [kg/mol], at 400 micromol/mol of carbon dioxide
_MOLAR_MASS_WATER = 18.01528e-3  # [kg/mol]


@part
def saturation_pressure(temperature: float) -> float:
    """Saturation vapour pressure over water.

    p = exp(A T^2 + B T + C + D / T)

    Parameters
    ----------
    temperature : float
        Absolute temperature [K].

    Returns
    -------
    float
        Pressure [Pa].

    Source: CIPM-2007, Picard, Davis, Glaeser and Fujii, Metrologia 45 (2008) 149, appendix A1.

    Examples
    --------
    >>> round(saturation_pressure(293.15), 2)
    2339.16
    """
    return exp(1.2378847e-5 * temperature**2 - 1.9121316e-2 * temperature + 33.93711047 - 6.3431645e3 / temperature)


@part
def vapour_share(pressure: float, temperature: float, humidity: float) -> float:
    """Mole fraction of water vapour in moist air.

    x = h f psv / p

    Parameters
    ----------
    pressure : float
        Absolute pressure [Pa].
    temperature : float
        Absolute temperature [K].
    humidity : float
        Relative humidity, 0 to 1 [-].

    Returns
    -------
    float
        Mole fraction [-].

    Source: CIPM-2007, Metrologia 45 (2008) 149, appendix A1.
    """
    celsius = temperature - 273.15
    enhancement = 1.00062 + 3.14e-8 * pressure + 5.6e-7 * celsius**2
    return humidity * enhancement * saturation_pressure(temperature) / pressure


@part
def compressibility(pressure: float, temperature: float, vapour: float) -> float:
    """Compressibility factor of moist air.

    Parameters
    ----------
    pressure : float
        Absolute pressure [Pa].
    temperature : float
        Absolute temperature [K].
    vapour : float
        Mole fraction of water vapour [-].

    Returns
    -------
    float
        Z [-].

    Source: CIPM-2007, Metrologia 45 (2008) 149, appendix A1.
    """
    t = temperature - 273.15
    dry = 1.58123e-6 - 2.9331e-8 * t + 1.1043e-10 * t * t
    linear = (5.707e-6 - 2.051e-8 * t) * vapour
    square = (1.9898e-4 - 2.376e-6 * t) * vapour * vapour
    ratio = pressure / temperature
    return 1.0 - ratio * (dry + linear + square) + ratio * ratio * (1.83e-11 - 0.765e-8 * vapour * vapour)


@part
def density(pressure: float, temperature: float, humidity: float) -> float:
    """Density of moist air.

    rho = p Ma / (Z R T) (1 - x (1 - Mv / Ma))

    Parameters
    ----------
    pressure : float
        Absolute pressure, published range 60 to 110 kPa [Pa].
    temperature : float
        Absolute temperature, published range 288 to 300 K; good well beyond for a car [K].
    humidity : float
        Relative humidity, 0 to 1 [-].

    Returns
    -------
    float
        Density [kg/m^3].

    Source: CIPM-2007, Metrologia 45 (2008) 149.

    Examples
    --------
    >>> round(density(101325.0, 293.15, 0.5), 6)
    1.199314
    """
    x = vapour_share(pressure, temperature, humidity)
    z = compressibility(pressure, temperature, x)
    dry = pressure * _MOLAR_MASS_DRY / (z * _GAS_CONSTANT * temperature)
    return dry * (1.0 - x * (1.0 - _MOLAR_MASS_WATER / _MOLAR_MASS_DRY))


@inline
def dynamic_force(area: float, air_density: float, air_speed: float) -> float:
    """Force of the air on an area that already holds its coefficient: drag area, lift area.

    F = rho A V |V| / 2

    Parameters
    ----------
    area : float
        Coefficient times reference area [m^2].
    air_density : float
        Density [kg/m^3].
    air_speed : float
        Speed of the air against the car, head wind included [m/s].

    Returns
    -------
    float
        Force, with the sign of the air speed [N].

    Source: definition of the drag coefficient; ISO 8855 axes.
    """
    return 0.5 * air_density * area * air_speed * abs(air_speed)
