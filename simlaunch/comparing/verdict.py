"""The verdict on two curves: which is quicker, and whether the higher peak itself helps, which is another question."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum
from math import isclose, isnan

from simlaunch.analysis.odds import Odds
from simlaunch.analysis.parts import PartLoad
from simlaunch.comparing.attribution import Attribution
from simlaunch.comparing.driving import Driving, Tried
from simlaunch.launching.goals import WORTH_NAMING
from simlaunch.launching.road_tests import RoadTestGap
from simlaunch.metrics.marks import Target
from simlaunch.ratings.demand import SAME_PEAK

SURE = 0.9
"""Share of the cases that a curve has to be the quicker one in before it is called so; the lower end of the interval
counts (common practice) [-]."""

MOSTLY = 0.5
"""Share of the drawn cases that has to be level before there is no difference worth naming (common practice) [-]."""


class Finding(Enum):
    """Which curve is quicker, seen from the one with the higher peak; whether the peak makes it so is another thing."""

    HELPS = "the curve with the higher peak is quicker"
    HELPS_BUT_OVERLOADS = "the curve with the higher peak is quicker, but asks too much of a part"
    HURTS = "the curve with the higher peak is slower"
    NO_DIFFERENCE = "no difference worth naming"
    DEPENDS_ON_LAUNCH = "which is quicker depends on the engine speed at the launch"
    DEPENDS_ON_SHIFTS = "which is quicker depends on the shift speeds"
    DEPENDS_ON_GRIP = "which is quicker depends on the grip"
    NOT_SURE = "which is quicker is not sure"
    OUT_OF_REACH = "the goal was not reached"


class PeakEffect(Enum):
    """What the higher peak itself does, apart from the rest of its curve."""

    GAINS = "the peak itself gains time"
    LOSES = "the peak itself loses time"
    NO_DIFFERENCE = "the peak itself makes no difference worth naming"
    DEPENDS = "whether the peak itself gains time depends on the rest of the curve"
    UNKNOWN = "the peak cannot be set apart from the rest of its curve"


@dataclass(frozen=True)
class RatedPart:
    """A part with a rating, as both curves load it.

    Parameters
    ----------
    higher, lower : PartLoad
        What it takes with the higher and with the lower peak.
    """

    higher: PartLoad
    lower: PartLoad

    @property
    def alike(self) -> bool:
        """Whether shocks come nearest to what is allowed, and are the same with both peaks."""
        one, other = self.higher.demand, self.lower.demand
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
    higher_power, lower_power : float
        Peak powers [W].
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
    odds : Odds, optional
        The lower peak as the first curve, the higher as the second, with full pedal; None where nothing was drawn.
    rated : tuple of RatedPart
        Parts with ratings that carry something with both, with full pedal.
    why : Attribution, optional
        Where along the engine speed the gap comes from: the lower peak as the first curve, the higher as the second.
    driving : Driving, optional
        The gap with other launch and shift speeds, curves as for `why`.
    tests : tuple of RoadTestGap
        Times in other tests, curves as for `why`.
    peak_use : tuple of float, optional
        Time during which the engine with the higher peak runs in the span of that peak, and the part of it during which
        a driven axle slips beyond its peak, full pedal [s].
    why_missed : mapping of str to str
        By curve that does not get to the target, why, and what to write instead, as a clause.
    """

    higher: str
    lower: str
    higher_peak: float
    lower_peak: float
    higher_power: float
    lower_power: float
    target: Target
    higher_time: float
    lower_time: float
    full_gap: float
    held_gap: float
    grip_gaps: tuple[float, float]
    spin_times: tuple[float, float]
    input_torques: tuple[float, float]
    odds: Odds | None = None
    rated: tuple[RatedPart, ...] = ()
    why: Attribution | None = None
    driving: Driving | None = None
    tests: tuple[RoadTestGap, ...] = ()
    peak_use: tuple[float, float] | None = None
    why_missed: Mapping[str, str] = field(default_factory=dict)

    @property
    def peak_effect(self) -> PeakEffect:
        """What the higher peak itself does with full pedal."""
        peak = self.why.peak if self.why else None
        if peak is None:
            return PeakEffect.UNKNOWN
        found = peak.full
        if found.least <= -WORTH_NAMING and found.most >= WORTH_NAMING:
            return PeakEffect.DEPENDS
        if abs(found.share) < WORTH_NAMING:
            return PeakEffect.NO_DIFFERENCE
        return PeakEffect.GAINS if found.share < 0.0 else PeakEffect.LOSES

    @property
    def won_elsewhere(self) -> RoadTestGap | None:
        """The test in which the curve that loses here wins by the most; None where it wins none.

        Where the curves are level here, the test that sets them furthest apart.
        """
        side = -1.0 if self.full_gap > 0.0 else 1.0
        level = abs(self.full_gap) < WORTH_NAMING
        won = [test for test in self.tests if abs(test.gap) >= WORTH_NAMING and (level or test.gap * side > 0.0)]
        return max(won, key=lambda test: abs(test.gap), default=None)

    @property
    def turned_by_driver(self) -> Tried | None:
        """What the driver may do otherwise so that the other curve is the quicker one; None where nothing does."""
        tried = (self.driving.launch, self.driving.shifts) if self.driving else ()
        return next((each for each in tried if each and each.changes_sides), None)

    @property
    def worst(self) -> RatedPart | None:
        """The part that the higher peak brings nearest to what it is allowed, or furthest above; None without any."""
        known = [part for part in self.rated if not isnan(part.higher.demand.share)]
        return self.overload or max(known, key=lambda part: part.higher.demand.share, default=None)

    @property
    def overload(self) -> RatedPart | None:
        """The part that the higher peak asks most above what it is allowed; None where it asks too much of none."""
        over = [part for part in self.rated if part.higher.broken]
        return max(over, key=lambda part: part.higher.demand.share, default=None)

    @property
    def overload_is_shared(self) -> bool:
        """Whether the lower peak too asks too much of every part that the higher one does, and there is such a part."""
        over = [part for part in self.rated if part.higher.broken]
        return bool(over) and all(part.lower.broken for part in over)


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
    finding = _by_grip(case) if case.odds is None else _by_cases(case.full_gap, case.odds)
    if finding in _SETTLED and (tried := case.turned_by_driver):
        launch = case.driving is not None and tried is case.driving.launch
        finding = Finding.DEPENDS_ON_LAUNCH if launch else Finding.DEPENDS_ON_SHIFTS
    if finding is Finding.HELPS and case.overload:
        finding = Finding.HELPS_BUT_OVERLOADS
    return Verdict(finding, case, grip_doubt)


_SETTLED = (Finding.HELPS, Finding.HURTS)


def _by_grip(case: Case) -> Finding:
    gaps = [gap for gap in (case.full_gap, *case.grip_gaps) if not isnan(gap)]
    if all(abs(gap) < WORTH_NAMING for gap in gaps):
        return Finding.NO_DIFFERENCE
    if max(gaps) <= -WORTH_NAMING:
        return Finding.HELPS
    return Finding.HURTS if min(gaps) >= WORTH_NAMING else Finding.DEPENDS_ON_GRIP


def _by_cases(gap: float, drawn: Odds) -> Finding:
    if drawn.level >= MOSTLY:
        return Finding.NO_DIFFERENCE
    if drawn.second_quicker.low >= SURE and gap <= -WORTH_NAMING:
        return Finding.HELPS
    return Finding.HURTS if drawn.first_quicker.low >= SURE and gap >= WORTH_NAMING else Finding.NOT_SURE
