"""Step-size control."""

from __future__ import annotations

from math import sqrt
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from simlaunch.compiled import inline

_SAFETY = 0.9
_SMALLEST_FACTOR, _LARGEST_FACTOR = 0.2, 5.0


class Accuracy(NamedTuple):
    """How closely an integration follows its equations."""

    tolerance: float  # relative error allowed per step [-]
    scale: NDArray[np.float64]  # (n,) size below which a state's error is absolute
    longest_step: float  # [s]
    sample_gap: float  # largest distance between recorded samples [s]; 0 records nothing


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
        Factor, between 0.2 and 5 [-].

    Source: Hairer and Wanner, Solving Ordinary Differential Equations II, sec. IV.8 (from memory).
    """
    if not error < 1e300:  # overflow or nan
        return _SMALLEST_FACTOR
    if error <= 0.0:
        return _LARGEST_FACTOR
    return min(max(_SAFETY / sqrt(sqrt(error)), _SMALLEST_FACTOR), _LARGEST_FACTOR)
