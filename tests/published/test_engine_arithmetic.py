"""Mean effective pressure, and the air that a power needs."""

from __future__ import annotations

import pytest

from simlaunch.physics.engine import air_mass_flow, mean_effective_pressure
from simlaunch.units.quantity import to_si
from simlaunch.units.spelling import Dimension


@pytest.mark.parametrize(("torque", "bar"), [(200.0, 12.5664), (400.0, 25.1327)])
def test_mean_effective_pressure(torque: float, bar: float) -> None:
    """12.5664 bar from 200 N m and 2 l; 25.1327 bar from 400 N m. Source: definition, as in Heywood (from memory)."""
    assert mean_effective_pressure(torque, 2e-3) == pytest.approx(bar * 1e5, rel=3e-6)


def test_mean_effective_pressure_in_the_trades_units() -> None:
    """psi = 150.79645 x lbf ft / cubic inches. Source: definition of the units; 150.8 is common practice."""
    torque, displacement = to_si("300 lb-ft", Dimension.TORQUE), to_si("122 in^3", Dimension.VOLUME)
    expected = 150.79645 * 300.0 / 122.0 * to_si("1 psi", Dimension.PRESSURE)
    assert mean_effective_pressure(torque, displacement) == pytest.approx(expected, rel=1e-7)


def test_air_for_a_power() -> None:
    """300 kW at 300 g/(kW h) burn 25 g/s; 12 parts of air to each are 0.3 kg/s. Source: definitions, by hand."""
    assert air_mass_flow(300e3, 300.0 / 3.6e9, 12.0) == pytest.approx(0.3, rel=1e-12)


def test_air_by_a_rule_of_the_trade() -> None:
    """About 10 hp per lb/min of air. Source: common practice, at 0.5 lb/(hp h) and 12 to 1."""
    horse, pound = to_si("1 hp", Dimension.POWER), to_si("1 lb", Dimension.MASS)
    flow = air_mass_flow(500.0 * horse, 0.5 * pound / (horse * 3600.0), 12.0)
    assert flow * 60.0 / pound == pytest.approx(50.0, rel=1e-12)
