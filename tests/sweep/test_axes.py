"""What can be varied, how it is typed, and what is refused."""

from __future__ import annotations

import pytest

from simlaunch.errors import InputError, SimlaunchError, UsageError
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.reading import from_mapping
from simlaunch.sweeping.axes import Axis, Kind, axes


def _axis(text: str, scenario: Scenario) -> Axis:
    return axes([text], scenario)[0]


@pytest.mark.parametrize(
    ("text", "values"),
    [
        ("curve", ("peak", "plateau")),
        ("curve: plateau", ("plateau",)),
        ("gear set", ("as described", "short", "long")),
        ("tyre: track, as described", ("track", "as described")),
        ("surface", ("as described", "cold and dusty")),
        ("surface: wet asphalt, cold and dusty", ("wet asphalt", "cold and dusty")),
        ("pedal", ("full", "held")),
    ],
)
def test_names(coupe: Scenario, text: str, values: tuple[str, ...]) -> None:
    axis = _axis(text, coupe)
    assert (axis.name, axis.values, axis.si) == (text.partition(":")[0], values, ())


def test_a_range_has_its_ends_and_what_lies_evenly_between(coupe: Scenario) -> None:
    axis = _axis("body.mass: 1400 kg to 1700 kg in 7", coupe)
    assert axis.values == ("1400 kg", "1450 kg", "1500 kg", "1550 kg", "1600 kg", "1650 kg", "1700 kg")
    assert axis.si == (1400.0, 1450.0, 1500.0, 1550.0, 1600.0, 1650.0, 1700.0)


def test_a_range_may_end_in_another_unit(coupe: Scenario) -> None:
    assert _axis("body.mass: 1400 kg to 1.7 t in 2", coupe).values == ("1400 kg", "1700 kg")


def test_a_worked_out_number_is_what_its_text_says(coupe: Scenario) -> None:
    axis = _axis("final drive: 3.1 to 4.2 in 12", coupe)
    assert axis.name == "gearbox.final_drive"
    assert axis.si == tuple(float(text) for text in axis.values)
    assert max(map(len, axis.values)) <= 4


def test_a_list_keeps_what_was_typed(coupe: Scenario) -> None:
    axis = _axis("launch.engine_speed: 3000 rpm, 350 rad/s", coupe)
    assert axis.values == ("3000 rpm", "350 rad/s")
    assert axis.kind is Kind.NUMBER


def test_a_name_with_a_comma_stands_in_quotes(coupe: Scenario) -> None:
    points = [["1000 rpm", "300 N m"], ["7000 rpm", "300 N m"]]
    odd = coupe.replace({"curves": [{"name": name, "points": points} for name in ("a, b", "c")]})
    assert _axis('curve: "a, b", c', odd).values == ("a, b", "c")


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("nonsense", "nothing called"),
        ("gearbox.ratios: 3, 2", "nothing called"),
        ("run.until: 20 m", "nothing called"),
        ("body: 3", "nothing called"),
        ("curve: third", 'no curve is named "third"; choose from "peak", "plateau"'),
        ("gear set: shrot", "no gear set is named"),
        ("pedal: half", 'choose from "full", "held"'),
        ("curve: peak, peak", "given twice"),
        ("body.mass", "gives no values"),
        ("body.mass:", "gives no values"),
        ("body.mass: 1500 kg, 1.5 t", "given twice"),
        ("body.mass: 1700 kg to 1500 kg in 3", "from a lower to a higher"),
        ("body.mass: 1500 kg to 1700 kg in 1", "cannot fill a range"),
        ("body.mass: 1500 kg to 1700 kg in 20000", "cannot fill a range"),
        ("road.grade: 2 %, 3 deg", "mixes angle and slope"),
    ],
)
def test_a_call_that_makes_no_sense_is_refused(coupe: Scenario, text: str, told: str) -> None:
    with pytest.raises(UsageError, match=r"(?s).*") as caught:
        _axis(text, coupe)
    assert told in str(caught.value)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("body.mass: 1500", "has no unit"),
        ("body.mass: 1500 N m", "a mass is wanted"),
        ("body.mass: 1500 kg, 50 t", "is not from 100 kg to 20 t"),
        ("body.mass: 1 kg to 1500 kg in 3", "is not from 100 kg to 20 t"),
        ("coupling.lock_up_gear: 1.5", "is not a whole number"),
    ],
)
def test_a_value_that_cannot_be_read_is_refused(coupe: Scenario, text: str, told: str) -> None:
    with pytest.raises(InputError) as caught:
        _axis(text, coupe)
    assert told in str(caught.value)
    assert str(caught.value).startswith("--vary ")


