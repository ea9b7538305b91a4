"""Highest torque of each part."""

from __future__ import annotations

from dataclasses import replace
from math import nan
from pathlib import Path

import numpy as np
import pytest

from metrics.motions import trace
from simlaunch.metrics.parts import CHANNEL, Part, PartPeak, part_peaks
from simlaunch.parameters.fill import lower
from simlaunch.record import Pedal
from simlaunch.scenario.reading import load
from simlaunch.simulation.events import Event, EventKind
from simlaunch.simulation.run import launch

SPEEDS_MEET, SHIFT_BEGINS, GEAR_CLOSES = EventKind.SPEEDS_MEET, EventKind.SHIFT_BEGINS, EventKind.GEAR_CLOSES


def test_the_peak_is_stated_with_time_and_gear() -> None:
    run = trace(
        [0.0, 1.0, 1.0, 2.0],
        gear=[1.0, 1.0, 2.0, 2.0],
        coupling_torque=[0.0, 400.0, 300.0, 400.0],
        gearbox_input_torque=[0.0, 100.0, 390.0, 350.0],
    )
    assert part_peaks(run) == (
        PartPeak(Part.COUPLING, 400.0, 1.0, 1, 400.0),
        PartPeak(Part.GEARBOX_INPUT, 390.0, 1.0, 2, 390.0),
    )


def test_the_size_counts_and_the_sign_is_kept() -> None:
    run = trace([0.0, 1.0, 2.0], axle_torque_rear=[100.0, -900.0, 800.0])
    assert part_peaks(run) == (PartPeak(Part.REAR_SHAFTS, -900.0, 1.0, None, 800.0),)


def test_steady_pull_leaves_out_launch_and_shifts() -> None:
    """The clutch closes at 1 s, a shift lasts from 3 s to 3.5 s; each rings for 0.3 s more."""
    run = trace(
        [0.5, 1.2, 2.0, 3.2, 3.7, 4.0],
        gearbox_input_torque=[700.0, 650.0, 500.0, 600.0, 550.0, 450.0],
    )
    events = (
        Event(1.0, SPEEDS_MEET),
        Event(3.0, SHIFT_BEGINS),
        Event(3.4, GEAR_CLOSES),
        Event(3.5, SPEEDS_MEET),
    )
    (peak,) = part_peaks(replace(run, events=events))
    assert (peak.torque, peak.steady) == (700.0, 500.0)


def test_a_run_that_never_settles_has_no_steady_pull() -> None:
    (peak,) = part_peaks(trace([0.0, 0.1], gearbox_input_torque=[100.0, 200.0]))
    assert peak.steady == pytest.approx(nan, nan_ok=True)


def test_an_axle_that_is_not_driven_is_left_out() -> None:
    run = trace([0.0, 1.0], axle_torque_front=[0.0, 0.0], axle_torque_rear=[0.0, 10.0])
    assert [peak.part for peak in part_peaks(run)] == [Part.REAR_SHAFTS]


def test_a_log_without_torque_has_no_peaks() -> None:
    assert part_peaks(trace([0.0, 1.0], speed=[0.0, 1.0])) == ()


def test_every_part_has_a_channel() -> None:
    assert set(CHANNEL) == set(Part)
    assert len(set(CHANNEL.values())) == len(Part)


SCENARIOS = sorted((Path(__file__).parents[2] / "scenarios").glob("*.toml"))


@pytest.mark.parametrize("file", SCENARIOS, ids=lambda file: file.stem)
def test_steady_pull_does_not_depend_on_the_sample_gap(file: Path) -> None:
    """0.2 N m before the gears and 0.4 N m behind them: less than a thousandth of what each part sees."""
    scenario = load(file)
    for curve in scenario.curve_names:
        car = lower(scenario, curve, Pedal.FULL)
        coarse, fine = (part_peaks(launch(car, sample_gap=gap).trace) for gap in (5e-3, 1e-3))
        for rough, exact in zip(coarse, fine, strict=True):
            before_gears = rough.part in (Part.COUPLING, Part.GEARBOX_INPUT)
            assert rough.steady == pytest.approx(exact.steady, abs=0.2 if before_gears else 0.4), (curve, rough.part)


@pytest.mark.parametrize("gap", [0.02, 0.013, 0.005])
def test_torque_that_falls_or_rises_at_the_edge_of_a_window_is_read_there(gap: float) -> None:
    """A straight fall from 700 N m at 1 s, and a straight rise up to a shift: read at 1.3 s and at 2.7 s exactly."""
    time = np.arange(0.0, 4.0, gap)
    falling = trace(time, gearbox_input_torque=700.0 - 100.0 * (time - 1.0))
    rising = trace(time, gearbox_input_torque=400.0 + 100.0 * time)
    (fall,) = part_peaks(replace(falling, events=(Event(1.0, SPEEDS_MEET),)))
    (rise,) = part_peaks(
        replace(
            rising,
            events=(
                Event(1.0, SPEEDS_MEET),
                Event(2.7, SHIFT_BEGINS),
                Event(3.9, SPEEDS_MEET),
            ),
        )
    )
    assert fall.steady == pytest.approx(670.0, abs=1e-9)
    assert rise.steady == pytest.approx(670.0, abs=1e-9)


def test_a_crest_between_samples_is_found_and_no_long_gap_is_bridged() -> None:
    """500 - 1e4 (t - 1.0042)^2 N m, sampled every 10 ms; and the same every 100 ms, where the samples alone count."""
    for gap, expected in ((0.01, 500.0), (0.1, 500.0 - 1e4 * 0.0042**2)):
        time = np.arange(0.0, 2.0, gap)
        (peak,) = part_peaks(trace(time, gearbox_input_torque=500.0 - 1e4 * (time - 1.0042) ** 2))
        assert peak.steady == pytest.approx(expected, abs=1e-9)
