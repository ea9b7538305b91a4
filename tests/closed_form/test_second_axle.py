"""The clutch that brings a second axle in: its limits, its torque and heat by hand, and stick and slip apart."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from cars import Changes, all_drive_saloon, coupe, front_hatch, on_both_axles, point_mass
from simlaunch.metrics.energy import audit
from simlaunch.metrics.second_axle import second_axle
from simlaunch.physics import body, driveline, tyre
from simlaunch.physics import state as at
from simlaunch.record import Car, Pedal, ShiftKind
from simlaunch.simulation.run import complete, launch

Make = Callable[[Changes], Car]

CARS: dict[str, Make] = {
    "clutch and torque gap": coupe,
    "dual clutch": front_hatch,
    "converter and torque dip": all_drive_saloon,
}
FIRST_REAR, FIRST_FRONT = 0.0, 1.0


def clutched(capacity: float, first: float = FIRST_FRONT, **more: float) -> dict[str, float]:
    """Changes that bring the second axle in by a clutch, closed from the start."""
    own = {"locked": 1, "clutched": 1, "capacity": capacity, "front_share": first, **more}
    return {f"drive.{name}": value for name, value in own.items()}


@pytest.mark.parametrize("pedal", Pedal)
@pytest.mark.parametrize("first", [FIRST_FRONT, FIRST_REAR])
@pytest.mark.parametrize("name", CARS)
def test_a_clutch_that_never_slips_is_a_locked_centre(name: str, first: float, pedal: Pedal) -> None:
    """Times within 10 ns at a tolerance of 1e-9, and no heat. Source: statics of a clutch that holds."""
    common = {"pedal.kind": int(pedal)}
    one = launch(CARS[name]({**common, "drive.front_share": 0.5, "drive.locked": 1}), tolerance=1e-9)
    other = launch(CARS[name]({**common, **clutched(1e9, first)}), tolerance=1e-9)
    assert other.trace.time[-1] == pytest.approx(one.trace.time[-1], abs=1e-8)
    assert audit(other.trace).axle_clutch == 0.0
    every_tenth = np.arange(0.1, 12.0, 0.1)
    for channel in ("axle_torque_front", "axle_torque_rear"):
        ours, theirs = (np.interp(every_tenth, run.trace.time, run.trace[channel]) for run in (other, one))
        np.testing.assert_allclose(ours, theirs, rtol=0.0, atol=0.2)  # of thousands; samples lie 5 ms apart


@pytest.mark.parametrize("pedal", Pedal)
@pytest.mark.parametrize("first", [FIRST_FRONT, FIRST_REAR])
@pytest.mark.parametrize("name", CARS)
def test_a_clutch_that_carries_nothing_leaves_a_single_driven_axle(name: str, first: float, pedal: Pedal) -> None:
    """The other axle rolls along. Times within a microsecond: a target slip is sought to 1e-7. Source: statics."""
    common = {"pedal.kind": int(pedal)}
    one = launch(CARS[name]({**common, "drive.front_share": first}), tolerance=1e-9)
    other = launch(CARS[name]({**common, **clutched(0.0, first)}), tolerance=1e-9)
    assert other.trace.time[-1] == pytest.approx(one.trace.time[-1], abs=1e-6)
    rolling = "rear" if first == FIRST_FRONT else "front"
    assert np.abs(other.trace[f"axle_torque_{rolling}"]).max() == 0.0
    assert audit(other.trace).axle_clutch == 0.0


TORQUE, CAPACITY, LEAD, RATIO = 300.0, 500.0, 1.05, 2.5


def geared_apart(changes: Changes | None = None) -> Car:
    """Both axles roll without slip, and the second is geared 5 % faster, so that its clutch slips at all times."""
    return point_mass({
        **on_both_axles({"slip_stiffness": 1e6}),  # a tyre's own slip counts for 1 / (l - 1) as much
        **clutched(CAPACITY * RATIO, lead=LEAD, clutch_ratio=RATIO),
        "drive.rigid": 0, "drive.shaft_stiffness": 1e5, "drive.shaft_damping": 1e3,
        "engine.torque": ((1e-3, 1e4), (TORQUE, TORQUE)), "coupling.capacity": TORQUE, "run.stop_distance": 200.0,
        **(changes or {}),
    })  # fmt: skip


def test_force_and_heat_of_a_constant_slip_by_hand() -> None:
    """F = (i T - (l - 1) T_c) / r, T_c behind the ratio of the clutch; heat = T_c (l - 1) s / r.

    Between 50 m and 200 m, within 2e-5: shafts have wound up, and the tyres' own slip is of that size.
    Source: virtual work on a clutch of constant torque, whose slip is (l - 1) times the speed of the wheels.
    """
    car = geared_apart()
    complete(car)
    trace = launch(car, tolerance=1e-10).trace
    radius, at_wheels = car.front.radius, CAPACITY * RATIO
    force = (car.gearbox.ratio[0] * TORQUE - (LEAD - 1.0) * at_wheels) / radius
    inner = (car.gearbox.input_inertia + car.engine.inertia) * car.gearbox.ratio[0] ** 2
    mass = car.body.mass + (car.front.axle_inertia + car.rear.axle_inertia + inner) / radius**2
    late = trace["distance"] > 50.0
    way = float(np.ptp(trace["distance"][late]))
    gained = float(np.ptp(trace["speed"][late] ** 2))
    assert gained == pytest.approx(2.0 * force / mass * way, rel=2e-5)
    assert np.ptp(trace["axle_clutch_work"][late]) == pytest.approx(at_wheels * (LEAD - 1.0) * way / radius, rel=2e-5)
    assert trace["axle_clutch_torque"][late] == pytest.approx(CAPACITY)
    slip = (LEAD - 1.0) * trace["speed"][late] / radius * RATIO
    assert trace["axle_clutch_slip"][late] == pytest.approx(slip, rel=2e-5)
    pushed = (at_wheels - car.rear.axle_inertia * force / mass / radius) / radius
    assert trace["force_rear"][late] == pytest.approx(pushed, rel=1e-4)
    used = second_axle(trace, car)
    assert used is not None
    last = CAPACITY * (LEAD - 1.0) * float(trace["speed"][-1]) / radius * RATIO
    assert used.greatest_power == pytest.approx(last, rel=2e-5)
    assert used.power_time == trace.time[-1]
    assert used.heat == pytest.approx(float(np.ptp(trace["axle_clutch_work"])))
    assert used.slip_time == pytest.approx(float(trace.time[-1]), abs=0.05)


def test_an_axle_that_is_geared_slower_brakes_and_heats_as_much() -> None:
    """Heat is never negative: lead 0.95 gives T_c x 5 % of the way of the wheels as well. Source: as above."""
    car = geared_apart({"drive.lead": 0.95})
    trace = launch(car, tolerance=1e-10).trace
    late = trace["distance"] > 50.0
    heat, way = np.ptp(trace["axle_clutch_work"][late]), np.ptp(trace["distance"][late])
    assert heat == pytest.approx(CAPACITY * RATIO * 0.05 * way / car.front.radius, rel=1e-4)
    assert trace["axle_torque_rear"][late] == pytest.approx(-CAPACITY * RATIO)


def test_torque_is_brought_in_evenly_once_the_delay_is_over() -> None:
    """None for 0.2 s, then evenly to all of it 0.4 s later. Source: definition of the two times."""
    trace = launch(geared_apart({"drive.delay": 0.2, "drive.ramp": 0.4})).trace
    time = trace.time
    slips = np.abs(trace["axle_clutch_slip"]) > 1e-6
    due = CAPACITY * np.clip((time - 0.2) / 0.4, 0.0, 1.0)
    assert trace["axle_clutch_torque"][time < 0.2] == pytest.approx(0.0)
    assert slips[time > 0.25].mean() > 0.99
    np.testing.assert_allclose(trace["axle_clutch_torque"][slips], due[slips], atol=1e-6 * CAPACITY)


def test_clock_of_the_clutch_begins_when_brakes_let_go() -> None:
    """Uphill, a launch clutch first has to outweigh the grade. Source: definition."""
    car = coupe({"road.grade_angle": 0.1, "coupling.ramp": 1.0, **clutched(400.0, delay=0.1, ramp=0.2)})
    run = launch(car)
    assert run.trace.times("brakes let go") == [0.0]
    early = (run.trace.time > -1.0) & (run.trace.time < 0.1)
    assert run.trace.time[0] < -0.01
    assert np.abs(run.trace["axle_clutch_torque"][early]).max() == 0.0
    assert np.abs(run.trace["axle_clutch_torque"]).max() > 100.0


SWING: Changes = {"drive.shaft_stiffness": 9000.0, "drive.shaft_damping": 25.0, **clutched(450.0, lead=1.02)}
LOAD, WHEELS = 240.0, 2.2


def _shaft_speed(t: float) -> float:
    return float(20.0 + 12.0 * np.sin(3.0 * t) + 6.0 * np.sin(41.0 * t))


def _as_it_stands(car: Car, end: float) -> tuple[float, float]:
    """Twist and wheel speed by `driveline.second_axle`, which knows no phases."""
    y, phase = np.zeros(at.STATES), at.first_phase()

    def rates(t: float, state: np.ndarray) -> tuple[float, float]:
        y[at.TWIST_REAR], y[at.WHEEL_REAR], y[at.SHAFT_SPEED] = state[0], state[1], _shaft_speed(t)
        found = driveline.second_axle(t, y, car.drive, phase)
        return found.twist_rate, (found.torque - LOAD) / WHEELS

    done = solve_ivp(rates, (0.0, end), (0.0, 20.0), rtol=1e-11, atol=1e-12, max_step=1e-3)
    return float(done.y[0, -1]), float(done.y[1, -1])


def _by_phases(car: Car, end: float) -> tuple[float, float, int]:
    """The same with a stuck and a slipping clutch as phases, each ended by an event; also the number of phases."""
    drive = car.drive
    k, c, most = float(drive.shaft_stiffness[1]), float(drive.shaft_damping[1]), float(drive.capacity)
    state, t, slipping, phases = np.array([0.0, 20.0]), 0.0, 0, 0

    def carried(t: float, x: np.ndarray) -> float:
        return float(k * x[0] + c * (drive.lead * _shaft_speed(t) - x[1]))

    def slip(t: float, x: np.ndarray) -> float:
        return float(drive.lead * _shaft_speed(t) - x[1] - (slipping * most - k * x[0]) / c)

    def ends(t: float, x: np.ndarray) -> float:
        return slipping * slip(t, x) if slipping else most - abs(carried(t, x))

    ends.terminal, ends.direction = True, -1.0  # type: ignore[attr-defined]

    def rates(t: float, x: np.ndarray) -> tuple[float, float]:
        torque = slipping * most if slipping else carried(t, x)
        return (torque - k * x[0]) / c, (torque - LOAD) / WHEELS

    while t < end:
        done = solve_ivp(rates, (t, end), state, events=ends, rtol=1e-11, atol=1e-12, max_step=1e-3)
        t, state, phases = float(done.t[-1]), done.y[:, -1], phases + 1
        if done.status == 1:
            slipping = 0 if slipping else int(np.sign(carried(t, state)))
    return float(state[0]), float(state[1]), phases


def test_no_event_is_missed_by_a_clutch_that_knows_no_phases() -> None:
    """A swing that sticks, slips ahead and slips back more than a dozen times. Source: SciPy, phases and events."""
    car = coupe(SWING)
    twist, speed, phases = _by_phases(car, 2.0)
    assert phases > 12
    found = _as_it_stands(car, 2.0)
    assert found == pytest.approx((twist, speed), rel=1e-7)


@pytest.mark.parametrize("first", [FIRST_FRONT, FIRST_REAR])
@pytest.mark.parametrize("radius", [0.300, 0.330])
def test_target_of_slip_control_lies_between_that_of_one_axle_and_of_both(first: float, radius: float) -> None:
    """Nothing carried: that of the first axle. All of it: the slip at which a common shaft pushes hardest.

    Source: maximum of the sum of two forces, sought on a coarse grid and around its best point on a fine one.
    """
    end = ("front", "rear")[int(first == FIRST_REAR)]
    other = {"front": "rear", "rear": "front"}[end]
    changes = {f"{end}.radius": radius, "pedal.kind": 1}
    for capacity, lead in ((0.0, 1.0), (700.0, 1.0), (1e9, 0.98), (1e9, 1.0)):
        car = coupe({**changes, **clutched(capacity, first, lead=lead)})
        complete(car)
        assert car.pedal.target_slip == pytest.approx(0.95 * _hardest_slip(car, end, other), abs=3e-5)


def _hardest_slip(car: Car, end: str, other: str) -> float:
    """Slip of the first axle at which both push hardest, the second with no more than its clutch carries."""
    loads = dict(zip(("front", "rear"), body.axle_loads(0.0, 0.0, 0.0, car.body, 0.0), strict=True))
    own, second = getattr(car, end), getattr(car, other)
    most = car.drive.capacity / second.radius

    def total(slip: float) -> float:
        behind = (1.0 + slip) / own.radius * car.drive.lead * second.radius - 1.0
        pushed = tyre.axle_contact(behind, loads[other], second, 1.0).force
        return float(tyre.axle_contact(slip, loads[end], own, 1.0).force + min(max(pushed, -most), most))

    def best(slips: NDArray[np.float64]) -> float:
        return float(slips[int(np.argmax([total(slip) for slip in slips]))])

    about = best(np.linspace(0.05, 0.25, 401))
    return best(np.linspace(about - 1e-3, about + 1e-3, 201))


def test_held_slip_is_steady_while_the_second_axle_is_brought_in() -> None:
    """A first axle whose second one slips stays within a quarter of its target from 4 m/s on. Source: definition."""
    for capacity in (200.0, 800.0, 1500.0):
        car = coupe({"pedal.kind": 1, **clutched(capacity, FIRST_REAR, delay=0.1, ramp=0.3)})
        trace = launch(car).trace
        rolling = (trace["speed"] > 4.0) & (trace["gear"] == 1)
        assert rolling.sum() > 50
        assert trace["slip_rear"][rolling].max() < 1.25 * car.pedal.target_slip


def test_wheels_of_a_roll_begin_without_twist() -> None:
    """The first axle's wheels and its shaft turn alike; the clutch is closed. Source: kinematics, Hooke's law."""
    car = coupe({**on_both_axles({}), "front.radius": 0.30, **clutched(500.0), "launch.roll_speed": 20.0})
    trace = launch(car).trace
    assert trace["shaft_speed"][0] == pytest.approx(20.0 / 0.30)
    assert trace["wheel_speed_front"][0] == trace["shaft_speed"][0]
    at_once = float(car.drive.shaft_damping[1]) * (
        20.0 / 0.30 - 20.0 / 0.315
    )  # rear wheels are larger, and turn slower
    assert trace["axle_clutch_torque"][0] == pytest.approx(at_once)


@pytest.mark.parametrize("kind", ShiftKind)
@pytest.mark.parametrize("pedal", Pedal)
def test_energy_closes_through_every_kind_of_shift(kind: ShiftKind, pedal: Pedal) -> None:
    """Source: first law of thermodynamics."""
    car = coupe({"gearbox.shift_kind": int(kind), "gearbox.dip": 0.4, "pedal.kind": int(pedal), "launch.boost": 1.0,
                 **clutched(600.0, lead=0.99, delay=0.05, ramp=0.15)})  # fmt: skip
    found = audit(launch(car).trace)
    assert found.axle_clutch > 1e3
    assert found.residual_share < 1e-7
