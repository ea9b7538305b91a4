"""Whether the difference of two set-ups is more than their repeat runs scatter by."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from math import isfinite, nan, sqrt

import numpy as np
from scipy.special import stdtrit

from simlaunch.uncertainty.distributions import CONFIDENCE


class Evidence(StrEnum):
    """What repeat runs say of a difference."""

    MORE = "more than repeat runs scatter by"
    LESS = "no more than repeat runs scatter by"
    FEW = "too few repeat runs to say"
    ALIKE = "repeat runs do not differ at all, as copies of one log do"
    NONE = "not reached by every log"


@dataclass(frozen=True)
class Group:
    """Values of one set-up.

    Parameters
    ----------
    runs : int
        How many.
    mean : float
        Their mean; nan where a run has no value.
    scatter : float
        Their standard deviation, n - 1 in the denominator; nan for fewer than two.
    """

    runs: int
    mean: float
    scatter: float

    @staticmethod
    def of(values: Sequence[float]) -> Group:
        """Mean and scatter of some values."""
        many = np.asarray(values, dtype=np.float64)
        mean = float(many.mean()) if many.size else nan
        return Group(many.size, mean, float(many.std(ddof=1)) if many.size > 1 else nan)


@dataclass(frozen=True)
class Change:
    """Difference of the means of two set-ups, and its interval.

    Parameters
    ----------
    before, after : Group
        Both set-ups.
    gap : float
        Mean after less mean before.
    low, high : float
        Ends of the interval that holds the true difference with a confidence of 95 %; nan for too few runs.
    freedom : float
        Degrees of freedom of the interval [-].
    """

    before: Group
    after: Group
    gap: float
    low: float
    high: float
    freedom: float

    @property
    def evidence(self) -> Evidence:
        """What the runs say."""
        if not isfinite(self.gap):
            return Evidence.NONE
        if not isfinite(self.low):
            return Evidence.FEW if min(self.before.runs, self.after.runs) < 2 else Evidence.ALIKE
        return Evidence.LESS if self.low <= 0.0 <= self.high else Evidence.MORE

    @property
    def least_seen(self) -> float:
        """Smallest difference that these runs could have distinguished from none: half the width of the interval."""
        return 0.5 * (self.high - self.low)


def change(before: Sequence[float], after: Sequence[float]) -> Change:
    """Difference of two set-ups by Welch's t interval, whose scatters may differ.

    gap +- t(df) sqrt(s1^2/n1 + s2^2/n2), df by Satterthwaite

    Parameters
    ----------
    before, after : sequence of float
        One value for each run.

    Returns
    -------
    Change
        The interval is nan with fewer than two runs in a group, and where no run differs from its repeats, as with one
        log named twice.

    Source: B. L. Welch, Biometrika 34 (1947) 28; F. E. Satterthwaite, Biometrics Bulletin 2 (1946) 110 (both from
    memory; checked against SciPy and the NIST handbook).
    """
    one, other = Group.of(before), Group.of(after)
    gap = other.mean - one.mean
    parts = [group.scatter**2 / group.runs if group.runs > 1 else nan for group in (one, other)]
    variance = sum(parts)
    if not isfinite(variance) or variance <= 0.0 or not isfinite(gap):
        return Change(one, other, gap, nan, nan, nan)
    freedom = variance**2 / sum(p**2 / (g.runs - 1) for p, g in zip(parts, (one, other), strict=True))
    half = float(stdtrit(freedom, 0.5 + 0.5 * CONFIDENCE)) * sqrt(variance)
    return Change(one, other, gap, gap - half, gap + half, freedom)
