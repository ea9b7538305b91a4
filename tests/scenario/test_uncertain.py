"""Uncertain values and rated parts: what a scenario may say, and how its faults are reported."""

from __future__ import annotations

from pathlib import Path

import pytest

from simlaunch.errors import ScenarioError
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.reading import from_mapping, load

COUPE = load(Path(__file__).parents[2] / "scenarios" / "road-coupe.toml")


def _uncertain(**keys: str) -> Scenario:
    return COUPE.replace({"uncertain": [{"origin": "invented", **keys}]})


def _part(**keys: str) -> dict[str, str]:
    return {"name": "box", "place": "gearbox input", "rating": "500 N m", "origin": "invented", **keys}


@pytest.mark.parametrize(
    ("keys", "fault"),
    [
        ({"key": "body.mas", "kind": "normal", "deviation": "3 kg"}, 'uncertain[1].key: "body.mas" is not a key that'),
        ({"key": "curves", "kind": "normal", "deviation": "3 kg"}, 'uncertain[1].key: "curves" is not a key that'),
        ({"key": "body.mass", "kind": "normal"}, "uncertain[1].deviation: is missing for a normal distribution"),
        ({"key": "body.mass", "kind": "uniform", "low": "1500 kg"}, "uncertain[1].high: is missing for a uniform"),
        (
            {"key": "body.mass", "kind": "normal", "deviation": "3 kg", "low": "1 kg"},
            "uncertain[1].low: has no meaning for a normal distribution",
        ),
        ({"key": "body.mass", "kind": "normal", "deviation": "3 s"}, 'uncertain[1].deviation: "3 s" is a time'),
        ({"key": "body.mass", "kind": "normal", "deviation": "0 kg"}, "uncertain[1].deviation:"),
        ({"key": "body.mass", "kind": "uniform", "low": "2 kg", "high": "9 t"}, "uncertain[1].low:"),
        ({"key": "body.mass", "kind": "uniform", "low": "2 t", "high": "1 t"}, "is not below high, 1 t"),
        (
            {"key": "body.mass", "kind": "triangular", "low": "1 t", "high": "2 t", "middle": "3 t"},
            "uncertain[1].middle:",
        ),
        ({"key": "air.head_wind", "kind": "lognormal", "low": "-1 m/s", "high": "3 m/s"}, "is not above zero"),
        ({"key": "body.mass", "kind": "even", "deviation": "3 kg"}, "uncertain[1].kind:"),
    ],
)
def test_a_fault_is_reported_with_its_place(keys: dict[str, str], fault: str) -> None:
    with pytest.raises(ScenarioError) as told:
        _uncertain(**keys)
    assert fault in str(told.value)


NORMAL = [
    {"key": "body.mass", "kind": "normal", "deviation": "3 kg", "origin": "invented"},
    {"key": "body.drag_area", "kind": "normal", "deviation": "2 %", "origin": "invented"},
    {"key": "air.humidity", "kind": "uniform", "low": "10 %", "high": "60 %", "origin": "invented"},
]


def _correlated(keys: list[str], rows: list[list[str]]) -> Scenario:
    table = {"keys": keys, "coefficients": rows, "origin": "invented"}
    return COUPE.replace({"uncertain": NORMAL, "correlation": table})


@pytest.mark.parametrize(
    ("keys", "rows", "fault"),
    [
        (["body.mass", "body.drag_area"], [["1", "0.5"], ["0.5"]], "is not a table of 2 rows of 2 values"),
        (["body.mass", "body.drag_area"], [["1", "0.5"], ["0.4", "1"]], "is not symmetric"),
        (["body.mass", "body.drag_area"], [["1", "0.5"], ["0.5", "0.9"]], "a diagonal of 1"),
        (["body.mass", "body.drag_area"], [["1", "1"], ["1", "1"]], "contradicts itself"),
        (["body.mass", "body.drag_area"], [["1", "1.2"], ["1.2", "1"]], "is above 1"),
        (
            ["body.mass", "air.humidity"],
            [["1", "0.5"], ["0.5", "1"]],
            'correlation.keys[2]: "air.humidity" is not a single value with a normal',
        ),
        (["body.mass", "body.mass"], [["1", "0.5"], ["0.5", "1"]], "is given twice"),
        (["body.mass", "road.grade"], [["1", "0.5"], ["0.5", "1"]], "is not a single value with a normal distribution"),
    ],
)
def test_a_fault_of_a_correlation_is_reported(keys: list[str], rows: list[list[str]], fault: str) -> None:
    with pytest.raises(ScenarioError) as told:
        _correlated(keys, rows)
    assert fault in str(told.value)


