"""Held slip beside full pedal: never worse where the tyres have grip to spare, seldom where they have not."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from scipy.optimize import minimize_scalar

from cars import Changes, all_drive_saloon, coupe, front_hatch, random_car
from simlaunch.physics import body, pedal, tyre
from simlaunch.physics import state as at
from simlaunch.record import Car, Coupling, Pedal
from simlaunch.simulation.prepare import TARGET_SHARE_OF_PEAK
from simlaunch.simulation.run import Outcome, Run, complete, launch

MILLISECOND = 1e-3


def random_launch(seed: int, chosen: Pedal) -> Run:
    """A launch of one random car over a quarter mile."""
    car = random_car(np.random.default_rng(seed))
    car.pedal.kind = int(chosen)
    return launch(car)


def both_pedals(build: Callable[[Changes], Car], changes: Changes) -> tuple[Run, Run]:
    """The same car with full pedal, and with held slip."""
    full, held = (launch(build({**changes, "pedal.kind": int(chosen)})) for chosen in (Pedal.FULL, Pedal.HELD_SLIP))
    return full, held


@pytest.mark.parametrize("delay", [0.01, 0.1])
@pytest.mark.parametrize("build", [coupe, front_hatch, all_drive_saloon])
def test_grip_to_spare_leaves_nothing_to_trim(build: Callable[[Changes], Car], delay: float) -> None:
    """Tyres that take far more than the engine gives: both pedals are the same launch. Source: definition of a trim."""
    full, held = both_pedals(build, {"road.friction_factor": 8.0, "pedal.delay": delay})
    assert full.outcome is held.outcome is Outcome.FINISHED
    assert held.trace.time[-1] == pytest.approx(full.trace.time[-1], abs=0.1 * MILLISECOND)


@pytest.mark.slow
def test_held_slip_is_hardly_ever_the_slower_pedal() -> None:
    """Random cars over a quarter mile. Source: tyres at their peak push hardest; the engine is held where it is strong.

    With a torque converter wheels that spin may store speed in the engine that is of use afterwards, and full pedal is
    the quicker on some cars (``tests/benchmarks/pedals.py`` lists them), though never by much.
    """
    later: dict[Coupling, dict[int, float]] = {coupling: {} for coupling in Coupling}
    for seed in range(60):
        full, held = (random_launch(seed, chosen) for chosen in (Pedal.FULL, Pedal.HELD_SLIP))
        if full.outcome is held.outcome is Outcome.FINISHED:
            coupling = Coupling(int(random_car(np.random.default_rng(seed)).coupling.kind))
            later[coupling][seed] = held.trace.time[-1] - full.trace.time[-1]
    bars = {Coupling.FRICTION_CLUTCH: 5.0 * MILLISECOND, Coupling.TORQUE_CONVERTER: 30.0 * MILLISECOND}
    for coupling, bar in bars.items():
        assert len(later[coupling]) > 20
        assert {seed: late for seed, late in later[coupling].items() if late > bar} == {}


@pytest.mark.parametrize("seed", [224, 237])
def test_a_converter_is_not_starved_by_wheels_that_spin_at_the_start(seed: int) -> None:
    """Cars that the engine limits from the first metres on: it never turns slower than it was launched.

    Source: at its launch speed a stalled converter asks no more than the tyres take, so none of it is too much.
    """
    trace = random_launch(seed, Pedal.HELD_SLIP).trace
    assert (trace["slip_rear"] > 2.0 * trace["peak_slip_rear"]).any()  # the wheels do spin
    assert trace["engine_speed"][trace.time < 0.5].min() > 0.999 * trace["engine_speed"][0]


def test_half_shafts_do_not_throw_tyres_past_their_peak_again_and_again() -> None:
    """A front-driven car with a converter whose half shafts and tyres swung 42 times with a target at the peak itself.

    Source: a tyre past its peak gives less force as it slips more, which feeds a swing (stick-slip, from memory).
    """
    trace = random_launch(217, Pedal.HELD_SLIP).trace
    lost = trace["slip_front"] > 2.0 * trace["peak_slip_front"]
    assert 0 < np.count_nonzero(lost[1:] & ~lost[:-1]) < 10


@pytest.mark.parametrize("share", [0.0, 0.4, 1.0])
@pytest.mark.parametrize("locked", [0, 1])
def test_a_twist_of_the_half_shafts_alone_is_not_answered(share: float, locked: int) -> None:
    """Wheels that gain what the shafts behind them lose. Source: momentum, which an inner torque does not change."""
    car = coupe({"drive.front_share": share, "drive.locked": locked, "pedal.kind": int(Pedal.HELD_SLIP)})
    complete(car)
    phase = at.first_phase()
    y = np.zeros(at.STATES)
    y[at.SPEED] = 10.0
    y[[at.WHEEL_FRONT, at.WHEEL_REAR, at.SHAFT_SPEED]] = 1.05 * 10.0 / car.front.radius
    road = body.ground(0.0, y, car, phase)
    grip = pedal.take_up(0.0, y, car, phase, road).now
    before = pedal.slip_command(0.0, y, car, phase, grip)
    wheels = car.front.axle_inertia + car.rear.axle_inertia
    shafts = car.drive.inertia + car.gearbox.ratio[0] ** 2 * car.gearbox.input_inertia
    y[[at.WHEEL_FRONT, at.WHEEL_REAR]] += 1.0 / wheels
    y[at.SHAFT_SPEED] -= 1.0 / shafts
    assert pedal.slip_command(0.0, y, car, phase, grip) == pytest.approx(before, rel=1e-12)
    y[[at.WHEEL_FRONT, at.WHEEL_REAR, at.SHAFT_SPEED]] += 1.0
    assert pedal.slip_command(0.0, y, car, phase, grip) < before - 1.0


def test_the_target_rises_to_its_whole_as_the_car_gathers_speed() -> None:
    """80 % at rest, all of it from 8 m/s on, without a kink. Source: the closed form in the docstring."""
    car = coupe({"pedal.target_slip": 0.1})
    assert pedal.target_at(0.0, car) == pytest.approx(0.08)
    assert pedal.target_at(4.0, car) == pytest.approx(0.1 * (1.0 - 0.2 / 4.0))
    assert pedal.target_at(8.0, car) == pedal.target_at(50.0, car) == pytest.approx(0.1)
    assert pedal.target_at(7.99, car) == pytest.approx(0.1, rel=1e-6)


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
