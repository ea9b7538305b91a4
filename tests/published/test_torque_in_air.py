"""Torque carried from the air in which a curve holds to that of a launch, against published examples."""

from __future__ import annotations

from math import sqrt
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from simlaunch.errors import InputError
from simlaunch.parameters.fill import lower, vary
from simlaunch.parameters.weather import Weather, power_limit, torque_factor
from simlaunch.physics.table import values_at
from simlaunch.record import CAR, Pedal
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.powertrain import Curve
from simlaunch.scenario.reading import load
from simlaunch.units.quantity import to_si
from simlaunch.units.spelling import Dimension

COUPE = load(Path(__file__).parents[2] / "scenarios" / "road-coupe.toml")
POINTS = (("1000 rpm", "200 N m"), ("7000 rpm", "200 N m"))


def _curve(correction: str | None, **weather: str) -> Curve:
    told: dict[str, Any] = {"name": "sample", "points": POINTS, "weather": {"kind": "naturally aspirated", **weather}}
    return Curve.model_validate(told | ({"correction": correction} if correction else {}))


def _weather(pressure: str, temperature: str, humidity: float = 0.0) -> Weather:
    return Weather(to_si(pressure, Dimension.PRESSURE), to_si(temperature, Dimension.TEMPERATURE), humidity)


def _with(curve: dict[str, Any], **air: object) -> Scenario:
    own = COUPE.curve("plateau").model_dump(exclude_unset=True)
    return COUPE.replace({"curves": [own | curve], "air": air})


def test_cooler_air_by_iso_1585() -> None:
    """100 to 80 degF: 1.022, so that 230 hp become 235.

    Source: worked example of a forum post after the Bosch Automotive Handbook, 5th edition, p. 415, rounded to a unit;
    it counts from 460 degF below zero, which moves the factor by less than 1e-5.
    """
    curve = _curve(None, formula="ISO 1585", pressure="99 kPa", temperature="100 degF")
    factor = torque_factor(curve, _weather("99 kPa", "80 degF"))
    assert factor == pytest.approx(1.022, abs=5e-4)
    assert round(230.0 * factor) == 235


def test_a_high_after_a_low_by_iso_1585() -> None:
    """29.5 to 30 inHg: 1.0204. Source: the same example; to its four decimals."""
    curve = _curve(None, formula="ISO 1585", pressure="29.5 inHg", temperature="25 degC")
    assert torque_factor(curve, _weather("30 inHg", "25 degC")) == pytest.approx(1.0204, abs=5e-5)


@pytest.mark.parametrize(
    ("temperature", "humidity", "pressure", "observed"),
    [("85 degF", 0.85, "28.85 inHg", 400.0), ("55 degF", 0.35, "30.10 inHg", 442.0)],
)
def test_one_engine_on_two_days_by_sae_j607(temperature: str, humidity: float, pressure: str, observed: float) -> None:
    """440 hp corrected are 400 hp on a sultry day in August, 442 on a cool one.

    Source: the example of an article on dyno correction standards; its figures are rounded to 1 in 400.
    """
    factor = torque_factor(_curve("SAE J607"), _weather(pressure, temperature, humidity))
    assert 440.0 * factor == pytest.approx(observed, rel=2.5e-3)


@pytest.mark.parametrize("row", [
    ("95 kPa", "35 degC", 0.3, {"SAE J1349": 1.09277, "ISO 1585": 1.09507, "SAE J607": 1.12178, "DIN 70020": 1.09327}),
    ("101.325 kPa", "20 degC", 0.5,
     {"SAE J1349": 0.97656, "ISO 1585": 0.97621, "SAE J607": 1.01939, "DIN 70020": 0.99975}),
    ("90 kPa", "25 degC", 0.0, {"SAE J1349": 1.11800, "ISO 1585": 1.12117, "SAE J607": 1.14404, "DIN 70020": 1.13512}),
])  # fmt: skip
def test_a_launch_has_the_stated_torque_over_the_correction(row: tuple[str, str, float, dict[str, float]]) -> None:
    """Source: the formulas of the standards by hand, with the vapour pressure of IAPWS; five decimals, and 3e-5 between
    the vapour pressures of CIPM-2007 and IAPWS.
    """
    pressure, temperature, humidity, factors = row
    for correction, factor in factors.items():
        scenario = _with(
            {"correction": correction, "weather": {"kind": "naturally aspirated"}},
            pressure=pressure, temperature=temperature, humidity=str(humidity),
        )  # fmt: skip
        plain = lower(COUPE, "plateau", Pedal.FULL).engine.torque
        carried = lower(scenario, "plateau", Pedal.FULL).engine.torque
        count = int(plain.count)
        np.testing.assert_allclose(plain.cubic[:count, 0] / carried.cubic[:count, 0], factor, atol=4e-5)


