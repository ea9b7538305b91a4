"""A stretch between two events by SUNDIALS: a multistep method of variable order, far from our one-step method."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray
from sksundae.cvode import CVODE

from cars import all_drive_saloon, coupe
from closed_form.midway import in_gear, run_on
from simlaunch.physics import state as at
from simlaunch.record import Car
from simlaunch.simulation.bench import scales
from simlaunch.simulation.kernel import compiled_rates

Array = NDArray[np.float64]
DURATION = 0.25  # [s]


def by_cvode(car: Car, start: Array, phase: Car, duration: float) -> Array:
    """State after a time, by CVODE's backward differentiation formulas."""

    def rates(t: float, y: Array, out: Array) -> None:
        compiled_rates(t, np.ascontiguousarray(y), car, phase, out)

    solver = CVODE(rates, method="BDF", rtol=1e-10, atol=1e-11 * scales(), max_num_steps=200_000)
    solution = solver.solve(np.array([0.0, duration]), start)
    assert solution.success, solution.message
    return np.asarray(solution.y[-1], float)


STRETCHES: dict[str, tuple[Callable[[], Car], float, int]] = {
    "coupe in first gear, torque just applied": (lambda: coupe({"gearbox.count": 1}), 6.0, at.STUCK),
    "rigid shafts, both axles": (
        lambda: coupe({"gearbox.count": 1, "drive.rigid": 1, "drive.front_share": 0.4}), 6.0, at.STUCK,
    ),
    "saloon on its converter": (
        lambda: all_drive_saloon({"gearbox.count": 1, "coupling.lock_gear": 0}), 3.0, at.OPEN,
    ),
    "held slip": (lambda: coupe({"gearbox.count": 1, "pedal.kind": 1}), 6.0, at.STUCK),
}  # fmt: skip


@pytest.mark.parametrize("name", STRETCHES)
def test_state_after_a_stretch(name: str) -> None:
    """Every state to a few parts in a million of its scale. Source: SUNDIALS CVODE at a relative tolerance of 1e-10."""
    build, speed, coupling = STRETCHES[name]
    car = build()
    start, phase = in_gear(speed, car, coupling=coupling)
    begin = start.copy()
    own = run_on(car, (start, phase), DURATION)
    # no event but the end, else the comparison would be with another problem
    assert all(event == -1 for _, event in own.events)
    other = by_cvode(car, begin, own.phases[0], DURATION)
    # a right-hand side with kinks (slip through zero, knots of the curve) costs a multistep method some digits
    error = np.abs(own.state[-1] - other) / (scales() + np.abs(other))
    assert error.max() < 2e-6, dict(enumerate(error))
