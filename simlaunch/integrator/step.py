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

from simlaunch.compiled import inline, part
from simlaunch.integrator import tableau as c
from simlaunch.integrator.linear import in_lanes, invert, matrix_type, multiply
from simlaunch.record import Record

Array = NDArray[np.float64]
Rates = Callable[[float, Array, Any, Any, Array], None]
"""rates(t, y, model, phase, out): fills `out` with dy/dt."""

Linearise = Callable[[float, Array, Array, Any, Any, Array, Record, Record], None]
"""linearise(t, y, rates, model, phase, scale, structure, linear): fills `structure` and `linear` of `work_type`."""

_A, _C = tuple(map(tuple, c.A.tolist())), tuple(map(tuple, c.C.tolist()))
_ALPHA, _DELTA = tuple(c.ALPHA.tolist()), tuple(c.DELTA.tolist())
_DENSE = tuple(map(tuple, c.DENSE.tolist()))


def structure_type(stepped: int, most_free: int) -> np.dtype[np.void]:
    """Which states have to be solved for together while one phase lasts; the others have no rate at all.

    Parameters
    ----------
    stepped : int
        Number of states that are no integrals [-].
    most_free : int
        Most free states of any phase [-].

    Returns
    -------
    dtype
        Type of record.
    """
    return np.dtype(
        [
            ("rows", "i8"),  # leading states that a phase may move, in whole lanes; those behind stay as they are
            ("free_count", "i8"),
            ("free", "i8", (most_free,)),  # the states that are solved for
            ("follower_count", "i8"),
            ("follower", "i8", (stepped,)),  # states whose rate is a fixed multiple of a free state's
            ("leader", "i8", (stepped,)),  # place in `free` of the state that each follower keeps pace with
            ("share", "f8", (stepped,)),  # rate of each follower over its leader's
            ("counter_count", "i8"),
            ("counter", "i8", (stepped,)),  # states that count what others do, and on which no rate depends
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
            ("whole", "i8"),  # 1: integrals are wanted as well
            ("jacobian", "f8", (most_free, states)),  # change with each free state of each state's rate
            ("time_slope", "f8", (states,)),  # change with time of each state's rate
        ],
        align=True,
    )


