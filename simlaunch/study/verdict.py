"""The verdict on a higher peak, in two plain sentences."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from math import isnan

from simlaunch.measure.marks import Target

WORTH_NAMING = 0.01
"""Smallest time difference that is worth a word (common practice: timing is read to a hundredth) [s]."""


class Finding(Enum):
    """What a comparison comes to, seen from the curve with the higher peak."""

    HELPS = "the higher peak is quicker"
    HURTS = "the higher peak is slower"
    NO_DIFFERENCE = "no difference worth naming"
    DEPENDS_ON_GRIP = "which is quicker depends on the grip"
    OUT_OF_REACH = "the goal was not reached"


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
    """Weigh a case: by full pedal, and by whether it holds with a little less and a little more grip.

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
    gaps = [gap for gap in (case.full_gap, *case.grip_gaps) if not isnan(gap)]
    if isnan(case.full_gap):
        finding = Finding.OUT_OF_REACH
    elif all(abs(gap) < WORTH_NAMING for gap in gaps):
        finding = Finding.NO_DIFFERENCE
    elif max(gaps) <= -WORTH_NAMING:
        finding = Finding.HELPS
    elif min(gaps) >= WORTH_NAMING:
        finding = Finding.HURTS
    else:
        finding = Finding.DEPENDS_ON_GRIP
    return Verdict(finding, case, grip_doubt)
