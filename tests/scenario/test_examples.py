"""Every key has an example that fits it, in messages as in the JSON Schema."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from pydantic.fields import FieldInfo

from simlaunch.cli.main import answer
from simlaunch.errors import InputError
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.schema import _is_model, _limits, _of_field, _samples, how_to_add, json_schema
from simlaunch.units.field import Within

COUPE = str(Path(__file__).parents[2] / "scenarios" / "road-coupe.toml")
Capture = pytest.CaptureFixture[str]


def _fields(model: type, seen: set[type]) -> Iterator[tuple[str, FieldInfo]]:
    """Every field of the models of a scenario, by model and name."""
    seen.add(model)
    for name, field in model.model_fields.items():  # type: ignore[attr-defined]
        yield f"{model.__name__}.{name}", field
        for part in _of_field(field):
            if _is_model(part) and part not in seen:
                yield from _fields(part, seen)  # type: ignore[arg-type]


QUANTITIES = {
    place: field
    for place, field in _fields(Scenario, set())
    if any(isinstance(part, Within) for part in _of_field(field))
}


@pytest.mark.parametrize("place", QUANTITIES)
def test_an_example_is_one_that_the_key_takes(place: str) -> None:
    limits = _limits(QUANTITIES[place])
    samples = _samples(QUANTITIES[place])
    assert len(samples) == len(limits)
    for limit, text in zip(limits, samples, strict=True):
        limit.parse(text.strip('"'))


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ("body.cg_height=0.5", 'such as "0.52 m"'),
        ("body.cg_height=0.5 kg", 'such as "0.52 m"'),
        ("tyres.both.friction=high", 'such as "1.05"'),
        ("engine.idle=850", 'such as "850 rpm"'),
        (
            "body.front_weight_share=57",
            '"57" is no share: a number alone counts in parts of one, up to 1; write "57 %"',
        ),
        ("gearbox.efficiency=94", 'write "94 %" if per cent was meant'),
    ],
)
def test_a_remedy_shows_a_value_of_that_key(capsys: Capture, change: str, words: str) -> None:
    assert answer(["check", COUPE, "--set", change]) == 3
    assert words in capsys.readouterr().err


def test_a_missing_key_is_shown_with_a_value_of_its_own() -> None:
    assert how_to_add(("body", "cg_height")) == 'add cg_height = "0.52 m"'
    assert how_to_add(("engine", "rev_limit")) == 'add rev_limit = "7000 rpm"'
    assert how_to_add(("gearbox", "ratios")).startswith('add ratios = ["3.8"')


def test_the_schema_carries_the_examples() -> None:
    assert json_schema()["$defs"]["Body"]["properties"]["cg_height"]["examples"] == ["0.52 m"]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("60-130", 'write the span as "60 km/h to 130 km/h" or "60 mph to 130 mph"'),
        ("100-200 km/h", 'write the span as "100 km/h to 200 km/h"'),
        ("60 \u2013 130 mph", 'write the span as "60 mph to 130 mph"'),
    ],
)
def test_a_span_with_a_dash_is_shown_as_one_is_written(tmp_path: Path, text: str, words: str) -> None:
    from simlaunch.scenario.model import Mark
    from simlaunch.scenario.reading import load

    with pytest.raises(InputError) as caught:
        load(COUPE).replace({"run.marks": [text]})
    assert words in str(caught.value)
    assert Mark.parse(words.split('"')[1]).start is not None


@pytest.mark.parametrize("name", ["sheet.csv", "sheet.txt", "sheet.xlsx"])
def test_a_raw_sheet_as_a_curve_points_to_the_command(tmp_path: Path, name: str) -> None:
    from simlaunch.scenario.reading import load

    (tmp_path / name).write_text("Run 12\nRPM;Torque;Power\n2000;300;62.8\n")
    text = Path(COUPE).read_text("utf-8")
    start = text.index("[[curves]]")
    scenario = tmp_path / "a.toml"
    scenario.write_text(f'{text[:start]}[[curves]]\nname = "raw"\nfile = "{name}"\n', "utf-8")
    with pytest.raises(InputError, match=r"simlaunch curve SHEET --save CURVE\.csv"):
        load(scenario)
