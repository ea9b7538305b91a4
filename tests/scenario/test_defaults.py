"""Defaults in use, their origins, and doubts about what was given."""

from __future__ import annotations

from typing import Any

import pytest

from simlaunch.scenario.defaults import Default, defaults
from simlaunch.scenario.model import warnings
from simlaunch.scenario.reading import from_mapping


def _listed(data: dict[str, Any]) -> dict[str, Default]:
    return {entry.key: entry for entry in defaults(from_mapping(data, "sample"))}


def test_every_default_states_value_and_origin(sound: dict[str, Any]) -> None:
    listed = _listed(sound)
    assert all(entry.value and entry.origin for entry in listed.values())
    assert listed["body.pitch_frequency"].value == "1.5 Hz"
    assert listed["engine.overrun_torque"].value == "40 N m"
    assert listed["gearbox.efficiency"].value == "0.94"
    assert listed["gearbox.shift_at"].value == "best force"
    assert listed["gearbox.shift.gap"].value == "0.25 s"
    assert listed["run.until"].value == "402.336 m"
    assert listed["run.marks"].value == "none"
    assert listed["tyres.both.curvature"].value == "0.46403"
    assert "Magic Formula" in listed["tyres.both.curvature"].origin
    assert listed["road.surface"].value == "dry asphalt"
    assert "note" not in listed


def test_what_was_given_is_not_listed(sound: dict[str, Any]) -> None:
    sound["body"]["pitch_frequency"] = "1.5 Hz"
    assert "body.pitch_frequency" not in _listed(sound)


def test_values_that_were_worked_out_are_listed(sound: dict[str, Any]) -> None:
    sound["air"] = {"altitude": "1000 m"}
    sound["road"] = {"surface": "gravel"}
    sound["tyres"]["both"] = {"size": "225/45 R17", "friction": "1.1"}
    listed = _listed(sound)
    assert listed["air.pressure"] == Default("air.pressure", "89875 Pa", "ISO 2533 at the altitude")
    assert listed["air.temperature"].value == "8.50 degC"
    assert listed["road.rolling_factor"].value == "4"
    assert "Carvill" in listed["road.rolling_factor"].origin
    assert listed["tyres.both.radius"].value == "0.3076 m"


@pytest.mark.parametrize(
    ("table", "values", "unused"),
    [
        ("drive", {"driven": "rear"}, {"drive.centre", "drive.front_share"}),
        ("drive", {"driven": "all", "centre": "locked"}, {"drive.front_share"}),
        (
            "drive",
            {"driven": "rear", "half_shafts": "rigid"},
            {"drive.half_shaft_stiffness", "drive.half_shaft_damping"},
        ),
        ("road", {"friction_factor": "1", "rolling_factor": "1"}, {"road.surface"}),
        (
            "run",
            {},
            {"tyres.both.rolling_factor_of_radius", "engine.boost_time_constant", "engine.boost_decay_time"},
        ),
    ],
)
def test_defaults_that_play_no_part_are_left_out(
    sound: dict[str, Any], table: str, values: dict[str, str], unused: set[str]
) -> None:
    sound[table] = values
    assert unused.isdisjoint(_listed(sound))


def test_lock_up_settings_count_only_with_a_lock_up_clutch(sound: dict[str, Any]) -> None:
    sound["coupling"] = {
        "kind": "torque converter",
        "speed_ratio": ["0", "0.9"],
        "capacity_factor": ["120 rpm/sqrt(N m)", "200 rpm/sqrt(N m)"],
        "torque_ratio": ["2", "1"],
    }
    assert "coupling.lock_up_gear" not in _listed(sound)
    sound["coupling"]["lock_up_capacity"] = "500 N m"
    assert _listed(sound)["coupling.lock_up_gear"].value == "2"


def test_a_plain_scenario_raises_no_doubt(sound: dict[str, Any]) -> None:
    assert warnings(from_mapping(sound, "sample")) == ()


@pytest.mark.parametrize(
    ("table", "values", "words"),
    [
        ("body", {"mass": "4500 kg"}, 'body.mass: "4500 kg" is outside the usual 400 kg to 3500 kg'),
        (
            "body",
            {"drag_area": "0.1 m^2"},
            'body.drag_area: "0.1 m^2" is outside the usual 0.3 m^2 to 1.3 m^2',
        ),
        ("coupling", {"capacity": "250 N m"}, '"250 N m" is below the 300 N m of curve "flat"; it will slip'),
        (
            "engine",
            {"displacement": "1.0 l"},
            "brake mean effective pressure of 37.7 bar; road engines stay below 30 bar",
        ),
        (
            "launch",
            {"engine_speed": "900 rpm"},
            '"flat" begins at 1000 rpm, above the launch at 900 rpm; 300 N m is taken',
        ),
        ("launch", {"boost": "50 %"}, "launch.boost: has no effect while engine.boost_lagged_share is 0 %"),
    ],
)
def test_doubts(sound: dict[str, Any], table: str, values: dict[str, str], words: str) -> None:
    sound[table] |= values
    (sentence,) = warnings(from_mapping(sound, "sample"))
    assert words in sentence


def test_doubt_about_a_tyre_names_its_table(sound: dict[str, Any]) -> None:
    tyre = sound["tyres"]["both"]
    sound["tyres"] = {"front": tyre, "rear": tyre | {"friction": "2.5"}}
    assert warnings(from_mapping(sound, "sample")) == ('tyres.rear.friction: "2.5" is outside the usual 0.6 to 1.9',)
