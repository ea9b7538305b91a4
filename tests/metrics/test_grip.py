"""Use of grip, on records made by hand."""

from __future__ import annotations

from math import isnan

import numpy as np
import pytest

from metrics.motions import trace
from simlaunch.errors import UsageError
from simlaunch.metrics.grip import GripUse, grip_use
from simlaunch.simulation.trace import Trace

REAR = (False, True)
FRONT = (True, False)
BOTH = (True, True)
RADII = (0.3, 0.3)


def held(time: list[float], axle: str = "rear", **changes: list[float]) -> dict[str, list[float]]:
    """Channels of an axle that rolls at 10 m/s without slip."""
    count = len(time)
    channels = {
        "speed": [10.0] * count,
        f"wheel_speed_{axle}": [10.0 / 0.3] * count,
        f"slip_{axle}": [0.0] * count,
        f"peak_slip_{axle}": [0.1] * count,
        f"force_{axle}": [1000.0] * count,
        f"force_limit_{axle}": [5000.0] * count,
        "load_front": [6000.0] * count,
    }
    return channels | changes


def with_slip(time: list[float], slip: list[float], axle: str = "rear", force: float = 1000.0) -> Trace:
    wheel = [10.0 * (1.0 + value) / 0.3 for value in slip]
    changes = {f"slip_{axle}": slip, f"wheel_speed_{axle}": wheel, f"force_{axle}": [force] * len(time)}
    return trace(time, **held(time, axle, **changes))


def test_an_axle_far_from_its_limit() -> None:
    time = [0.0, 1.0, 2.0]
    found = grip_use(trace(time, **held(time)), REAR, RADII)
    np.testing.assert_allclose(
        [found.time_at_limit, found.wheelspin_time, found.slip_distance, found.slip_energy, found.lift_time],
        0.0,
        atol=1e-12,
    )
    assert found.greatest_slip == 0.0


def test_time_at_the_limit_begins_at_98_percent() -> None:
    time = [0.0, 1.0, 2.0]
    run = trace(time, **held(time, force_rear=[4800.0, 5000.0, 5000.0]))
    assert grip_use(run, REAR, RADII).time_at_limit == pytest.approx(1.5)  # 4900 N is passed half way


def test_wheelspin_is_cut_where_slip_passes_that_of_peak_force() -> None:
    """Slip rises evenly from 0 to 0.4 in 2 s at 10 m/s with its peak at 0.1: integrals of straight lines."""
    found = grip_use(with_slip([0.0, 2.0], [0.0, 0.4]), REAR, RADII)
    assert found.wheelspin_time == pytest.approx(1.5)
    assert found.slip_distance == pytest.approx(4.0)
    assert found.slip_distance_past_peak == pytest.approx(1.5 * 2.5)
    assert found.slip_energy == pytest.approx(4000.0)
    assert found.slip_energy_past_peak == pytest.approx(3750.0)
    assert found.greatest_slip == pytest.approx(0.4)


def test_slip_energy_is_that_of_a_locked_torque_at_constant_force() -> None:
    """First principles: a constant force over a slip distance takes force times distance."""
    found = grip_use(with_slip([0.0, 1.0, 3.0], [0.05, 0.3, 0.2], force=4000.0), REAR, RADII)
    assert found.slip_energy == pytest.approx(4000.0 * found.slip_distance, rel=1e-12)
    assert found.slip_energy_past_peak == pytest.approx(4000.0 * found.slip_distance_past_peak, rel=1e-12)


def test_slip_close_to_standstill_is_not_the_greatest() -> None:
    time = [0.0, 1.0, 2.0]
    run = trace(time, **held(time, speed=[0.1, 1.9, 5.0], slip_rear=[50.0, 3.0, 0.2]))
    assert grip_use(run, REAR, RADII).greatest_slip == pytest.approx(0.2)


def test_lifted_front_axle() -> None:
    time = [0.0, 1.0, 2.0, 3.0]
    run = trace(time, **held(time, load_front=[1000.0, 0.0, 0.0, 1000.0]))
    assert grip_use(run, REAR, RADII).lift_time == pytest.approx(1.0, abs=0.003)


def both_axles(front: list[float], rear: list[float]) -> Trace:
    time = [0.0, 1.0, 2.0]
    one, other = with_slip(time, front, "front"), with_slip(time, rear, "rear")
    return trace(time, **{**one.channels, **other.channels})


def test_two_driven_axles_share_time_and_add_energy() -> None:
    run = both_axles([0.2, 0.2, 0.0], [0.0, 0.2, 0.2])
    found = grip_use(run, BOTH, RADII)
    front, rear = grip_use(run, FRONT, RADII), grip_use(run, REAR, RADII)
    assert front.wheelspin_time == pytest.approx(1.5)
    assert rear.wheelspin_time == pytest.approx(1.5)
    assert found.wheelspin_time == pytest.approx(2.0)
    assert found.slip_energy == pytest.approx(front.slip_energy + rear.slip_energy)
    assert found.slip_distance == pytest.approx(max(front.slip_distance, rear.slip_distance))


def test_what_happens_before_time_zero_does_not_count() -> None:
    found = grip_use(with_slip([-5.0, 0.0, 1.0], [0.4, 0.4, 0.4]), REAR, RADII)
    assert found.wheelspin_time == pytest.approx(1.0)
    assert found.slip_distance == pytest.approx(4.0)


def not_known(found: GripUse) -> set[str]:
    return {name for name, value in vars(found).items() if isnan(value)}


def test_a_log_with_wheel_speeds_gives_slip_alone() -> None:
    run = trace([0.0, 1.0, 2.0], speed=[0.0, 10.0, 20.0], wheel_speed_rear=[10.0, 40.0, 70.0])
    found = grip_use(run, REAR, RADII)
    assert found.slip_distance == pytest.approx(0.5 * (3.0 + 2.0) + 0.5 * (2.0 + 1.0))
    assert found.greatest_slip == pytest.approx(0.2)
    assert not_known(found) == {
        "time_at_limit",
        "wheelspin_time",
        "slip_distance_past_peak",
        "slip_energy",
        "slip_energy_past_peak",
        "lift_time",
    }


def test_a_log_without_wheel_speeds_says_nothing_of_grip() -> None:
    found = grip_use(trace([0.0, 1.0], speed=[0.0, 10.0]), REAR, RADII)
    assert not_known(found) == set(vars(found))


def test_a_car_without_driven_axles_is_refused() -> None:
    with pytest.raises(UsageError, match="no axle is driven"):
        grip_use(trace([0.0, 1.0], speed=[0.0, 1.0]), (False, False), RADII)
