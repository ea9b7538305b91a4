"""Transient slip: relaxation over distance, and manners near standstill."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from cars import all_drive_saloon, coupe, front_hatch, gears
from closed_form.midway import in_gear, run_on
from simlaunch.physics import state as at
from simlaunch.physics import tyre
from simlaunch.record import Car
from simlaunch.simulation.run import launch


@pytest.mark.parametrize("speed", [5.0, 20.0, 60.0])
@pytest.mark.parametrize("slip", [2e-4, -2e-4])
def test_step_of_slip_builds_up_over_the_relaxation_length(speed: float, slip: float) -> None:
    """k'(x) = k (1 - e^(-x / sigma)): 63.21 % after x = sigma.

    Source: sigma dk'/dt + |V| k' = w r - V; Pacejka ch. 7, from memory. The relaxation length falls with the slope of
    the force, so the step is small: at k = 0.0002 the slope is whole to 1e-3.
    """
    car = coupe()
    tyre.settle_tyre(car.rear)
    rim = speed * (1.0 + slip)

    def rate(_: float, state: np.ndarray) -> list[float]:
        seen = tyre.damped_slip(state[0], speed, rim, car.rear)
        share = tyre.axle_contact(seen, 8000.0, car.rear, 1.0).slope_share
        return [tyre.transient_slip_rate(state[0], speed, rim, seen, share, car.rear)]

    length = float(car.rear.relaxation_length)
    solution = solve_ivp(rate, (0.0, length / speed), [0.0], rtol=1e-10, atol=1e-14)
    assert tyre.standard_slip(solution.y[0, -1]) / slip == pytest.approx(0.6321, abs=1e-3)


def test_relaxation_vanishes_at_the_peak_of_the_force() -> None:
    """Carcass and tread are springs in series: at peak slip the tread has no slope left and the slip follows at once.

    Source: sigma = (dF/dk) / c; Pacejka ch. 7, from memory.
    """
    car = coupe()
    tyre.settle_tyre(car.rear)
    peak = tyre.axle_peak_slip(8000.0, car.rear, 1.0)
    assert tyre.axle_contact(peak, 8000.0, car.rear, 1.0).slope_share == pytest.approx(0.0, abs=5e-7)
    bounded = peak / (1.0 + peak)
    rate = tyre.transient_slip_rate(0.9 * bounded, 10.0, 10.0 * (1.0 + peak), peak, 0.0, car.rear)
    # 0.5 % of the relaxation length is left, and no less than the way of a millisecond: here the latter
    way = 10.0 * (1.0 + peak) * 1e-3
    assert rate == pytest.approx(0.1 * bounded * 10.0 * (1.0 + peak) / way, rel=1e-9)


@pytest.mark.parametrize(("speed", "ratio"), [(2.0, 13.0), (5.0, 13.0), (20.0, 6.0)])
@pytest.mark.parametrize("rigid", [0, 1])
def test_wheels_come_back_to_rolling_when_torque_is_cut(speed: float, ratio: float, rigid: int) -> None:
    """A wheel driven hard and then let go relaxes to free rolling, and never turns backwards once it rolls."""
    plain = {"drive.rigid": rigid, "engine.idle": 1e-3, **gears(ratio)}
    car = coupe(plain)
    driven = run_on(car, in_gear(speed, car), 0.3)
    assert driven["slip_rear"].max() > 0.05
    nothing = ((10.0, 1e4), (0.0, 0.0))
    loose = coupe({**plain, "engine.torque": nothing, "engine.overrun": nothing})
    rolling = in_gear(0.0, loose, coupling=at.OPEN)[1]
    after = run_on(loose, (driven.state[-1].copy(), rolling), 1.0)
    assert after["wheel_speed_rear"].min() > 0.0
    assert after["wheel_speed_front"].min() > 0.0
    assert abs(after["slip_rear"][-1]) < 0.005


def marks(car: Car) -> list[float]:
    trace = launch(car).trace
    reached = [np.interp(x, trace["distance"], trace.time) for x in (18.288, 100.584, 201.168, 402.336)]
    return [*reached, float(np.interp(100 / 3.6, trace["speed"], trace.time))]


@pytest.mark.parametrize("build", [coupe, front_hatch, all_drive_saloon])
@pytest.mark.parametrize("pedal", [0, 1])
def test_low_speed_damping_moves_no_mark(build: Callable[..., Car], pedal: int) -> None:
    """Halving the speed below which damping is added moves no time by 0.5 %. Source: common practice."""
    times = [
        marks(build({"front.low_speed": speed, "rear.low_speed": speed, "pedal.kind": pedal})) for speed in (2.5, 1.25)
    ]
    np.testing.assert_allclose(times[1], times[0], rtol=5e-3)
