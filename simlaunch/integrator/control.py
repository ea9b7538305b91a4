"""Step-size control."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from simlaunch.compiled import inline
from simlaunch.integrator.tableau import ORDER

_SAFETY = 0.9
_SMALLEST_FACTOR, _LARGEST_FACTOR = 0.2, 5.0
_MEMORY = 0.04  # weight of the last accepted error: calms the step at the edge of stability


class Accuracy(NamedTuple):
    """How closely an integration follows its equations."""

    tolerance: float  # relative error allowed per step [-]
    scale: NDArray[np.float64]  # (n,) size below which a state's error is absolute
    longest_step: float  # [s]
    sample_gap: float  # largest distance between recorded samples [s]; 0 records nothing


@inline
def next_factor(error: float, last_error: float) -> float:
    """Factor from this step to the next, by a proportional-integral rule.

    f = 0.9 error^-(1/5 - 0.75 beta) last^beta

    Parameters
    ----------
    error : float
        Error of this step over what is allowed [-].
    last_error : float
        Error of the last accepted step over what was allowed [-].

    Returns
    -------
    float
        Factor, between 0.2 and 5 [-].

    Source: K. Gustafsson, ACM Trans. Math. Softw. 17 (1991) 533; constants of Hairer, Norsett and Wanner, DOPRI5
    (from memory).
    """
    if not error < 1e300:  # overflow or nan
        return _SMALLEST_FACTOR
    if error <= 0.0:
        return _LARGEST_FACTOR
    factor = _SAFETY * error ** -(1.0 / ORDER - 0.75 * _MEMORY) * max(last_error, 1e-4) ** _MEMORY
    return min(max(factor, _SMALLEST_FACTOR), _LARGEST_FACTOR)
