"""Measured order of the method: halving the step divides the error by 2^4."""

from __future__ import annotations

from collections.abc import Callable
from math import cos, sin, sqrt

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from cars import RPM, coupe
from closed_form.midway import in_gear, run_on
from simlaunch.integrator.differences import all_free, make_linearise
from simlaunch.integrator.step import Rates, fill_dense, make_step, make_work, read_dense
from simlaunch.physics import state as at
from simlaunch.physics.balance import stored_energy
from simlaunch.record import Record
from simlaunch.simulation.bench import scales
from simlaunch.simulation.kernel import compiled_rates

Array = NDArray[np.float64]
ECCENTRICITY = 0.3
WORKS = (
    at.DRAG_WORK, at.ROLLING_WORK, at.GRADE_WORK, at.SLIP_WORK_FRONT, at.SLIP_WORK_REAR, at.COUPLING_WORK,
    at.GEARING_WORK, at.TWIST_WORK,
)  # fmt: skip


def kepler(t: float, y: Array, model: None, phase: None, out: Array) -> None:
    """Two bodies: x'' = -x / r^3."""
    cube = (y[0] ** 2 + y[1] ** 2) ** 1.5
    out[0], out[1] = y[2], y[3]
    out[2], out[3] = -y[0] / cube, -y[1] / cube


def orbit(t: float) -> Array:
    """State on an orbit of eccentricity 0.3 after a time, by Kepler's equation."""
    anomaly = t
    for _ in range(50):
        anomaly -= (anomaly - ECCENTRICITY * sin(anomaly) - t) / (1.0 - ECCENTRICITY * cos(anomaly))
    root = sqrt(1.0 - ECCENTRICITY**2)
    rate = 1.0 / (1.0 - ECCENTRICITY * cos(anomaly))
    return np.array([
        cos(anomaly) - ECCENTRICITY, root * sin(anomaly), -sin(anomaly) * rate, root * cos(anomaly) * rate,
    ])  # fmt: skip


def fixed_steps(rates: Rates, y: Array, duration: float, count: int, model: object, phase: object) -> Array:
    """State after so many equal steps."""
    work, step, linearise = make_work(len(y), 1), make_step(rates), make_linearise(rates)
    work.state[:], size, h = y, np.maximum(np.abs(y), 1.0), duration / count
    all_free(model, phase, work.structure)
    for i in range(count):
        rates(i * h, work.state, model, phase, work.rates)
        linearise(i * h, work.state, work.rates, None, model, phase, size, work.structure, work.linear)
        step(i * h, h, model, phase, work)
        work.state[:] = work.trial
    state: Array = work.state.copy()
    return state


def measured_order(error: Callable[[int], float], counts: tuple[int, ...]) -> float:
    """Slope of the error over the step, by least squares through the logarithms [-]."""
    errors = [error(count) for count in counts]
    return float(-np.polyfit(np.log(counts), np.log(errors), 1)[0])


def test_order_on_an_orbit() -> None:
    """Order 4 at least; on this orbit some error terms cancel. Source: Kepler's equation as exact solution."""

    def error(count: int) -> float:
        return float(np.abs(fixed_steps(kepler, orbit(0.0), 5.0, count, None, None) - orbit(5.0)).max())

    assert measured_order(error, (20, 40, 80, 160)) > 3.9


def one_step(h: float) -> Record:
    work = make_work(4, 1)
    work.state[:] = orbit(1.0)
    kepler(0.0, work.state, None, None, work.rates)
    all_free(None, None, work.structure)
    make_linearise(kepler)(0.0, work.state, work.rates, None, None, None, np.ones(4), work.structure, work.linear)
    make_step(kepler)(0.0, h, None, None, work)
    fill_dense(work)
    return work


@pytest.mark.parametrize("share", [0.25, 0.5, 0.75])
def test_order_of_values_within_a_step(share: float) -> None:
    """One step's interpolation error falls as h^4, which makes order 3 over a run. Source: as above."""

    def error(count: int) -> float:
        h = 1.0 / count
        work = one_step(h)
        read_dense(share, work, work.inner)
        return float(np.abs(work.inner - orbit(1.0 + share * h)).max())

    assert measured_order(error, (64, 128, 256)) == pytest.approx(4.0, abs=0.1)


def stretch() -> tuple[Record, Array, Record]:
    """Both axles driven in first gear, at full load between two knots of the curve, just after the torque has come on.

    No slip changes its sign here: the relaxation of a tyre has a kink where rim and car are equally fast.
    """
    torque = ((800.0 * RPM, 9000.0 * RPM), (260.0, 330.0))
    car = coupe({"engine.torque": torque, "gearbox.count": 1, "engine.rev_limit": 9000.0 * RPM,
                 "drive.front_share": 0.4, "drive.locked": 1})  # fmt: skip
    before = run_on(car, in_gear(7.0, car), 0.01)
    return car, before.state[-1].copy(), before.phases[0]


@pytest.fixture(scope="module")
def launched() -> tuple[Record, Array, Record, Array]:
    """The stretch, and its end after 0.1 s by SciPy's DOP853 at a tolerance of 1e-13."""
    car, start, phase = stretch()

    def rates(t: float, y: Array) -> Array:
        out = np.empty_like(y)
        compiled_rates(t, y, car, phase, out)
        return out

    exact = solve_ivp(rates, (0.0, 0.1), start, method="DOP853", rtol=1e-13, atol=1e-14 * scales())
    return car, start, phase, exact.y[:, -1]


def test_order_on_a_launch_between_events(launched: tuple[Record, Array, Record, Array]) -> None:
    """Order 4 within 0.1 with the equations of a launch, errors measured in the scale of each state."""
    car, start, phase, exact = launched

    def error(count: int) -> float:
        end = fixed_steps(compiled_rates, start, 0.1, count, car, phase)
        return float((np.abs(end - exact) / scales()).max())

    assert measured_order(error, (20, 40, 80, 160)) == pytest.approx(4.0, abs=0.1)


def test_energy_residual_falls_at_the_order_of_the_method(launched: tuple[Record, Array, Record, Array]) -> None:
    """Engine work less gains and losses vanishes as h^4 or faster. Source: conservation of energy."""
    car, start, phase, _ = launched

    def residual(count: int) -> float:
        end = fixed_steps(compiled_rates, start, 0.1, count, car, phase)
        work = end[at.ENGINE_WORK] - start[at.ENGINE_WORK] - (end[list(WORKS)] - start[list(WORKS)]).sum()
        return float(abs(work - stored_energy(end, car) + stored_energy(start, car)))

    assert measured_order(residual, (10, 40, 160)) > 3.9
