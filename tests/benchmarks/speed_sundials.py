"""Launches by SUNDIALS' CVODE with its own root finding, right-hand side, events and Jacobian compiled."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray
from sksundae.cvode import CVODE

from benchmarks.speed_motion import (
    CLOCK,
    LONGEST_STEP,
    Advance,
    Motion,
    Step,
    end_times,
    motion_events,
    motion_jacobian,
    motion_rates,
    motion_scales,
)
from simlaunch.record import Car
from simlaunch.simulation.events import EVENTS

Array = NDArray[np.float64]
_MOST_STEPS = 50_000  # between two events
_ROOT = 2  # CVODE's status where an event function changed sign


def _solver(motion: Motion, method: str, tolerance: float) -> CVODE:
    car, phase = motion.places
    scale = motion_scales()

    def rates(t: float, y: Array, out: Array) -> None:
        motion_rates(t, y, car, phase, out)

    def events(t: float, y: Array, out: Array) -> None:
        motion_events(t, y, car, phase, out)

    def jacobian(t: float, y: Array, rate: Array, out: Array) -> None:
        motion_jacobian(t, y, car, phase, scale, out)

    events.direction = [-1] * EVENTS  # type: ignore[attr-defined]
    return CVODE(
        rates, method=method, rtol=tolerance, atol=tolerance * scale, max_step=LONGEST_STEP, eventsfn=events,
        num_events=EVENTS, jacfn=jacobian, max_num_steps=_MOST_STEPS,
    )  # fmt: skip


def _advance(solver: CVODE) -> Advance:
    def advance(t: float, bound: float, y: Array) -> Step:
        solver.init_step(t, y)
        found = solver.step(bound, method="normal", tstop=bound)
        if not found.success:
            raise ArithmeticError(found.message)
        event = int(np.flatnonzero(found.i_events[-1])[0]) if found.status == _ROOT else CLOCK
        return float(found.t), found.y, event

    return advance


def times_by_cvode(method: str) -> Callable[[Sequence[Car], float], Array]:
    """A function of cars and tolerance that gives end times [s]."""

    def times(cars: Sequence[Car], tolerance: float) -> Array:
        motion = Motion()
        # a solver for each car: one that lives on would gather the events of all
        return np.concatenate([end_times([car], motion, _advance(_solver(motion, method, tolerance))) for car in cars])

    return times
