"""Piecewise cubics against SciPy's, to the last bit."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import CubicHermiteSpline, PchipInterpolator

from simlaunch.cubics import monotone, with_slopes


def _curves() -> list[tuple[np.ndarray, np.ndarray]]:
    rng = np.random.default_rng(3)
    made: list[tuple[np.ndarray, np.ndarray]] = []
    for n in (2, 3, 4, 7, 40, 250):
        for _ in range(20):
            x = np.cumsum(rng.uniform(0.1, 60.0, n))
            made.append((x, rng.normal(300.0, 80.0, n)))
            made.append((x, np.cumsum(rng.uniform(0.0, 30.0, n))))
            made.append((x, rng.integers(0, 3, n) * 100.0))
    return made


CURVES = _curves()


def test_a_monotone_cubic_is_that_of_scipy() -> None:
    for x, y in CURVES:
        expected = PchipInterpolator(x, y)
        assert np.array_equal(monotone(x, y).parts, expected.c[::-1].T)


def test_many_curves_at_once_are_those_of_scipy() -> None:
    x = np.array([100.0, 130.0, 180.0, 260.0, 400.0])
    y = np.random.default_rng(5).normal(300.0, 80.0, (30, 5))
    expected = PchipInterpolator(x, y, axis=1).c[::-1]
    assert np.array_equal(monotone(x, y).parts, np.moveaxis(expected, (0, 1, 2), (2, 1, 0)))


@pytest.mark.parametrize("order", [0, 1, 2, 3])
def test_values_and_derivatives_are_those_of_scipy(order: int) -> None:
    for x, y in CURVES:
        places = np.r_[x, np.random.default_rng(1).uniform(x[0] - 20.0, x[-1] + 20.0, 100)]
        expected = PchipInterpolator(x, y)(places, order)
        assert np.array_equal(monotone(x, y)(places, order), expected)
        assert monotone(x, y)(float(places[-1]), order) == expected[-1]


def test_a_cubic_with_given_slopes_is_that_of_scipy() -> None:
    for x, y in CURVES:
        slopes = np.random.default_rng(2).normal(size=x.size)
        assert np.array_equal(with_slopes(x, y, slopes).parts, CubicHermiteSpline(x, y, slopes).c[::-1].T)


def test_a_cubic_seen_from_other_places_has_the_same_values() -> None:
    x, y = CURVES[-1]
    curve, places, away = monotone(x, y), 0.5 * (x[1:] + x[:-1]), 0.25 * np.diff(x)
    values = np.polynomial.polynomial.polyval(away, curve.seen_from(places).T, tensor=False)
    assert values == pytest.approx(curve(places + away), rel=1e-9)
