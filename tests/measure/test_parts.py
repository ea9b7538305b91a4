"""Highest torque of each part."""

from __future__ import annotations

from dataclasses import replace
from math import nan

import pytest

from measure.motions import trace
from simlaunch.launch.run import ENGAGED, MEETING
from simlaunch.launch.trace import Moment
from simlaunch.measure.parts import CHANNEL, Part, PartPeak, part_peaks


def test_the_peak_is_told_with_time_and_gear() -> None:
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
    moments = (Moment(1.0, MEETING), Moment(3.0, "shift begins"), Moment(3.4, ENGAGED), Moment(3.5, MEETING))
    (peak,) = part_peaks(replace(run, moments=moments))
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
