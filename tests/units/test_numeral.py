"""Numbers in cells, and the decimal mark that they hold."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simlaunch.errors import InputError
from simlaunch.units.numeral import DecimalMark, decimal_mark, looks_like_number, number_in, why_no_number

POINT, COMMA = DecimalMark.POINT, DecimalMark.COMMA


@pytest.mark.parametrize(
    ("cells", "comma_parts_cells", "mark"),
    [
        (["1000", "200"], False, POINT),
        (["1000", "200.5"], False, POINT),
        (["1000", "200,5"], False, COMMA),
        (["0,125"], False, COMMA),
        (["0.125"], False, POINT),
        (["1.500"], True, POINT),
        (["1,500", "1,5"], False, COMMA),
        (["1500,250"], False, COMMA),
        (["a.b", "1,5"], False, COMMA),
        (["01.02.2024", "1,5"], False, COMMA),
    ],
)
def test_mark(cells: list[str], comma_parts_cells: bool, mark: DecimalMark) -> None:
    assert decimal_mark(cells, comma_parts_cells=comma_parts_cells) is mark


@pytest.mark.parametrize(
    ("cells", "why"),
    [
        (["1,500"], "may have decimals or parted thousands"),
        (["1.500", "7.000"], "may have decimals or parted thousands"),
        (["1,5", "1.5"], 'is written with a comma, "1.5" with a point'),
    ],
)
def test_cells_that_leave_the_decimal_mark_open(cells: list[str], why: str) -> None:
    with pytest.raises(InputError) as caught:
        decimal_mark(cells, comma_parts_cells=False)
    assert why in caught.value.args[0].why


@pytest.mark.parametrize(
    ("cell", "mark", "value"),
    [("1.5", POINT, 1.5), (".5", POINT, 0.5), ("5.", POINT, 5.0), ("-1e3", POINT, -1000.0), ("+1,25", COMMA, 1.25)],
)
def test_number(cell: str, mark: DecimalMark, value: float) -> None:
    assert number_in(cell, mark) == value
    assert looks_like_number(cell)


@pytest.mark.parametrize(
    ("cell", "mark", "why"),
    [
        ("1,5", POINT, "is no number: the decimal mark of this table is a point"),
        ("1.5", COMMA, "is no number: the decimal mark of this table is a comma"),
        ("1.510,5", COMMA, "has parted thousands"),
        ("1 510", POINT, "has parted thousands"),
        ("=A1", POINT, "is a formula, not a number"),
        ("1_0", POINT, "is not a plain number"),
        ("9" * 65, POINT, "is longer than 64 characters"),
    ],
)
def test_no_number(cell: str, mark: DecimalMark, why: str) -> None:
    assert number_in(cell, mark) is None
    assert why_no_number(cell, mark)[0] == why


def test_blank_is_nan() -> None:
    value = number_in("", POINT)
    assert value is not None
    assert math.isnan(value)


@given(st.text(max_size=80), st.sampled_from(DecimalMark))
def test_any_text_is_a_finite_number_or_none(text: str, mark: DecimalMark) -> None:
    value = number_in(text.strip(), mark)
    assert value is None or math.isfinite(value) or not text.strip()
