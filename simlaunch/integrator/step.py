"""One step of a linearly implicit method, its error estimate and its continuous extension.

A tyre that grips settles within milliseconds while a run lasts for many seconds. An explicit method has to follow at
the pace of the tyre for all of that time; an implicit one need not, once it knows how the rates change with the state.
"""

from __future__ import annotations

from collections.abc import Callable
from math import inf
from typing import Any

import numpy as np
from numpy.typing import NDArray

from simlaunch.compiled import part
from simlaunch.integrator import tableau as c
from simlaunch.integrator.linear import factorise, matrix_type, substitute
from simlaunch.record import Record

Array = NDArray[np.float64]
Rates = Callable[[float, Array, Any, Any, Array], None]
"""rates(t, y, model, phase, out): fills `out` with dy/dt."""


Linearise = Callable[[float, Array, Array, Any, Any, Array, Record, Record], None]
"""linearise(t, y, rates, model, phase, scale, structure, linear): fills `structure` and `linear` of `work_type`."""


def structure_type(states: int, most_free: int) -> np.dtype[np.void]:
    """Which states have to be solved for together while one phase lasts; the others have no rate at all.

    Parameters
    ----------
    states : int
        Number of states [-].
    most_free : int
        Most free states of any phase [-].

    Returns
    -------
    dtype
        Type of record.
    """
    return np.dtype(
        [
            ("free_count", "i8"),
            ("free", "i8", (most_free,)),  # the states that are solved for
            ("follower_count", "i8"),
            ("follower", "i8", (states,)),  # states whose rate is a fixed multiple of a free state's
            ("leader", "i8", (states,)),  # place in `free` of the state that each follower keeps pace with
            ("share", "f8", (states,)),  # rate of each follower over its leader's
            ("first_integral", "i8"),  # from this state on, no rate depends on any
        ],
        align=True,
    )


def linear_type(states: int, most_free: int) -> np.dtype[np.void]:
    """How the rates change around the start of a step.

    Parameters
    ----------
    states : int
        Number of states [-].
    most_free : int
        Most free states of any phase [-].

    Returns
    -------
    dtype
        Type of record.
    """
    return np.dtype(
        [
            ("jacobian", "f8", (most_free, states)),  # change with each free state of each state's rate
            ("time_slope", "f8", (states,)),  # change with time of each state's rate
        ],
        align=True,
    )


def work_type(states: int, events: int, most_free: int) -> np.dtype[np.void]:
    """What one integration reuses from step to step, as one record: it is passed from function to function often.

    Parameters
    ----------
    states : int
        Number of states [-].
    events : int
        Number of event functions [-].
    most_free : int
        Most free states of any phase [-].

    Returns
    -------
    dtype
        Type of record.
    """
    fields = np.dtype(
        [
            ("structure", structure_type(states, most_free)),
            ("linear", linear_type(states, most_free)),
            ("matrix", matrix_type(most_free)),
            ("unknown", "f8", (most_free,)),
            ("state", "f8", (states,)),  # at the start of the step
            ("rates", "f8", (states,)),  # there
            ("end_rates", "f8", (states,)),  # at the end of the step
            ("stage_rates", "f8", (states,)),  # at a stage
            ("stages", "f8", (c.STAGES, states)),
            ("trial", "f8", (states,)),  # the state at the end of the step
            ("inner", "f8", (states,)),  # the state at a stage, or within the step
            ("dense", "f8", (4, states)),  # the continuous extension
            ("start_values", "f8", (events,)),  # event functions at the start of the step
            ("end_values", "f8", (events,)),
            ("inner_values", "f8", (events,)),
        ],
        align=True,
    )
    return np.dtype((np.record, fields))


def make_work(states: int, events: int, most_free: int | None = None) -> Record:
    """Scratch space for one integration.

    Parameters
    ----------
    states : int
        Number of states [-].
    events : int
        Number of event functions [-].
    most_free : int, optional
        Most free states that any phase has; all, if left out [-].

    Returns
    -------
    Record
        Zeros, of `work_type` [-].
    """
    work: Record = np.zeros(1, work_type(states, events, most_free or states)).view(np.recarray)[0]
    return work


@part
def _factorise(h: float, work: Record) -> None:
    """Triangles of I / (h gamma) - J, over the free states."""
    count, free = work.structure.free_count, work.structure.free
    for j in range(count):
        column, change = work.matrix.column[j], work.linear.jacobian[j]
        for i in range(count):
            column[i] = -change[free[i]]
        column[j] += 1.0 / (h * c.GAMMA)
    factorise(work.matrix, count)


