"""Factors against definitions and published figures, and round trips."""

from __future__ import annotations

import math

import numpy as np
import pytest
import scipy.constants
from hypothesis import given
from hypothesis import strategies as st

from simlaunch.units.quantity import display_unit, to_display, to_si
from simlaunch.units.spelling import Dimension, System, kinds

D = Dimension


@pytest.mark.parametrize(
    ("text", "dimension", "expected"),
    [
        ("1 lb", D.MASS, 0.45359237),  # international pound, exact
        ("1 t", D.MASS, 1000.0),
        ("1 in", D.LENGTH, 0.0254),  # international inch, exact
        ("1 mi", D.LENGTH, 1609.344),  # 40 CFR 1066.20
        ("1 mph", D.SPEED, 0.44704),  # exact definitions
        ("100 km/h", D.SPEED, 100 / 3.6),
        ("100 kph", D.SPEED, 100 / 3.6),
        ("1 hp", D.POWER, 745.6998715822702),  # scipy.constants.hp; 550 ft lbf/s, 40 CFR 1066.20
        ("1 PS", D.POWER, 735.49875),  # 75 kgf m/s
        ("1 lbf", D.FORCE, 4.4482216152605),  # exact definitions
        ("1 inHg", D.PRESSURE, 3386.38864),  # conventional inch of mercury
        ("1 psi", D.PRESSURE, 6894.757293),
        ("1013.25 mbar", D.PRESSURE, 101325.0),
        ("60 rpm", D.ROTATIONAL_SPEED, 2 * math.pi),
        ("60 1/min", D.ROTATIONAL_SPEED, 2 * math.pi),
        ("0 degC", D.TEMPERATURE, 273.15),
        ("60 °F", D.TEMPERATURE, 288.7055555555556),  # SAE J607 reference, 60 F = 15.5556 C
        ("1998 cc", D.VOLUME, 1.998e-3),
        ("1 in^3", D.VOLUME, 1.6387064e-5),  # exact definitions
        ("1 lb ft^2", D.INERTIA, 0.45359237 * 0.3048**2),
        ("1 N m/deg", D.TORSIONAL_STIFFNESS, 180 / math.pi),
        ("12.96 h^2/km^2", D.INVERSE_SPEED_SQUARED, 12.96 * 12.96),
        ("54 %", D.SHARE, 0.54),
        ("0.54", D.SHARE, 0.54),
        ("180 deg", D.ANGLE, math.pi),
    ],
)
def test_factor(text: str, dimension: Dimension, expected: float) -> None:
    assert to_si(text, dimension) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(
    "text", ["1 lb-ft", "1 lb ft", "1 lbf ft", "1 lbf-ft", "1 ft-lb", "1 ft lb", "1 ft lbf", "1 ft-lbf"]
)
def test_pound_foot_in_every_spelling(text: str) -> None:
    # lbf ft = 1.3558179483314004 N m, exact definitions
    assert to_si(text, D.TORQUE) == pytest.approx(1.3558179483314004, rel=1e-15)


def test_horsepower_agrees_with_scipy() -> None:
    assert to_si("1 hp", D.POWER) == pytest.approx(scipy.constants.hp, rel=1e-15)
    assert to_si("1 hp", D.POWER) / to_si("1 PS", D.POWER) == pytest.approx(1.013869665, rel=1e-9)


def test_power_of_torque_and_speed_in_us_units() -> None:
    # 40 CFR 1066.20: 1 hp = 550 ft lbf/s, hence hp = lbf ft x rpm / 5252.113
    power = to_si("300 lbf ft", D.TORQUE) * to_si("6000 rpm", D.ROTATIONAL_SPEED)
    shown, unit = to_display(power, D.POWER, System.US)
    assert shown == pytest.approx(342.7192, abs=5e-5)
    assert unit == "hp"


def test_power_of_torque_and_speed_in_metric_units() -> None:
    # kW = N m x rpm / 9549.2966
    power = to_si("400 N m", D.TORQUE) * to_si("5500 rpm", D.ROTATIONAL_SPEED)
    shown, unit = to_display(power, D.POWER, System.METRIC)
    assert shown == pytest.approx(230.38346, abs=5e-6)
    assert unit == "kW"


@pytest.mark.parametrize(("torque", "volume", "bar"), [(200, "2.0 l", 12.5664), (400, "2000 cc", 25.1327)])
def test_brake_mean_effective_pressure(torque: int, volume: str, bar: float) -> None:
    # four-stroke definition, 4 pi T / V
    pressure = 4 * math.pi * to_si(f"{torque} N m", D.TORQUE) / to_si(volume, D.VOLUME)
    shown, unit = to_display(pressure, D.PRESSURE, System.METRIC)
    assert shown == pytest.approx(bar, abs=5e-5)
    assert unit == "bar"


def test_brake_mean_effective_pressure_in_us_units() -> None:
    # psi = 150.79645 T[lbf ft] / V[in^3]
    pressure = 4 * math.pi * to_si("1 lbf ft", D.TORQUE) / to_si("1 in^3", D.VOLUME)
    assert to_display(pressure, D.PRESSURE, System.US)[0] == pytest.approx(150.79645, abs=5e-6)


def test_capacity_factor_of_a_converter() -> None:
    # stall point of a sample table printed alike in two public codes, and the stall speed worked from it
    factor = to_si("137.465 rpm/sqrt(lbf ft)", D.CAPACITY_FACTOR)
    assert to_display(factor, D.CAPACITY_FACTOR, System.METRIC)[0] == pytest.approx(118.057, abs=5e-4)
    stall = factor * math.sqrt(to_si("200 lbf ft", D.TORQUE))
    shown, unit = to_display(stall, D.ROTATIONAL_SPEED, System.US)
    assert shown == pytest.approx(1944.05, abs=5e-3)
    assert unit == "rpm"


@pytest.mark.parametrize(
    ("dimension", "metric", "us"),
    [
        (D.SPEED, "km/h", "mph"),
        (D.TORQUE, "N m", "lb-ft"),
        (D.POWER, "kW", "hp"),
        (D.LENGTH, "m", "ft"),
        (D.MASS, "kg", "lb"),
        (D.ROTATIONAL_SPEED, "rpm", "rpm"),
        (D.ENERGY, "kJ", "BTU"),
        (D.TIME, "s", "s"),
        (D.FORCE, "N", "lbf"),
        (D.PRESSURE, "bar", "psi"),
        (D.TEMPERATURE, "°C", "°F"),
    ],
)
def test_labels_of_the_two_systems(dimension: Dimension, metric: str, us: str) -> None:
    assert display_unit(dimension, System.METRIC).label == metric
    assert display_unit(dimension, System.US).label == us


def test_display_of_an_array() -> None:
    shown = display_unit(D.SPEED, System.US).of(np.array([0.0, 0.44704, 26.8224]))
    np.testing.assert_allclose(shown, [0.0, 1.0, 60.0], rtol=1e-15)


units = [(kind, spelling) for kind, entry in kinds().items() for spelling in entry.spelling]


@given(st.sampled_from(units), st.floats(-1e6, 1e6, allow_nan=False), st.sampled_from(System))
def test_display_undoes_reading(unit: tuple[Dimension, str], number: float, system: System) -> None:
    dimension, spelling = unit
    value = to_si(f"{number:.6f} {spelling}", dimension)
    shown, label = to_display(value, dimension, system)
    again = to_si(f"{shown:.12e} {label}", dimension)
    assert again == pytest.approx(value, rel=1e-9, abs=1e-9 * max(1.0, abs(to_si(f"1 {label}", dimension))))
