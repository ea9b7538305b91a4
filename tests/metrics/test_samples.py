"""Where in a record a moment lies, against NumPy's search."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from simlaunch.metrics.crossing import POINT
from simlaunch.metrics.samples import empty_samples, first_from, plain

TIMES = st.lists(st.integers(-5, 5).map(float), max_size=12).map(sorted)


@given(TIMES, st.integers(-6, 6).map(lambda half: 0.5 * half))
def test_the_first_sample_from_a_moment_on(times: list[float], moment: float) -> None:
    samples = empty_samples(POINT, len(times))
    samples.time = times
    assert first_from(samples, moment) == np.searchsorted(times, moment)


def test_numbers_in_their_usual_layout_are_not_copied() -> None:
    values = np.arange(6.0)
    assert plain(values) is values
    assert plain(values[::2]).flags.c_contiguous
    assert plain([1, 2]).dtype == np.float64
