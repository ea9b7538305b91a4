"""Grip-limited acceleration and usable torque, against textbook problems and closed forms."""

from __future__ import annotations

from collections.abc import Mapping
from math import isnan
from typing import Any

import numpy as np
import pytest

from cars import change, coupe, full_load, gears, on_both_axles
from metrics.motions import STANDARD_GRAVITY, trace
from simlaunch.errors import UsageError
from simlaunch.metrics.ceiling import driven_axles, grip_limited_acceleration, surplus, usable_torque
from simlaunch.record import Car, Pedal
from simlaunch.simulation.events import EventKind
from simlaunch.simulation.run import complete, launch

TEXTBOOK_GRAVITY = 9.81
RPM = np.pi / 30.0

DRIVES: Mapping[str, Mapping[str, Any]] = {
    "front": {"drive.front_share": 1.0},
    "rear": {"drive.front_share": 0.0},
    "all": {"drive.locked": 1, "drive.front_share": 0.5},
}


def textbook(drive: str, wheelbase: float, behind_front: float, height: float, mu: float, **changes: Any) -> Car:
    """A rigid car on one friction coefficient, without resistance or turning masses."""
    car = coupe({
        **on_both_axles({"friction": mu, "friction_load": 0.0, "rolling_resistance": 0.0, "axle_inertia": 0.0}),
        "body.wheelbase": wheelbase, "body.front_share": 1.0 - behind_front / wheelbase, "body.cg_height": height,
        "body.drag_area": 0.0, **DRIVES[drive], **changes,
    })  # fmt: skip
    complete(car)
    return car


def textbook_acceleration(car: Car) -> float:
    """At the textbooks' g: without air every grip-limited acceleration is proportional to it."""
    return grip_limited_acceleration(car, 10.0) * TEXTBOOK_GRAVITY / STANDARD_GRAVITY


@pytest.mark.parametrize(
    ("drive", "geometry", "mu", "expected"),
    [
        # Automobile text, example 31.7: L 2.75, 1.15 behind the front axle, h 0.85 (statement read, answers computed)
        ("front", (2.75, 1.15, 0.85), 0.6, 2.8888),
        ("rear", (2.75, 1.15, 0.85), 0.6, 3.0218),
        ("all", (2.75, 1.15, 0.85), 0.6, 5.8860),
        # University slides: L 2.6, centre of gravity midway, h 0.7 (statement read, answers computed)
        ("front", (2.6, 1.3, 0.7), 0.7, 2.8890),
        ("rear", (2.6, 1.3, 0.7), 0.7, 4.2309),
        # R. N. Jazar, Vehicle Dynamics, ch. 2, exercise 10 (statement read, answers computed)
        ("rear", (2.62, 1.31, 0.72), 0.8, 5.0298),
        ("front", (2.62, 1.31, 0.72), 0.8, 3.2168),
        ("all", (2.62, 1.31, 0.72), 0.8, 7.8480),
        # R. N. Jazar, exercise 11: 0-100 km/h in 3.2 s asks for this friction (statement read, answers computed)
        ("rear", (2.286, 1.143, 0.26), 1.4732, 8.6806),
    ],
)
def test_textbook_problems(drive: str, geometry: tuple[float, float, float], mu: float, expected: float) -> None:
    """mu g (1 - a/L) / (1 + mu h/L), mu g (a/L) / (1 - mu h/L), mu g; J. Y. Wong, ch. 3 (from memory)."""
    assert textbook_acceleration(textbook(drive, *geometry, mu)) == pytest.approx(expected, abs=2e-4)


@pytest.mark.parametrize(
    ("drive", "mu", "expected"),
    [("front", 1.0, 4.5226), ("rear", 1.0, 5.4656), ("front", 0.6, 2.9010), ("rear", 0.6, 2.9937)],
)
def test_front_and_rear_drive_hardly_differ_in_the_wet(drive: str, mu: float, expected: float) -> None:
    """The same closed forms at standard gravity: L 2.7, 55 % of the weight in front, h 0.52."""
    car = textbook(drive, 2.7, 1.215, 0.52, mu)
    assert grip_limited_acceleration(car, 0.0) == pytest.approx(expected, abs=5.1e-5)


