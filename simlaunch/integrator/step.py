"""One step of the Dormand-Prince pair, its error estimate and its continuous extension."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from simlaunch.compiled import inline
from simlaunch.integrator import tableau as c

Array = NDArray[np.float64]
Rates = Callable[[float, Array, Any, Any, Array], None]
"""rates(t, y, model, phase, out): fills `out` with dy/dt."""


class Work(NamedTuple):
    """Arrays that one integration reuses from step to step."""

    stages: Array  # (7, n)
    trial: Array  # (n,) the state at the end of the step
    inner: Array  # (n,) the state at a stage, or within the step
    dense: Array  # (5, n) the continuous extension
    start_values: Array  # (events,) event functions at the start of the step
    end_values: Array  # (events,)
    inner_values: Array  # (events,)


def make_work(states: int, events: int) -> Work:
    """Arrays for one integration.

    Parameters
    ----------
    states : int
        Number of states [-].
    events : int
        Number of event functions [-].

    Returns
    -------
    Work
        Empty arrays [-].
    """
    return Work(
        np.empty((c.STAGES, states)),
        np.empty(states),
        np.empty(states),
        np.empty((5, states)),
        np.empty(events),
        np.empty(events),
        np.empty(events),
    )


def make_step(rates: Rates) -> Callable[[float, Array, float, Any, Any, Work], None]:
    """Build the function that takes one step.

    Parameters
    ----------
    rates : callable
        Compiled right-hand side, rates(t, y, model, phase, out) [-].

    Returns
    -------
    callable
        step(t, y, h, model, phase, work): expects the first stage in work.stages[0]; fills the other stages and
        work.trial with the state at t + h [-].
    """

    @inline
    def step(t: float, y: Array, h: float, model: Any, phase: Any, work: Work) -> None:
        k, inner, trial = work.stages, work.inner, work.trial
        n = y.size
        for i in range(n):
            inner[i] = y[i] + h * c.A21 * k[0, i]
        rates(t + c.C2 * h, inner, model, phase, k[1])
        for i in range(n):
            inner[i] = y[i] + h * (c.A31 * k[0, i] + c.A32 * k[1, i])
        rates(t + c.C3 * h, inner, model, phase, k[2])
        for i in range(n):
            inner[i] = y[i] + h * (c.A41 * k[0, i] + c.A42 * k[1, i] + c.A43 * k[2, i])
        rates(t + c.C4 * h, inner, model, phase, k[3])
        for i in range(n):
            inner[i] = y[i] + h * (c.A51 * k[0, i] + c.A52 * k[1, i] + c.A53 * k[2, i] + c.A54 * k[3, i])
        rates(t + c.C5 * h, inner, model, phase, k[4])
        for i in range(n):
            inner[i] = y[i] + h * (
                c.A61 * k[0, i] + c.A62 * k[1, i] + c.A63 * k[2, i] + c.A64 * k[3, i] + c.A65 * k[4, i]
            )
        rates(t + h, inner, model, phase, k[5])
        for i in range(n):
            trial[i] = y[i] + h * (c.B1 * k[0, i] + c.B3 * k[2, i] + c.B4 * k[3, i] + c.B5 * k[4, i] + c.B6 * k[5, i])
        rates(t + h, trial, model, phase, k[6])

    return step


@inline
def error_norm(y: Array, h: float, work: Work, tolerance: float, scale: Array) -> float:
    """Largest error of any state over what is allowed for it; a step passes at 1 or below.

    Parameters
    ----------
    y : ndarray, shape (n,)
        State at the start of the step.
    h : float
        Step [s].
    work : Work
        Stages and trial state of the step.
    tolerance : float
        Allowed relative error [-].
    scale : ndarray, shape (n,)
        Size below which the error of a state is taken as absolute, in the state's unit.

    Returns
    -------
    float
        Largest ratio [-].

    Source: Hairer, Norsett and Wanner, sec. II.4, with the largest in place of the mean (from memory).
    """
    k, trial = work.stages, work.trial
    worst = 0.0
    for i in range(y.size):
        error = h * (
            c.E1 * k[0, i] + c.E3 * k[2, i] + c.E4 * k[3, i] + c.E5 * k[4, i] + c.E6 * k[5, i] + c.E7 * k[6, i]
        )
        allowed = tolerance * (scale[i] + max(abs(y[i]), abs(trial[i])))
        ratio = abs(error) / allowed
        if not ratio <= worst:  # written so that a nan wins
            worst = ratio
    return worst


@inline
def fill_dense(y: Array, h: float, work: Work) -> None:
    """Prepare the continuous extension of an accepted step.

    Parameters
    ----------
    y : ndarray, shape (n,)
        State at the start of the step.
    h : float
        Step [s].
    work : Work
        Stages and trial state; its `dense` is filled.

    Source: Hairer, Norsett and Wanner, sec. II.6 (from memory).
    """
    k, d = work.stages, work.dense
    for i in range(y.size):
        rise = work.trial[i] - y[i]
        bend = h * k[0, i] - rise
        d[0, i] = y[i]
        d[1, i] = rise
        d[2, i] = bend
        d[3, i] = rise - h * k[6, i] - bend
        d[4, i] = h * (
            c.D1 * k[0, i] + c.D3 * k[2, i] + c.D4 * k[3, i] + c.D5 * k[4, i] + c.D6 * k[5, i] + c.D7 * k[6, i]
        )


@inline
def read_dense(share: float, work: Work, out: Array) -> None:
    """State within an accepted step.

    Parameters
    ----------
    share : float
        Place within the step, 0 to 1 [-].
    work : Work
        Its `dense` is read.
    out : ndarray, shape (n,)
        Filled with the state.

    Source: Hairer, Norsett and Wanner, sec. II.6 (from memory).
    """
    d, rest = work.dense, 1.0 - share
    for i in range(out.size):
        out[i] = d[0, i] + share * (d[1, i] + rest * (d[2, i] + share * (d[3, i] + rest * d[4, i])))
