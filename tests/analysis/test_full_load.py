"""Full-load curves through the peaks of a data sheet: closed forms, and statements for every pair of peaks."""

from __future__ import annotations

from math import pi

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from simlaunch.curves.full_load import (
    FullLoad,
    Peak,
    disagreement,
    fastest,
    plateau_of,
    through_peaks,
)
from simlaunch.units.quantity import RPM

IDLE = 800.0 * RPM
FINE = 4000
HYPERBOLA = 5e-3
"""Share by which a cubic through points 250 rpm apart may miss constant power: (250 / 1200)^2 / 8 at 1200 rpm."""


def _peak(value: float, low: float, high: float | None = None) -> Peak:
    return Peak(value, low * RPM, (high or low) * RPM)


def _speeds(curve: FullLoad) -> np.ndarray:
    return np.linspace(curve.speed[0], curve.speed[-1], FINE)


@st.composite
def sheets(draw: st.DrawFn) -> tuple[Peak, Peak, float]:
    """Peak torque, peak power that belongs to it, and a rev limit."""
    whole = st.integers
    torque, first = float(draw(whole(80, 900))), draw(whole(1200, 5000))
    last = draw(whole(first, 5500))
    at_power = draw(whole(last, 8500))
    least, most = torque * last, torque * at_power  # power over rpm at either end of what is possible
    power = (least + draw(st.floats(0.0, 1.0)) * (most - least)) * RPM
    end_of_power = draw(whole(at_power, at_power + 800))
    end = draw(st.floats(1.0, 1.3)) * end_of_power
    peaks = _peak(torque, first, last), _peak(power, at_power, end_of_power)
    assume(not disagreement(*peaks))
    return (*peaks, round(end) * RPM)


@given(sheets())
def test_a_curve_goes_through_both_peaks_and_above_neither(drawn: tuple[Peak, Peak, float]) -> None:
    torque, power, end = drawn
    curve = through_peaks(torque, power, IDLE, end, 0.5 * torque.value)
    fine = _speeds(curve)
    found = curve.at(fine)
    assert found.max() <= torque.value * (1.0 + 1e-9)
    assert float(curve.at(torque.low)) == pytest.approx(torque.value)
    assert float(curve.at(torque.high)) == pytest.approx(torque.value)
    assert (found * fine).max() <= power.value * (1.0 + HYPERBOLA)
    for speed in (power.low, power.high):
        assert float(curve.at(speed)) * speed == pytest.approx(power.value, rel=1e-3)
    assert (found > 0.0).all()
    assert np.diff(curve.speed).min() > 0.5 * RPM
    assert curve.speed[-1] == pytest.approx(end)


@given(sheets())
def test_torque_rises_to_its_peak_and_power_to_its_own(drawn: tuple[Peak, Peak, float]) -> None:
    torque, power, end = drawn
    curve = through_peaks(torque, power, IDLE, end, 0.5 * torque.value)
    fine = _speeds(curve)
    found = curve.at(fine)
    rising, falling = fine <= torque.low, fine >= torque.high
    assert (np.diff(found[rising]) >= -1e-9).all()
    assert (np.diff(found[falling]) <= 1e-9).all()
    before = found[fine <= power.low] * fine[fine <= power.low]
    assert (before >= np.maximum.accumulate(before) * (1.0 - HYPERBOLA)).all()


@given(sheets())
def test_a_plateau_keeps_the_power_and_lies_below_the_peak(drawn: tuple[Peak, Peak, float]) -> None:
    torque, power, end = drawn
    curve = through_peaks(torque, power, IDLE, end, 0.5 * torque.value)
    made = plateau_of(curve, end)
    fine = _speeds(curve)
    cut = made.curve.at(fine)
    assert cut.max() <= made.height * (1.0 + 1e-9)
    assert made.height <= torque.value * 0.9701
    if made.keeps_power:
        assert (cut * fine).max() == pytest.approx(power.value, rel=HYPERBOLA)
    else:
        assert made.height == pytest.approx(0.9 * torque.value)
    low = fine < curve.peak_torque.low
    assert (cut[low] <= curve.at(fine)[low] + 0.01 * torque.value).all()