def test_textbook_problem_in_feet() -> None:
    """Homework page: wheelbase 10 ft, h 3 ft, centre of gravity 4 ft ahead of the rear axle: 0.4390 g."""
    car = textbook("rear", 10.0 * 0.3048, 6.0 * 0.3048, 3.0 * 0.3048, 0.6)
    assert grip_limited_acceleration(car, 0.0) / STANDARD_GRAVITY == pytest.approx(0.4390, abs=5.1e-5)


@pytest.mark.parametrize("share", [0.2, 0.3, 0.4, 0.5, 0.6])
def test_fixed_split_is_limited_by_the_first_axle_to_slip(share: float) -> None:
    """a = min(mu Fzf / (s m), mu Fzr / ((1 - s) m)) with load transfer, solved for a by hand."""
    mu, length, behind, height = 0.9, 2.7, 1.3, 0.55
    front = mu * (1.0 - behind / length) / (share + mu * height / length)
    rear = mu * (behind / length) / (1.0 - share - mu * height / length)
    car = textbook("rear", length, behind, height, mu, **{"drive.front_share": share})
    assert grip_limited_acceleration(car, 0.0) == pytest.approx(STANDARD_GRAVITY * min(front, rear), rel=1e-9)


@pytest.mark.parametrize("force", [0.0, 1500.0, 4000.0])
def test_a_clutch_adds_to_the_first_axle_what_it_carries(force: float) -> None:
    """a (1 + mu h / L) = mu g Fzf0 / W + F_c / m: the front axle at its peak, the rear one by its clutch; by hand."""
    mu, length, behind, height = 0.9, 2.7, 1.3, 0.55
    car = textbook("front", length, behind, height, mu, **{
        "drive.locked": 1, "drive.clutched": 1, "drive.capacity": force * 0.315, "front.radius": 0.315,
    })  # fmt: skip
    by_hand = mu * STANDARD_GRAVITY * (1.0 - behind / length) + force / car.body.mass
    assert grip_limited_acceleration(car, 0.0) == pytest.approx(by_hand / (1.0 + mu * height / length), rel=1e-9)


@pytest.mark.parametrize("first", [0.0, 1.0])
def test_usable_torque_with_a_clutch_lies_between_that_of_one_axle_and_of_both(first: float) -> None:
    """The same as with one driven axle, or with a locked centre, at the ends. Source: definition."""
    speeds = np.linspace(150.0, 700.0, 12)
    by_clutch = [
        coupe({"drive.locked": 1, "drive.clutched": 1, "drive.front_share": first, "drive.capacity": capacity})
        for capacity in (0.0, 800.0, 1e9)
    ]
    ends = (coupe({"drive.front_share": first}), coupe({"drive.front_share": 0.5, "drive.locked": 1}))
    for car in (*by_clutch, *ends):
        complete(car)
    none, some, every = (usable_torque(car, 2, speeds) for car in by_clutch)
    one, both = (usable_torque(car, 2, speeds) for car in ends)
    np.testing.assert_allclose(none, one, rtol=1e-9)
    np.testing.assert_allclose(every, both, rtol=1e-9)
    assert (none < some).all()
    assert (some < every).all()


def test_split_that_follows_the_loads_uses_all_grip() -> None:
    """Closed form: a fixed split reaches mu g only where it equals the share of the load."""
    mu, length, behind, height = 0.9, 2.7, 1.3, 0.55
    ideal = 1.0 - behind / length - mu * height / length
    car = textbook("rear", length, behind, height, mu, **{"drive.front_share": ideal})
    assert grip_limited_acceleration(car, 0.0) == pytest.approx(mu * STANDARD_GRAVITY, rel=1e-9)


def test_lifted_front_axle_leaves_all_load_on_the_rear() -> None:
    """Beyond a = g (L - a1) / h the rear axle carries the car: a = mu g."""
    car = textbook("rear", 2.4, 1.5, 0.7, 1.8)
    assert 1.8 > (2.4 - 1.5) / 0.7
    assert grip_limited_acceleration(car, 0.0) == pytest.approx(1.8 * STANDARD_GRAVITY, rel=1e-9)


