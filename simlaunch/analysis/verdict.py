"""The verdict on a higher peak, in two plain sentences."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from math import isclose, isnan

from simlaunch.analysis.demand import NO_EVENT, Demand, PeakEvent
from simlaunch.metrics.marks import Target

WORTH_NAMING = 0.01
"""Smallest time difference that is worth a word (common practice: timing is read to a hundredth) [s]."""

SURE = 0.9
"""Share of the cases that a curve has to be the quicker one in before it is called so; the lower end of the interval
counts (common practice) [-]."""

MOSTLY = 0.5
"""Share of the drawn cases that has to be level before there is no difference worth naming (common practice) [-]."""

SAME_PEAK = 0.002
"""Share by which two highest torques may differ and still count as the same. A peak is read at samples: between the
usual and a thousandth of the allowed error it moved by up to 0.0009 in the shipped scenarios [-]."""


class Finding(Enum):
    """What a comparison comes to, seen from the curve with the higher peak."""

    HELPS = "the higher peak is quicker"
    HELPS_BUT_OVERLOADS = "the higher peak is quicker, but asks too much of a part"
    HURTS = "the higher peak is slower"
    NO_DIFFERENCE = "no difference worth naming"
    DEPENDS_ON_GRIP = "which is quicker depends on the grip"
    NOT_SURE = "which is quicker is not sure"
    OUT_OF_REACH = "the goal was not reached"


@dataclass(frozen=True)
class Sureness:
    """How a difference fares when what is not known exactly is drawn again and again.

    Parameters
    ----------
    cases : int
        How many were drawn.
    quicker, slower : tuple of float
        Share of the cases in which the higher peak is the quicker, or the slower one, and its interval [-].
    level : float
        Share of the cases in which the difference is not worth naming [-].
    gaps : tuple of float
        Difference that 5 %, half and 95 % of the cases stay below [s].
    """

    cases: int
    quicker: tuple[float, float, float]
    slower: tuple[float, float, float]
    level: float
    gaps: tuple[float, float, float]


@dataclass(frozen=True)
class Rated:
    """A part with a rating, with the higher and with the lower peak.

    Parameters
    ----------
    part : str
        Name of the part.
    demands : tuple of Demand
        What it is asked for, with the higher and with the lower peak.
    event : PeakEvent
        What its highest torque comes from with the higher peak.
    """

    part: str
    demands: tuple[Demand, Demand]
    event: PeakEvent = NO_EVENT

    @property
    def shares(self) -> tuple[float, float]:
        """Share of what is allowed, with the higher and with the lower peak [-]."""
        return self.demands[0].share, self.demands[1].share

    @property
    def over(self) -> tuple[bool, bool]:
        """Whether it is asked too much, with the higher and with the lower peak."""
        return self.demands[0].too_much, self.demands[1].too_much

    @property
    def alike(self) -> bool:
        """Whether shocks come nearest to what is allowed, and are the same with both peaks."""
        one, other = self.demands
        return one.in_shocks and other.in_shocks and isclose(one.shock, other.shock, rel_tol=SAME_PEAK)


@dataclass(frozen=True)
class Case:
    """The numbers that a verdict rests on; gaps are times of the higher peak less times of the lower.

    Parameters
    ----------
    higher, lower : str
        Names of the curves with the higher and with the lower peak.
    higher_peak, lower_peak : float
        Peak torques [N m].
    target : Target
        What they are judged by.
    higher_time, lower_time : float
        Times with full pedal [s].
    full_gap, held_gap : float
        Gaps with full pedal and with held slip [s].
    grip_gaps : tuple of float
        Gaps with full pedal on less and on more grip [s].
    spin_times : tuple of float
        Wheelspin time with full pedal, higher and lower peak [s].
    input_torques : tuple of float
        Torque at the gearbox input in steady pull with full pedal, higher and lower peak [N m].
    sureness : Sureness, optional
        What came of drawing what is not known exactly, with full pedal.
    rated : tuple of Rated
        Parts with ratings, with full pedal.
    """

    higher: str
    lower: str
    higher_peak: float
    lower_peak: float
    target: Target
    higher_time: float
    lower_time: float
    full_gap: float
    held_gap: float
    grip_gaps: tuple[float, float]
    spin_times: tuple[float, float]
    input_torques: tuple[float, float]
    sureness: Sureness | None = None
    rated: tuple[Rated, ...] = ()

    @property
    def overload(self) -> Rated | None:
        """The part that the higher peak asks most above what it is allowed; None where it asks too much of none."""
        over = [part for part in self.rated if part.over[0]]
        return max(over, key=lambda part: part.shares[0], default=None)

    @property
    def overload_is_shared(self) -> bool:
        """Whether the lower peak too asks too much of every part that the higher one does, and there is such a part."""
        over = [part for part in self.rated if part.over[0]]
        return bool(over) and all(part.over[1] for part in over)


@dataclass(frozen=True)
class Verdict:
    """Finding of a comparison, with the numbers behind it.

    Parameters
    ----------
    finding : Finding
        In a word.
    case : Case
        The numbers.
    grip_doubt : float
        Share by which grip was varied [-].
    """

    finding: Finding
    case: Case
    grip_doubt: float


def judge(case: Case, grip_doubt: float) -> Verdict:
    """Weigh a case with full pedal: by the drawn cases, or else by whether it holds with a little less and more grip.

    Parameters
    ----------
    case : Case
        The numbers.
    grip_doubt : float
        Share by which grip was varied for them [-].

    Returns
    -------
    Verdict
        The finding.
    """
    if isnan(case.full_gap):
        return Verdict(Finding.OUT_OF_REACH, case, grip_doubt)
    finding = _by_grip(case) if case.sureness is None else _by_cases(case.full_gap, case.sureness)
    if finding is Finding.HELPS and case.overload:
        finding = Finding.HELPS_BUT_OVERLOADS
    return Verdict(finding, case, grip_doubt)


def _by_grip(case: Case) -> Finding:
    gaps = [gap for gap in (case.full_gap, *case.grip_gaps) if not isnan(gap)]
    if all(abs(gap) < WORTH_NAMING for gap in gaps):
        return Finding.NO_DIFFERENCE
    if max(gaps) <= -WORTH_NAMING:
        return Finding.HELPS
    return Finding.HURTS if min(gaps) >= WORTH_NAMING else Finding.DEPENDS_ON_GRIP


def _by_cases(gap: float, sure: Sureness) -> Finding:
    if sure.level >= MOSTLY:
        return Finding.NO_DIFFERENCE
    if sure.quicker[1] >= SURE and gap <= -WORTH_NAMING:
        return Finding.HELPS
    return Finding.HURTS if sure.slower[1] >= SURE and gap >= WORTH_NAMING else Finding.NOT_SURE
