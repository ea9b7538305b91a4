"""The same job done by SciPy: slow, independent, and the measure of our own method."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from simlaunch.integrator.advance import AT_BOUND, AT_EVENT, BUFFER_FULL, STEP_TOO_SMALL, Advance, Events
from simlaunch.integrator.control import Accuracy
from simlaunch.integrator.sampling import Samples, record
from simlaunch.integrator.step import Rates

Array = NDArray[np.float64]


def _right_hand_side(rates: Rates, model: Any, phase: Any) -> Callable[[float, Array], Array]:
    def right_hand_side(t: float, y: Array) -> Array:
        out = np.empty_like(y)
        rates(t, y, model, phase, out)
        return out

    return right_hand_side


def _event_list(events: Events, count: int, model: Any, phase: Any) -> list[Callable[[float, Array], float]]:
    values = np.empty(count)

    def make(index: int) -> Callable[[float, Array], float]:
        def event(t: float, y: Array) -> float:
            events(t, y, model, phase, values)
            return float(values[index])

        event.terminal = True  # type: ignore[attr-defined]
        event.direction = -1.0  # type: ignore[attr-defined]
        return event

    return [make(i) for i in range(count)]


def advance_by_scipy(
    rates: Rates, events: Events, count: int, method: str
) -> Callable[[float, float, float, Any, Any, Accuracy, Any, Samples], Advance]:
    """Build a loop with the call of `make_advance`'s, on top of `scipy.integrate.solve_ivp`.

    Parameters
    ----------
    rates : callable
        Right-hand side, rates(t, y, model, phase, out) [-].
    events : callable
        Event functions, events(t, y, model, phase, out) [-].
    count : int
        Number of event functions [-].
    method : str
        Method of `solve_ivp`, such as "DOP853" or "LSODA" [-].

    Returns
    -------
    callable
        advance(t, bound, h, model, phase, accuracy, work, samples) -> Advance; `work.state` is moved along [-].
    """

    def advance(
        t: float, bound: float, h: float, model: Any, phase: Any, accuracy: Accuracy, work: Any, samples: Samples
    ) -> Advance:
        y = work.state
        solution = solve_ivp(
            _right_hand_side(rates, model, phase),
            (t, bound),
            y.copy(),
            method=method,
            rtol=max(accuracy.tolerance, 3e-14),
            atol=accuracy.tolerance * accuracy.scale,
            events=_event_list(events, count, model, phase),
            max_step=accuracy.longest_step,
            first_step=min(h, bound - t),
            dense_output=accuracy.sample_gap > 0.0,
        )
        steps = len(solution.t) - 1
        if solution.status < 0:
            return Advance(STEP_TOO_SMALL, float(solution.t[-1]), h, -1, steps, 0)
        y[:] = solution.y[:, -1]
        end = float(solution.t[-1])
        if accuracy.sample_gap > 0.0:
            pieces = max(int(np.ceil((end - t) / accuracy.sample_gap)), 1)
            kept = [record(samples, moment, solution.sol(moment)) for moment in np.linspace(t, end, pieces + 1)[:-1]]
            if not (all(kept) and record(samples, end, y)):
                return Advance(BUFFER_FULL, end, h, -1, steps, 0)
        fired = [i for i, times in enumerate(solution.t_events) if len(times)]
        if solution.status == 1:
            return Advance(AT_EVENT, end, h, fired[0], steps, 0)
        return Advance(AT_BOUND, end, h, -1, steps, 0)

    return advance