def test_drag_and_grade_take_from_the_force_at_the_limit() -> None:
    """With drag at the height of the centre of gravity the limit force stays: a = (F - D) / m; Starkey 1992."""
    still = textbook("rear", 2.7, 1.3, 0.55, 0.9)
    moving = textbook("rear", 2.7, 1.3, 0.55, 0.9, **{"body.drag_area": 0.7, "air.density": 1.2, "air.head_wind": 3.0})
    drag = 0.5 * 1.2 * 0.7 * 43.0**2
    lost = grip_limited_acceleration(still, 40.0) - grip_limited_acceleration(moving, 40.0)
    assert lost == pytest.approx(drag / still.body.mass, rel=1e-9)
    uphill = textbook("all", 2.7, 1.3, 0.55, 0.9, **{"road.grade_angle": 0.1})
    expected = STANDARD_GRAVITY * (0.9 * np.cos(0.1) - np.sin(0.1))
    assert grip_limited_acceleration(uphill, 0.0) == pytest.approx(expected, rel=1e-9)


def test_downforce_adds_grip_with_the_square_of_speed() -> None:
    wing = textbook("all", 2.7, 1.3, 0.55, 1.0, **{"body.lift_area_rear": -1.0, "air.density": 1.2})
    expected = STANDARD_GRAVITY + 0.5 * 1.2 * 1.0 * 50.0**2 / wing.body.mass
    assert grip_limited_acceleration(wing, 50.0) == pytest.approx(expected, rel=1e-9)


def test_wheels_that_are_not_driven_hold_the_car_back() -> None:
    """Rear drive with front wheels that the road spins up: m a (1 - mu h/L) + J a / r^2 = mu W_r; by hand."""
    mu, length, behind, height, inertia, mass = 0.9, 2.7, 1.3, 0.55, 2.2, 1610.0
    car = textbook("rear", length, behind, height, mu, **{"front.axle_inertia": inertia})
    added = inertia / car.front.radius**2
    rear_static = mass * STANDARD_GRAVITY * behind / length
    # Rear force F_r = mu (W_r + h m a / L), and m a = F_r - added a
    expected = mu * rear_static / (mass * (1.0 - mu * height / length) + added)
    assert grip_limited_acceleration(car, 0.0) == pytest.approx(expected, rel=1e-9)


def test_usable_torque_by_hand() -> None:
    """Rear drive without turning masses: T = F r / (i e), the same at every engine speed without air."""
    car = textbook("rear", 2.7, 1.3, 0.55, 0.9, **{
        "engine.inertia": 0.0, "gearbox.input_inertia": 0.0, "drive.inertia": 0.0, **gears(3.0, 2.0, final=4.0),
    })  # fmt: skip
    force = car.body.mass * grip_limited_acceleration(car, 0.0)
    for gear, ratio in ((1, 12.0), (2, 8.0)):
        expected = force * 0.315 / (ratio * 0.94)
        np.testing.assert_allclose(usable_torque(car, gear, [100.0, 400.0, 700.0]), expected, rtol=1e-9)


def test_turning_masses_ask_for_more_torque() -> None:
    """The engine spins up with the wheels, which run ahead of the car by the slip of peak force."""
    light = textbook("rear", 2.7, 1.3, 0.55, 0.9, **{"engine.inertia": 0.0})
    heavy = textbook("rear", 2.7, 1.3, 0.55, 0.9, **{"engine.inertia": 0.25})
    extra = usable_torque(heavy, 1, [300.0]) - usable_torque(light, 1, [300.0])
    without_slip = 0.25 * 3.8 * 3.42 * grip_limited_acceleration(heavy, 0.0) / 0.315
    assert 1.05 < extra[0] / without_slip < 1.25  # slip of peak force of a road tyre: 0.08 to 0.18


def test_usable_torque_does_not_hang_on_how_finely_the_road_speeds_are_laid(monkeypatch: pytest.MonkeyPatch) -> None:
    car = coupe({"body.lift_area_rear": -0.5, "drive.front_share": 0.4})
    complete(car)
    speeds = np.linspace(150.0, 720.0, 30)
    usual = [usable_torque(car, gear, speeds) for gear in (1, 3, 6)]
    monkeypatch.setattr("simlaunch.metrics.ceiling._ROAD_SPEEDS", 401)
    fine = [usable_torque(car, gear, speeds) for gear in (1, 3, 6)]
    np.testing.assert_allclose(usual, fine, rtol=2e-4)


def test_usable_torque_is_never_negative() -> None:
    """On a slope that no grip can climb nothing helps; the car slides back."""
    car = textbook("front", 2.7, 1.3, 0.55, 0.05, **{"road.grade_angle": 0.3, "engine.inertia": 5.0})
    assert grip_limited_acceleration(car, 0.0) < 0.0
    assert usable_torque(car, 1, [300.0])[0] == 0.0


