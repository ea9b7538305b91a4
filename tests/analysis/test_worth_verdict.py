"""The verdict on what torque is worth: its sentences hold what its table holds, for whatever numbers."""

from __future__ import annotations

import re
from dataclasses import replace
from math import sqrt

import numpy as np
import pytest

from cars import RPM
from simlaunch.analysis.worth import GearSetWorth, PedalWorth, best_span, beyond, costly_span
from simlaunch.curves.gear_worth import Use
from simlaunch.metrics.marks import Kind, Target
from simlaunch.output.layout import Table
from simlaunch.output.worth import gear_set_tables, verdict
from simlaunch.record import Pedal
from simlaunch.units.spelling import System

Array = np.ndarray[tuple[int, ...], np.dtype[np.float64]]
MIDDLES = np.arange(2000.0, 7001.0, 250.0) * RPM
MILE = Target("1/4 mile", Kind.DISTANCE, 0.0, 402.336)
ROLLING = Target("100-200 km/h", Kind.SPAN, 100.0 / 3.6, 200.0 / 3.6)


def _pedal(pedal: Pedal, gain: Array, ran: tuple[float, float], spun: Array, spin: Array) -> PedalWorth:
    none, size = np.empty((0, gain.size)), float(gain.sum())
    use = Use(ran[0] * RPM, ran[1] * RPM, spun)
    return PedalWorth(pedal, 13.5, gain, np.zeros(gain.size), spin, size, 0.0, none, use)


def _worth(
    milliseconds: Array, ran: tuple[float, float] = (2500.0, 6800.0), target: Target = MILE, spun: float = 0.0
) -> GearSetWorth:
    """Worth of 10 N m in milliseconds; a curve that is given from 2,000 to 7,000 rpm."""
    gain = 1e-4 * milliseconds
    share = np.where(((ran[0] - 125.0) * RPM < MIDDLES) & ((ran[1] + 125.0) * RPM > MIDDLES), spun, np.nan)
    pedals = tuple(_pedal(pedal, gain, ran, share, np.full(gain.size, 1e-6)) for pedal in Pedal)
    torque = np.full(MIDDLES.size, 400.0)
    ends = (float(MIDDLES[0]), float(MIDDLES[-1]))
    return GearSetWorth("as described", "curve", target, MIDDLES, torque, ends, (310.0, 310.0), pedals)


def _random(seed: int) -> GearSetWorth:
    rng = np.random.default_rng(seed)
    bumps = sum(
        rng.uniform(-2.0, 20.0)
        * np.exp(-(((MIDDLES / RPM - rng.uniform(2000.0, 7000.0)) / rng.uniform(150.0, 900.0)) ** 2))
        for _ in range(4)
    )
    ran = (float(rng.uniform(1000.0, 3000.0)), float(rng.uniform(6000.0, 7500.0)))
    where = ((ran[0] - 250.0) * RPM < MIDDLES) & ((ran[1] + 250.0) * RPM > MIDDLES)
    gain = np.where(where, np.asarray(bumps) + rng.normal(0.0, 0.5, MIDDLES.size), 0.0)
    return _worth(gain, ran, (MILE, ROLLING)[seed % 2], float(rng.choice([0.0, 0.5, 1.0])))


def _cells(found: GearSetWorth) -> dict[str, float]:
    """Full-pedal column of the table of bands [ms]."""
    table: Table = gear_set_tables(found, System.METRIC)[0]
    return {row.label: float(row.cells[1]) for row in table.rows if row.label != "whole curve"}


def test_all_that_lies_below_the_data_is_no_band() -> None:
    """The first band holds 24 ms of everything below 2,000 rpm; 5,250 to 6,750 rpm is worth 72 ms."""
    gain = np.zeros(MIDDLES.size)
    gain[0], gain[13:20] = 24.0, 72.0 / 7.0
    told = verdict(_worth(gain, (1200.0, 6900.0)), System.METRIC)
    assert told.startswith("10 N m more between 5125 and 6875 rpm buys 0.07 s for 1/4 mile")
    assert "below 2000 rpm the curve gives no torque and is held at 310 N m; the engine runs down to 1200 rpm" in told
    assert "10 N m more in all of that, below 2125 rpm, buys 0.02 s" in told


def test_a_single_high_band_does_not_hide_a_wide_span() -> None:
    gain = np.zeros(MIDDLES.size)
    gain[3], gain[13:20] = 24.0, 72.0 / 7.0
    assert verdict(_worth(gain), System.METRIC).startswith("10 N m more between 5125 and 6875 rpm buys 0.07 s")