@part
def _solve(x: Array, h: float, work: Record) -> None:
    """From right-hand side to stage: free states together, then those that keep pace, then the integrals."""
    tied, unknown = work.structure, work.unknown
    count, integrals = tied.free_count, tied.first_integral
    for i in range(count):
        unknown[i] = x[tied.free[i]]
    substitute(work.matrix, count, unknown)
    for i in range(count):
        x[tied.free[i]] = unknown[i]
    for i in range(tied.follower_count):
        x[tied.follower[i]] = tied.share[i] * unknown[tied.leader[i]]
    for i in range(integrals, x.size):
        total = x[i]
        for j in range(count):
            total += work.linear.jacobian[j, i] * unknown[j]
        x[i] = h * c.GAMMA * total


def make_step(rates: Rates) -> Callable[[float, Array, float, Any, Any, Record], None]:
    """Build the function that takes one step.

    Parameters
    ----------
    rates : callable
        Compiled right-hand side, rates(t, y, model, phase, out) [-].

    Returns
    -------
    callable
        step(t, y, h, model, phase, work): expects work.rates, work.structure and work.linear at t; fills the stages and
        work.trial with the state at t + h [-].

    Source: see `tableau`.
    """

    @part
    def step(t: float, y: Array, h: float, model: Any, phase: Any, work: Record) -> None:
        k, inner, stage_rates, states = work.stages, work.inner, work.stage_rates, y.size
        _factorise(h, work)
        for s in range(c.STAGES):
            for i in range(states):
                place, drift = y[i], h * c.DELTA[s] * work.linear.time_slope[i]
                for j in range(s):
                    place += c.A[s, j] * k[j, i]
                    drift += c.C[s, j] / h * k[j, i]
                inner[i], k[s, i] = place, drift
            if s == 0:
                for i in range(states):
                    k[0, i] += work.rates[i]
            else:
                rates(t + c.ALPHA[s] * h, inner, model, phase, stage_rates)
                for i in range(states):
                    k[s, i] += stage_rates[i]
            _solve(k[s], h, work)
        for i in range(states):
            work.trial[i] = inner[i] + k[c.STAGES - 1, i]

    return step


@part
def error_norm(y: Array, work: Record, tolerance: float, scale: Array) -> float:
    """Largest error of any state over what is allowed for it; a step passes at 1 or below.

    The last stage is the difference between the method and the one embedded in it.

    Parameters
    ----------
    y : ndarray, shape (n,)
        State at the start of the step.
    work : Record
        Stages and trial state of the step.
    tolerance : float
        Allowed relative error [-].
    scale : ndarray, shape (n,)
        Size below which the error of a state is taken as absolute, in the state's unit.

    Returns
    -------
    float
        Largest ratio; infinite where any is not a number [-].

    Source: Hairer and Wanner, sec. IV.7, with the largest in place of the mean (from memory).
    """
    worst = 0.0
    for i in range(y.size):
        allowed = tolerance * (scale[i] + max(abs(y[i]), abs(work.trial[i])))
        ratio = abs(work.stages[c.STAGES - 1, i]) / allowed
        if not ratio < inf:
            return inf
        worst = max(worst, ratio)
    return worst


@part
def fill_dense(y: Array, work: Record) -> None:
    """Prepare the continuous extension of an accepted step.

    Parameters
    ----------
    y : ndarray, shape (n,)
        State at the start of the step.
    work : Record
        Stages and trial state; its `dense` is filled.

    Source: Hairer and Wanner, sec. IV.7 (from memory).
    """
    k, d = work.stages, work.dense
    for i in range(y.size):
        d[0, i] = y[i]
        d[1, i] = work.trial[i]
        d[2, i] = 0.0
        d[3, i] = 0.0
    for j in range(c.STAGES - 1):
        for i in range(y.size):
            d[2, i] += c.DENSE[0, j] * k[j, i]
            d[3, i] += c.DENSE[1, j] * k[j, i]


@part
def read_dense(share: float, work: Record, out: Array) -> None:
    """State within an accepted step.

    Parameters
    ----------
    share : float
        Place within the step, 0 to 1 [-].
    work : Record
        Its `dense` is read.
    out : ndarray, shape (n,)
        Filled with the state.

    Source: Hairer and Wanner, sec. IV.7 (from memory).
    """
    d, rest = work.dense, 1.0 - share
    for i in range(out.size):
        out[i] = rest * d[0, i] + share * (d[1, i] + rest * (d[2, i] + share * d[3, i]))
