"""Times to speeds and over distances, against closed forms of motion and the habits of the drag strip."""

from __future__ import annotations

from math import isnan, nan

import numpy as np
import pytest

from metrics.motions import (
    STANDARD_GRAVITY,
    constant_acceleration,
    constant_power,
    constant_power_with_drag,
    grip_then_power,
    trace,
)
from simlaunch.errors import UsageError
from simlaunch.metrics.crossing import first_time, value_at
from simlaunch.metrics.marks import STANDARD, TRAP, Kind, MarkResult, Target, mark, marks
from simlaunch.record import FOOT
from simlaunch.simulation.trace import Trace

MPH = 0.44704  # 1 mph in m/s, from the exact definition of the mile, 1609.344 m (40 CFR 1066.20)

MASS, POWER, FORCE = 1500.0, 150e3, 7500.0
DRAG = 0.5 * 1.225 * 0.66  # [kg/m]


def by_label(run: Trace) -> dict[str, MarkResult]:
    return {result.target.label: result for result in marks(run)}


@pytest.mark.parametrize(
    ("gravities", "seconds", "mph"),
    [(0.4, 0.3942, 3.459), (0.6, 0.3219, 4.237), (0.8, 0.2788, 4.892), (1.0, 0.2493, 5.469), (1.2, 0.2276, 5.991)],
)
def test_first_foot_at_constant_acceleration(gravities: float, seconds: float, mph: float) -> None:
    """Closed form t = sqrt(2 x / a); the table matches the 0.2 to 0.3 s that are usually quoted for rollout."""
    run = constant_acceleration(gravities * STANDARD_GRAVITY, 8.0)
    foot = first_time(run, "distance", FOOT)
    assert foot == pytest.approx(seconds, abs=5.1e-5)
    assert value_at(run, "speed", foot) / MPH == pytest.approx(mph, abs=5.1e-4)
    result = by_label(run)["0-60 mph"]
    assert result.time - result.time_after_rollout == pytest.approx(seconds, abs=5.1e-5)


@pytest.mark.parametrize(
    ("gravities", "from_rest", "after_foot"),
    [(0.5, 2.7312, 2.4013), (0.6, 2.4932, 2.1920), (0.8, 2.1592, 1.8984), (1.0, 1.9312, 1.6980), (1.2, 1.7630, 1.5500)],
)
def test_sixty_feet_at_constant_acceleration(gravities: float, from_rest: float, after_foot: float) -> None:
    """Closed form; with rollout the 60 ft are measured from the beam, one foot down the track."""
    result = by_label(constant_acceleration(gravities * STANDARD_GRAVITY, 4.0))["60 ft"]
    assert result.time == pytest.approx(from_rest, abs=5.1e-5)
    assert result.time_after_rollout == pytest.approx(after_foot, abs=5.1e-5)
    assert isnan(result.trap_speed)


def test_trap_speed_at_constant_acceleration() -> None:
    """Closed form: the mean over the last 66 ft lies 1.28 % below the speed at the line."""
    result = by_label(constant_acceleration(5.0, 14.0))["1/4 mile"]
    assert result.time == pytest.approx(12.685992, abs=5.1e-7)
    assert result.speed == pytest.approx((2.0 * 5.0 * 402.336) ** 0.5, rel=1e-12)
    assert result.trap_speed == pytest.approx(62.627, abs=5.1e-4)
    assert 1.0 - result.trap_speed / result.speed == pytest.approx(0.0128, abs=2e-4)


def test_constant_power_without_resistance() -> None:
    """Closed forms t = m v^2 / 2P, x = m v^3 / 3P; 'Constant power equations of motion', R. Stephenson."""
    found = by_label(constant_power(POWER / MASS, 65.0))
    assert found["0-60 mph"].time == pytest.approx(3.597206, abs=6e-7)
    assert found["0-100 km/h"].time == pytest.approx(3.858025, abs=6e-7)
    assert found["100-200 km/h"].time == pytest.approx(5.0e-3 * (500.0**2 - 250.0**2) / 81.0, rel=1e-9)
    assert found["60-130 mph"].time == pytest.approx(13.289677, abs=1.1e-6)
    assert found["1/4 mile"].time == pytest.approx(12.211718, abs=6e-7)
    assert found["1/4 mile"].speed == pytest.approx(49.420073, abs=6e-7)
    assert found["1/4 mile"].trap_speed == pytest.approx(49.0024, abs=6e-5)