def test_every_standard_leaves_torque_alone_in_its_own_air() -> None:
    """Source: reference conditions of SAE J1349, ISO 1585, DIN 70020 and SAE J607."""
    own = {"SAE J1349": ("99 kPa", "25 degC"), "ISO 1585": ("99 kPa", "25 degC"), "DIN 70020": ("1013 hPa", "20 degC"),
           "SAE J607": ("29.92 inHg", "60 degF")}  # fmt: skip
    for correction, air in own.items():
        assert torque_factor(_curve(correction), _weather(*air)) == pytest.approx(1.0, abs=1e-6)


def test_three_percent_per_thousand_feet() -> None:
    """An engine without a charger loses about 3 % of its power for each 1000 ft.

    To half a point by DIN 70020 and SAE J607, in which torque goes with pressure over the root of temperature.

    SAE J1349 and ISO 1585 lose more, since friction stays as it is.

    Source: rule of thumb of pilots, as given in forums (common practice); ISO 2533 for the air.
    """

    def left(correction: str, air: tuple[str, str]) -> float:
        curve = _curve(correction)
        return torque_factor(curve, _weather(*air)) / torque_factor(curve, _weather("101325 Pa", "15 degC"))

    for thousands, air in ((3, ("90812 Pa", "9.06 degC")), (6, ("81200 Pa", "3.11 degC"))):
        rule = 1.0 - 0.03 * thousands
        for correction in ("DIN 70020", "SAE J607"):
            assert left(correction, air) == pytest.approx(rule, abs=0.005)
        for correction in ("SAE J1349", "ISO 1585"):
            assert left(correction, air) < min(rule, left("DIN 70020", air))


def test_a_share_of_the_loss() -> None:
    """1 - s (1 - 1/CF), CF = 1.11800 by SAE J1349 at 90 kPa and 25 degC. Source: definition, and the table above."""
    curve = Curve.model_validate({
        "name": "sample", "points": POINTS, "correction": "SAE J1349",
        "weather": {"kind": "share of the loss", "share": "30 %"},
    })  # fmt: skip
    expected = 1.0 - 0.3 * (1.0 - 1.0 / 1.11800)
    assert torque_factor(curve, _weather("90 kPa", "25 degC")) == pytest.approx(expected, abs=2e-6)


def _compressor(power: str) -> dict[str, Any]:
    return {"correction": "ISO 1585", "weather": {"kind": "compressor limit", "power": power}}


def test_a_compressor_at_its_limit_takes_in_a_fixed_corrected_flow() -> None:
    """P = P_ref (p / p_ref) sqrt(T_ref / T), at 2000 m of the standard atmosphere: 79495.20 Pa, 275.15 K.

    Source: similarity of compressors, m sqrt(T) / p (from memory); ISO 2533 for the air; ISO 1585 for the reference.
    """
    curve = Curve.model_validate({"name": "sample", "points": POINTS, **_compressor("280 kW")})
    found = power_limit(curve, Weather(79495.20, 275.15, 0.0))
    assert found == pytest.approx(280e3 * 79495.20 / 99e3 * sqrt(298.15 / 275.15), rel=1e-12)
    assert torque_factor(curve, Weather(79495.20, 275.15, 0.0)) == 1.0


def test_a_compressor_cuts_the_top_and_leaves_the_rest() -> None:
    """Torque times speed keeps to the limit, and torque below it is as stated, to the bend of a cubic between points.

    Source: definition of power.
    """
    scenario = _with(_compressor("270 kW"), altitude="2000 m")
    car, plain = lower(scenario, "plateau", Pedal.FULL), lower(COUPE, "plateau", Pedal.FULL)
    speed = np.linspace(110.0, 720.0, 900)
    most = power_limit(scenario.curve("plateau"), Weather(scenario.air.pressure_si, scenario.air.temperature_si, 0.0))
    stated, found = values_at(plain.engine.torque, speed), values_at(car.engine.torque, speed)
    np.testing.assert_allclose(found, np.minimum(stated, most / speed), rtol=2e-3)
    assert (found < 0.99 * stated).any()
    assert (found > 0.999 * stated).any()


def test_held_charge_pressure_is_no_loss() -> None:
    """Source: UN Regulation 85, amendment of 2015 (as summarised by GRPE): such an engine makes up for the weather."""
    high = {"altitude": "3000 m"}
    held = lower(_with({"weather": {"kind": "held charge pressure"}}, **high), "plateau", Pedal.FULL)
    assert held.engine.torque.tobytes() == lower(COUPE, "plateau", Pedal.FULL).engine.torque.tobytes()