@pytest.mark.parametrize("seed", range(60))
def test_no_span_of_as_many_bands_is_worth_more_than_the_one_that_is_named(seed: int) -> None:
    """By trying every span of the table; a band at an end that the engine runs beyond is none."""
    found = _random(seed)
    best, cells = best_span(found), _cells(found)
    values = [value for label, value in cells.items() if not label.startswith(("up to", "from"))]
    spans = {
        (first, last): sum(values[first : last + 1])
        for first in range(len(values))
        for last in range(first, len(values))
    }
    if best is None:
        assert max(spans.values()) <= 0.01
        return
    open_below = next(iter(cells)).startswith("up to")
    offset = MIDDLES[int(open_below)]
    width = MIDDLES[1] - MIDDLES[0]
    inside = np.flatnonzero((offset + width * np.arange(len(values)) > best.first - 1e-6)
                            & (offset + width * np.arange(len(values)) < best.last + 1e-6))  # fmt: skip
    named = spans[int(inside[0]), int(inside[-1])]
    assert named == pytest.approx(1e4 * best.gains[0], abs=0.005 * inside.size + 1e-9)
    for (first, last), other in spans.items():
        if last - first < inside.size:
            assert other <= named + 0.01 * inside.size + 1e-9  # rounding of the cells
        assert other / sqrt(last - first + 1) <= named / sqrt(inside.size) + 0.02 * inside.size


@pytest.mark.parametrize("seed", range(60))
def test_no_sentence_contradicts_the_table(seed: int) -> None:
    found = _random(seed)
    told, cells = verdict(found, System.METRIC), _cells(found)
    assert "0.00 s" not in told
    low, high = (each / RPM for each in found.run)
    speeds = MIDDLES / RPM
    if unused := re.search(r"(?:below (\d+) rpm)?(?: and )?(?:above (\d+) rpm)? it changes nothing", told):
        below, above = (float(each) if each else None for each in unused.groups())
        assert below or above
        for middle, value in zip(speeds, cells.values(), strict=True):
            if (below and middle < below) or (above and middle > above):
                assert abs(value) < 0.5
        assert below is None or below <= low + 0.5
        assert above is None or above >= high - 0.5
    assert ("within 100-200 km/h" in told) == ("it changes nothing" in told and found.target is ROLLING)
    assert ("rpm the curve gives no torque" in told) == (low < 1999.0 or high > 7001.0)
    if "only spins the tyres" in told:
        first, last = map(float, re.search(r"between (\d+) and (\d+) rpm it (?:buys|costs)", told).groups())  # type: ignore[union-attr]
        within = (speeds > first) & (speeds < last)
        assert within.any()
        assert (found.of(Pedal.FULL).use.past_peak[within] >= 0.9).all()  # nan, where the engine is not, fails
        assert sum(value for value, there in zip(cells.values(), within, strict=True) if there) <= 0.01


@pytest.mark.parametrize(("spun", "said"), [(1.0, True), (0.5, False), (np.nan, False)])
def test_only_where_slip_is_past_the_peak_more_torque_is_said_to_spin(spun: float, said: bool) -> None:
    gain = np.zeros(MIDDLES.size)
    gain[4:6], gain[10:14] = -0.02, 9.0
    told = verdict(_worth(gain, spun=spun), System.METRIC)
    assert ("only spins the tyres" in told) == said


def test_the_pedals_agree_where_their_difference_is_none_worth_naming() -> None:
    """46 and 44 ms would be printed as 0.05 and 0.04 s, which are not 0.01 s apart."""
    gain = np.zeros(MIDDLES.size)
    gain[10:14] = 46.0 / 4.0
    found = _worth(gain)
    held = replace(found.of(Pedal.HELD_SLIP), gain=gain * 1e-4 * 44.0 / 46.0)
    told = verdict(replace(found, pedals=(found.pedals[0], held)), System.METRIC)
    assert "buys 0.05 s for 1/4 mile, with held slip as with full pedal" in told


def test_a_curve_that_is_held_beyond_its_last_point_says_so() -> None:
    gain = np.full(MIDDLES.size, 2.0)
    found = _worth(gain, (2500.0, 7050.0))
    above = beyond(found)[1]
    assert above is not None
    assert above.band is None  # 50 rpm lie within half a band
    assert "above 7000 rpm the curve gives no torque and is held at 310 N m; the engine runs up to 7050 rpm" in (
        verdict(found, System.METRIC)
    )
    assert costly_span(found) is None
