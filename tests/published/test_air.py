"""Density of air against standard atmospheres, a table of the 2007 formula, and two general libraries."""

from __future__ import annotations

import ambiance
import fluids
import pytest
from CoolProp.HumidAirProp import HAPropsSI

from simlaunch.physics import air

# Dry air of the 2007 formula weighs 28.96546 g/mol and is not quite an ideal gas; the standard atmospheres take
# 28.9644 g/mol and an ideal one. At sea level the two effects are 4e-5 and 4e-4.
REAL_GAS = 6e-4

GEOPOTENTIAL = [  # height [m], temperature [K], pressure [Pa], density [kg/m^3]
    (0.0, 288.15, 101325.0, 1.225000),
    (500.0, 284.90, 95460.84, 1.167269),
    (1000.0, 281.65, 89874.56, 1.111643),
    (2000.0, 275.15, 79495.20, 1.006490),
    (3000.0, 268.65, 70108.53, 0.909122),
]


@pytest.mark.parametrize(("height", "temperature", "pressure", "density"), GEOPOTENTIAL)
def test_standard_atmosphere(height: float, temperature: float, pressure: float, density: float) -> None:
    """Dry air at geopotential heights. Source: ISO 2533."""
    assert air.density(pressure, temperature, 0.0) == pytest.approx(density, rel=REAL_GAS), height


@pytest.mark.parametrize("height", [0.0, 500.0, 1000.0, 2000.0, 3000.0])
def test_two_libraries_of_the_standard_atmosphere(height: float) -> None:
    """Dry air at geometric heights. Source: US Standard Atmosphere 1976, by `ambiance` and by `fluids`."""
    one = ambiance.Atmosphere(height)
    other = fluids.ATMOSPHERE_1976(height)
    own = air.density(float(one.pressure[0]), float(one.temperature[0]), 0.0)
    assert own == pytest.approx(float(one.density[0]), rel=REAL_GAS)
    assert air.density(other.P, other.T, 0.0) == pytest.approx(other.rho, rel=REAL_GAS)


MOIST = [  # pressure [Pa], temperature [degC], relative humidity, density [kg/m^3]
    (101325.0, 20.0, 0.5, 1.199314),
    (101325.0, 15.0, 0.0, 1.225521),
    (101325.0, 25.0, 0.5, 1.177315),
    (99000.0, 25.0, 0.3, 1.152923),
    (101325.0, 35.0, 0.6, 1.131380),
    (84556.0, 30.0, 0.2, 0.968229),
]


@pytest.mark.parametrize(("pressure", "celsius", "humidity", "density"), MOIST)
def test_moist_air(pressure: float, celsius: float, humidity: float, density: float) -> None:
    """Seven figures. Source: CIPM-2007, Picard et al., Metrologia 45 (2008) 149, worked out from its constants."""
    assert air.density(pressure, celsius + 273.15, humidity) == pytest.approx(density, abs=6e-7)


@pytest.mark.parametrize(("pressure", "celsius", "humidity", "density"), MOIST)
def test_moist_air_by_another_library(pressure: float, celsius: float, humidity: float, density: float) -> None:
    """Source: CoolProp, humid air after ASHRAE RP-1485. The two formulations agree to 4e-5."""
    temperature = celsius + 273.15
    other = 1.0 / HAPropsSI("Vha", "T", temperature, "P", pressure, "R", humidity)
    assert air.density(pressure, temperature, humidity) == pytest.approx(other, rel=5e-5)
    assert other == pytest.approx(density, rel=5e-5)


def test_parts_of_the_formula() -> None:
    """p_sv = 2339.16 Pa, x_v = 0.011589, Z = 0.999615 at 20 degC, 101325 Pa and 50 %. Source: CIPM-2007, as above."""
    assert air.saturation_pressure(293.15) == pytest.approx(2339.16, abs=0.01)
    share = air.vapour_share(101325.0, 293.15, 0.5)
    assert share == pytest.approx(0.011589, abs=1e-6)
    assert air.compressibility(101325.0, 293.15, share) == pytest.approx(0.999615, abs=1e-6)
