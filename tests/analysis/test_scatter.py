"""Welch's interval against SciPy and the NIST handbook, and what is said where there are too few runs."""

from __future__ import annotations

from math import isnan, sqrt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import ttest_ind

from simlaunch.logged.scatter import Evidence, change

VALUES = st.lists(st.floats(5.0, 20.0).map(lambda x: round(x, 3)), min_size=2, max_size=8)


@given(VALUES, VALUES)
def test_the_interval_is_that_of_scipy(before: list[float], after: list[float]) -> None:
    if np.std(before) < 1e-3 or np.std(after) < 1e-3:
        return
    found, told = change(before, after), ttest_ind(after, before, equal_var=False)
    interval = told.confidence_interval(0.95)
    assert (found.low, found.high) == pytest.approx((interval.low, interval.high), rel=1e-9, abs=1e-9)
    assert found.freedom == pytest.approx(told.df, rel=1e-9)
    assert (found.evidence is Evidence.MORE) == (told.pvalue < 0.05)


def _sample(count: int, mean: float, deviation: float) -> list[float]:
    """Values of exactly this mean and standard deviation."""
    raw = np.linspace(-1.0, 1.0, count)
    return list(mean + deviation * raw / raw.std(ddof=1))


def test_degrees_of_freedom_of_the_nist_handbook() -> None:
    """NIST/SEMATECH e-Handbook 1.3.5.3, AUTO83B, variances unequal: T = -12.94627 at 136.8750 (from memory)."""
    found = change(_sample(249, 20.14458, 6.41470), _sample(79, 30.48101, 6.10771))
    assert found.freedom == pytest.approx(136.8750, abs=1e-3)
    error = sqrt(6.41470**2 / 249 + 6.10771**2 / 79)
    assert -found.gap / error == pytest.approx(-12.94627, abs=1e-4)
    assert found.evidence is Evidence.MORE


def test_one_run_of_a_set_up_has_no_scatter() -> None:
    for before, after in (([5.0], [4.0]), ([5.0, 5.1, 5.2], [4.0]), ([5.0], [4.0, 4.1])):
        found = change(before, after)
        assert found.evidence is Evidence.FEW
        assert isnan(found.low)
        assert found.gap == pytest.approx(np.mean(after) - np.mean(before))


def test_copies_of_one_log_say_nothing() -> None:
    assert change([5.0, 5.0], [4.0, 4.0]).evidence is Evidence.ALIKE


def test_a_run_that_did_not_get_there_leaves_nothing_to_say() -> None:
    assert change([5.0, float("nan")], [4.0, 4.1]).evidence is Evidence.NONE


def test_nineteen_of_twenty_intervals_hold_a_change_that_is_not_there() -> None:
    """Of 400, fewer than 366 or more than 393 have a chance of about 1 in 500 each (binomial)."""
    rng = np.random.default_rng(1)
    held = sum(
        change(list(rng.normal(0.0, 0.1, 4)), list(rng.normal(0.0, 0.1, 3))).evidence is Evidence.LESS
        for _ in range(400)
    )
    assert 366 <= held <= 393
