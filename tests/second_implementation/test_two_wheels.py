"""An axle with two wheels, written once more: wheel by wheel, with the differential as a constraint between them."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from cars import coupe, full_load
from simlaunch.physics.body import GRAVITY
from simlaunch.record import Car
from simlaunch.simulation.run import launch

Array = NDArray[np.float64]

TORQUE = 420.0
ROLL = 12.0
UNLIKE = {
    "drive.paired": 1, "drive.locking_speed": 0.5, "road.left_friction": 0.55, "road.right_friction": 0.95,
    "body.left_share": 0.47,
}  # fmt: skip


def rolling_car(locking: float, preload: float) -> Car:
    """A rear drive that rolls in first gear when one torque comes on: rigid shafts, no air, no load transfer."""
    return coupe({
        **UNLIKE, **full_load(((500, TORQUE), (90000, TORQUE))), "engine.rev_limit": 9000.0, "engine.lagged_share": 0.0,
        "body.cg_height": 0.0, "body.drag_area": 0.0, "drive.rigid": 1, "air.density": 1.2,
        "drive.locking": (locking, locking), "drive.preload": (preload, preload),
        "launch.roll_speed": ROLL, "launch.roll_gear": 1, "launch.hold_gear": 1,
        "coupling.capacity": 5000.0, "run.stop_distance": 25.0,
    })  # fmt: skip


class Tyre:
    """A tyre of the Magic Formula in a transient, from the equations in the docstrings of `physics.tyre`."""

    def __init__(self, end: Any, load: float, grip: float) -> None:
        """One wheel at a load."""
        change = load / end.nominal_load - 1.0
        self.end, self.load = end, load
        self.peak = max(end.friction + end.friction_load * change, 0.1 * end.friction) * grip
        self.bend = min(end.curvature + change * (end.curvature_load + change * end.curvature_load_square), 1.0)
        stiffness = (end.slip_stiffness + end.stiffness_load * change) * np.exp(end.stiffness_load_exponent * change)
        self.factor = stiffness / (end.shape_factor * self.peak)

    def force(self, slip: float) -> float:
        """F = mu Fz sin(C atan(B k - E (B k - atan B k)))."""
        x = self.factor * slip
        inner = x - self.bend * (x - np.arctan(x))
        return float(self.peak * self.load * np.sin(self.end.shape_factor * np.arctan(inner)))

    def of(self, bounded: float, speed: float, rim: float) -> tuple[float, float, float]:
        """Force, moment of rolling resistance, and rate of the transient slip, above the speed of any damping."""
        slip = bounded if bounded <= 0.0 else bounded / (1.0 - bounded)
        h = 1e-6
        slope = (self.force(slip + h) - self.force(slip - h)) / (self.force(h) - self.force(-h))
        length = self.end.relaxation_length * max(slope * ((1.0 + slip) ** 2 if slip > 0.0 else 1.0), 0.005)
        length = max(length, 1e-3 * max(speed, rim))
        rate = (rim - speed - max(speed, rim) * bounded) / length
        rolling = self.end.rolling_resistance * self.load * self.end.radius
        return self.force(slip), rolling, rate


def by_wheel(car: Car, until: float) -> Array:
    """Speed, both rear wheel speeds and the front wheels' by SciPy, at the end of a time; time zero as in the car."""
    rear = 0.5 * car.body.mass * GRAVITY * (1.0 - car.body.front_share)
    left = rear + (car.body.left_share - 0.5) * 2.0 * rear
    tyres = (
        Tyre(car.rear, left, car.road.left_friction), Tyre(car.rear, 2.0 * rear - left, car.road.right_friction),
        Tyre(car.front, 0.5 * car.body.mass * GRAVITY * car.body.front_share, 1.0),
    )  # fmt: skip
    ratio, efficiency = float(car.gearbox.ratio[0]), float(car.gearbox.efficiency[0])
    carrier = car.drive.inertia + efficiency * ratio**2 * (car.engine.inertia + car.gearbox.input_inertia)
    wheel, radius = 0.5 * car.rear.axle_inertia, car.rear.radius
    locking, preload = float(car.drive.locking[1]), float(car.drive.preload[1])

    def rates(time: float, y: Array) -> Array:
        speed, turn_left, turn_right, turn_front = y[:4]
        on_left, on_right, on_front = (
            tyre.of(slip, speed, turn * radius)
            for tyre, slip, turn in zip(tyres, y[4:], (turn_left, turn_right, turn_front), strict=True)
        )
        resisting = [radius * each[0] + each[1] for each in (on_left, on_right, on_front)]
        # the carrier turns at the mean of both wheels: T e i = J_c (w_l' + w_r') / 2 + T_axle, halved between them
        mean = (TORQUE * efficiency * ratio - resisting[0] - resisting[1]) / (carrier + 2.0 * wheel)
        axle = TORQUE * efficiency * ratio - carrier * mean
        moved = (preload + locking * abs(axle)) * np.tanh((turn_left - turn_right) / car.drive.locking_speed)
        gained_left = (0.5 * (axle - moved) - resisting[0]) / wheel
        gained_right = (0.5 * (axle + moved) - resisting[1]) / wheel
        push = on_left[0] + on_right[0] + 2.0 * on_front[0]
        return np.array([
            push / car.body.mass, gained_left, gained_right, -resisting[2] / (0.5 * car.front.axle_inertia),
            on_left[2], on_right[2], on_front[2],
        ])  # fmt: skip

    start = np.array([ROLL, *(3 * [ROLL / radius]), 0.0, 0.0, 0.0])
    found = solve_ivp(rates, (0.0, until), start, method="LSODA", rtol=1e-9, atol=1e-9)
    return np.asarray(found.y[:4, -1])


@pytest.mark.parametrize(("locking", "preload"), [(0.0, 0.0), (0.2, 0.0), (0.2, 90.0), (0.6, 0.0)])
def test_a_roll_with_a_torque_that_is_too_much_for_one_wheel(locking: float, preload: float) -> None:
    """Source: Newton's second law for each wheel and the carrier, `scipy.integrate.solve_ivp`, LSODA."""
    car = rolling_car(locking, preload)
    trace = launch(car, tolerance=1e-8).trace
    end = trace.time[-1]
    ours = [trace[name][-1] for name in ("speed", "wheel_speed_rear_left", "wheel_speed_rear_right")]
    theirs = by_wheel(car, float(end))
    np.testing.assert_allclose(ours, theirs[:3], rtol=2e-5)
    spins = trace["wheel_speed_rear_left"][-1] > 1.2 * trace["wheel_speed_rear_right"][-1]
    assert spins == (locking < 0.6)
