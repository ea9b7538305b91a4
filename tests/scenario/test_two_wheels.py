"""Keys of two wheels of an axle: what they fill, what they refuse, and what is said of them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import simlaunch
from simlaunch.errors import ScenarioError
from simlaunch.launching.ready import runnable
from simlaunch.output.conditions import conditions_object, header
from simlaunch.parameters.fill import lower
from simlaunch.record import Car, Pedal
from simlaunch.scenario.defaults import defaults
from simlaunch.scenario.model import Alternative, Scenario, warnings
from simlaunch.scenario.reading import load
from simlaunch.units.spelling import System

SCENARIOS = Path(__file__).parents[2] / "scenarios"
COUPE, SALOON = (load(SCENARIOS / name) for name in ("road-coupe.toml", "all-drive-saloon.toml"))


def filled(scenario: Scenario) -> Car:
    return lower(scenario, scenario.curve_names[0], Pedal.FULL)


def test_an_axle_counts_as_one_body_unless_its_wheels_are_said_to_differ() -> None:
    assert filled(COUPE).drive.paired == 0
    assert filled(COUPE.replace({"drive.locking": "40 %"})).drive.paired == 0
    for key, value in (
        ("road.left_friction_factor", "1"), ("road.right_friction_factor", "0.5"), ("body.left_weight_share", "50 %"),
        ("drive.live_axle_track", "1.5 m"),
    ):  # fmt: skip
        assert filled(COUPE.replace({key: value})).drive.paired == 1, key


def test_what_is_left_out_is_alike_and_open() -> None:
    car = filled(COUPE.replace({"road.left_friction_factor": "0.6"}))
    assert (car.road.left_friction, car.road.right_friction, car.body.left_share) == (0.6, 1.0, 0.5)
    assert not car.drive.locking.any()
    assert not car.drive.preload.any()
    assert car.drive.cross_lever == 0.0


def test_each_driven_axle_has_its_differential() -> None:
    rear = filled(COUPE.replace({"drive.locking": "40 %", "drive.locking_preload": "80 N m"}))
    assert list(rear.drive.locking) == [0.0, 0.4]
    assert list(rear.drive.preload) == [0.0, 80.0]
    both = SALOON.replace({"drive.locking": "40 %", "drive.locking_preload": "80 N m"})
    assert list(filled(both).drive.locking) == [0.4, 0.4]
    own = both.replace({"drive.front_locking": "0 %", "drive.front_locking_preload": "10 N m"})
    assert list(filled(own).drive.locking) == [0.0, 0.4]
    assert list(filled(own).drive.preload) == [10.0, 80.0]


def test_a_live_axle_moves_load_by_the_torque_of_the_propeller_shaft() -> None:
    """T / (i t), less what the axle's own springs take. Source: moments about the axle."""
    live = COUPE.replace({"drive.live_axle_track": "1.5 m", "drive.front_roll_stiffness_share": "55 %"})
    final = COUPE.gearbox.final_drives[0].si
    assert filled(live).drive.cross_lever == pytest.approx(0.55 / (1.5 * final))


def test_a_live_axle_has_one_final_drive() -> None:
    drives = [each.text for each in COUPE.gearbox.final_drives]
    with pytest.raises(ScenarioError) as caught:
        COUPE.replace({"drive.live_axle_track": "1.5 m", "gearbox.final_drive": drives})
    assert "drive.live_axle_track" in str(caught.value)
    assert "which has one final drive" in str(caught.value)


def test_a_differential_between_wheels_that_are_alike_is_pointed_out() -> None:
    found = warnings(COUPE.replace({"drive.locking": "40 %"}))
    assert any("drive.locking: has no effect while the two wheels of an axle are alike" in each for each in found)
    for even in ({"road.left_friction_factor": "0.6", "road.right_friction_factor": "0.6"},
                 {"body.left_weight_share": "50 %"}):  # fmt: skip
        alike = warnings(COUPE.replace({"drive.locking": "40 %", **even}))
        assert any("drive.locking: has no effect" in each for each in alike), even
    idle = warnings(COUPE.replace({"drive.locking_speed": "5 rpm", "road.right_friction_factor": "0.5"}))
    assert any("drive.locking_speed: has no effect" in each for each in idle)
    unlike = {"drive.locking": "40 %", "body.left_weight_share": "51 %"}
    assert not any("drive.locking: has no effect" in each for each in warnings(COUPE.replace(unlike)))
    split = warnings(COUPE.replace({"drive.locking": "40 %", "road.right_friction_factor": "0.5"}))
    assert not any("has no effect while" in each for each in split)


