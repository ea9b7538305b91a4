"""Two wheels of each axle where a clutch brings the second axle in: what the limits of the clutch have to come to."""

from __future__ import annotations

from math import inf

import numpy as np
import pytest
from scipy.optimize import brentq

from cars import Changes, coupe
from simlaunch.metrics.energy import audit
from simlaunch.physics import sides, tyre
from simlaunch.record import Car, Pedal, Record
from simlaunch.simulation.run import complete, launch

FIRST_REAR, FIRST_FRONT = 0.0, 1.0
SPLIT: Changes = {
    "drive.paired": 1, "drive.locking_speed": 0.5, "road.left_friction": 1.0, "road.right_friction": 0.5,
    "body.left_share": 0.52, "run.stop_distance": 80.0, "pedal.target_slip": 0.05,
}  # fmt: skip
CARS = {
    "both open": (FIRST_REAR, (0.0, 0.0)),
    "both limited slip": (FIRST_FRONT, (0.3, 0.2)),
    "open before locked": (FIRST_REAR, (1.0, 0.0)),
    "locked before open": (FIRST_FRONT, (1.0, 0.0)),
}
every_car = pytest.mark.parametrize(("first", "locking"), CARS.values(), ids=CARS)


def clutched(capacity: float, first: float) -> Changes:
    """Changes that bring the second axle in by a clutch, closed from the start."""
    own = {"locked": 1, "clutched": 1, "capacity": capacity, "front_share": first}
    return {f"drive.{name}": value for name, value in own.items()}


def split(pedal: Pedal, locking: tuple[float, float], drive: Changes) -> Car:
    """A car on sides that grip unlike."""
    return coupe({**SPLIT, "drive.locking": locking, "pedal.kind": int(pedal), **drive})


@pytest.mark.parametrize("pedal", Pedal)
@every_car
def test_a_clutch_that_never_slips_is_a_locked_centre(first: float, locking: tuple[float, float], pedal: Pedal) -> None:
    """Times within 10 ns at a tolerance of 1e-9, and no heat. Source: statics of a clutch that holds."""
    one = launch(split(pedal, locking, {"drive.front_share": 0.5, "drive.locked": 1}), tolerance=1e-9)
    other = launch(split(pedal, locking, clutched(1e9, first)), tolerance=1e-9)
    assert other.trace.time[-1] == pytest.approx(one.trace.time[-1], abs=1e-8)
    assert audit(other.trace).axle_clutch == 0.0


@pytest.mark.parametrize("pedal", Pedal)
@every_car
def test_a_clutch_that_carries_nothing_leaves_a_single_driven_axle(
    first: float, locking: tuple[float, float], pedal: Pedal
) -> None:
    """Whatever the differential of the axle that rolls along: no torque comes to it. Source: statics."""
    one = launch(split(pedal, locking, {"drive.front_share": first}), tolerance=1e-9)
    other = launch(split(pedal, locking, clutched(0.0, first)), tolerance=1e-9)
    assert other.trace.time[-1] == pytest.approx(one.trace.time[-1], abs=1e-6)
    assert audit(other.trace).axle_clutch == 0.0


@pytest.mark.parametrize("force", [1500.0, 4000.0])
@pytest.mark.parametrize("most", [inf, 800.0])
def test_one_shaft_turns_open_differentials_at_the_mean_of_their_wheels(force: float, most: float) -> None:
    """Equal forces of the two wheels of an axle, equal means of both axles. Source: scipy.optimize.brentq on tyres."""
    complete(car := coupe({**SPLIT, "road.right_friction": 0.7, "drive.front_share": 0.5, "drive.locked": 1}))
    at_front, at_rear = (sides.axle_sides(axle, 7500.0, 0.0, car) for axle in (0, 1))
    ends = ((at_front, car.front, 1.0), (at_rear, car.rear, 1.002))

    def slip(half: float, load: float, end: Record, grip: float) -> float:
        summit = float(tyre.end_of_grip(load, end, grip))
        return float(
            brentq(lambda k: tyre.axle_contact(k, load, end, grip).force - 2.0 * half, 0.0, summit, xtol=1e-14)
        )

    def turns(axle: int, pushed: float) -> float:
        at, end, lead = ends[axle]
        each = [slip(0.5 * pushed, load, end, grip)
                for load, grip in ((at.left, at.left_grip), (at.right, at.right_grip))]  # fmt: skip
        return (1.0 + float(np.mean(each))) / (lead * float(end.radius))

    shared = float(brentq(lambda front: turns(0, front) - turns(1, force - front), 0.0, force, xtol=1e-12))
    front = max(shared, force - most)
    found = sides.common_mean_turns_for_force(force, at_front, at_rear, car.front, car.rear, sides.Joined(1.002, most))
    assert found == pytest.approx(turns(0, front), rel=1e-9)
