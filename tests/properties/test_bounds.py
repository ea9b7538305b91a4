"""What no car can do, and what does not depend on which end is driven."""

from __future__ import annotations

import numpy as np
import pytest

from benchmarks.accuracy import WORKS, residual_share
from cars import Changes, change, coupe, random_car
from simlaunch.physics.table import value_at
from simlaunch.record import Car
from simlaunch.simulation.run import Outcome, launch
from simlaunch.simulation.trace import Trace

SEEDS = range(100, 160)
POUND, HORSEPOWER = 0.45359237, 745.6998715822702


def drawn(seed: int, changes: Changes | None = None) -> Car:
    return change(random_car(np.random.default_rng(seed)), changes or {})


@pytest.fixture(scope="module")
def traces() -> dict[int, Trace]:
    """Launches that finished."""
    runs = {seed: launch(drawn(seed)) for seed in SEEDS}
    finished = {seed: run.trace for seed, run in runs.items() if run.outcome is Outcome.FINISHED}
    assert len(finished) >= 55
    return finished


def peak_power(car: Car) -> float:
    speed = np.linspace(car.engine.idle, car.engine.rev_limit + car.engine.limiter_band, 2000)
    return max(float(value_at(car.engine.torque, w)) * float(w) for w in speed)


@pytest.mark.parametrize("seed", range(40))
def test_no_launch_beats_the_lossless_bound(seed: int) -> None:
    """Level road, no wind: x <= integral of sqrt(2 (P t + E0) / m), and m v^2 / 2 <= P t + E0.

    E0 is what the engine and a preloaded shaft store at the start. Without it the first is
    t >= 4.8026 (W / P)^(1/3), lb and hp. Source: energy at constant power; Fox, Am. J. Phys. (1973), for the form.
    """
    car = drawn(seed, {"road.grade_angle": 0.0, "air.head_wind": 0.0})
    run = launch(car)
    if run.outcome is not Outcome.FINISHED:
        assert run.trace["distance"][-1] < 402.336
        return
    power, mass, stored = peak_power(car), float(car.body.mass), float(run.trace["stored_energy"][0])
    time, speed = run.trace.time[-1], run.trace["speed"][-1]
    ends = [(power * t + stored) ** 1.5 for t in (0.0, time)]
    assert run.trace["distance"][-1] <= np.sqrt(2.0 / mass) * 2.0 / (3.0 * power) * (ends[1] - ends[0])
    assert 0.5 * mass * speed**2 <= power * time + stored


def test_the_bound_in_the_trade_s_form() -> None:
    """4.802610 (W / P)^(1/3) is (9 m L^2 / 8 P)^(1/3) at 402.336 m. Source: arithmetic."""
    mass, power = 1500.0, 150e3
    ours = (9.0 * mass * 402.336**2 / (8.0 * power)) ** (1.0 / 3.0)
    assert 4.802610 * (mass / POUND / (power / HORSEPOWER)) ** (1.0 / 3.0) == pytest.approx(ours, rel=1e-6)


SYMMETRIC = {"body.front_share": 0.5, "body.cg_height": 0.0}


@pytest.mark.parametrize("rigid", [0, 1])
@pytest.mark.parametrize("pedal", [0, 1])
@pytest.mark.parametrize("share", [0.0, 0.3])
def test_mirrored_cars_are_equal(share: float, pedal: int, rigid: int) -> None:
    """Half of the weight on each axle and none transferred: the driven end does not matter. Source: symmetry."""
    runs = [
        launch(
            coupe({**SYMMETRIC, "drive.rigid": rigid, "pedal.kind": pedal, "drive.front_share": front}), tolerance=1e-9
        )
        for front in (share, 1.0 - share)
    ]
    ends = [run.trace.time[-1] for run in runs]
    # the same sums in another order: rounding, grown along the run
    assert ends[0] == pytest.approx(ends[1], abs=1e-7)
    assert runs[0].trace["slip_work_front"][-1] == pytest.approx(runs[1].trace["slip_work_rear"][-1], rel=1e-5)


def test_energy_closes(traces: dict[int, Trace]) -> None:
    """The residual stays below one part in a million of the engine's work. Source: conservation of energy."""
    shares = {seed: residual_share(trace) for seed, trace in traces.items()}
    assert max(shares.values()) < 1e-6, max(shares, key=shares.__getitem__)


def falls(trace: Trace, name: str) -> float:
    """Sum of all decreases of a loss, as a share of the engine's work [-]."""
    steps = np.diff(trace[name])
    return float(-steps[steps < 0.0].sum() / trace["engine_work"][-1])


@pytest.mark.parametrize("name", ["coupling_work", "twist_work", "rolling_work", "gearing_work"])
def test_losses_never_give_energy_back(traces: dict[int, Trace], name: str) -> None:
    """Clutch plates, fluids, dampers, tyres that roll, and gears only take. Source: second law of thermodynamics.

    A share of 1e-6 is left for the integration itself.
    """
    assert name in WORKS
    shares = {seed: falls(trace, name) for seed, trace in traces.items()}
    worst = max(shares, key=shares.__getitem__)
    assert shares[worst] < 1e-6, f"{name} gives back {shares[worst]:.2e} of the engine's work with seed {worst}"


def test_wheels_never_turn_backwards_once_rolling(traces: dict[int, Trace]) -> None:
    """Above 2 m/s. Slower, a wheel that grips after a spin may swing back on its tyre for a moment."""
    for seed, trace in traces.items():
        rolling = np.maximum.accumulate(trace["speed"]) > 2.0
        slowest = np.minimum(trace["wheel_speed_front"], trace["wheel_speed_rear"])[rolling]
        assert slowest.min() > 0.0, seed


def test_every_number_of_every_trace_is_finite(traces: dict[int, Trace]) -> None:
    for seed, trace in traces.items():
        for name, values in trace.channels.items():
            assert np.isfinite(values).all(), (seed, name)


@pytest.mark.parametrize("seed", [101, 1551, 1739, 2234, 2284, 2316])
def test_coupling_finds_a_phase_that_holds(seed: int) -> None:
    """Lock-up that meets its speeds under slip control, or while a gear is being handed over, comes to an end."""
    assert launch(drawn(seed)).outcome is Outcome.FINISHED


@pytest.mark.parametrize("seed", [2004, 2211, 2258])
def test_gear_closes_when_it_meets_the_coupling(seed: int) -> None:
    """Oncoming gear and coupling meet their speeds within one step: neither may be passed over.

    Else the engine is wound down past the gear's speed until it stalls, at 60 km/h and more.
    """
    assert launch(drawn(seed)).outcome is Outcome.FINISHED


@pytest.mark.parametrize("seed", [3768])
def test_energy_closes_where_an_event_falls_on_a_kink(seed: int) -> None:
    """Speeds are made equal where they meet: what is still between them at that moment is lost to the audit."""
    assert residual_share(launch(drawn(seed), tolerance=1e-6).trace) < 1e-6
