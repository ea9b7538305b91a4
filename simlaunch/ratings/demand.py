"""What a part is asked for against what it is allowed, the one rule for ratings, and what its peak comes from."""

from __future__ import annotations

from dataclasses import dataclass
from math import isnan, nan

SAME_PEAK = 0.002
"""Share by which two highest torques may differ and still count as the same. A peak is read at samples: between the
usual and a thousandth of the allowed error it moved by up to 0.0009 in the shipped scenarios [-]."""


@dataclass(frozen=True)
class PeakEvent:
    """What the highest torque of a part comes from.

    Parameters
    ----------
    when : str
        The event that it falls into, such as "1-2 shift".
    cause : str
        Its cause, where that is confirmed; else empty.
    torque : float
        Torque that goes with the cause, such as the capacity of a clutch; nan where none does [N m].
    """

    when: str
    cause: str = ""
    torque: float = nan


NO_EVENT = PeakEvent("")
"""A peak that falls into no known event."""


@dataclass(frozen=True)
class Demand:
    """Shares of what a part is allowed: steady pull keeps to its rating, shocks to the torque of expected failure.

    Parameters
    ----------
    steady : float
        Highest torque in steady pull over the rating; nan where there is none [-].
    shock : float
        Highest torque, shocks of launch and shifts included, over the torque of expected failure [-].
    """

    steady: float
    shock: float

    @property
    def share(self) -> float:
        """The larger of both; nan where neither is known [-]."""
        known = [share for share in (self.steady, self.shock) if not isnan(share)]
        return max(known, default=nan)

    @property
    def in_shocks(self) -> bool:
        """Whether shocks, not steady pull, come nearer to what is allowed."""
        return not isnan(self.shock) and self.shock == self.share

    @property
    def too_much(self) -> bool:
        """Whether either passes what is allowed."""
        return self.share > 1.0


def demand_of(peak: float, steady: float, rating: float, failure: float) -> Demand:
    """What a launch asks of a part.

    Parameters
    ----------
    peak, steady : float
        Torque of greatest size, and the highest in steady pull, nan where there is none [N m].
    rating, failure : float
        Torque that the part is rated for, and that of expected failure [N m].

    Returns
    -------
    Demand
        Shares of what is allowed.
    """
    return Demand(steady / rating, abs(peak) / failure)