@pytest.mark.parametrize(
    ("scenario", "keys", "idle"),
    [
        (COUPE, {"drive.locking": "100 %", "drive.locking_preload": "80 N m"}, ["locking_preload"]),
        (COUPE, {"drive.locking": "100 %", "drive.locking_preload": "0 N m"}, []),
        (COUPE, {"drive.locking": "99 %", "drive.locking_preload": "80 N m"}, []),
        (COUPE, {"drive.locking_preload": "80 N m"}, []),
        (SALOON, {"drive.locking": "100 %", "drive.locking_preload": "80 N m"}, ["locking_preload"]),
        (SALOON, {"drive.locking": "100 %", "drive.front_locking": "0 %", "drive.locking_preload": "80 N m"}, []),
        (SALOON, {"drive.locking": "100 %", "drive.front_locking_preload": "80 N m"}, ["front_locking_preload"]),
        (SALOON, {"drive.front_locking": "100 %", "drive.front_locking_preload": "9 N m"}, ["front_locking_preload"]),
        (SALOON, {"drive.front_locking": "100 %", "drive.locking_preload": "80 N m"}, []),
    ],
)
def test_a_preload_of_axles_that_are_locked_is_pointed_out(
    scenario: Scenario, keys: dict[str, str], idle: list[str]
) -> None:
    """A launch without it says the same: both wheels turn as one. Source: definition of a locked axle."""
    stated = scenario.replace({**keys, "road.right_friction_factor": "0.6"})
    found = [each for each in warnings(stated) if "_preload: has no effect beside a locking value of 100 %" in each]
    assert [each.split(":")[0] for each in found] == [f"drive.{name}" for name in idle]
    if idle:
        short = {"run.until": ["20 m"]}
        without = stated.replace({f"drive.{name}": "0 N m" for name in idle})
        times = [simlaunch.simulate(each.replace(short)).time for each in (stated, without)]
        assert times[0] == times[1]


def test_a_locking_speed_of_axles_that_are_locked_has_no_effect() -> None:
    speed = {"drive.locking_speed": "5 rpm", "road.right_friction_factor": "0.5"}
    for scenario, more, idle in (
        (COUPE, {"drive.locking": "100 %"}, True), (COUPE, {"drive.locking": "40 %"}, False),
        (COUPE, {"drive.locking_preload": "50 N m"}, False), (SALOON, {"drive.locking": "100 %"}, True),
        (SALOON, {"drive.locking": "100 %", "drive.front_locking": "20 %"}, False),
    ):  # fmt: skip
        found = warnings(scenario.replace({**speed, **more}))
        assert any("drive.locking_speed: has no effect" in each for each in found) is idle, more


def test_sides_that_grip_unlike_bring_the_caution_that_nothing_steers() -> None:
    assert any("yaw and steering are not modelled" in each for each in warnings(
        COUPE.replace({"road.right_friction_factor": "0.5"})
    ))  # fmt: skip
    assert not any("yaw" in each for each in warnings(COUPE))


def test_a_surface_brings_its_sides_and_takes_them_away() -> None:
    surface = {"name": "wet on the right", "surface": "dry asphalt", "right_friction_factor": "0.6"}
    scenario = COUPE.replace({"surfaces": [surface], "road.left_friction_factor": "0.5"})
    split = scenario.replace(scenario.changes_to(Alternative.SURFACE, "wet on the right"))
    assert split.road.left_friction_factor is None
    assert split.road.right_friction_factor is not None
    plain = scenario.replace(scenario.changes_to(Alternative.SURFACE, "wet asphalt"))
    assert plain.road.left_friction_factor is plain.road.right_friction_factor is None


def test_the_head_of_a_result_says_what_the_wheels_stand_on() -> None:
    split = COUPE.replace({"road.right_friction_factor": "0.6", "drive.locking": "40 %"})
    car = runnable(split, split.curve_names[0], Pedal.FULL)
    said = " ".join(header(split, car, System.METRIC).split())
    assert "left side 1.000 times that friction, right side 0.600; axle with locking value 40.0 %" in said
    wheels = conditions_object(split, car)["wheels"]
    assert wheels["right_friction_factor"] == pytest.approx(0.6)
    assert wheels["rear_locking"] == pytest.approx(0.4)
    assert "wheels" not in conditions_object(COUPE, runnable(COUPE, COUPE.curve_names[0], Pedal.FULL))


def test_axles_of_unlike_differentials_are_named_one_by_one() -> None:
    keys = {"road.right_friction_factor": "0.6", "drive.locking": "100 %", "drive.front_locking": "0 %"}
    scenario = SALOON.replace(keys)
    said = " ".join(header(scenario, runnable(scenario, scenario.curve_names[0], Pedal.FULL), System.METRIC).split())
    assert "open axle front, locked axle rear" in said


def test_wheels_of_a_trace_stand_beside_their_axle() -> None:
    split = COUPE.replace({"road.right_friction_factor": "0.6", "run.until": ["60 ft"]})
    found = simlaunch.simulate(split, curve=split.curve_names[0]).to_dataframe()
    left, right = (found[f"wheel_speed_rear_{side}_rad_per_s"] for side in ("left", "right"))
    np.testing.assert_allclose(0.5 * (left + right), found["wheel_speed_rear_rad_per_s"], rtol=1e-12, atol=1e-12)


def test_what_stands_in_for_keys_of_the_two_wheels_is_listed() -> None:
    listed = {each.key: each.value for each in defaults(COUPE.replace({"road.right_friction_factor": "0.6"}))}
    assert listed["drive.locking"] == "0 %"
    assert listed["road.left_friction_factor"] == "1"
    assert listed["body.left_weight_share"] == "50 %"
    assert "drive.locking_preload" not in listed
    stated = {"drive.locking": "40 %", "body.left_weight_share": "52 %"}
    given = {each.key: each.value for each in defaults(COUPE.replace(stated))}
    assert given["drive.locking_preload"] == "0 N m"
    assert not given.keys() & {*stated, "road.left_friction_factor", "road.right_friction_factor"}
    assert "drive.locking" not in {each.key for each in defaults(COUPE)}