def work_type(states: int, events: int, most_free: int, stepped: int) -> np.dtype[np.void]:
    """What one integration reuses from step to step, as one record: it is passed from function to function often.

    Parameters
    ----------
    states : int
        Number of states [-].
    events : int
        Number of event functions [-].
    most_free : int
        Most free states of any phase [-].
    stepped : int
        Number of states that are no integrals; these come first [-].

    Returns
    -------
    dtype
        Type of record.
    """
    # Integrals that fill up the last lane are worked on for nothing, but do no harm: no rate depends on them.
    wide = min(in_lanes(stepped), states)
    fields = np.dtype(
        [
            ("structure", structure_type(stepped, most_free)),
            ("linear", linear_type(states, most_free)),
            ("matrix", matrix_type(stepped, most_free)),
            ("known", "f8", (wide,)),  # right-hand side of a stage
            ("unknown", "f8", (most_free,)),  # the same of the free states
            ("state", "f8", (states,)),  # at the start of the step
            ("rates", "f8", (states,)),  # there
            ("end_rates", "f8", (states,)),  # at the end of the step
            ("stage_rates", "f8", (c.STAGES, states)),
            ("stages", "f8", (c.STAGES, wide)),
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


def make_work(states: int, events: int, most_free: int | None = None, stepped: int | None = None) -> Record:
    """Scratch space for one integration.

    Parameters
    ----------
    states : int
        Number of states [-].
    events : int
        Number of event functions [-].
    most_free : int, optional
        Most free states that any phase has; all, if left out [-].
    stepped : int, optional
        Number of states before the first integral, which `sum_up` sees to; all, if left out [-].

    Returns
    -------
    Record
        Zeros, of `work_type` [-].
    """
    kind = work_type(states, events, most_free or states, stepped or states)
    work: Record = np.zeros(1, kind).view(np.recarray)[0]
    work.structure.rows = work.known.size
    return work


@part
def _invert(h: float, work: Record) -> None:
    """Inverse of I / (h gamma) - J over the free states, with rows for states that keep pace or count as well."""
    tied, column = work.structure, work.matrix.column
    rows = work.matrix.rows = tied.rows
    for j in range(tied.free_count):
        change = work.linear.jacobian[j]
        for i in range(rows):
            column[j, i] = -change[i]
        column[j, tied.free[j]] += 1.0 / (h * c.GAMMA)
    invert(work.matrix, tied.free, tied.free_count)
    for k in range(tied.follower_count):
        leader = tied.free[tied.leader[k]]
        for j in range(tied.free_count):
            column[j, tied.follower[k]] = tied.share[k] * column[j, leader]
    for k in range(tied.counter_count):
        for j in range(tied.free_count):
            column[j, tied.counter[k]] *= h * c.GAMMA


@inline
def _solve(stage: int, h: float, work: Record) -> None:
    """A stage from its right-hand side."""
    tied = work.structure
    for j in range(tied.free_count):
        work.unknown[j] = work.known[tied.free[j]]
    multiply(work.matrix, work.unknown, tied.free_count, work.stages[stage])
    for k in range(tied.counter_count):
        work.stages[stage, tied.counter[k]] += h * c.GAMMA * work.known[tied.counter[k]]


@inline
def _stepped(work: Record) -> int:
    """Number of states that are no integrals."""
    return int(work.structure.share.size)


def make_step(rates: Rates) -> Callable[[float, float, Any, Any, Record], None]:  # noqa: C901 (a loop a sum)
    """Build the function that takes one step.

    Parameters
    ----------
    rates : callable
        Compiled right-hand side, rates(t, y, model, phase, out) [-].

    Returns
    -------
    callable
        step(t, h, model, phase, work): expects work.state, work.rates, work.structure and work.linear at t; fills the
        stages and work.trial with the state at t + h, but for its integrals [-].

    Source: see `tableau`. Sums over stages are written out, so that the compiler has each coefficient at hand.
    """

    @part
    def step(t: float, h: float, model: Any, phase: Any, work: Record) -> None:  # noqa: C901
        y, k, f = work.state, work.stages, work.stage_rates
        inner, known, slope = work.inner, work.known, work.linear.time_slope
        wide, g = work.structure.rows, 1.0 / h
        _invert(h, work)
        for i in range(y.size):
            f[0, i] = work.rates[i]
        for i in range(wide):
            known[i] = f[0, i] + h * _DELTA[0] * slope[i]
        _solve(0, h, work)

        for i in range(wide):
            inner[i] = y[i] + _A[1][0] * k[0, i]
        rates(t + _ALPHA[1] * h, inner, model, phase, f[1])
        for i in range(wide):
            known[i] = f[1, i] + h * _DELTA[1] * slope[i] + g * (_C[1][0] * k[0, i])
        _solve(1, h, work)

        for i in range(wide):
            inner[i] = y[i] + _A[2][0] * k[0, i] + _A[2][1] * k[1, i]
        rates(t + _ALPHA[2] * h, inner, model, phase, f[2])
        for i in range(wide):
            known[i] = f[2, i] + h * _DELTA[2] * slope[i] + g * (_C[2][0] * k[0, i] + _C[2][1] * k[1, i])
        _solve(2, h, work)

        for i in range(wide):
            inner[i] = y[i] + _A[3][0] * k[0, i] + _A[3][1] * k[1, i] + _A[3][2] * k[2, i]
        rates(t + _ALPHA[3] * h, inner, model, phase, f[3])
        for i in range(wide):
            before = _C[3][0] * k[0, i] + _C[3][1] * k[1, i] + _C[3][2] * k[2, i]
            known[i] = f[3, i] + h * _DELTA[3] * slope[i] + g * before
        _solve(3, h, work)

        for i in range(wide):
            inner[i] = y[i] + _A[4][0] * k[0, i] + _A[4][1] * k[1, i] + _A[4][2] * k[2, i] + _A[4][3] * k[3, i]
        rates(t + _ALPHA[4] * h, inner, model, phase, f[4])
        for i in range(wide):
            before = _C[4][0] * k[0, i] + _C[4][1] * k[1, i] + _C[4][2] * k[2, i] + _C[4][3] * k[3, i]
            known[i] = f[4, i] + h * _DELTA[4] * slope[i] + g * before
        _solve(4, h, work)

        for i in range(wide):
            inner[i] += k[4, i]
        rates(t + _ALPHA[5] * h, inner, model, phase, f[5])
        for i in range(wide):
            before = _C[5][0] * k[0, i] + _C[5][1] * k[1, i] + _C[5][2] * k[2, i] + _C[5][3] * k[3, i]
            known[i] = f[5, i] + h * _DELTA[5] * slope[i] + g * (before + _C[5][4] * k[4, i])
        _solve(5, h, work)

        for i in range(wide):
            work.trial[i] = inner[i] + k[5, i]
        for i in range(wide, known.size):
            work.trial[i] = y[i]

    return step


@part
def error_norm(work: Record, tolerance: float, scale: Array) -> float:
    """Largest error of any state over what is allowed for it; a step passes at 1 or below.

    The last stage is the difference between the method and the one embedded in it.

    Parameters
    ----------
    work : Record
        Start, stages and trial state of the step.
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
    for i in range(min(_stepped(work), work.structure.rows)):
        allowed = tolerance * (scale[i] + max(abs(work.state[i]), abs(work.trial[i])))
        ratio = abs(work.stages[c.STAGES - 1, i]) / allowed
        if not ratio < inf:
            return inf
        worst = max(worst, ratio)
    return worst


@part
def fill_dense(work: Record) -> None:
    """Prepare the continuous extension of an accepted step, but for its integrals.

    Parameters
    ----------
    work : Record
        Stages, start and trial state; its `dense` is filled.

    Source: Hairer and Wanner, sec. IV.7 (from memory).
    """
    k, d = work.stages, work.dense
    for i in range(work.structure.rows):
        d[0, i] = work.state[i]
        d[1, i] = work.trial[i]
        bent = _DENSE[0][0] * k[0, i] + _DENSE[0][1] * k[1, i] + _DENSE[0][2] * k[2, i]
        d[2, i] = bent + _DENSE[0][3] * k[3, i] + _DENSE[0][4] * k[4, i]
        twisted = _DENSE[1][0] * k[0, i] + _DENSE[1][1] * k[1, i] + _DENSE[1][2] * k[2, i]
        d[3, i] = twisted + _DENSE[1][3] * k[3, i] + _DENSE[1][4] * k[4, i]
    for i in range(work.structure.rows, work.known.size):
        d[0, i] = d[1, i] = work.state[i]
        d[2, i] = d[3, i] = 0.0


@part
def _integrals(row: int, h: float, work: Record, out: Array) -> None:
    """Weighted sum over the stages of every integral; see `tableau.SUMS`."""
    tied, f, k, first = work.structure, work.stage_rates, work.stages, _stepped(work)
    for i in range(first, out.size):
        total = c.SUM_DELTA[row] * h * work.linear.time_slope[i]
        for s in range(c.STAGES):
            total += c.SUMS[row, s] * f[s, i]
        out[i] = total
    for j in range(tied.free_count):
        moved, change = 0.0, work.linear.jacobian[j]
        for s in range(c.STAGES):
            moved += c.SUMS[row, s] * k[s, tied.free[j]]
        for i in range(first, out.size):
            out[i] += moved * change[i]
    for i in range(first, out.size):
        out[i] *= h


@part
def sum_up(h: float, work: Record) -> None:
    """Complete an accepted step, and its continuous extension, with the integrals.

    They are those of the method itself. Since no rate depends on them, all stages are summed at once, and only for
    steps that are recorded; they have no say in the length of a step. A quadrature over the continuous extension
    would spare their part of the Jacobian, but where something settles fast it misses what the stages see.

    Parameters
    ----------
    h : float
        Step [s].
    work : Record
        The step; its `trial` and `dense` are completed.

    Source: see `tableau`.
    """
    _integrals(0, h, work, work.trial)
    _integrals(1, h, work, work.dense[2])
    _integrals(2, h, work, work.dense[3])
    for i in range(_stepped(work), work.state.size):
        work.trial[i] += work.state[i]
        work.dense[0, i] = work.state[i]
        work.dense[1, i] = work.trial[i]


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
