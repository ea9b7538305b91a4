"""What decides a result: closed forms, the estimators of SciPy, and honesty about what is left open."""

from __future__ import annotations

from collections.abc import Callable
from math import pi

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats

from simlaunch.analysis.odds import sobol_points
from simlaunch.uncertainty.effects import Effect, effects

Array = NDArray[np.float64]

NAMES = ("even", "bell", "steep")
SPREADS = (stats.uniform(-1.0, 2.0), stats.norm(0.0, 1.0), stats.triang(1.0, loc=2.0, scale=3.0))


def _values(count: int, seed: int = 5) -> Array:
    points, _ = sobol_points(count, len(SPREADS), seed)
    return np.column_stack([spread.ppf(points[:, j]) for j, spread in enumerate(SPREADS)])


def _result(x: Array) -> Array:
    """3 x1 + 2 x2 + (x2^2 - 1) + 2 x1 x2, with the third value idle."""
    return np.asarray(3.0 * x[0] + 2.0 * x[1] + x[1] ** 2 - 1.0 + 2.0 * x[0] * x[1])


def _found(result: Callable[[Array], Array], count: int) -> tuple[dict[str, Effect], float]:
    values = _values(count)
    found, left_open = effects(NAMES, values, result(values.T))
    return {effect.name: effect for effect in found}, left_open


@pytest.mark.parametrize("count", [128, 2048])
def test_a_polynomial_has_a_closed_form(count: int) -> None:
    """Variances: 9/3 of x1, 4 + 2 of x2, 4/3 of both. Source: moments of uniform and normal variables."""
    found, left_open = _found(_result, count)
    whole = 3.0 + 6.0 + 4.0 / 3.0
    tolerance = 1.0 / np.sqrt(count)  # what moments of as many independent draws are off by
    assert found["even"].alone == pytest.approx(3.0 / whole, abs=tolerance)
    assert found["bell"].alone == pytest.approx(6.0 / whole, abs=tolerance)
    assert found["even"].in_all == pytest.approx((3.0 + 4.0 / 3.0) / whole, abs=tolerance)
    assert found["bell"].in_all == pytest.approx((6.0 + 4.0 / 3.0) / whole, abs=tolerance)
    assert found["steep"].in_all == pytest.approx(0.0, abs=1e-9)
    assert left_open == pytest.approx(0.0, abs=1e-9)


def _smooth(x: Array) -> Array:
    """No polynomial, though nearly one, as a time is."""
    return np.asarray(10.0 / np.sqrt(4.0 + 0.5 * x[0] + 0.2 * x[1] + 0.1 * x[2] * x[0]))


def test_the_estimators_of_a_reference_library_say_the_same() -> None:
    """scipy.stats.sobol_indices, which launches by Saltelli's plan, with 2^13 points."""
    found, left_open = _found(_smooth, 512)
    known = stats.sobol_indices(func=_smooth, n=2**13, dists=list(SPREADS), rng=np.random.default_rng(1))
    for j, name in enumerate(NAMES):
        assert found[name].alone == pytest.approx(known.first_order[j], abs=0.02)
        assert found[name].in_all == pytest.approx(known.total_order[j], abs=0.02)
    assert left_open < 0.01


def test_what_the_polynomial_misses_is_left_open() -> None:
    """sin x1 + 7 sin^2 x2 + 0.1 x3^4 sin x1: a straight line through sin x1 reaches 0.3139 (6 / pi^2) of the variance,
    the largest share of any line or parabola; the one through sin^2 x2 reaches 0.4424 x 45 / (8 pi^4).

    Source: Ishigami and Homma (1990), shares 0.3139, 0.4424, 0.2437; Legendre coefficients by hand.
    """
    points, _ = sobol_points(2048, 3, 1)
    values = pi * (2.0 * points - 1.0)
    a, b, c = values.T
    found, left_open = effects(NAMES, values, np.sin(a) + 7.0 * np.sin(b) ** 2 + 0.1 * c**4 * np.sin(a))
    first = next(effect for effect in found if effect.name == "even")
    second = next(effect for effect in found if effect.name == "bell")
    assert first.alone == pytest.approx(0.3139 * 6.0 / pi**2, abs=0.02)
    assert second.alone == pytest.approx(0.4424 * 45.0 / (8.0 * pi**4), abs=0.02)
    assert left_open == pytest.approx(1.0 - first.alone - second.alone, abs=0.04)


def test_few_cases_get_few_terms() -> None:
    """What a fit left open is worked out from cases that it has not seen, so pure chance is left open as a whole."""
    values = _values(64)
    chance = np.random.default_rng(3).normal(size=len(values))
    _, left_open = effects(NAMES, values, chance)
    assert left_open > 0.9


def test_what_cannot_be_known_is_not_stated() -> None:
    values = _values(64)
    result = _result(values.T)
    assert effects(NAMES, values, np.where(np.arange(len(values)) == 5, np.inf, result)) == ((), 1.0)
    assert effects(NAMES, values, np.full(len(values), 3.0)) == ((), 1.0)
    together = np.column_stack([values[:, 0], values[:, 0] + 0.1 * values[:, 1], values[:, 2]])
    assert effects(NAMES, together, result) == ((), 1.0)


def test_a_value_that_does_not_vary_decides_nothing() -> None:
    values = _values(64)
    values[:, 2] = 4.0
    found, _ = effects(NAMES, values, _result(values.T))
    assert {effect.name: effect.in_all for effect in found}["steep"] == pytest.approx(0.0, abs=1e-12)
