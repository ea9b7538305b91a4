"""Held slip beside full pedal: never worse where the tyres have grip to spare, seldom where they have not."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from scipy.optimize import minimize_scalar

from cars import Changes, all_drive_saloon, coupe, front_hatch, random_car
from simlaunch.physics import body, tyre
from simlaunch.record import Coupling, Pedal, Record
from simlaunch.simulation.prepare import TARGET_SHARE_OF_PEAK
from simlaunch.simulation.run import Outcome, Run, complete, launch

MILLISECOND = 1e-3


def both_pedals(build: Callable[[Changes], Record], changes: Changes) -> tuple[Run, Run]:
    """The same car with full pedal, and with held slip."""
    full, held = (launch(build({**changes, "pedal.kind": int(pedal)})) for pedal in (Pedal.FULL, Pedal.HELD_SLIP))
    return full, held


@pytest.mark.parametrize("delay", [0.01, 0.1])
@pytest.mark.parametrize("build", [coupe, front_hatch, all_drive_saloon])
def test_grip_to_spare_leaves_nothing_to_trim(build: Callable[[Changes], Record], delay: float) -> None:
    """Tyres that take far more than the engine gives: both pedals are the same launch. Source: definition of a trim."""
    full, held = both_pedals(build, {"road.friction_factor": 8.0, "pedal.delay": delay})
    assert full.outcome is held.outcome is Outcome.FINISHED
    assert held.trace.time[-1] == pytest.approx(full.trace.time[-1], abs=0.1 * MILLISECOND)


@pytest.mark.slow
def test_with_a_friction_clutch_held_slip_is_not_the_slower_pedal() -> None:
    """Random cars over a quarter mile. Source: tyres at their peak push hardest; the engine is held where it is strong.

    Cars with a torque converter are left out: on some of them wheels that spin keep the engine up, and full pedal is
    the quicker (``tests/benchmarks/pedals.py`` lists them).
    """
    later = {}
    for seed in range(60):
        car = random_car(np.random.default_rng(seed))
        if car.coupling.kind != int(Coupling.FRICTION_CLUTCH):
            continue
        runs = []
        for pedal in (Pedal.FULL, Pedal.HELD_SLIP):
            car = random_car(np.random.default_rng(seed))
            car.pedal.kind = int(pedal)
            runs.append(launch(car))
        if all(run.outcome is Outcome.FINISHED for run in runs):
            later[seed] = runs[1].trace.time[-1] - runs[0].trace.time[-1]
    assert len(later) > 20
    assert {seed: late for seed, late in later.items() if late > 5.0 * MILLISECOND} == {}


@pytest.mark.parametrize("share", [0.0, 1.0])
def test_the_target_is_the_slip_of_peak_force(share: float) -> None:
    """The target against the maximum of the Magic Formula. Source: scipy.optimize.minimize_scalar, bounded."""
    car = coupe({"drive.front_share": share, "pedal.kind": int(Pedal.HELD_SLIP)})
    complete(car)
    loads = body.axle_loads(0.0, 0.0, 0.0, car.body, 0.0)
    load, end = (loads[0], car.front) if share == 1.0 else (loads[1], car.rear)
    peak = minimize_scalar(lambda slip: -tyre.axle_contact(slip, load, end, 1.0).force, bounds=(0.01, 0.6))
    most = car.pedal.target_slip / TARGET_SHARE_OF_PEAK
    assert tyre.axle_contact(most, load, end, 1.0).force == pytest.approx(-peak.fun, rel=1e-4)
    assert most == pytest.approx(peak.x, rel=0.02)  # flat at the top: force to 1e-4 is slip to 2 %
    assert tyre.axle_contact(car.pedal.target_slip, load, end, 1.0).force > -0.998 * peak.fun


def test_axles_locked_together_share_the_speed_of_most_force() -> None:
    """Tyres of two sizes on a locked centre: best common speed. Source: scipy.optimize.minimize_scalar, bounded."""
    car = coupe({"drive.locked": 1, "drive.front_share": 0.5, "front.radius": 0.30, "rear.radius": 0.33,
                 "pedal.kind": int(Pedal.HELD_SLIP)})  # fmt: skip
    complete(car)
    front, rear = body.axle_loads(0.0, 0.0, 0.0, car.body, 0.0)

    def force(rear_slip: float) -> float:
        front_slip = (1.0 + rear_slip) * 0.30 / 0.33 - 1.0
        return float(
            tyre.axle_contact(front_slip, front, car.front, 1.0).force
            + tyre.axle_contact(rear_slip, rear, car.rear, 1.0).force
        )

    best = minimize_scalar(lambda slip: -force(slip), bounds=(0.01, 0.6))
    assert force(car.pedal.target_slip / TARGET_SHARE_OF_PEAK) == pytest.approx(-best.fun, rel=1e-4)


def test_held_at_the_peak_a_car_gains_speed_by_its_friction() -> None:
    """All wheels held at the peak of constant friction: a = mu g. Source: Newton's second law.

    No drag, no rolling resistance and no lag of a turning engine stands between the tyres and the road; the first
    second, in which clutch and actuator settle, is left out.
    """
    mu = 0.8
    alike = {f"{axle}.{name}": value for axle in ("front", "rear") for name, value in {
        "friction": mu, "friction_load": 0.0, "stiffness_load": 0.0, "curvature_load": 0.0,
        "curvature_load_square": 0.0, "rolling_resistance": 0.0, "rolling_resistance_square": 0.0}.items()}  # fmt: skip
    car = coupe({
        **alike, "drive.locked": 1, "drive.front_share": 0.5, "body.drag_area": 0.0, "body.cg_height": 0.0,
        "body.front_share": 0.5, "coupling.capacity": 3000.0, "gearbox.shift_speed": [700.0] * 5,
        "engine.lagged_share": 0.0, "engine.torque": ((50.0, 900.0), (1500.0, 1500.0)), "pedal.kind": 1,
        "run.stop_distance": 0.0, "run.stop_speed": 14.0,
    })  # fmt: skip
    trace = launch(car).trace
    time = np.interp([9.0, 14.0], trace["speed"], trace.time)
    assert float(np.diff(time)[0]) == pytest.approx(5.0 / (mu * 9.80665), rel=0.005)
