"""When a channel passes a value, against motions known in closed form."""

from __future__ import annotations

from math import exp, isnan, pi, sqrt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from metrics.motions import constant_acceleration, trace
from simlaunch.errors import UsageError
from simlaunch.metrics.crossing import curve_of, first_time, next_passing, passing, value_at, with_distance


@pytest.mark.parametrize("distance", [1e-6, 0.3048, 18.288, 100.0])
def test_constant_acceleration_is_followed_exactly_between_coarse_samples(distance: float) -> None:
    run = constant_acceleration(5.0, 10.0, gap=0.5)
    assert first_time(run, "distance", distance) == pytest.approx(sqrt(2.0 * distance / 5.0), rel=1e-12)
    assert first_time(run, "speed", 5.0 * 0.123) == pytest.approx(0.123, rel=1e-12)


def test_a_cubic_distance_is_followed_exactly() -> None:
    time = np.linspace(0.0, 4.0, 5)
    run = trace(time, distance=time**3, speed=3.0 * time**2)
    assert first_time(run, "distance", 20.0) == pytest.approx(20.0 ** (1.0 / 3.0), rel=1e-12)
    assert value_at(run, "distance", 2.7) == pytest.approx(2.7**3, rel=1e-12)


def test_error_between_samples_falls_with_the_fourth_power_of_their_gap() -> None:
    def error(count: int) -> float:
        time = np.linspace(0.0, 1.0, count)
        run = trace(time, distance=np.exp(time), speed=np.exp(time))
        middle = 0.5 + 0.5 / (count - 1)
        return abs(value_at(run, "distance", middle) - exp(middle))

    assert error(11) / error(21) == pytest.approx(16.0, rel=0.1)


def test_a_channel_without_known_slope_runs_straight() -> None:
    run = trace([0.0, 1.0, 2.0], engine_speed=[100.0, 200.0, 600.0])
    assert first_time(run, "engine_speed", 300.0) == pytest.approx(1.25, rel=1e-14)
    assert value_at(run, "engine_speed", 0.25) == pytest.approx(125.0, rel=1e-14)


def test_a_value_within_a_jump_is_passed_at_the_jump() -> None:
    run = trace([0.0, 1.0, 1.0, 2.0], engine_torque=[0.0, 100.0, 300.0, 350.0])
    assert first_time(run, "engine_torque", 200.0) == 1.0
    assert value_at(run, "engine_torque", 1.0) == 300.0
    assert first_time(run, "engine_torque", 325.0) == pytest.approx(1.5, rel=1e-14)


def test_the_slope_on_either_side_of_a_jump_in_acceleration_is_used() -> None:
    run = trace(
        [0.0, 1.0, 1.0, 2.0], speed=[0.0, 4.0, 4.0, 6.0], acceleration=[4.0, 4.0, 2.0, 2.0]
    )  # fmt: skip
    assert first_time(run, "speed", 3.0) == pytest.approx(0.75, rel=1e-12)
    assert first_time(run, "speed", 5.0) == pytest.approx(1.5, rel=1e-12)


def test_only_upward_passes_after_the_given_time_count() -> None:
    time = np.linspace(0.0, 3.0, 3001)
    run = trace(time, speed=np.sin(2.0 * pi * time), acceleration=2.0 * pi * np.cos(2.0 * pi * time))
    assert first_time(run, "speed", 0.5) == pytest.approx(1.0 / 12.0, abs=1e-12)
    assert first_time(run, "speed", 0.5, after=0.1) == pytest.approx(1.0 + 1.0 / 12.0, abs=1e-12)
    assert first_time(run, "speed", 0.5, after=1.0 + 1.0 / 12.0 + 1e-6) == pytest.approx(2.0 + 1.0 / 12.0, abs=1e-12)


def test_a_value_that_is_left_upward_is_passed_when_it_is_left() -> None:
    run = trace([0.0, 1.0, 2.0], speed=[0.0, 0.0, 3.0])
    assert first_time(run, "speed", 0.0) == 1.0


def test_a_value_that_is_not_passed_gives_nan() -> None:
    run = constant_acceleration(5.0, 2.0)
    assert isnan(first_time(run, "speed", 50.0))
    assert isnan(first_time(run, "speed", 5.0, after=1.5))
    assert isnan(first_time(trace([0.0, 1.0], speed=[9.0, 10.0]), "speed", 5.0))
    assert isnan(value_at(run, "speed", -0.1))
    assert isnan(value_at(run, "speed", 2.2))


