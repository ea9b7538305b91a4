"""Distributions of uncertain values and of what is counted, without the second that SciPy's statistics take to load."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import cos, erfc, exp, inf, isinf, pi, sin, sqrt, tan
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

CONFIDENCE = 0.95
"""How often an interval that a study states is meant to hold the true value [-]."""

_TINY = 1e-300


@dataclass(frozen=True)
class Distribution:
    """How a value is spread.

    Parameters
    ----------
    ppf : callable
        Values below which given shares of the cases lie.
    mean, std : float
        Mean and standard deviation.
    """

    ppf: Callable[[ArrayLike], Array]
    mean: float
    std: float


def normal_share(x: float) -> float:
    """Share of a standard normal distribution below a value [-]."""
    return 0.5 * erfc(-x / sqrt(2.0))


def _density(x: float) -> float:
    return exp(-0.5 * x * x) / sqrt(2.0 * pi)


def normal_quantiles(shares: ArrayLike) -> Array:
    """Values of a standard normal distribution below which given shares of it lie.

    Source: Wichura, Applied Statistics 37 (1988) 477, as in Python.
    """
    shares = np.asarray(shares, np.float64)
    inverse = NormalDist().inv_cdf
    return np.array([inverse(min(max(each, _TINY), 1.0 - 2.0**-53)) for each in shares.flat]).reshape(shares.shape)


def normal(middle: float, deviation: float, low: float = -inf, high: float = inf) -> Distribution:
    """Normal distribution, cut at two bounds.

    Source: definition.
    """
    a, b = (low - middle) / deviation, (high - middle) / deviation
    if a > 0.0:  # the upper tail, mirrored: there its shares have all their digits
        mirrored = normal(-middle, deviation, -high, -low)
        return Distribution(lambda q: -mirrored.ppf(1.0 - np.asarray(q)), -mirrored.mean, mirrored.std)
    below, inside = normal_share(a), normal_share(b) - normal_share(a)
    ends = [0.0 if isinf(end) else end * _density(end) for end in (a, b)]
    off = (_density(a) - _density(b)) / inside
    std = deviation * sqrt(1.0 + (ends[0] - ends[1]) / inside - off * off)

    def ppf(q: ArrayLike) -> Array:
        return middle + deviation * normal_quantiles(below + inside * np.asarray(q, np.float64))

    return Distribution(ppf, middle + deviation * off, std)


def uniform(low: float, high: float) -> Distribution:
    """Every value between two bounds as likely as any other."""
    width = high - low
    return Distribution(lambda q: np.asarray(q) * width + low, low + 0.5 * width, width / sqrt(12.0))


def triangular(low: float, middle: float, high: float) -> Distribution:
    """Density that rises straight from a bound to the middle and falls straight to the other bound."""
    width, c = high - low, (middle - low) / (high - low)

    def ppf(q: ArrayLike) -> Array:
        q = np.asarray(q, np.float64)
        return np.where(q < c, np.sqrt(c * q), 1.0 - np.sqrt((1.0 - c) * (1.0 - q))) * width + low

    return Distribution(ppf, (low + middle + high) / 3.0, width * sqrt((1.0 - c + c * c) / 18.0))


def lognormal(median: float, deviation: float) -> Distribution:
    """Distribution of a value whose logarithm is normal, with the deviation of the logarithm."""
    spread = deviation * deviation
    mean = median * exp(0.5 * spread)
    return Distribution(
        lambda q: np.exp(deviation * normal_quantiles(q)) * median, mean, mean * sqrt(exp(spread) - 1.0)
    )


def t_quantile(confidence: float, freedom: int) -> float:
    """Half width of the interval around zero in which a share of Student's t lies, for two degrees of freedom or more.

    Source: Abramowitz, Stegun, Handbook of Mathematical Functions (1964) 26.7.3 and 26.7.4 (from memory).
    """
    low, high = 0.0, 0.5 * pi
    middle = 0.5 * (low + high)
    while low < middle < high:  # halved until no number lies between
        low, high = (middle, high) if _t_share(middle, freedom) < confidence else (low, middle)
        middle = 0.5 * (low + high)
    return sqrt(freedom) * tan(middle)


def _t_share(angle: float, freedom: int) -> float:
    odd = freedom % 2
    term = cos(angle) if odd else 1.0
    total = term
    for k in range(2 + odd, freedom - 1, 2):
        term *= (k - 1) / k * cos(angle) ** 2
        total += term
    return 2.0 / pi * (angle + sin(angle) * total) if odd else sin(angle) * total


def wilson(true: int, count: int, confidence: float) -> tuple[float, float]:
    """Interval of a share of independent draws.

    Source: Wilson, J. Am. Stat. Assoc. 22 (1927) 209 (from memory).
    """
    z = NormalDist().inv_cdf(0.5 + 0.5 * confidence)
    middle, reach = 2.0 * true + z * z, z * sqrt(4.0 * true * (1.0 - true / count) + z * z)
    low, high = ((middle + sign * reach) / (2.0 * (count + z * z)) for sign in (-1.0, 1.0))
    return 0.0 if true == 0 else low, 1.0 if true == count else high