def test_constant_power_against_drag() -> None:
    """Closed form in logarithm and arc tangent, agrees with quadrature."""
    found = by_label(constant_power_with_drag(MASS, POWER, DRAG, 62.0))
    assert found["0-100 km/h"].time == pytest.approx(3.95053, abs=6e-6)
    assert found["0-200 km/h"].time == pytest.approx(19.54942, abs=6e-6)
    assert found["60-130 mph"].time == pytest.approx(18.76147, abs=6e-6)
    assert found["1/4 mile"].time == pytest.approx(12.476424, abs=6e-7)
    assert found["1/4 mile"].speed == pytest.approx(46.880895, abs=6e-7)


def test_constant_force_and_then_constant_power() -> None:
    """Closed form: grip-limited to 20 m/s, then 150 kW."""
    found = by_label(grip_then_power(MASS, FORCE, POWER, 60.0))
    assert found["0-60 mph"].time == pytest.approx(5.597206, abs=6e-7)
    assert found["0-100 km/h"].time == pytest.approx(5.858025, abs=6e-7)
    assert found["1/8 mile"].time == pytest.approx(9.349109, abs=6e-7)
    assert found["1/8 mile"].speed == pytest.approx(38.338254, abs=6e-7)
    assert found["1/4 mile"].time == pytest.approx(13.940410, abs=6e-7)
    assert found["1/4 mile"].speed == pytest.approx(48.868005, abs=6e-7)


def test_standard_distances_in_metres() -> None:
    """Drag-strip layout: 60, 330, 660, 1000 and 1320 ft, the trap being the last 66 ft."""
    lengths = [target.end for target in STANDARD if target.kind is Kind.DISTANCE]
    assert lengths == pytest.approx([18.288, 100.584, 201.168, 304.8, 402.336], rel=1e-12)
    assert pytest.approx(20.1168, rel=1e-12) == TRAP


def test_standard_speeds_in_metres_per_second() -> None:
    speeds = {target.label: (target.start, target.end) for target in STANDARD if target.kind is not Kind.DISTANCE}
    assert speeds["60-130 mph"] == pytest.approx((26.8224, 58.1152), rel=1e-12)
    assert speeds["100-200 km/h"] == pytest.approx((250.0 / 9.0, 500.0 / 9.0), rel=1e-12)
    assert set(speeds) == {"0-60 mph", "0-100 km/h", "0-200 km/h", "60-130 mph", "100-200 km/h"}


def test_a_gap_in_acceleration_costs_its_length() -> None:
    """First principles: no torque for 0.3 s without resistance delays the speed by 0.3 s."""
    time = [0.0, 4.0, 4.0, 4.3, 4.3, 9.3]
    speed = [0.0, 20.0, 20.0, 20.0, 20.0, 35.0]
    run = trace(time, speed=speed, acceleration=[5.0, 5.0, 0.0, 0.0, 3.0, 3.0])
    result = mark(run, Target("0-100 km/h", Kind.SPEED, 0.0, 100.0 / 3.6))
    assert result.time == pytest.approx(4.3 + (100.0 / 3.6 - 20.0) / 3.0, rel=1e-12)
    line = mark(run, Target("50 m", Kind.DISTANCE, 0.0, 50.0))
    assert line.time == pytest.approx(4.0 + 0.3 + (-20.0 + (400.0 + 2.0 * 3.0 * 4.0) ** 0.5) / 3.0, rel=1e-12)