def test_a_record_that_stops_short_by_rounding_has_reached_its_end() -> None:
    run = trace([0.0, 10.0], distance=[0.0, 402.336 * (1.0 - 1e-12)])
    assert first_time(run, "distance", 402.336) == 10.0
    assert isnan(first_time(run, "distance", 402.337))


def test_dropped_samples_are_bridged() -> None:
    run = trace([0.0, 1.0, 2.0, 3.0], speed=[0.0, 1.0, np.nan, 3.0])
    assert first_time(run, "speed", 2.0) == pytest.approx(2.0, rel=1e-14)


def test_an_unknown_channel_is_named() -> None:
    with pytest.raises(UsageError, match="no channel 'boost'"):
        first_time(constant_acceleration(5.0, 1.0), "boost", 0.5)


def test_distance_is_integrated_from_speed() -> None:
    run = constant_acceleration(4.0, 5.0, gap=0.5)
    bare = with_distance(trace(run.time, speed=run["speed"]))
    np.testing.assert_allclose(bare["distance"], run["distance"], rtol=1e-12)
    assert with_distance(run) is run


def test_distance_is_closer_where_acceleration_is_known() -> None:
    time = np.linspace(0.0, 2.0, 21)
    speed, acceleration = np.exp(time) - 1.0, np.exp(time)
    exact = np.exp(time) - 1.0 - time
    bare = np.abs(with_distance(trace(time, speed=speed))["distance"] - exact).max()
    informed = with_distance(trace(time, speed=speed, acceleration=acceleration))["distance"]
    assert bare > 1e-3
    assert np.abs(informed - exact).max() < 2e-6


def test_integrated_distance_is_zero_at_time_zero() -> None:
    run = with_distance(trace([-2.0, -1.0, 0.0, 1.0], speed=[0.0, 1.0, 1.0, 3.0]))
    np.testing.assert_allclose(run["distance"], [-1.5, -1.0, 0.0, 2.0])
    late = with_distance(trace([1.0, 2.0], speed=[2.0, 2.0]))
    np.testing.assert_allclose(late["distance"], [0.0, 2.0])


def test_a_trace_without_speed_has_no_distance() -> None:
    with pytest.raises(UsageError, match="no channel 'speed'"):
        with_distance(trace([0.0, 1.0], engine_speed=[1.0, 2.0]))


SLOPE = st.floats(0.0, 1e3) | st.sampled_from([0.0, 1e-300, 1e6])


@given(SLOPE, SLOPE, st.floats(0.0, 1.0, exclude_min=True, exclude_max=True))
def test_the_root_between_two_samples_agrees_with_brents_method(first: float, last: float, value: float) -> None:
    """SciPy's `brentq` on the same cubic of Hermite; at a level stretch the value counts, not the place."""
    run = trace([0.0, 1.0], distance=[0.0, 1.0], speed=[first, last])

    def height(share: float) -> float:
        return share * (first + share * (3.0 - 2.0 * first - last + share * (first + last - 2.0)))

    found = first_time(run, "distance", value)
    assert 0.0 <= found <= 1.0
    steepness = max(1.0, first, last)
    assert height(found) == pytest.approx(value, abs=1e-13 * steepness)
    if max(first, last) <= 3.0:  # rises all the way, so that there is a single root
        expected = brentq(lambda share: height(share) - value, 0.0, 1.0, xtol=1e-15)
        rise = max(abs(height(found + 1e-6) - height(found - 1e-6)) / 2e-6, 1e-3)
        assert found == pytest.approx(expected, abs=1e-14 + 1e-15 / rise)


@given(
    st.lists(st.integers(-3, 6).map(float), min_size=1, max_size=12),
    st.tuples(st.integers(-4, 7).map(float), st.integers(-4, 7).map(float)),
    st.integers(0, 3),
)
def test_a_known_passing_only_shortens_the_search(speeds: list[float], values: tuple[float, float], early: int) -> None:
    run = trace(np.arange(len(speeds)) - float(early), speed=speeds)
    curve = curve_of(run, "speed")
    known = passing(curve, values[0], 0.0, 0)
    helped = next_passing(curve, values[1], known)
    np.testing.assert_equal(helped.time, first_time(run, "speed", values[1]))
