"""How the rates of any system change with its state, by differences."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from simlaunch.compiled import part
from simlaunch.integrator.step import Linearise, Rates
from simlaunch.record import Record

Array = NDArray[np.float64]

SHIFT = 1e-7
"""Share of a state's size by which it is moved to see what its rates do [-]."""


@part
def all_free(model: Any, phase: Any, structure: Record) -> None:
    """Have every state solved for.

    Parameters
    ----------
    model : any
        The system; not read.
    phase : any
        Its phase; not read.
    structure : Record
        Filled.
    """
    structure.free_count, structure.follower_count, structure.counter_count = structure.free.size, 0, 0
    for j in range(structure.free.size):
        structure.free[j] = j


def make_linearise(rates: Rates) -> Linearise:
    """Build the linearisation of a system in which every state is free.

    Parameters
    ----------
    rates : callable
        Compiled right-hand side, rates(t, y, model, phase, out) [-].

    Returns
    -------
    callable
        See `Linearise` [-].
    """

    @part
    def linearise(
        t: float, y: Array, start_rates: Array, seen: Any, model: Any, phase: Any, scale: Array, structure: Record,
        linear: Record,
    ) -> None:  # fmt: skip
        n = y.size
        moved, out = np.empty(n), np.empty(n)
        for j in range(n):
            shift = SHIFT * (scale[j] + abs(y[j]))
            moved[:] = y
            moved[j] += shift
            rates(t, moved, model, phase, out)
            for i in range(n):
                linear.jacobian[j, i] = (out[i] - start_rates[i]) / shift
        rates(t + SHIFT, y, model, phase, out)
        for i in range(n):
            linear.time_slope[i] = (out[i] - start_rates[i]) / SHIFT

    return linearise
