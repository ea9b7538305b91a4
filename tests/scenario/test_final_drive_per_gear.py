"""A final drive for each gear: what is accepted, and that every use of a ratio takes the one of its gear."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from simlaunch.analysis.parts import parts, spectra_of
from simlaunch.analysis.simulate import simulate
from simlaunch.analysis.usable import usable
from simlaunch.errors import InputError, ScenarioError, UsageError
from simlaunch.metrics.parts import Part
from simlaunch.output.parts import text as parts_text
from simlaunch.parameters.fill import lower
from simlaunch.readers.reference_conditions import driveline_losses
from simlaunch.record import Pedal
from simlaunch.scenario.model import Alternative, Scenario
from simlaunch.scenario.powertrain import MeasuredAt
from simlaunch.scenario.reading import from_mapping, load
from simlaunch.scenario.schema import json_schema
from simlaunch.simulation.trace import Trace
from simlaunch.sweeping.axes import axes
from simlaunch.units.spelling import System

COUPE = load(Path(__file__).parents[2] / "scenarios" / "road-coupe.toml")
GEARS = len(COUPE.gearbox.ratios)
FINAL = COUPE.gearbox.final_drive.si  # type: ignore[union-attr]
SECOND_SHAFT = range(GEARS - 2, GEARS)  # the two highest gears


def _split(scenario: Scenario = COUPE) -> Scenario:
    """The same car with half the final drive, and twice the ratio, in the gears of the second output shaft."""
    ratios = [each.si * (2.0 if n in SECOND_SHAFT else 1.0) for n, each in enumerate(scenario.gearbox.ratios)]
    drives = [FINAL * (0.5 if n in SECOND_SHAFT else 1.0) for n in range(GEARS)]
    return scenario.replace(
        {"gearbox.ratios": [f"{x:.15g}" for x in ratios], "gearbox.final_drive": [f"{x:.15g}" for x in drives]}
    )


# --- the same car, described otherwise ---


@pytest.mark.parametrize("pedal", list(Pedal))
def test_the_record_holds_the_product_only(pedal: Pedal) -> None:
    """Twice the gear with half the final drive: products that are equal to the last bit. Source: binary arithmetic."""
    name = COUPE.curve_names[0]
    assert lower(_split(), name, pedal).tobytes() == lower(COUPE, name, pedal).tobytes()


def test_equal_products_give_equal_launches() -> None:
    """Wheel force is torque times the product over the radius, so that the split plays no part. Source: statics."""
    plain, split = simulate(COUPE), simulate(_split())
    assert split.time == plain.time
    for name in ("speed", "engine_speed", "gearbox_output_torque"):
        np.testing.assert_array_equal(split.run.trace[name], plain.run.trace[name])


def test_equal_products_give_equal_usable_torque() -> None:
    plain, split = usable(COUPE), usable(_split())
    assert split.to_dict() == plain.to_dict()


# --- other final drives, by hand ---


def test_wheel_force_of_each_gear() -> None:
    """300 N m in gears of 3.6, 2.1 and 1.9 behind 3.5, 3.5 and 2.8, 94 %, on 0.32 m: by hand.

    Overall 12.6, 7.35 and 5.32; 300 x 12.6 x 0.94 / 0.32 = 11103.75 N, then 6477.1875 N and 4688.25 N.
    """
    car = lower(_small(["3.5", "3.5", "2.8"], ["3.6", "2.1", "1.9"]), "flat", Pedal.FULL)
    force = 300.0 * car.gearbox.ratio[:3] * car.gearbox.efficiency[:3] / car.rear.radius
    assert force == pytest.approx([11103.75, 6477.1875, 4688.25], rel=1e-12)


def test_losses_take_the_final_drive_of_their_gear() -> None:
    """Inertia beyond the gears counts over the square of 1.9 x 2.8 = 5.32 in third gear. Source: definition."""
    scenario = _small(["3.5", "3.5", "2.8"], ["3.6", "2.1", "1.9"])
    found = driveline_losses(scenario, MeasuredAt.HUB, 3, 0.0)
    assert found.inertia_after == pytest.approx(scenario.drive.inertia.si / 5.32**2, rel=1e-12)


def test_a_road_test_takes_the_final_drive_of_its_gear() -> None:
    """20 m/s on 0.32 m at 5.32 overall are 3175 rpm, at 6.65 they are 3968 rpm: a limit between the two tells."""
    scenario = _small(["3.5", "3.5", "2.8"], ["3.6", "2.1", "1.9"])
    test = {"name": "pull", "from": "20 m/s", "to": "25 m/s", "gear": "3"}
    changes = {"tests": [test], "engine.rev_limit": "3500 rpm", "launch.engine_speed": "2500 rpm"}
    assert scenario.replace(changes).tests
    with pytest.raises(ScenarioError, match="turns the engine at 3969 rpm in gear 3"):
        scenario.replace({**changes, "gearbox.final_drive": ["3.5", "3.5", "3.5"]})


def test_each_final_drive_wears_by_its_own_gears() -> None:
    """A steady 800 N m, 10 s in each gear at 100 rad/s: every gear is 1000 / 2 pi turns. Source: geometry."""
    time = np.linspace(0.0, 30.0, 3001)
    gear = np.clip(np.ceil(time / 10.0), 1, 3)
    channels = {"gear": gear, "gearbox_output_torque": np.full(3001, 800.0), "shaft_speed": np.full(3001, 100.0)}
    found = spectra_of(Trace(time, channels), Part.GEARBOX_OUTPUT, [3.5, 3.5, 2.8])
    assert list(found) == ["final drive 3.5", "final drive 2.8"]
    turned = [float(each.counts.sum()) for each in found.values()]
    assert turned == pytest.approx([2000.0 / (2.0 * np.pi), 1000.0 / (2.0 * np.pi)], rel=2e-3)  # a sample of 0.01 s
    together = spectra_of(Trace(time, channels), Part.GEARBOX_OUTPUT, [3.5] * 3)["final drive"]
    assert sum(turned) == pytest.approx(float(together.counts.sum()), rel=2e-3)


def test_parts_name_the_final_drive_that_wears_most() -> None:
    found = parts(_split())
    pieces = {piece for part in found.loads[0].parts for piece in part.spectra if piece.startswith("final drive")}
    assert f"final drive {FINAL:.4g}" in pieces
    assert "final drive" not in pieces
    assert ", final drive " in parts_text(found, System.METRIC)


# --- what is accepted ---


def _small(final_drive: Any, ratios: list[str] | None = None) -> Scenario:
    return from_mapping(_data(final_drive, ratios), "small.toml")


def _data(final_drive: Any, ratios: list[str] | None = None) -> dict[str, Any]:
    return {
        "format": 1, "name": "small",
        "body": {"mass": "1500 kg", "front_weight_share": "54 %", "wheelbase": "2.65 m", "cg_height": "0.52 m",
                 "drag_area": "0.66 m^2"},
        "tyres": {"both": {"radius": "0.32 m", "friction": "1.1"}},
        "drive": {"driven": "rear"},
        "engine": {"inertia": "0.2 kg m^2", "idle": "800 rpm", "rev_limit": "6500 rpm"},
        "coupling": {"kind": "friction clutch", "capacity": "500 N m"},
        "gearbox": {"ratios": ratios or ["3.6", "2.1", "1.4"], "final_drive": final_drive,
                    "shift": {"kind": "torque hand-over"}},
        "launch": {"engine_speed": "3000 rpm"},
        "curves": [{"name": "flat", "points": [["800 rpm", "300 N m"], ["7000 rpm", "300 N m"]]}],
    }  # fmt: skip


@pytest.mark.parametrize(
    ("final_drive", "message"),
    [
        (["3.5", "3.5"], "gearbox.final_drive: has 2 values for 3 gears; give one value, or one per gear"),
        (["3.5"], "gearbox.final_drive: has 1 values for 3 gears; give one value, or one per gear"),
        ([], "gearbox.final_drive: has 0 values; give at least 1"),
        (["3.5", "3.5", "0"], 'gearbox.final_drive[3]: "0" is below 0.1, the least that is possible'),
        (["3.5", "-3.5", "3"], 'gearbox.final_drive[2]: "-3.5" is below 0.1, the least that is possible'),
        (["3.5", 3.5, "3"], 'gearbox.final_drive[2]: 3.5 is a bare number; values are text; write "3.5" in quotes'),
        (["3.5", "3.5", "5.4"], 'gearbox.ratios[3]: "1.4" times its final drive of 5.4 is not below the gear before'),
    ],
)
def test_bad_lists_are_refused(final_drive: list[Any], message: str) -> None:
    with pytest.raises(ScenarioError) as caught:
        _small(final_drive)
    assert message in str(caught.value)


def test_a_higher_gear_may_have_the_larger_ratio() -> None:
    """1.05 x 4.12 = 4.326 in fourth gear, 1.09 x 3.04 = 3.3136 in fifth: the product falls."""
    box = _small(["4.12", "4.12", "3.04"], ["3.6", "1.05", "1.09"]).gearbox
    assert [box.overall(gear) for gear in (2, 3)] == pytest.approx([4.326, 3.3136])


def test_the_schema_takes_what_the_reader_takes() -> None:
    key = json_schema()["$defs"]["Gearbox"]["properties"]["final_drive"]
    one, several = key["oneOf"]
    assert (one["type"], several["type"], several["items"]["type"]) == ("string", "array", "string")
    assert several["minItems"] == 1
    for example in key["examples"]:
        ratios = ["3.6", "2.1", "1.4", "1.3", "1.1"] if isinstance(example, list) else None
        assert _small(example, ratios).gearbox.final_drives[0].text in ("3.42", "4.12")


def test_gear_sets_take_lists() -> None:
    data = _data(["3.5", "3.5", "2.8"], ["3.6", "2.1", "1.9"])
    sets = [{"name": "short", "ratios": ["3.6", "2.1", "1.7"], "final_drive": ["3.7", "3.7", "3.1"]}]
    scenario = from_mapping({**data, "gear_sets": sets}, "small.toml")
    geared = scenario.replace(dict(scenario.changes_to(Alternative.GEAR_SET, "short")))
    assert geared.gearbox.overall(3) == pytest.approx(1.7 * 3.1)
    with pytest.raises(ScenarioError, match=r"gear_sets\[1\].final_drive: has 3 values for 2 gears"):
        from_mapping({**data, "gear_sets": [{"name": "two", "ratios": ["3.6", "2.1"]}]}, "small.toml")


def test_one_number_cannot_stand_for_several() -> None:
    scenario = _small(["3.5", "3.5", "2.8"])
    with pytest.raises(UsageError, match="final drives of its own"):
        axes(["final drive: 3.2, 3.4"], scenario)
    entry = {"key": "gearbox.final_drive", "kind": "normal", "deviation": "0.1", "origin": "Invented."}
    with pytest.raises(InputError, match=r"uncertain\[1\].key: .* holds one value per gear"):
        scenario.replace({"uncertain": [entry]})
    assert _small("3.5").replace({"uncertain": [entry]}).uncertain


def test_one_value_replaces_several_and_several_one() -> None:
    scenario = _small(["3.5", "3.5", "2.8"])
    assert [each.si for each in scenario.replace({"gearbox.final_drive": "3"}).gearbox.final_drives] == [3.0] * 3
    back = _small("3").replace({"gearbox.final_drive": ["3.5", "3.5", "2.8"]})
    assert back.gearbox == scenario.gearbox
