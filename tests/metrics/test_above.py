"""Integrals over the parts of a record in which a signal is above zero."""

from __future__ import annotations

from itertools import pairwise
from math import inf, isnan, nan

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from simlaunch.metrics.above import integral_above, length_above, part_above

VALUES = st.lists(st.floats(-10.0, 10.0), min_size=2, max_size=20)


def test_an_interval_is_cut_where_the_signal_passes_zero() -> None:
    signal = [-1.0, 3.0, 1.0, -1.0, -2.0]
    begin, end = zip(*(part_above(left, right) for left, right in pairwise(signal)), strict=True)
    np.testing.assert_allclose(begin, [0.25, 0.0, 0.0, 0.0])
    np.testing.assert_allclose(end, [1.0, 1.0, 0.5, 0.0])


def test_a_triangle_above_zero() -> None:
    """Area and foot of a triangle, from geometry."""
    x = np.array([0.0, 1.0, 2.0])
    signal = np.array([-1.0, 1.0, -3.0])
    assert length_above(x, signal) == pytest.approx(0.75)
    assert integral_above(x, signal, signal) == pytest.approx(0.375)


def test_a_sine_is_above_zero_for_half_its_period() -> None:
    x = np.linspace(0.0, 2.0 * np.pi, 2001)
    assert length_above(x, np.sin(x - 0.3)) == pytest.approx(np.pi, abs=1e-6)
    assert integral_above(x, np.sin(x), np.sin(x)) == pytest.approx(2.0, abs=1e-5)


@given(VALUES)
def test_above_and_below_make_the_whole(values: list[float]) -> None:
    signal = np.array(values)
    x = np.arange(signal.size, dtype=float)
    split = integral_above(x, signal, signal) + integral_above(x, signal, -signal)
    assert split == pytest.approx(np.trapezoid(signal, x), abs=1e-9)
    assert length_above(x, signal) + length_above(x, -signal) <= x[-1] + 1e-9


def test_samples_that_share_their_place_add_nothing() -> None:
    x = np.array([0.0, 1.0, 1.0, 2.0])
    assert length_above(x, np.array([-1.0, -1.0, 1.0, 1.0])) == pytest.approx(1.0)


def test_infinite_margins_count_by_their_sign() -> None:
    x = np.array([0.0, 1.0, 2.0])
    assert length_above(x, np.array([-inf, -inf, 5.0])) == pytest.approx(0.0, abs=1e-8)
    assert length_above(x, np.array([inf, inf, -5.0])) == pytest.approx(2.0, abs=1e-8)


def test_what_is_not_known_is_nan() -> None:
    x = np.array([0.0, 1.0, 2.0])
    unknown = np.full(3, nan)
    assert isnan(length_above(x, unknown))
    assert isnan(integral_above(x, unknown, np.ones(3)))
    assert length_above(x, np.array([1.0, nan, nan])) == pytest.approx(0.5)
