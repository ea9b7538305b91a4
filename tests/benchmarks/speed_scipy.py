"""Launches by SciPy's `solve_ivp`, restarted at every event."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from benchmarks.speed_motion import CLOCK, LONGEST_STEP, Advance, Motion, Step, end_times, motion_scales
from simlaunch.record import Car
from simlaunch.simulation.events import EVENTS

Array = NDArray[np.float64]


def _falling_events(motion: Motion) -> list[Callable[[float, Array], float]]:
    """One function for each event, of which the first one asked at a time works out the values of all.

    A value is kept for as long as a phase lasts: the interpolant of a multistep method does not quite pass through the
    ends of its steps, and the search for an event must not see another sign there than the step did.
    """
    known: dict[float, Array] = {}

    def values(t: float, y: Array) -> Array:
        if t not in known:
            known[t] = np.empty(EVENTS)
            motion.events(t, y, known[t])
        return known[t]

    def make(index: int) -> Callable[[float, Array], float]:
        def event(t: float, y: Array) -> float:
            return float(values(t, y)[index])

        event.terminal, event.direction = True, -1.0  # type: ignore[attr-defined]
        return event

    return [make(index) for index in range(EVENTS)]


def _advance(motion: Motion, method: str, tolerance: float) -> Advance:
    options: dict[str, Any] = {
        "method": method, "rtol": tolerance, "atol": tolerance * motion_scales(), "max_step": LONGEST_STEP,
    }  # fmt: skip

    def rates(t: float, y: Array) -> Array:
        out = np.empty_like(y)
        motion.rates(t, y, out)
        return out

    def advance(t: float, bound: float, y: Array) -> Step:
        solution = solve_ivp(rates, (t, bound), y, events=_falling_events(motion), **options)
        if solution.status < 0:
            raise ArithmeticError(solution.message)
        fired = [index for index, times in enumerate(solution.t_events) if len(times)]
        event = fired[0] if solution.status == 1 else CLOCK
        return float(solution.t[-1]), solution.y[:, -1].copy(), event

    return advance


def times_by_scipy(method: str) -> Callable[[Sequence[Car], float], Array]:
    """A function of cars and tolerance that gives end times [s]; an implicit method differences the rates itself."""

    def times(cars: Sequence[Car], tolerance: float) -> Array:
        motion = Motion()
        return end_times(cars, motion, _advance(motion, method, tolerance))

    return times