def test_above_peak_power_the_torque_follows_the_law() -> None:
    """T / T_rated = 1 + x - x^2 (Leiderman's and Artamonov's law, from memory)."""
    curve = through_peaks(_peak(300.0, 2000, 4000), _peak(150e3, 5000), IDLE, 6000 * RPM, 150.0)
    rated = 150e3 / (5000 * RPM)
    assert float(curve.at(6000 * RPM)) == pytest.approx(rated * (1 + 1.2 - 1.44))


def test_power_is_level_at_its_peak() -> None:
    """The derivative of power is zero there, by a difference over 200 rpm."""
    curve = through_peaks(_peak(300.0, 2000, 4000), _peak(150e3, 5500), IDLE, 6000 * RPM, 150.0)
    low, high = (float(curve.at(n * RPM)) * n * RPM for n in (5400, 5600))
    assert abs(high - low) / 150e3 < 1e-3


def test_the_parabola_below_peak_torque_is_one() -> None:
    curve = through_peaks(_peak(300.0, 2000, 4000), _peak(150e3, 5500), IDLE, 6000 * RPM, 120.0)
    assert float(curve.torque[0]) == pytest.approx(120.0)
    assert float(curve.at(1400 * RPM)) == pytest.approx(300.0 - 180.0 * (600 / 1200) ** 2)


@pytest.mark.parametrize(
    ("torque", "power", "words"),
    [
        ((450.0, 2000, 4500), (500e3, 6000), "needs 796 N m at 6000 rpm, more than the peak torque of 450 N m"),
        ((450.0, 2000, 4500), (150e3, 6000), "is below the 212 kW that 450 N m make at 4500 rpm"),
        ((450.0, 2000, 6000), (282.75e3, 5000), "needs 540 N m"),
        ((450.0, 2000, 4500), (250e3, 6000), ""),
    ],
)
def test_peaks_that_do_not_belong_together_are_named(
    torque: tuple[float, ...], power: tuple[float, ...], words: str
) -> None:
    """450 N m at 4500 rpm are 450 x 4500 x 2 pi / 60 = 212 kW."""
    assert 450 * 4500 * 2 * pi / 60 / 1e3 == pytest.approx(212.06, abs=0.01)
    said = disagreement(_peak(*torque), _peak(*power))
    assert words in said
    assert bool(words) == bool(said)


def test_the_law_above_peak_power_is_not_carried_to_where_it_says_nothing() -> None:
    assert fastest(_peak(150e3, 5000)) == pytest.approx(7500 * RPM)


@pytest.mark.parametrize("power", [141.0e3, 142.5e3])
def test_peaks_that_differ_by_their_rounding_are_reconciled(power: float) -> None:
    """300 N m at 4500 rpm are 141.4 kW: a data sheet that says 141 or 142.5 kW at that speed has rounded."""
    torque, rounded = _peak(300.0, 2000, 4500), _peak(power, 4500)
    assert disagreement(torque, rounded) == ""
    curve = through_peaks(torque, rounded, IDLE, 5000 * RPM, 150.0)
    assert curve.torque.max() == 300.0
    assert float(curve.at(4500 * RPM)) == pytest.approx(300.0)


def test_a_diesel_is_cut_by_no_more_than_fifteen_per_cent() -> None:
    curve = through_peaks(_peak(400.0, 1750, 2500), _peak(110e3, 4000), IDLE, 4500 * RPM, 150.0)
    assert plateau_of(curve, 4500 * RPM).height == pytest.approx(340.0)


def test_a_curve_that_is_flat_up_to_the_rev_limit_loses_its_power_with_its_peak() -> None:
    flat = FullLoad(np.array([1000.0, 4000.0, 6000.0]) * RPM, np.full(3, 300.0))
    made = plateau_of(flat, 6000 * RPM)
    assert not made.keeps_power
    assert made.height == pytest.approx(270.0)