def test_nothing_is_varied_twice_and_something_is(coupe: Scenario) -> None:
    with pytest.raises(UsageError, match="varied twice"):
        axes(["final drive: 3, 4", "gearbox.final_drive: 3.5"], coupe)
    with pytest.raises(UsageError, match="nothing is varied"):
        axes([], coupe)


def test_a_scenario_without_alternatives_has_none_to_vary(sound: dict[str, object]) -> None:
    with pytest.raises(UsageError, match=r"add \[\[gear_sets\]\]"):
        _axis("gear set", from_mapping(sound, "sample"))


# --- alternatives in a scenario ---


@pytest.mark.parametrize(
    ("table", "entries", "told"),
    [
        ("gear_sets", [{"name": "a", "ratios": ["2", "3"]}], "gear_sets[1].ratios[2]"),
        (
            "gear_sets",
            [{"name": "a", "ratios": ["3", "2"], "efficiency": ["90 %"] * 3}],
            "has 3 values for the 2 gears",
        ),
        ("gear_sets", [{"name": "as described", "ratios": ["3"]}], "the scenario's own"),
        ("gear_sets", [{"ratios": ["3"]}], "gear_sets[1].name: is missing"),
        ("tyre_sets", [{"name": "a", "front": {"radius": "0.3 m", "friction": "1"}}], "has front"),
        ("tyre_sets", [{"name": "a", "both": {"radius": "0.3 m", "friction": "9"}}], "tyre_sets[1].both.friction"),
        ("surfaces", [{"name": "a"}], "and so is surface"),
        ("surfaces", [{"name": "a", "surface": "wet"}], "is not a known surface"),
        ("surfaces", [{"name": "a", "friction_factor": "1"}] * 2, "an earlier one"),
        ("sweep", {"vary": []}, "sweep.vary"),
    ],
)
def test_a_faulty_alternative_is_reported_by_its_place(
    sound: dict[str, object], table: str, entries: object, told: str
) -> None:
    with pytest.raises(SimlaunchError) as caught:
        from_mapping({**sound, table: entries}, "sample")
    assert told in str(caught.value)


def test_a_gear_set_inherits_what_it_does_not_say(sound: dict[str, object]) -> None:
    gearbox = {
        "ratios": ["3.6", "2.1"],
        "final_drive": "3.5",
        "shift": {"kind": "torque gap"},
        "shift_at": ["6000 rpm"],
    }
    with pytest.raises(SimlaunchError, match="has 2 engine speeds for the 4 gears"):
        from_mapping(
            {
                **sound,
                "gearbox": {**gearbox, "ratios": ["3", "2", "1"], "shift_at": ["6000 rpm", "5900 rpm"]},
                "gear_sets": [{"name": "four", "ratios": ["4", "3", "2", "1"]}],
            },
            "sample",
        )
    with pytest.raises(SimlaunchError, match="gear_sets"):
        from_mapping({**sound, "gear_sets": [{"name": "x", "ratios": ["3", "2"], "final_drive": "3.5 m"}]}, "sample")


@pytest.mark.parametrize("text", ["body.mass: ,", "curve: , ,"])
def test_commas_alone_are_no_values(brief: Scenario, text: str) -> None:
    with pytest.raises(UsageError, match="gives no values"):
        axes([text], brief)
