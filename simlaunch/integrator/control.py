"""Step-size control."""

from __future__ import annotations

from math import sqrt
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from simlaunch.compiled import inline

_SAFETY = 0.9
_SMALLEST_FACTOR, _LARGEST_FACTOR = 0.2, 8.0
LEAST_ERROR = 1e-2
"""An error below this share of what is allowed says nothing about the next step."""


class Accuracy(NamedTuple):
    """How closely an integration follows its equations."""

    tolerance: float  # relative error allowed per step [-]
    scale: NDArray[np.float64]  # (n,) size below which a state's error is absolute
    longest_step: float  # [s]
    sample_gap: float  # largest distance between recorded samples [s]; 0 records nothing
    integrals: bool = True  # whether samples hold the integrals as well, on which no rate depends


@inline
def next_factor(error: float) -> float:
    """Factor from this step to the next.

    f = 0.9 error^-1/4

    Parameters
    ----------
    error : float
        Error of this step over what is allowed [-].

    Returns
    -------
    float
        Factor, between 0.2 and 8 [-].

    Source: Hairer and Wanner, Solving Ordinary Differential Equations II, sec. IV.8 (from memory).
    """
    if not error < 1e300:  # overflow or nan
        return _SMALLEST_FACTOR
    if error <= 0.0:
        return _LARGEST_FACTOR
    return min(max(_SAFETY / sqrt(sqrt(error)), _SMALLEST_FACTOR), _LARGEST_FACTOR)


@inline
def foreseen_factor(error: float, last_error: float, growth: float) -> float:
    """Factor from an accepted step to the next, where errors go on to change as they did over the last two steps.

    f = min(0.9 e^-1/4, 0.9 g (e_last / e^2)^1/4)

    A swing that builds up, or a tyre that nears its peak, makes each step harder than the one before; to wait until
    one fails costs that step.

    Parameters
    ----------
    error : float
        Error of this step over what is allowed [-].
    last_error : float
        The same for the accepted step before it [-].
    growth : float
        Length of this step over that of the one before [-].

    Returns
    -------
    float
        Factor, between 0.2 and 8 [-].

    Source: K. Gustafsson, ACM Trans. Math. Softw. 20 (1994) 496; Hairer and Wanner, sec. IV.8 (both from memory).
    """
    factor = next_factor(error)
    if error <= 0.0:
        return factor
    foreseen = _SAFETY * growth * sqrt(sqrt(last_error) / error)
    return max(min(factor, foreseen), _SMALLEST_FACTOR)
