"""Axles whose two wheels differ, against what a differential and a live axle do by hand."""

from __future__ import annotations

from math import inf

import numpy as np
import pytest
from scipy.optimize import minimize_scalar

from cars import Changes, all_drive_saloon, coupe, on_both_axles
from simlaunch.metrics.ceiling import grip_limited_acceleration, usable_torque
from simlaunch.metrics.energy import audit
from simlaunch.metrics.grip import grip_use
from simlaunch.physics import sides, tyre
from simlaunch.physics.body import GRAVITY
from simlaunch.record import Car, Pedal
from simlaunch.simulation.prepare import TARGET_SHARE_OF_PEAK
from simlaunch.simulation.run import complete, launch
from simlaunch.simulation.trace import Trace

PAIRED: Changes = {"drive.paired": 1, "drive.locking_speed": 0.5}
LOW, HIGH = 0.6, 1.0
SPLIT: Changes = {**PAIRED, "road.left_friction": HIGH, "road.right_friction": LOW}
FRICTION = 1.05


def textbook(changes: Changes) -> Car:
    """A rear drive on one friction coefficient, without resistance, turning masses or load transfer."""
    car = coupe({
        **on_both_axles({"friction": FRICTION, "friction_load": 0.0, "rolling_resistance": 0.0, "axle_inertia": 1e-9}),
        "body.cg_height": 0.0, "body.drag_area": 0.0, **changes,
    })  # fmt: skip
    complete(car)
    return car


def wheel_load(car: Car) -> float:
    """Load of one rear wheel at rest, both alike [N]."""
    return float(0.5 * car.body.mass * GRAVITY * (1.0 - car.body.front_share))


def most_force(car: Car) -> float:
    """Force of the tyres at the grip limit [N]."""
    return float(car.body.mass) * grip_limited_acceleration(car, 10.0)


def test_an_open_axle_passes_on_twice_what_the_weaker_wheel_holds() -> None:
    """Source: balance of torque on bevel gears that are free to turn, each side half (handbooks, from memory)."""
    car = textbook(SPLIT)
    assert most_force(car) == pytest.approx(2.0 * LOW * FRICTION * wheel_load(car), rel=1e-7)


@pytest.mark.parametrize("locking", [0.05, 0.1, 0.2])
def test_a_limited_slip_axle_passes_on_the_weaker_wheel_and_its_bias(locking: float) -> None:
    """T_high = T_low (1 + S) / (1 - S). Source: definition of the locking value (common practice)."""
    car = textbook({**SPLIT, "drive.locking": (locking, locking)})
    low = LOW * FRICTION * wheel_load(car)
    assert most_force(car) == pytest.approx(low * (1.0 + (1.0 + locking) / (1.0 - locking)), rel=1e-7)


@pytest.mark.parametrize("locking", [0.0, 0.1])
def test_preload_adds_to_what_the_stronger_wheel_may_take(locking: float) -> None:
    """T_high - T_low = P + S (T_high + T_low), solved for T_high by hand."""
    preload = 120.0
    car = textbook({**SPLIT, "drive.locking": (locking, locking), "drive.preload": (preload, preload)})
    low, radius = LOW * FRICTION * wheel_load(car), float(car.rear.radius)
    high = (low * radius * (1.0 + locking) + preload) / ((1.0 - locking) * radius)
    assert most_force(car) == pytest.approx(low + high, rel=1e-7)


@pytest.mark.parametrize("locking", [0.6, 1.0])
def test_a_locked_axle_passes_on_what_both_tyres_hold_at_one_slip(locking: float) -> None:
    """The best common slip of both tyres. Source: scipy.optimize.minimize_scalar, bounded. A value of 60 % suffices."""
    car = textbook({**SPLIT, "drive.locking": (locking, locking)})
    load = 2.0 * wheel_load(car)

    def pushed(slip: float) -> float:
        return 0.5 * sum(tyre.axle_contact(slip, load, car.rear, grip).force for grip in (LOW, HIGH))

    best = minimize_scalar(lambda slip: -pushed(slip), bounds=(0.01, 0.6), options={"xatol": 1e-10})
    assert most_force(car) == pytest.approx(-best.fun, rel=1e-7)
    assert car.pedal.target_slip == pytest.approx(TARGET_SHARE_OF_PEAK * best.x, rel=1e-4)


def test_a_wheel_that_carries_less_sets_the_force_of_an_open_axle() -> None:
    """Source: Coulomb's law for the lighter wheel, twice."""
    car = textbook({**PAIRED, "body.left_share": 0.55})
    assert most_force(car) == pytest.approx(2.0 * FRICTION * 0.45 * 2.0 * wheel_load(car), rel=1e-7)


