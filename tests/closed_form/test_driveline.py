"""Half shafts that twist: overshoot of a step of torque, and the shuffle of a car on its driveline."""

from __future__ import annotations

from math import exp, pi, sqrt

import numpy as np
import pytest

from cars import Changes, gears, on_both_axles, point_mass
from closed_form.midway import Stretch, in_gear, run_on
from simlaunch.physics import state as at
from simlaunch.record import Car

STIFFNESS = 16000.0


def elastic(torque: float, changes: Changes) -> Car:
    return point_mass({
        "drive.rigid": 0, "drive.front_share": 0.0, "drive.shaft_stiffness": STIFFNESS, "drive.shaft_damping": 1e-9,
        "engine.torque": ((10.0, 1e4), (torque, torque)), **changes,
    })  # fmt: skip


@pytest.mark.parametrize(("damping_ratio", "factor"), [(0.0, 2.0), (0.05, 1.854), (0.10, 1.729)])
def test_overshoot_of_a_step_of_torque(damping_ratio: float, factor: float) -> None:
    """Peak twist is 1 + exp(-pi zeta / sqrt(1 - zeta^2)) times the static one. Source: linear vibration theory.

    The wheels are made so heavy that they stand still: the shaft's inner end swings alone.
    """
    inner = 2.0
    damping = max(2.0 * damping_ratio * sqrt(STIFFNESS * inner), 1e-9)
    car = elastic(200.0, {
        "drive.inertia": inner - 1e-3, "drive.shaft_damping": damping, "engine.inertia": 1e6,
        **on_both_axles({"axle_inertia": 1e9}), "coupling.capacity": 200.0,
    })  # fmt: skip
    state, phase = in_gear(0.0, car, coupling=at.SLIPPING)
    state[at.ENGINE_SPEED] = 200.0
    run = run_on(car, (state, phase), 0.2)
    static = 200.0 * 10.0 / STIFFNESS
    # samples lie 2.5 ms apart on a period of 70 ms, and nearer where steps end; the crest is read to 1e-3
    assert run.state[:, at.TWIST_FRONT].max() / static == pytest.approx(factor, abs=2e-3)
    assert 1.0 + exp(-pi * damping_ratio / sqrt(1.0 - damping_ratio**2)) == pytest.approx(factor, abs=5e-4)


def frequency(run: Stretch, static: float) -> float:
    """Frequency of the twist about its static value, from the first and the last upward passage [Hz]."""
    twist = run.state[:, at.TWIST_FRONT] - static
    i = np.flatnonzero((twist[:-1] < 0.0) & (twist[1:] >= 0.0))
    times = run.time[i] - twist[i] * (run.time[i + 1] - run.time[i]) / (twist[i + 1] - twist[i])
    return float((len(times) - 1) / (times[-1] - times[0]))


@pytest.mark.parametrize(("ratio", "expected"), [(12.0, 4.088), (8.0, 5.857), (5.5, 8.344)])
def test_shuffle_frequency(ratio: float, expected: float) -> None:
    """f = (1 / 2 pi) sqrt(k (1 / (J i^2) + 1 / (m r^2))), k = 16000 N m/rad, J = 0.2, m = 1500, r = 0.32.

    Source: two masses on a spring.
    """
    car = elastic(100.0, {
        **gears(ratio, efficiency=1.0), "engine.inertia": 0.2 - 1e-5,
        **on_both_axles({"radius": 0.32, "axle_inertia": 300.0 * 0.32**2}),
    })  # fmt: skip
    run = run_on(car, in_gear(5.0, car), 2.0)
    engine_side, car_side = 0.2 * ratio**2, 1500.0 * 0.32**2
    static = 100.0 * ratio * car_side / (engine_side + car_side) / STIFFNESS
    assert frequency(run, static) == pytest.approx(expected, rel=1e-3)
