"""Hostile values where a quantity is wanted: in a file and as an argument, through the command line."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from readers.catalogue import MASS, Capture, refused, scenario, text
from simlaunch.cli.main import answer
from simlaunch.errors import Fault, InputError
from simlaunch.scenario.reading import load
from simlaunch.units.quantity import read
from simlaunch.units.spelling import Dimension

MASSES = {
    "a tower of powers": ("9**9**9 kg", "nothing is worked out"),
    "100,000 digits": ("9" * 100_000 + " kg", "is longer than 64 characters"),
    "a word of 100 kB": ("k" * 100_000, "is longer than 64 characters"),
    "1,000 parentheses": ("(" * 1000, "is longer than 64 characters"),
    "an open parenthesis": ("5 (", "is more than one number and one unit"),
    "a division by zero": ("1/0 kg", "nothing is worked out"),
    "blank": (" ", "is empty"),
    "a blank in the number": ("1 510 kg", 'write "1510 kg"'),
    "a decimal comma": ("3,5 kg", 'write "3.5 kg"'),
    "parted thousands": ("1.510,5 kg", "has a comma"),
    "tons": ("1.2 ton", "is ambiguous"),
    "nan": ("nan kg", "is not a finite number"),
    "inf": ("inf kg", "is not a finite number"),
    "infinity": ("infinity kg", "is not a finite number"),
    "too large for a float": ("1e400 kg", "lies outside"),
    "negative": ("-1500 kg", "is below 100 kg"),
    "two signs": ("--5 kg", "has more than one sign"),
    "an underscore": ("1_000 kg", 'write "1000 kg"'),
    "Arabic digits": ("\u0661\u0665\u0660\u0660 kg", "plain digit"),
    "NUL": ("1500\0kg", "has the un"),
    "text turned round": ("\u202e1500 kg", "plain digit"),
    "text turned round behind the number": ("1500 \u2066kg", "unknown unit"),
    "zero width": ("1500\u200b kg", "unknown unit"),
    "zero width in the number": ("15\u200d00 kg", "nothing is worked out"),
    "terminal escape": ("1500 \x1b[31mkg", "nothing is worked out"),
    "markup": ("<script>1500 kg</script>", "does not begin with a number"),
    "a formula": ("=1500", "does not begin with a number"),
    "a code": ("__import__('os').getcwd()", "does not begin with a number"),
    "a path": ("../../x", "does not begin with a number"),
}
OTHERS = {
    "kmph": ("run.until", "100 kmph", 'write "100 km/h"'),
    "revolutions that could be radians": ("engine.rev_limit", "7000/min", 'write "7000 rpm"'),
    "a mass for a speed": ("engine.rev_limit", "7000 kg", "is a mass, but a rotational speed is wanted"),
    "friction 0": ("tyres.both.friction", "0", "is below"),
    "a shift of 1e9 s": ("gearbox.shift.gap", "1e9 s", "is above"),
}


@pytest.mark.parametrize("case", MASSES)
def test_a_hostile_mass_in_a_file(tmp_path: Path, capsys: Capture, case: str) -> None:
    value, words = MASSES[case]
    told = refused(capsys, "check", scenario(tmp_path, MASS, text(value)))
    assert "\n  body.mass: " in told
    assert words in told


@pytest.mark.parametrize("case", [case for case in MASSES if case != "blank"])
def test_a_hostile_mass_as_an_argument(tmp_path: Path, capsys: Capture, case: str) -> None:
    value, words = MASSES[case]
    told = refused(capsys, "check", scenario(tmp_path), "--set", f"body.mass={value}")
    assert "\n  body.mass: " in told
    assert words in told


@pytest.mark.parametrize("value", ["", " ", "\t"])
def test_a_blank_argument_is_a_fault_of_the_call(tmp_path: Path, capsys: Capture, value: str) -> None:
    told = refused(capsys, "check", scenario(tmp_path), "--set", f"body.mass={value}", code=2)
    assert 'write KEY=VALUE, such as "body.mass=1500 kg"' in told


@pytest.mark.parametrize("command", ["run", "compare", "usable"])
def test_every_command_refuses_alike(tmp_path: Path, capsys: Capture, command: str) -> None:
    assert 'body.mass: "9**9**9 kg"' in refused(capsys, command, scenario(tmp_path, MASS, '"9**9**9 kg"'))
    assert 'body.mass: "3,5 kg"' in refused(capsys, command, scenario(tmp_path), "--set", "body.mass=3,5 kg")


@pytest.mark.parametrize("case", OTHERS)
def test_other_values_as_arguments(tmp_path: Path, capsys: Capture, case: str) -> None:
    key, value, words = OTHERS[case]
    value = f'["{value}"]' if key == "run.until" else value
    assert words in refused(capsys, "check", scenario(tmp_path), "--set", f"{key}={value}")


@pytest.mark.parametrize(
    "value", ["true", "1500", "1500.0", "nan", "inf", '["1500 kg"]', "{ kg = 1500 }", "2026-01-01", "[]", "9" * 4000]
)
def test_what_is_not_text_in_a_file(tmp_path: Path, capsys: Capture, value: str) -> None:
    assert "\n  body.mass: " in refused(capsys, "check", scenario(tmp_path, MASS, value))


@pytest.mark.parametrize("value", ["true", "1500", '["1500 kg"]', "[]", "[[[]]]", "[1]", "[nan]"])
def test_what_is_not_text_as_an_argument(tmp_path: Path, capsys: Capture, value: str) -> None:
    assert "body.mass: " in refused(capsys, "check", scenario(tmp_path), "--set", f"body.mass={value}")


@pytest.mark.parametrize("value", ["[" * 500, "[" * 500 + "]" * 500, "[" * 100_000, "[1", '["'])
def test_lists_that_cannot_be_read_are_faults_of_the_call(tmp_path: Path, capsys: Capture, value: str) -> None:
    told = refused(capsys, "check", scenario(tmp_path), "--set", f"body.mass={value}", code=2)
    assert 'is not a list; write one such as ["402.336 m"]' in told


def test_a_long_list_as_an_argument(tmp_path: Path, capsys: Capture) -> None:
    value = "[1" + ",1" * 50_000 + "]"
    assert "is a list" in refused(capsys, "check", scenario(tmp_path), "--set", f"body.mass={value}")


@pytest.mark.parametrize("key", ["a" + ".a" * 20_000, "", ".", "body", "body.mass.kg", "body.Mass", "\x1b[31m", "\0"])
def test_hostile_keys_as_arguments(tmp_path: Path, capsys: Capture, key: str) -> None:
    refused(capsys, "check", scenario(tmp_path), "--set", f"{key}=1500 kg", code=3 if key == "body" else 2)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('["3.6", "2.1", "1.4"]', '["3.6", "0"]', "gearbox.ratios"),
        ('["3.6", "2.1", "1.4"]', str([f"{5 - n / 10:.1f}" for n in range(40)]).replace("'", '"'), "gearbox.ratios"),
        ('friction = "1.1"', 'friction = "0"', "tyres.both.friction"),
        ('kind = "torque gap"', 'kind = "torque gap"\ngap = "1e9 s"', "gearbox.shift.gap"),
    ],
)
def test_cars_that_cannot_be(tmp_path: Path, capsys: Capture, old: str, new: str, words: str) -> None:
    assert f"\n  {words}" in refused(capsys, "check", scenario(tmp_path, old, new))


def test_a_target_that_is_never_reached(tmp_path: Path, capsys: Capture) -> None:
    path = scenario(tmp_path, "[body]", '[run]\nuntil = ["900 km/h"]\ntime_limit = "5 s"\n[body]')
    assert answer(["run", str(path), "--quiet"]) == 4
    shown = capsys.readouterr()
    assert "did not reach its target" in shown.err
    assert "Traceback" not in shown.err


HOSTILE = st.one_of(
    st.text(max_size=100),
    st.text(alphabet="0123456789+-.,eE_ */^()%kgmNslbftrpinhPSW°µ·²٣\t\n\0\u202e\u200b", max_size=80),
    st.sampled_from([value for value, _ in MASSES.values()]),
    st.builds("{}{}".format, st.floats() | st.integers(), st.sampled_from([" kg", "kg", " rpm", "", " N m", " \0kg"])),
)


@given(HOSTILE, st.sampled_from(Dimension))
def test_any_text_is_a_finite_number_or_a_readable_refusal(value: str, dimension: Dimension) -> None:
    try:
        outcome: float | Fault = read(value, dimension).si
    except InputError as error:
        outcome = error.args[0]
    if isinstance(outcome, Fault):
        assert str(outcome).isprintable()
        assert all(part.isprintable() for part in (outcome.typed, outcome.why, outcome.instead))
        assert len(str(outcome)) < 1000
    else:
        assert math.isfinite(outcome)


def test_the_sound_scenario_is_sound(tmp_path: Path) -> None:
    assert load(scenario(tmp_path)).body.mass.si == 1500.0