@pytest.mark.parametrize("front_share", [0.55, 1.0])
def test_shaft_torque_takes_load_off_one_wheel_of_a_live_axle(front_share: float) -> None:
    """F = mu W_r / (1 - mu h / L + 2 mu r k / (i t)), k the front's share of the roll stiffness.

    Source: T. D. Gillespie, Fundamentals of Vehicle Dynamics, ch. 2, rear drive with a solid axle and an open
    differential (from memory); derived here from moments about the axle, T / i = (dW t) + what its springs take.
    """
    mu, height, track, final = 0.8, 0.5, 1.45, 3.42
    car = textbook({
        **PAIRED, **on_both_axles({"friction": mu}), "body.cg_height": height,
        "drive.cross_lever": front_share / (track * final),
    })  # fmt: skip
    weight = 2.0 * wheel_load(car)
    tilt = 2.0 * mu * car.rear.radius * front_share / (final * track)
    expected = mu * weight / (1.0 - mu * height / car.body.wheelbase + tilt)
    assert most_force(car) == pytest.approx(expected, rel=1e-6)


def test_usable_torque_falls_with_the_weaker_wheel() -> None:
    """With an open axle, friction of one side and of both sides come to the same. Source: twice the weaker wheel."""
    speeds = np.linspace(200.0, 600.0, 5)
    weightless = {"engine.inertia": 1e-9, "gearbox.input_inertia": 1e-9, "drive.inertia": 0.0}  # it turns with the mean
    split, both = textbook({**SPLIT, **weightless}), textbook({"road.friction_factor": LOW, **weightless})
    np.testing.assert_allclose(usable_torque(split, 1, speeds), usable_torque(both, 1, speeds), rtol=1e-6)


def test_the_torque_bias_by_hand() -> None:
    """40 % is 70 to 30. Source: definition of the locking value."""
    assert sides.torque_bias(0.4) == pytest.approx(0.7 / 0.3)
    assert sides.torque_bias(0.0) == 1.0


def test_clutches_move_no_more_torque_than_they_hold() -> None:
    """P + S T once slipping; on the way there as tanh. Source: Coulomb friction under a load that follows torque."""
    drive = coupe({**PAIRED, "drive.locking": (0.1, 0.3), "drive.preload": (0.0, 50.0)}).drive
    assert sides.locking_torque(1, 1000.0, 50.0, drive) == pytest.approx(350.0)
    assert sides.locking_torque(1, -1000.0, -50.0, drive) == pytest.approx(-350.0)
    assert sides.locking_torque(1, 0.0, 50.0, drive) == pytest.approx(50.0)
    assert sides.locking_torque(0, 1000.0, 0.25, drive) == pytest.approx(100.0 * np.tanh(1.0))
    assert sides.locking_torque(0, 0.0, 1.0, drive) == 0.0


def test_the_most_of_two_wheels_that_are_alike_is_that_of_their_axle() -> None:
    """Source: symmetry; whatever the differential."""
    car = coupe()
    complete(car)
    end = car.rear
    for bias, beyond in ((1.0, 0.0), (3.0, 10.0), (1.0, inf)):
        pair = sides.Sides(7000.0, 7000.0, 0.9, 0.9, bias, beyond)
        most = sides.summit(pair, end)
        assert most.force == tyre.axle_force_limit(7000.0, end, 0.9)
        assert most.slip == tyre.end_of_grip(7000.0, end, 0.9)
        assert sides.force_at(0.05, pair, end) == tyre.axle_contact(0.05, 7000.0, end, 0.9).force


@pytest.mark.parametrize("pedal", list(Pedal))
def test_wheels_of_a_locked_axle_turn_at_one_speed(pedal: Pedal) -> None:
    """Source: one shaft."""
    trace = launch(coupe({**SPLIT, "drive.locking": (1.0, 1.0), "pedal.kind": int(pedal)})).trace
    np.testing.assert_array_equal(trace["wheel_speed_rear_left"], trace["wheel_speed_rear_right"])
    assert trace["force_rear_left"].max() > 1.3 * trace["force_rear_right"].max()


def test_an_open_axle_gives_both_wheels_one_torque() -> None:
    """r F + M + J w' is the same left and right. Source: bevel gears; J w' from the recorded speeds."""
    car = coupe(SPLIT)
    trace = launch(car, sample_gap=1e-3, tolerance=1e-8).trace
    apart = np.append(np.diff(trace.time) > 0.0, True)
    trace = Trace(trace.time[apart], {name: values[apart] for name, values in trace.channels.items()})
    calm = (trace.time > 1.0) & (trace.time < 1.5)
    inertia, radius = 0.5 * float(car.rear.axle_inertia), float(car.rear.radius)
    torque = []
    for side in ("left", "right"):
        gained = np.gradient(trace[f"wheel_speed_rear_{side}"], trace.time)
        rolling = car.rear.rolling_resistance * trace[f"load_rear_{side}"] * radius
        torque.append(radius * trace[f"force_rear_{side}"] + rolling + inertia * gained)
    np.testing.assert_allclose(torque[0][calm], torque[1][calm], rtol=2e-3)
    np.testing.assert_allclose(torque[0][calm] + torque[1][calm], trace["axle_torque_rear"][calm], rtol=2e-3)
    assert (trace["wheel_speed_rear_right"] > 1.5 * trace["wheel_speed_rear_left"])[calm].all()


