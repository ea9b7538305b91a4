"""What is left over: whether it is noise, and where it is not."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import NDArray
from scipy import stats
from scipy.ndimage import uniform_filter1d

Array = NDArray[np.float64]

DOUBTFUL = 1e-3
"""Chance of a result as odd as this in pure noise, below which it is taken for more than chance [-]."""

NOTABLE = 1.25
"""Residuals that exceed the noise by this are more than noise [-]."""

_WITHIN = 0.7  # times the noise: so little is left over only where noise is a floor, as beside values that are rounded

LARGE = 0.005
"""Misfit beyond noise, as a share of the largest value, from which on something is wrong with car or log [-]."""

_STRETCH = 0.5  # over which a misfit is averaged to find where it is largest [s]


@dataclass(frozen=True)
class Misfit:
    """What is left over of one channel of one log, SI units.

    Parameters
    ----------
    channel : str
        Name of the channel.
    samples : int
        How many.
    noise : float
        Standard deviation of a sample, from the log or as stated.
    weight : float
        The one it was weighed with.
    rms : float
        Of the residuals.
    beyond : float
        What of it is more than noise.
    share : float
        That, as a share of the largest value [-].
    runs_chance : float
        Chance that noise changes its sign as seldom as the residuals do [-].
    neighbours : float
        Correlation of a residual with the next one [-].
    worst_time, worst : float
        Where, after the car was let go, the mean of half a second is largest [s], and how large.
    """

    channel: str
    samples: int
    noise: float
    weight: float
    rms: float
    beyond: float
    share: float
    runs_chance: float
    neighbours: float
    worst_time: float
    worst: float

    @property
    def noisy_only(self) -> bool:
        """Whether there is nothing but noise in it."""
        unlike = self.runs_chance <= DOUBTFUL and self.rms > _WITHIN * self.noise
        return bool(self.rms < NOTABLE * self.noise and not unlike)

    @property
    def wrong(self) -> bool:
        """Whether it is so large that car and log do not belong together as they are described."""
        return bool(not self.noisy_only and self.share > LARGE)


def misfit(channel: str, time: Array, values: Array, residuals: Array, noise: float, weight: float) -> Misfit:
    """Describe what is left over of one channel.

    Parameters
    ----------
    channel : str
        Name of the channel.
    time : ndarray, shape (n,)
        Time after the car was let go [s].
    values : ndarray, shape (n,)
        What was measured, SI units.
    residuals : ndarray, shape (n,)
        Measured less calculated, SI units.
    noise : float
        Standard deviation of a sample, SI units.
    weight : float
        The one it was weighed with, SI units.

    Returns
    -------
    Misfit
        Size, tests for noise, and where it is largest.
    """
    rms = sqrt(float(np.mean(residuals**2)))
    beyond = sqrt(max(rms**2 - noise**2, 0.0))
    largest = float(np.abs(values).max(initial=0.0))
    length = max(1, round(_STRETCH * residuals.size / max(float(np.ptp(time)), _STRETCH)))
    smooth = uniform_filter1d(residuals, length)
    worst = int(np.argmax(np.abs(smooth)))
    return Misfit(
        channel,
        residuals.size,
        noise,
        weight,
        rms,
        beyond,
        beyond / largest if largest > 0.0 else 0.0,
        runs_chance(residuals),
        neighbours(residuals),
        float(time[worst]),
        float(smooth[worst]),
    )


def runs_chance(residuals: Array) -> float:
    """Chance that independent residuals change their sign as seldom as these.

    Parameters
    ----------
    residuals : ndarray, shape (n,)
        In the order of time.

    Returns
    -------
    float
        Between 0 and 1 [-].

    Source: Wald and Wolfowitz (1940), Ann. Math. Statist. 11, 147: mean 2 n1 n2 / n + 1 runs.
    """
    above = residuals > 0.0
    n1, n = int(above.sum()), residuals.size
    n2 = n - n1
    if min(n1, n2) < 2:
        return 1.0 if n < 8 else 0.0
    runs = 1 + int(np.count_nonzero(np.diff(above)))
    mean = 2.0 * n1 * n2 / n + 1.0
    variance = (mean - 1.0) * (mean - 2.0) / (n - 1.0)
    return float(stats.norm.cdf((runs + 0.5 - mean) / sqrt(variance)))


def neighbours(residuals: Array) -> float:
    """Correlation of each residual with the next.

    Parameters
    ----------
    residuals : ndarray, shape (n,)
        In the order of time.

    Returns
    -------
    float
        Between -1 and 1; about 0 for noise [-].

    Source: Durbin and Watson (1950), Biometrika 37, 409: their statistic is about 2 (1 - r).
    """
    power = float(residuals @ residuals)
    return float(residuals[1:] @ residuals[:-1]) / power if power > 0.0 else 0.0
