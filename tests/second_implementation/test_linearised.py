"""How rates change with the state, from parts that are used again, against whole rates differenced one by one."""

from __future__ import annotations

import numpy as np
import pytest

from cars import change, random_car, second_axle_by_clutch
from second_implementation.test_plain_python import random_state
from simlaunch.integrator.differences import SHIFT
from simlaunch.physics import state as at
from simlaunch.physics.balance import rates
from simlaunch.record import Record
from simlaunch.simulation.bench import scales
from simlaunch.simulation.events import EVENTS, rates_and_values
from simlaunch.simulation.kernel import launch_work
from simlaunch.simulation.linearised import fill_structure, linearise
from simlaunch.simulation.run import complete


def cars_of(kind: str, seed: int) -> Record:
    """A car at random, of one kind of driveline."""
    rng = np.random.default_rng(seed)
    car = random_car(rng)
    if kind == "second axle by a clutch":
        change(car, second_axle_by_clutch(rng))
    if kind == "wheels apart":
        car.drive.paired = 1
    change(car, {f"gearbox.{stage}": 0.1 for stage in ("ramp_down", "gap", "ramp_up", "hand_over", "inertia_phase")})
    complete(car)
    return car


@pytest.mark.parametrize("kind", ["any", "second axle by a clutch", "wheels apart"])
def test_parts_that_did_not_move_may_be_used_again(kind: str) -> None:
    """Both divide the same differences by the same shift: apart only by roundings of the rates themselves."""
    rng, size = np.random.default_rng(3), scales()
    for seed in range(30):
        car = cars_of(kind, seed)
        y, phase = random_state(rng, car)
        if kind == "wheels apart":
            y[at.APART_FRONT : at.INTEGRALS] = rng.uniform(-0.05, 0.05, at.INTEGRALS - at.APART_FRONT)
        if phase.path == at.HANDING_OVER:  # only then; its stage tells that time matters
            phase.stage = at.IN_HAND_OVER
        time, work, values = float(rng.uniform(0.0, 0.6)), launch_work(), np.zeros(EVENTS)
        start, moved = np.zeros(at.STATES), np.zeros(at.STATES)
        fill_structure(car, phase, work.structure)
        seen = rates_and_values(time, y, car, phase, start, values)
        work.linear.whole = 1
        linearise(time, y, start, seen, car, phase, size, work.structure, work.linear)
        free, tied = work.structure.free, work.structure
        for j in range(tied.free_count):
            other, shift = y.copy(), SHIFT * (size[free[j]] + abs(y[free[j]]))
            other[free[j]] += shift
            for k in range(tied.follower_count):
                other[tied.follower[k]] += shift * tied.share[k] if tied.leader[k] == j else 0.0
            rates(time, other, car, phase, moved)
            allowed = 1e-14 * (np.abs(start) + np.abs(moved)).max() / shift + 1e-6
            np.testing.assert_allclose(work.linear.jacobian[j], (moved - start) / shift, rtol=1e-6, atol=allowed)
        rates(time + SHIFT, y, car, phase, moved)
        allowed = 1e-14 * (np.abs(start) + np.abs(moved)).max() / SHIFT + 1e-6
        np.testing.assert_allclose(work.linear.time_slope, (moved - start) / SHIFT, rtol=1e-6, atol=allowed)
