"""Scrambled Sobol points, without the second that SciPy's statistics take to load."""

from __future__ import annotations

from functools import cache

import numpy as np
import scipy  # loads its parts when they are used
from numpy.typing import NDArray

Array = NDArray[np.float64]
_Bits = NDArray[np.int64]

_BITS = 30
_STARTS = """
1: 1; 3: 1; 7: 1 3; 11: 1 3 1; 13: 1 1 1; 19: 1 1 3 3; 25: 1 3 5 13; 37: 1 1 5 5 17; 41: 1 1 5 5 5; 47: 1 1 7 11 19;
55: 1 1 5 1 1; 59: 1 1 1 3 11; 61: 1 3 5 5 31; 67: 1 3 3 9 7 49; 91: 1 1 1 15 21 21; 97: 1 3 1 13 27 49;
103: 1 1 1 15 7 5; 109: 1 3 1 15 13 25; 115: 1 1 5 5 19 61; 131: 1 3 7 11 23 15 103; 137: 1 3 7 13 13 15 69;
143: 1 1 3 13 7 35 63; 145: 1 3 5 9 1 25 53; 157: 1 3 1 13 9 35 107
"""
"""Of each coordinate, the bits of its polynomial and its first direction numbers: Joe and Kuo (2008), as in SciPy."""


@cache
def _directions() -> _Bits:
    """Bits of the direction numbers, highest first, shape (coordinates, numbers, bits).

    Source: Joe, Kuo, SIAM J. Sci. Comput. 30 (2008) 2635 (from memory).
    """
    found = []
    for k, text in enumerate(_STARTS.split(";")):
        polynomial, _, first = text.partition(":")
        bits, numbers = int(polynomial), [int(each) for each in first.split()]
        degree = bits.bit_length() - 1
        while len(numbers) < _BITS:
            new = numbers[-degree] if k else 1  # the first coordinate counts in base two
            for back in range(1, degree + 1):
                new ^= (bits >> (degree - back) & 1) * numbers[-back] << back
            numbers.append(new)
        found.append([number << (_BITS - 1 - j) for j, number in enumerate(numbers)])
    return _bits_of(np.array(found))


def _bits_of(numbers: _Bits) -> _Bits:
    return numbers[..., None] >> np.arange(_BITS - 1, -1, -1) & 1


def sobol(dimensions: int, power: int, rng: np.random.Generator) -> Array:
    """Points of the unit cube, scrambled.

    Parameters
    ----------
    dimensions : int
        Coordinates of a point.
    power : int
        There are two to this power of points.
    rng : numpy.random.Generator
        Decides the scrambling.

    Returns
    -------
    ndarray, shape (2**power, dimensions)
        As `scipy.stats.qmc.Sobol`, to the last bit [-].

    Source: scrambling by a random lower triangular matrix and a shift, Matousek, J. Complexity 14 (1998) 527, as SciPy
    names it.
    """
    if dimensions > len(_directions()):
        return np.asarray(scipy.stats.qmc.Sobol(dimensions, rng=rng).random_base2(power))
    rng = rng.spawn(1)[0]
    shift = rng.integers(2, size=(dimensions, _BITS), dtype=np.uint32) @ (1 << np.arange(_BITS))
    mixing = np.tril(rng.integers(2, size=(dimensions, _BITS, _BITS), dtype=np.uint32).astype(np.int64))
    mixing[:, np.arange(_BITS), np.arange(_BITS)] = 1
    mixed = (_directions()[:dimensions] @ mixing.transpose(0, 2, 1) & 1) @ (1 << np.arange(_BITS - 1, -1, -1))
    places = np.arange(2**power)
    places ^= places >> 1  # Gray code
    points = np.tile(shift, (places.size, 1))
    for j in range(power):
        points ^= np.where(places[:, None] >> j & 1, mixed[:, j], 0)
    return points * 0.5**_BITS
