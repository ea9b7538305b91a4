"""Plain numbers of a launch: SI values, tables, and what is left for the launch to work out."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from ambiance import Atmosphere
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import pchip_interpolate

from simlaunch.errors import UsageError
from simlaunch.parameters.fill import fill_table, lower, vary
from simlaunch.record import CAR, Car, Coupling, Pedal, ShiftKind, Table, blank
from simlaunch.scenario.car import unloaded_radius
from simlaunch.scenario.reading import from_mapping
from simlaunch.scenario.surroundings import standard_pressure, standard_temperature

RPM = 2 * math.pi / 60
LBF_FT = 1.3558179483314004  # exact definitions


def _car(data: dict[str, Any], pedal: Pedal = Pedal.FULL) -> Car:
    return lower(from_mapping(data, "sample"), "flat", pedal)


def _value(table: Table, x: float) -> float:
    """Reading of a table by the rule that its type states; ends hold."""
    knots = table.knot[: table.count]
    x = min(max(x, knots[0]), knots[-1])
    k = int(np.searchsorted(knots, x, side="right")) - 1
    return float(np.polyval(table.cubic[k][::-1], x - knots[k]))


def test_values_are_in_si_units(sound: dict[str, Any]) -> None:
    car = _car(sound)
    assert (car.body.mass, car.body.front_share, car.body.wheelbase) == (1500.0, 0.54, 2.65)
    assert (car.body.cg_height, car.body.drag_area) == (0.52, 0.66)
    assert car.body.pitch_frequency == pytest.approx(2 * math.pi * 1.5)
    assert car.engine.rev_limit == pytest.approx(6500 * RPM)
    assert car.engine.limiter_band == pytest.approx(50 * RPM)
    assert car.launch.engine_speed == pytest.approx(3000 * RPM)
    assert (car.front.axle_inertia, car.front.friction, car.rear.radius) == (2.2, 1.1, 0.32)
    assert (car.drive.front_share, car.drive.locked, car.drive.rigid) == (0.0, 0, 0)
    np.testing.assert_array_equal(car.drive.shaft_stiffness, [16000.0, 16000.0])
    assert (car.run.stop_distance, car.run.stop_speed, car.run.time_limit) == (402.336 + 0.3048 + 1e-3, 0.0, 60.0)
    assert (car.pedal.kind, car.pedal.delay) == (Pedal.FULL, 0.02)


def test_published_tyre_set_is_the_default(sound: dict[str, Any]) -> None:
    # Magic Formula 5.2 set from public listings after Althoff and Wuersching; mu and K/Fz at relative loads
    # -0.5, 0 and 0.5 with its base value of friction
    sound["tyres"]["both"]["friction"] = "1.1739"
    tyre = _car(sound).front
    change = np.array([-0.5, 0.0, 0.5])
    friction = tyre.friction + tyre.friction_load * change
    stiffness = (tyre.slip_stiffness + tyre.stiffness_load * change) * np.exp(tyre.stiffness_load_exponent * change)
    np.testing.assert_allclose(friction, [1.2559, 1.1739, 1.0919], atol=5e-5)
    np.testing.assert_allclose(stiffness, [19.835, 22.303, 25.075], atol=6e-4)
    assert (tyre.shape_factor, tyre.curvature) == (1.4, 0.46403)
    assert (tyre.curvature_load, tyre.curvature_load_square) == (0.25022, 0.067842)


def test_every_field_is_filled(sound: dict[str, Any]) -> None:
    car = _car(sound, Pedal.HELD_SLIP)
    left_open = [("air", "density"), ("gearbox", "shift_speed"), ("gearbox", "shift_road_speed"),
                 ("pedal", "target_slip"),
                 ("front", "outer_curve"), ("rear", "outer_curve"), ("engine", "gear_limit")]  # fmt: skip
    sections = car.dtype.names
    assert sections
    for section in sections:
        for name in car[section].dtype.names:
            value = car[section][name]
            if value.dtype.names is None and (section, name) not in left_open:
                assert np.isfinite(value).all(), f"{section}.{name}"
    assert math.isnan(car.air.density)
    assert np.all(car.engine.gear_limit == np.inf)  # limits nothing
    assert np.isnan(car.gearbox.shift_speed).all()
    assert math.isnan(car.pedal.target_slip)
    assert car.pedal.kind == Pedal.HELD_SLIP


def test_what_is_given_is_not_left_open(sound: dict[str, Any]) -> None:
    sound["air"] = {"density": "1.2 kg/m^3"}
    sound["pedal"] = {"target_slip": "9 %"}
    sound["gearbox"]["shift_at"] = "6000 rpm"
    car = _car(sound)
    assert (car.air.density, car.pedal.target_slip) == (1.2, 0.09)
    np.testing.assert_allclose(car.gearbox.shift_speed[:2], 6000 * RPM)
    assert np.isnan(car.gearbox.shift_speed[2:]).all()


def test_gearbox(sound: dict[str, Any]) -> None:
    sound["gearbox"] |= {"efficiency": ["90 %", "91 %", "0.92"], "shift_at": ["6000 rpm", "6200 rpm"]}
    box = _car(sound).gearbox
    np.testing.assert_allclose(box.ratio[:4], [3.6 * 3.5, 2.1 * 3.5, 1.4 * 3.5, 0.0])
    np.testing.assert_allclose(box.efficiency[:4], [0.90, 0.91, 0.92, 0.0])
    np.testing.assert_allclose(box.shift_speed[:2], [6000 * RPM, 6200 * RPM])


@pytest.mark.parametrize(
    ("shift", "fields"),
    [
        (
            {
                "kind": "torque gap",
                "ramp_down": "10 ms",
                "gap": "50 ms",
                "ramp_up": "20 ms",
                "throttle": "open",
            },
            {
                "shift_kind": ShiftKind.TORQUE_GAP,
                "ramp_down": 0.01,
                "gap": 0.05,
                "ramp_up": 0.02,
                "throttle_open": 1,
            },
        ),
        ({"kind": "torque gap"}, {"shift_kind": ShiftKind.TORQUE_GAP, "gap": 0.25, "throttle_open": 0}),
        (
            {"kind": "torque hand-over", "hand_over": "60 ms", "inertia_phase": "0.1 s"},
            {"shift_kind": ShiftKind.TORQUE_HAND_OVER, "hand_over": 0.06, "inertia_phase": 0.1, "dip": 0.0},
        ),
        (
            {"kind": "torque dip", "dip": "35 %"},
            {"shift_kind": ShiftKind.TORQUE_DIP, "hand_over": 0.08, "inertia_phase": 0.15, "dip": 0.35},
        ),
    ],
)
def test_shift(sound: dict[str, Any], shift: dict[str, str], fields: dict[str, float]) -> None:
    sound["gearbox"]["shift"] = shift
    box = _car(sound).gearbox
    assert {name: box[name] for name in fields} == pytest.approx(fields)


def test_drives(sound: dict[str, Any]) -> None:
    shares = {}
    for name, drive in {
        "front": {"driven": "front"},
        "rear": {"driven": "rear"},
        "all": {"driven": "all", "front_share": "38 %"},
        "locked": {"driven": "all", "centre": "locked", "half_shafts": "rigid"},
    }.items():
        lowered = _car(sound | {"drive": drive}).drive
        shares[name] = (float(lowered.front_share), int(lowered.locked), int(lowered.rigid))
    assert shares == {"front": (1.0, 0, 0), "rear": (0.0, 0, 0), "all": (0.38, 0, 0), "locked": (0.5, 1, 1)}


CLUTCHED = {
    "driven": "all",
    "centre": "clutch",
    "second_axle": {"axle": "rear", "capacity": "500 N m", "ratio": "2.6", "lead": "-1 %", "delay": "50 ms",
                    "engagement_time": "0.2 s"},
}  # fmt: skip


@pytest.mark.parametrize(("axle", "first"), [("rear", 1.0), ("front", 0.0)])
def test_second_axle_by_clutch(sound: dict[str, Any], axle: str, first: float) -> None:
    """Capacity goes behind the ratio: 500 N m times 2.6. The other axle is driven directly."""
    second = CLUTCHED["second_axle"] | {"axle": axle}  # type: ignore[operator]
    drive = _car(sound | {"drive": CLUTCHED | {"second_axle": second}}).drive
    assert (drive.clutched, drive.locked, drive.rigid, drive.front_share) == (1, 1, 0, first)
    assert [drive.capacity, drive.clutch_ratio, drive.lead] == pytest.approx([1300.0, 2.6, 0.99])
    assert (drive.delay, drive.ramp) == (0.05, 0.2)


@pytest.mark.parametrize(
    ("key", "typed"),
    [
        ("capacity", "730 N m"),
        ("ratio", "3.1"),
        ("lead", "1.5 %"),
        ("delay", "0.1 s"),
        ("engagement_time", "40 ms"),
    ],
)
def test_many_cars_take_the_same_numbers_of_a_second_axle_as_one(sound: dict[str, Any], key: str, typed: str) -> None:
    scenario, path = from_mapping(sound | {"drive": CLUTCHED}, "sample"), f"drive.second_axle.{key}"
    other = scenario.replace({path: typed})
    cars = np.array([lower(scenario, scenario.curve_names[0], Pedal.FULL)] * 2, CAR)
    values = np.array([getattr(each.drive.second_axle, key).si for each in (scenario, other)])
    assert not vary(cars, scenario, {path: values}).any()
    assert cars[1]["drive"] == lower(other, scenario.curve_names[0], Pedal.FULL).drive
    assert cars[0]["drive"] == lower(scenario, scenario.curve_names[0], Pedal.FULL).drive


def test_a_jump_after_a_delay_is_no_car(sound: dict[str, Any]) -> None:
    scenario = from_mapping(sound | {"drive": CLUTCHED}, "sample")
    cars = np.array([lower(scenario, scenario.curve_names[0], Pedal.FULL)] * 3, CAR)
    refused = vary(cars, scenario, {"drive.second_axle.engagement_time": np.array([0.0, 1e-3, 0.2])})
    assert refused.tolist() == [True, False, False]
    refused = vary(cars, scenario, {"drive.half_shaft_damping": np.array([0.0, 1.0, 40.0])})
    assert refused.tolist() == [True, False, False]


def test_clutch(sound: dict[str, Any]) -> None:
    coupling = _car(sound).coupling
    assert (coupling.kind, coupling.capacity, coupling.ramp) == (Coupling.FRICTION_CLUTCH, 500.0, 0.5)
    assert coupling.lock_gear == 0


def test_converter(sound: dict[str, Any]) -> None:
    # sample table printed alike in two public codes (a teaching model); K in rpm/sqrt(lbf ft)
    speed_ratio = ["0", "0.2", "0.4", "0.6", "0.8", "0.86", "0.90", "0.94"]
    factor = ["137.465", "135.864", "137.565", "145.269", "162.977", "175.383", "197.694", "244.516"]
    torque_ratio = ["2.232", "1.975", "1.720", "1.409", "1.096", "1.002", "0.999", "1.002"]
    sound["coupling"] = {
        "kind": "torque converter",
        "speed_ratio": speed_ratio,
        "capacity_factor": [f"{k} rpm/sqrt(lbf ft)" for k in factor],
        "torque_ratio": torque_ratio,
    }
    coupling = _car(sound).coupling
    assert coupling.kind == Coupling.TORQUE_CONVERTER
    assert (coupling.capacity, coupling.lock_gear) == (0.0, 0)
    stall = math.sqrt(200 * LBF_FT / _value(coupling.fluid_capacity, 0.0))
    assert stall / RPM == pytest.approx(1944.05, abs=5e-3)  # worked from the same table: stall at 200 lbf ft
    assert 0.8 * _value(coupling.torque_ratio, 0.8) == pytest.approx(0.8768)  # its efficiency at speed ratio 0.8
    assert _value(coupling.fluid_capacity, 1.0) == 0.0
    assert _value(coupling.torque_ratio, 1.0) == 1.0
    ratios = np.linspace(0.0, 1.0, 501)
    assert all(_value(coupling.fluid_capacity, r) >= 0.0 for r in ratios)
    assert all(r * _value(coupling.torque_ratio, r) <= 1.0 + 1e-12 for r in ratios)


def test_lock_up(sound: dict[str, Any]) -> None:
    sound["coupling"] = {
        "kind": "torque converter",
        "speed_ratio": ["0", "0.9"],
        "capacity_factor": ["120 rpm/sqrt(N m)", "200 rpm/sqrt(N m)"],
        "torque_ratio": ["2", "1"],
        "lock_up_capacity": "600 N m",
        "lock_up_gear": "3",
    }
    coupling = _car(sound).coupling
    assert (coupling.capacity, coupling.lock_gear, coupling.lock_ratio, coupling.ramp) == (
        600.0,
        3,
        0.88,
        0.3,
    )


def test_curve_is_the_monotone_cubic_through_its_points(sound: dict[str, Any]) -> None:
    speeds = np.array([1000.0, 1800.0, 3000.0, 5200.0, 7000.0])
    torques = np.array([150.0, 390.0, 420.0, 420.0, 300.0])
    sound["curves"][0]["points"] = [[f"{n} rpm", f"{t} N m"] for n, t in zip(speeds, torques, strict=True)]
    torque = _car(sound).engine.torque
    assert torque.count == 5
    x = np.linspace(1000, 7000, 201)
    expected = pchip_interpolate(speeds, torques, x)  # second implementation: SciPy's own evaluation
    np.testing.assert_allclose([_value(torque, n * RPM) for n in x], expected, rtol=1e-9)
    assert _value(torque, 0.0) == pytest.approx(150.0)  # the ends are the ends
    assert _value(torque, 9000 * RPM) == pytest.approx(300.0)


def test_a_constant_is_a_table_of_two_knots(sound: dict[str, Any]) -> None:
    overrun = _car(sound).engine.overrun
    assert overrun.count == 2
    assert {_value(overrun, n * RPM) for n in (0, 800, 5000, 20000)} == {40.0}


def test_boost_time_over_engine_speed(sound: dict[str, Any]) -> None:
    sound["engine"] |= {
        "boost_lagged_share": "60 %",
        "boost_time_constant": [["2000 rpm", "0.6 s"], ["6000 rpm", "200 ms"]],
    }
    engine = _car(sound).engine
    assert engine.lagged_share == 0.6
    assert _value(engine.boost_time, 4000 * RPM) == pytest.approx(0.4)


knot_steps = st.lists(st.tuples(st.integers(1, 1000), st.integers(0, 9000)), min_size=2, max_size=40)


@given(knot_steps)
def test_a_table_meets_its_points_and_never_leaves_their_range(steps: list[tuple[int, int]]) -> None:
    x = np.cumsum([0.1 * step for step, _ in steps])
    y = np.array([0.1 * value for _, value in steps])
    table = blank().engine.torque
    fill_table(table, x, y)
    np.testing.assert_allclose([_value(table, knot) for knot in x], y, rtol=1e-9, atol=1e-9)
    for k in range(len(x) - 1):
        between = _value(table, 0.3 * x[k] + 0.7 * x[k + 1])
        assert min(y[k], y[k + 1]) - 1e-9 <= between <= max(y[k], y[k + 1]) + 1e-9


@pytest.mark.parametrize(
    ("altitude", "temperature", "pressure"),
    [
        # ISO 2533, geopotential altitude
        (0, 288.15, 101325.0),
        (500, 284.90, 95460.84),
        (1000, 281.65, 89874.56),
        (2000, 275.15, 79495.20),
        (3000, 268.65, 70108.53),
    ],
)
def test_standard_atmosphere(sound: dict[str, Any], altitude: int, temperature: float, pressure: float) -> None:
    sound["air"] = {"altitude": f"{altitude} m"}
    air = _car(sound).air
    assert air.temperature == pytest.approx(temperature, abs=5e-3)
    assert air.pressure == pytest.approx(pressure, abs=5e-3)


@pytest.mark.parametrize("geometric", [250.0, 1500.0, 4000.0])
def test_standard_atmosphere_against_a_reference_library(geometric: float) -> None:
    reference = Atmosphere(geometric)  # takes geometric altitude
    altitude = float(reference.H[0])
    assert standard_pressure(altitude) == pytest.approx(float(reference.pressure[0]), rel=1e-6)
    assert standard_temperature(altitude) == pytest.approx(float(reference.temperature[0]), rel=1e-6)


def test_weather_that_is_given(sound: dict[str, Any]) -> None:
    sound["air"] = {
        "pressure": "29.5 inHg",
        "temperature": "86 °F",
        "humidity": "40 %",
        "head_wind": "10 km/h",
    }
    air = _car(sound).air
    assert air.pressure == pytest.approx(29.5 * 3386.38864)
    assert air.temperature == pytest.approx(303.15)
    assert (air.humidity, air.head_wind) == pytest.approx((0.4, 10 / 3.6))


@pytest.mark.parametrize(
    ("grade", "angle"), [("10 %", math.atan(0.1)), ("-10 %", -math.atan(0.1)), ("5 deg", math.radians(5))]
)
def test_grade(sound: dict[str, Any], grade: str, angle: float) -> None:
    sound["road"] = {"grade": grade}
    assert _car(sound).road.grade_angle == pytest.approx(angle)


@pytest.mark.parametrize(
    ("surface", "friction", "rolling"),
    [
        # mid values of the Taborek peak table as reprinted by Wong (from memory) over 0.85
        # rolling resistance of Carvill's table over 0.01
        ("dry asphalt", 0.85 / 0.85, 1.0),
        ("dry concrete", 0.85 / 0.85, 1.0),
        ("wet asphalt", 0.60 / 0.85, 1.0),
        ("wet concrete", 0.80 / 0.85, 1.0),
        ("gravel", 0.60 / 0.85, 0.04 / 0.01),
        ("snow", 0.20 / 0.85, 2.5),
        ("ice", 0.10 / 0.85, 1.0),
        ("prepared strip", 1.25, 1.0),  # common practice
    ],
)
def test_surfaces(sound: dict[str, Any], surface: str, friction: float, rolling: float) -> None:
    sound["road"] = {"surface": surface}
    road = _car(sound).road
    assert road.friction_factor == pytest.approx(friction, abs=6e-4)
    assert road.rolling_factor == pytest.approx(rolling)


def test_factors_that_are_given_replace_the_surface(sound: dict[str, Any]) -> None:
    sound["road"] = {"surface": "ice", "friction_factor": "0.9", "rolling_factor": "1.5"}
    road = _car(sound).road
    assert (road.friction_factor, road.rolling_factor) == (0.9, 1.5)


@pytest.mark.parametrize(
    ("size", "diameter"),
    [("225/45 R17", 634), ("205/55R16", 632), ("195/65 R15", 635), ("245/40 ZR18", 653), ("175/65 R14", 584)],
)
def test_size_designation(size: str, diameter: int) -> None:
    # overall diameter in mm from the size tables of UN Regulation 30, annex 5 (from memory), rounded there
    assert 2000 * unloaded_radius(size) == pytest.approx(diameter, abs=1.0)


def test_rolling_radius_from_a_size(sound: dict[str, Any]) -> None:
    sound["tyres"]["both"] = {"size": "225/45 R17", "friction": "1.1"}
    # common practice: 0.97 of the unloaded radius
    assert _car(sound).front.radius == pytest.approx(0.97 * (17 * 25.4 / 2 + 225 * 0.45) / 1000)


def test_axles_may_differ(sound: dict[str, Any]) -> None:
    tyre = sound["tyres"]["both"]
    sound["tyres"] = {"front": tyre, "rear": tyre | {"friction": "1.3", "radius": "0.34 m"}}
    car = _car(sound)
    assert (car.front.friction, car.rear.friction) == (1.1, 1.3)
    assert (car.front.radius, car.rear.radius) == (0.32, 0.34)


@pytest.mark.parametrize(
    ("until", "distance", "speed"),
    [(["201.168 m"], 201.168, 0.0), (["200 km/h"], 0.0, 200 / 3.6), (["60 mph", "1 km"], 1000.0, 26.8224)],
)
def test_end_of_the_run(sound: dict[str, Any], until: list[str], distance: float, speed: float) -> None:
    sound["run"] = {"until": until}
    run = _car(sound).run
    beyond = (distance + 0.3048 + 1e-3 if distance else 0.0, speed + 1e-3 if speed else 0.0)  # so that a goal is passed
    assert (run.stop_distance, run.stop_speed) == pytest.approx(beyond)


def test_marks(sound: dict[str, Any]) -> None:
    sound["run"] = {"marks": ["50 m", "80 km/h", "80 km/h to 120 km/h"]}
    marks = from_mapping(sound, "sample").run.marks
    ends = [(mark.start.si if mark.start else None, mark.end.si) for mark in marks]
    assert ends == [
        (None, 50.0),
        (None, pytest.approx(80 / 3.6)),
        (pytest.approx(80 / 3.6), pytest.approx(120 / 3.6)),
    ]
    assert [mark.text for mark in marks] == ["50 m", "80 km/h", "80 km/h to 120 km/h"]


def test_unknown_curve(sound: dict[str, Any]) -> None:
    with pytest.raises(UsageError, match="choose one of"):
        lower(from_mapping(sound, "sample"), "round", Pedal.FULL)


@given(st.floats(500, 3000))
def test_units_make_no_difference(mass: float) -> None:
    from scenario.conftest import sound_scenario

    scenario = from_mapping(sound_scenario(), "sample")
    metric = scenario.replace({"body.mass": f"{mass:.9f} kg"}).body.mass.si
    us = scenario.replace({"body.mass": f"{mass / 0.45359237:.9f} lb"}).body.mass.si
    assert metric == pytest.approx(us, rel=1e-10)