@pytest.mark.parametrize("gear", [-1, 0, 7])
def test_a_gear_that_is_not_there_is_refused(gear: int) -> None:
    with pytest.raises(UsageError, match="gears 1 to 6"):
        usable_torque(coupe(), gear, [300.0])


def test_driven_axles() -> None:
    for drive, expected in (("front", (True, False)), ("rear", (False, True)), ("all", (True, True))):
        assert driven_axles(coupe(DRIVES[drive])) == expected


@pytest.mark.parametrize(
    "drive", [*DRIVES.values(), {"drive.front_share": 0.4}], ids=["front", "rear", "locked", "split"]
)
def test_held_slip_reaches_the_grip_limit(drive: Mapping[str, Any]) -> None:
    """Second route to the same numbers: a run held at its target slip, against the quasi-static limit."""
    strong = {**full_load(((1000, 900), (7000, 900))), "coupling.capacity": 2000.0, "engine.lagged_share": 0.0}
    settling = {"body.pitch_damping": 1.0, "pedal.kind": int(Pedal.HELD_SLIP)}
    car = coupe({**drive, **strong, **settling})
    result = launch(car)
    shift = result.trace.times(EventKind.SHIFT_BEGINS)[0]
    run = result.trace
    steady = np.flatnonzero((run.time > shift - 0.3) & (run.time < shift - 0.02))[::10]
    assert steady.size > 5
    speed, engine_speed = run["speed"][steady], run["engine_speed"][steady]
    assert np.abs(engine_speed - run["input_speed"][steady]).max() < 1e-6
    limit = np.array([grip_limited_acceleration(car, float(value)) for value in speed])
    np.testing.assert_allclose(run["acceleration"][steady], limit, rtol=0.01)
    np.testing.assert_allclose(run["engine_torque"][steady], usable_torque(car, 1, engine_speed), rtol=0.01)


def flat_car(torque: float) -> Car:
    return textbook("rear", 2.7, 1.3, 0.55, 0.9, **{
        "engine.inertia": 0.0, "gearbox.input_inertia": 0.0, "drive.inertia": 0.0, **gears(3.0, 2.0, final=4.0),
        **full_load(((1000, torque), (7000, torque))), "engine.rev_limit": 7000.0 * RPM,
    })  # fmt: skip


def test_surplus_of_a_flat_curve_by_hand() -> None:
    """A rectangle above a level line: the share of its area is one less the ratio of the heights."""
    bare = trace([0.0, 1.0], speed=[0.0, 1.0])
    ceiling = usable_torque(flat_car(1.0), 1, [300.0])[0]
    first, second = surplus(flat_car(1.25 * ceiling), bare)
    assert (first.gear, second.gear) == (1, 2)
    assert first.share_of_area == pytest.approx(0.2, rel=1e-9)  # second gear can use half as much again
    assert second.share_of_area == 0.0
    assert isnan(first.time_above)


def test_surplus_of_a_slope_by_hand() -> None:
    """A triangle above a level line: half the width at a quarter of the height."""
    ceiling = usable_torque(flat_car(1.0), 1, [300.0])[0]
    car = flat_car(1.0)
    sloping = full_load(((1000, 0.5 * ceiling), (7000, 1.5 * ceiling)))
    first = surplus(change(car, sloping), trace([0.0, 1.0], speed=[0.0, 1.0]))[0]
    assert first.share_of_area == pytest.approx(0.5 * 0.5 * 0.5, rel=1e-4)


def test_time_above_the_ceiling_counts_in_its_own_gear() -> None:
    ceiling = usable_torque(flat_car(1.0), 1, [300.0])[0]
    run = trace(
        [-1.0, 0.0, 2.0, 2.0, 3.0],
        gear=[1.0, 1.0, 1.0, 2.0, 2.0],
        engine_speed=[300.0] * 5,
        available_torque=[2.0 * ceiling, 0.75 * ceiling, 1.25 * ceiling, 1.25 * ceiling, 1.6 * ceiling],
    )
    first, second = surplus(flat_car(400.0), run)
    assert first.time_above == pytest.approx(1.0, rel=1e-6)  # of two seconds, the second
    assert second.time_above == pytest.approx(0.1 / 0.35, rel=1e-6)  # above one and a half times the ceiling