def test_slip_work_is_that_of_both_wheels() -> None:
    """Integral of force times slip speed, wheel by wheel. Source: power is force times speed."""
    car = coupe({**SPLIT, "drive.locking": (0.2, 0.2)})
    trace = launch(car, sample_gap=1e-3).trace
    power = np.zeros(trace.time.shape)
    for side in ("left", "right"):
        rim = trace[f"wheel_speed_rear_{side}"] * car.rear.radius
        power = power + trace[f"force_rear_{side}"] * (rim - trace["speed"])
    np.testing.assert_allclose(power, trace["slip_power_rear"], rtol=1e-9, atol=1e-6)
    work = np.trapezoid(power, trace.time)
    gained = trace["slip_work_rear"][-1] - trace["slip_work_rear"][0]
    assert work == pytest.approx(gained, rel=1e-4)  # by trapezoids, a thousandth of a second each
    assert grip_use(trace, (False, True), (car.front.radius, car.rear.radius)).slip_energy == pytest.approx(
        work, rel=1e-3
    )


def test_heat_in_the_locking_clutches_is_booked_with_the_gears() -> None:
    """An axle without loss in its gears: all that gearing takes is torque moved times half the difference of speeds.

    Source: power through a differential.
    """
    car = coupe({**SPLIT, "drive.locking": (0.15, 0.15), "drive.shaft_damping": (0.0, 0.0), "drive.inertia": 0.2})
    car.gearbox.efficiency[:] = 1.0
    trace = launch(car, sample_gap=1e-3).trace
    apart = 0.5 * (trace["wheel_speed_rear_left"] - trace["wheel_speed_rear_right"])
    moved = 0.15 * np.abs(trace["axle_torque_rear"]) * np.tanh(2.0 * apart / car.drive.locking_speed)
    launching = trace.time < next(event.time for event in trace.events if event.kind == "shift begins")
    heat = np.trapezoid((moved * apart)[launching], trace.time[launching])
    assert heat == pytest.approx(trace["gearing_work"][launching][-1], rel=1e-3)
    assert heat > 1e4


def test_the_faster_wheel_is_the_one_that_spins() -> None:
    """Wheelspin is counted by the wheel with less grip, while the other one rolls along. Source: definition."""
    car = coupe(SPLIT)
    trace = launch(car).trace
    np.testing.assert_array_equal(trace["slip_rear"], np.maximum(trace["slip_rear_left"], trace["slip_rear_right"]))
    use = grip_use(trace, (False, True), (car.front.radius, car.rear.radius))
    assert use.wheelspin_time > 5.0
    rolling = trace["speed"] > 4.0
    assert np.quantile(trace["slip_rear_left"][rolling], 0.95) < 0.1  # but for shocks that spin the other
    beyond = trace["slip_rear_right"] > trace["peak_slip_rear"]
    assert np.mean(beyond[rolling]) > 0.5


def test_held_slip_aims_at_the_wheel_with_less_grip() -> None:
    """Its slip of peak force, and no more force than twice what it holds. Source: an open axle."""
    car = coupe({**SPLIT, "pedal.kind": int(Pedal.HELD_SLIP)})
    trace = launch(car).trace
    load = 2.0 * wheel_load(car)
    assert car.pedal.target_slip == pytest.approx(
        TARGET_SHARE_OF_PEAK * tyre.end_of_grip(load, car.rear, LOW), rel=1e-6
    )
    rolling = (trace["speed"] > 8.0) & (trace["gear"] == 1)
    assert np.median(trace["slip_rear_right"][rolling]) == pytest.approx(car.pedal.target_slip, rel=0.05)
    # what spins the right wheel up, the left one has to push with as well: a few newtons
    assert (trace["force_rear"] <= trace["force_limit_rear"] * (1.0 + 1e-3))[rolling].all()
    assert np.median((trace["force_rear"] / trace["force_limit_rear"])[rolling]) > 0.99


def test_a_converter_on_the_brakes_holds_both_wheels() -> None:
    """Nothing moves until the brakes let go, and energy closes. Source: statics; first law of thermodynamics."""
    split = {**SPLIT, "drive.locking": (0.2, 0.3), "road.grade_angle": 0.05}
    trace = launch(all_drive_saloon({**split, "launch.brake_release": 0.2})).trace
    held = trace.time < 0.0
    for name in ("wheel_speed_rear_left", "wheel_speed_rear_right", "wheel_speed_front_left"):
        assert not trace[name][held].any()
    assert abs(audit(trace).residual_share) < 1e-6