def test_a_sound_correlation_is_a_matrix() -> None:
    sound = _correlated(["body.mass", "body.drag_area"], [["1", "-0.5"], ["-0.5", "1"]])
    assert sound.correlation is not None
    assert sound.correlation.matrix.tolist() == [[1.0, -0.5], [-0.5, 1.0]]


def test_an_efficiency_of_all_gears_may_be_uncertain() -> None:
    assert _uncertain(key="gearbox.efficiency", kind="normal", deviation="1 %").uncertain


def test_a_key_is_given_once() -> None:
    entry = {"key": "body.mass", "kind": "normal", "deviation": "3 kg", "origin": "invented"}
    with pytest.raises(ScenarioError, match=r"uncertain\[2\].key: .* is given twice"):
        COUPE.replace({"uncertain": [entry, entry]})


@pytest.mark.parametrize("key", ["drive.front_share", "drive.front_roll_stiffness_share", "drive.second_axle.capacity"])
def test_a_setting_that_the_drive_refuses_cannot_be_uncertain(key: str) -> None:
    torque = key.endswith("capacity")
    low, high = ("300 N m", "500 N m") if torque else ("30 %", "60 %")
    entry = {"key": key, "kind": "uniform", "low": low, "high": high, "origin": "invented"}
    with pytest.raises(ScenarioError, match=rf'uncertain\[1\].key: "{key}" needs .*; take the entry out'):
        COUPE.replace({"uncertain": [entry]})


def test_faults_of_uncertain_values_are_reported_beside_others() -> None:
    data = COUPE.model_dump(exclude_unset=True)
    data["uncertain"][0]["key"] = "road.grip"
    data["body"]["mass"] = "1600"
    with pytest.raises(ScenarioError) as told:
        from_mapping(data, "a.toml")
    assert {fault.place for fault in told.value.faults} == {"uncertain[1].key", "body.mass"}


@pytest.mark.parametrize(
    ("part", "fault"),
    [
        (_part(place="roof"), "parts[1].place:"),
        (_part(rating="500 kg"), 'parts[1].rating: "500 kg" is a mass'),
        (_part(reserve="-5 %"), "parts[1].reserve:"),
        (_part(slope="0.5"), "parts[1].slope:"),
        ({"name": "box", "place": "coupling", "rating": "500 N m"}, "parts[1].origin: is missing"),
    ],
)
def test_a_fault_of_a_part_is_reported_with_its_place(part: dict[str, str], fault: str) -> None:
    with pytest.raises(ScenarioError) as told:
        COUPE.replace({"parts": [part]})
    assert fault in str(told.value)


def test_part_names_are_apart() -> None:
    with pytest.raises(ScenarioError, match=r'parts\[2\].name: "box" is the name of an earlier part'):
        COUPE.replace({"parts": [_part(), _part(place="coupling")]})


def test_what_a_part_leaves_out_is_usual() -> None:
    (part,) = COUPE.replace({"parts": [_part()]}).parts or ()
    assert part.failure_si == pytest.approx(750.0)  # half as much again (common practice)
    assert part.derived()["slope"].text == "6.611"
    (own,) = COUPE.replace({"parts": [_part(slope="8.7", reserve="20 %")]}).parts or ()
    assert own.slope_si == 8.7
    assert own.failure_si == pytest.approx(600.0)