def test_unless_stated_air_leaves_torque_alone() -> None:
    """Bit for bit, whatever the correction that a curve carries."""
    low = lower(_with({"correction": "SAE J1349"}, altitude="0 m"), "plateau", Pedal.FULL)
    high = lower(_with({"correction": "SAE J1349"}, altitude="4000 m", humidity="80 %"), "plateau", Pedal.FULL)
    assert low.engine.torque.tobytes() == high.engine.torque.tobytes()


@pytest.mark.parametrize("curve", [
    {"correction": "DIN 70020", "weather": {"kind": "naturally aspirated"}}, _compressor("255 kW"),
    {"correction": "SAE J1349", "weather": {"kind": "share of the loss", "share": "40 %"}},
])  # fmt: skip
def test_many_airs_at_once_are_those_of_single_readings(curve: dict[str, Any]) -> None:
    """Bit for bit: what odds, sweeps and fits draw is what a launch in that air has."""
    scenario = _with(curve, pressure="95 kPa", temperature="20 degC")
    celsius, pascal = [-15.0, 3.5, 22.0, 41.0], [70e3, 85e3, 99e3, 103e3]
    cars = np.array([lower(scenario, "plateau", Pedal.FULL)] * 4, CAR)
    columns = {"air.temperature": np.array(celsius) + 273.15, "air.pressure": np.array(pascal)}
    order = np.array([2, 0, 3, 1])
    vary(cars, scenario, {key: each[order] for key, each in columns.items()}, order, "plateau")
    for car, c, p in zip(cars, celsius, pascal, strict=True):
        single = scenario.replace({"air.temperature": f"{c} degC", "air.pressure": f"{p} Pa"})
        assert car.tobytes() == lower(single, "plateau", Pedal.FULL).tobytes()


@pytest.mark.parametrize(
    ("curve", "air", "told"),
    [
        ({"weather": {"kind": "naturally aspirated"}}, {}, r"weather\.formula: is missing, and the curve carries no"),
        ({"weather": {"kind": "naturally aspirated", "formula": "ISO 1585"}}, {}, r"weather\.pressure: is missing"),
        ({"weather": {"kind": "naturally aspirated", "formula": "none"}}, {}, r'formula: "none" is no formula'),
        ({"correction": "ISO 1585", "weather": {"kind": "naturally aspirated", "formula": "SAE J607"}}, {},
         r'weather\.formula: "SAE J607" is not ISO 1585, the correction that the curve carries; leave it out'),
        ({"correction": "ISO 1585", "weather": {"kind": "naturally aspirated", "pressure": "98 kPa"}}, {},
         r'weather\.pressure: "98 kPa" is stated as well as the correction of the curve'),
        ({"correction": "ISO 1585", "weather": {"kind": "share of the loss"}}, {}, r"weather\.share: is missing"),
        ({"correction": "ISO 1585", "weather": {"kind": "share of the loss", "share": "140 %"}}, {},
         r'"140 %" is above 100 %'),
        ({"correction": "ISO 1585", "weather": {"kind": "compressor limit", "power": "250 N m"}}, {},
         r'"250 N m" is a torque, but a power is wanted'),
        ({"correction": "ISO 1585", "weather": {**_compressor("250 kW")["weather"], "formula": "ISO 1585"}}, {},
         r'weather\.formula: "ISO 1585" has no effect'),
        ({"weather": {"kind": "turbo"}}, {}, r"weather: is not one of the choices"),
        ({"weather": {"kind": "held charge pressure", "share": "3 %"}}, {}, r'share: "3 %" is not a known key'),
        (_compressor("250 kW"), {"altitude": "9000 m"}, r'air\.altitude: "9000 m" is above 6000 m'),
        (_compressor("250 kW"), {"temperature": "900 degC"}, r'air\.temperature: "900 degC" is above 60 degC'),
        (_compressor("250 kW"), {"temperature": "-80 degC"}, r'air\.temperature: "-80 degC" is below -60 degC'),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused(curve: dict[str, Any], air: dict[str, str], told: str) -> None:
    with pytest.raises(InputError, match=told):
        _with(curve, **air)


@pytest.mark.parametrize("air", [
    {"altitude": "6000 m"}, {"temperature": "-60 degC"},
    {"pressure": "40 kPa", "temperature": "60 degC", "humidity": "1"},
    {"pressure": "110 kPa", "temperature": "-60 degC"},
])  # fmt: skip
def test_the_ends_of_what_air_may_be_give_torque(air: dict[str, str]) -> None:
    for correction in ("SAE J1349", "ISO 1585", "DIN 70020", "SAE J607"):
        scenario = _with({"correction": correction, "weather": {"kind": "naturally aspirated"}}, **air)
        torque = lower(scenario, "plateau", Pedal.FULL).engine.torque
        assert np.isfinite(torque.cubic[: int(torque.count)]).all()
        assert (torque.cubic[: int(torque.count), 0] > 0.0).all()
