"""Distributions and Sobol points against SciPy's."""

from __future__ import annotations

from math import inf, log

import numpy as np
import pytest
from scipy import stats

from simlaunch.uncertainty.distributions import (
    Distribution,
    lognormal,
    normal,
    normal_quantiles,
    normal_share,
    t_quantile,
    triangular,
    uniform,
    wilson,
)
from simlaunch.uncertainty.sobol import sobol

SHARES = np.r_[1e-4, np.linspace(0.001, 0.999, 400), 1.0 - 1e-4]


@pytest.mark.parametrize(
    ("ours", "expected"),
    [
        (normal(1600.0, 20.0), stats.norm(1600.0, 20.0)),
        (normal(1.0, 0.05, 0.01, 3.0), stats.truncnorm(-0.99 / 0.05, 2.0 / 0.05, loc=1.0, scale=0.05)),
        (normal(0.1, 0.2, 0.0, 1.0), stats.truncnorm(-0.5, 4.5, loc=0.1, scale=0.2)),
        (normal(0.9, 0.2, 0.0, 1.0), stats.truncnorm(-4.5, 0.5, loc=0.9, scale=0.2)),
        (normal(0.0, 1.0, 1.0, inf), stats.truncnorm(1.0, inf)),
        (normal(0.0, 1.0, -inf, -1.0), stats.truncnorm(-inf, -1.0)),
        (uniform(0.7, 1.9), stats.uniform(0.7, 1.2)),
        (triangular(1.0, 1.5, 4.0), stats.triang(0.5 / 3.0, loc=1.0, scale=3.0)),
        (triangular(1.0, 1.0, 4.0), stats.triang(0.0, loc=1.0, scale=3.0)),
        (lognormal(2.0, log(1.3)), stats.lognorm(log(1.3), scale=2.0)),
    ],
)
def test_distributions_are_those_of_scipy(ours: Distribution, expected: stats.rv_continuous) -> None:
    assert ours.ppf(SHARES) == pytest.approx(expected.ppf(SHARES), rel=1e-12, abs=1e-13)
    assert ours.mean == pytest.approx(expected.mean(), rel=1e-12)
    assert ours.std == pytest.approx(expected.std(), rel=1e-9)


def test_the_normal_distribution_is_that_of_scipy() -> None:
    assert normal_quantiles(SHARES) == pytest.approx(stats.norm.ppf(SHARES), rel=1e-13, abs=1e-15)
    assert [normal_share(x) for x in (-6.0, -1.0, 0.3, 5.0)] == pytest.approx(stats.norm.cdf([-6.0, -1.0, 0.3, 5.0]))


@pytest.mark.parametrize("freedom", [2, 3, 4, 5, 15, 16, 17, 30, 31])
def test_quantiles_of_t_are_those_of_scipy(freedom: int) -> None:
    assert t_quantile(0.95, freedom) == pytest.approx(stats.t.ppf(0.975, freedom), rel=1e-12)


@pytest.mark.parametrize(("true", "count"), [(0, 64), (3, 64), (64, 64), (500, 1024), (1020, 1024)])
def test_intervals_of_shares_are_those_of_scipy(true: int, count: int) -> None:
    expected = stats.binomtest(true, count).proportion_ci(0.95, "wilson")
    assert wilson(true, count, 0.95) == pytest.approx((expected.low, expected.high), rel=1e-12)


@pytest.mark.parametrize("dimensions", [1, 2, 9, 24, 40])
@pytest.mark.parametrize("power", [2, 7])
def test_points_are_those_of_scipy(dimensions: int, power: int) -> None:
    for seed in (0, 1):
        expected = stats.qmc.Sobol(dimensions, rng=np.random.default_rng(seed)).random_base2(power)
        assert np.array_equal(sobol(dimensions, power, np.random.default_rng(seed)), expected)