def test_a_log_of_speed_alone_gives_distance_times() -> None:
    whole = constant_acceleration(5.0, 14.0, gap=0.1)
    log = trace(whole.time, speed=whole["speed"])
    for found, expected in zip(marks(log), marks(whole), strict=True):
        assert found.time == pytest.approx(expected.time, rel=1e-9, nan_ok=True)
        assert found.time_after_rollout == pytest.approx(expected.time_after_rollout, rel=1e-9, nan_ok=True)
        assert found.trap_speed == pytest.approx(expected.trap_speed, rel=1e-9, nan_ok=True)


def test_a_rolling_start_gives_spans_but_no_times_from_rest() -> None:
    run = trace([0.0, 10.0], speed=[20.0, 70.0], acceleration=[5.0, 5.0])
    found = by_label(run)
    assert found["100-200 km/h"].time == pytest.approx(100.0 / 3.6 / 5.0, rel=1e-12)
    assert isnan(found["0-100 km/h"].time)
    assert isnan(found["0-100 km/h"].speed)
    assert isnan(found["1/4 mile"].time)
    assert isnan(found["1/4 mile"].time_after_rollout)


def test_a_trap_that_falls_into_a_jump_of_the_record_has_no_speed() -> None:
    run = trace([0.0, 4.0, 4.0, 12.0], distance=[0.0, 40.0, 240.0, 440.0], speed=[0.0, 20.0, 20.0, 30.0])
    found = by_label(run)
    assert found["1/8 mile"].time == 4.0
    assert isnan(found["1/8 mile"].trap_speed)
    assert found["1/4 mile"].trap_speed > 20.0


def test_targets_beyond_the_record_are_nan() -> None:
    found = by_label(constant_acceleration(5.0, 4.0))
    assert found["60 ft"].time > 0.0
    for label in ("1/4 mile", "0-200 km/h", "60-130 mph"):
        result = found[label]
        assert (result.time, result.time_after_rollout, result.speed, result.trap_speed) == pytest.approx(
            (nan,) * 4, nan_ok=True
        )


def test_spans_have_no_rollout() -> None:
    found = by_label(constant_acceleration(5.0, 14.0))
    assert isnan(found["100-200 km/h"].time_after_rollout)
    between = mark(constant_acceleration(5.0, 14.0), Target("60 ft to 330 ft", Kind.DISTANCE, 18.288, 100.584))
    assert between.time == pytest.approx(np.sqrt(2.0 * 100.584 / 5.0) - np.sqrt(2.0 * 18.288 / 5.0), rel=1e-12)
    assert isnan(between.time_after_rollout)


def test_a_mark_within_the_first_foot_has_no_time_after_it() -> None:
    result = mark(constant_acceleration(5.0, 2.0), Target("0-1 m/s", Kind.SPEED, 0.0, 1.0))
    assert result.time == pytest.approx(0.2, rel=1e-12)
    assert isnan(result.time_after_rollout)


def test_further_targets_follow_the_standard_ones() -> None:
    extra = Target("80-120 km/h", Kind.SPAN, 80.0 / 3.6, 120.0 / 3.6)
    found = marks(constant_acceleration(5.0, 14.0), (extra,))
    assert tuple(result.target for result in found) == (*STANDARD, extra)
    assert found[-1].time == pytest.approx(40.0 / 3.6 / 5.0, rel=1e-12)


@pytest.mark.parametrize(
    ("kind", "start", "end", "why"),
    [
        (Kind.SPAN, 30.0, 20.0, "does not rise"),
        (Kind.DISTANCE, -1.0, 20.0, "does not rise"),
        (Kind.DISTANCE, 0.0, nan, "does not rise"),
        (Kind.SPEED, 5.0, 20.0, "starts at 0"),
        (Kind.SPAN, 0.0, 20.0, "above 0"),
    ],
)
def test_a_target_that_makes_no_sense_is_refused(kind: Kind, start: float, end: float, why: str) -> None:
    with pytest.raises(UsageError, match=why):
        Target("wrong", kind, start, end)
