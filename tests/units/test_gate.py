"""The gate lets one finite number and one known unit through, and helps with anything else."""

from __future__ import annotations

import math
import time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simlaunch.errors import Fault, InputError
from simlaunch.units.gate import MAX_LENGTH, examine, quoted
from simlaunch.units.quantity import read
from simlaunch.units.spelling import Dimension, kinds

D = Dimension
HANGS = 20.0  # of processor time [s]; what is refused at once takes a few hundredths of it

REFUSALS = [
    ("3,5 kg", D.MASS, 'has a comma; decimals follow a point; write "3.5 kg"'),
    ("1,510 kg", D.MASS, 'may part decimals or thousands; write "1510 kg" or "1.510 kg"'),
    ("1 510 kg", D.MASS, 'has a blank inside the number; write "1510 kg"'),
    ("1.2 ton", D.MASS, 'a ton may be 1000 kg, 2000 lb or 2240 lb; write "1.2 t" for 1000 kg each'),
    ("100 kmph", D.SPEED, 'write "100 km/h"'),
    ("100 kmh", D.SPEED, 'write "100 km/h"'),
    ("7000/min", D.ROTATIONAL_SPEED, 'write "7000 rpm"'),
    ("71/min", D.ROTATIONAL_SPEED, 'write "71 rpm"'),
    ("400 bhp", D.POWER, 'write "400 hp" for 745.7 W each or "400 PS" for 735.5 W each'),
    ("1_510 kg", D.MASS, 'has an underscore in the number; write "1510 kg"'),
    ("nan kg", D.MASS, "is not a finite number"),
    ("inf kg", D.MASS, "is not a finite number"),
    ("-Infinity kg", D.MASS, "is not a finite number"),
    ("1e400 kg", D.MASS, "lies outside 1e-30 to 1e+30 in size"),
    ("1e-400 kg", D.MASS, "lies outside 1e-30 to 1e+30 in size"),
    ("٣ kg", D.MASS, "does not begin with a plain digit or sign"),
    ("\u22125 kg", D.MASS, "does not begin with a plain digit or sign"),
    ("9**9**9 kg", D.MASS, "nothing is worked out"),
    ("2*800 kg", D.MASS, "nothing is worked out"),
    ("--5 kg", D.MASS, "has more than one sign"),
    ("- 5 kg", D.MASS, 'has a blank after the sign; write "-5 kg"'),
    (".5 kg", D.MASS, 'has no digit before the decimal point; write "0.5 kg"'),
    (",5 kg", D.MASS, 'has no digit before the decimal point; write "0.5 kg"'),
    ("5. kg", D.MASS, "has a stray decimal point"),
    ("1.5.2 kg", D.MASS, "has a stray decimal point"),
    ("5 kg 3 lb", D.MASS, "is more than one number and one unit"),
    ("5 kg lb", D.MASS, 'has the unknown unit "kg lb"; write one of kg, g, t, lb, such as "1610 kg"'),
    ("5", D.MASS, 'has no unit; write one of kg, g, t, lb after the number, such as "1610 kg"'),
    ("5 m", D.MASS, 'is a length, but a mass is wanted; write one of kg, g, t, lb, such as "1610 kg"'),
    ("5 KG", D.MASS, 'has the unit spelled "KG"; write "5 kg"'),
    ("5 N*m", D.TORQUE, 'write "5 N m"'),
    ("3 kg", D.NUMBER, 'is a mass, but a pure number is wanted; write the number alone, such as "3.42"'),
    ("5 parsec", D.SHARE, 'write % or the number alone, such as "54 %"'),
    ("1234567890123456 kg", D.MASS, "has more digits than can be read"),
    ("kg", D.MASS, "does not begin with a number"),
    ("", D.MASS, "is empty"),
    ("   ", D.MASS, "is empty"),
    ("5" + " " * 70 + "kg", D.MASS, f"is longer than {MAX_LENGTH} characters"),
    ("5\tkg", D.MASS, 'has the unit spelled "\\tkg"; write "5 kg"'),
]


@pytest.mark.parametrize(("text", "dimension", "words"), REFUSALS)
def test_refusal_says_why_and_what_instead(text: str, dimension: Dimension, words: str) -> None:
    with pytest.raises(InputError) as caught:
        examine(text, dimension)
    fault = caught.value.args[0]
    assert words in str(caught.value)
    assert fault.why
    assert fault.instead
    assert fault.typed == quoted(text)


@pytest.mark.parametrize(
    ("text", "dimension", "number"),
    [
        ("1610 kg", D.MASS, 1610.0),
        ("1610kg", D.MASS, 1610.0),
        ("  1610   kg ", D.MASS, 1610.0),
        ("+1.6e3 kg", D.MASS, 1600.0),
        ("-0.3 m^2", D.AREA, -0.3),
        ("0 %", D.SHARE, 0.0),
        ("0.000 kg", D.MASS, 0.0),
        ("3.42", D.NUMBER, 3.42),
        ("7000 1/min", D.ROTATIONAL_SPEED, 7000.0),
    ],
)
def test_number_is_read(text: str, dimension: Dimension, number: float) -> None:
    typed = examine(text, dimension)
    assert (typed.number, typed.dimension) == (number, dimension)


def test_the_kind_is_found_among_several() -> None:
    assert examine("200 km/h", D.LENGTH, D.SPEED).dimension is D.SPEED
    with pytest.raises(InputError, match="is a mass, but a length or a speed is wanted"):
        examine("200 kg", D.LENGTH, D.SPEED)


def test_quoted_text_stays_on_one_short_line() -> None:
    assert quoted("a\nb\x1b[31m\u202e") == '"a\\nb\\x1b[31m\\u202e"'
    assert len(quoted("x" * 1000)) == 42


@pytest.mark.parametrize("dimension", Dimension)
def test_every_spelling_and_example_passes(dimension: Dimension) -> None:
    kind = kinds()[dimension]
    assert read(kind.example, dimension).dimension is dimension
    for spelling in kind.spelling:
        assert examine(f"2 {spelling}", dimension).spelling == spelling
    assert {kind.metric, kind.us} <= set(kind.spelling)


near_misses = st.text(alphabet="0123456789+-.,eE_ */^()%kgmNslbftrpinhPSW°µ·²٣\t\n", max_size=70)


def _outcome(text: str, dimension: Dimension) -> float | Fault:
    try:
        return read(text, dimension).si
    except InputError as error:
        fault: Fault = error.args[0]
        return fault


@given(st.one_of(st.text(), near_misses), st.sampled_from(Dimension))
def test_any_text_is_a_finite_number_or_a_refusal(text: str, dimension: Dimension) -> None:
    outcome = _outcome(text, dimension)
    assert outcome.instead if isinstance(outcome, Fault) else math.isfinite(outcome)


@pytest.mark.parametrize("text", ["9" * 10**6, "1e" * 10**5, " " * 10**6 + "kg", "(" * 10**6, "9**9**9**9 kg"])
def test_hostile_text_is_refused_at_once(text: str) -> None:
    start = time.process_time()
    with pytest.raises(InputError):
        read(text, D.MASS)
    assert time.process_time() - start < HANGS
