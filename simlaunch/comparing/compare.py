"""Curves against each other: same car, same conditions, both pedals."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from math import isnan, nan

import numpy as np
from numpy.typing import NDArray

from simlaunch.analysis.odds import Odds, odds
from simlaunch.analysis.parts import CurveLoad, DrivelineLoads, loads_of
from simlaunch.analysis.simulate import Simulation, simulate
from simlaunch.analysis.usable import UsableTorque, usable
from simlaunch.choices import chosen
from simlaunch.comparing.attribution import Attribution, Span, attribute
from simlaunch.comparing.causes import Budget, budget
from simlaunch.comparing.driving import Driving, driving
from simlaunch.comparing.reference_conditions import CorrectionGap, correction_gaps, refuse_unlike, unstated
from simlaunch.comparing.verdict import Case, RatedPart, Verdict, judge
from simlaunch.errors import UsageError
from simlaunch.launching.goals import goal
from simlaunch.launching.launch_speed import settle
from simlaunch.launching.launches import times_of
from simlaunch.launching.out_of_reach import given_time
from simlaunch.launching.progress import expect
from simlaunch.launching.road_tests import RoadTestGap, road_test_gaps
from simlaunch.launching.targets import road_tests
from simlaunch.metrics.ceiling import driven_axles
from simlaunch.metrics.full_load import most_torque
from simlaunch.metrics.marks import STANDARD, Kind, MarkResult, Target, mark
from simlaunch.metrics.parts import Part
from simlaunch.parameters.fill import lower
from simlaunch.record import Car, Pedal
from simlaunch.results import Result
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.powertrain import BEST
from simlaunch.simulation.run import Method, complete
from simlaunch.simulation.trace import Trace
from simlaunch.units.spelling import System, system_named

Array = NDArray[np.float64]

GRIP_DOUBT = 0.05
"""Share by which grip is varied to see whether a verdict holds (common practice: grip is known to 5 % at best)."""

_SECTION_ENDS = tuple(target.end for target in STANDARD if target.kind is Kind.DISTANCE)  # [m]
_GRID = 400
_LAUNCHES_OF_PAIR, _LAUNCHES_OF_SEARCH = 70, 2500  # about; the second where launch speeds are sought for mixtures
_POWER_POINTS = 2001


@dataclass(frozen=True)
class CurveRuns:
    """One curve with both pedals.

    Parameters
    ----------
    name : str
        Name of the curve.
    full : Simulation
        Full load throughout.
    held : Simulation
        Engine torque trimmed to a target slip.
    """

    name: str
    full: Simulation
    held: Simulation

    def of(self, pedal: Pedal) -> Simulation:
        """The simulation with one of the pedals."""
        return self.full if pedal is Pedal.FULL else self.held

    def lost_to_spin(self, target: Target) -> float:
        """Time with full pedal less time with held slip; below zero where full pedal is the quicker [s]."""
        return mark(self.full.run.trace, target).time - mark(self.held.run.trace, target).time


@dataclass(frozen=True)
class MarkGap:
    """One mark of two curves with one pedal.

    Parameters
    ----------
    first, second : MarkResult
        The mark with either curve.
    gap : float
        Time of the second less time of the first; nan where one of them did not reach it [s].
    """

    first: MarkResult
    second: MarkResult
    gap: float


@dataclass(frozen=True)
class GapTrace:
    """Time gap along the run.

    Parameters
    ----------
    distance : ndarray, shape (n,)
        Places along the run [m].
    gap : ndarray, shape (n,)
        Time at which the second curve's car passes less time of the first's [s].
    """

    distance: Array
    gap: Array


@dataclass(frozen=True)
class Section:
    """Part of the run, and how much the gap grows in it.

    Parameters
    ----------
    start, end : float
        Where it begins and ends [m].
    growth : float
        Change of the gap within it [s].
    """

    start: float
    end: float
    growth: float


@dataclass(frozen=True)
class GripCheck:
    """The gap at the goal with less and with more grip.

    Parameters
    ----------
    less, more : float
        Gap with grip lowered and raised by `GRIP_DOUBT`; nan where the goal was not reached [s].
    """

    less: float
    more: float


@dataclass(frozen=True)
class PedalGap:
    """Two curves with one pedal.

    Parameters
    ----------
    pedal : Pedal
        Which.
    marks : tuple of MarkGap
        Every mark.
    at_goal : MarkGap
        The mark by which the curves are judged.
    along : GapTrace
        Gap along the run.
    sections : tuple of Section
        Where the gap opens.
    grip : GripCheck
        Whether it holds with other grip.
    """

    pedal: Pedal
    marks: tuple[MarkGap, ...]
    at_goal: MarkGap
    along: GapTrace
    sections: tuple[Section, ...]
    grip: GripCheck


@dataclass(frozen=True)
class Pair:
    """A curve against the first one.

    Parameters
    ----------
    first, second : CurveRuns
        The runs.
    full, held : PedalGap
        The gaps with either pedal.
    verdict : Verdict
        What it comes to.
    """

    first: CurveRuns
    second: CurveRuns
    full: PedalGap
    held: PedalGap
    verdict: Verdict

    @property
    def why(self) -> Attribution | None:
        """Where along the engine speed the gap comes from; None where some mixture of the curves misses the goal."""
        found = self.verdict.case.why
        return found if found is None or found.first == self.first.name else found.turned()

    @property
    def tests(self) -> tuple[RoadTestGap, ...]:
        """Times in other tests, first and second curve as here, full pedal."""
        found = self.verdict.case.tests
        return found if self.verdict.case.lower == self.first.name else tuple(test.turned() for test in found)

    @property
    def driving(self) -> Driving | None:
        """The gap with other launch and shift speeds, first and second curve as here."""
        found = self.verdict.case.driving
        turned = self.verdict.case.lower != self.first.name
        return found.turned() if found and turned else found

    @property
    def odds(self) -> Odds | None:
        """How sure the difference is, first and second curve as here; None where nothing was drawn."""
        drawn = self.verdict.case.odds
        return drawn if drawn is None or drawn.first == self.first.name else drawn.turned()


@dataclass(frozen=True, repr=False)
class Comparison(Result):
    """Curves of one scenario against each other.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    goal : Target
        The mark by which they are judged.
    runs : tuple of CurveRuns
        Every curve with both pedals.
    pairs : tuple of Pair
        Each further curve against the first, with its odds.
    usable : UsableTorque
        These curves against what the tyres can use.
    loads : DrivelineLoads
        What the parts take with full pedal.
    correction_gaps : tuple of CorrectionGap
        Curves that carry unlike weather corrections, where that was allowed.
    tolerance : float or None
        Relative error allowed per step; None: as usual [-].
    """

    study = "compare"

    scenario: Scenario
    goal: Target
    runs: tuple[CurveRuns, ...]
    pairs: tuple[Pair, ...]
    usable: UsableTorque
    loads: DrivelineLoads
    correction_gaps: tuple[CorrectionGap, ...] = ()
    tolerance: float | None = None

    @cached_property
    def budgets(self) -> tuple[Budget | None, ...]:
        """What the launch with each curve loses to what, full pedal; launched when first asked for."""
        names = [each.name for each in self.runs]
        return budget(self.scenario, names, self.goal, tolerance=self.tolerance)

    def budget(self, curve: str) -> Budget | None:
        """What the launch with a curve loses to what; None where an idealised launch misses the goal."""
        return next((each for each in self.budgets if each and each.curve == curve), None)

    @property
    def reached(self) -> bool:
        """Whether every run reached every wanted target."""
        return all(runs.full.reached and runs.held.reached for runs in self.runs)

    @property
    def bad(self) -> bool:
        """Whether the energy of some run does not add up."""
        return any(runs.of(pedal).measures.audit.bad for runs in self.runs for pedal in Pedal)


def gap_along(first: Trace, second: Trace) -> GapTrace:
    """Time gap at equal distances.

    Parameters
    ----------
    first, second : Trace
        The runs.

    Returns
    -------
    GapTrace
        Positive where the second is behind.
    """
    end = min(float(first["distance"][-1]), float(second["distance"][-1]))
    places = np.linspace(0.0, end, _GRID + 1)[1:]
    gap = np.interp(places, second["distance"], second.time) - np.interp(places, first["distance"], first.time)
    return GapTrace(places, gap)


def sections_of(along: GapTrace) -> tuple[Section, ...]:
    """Growth of a gap between the usual timing lines.

    Parameters
    ----------
    along : GapTrace
        Gap along the run.

    Returns
    -------
    tuple of Section
        As many as the run reached.
    """
    last = float(along.distance[-1])
    edges = [0.0, *(end for end in _SECTION_ENDS if end <= last * (1 + 1e-9))]
    if last > edges[-1] * 1.02:
        edges.append(last)
    gaps = np.interp(edges, np.r_[0.0, along.distance], np.r_[0.0, along.gap])
    return tuple(Section(edges[i], edges[i + 1], float(gaps[i + 1] - gaps[i])) for i in range(len(edges) - 1))


@dataclass(frozen=True)
class _Study:
    """What every pair of a comparison is weighed with."""

    scenario: Scenario
    target: Target
    loads: DrivelineLoads
    tests: tuple[Target, ...]
    cases: int
    tolerance: float | None


def _mark_gap(first: MarkResult, second: MarkResult) -> MarkGap:
    return MarkGap(first, second, second.time - first.time)


def _with_grip(scenario: Scenario, name: str, pedal: Pedal, factor: float) -> Car:
    car = lower(scenario, name, pedal)
    settle([car], goal(scenario))
    car.road.friction_factor *= factor
    complete(car)
    return car


def _grip_check(
    scenario: Scenario, names: tuple[str, str], pedal: Pedal, target: Target, tolerance: float | None
) -> GripCheck:
    factors = (1.0 - GRIP_DOUBT, 1.0 + GRIP_DOUBT)
    times = times_of([_with_grip(scenario, name, pedal, each) for each in factors for name in names], target, tolerance)
    return GripCheck(*map(float, times[1::2] - times[::2]))


def _pedal_gap(study: _Study, first: CurveRuns, second: CurveRuns, pedal: Pedal) -> PedalGap:
    target = study.target
    one, other = first.of(pedal), second.of(pedal)
    marks = zip(one.measures.marks, other.measures.marks, strict=True)
    along = gap_along(one.run.trace, other.run.trace)
    return PedalGap(
        pedal,
        tuple(_mark_gap(a, b) for a, b in marks),
        _mark_gap(mark(one.run.trace, target), mark(other.run.trace, target)),
        along,
        sections_of(along),
        _grip_check(study.scenario, (first.name, second.name), pedal, target, study.tolerance),
    )


def input_pull(simulation: Simulation) -> float:
    """Highest torque at the gearbox input in steady pull; nan where there is none [N m]."""
    return next((peak.steady for peak in simulation.measures.parts if peak.part is Part.GEARBOX_INPUT), nan)


def _rated(higher: CurveLoad, lower: CurveLoad) -> tuple[RatedPart, ...]:
    both = zip(higher.parts, lower.parts, strict=True)
    return tuple(RatedPart(one, other) for one, other in both if one.rating and one.peak and other.peak)


def _case(study: _Study, first: CurveRuns, second: CurveRuns, full: PedalGap, held: PedalGap) -> Case:
    """The numbers of a pair as the curve with the higher peak sees them."""
    higher, lower, sign, target = second, first, 1.0, study.target
    if study.loads.of(first.name).peak_torque > study.loads.of(second.name).peak_torque:
        higher, lower, sign = first, second, -1.0
    higher_load, lower_load = study.loads.of(higher.name), study.loads.of(lower.name)
    why = attribute(study.scenario, lower.name, higher.name, target, tolerance=study.tolerance)
    return Case(
        higher=higher.name,
        lower=lower.name,
        higher_peak=higher_load.peak_torque,
        lower_peak=lower_load.peak_torque,
        higher_power=peak_power(higher.full.car),
        lower_power=peak_power(lower.full.car),
        target=target,
        higher_time=mark(higher.full.run.trace, target).time,
        lower_time=mark(lower.full.run.trace, target).time,
        full_gap=sign * full.at_goal.gap,
        held_gap=sign * held.at_goal.gap,
        grip_gaps=(sign * full.grip.less, sign * full.grip.more),
        spin_times=(
            higher.full.measures.grip.wheelspin_time,
            lower.full.measures.grip.wheelspin_time,
        ),
        input_torques=(input_pull(higher.full), input_pull(lower.full)),
        odds=_drawn(study, lower.name, higher.name),
        rated=_rated(higher_load, lower_load),
        why=why,
        peak_use=_use_of(why.peak, higher.full) if why and why.peak else None,
        driving=driving(study.scenario, lower.name, higher.name, target, tolerance=study.tolerance),
        tests=road_test_gaps(study.scenario, lower.name, higher.name, study.tests, tolerance=study.tolerance),
        why_missed=_why_missed((higher, lower), target, study.tolerance),
    )


def _why_missed(runs: Sequence[CurveRuns], target: Target, tolerance: float | None) -> dict[str, str]:
    """By curve that does not get to the target with full pedal, why."""
    missed = [each for each in runs if isnan(mark(each.full.run.trace, target).time)]
    return {each.name: given_time(each.full.car, (target,), tolerance).why for each in missed}


def _use_of(span: Span, simulation: Simulation) -> tuple[float, float]:
    """Time for which the engine runs in a span, and the part of it with a driven axle beyond its peak slip [s]."""
    trace = simulation.run.trace
    gaps = np.diff(trace.time, append=trace.time[-1])
    inside = (trace["engine_speed"] >= span.start) & (trace["engine_speed"] <= span.end)
    driven = zip(("front", "rear"), driven_axles(simulation.car), strict=True)
    spins = [trace[f"slip_{axle}"] > trace[f"peak_slip_{axle}"] for axle, drives in driven if drives]
    spinning = np.logical_or.reduce(spins)
    return float(gaps[inside].sum()), float(gaps[inside & spinning].sum())


def peak_power(car: Car) -> float:
    """Highest power at full load up to the rev limit, in the gear that allows most [W]."""
    speed = np.linspace(float(car.engine.torque.knot[0]), float(car.engine.rev_limit), _POWER_POINTS)
    return float((most_torque(car, speed) * speed).max())


def _drawn(study: _Study, lower: str, higher: str) -> Odds | None:
    """Odds of two curves; None where nothing is uncertain or no case is wanted."""
    if not study.scenario.uncertain or study.cases == 0:
        return None
    return odds(study.scenario, lower, higher, target=study.target, cases=study.cases)


def _pair(study: _Study, first: CurveRuns, second: CurveRuns) -> Pair:
    full = _pedal_gap(study, first, second, Pedal.FULL)
    held = _pedal_gap(study, first, second, Pedal.HELD_SLIP)
    return Pair(first, second, full, held, judge(_case(study, first, second, full, held), GRIP_DOUBT))


def _launches_of_pair(study: _Study) -> int:
    """About how many launches a pair takes: grip, mixtures, tests and driving, then the drawn cases."""
    drawn = 2 * study.cases if study.scenario.uncertain else 0
    sought = _LAUNCHES_OF_SEARCH if study.scenario.launch.engine_speed == BEST else 0
    return _LAUNCHES_OF_PAIR + 5 * len(study.tests) + drawn + sought


def compare(
    scenario: Scenario,
    curves: Sequence[str] | None = None,
    *,
    cases: int = 256,
    method: Method | str = Method.COMPILED,
    tolerance: float | None = None,
    mixed_corrections: bool = False,
    units: System | str = System.METRIC,
) -> Comparison:
    """Run curves of a scenario with both pedals and set each against the first.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    curves : sequence of str, optional
        Names of at least two of its curves; all of them if left out.
    cases : int
        Cases drawn for each pair where the scenario has uncertain values; 0 for none.
    method : Method or str
        Integrator of the main runs: a member, or its words.
    tolerance : float, optional
        Relative error allowed per step of the main runs [-].
    mixed_corrections : bool
        Whether curves that carry unlike weather corrections may be set against each other.
    units : System or str
        Whose usual tests from a roll are made: in km/h (``"metric"``), or in mph (``"us"``).

    Returns
    -------
    Comparison
        Runs, paired differences, loads of the parts, and for each pair its odds and a verdict.

    Raises
    ------
    UsageError
        Fewer than two curves, one named twice, a name that the scenario or the choice does not have, or a number of
        cases out of range.
    InputError
        Curves carry unlike weather corrections, and that was not allowed.
    SimlaunchError
        The equations could not be followed.
    """
    way = chosen(Method, method, "method")
    names = tuple(scenario.curve_names if curves is None else curves)
    if len(names) < 2:
        known = ", ".join(f'"{name}"' for name in scenario.curve_names)
        raise UsageError(f"comparing takes at least two curves; the scenario has {known}")
    if len(set(names)) < len(names):
        raise UsageError("a curve is named twice; name each curve once")
    gaps = correction_gaps(scenario, names)
    if not mixed_corrections:
        refuse_unlike(gaps, unstated(scenario, names))
    runs = tuple(
        CurveRuns(
            name,
            simulate(scenario, name, Pedal.FULL, method=way, tolerance=tolerance),
            simulate(scenario, name, Pedal.HELD_SLIP, method=way, tolerance=tolerance),
        )
        for name in names
    )
    study = _Study(
        scenario,
        goal(scenario),
        loads_of(scenario, [each.full for each in runs]),
        road_tests(scenario, system_named(units)),
        cases,
        tolerance,
    )
    pairs = []
    for k, other in enumerate(runs[1:]):
        expect((len(runs) - 1 - k) * _launches_of_pair(study))
        pairs.append(_pair(study, runs[0], other))
    only = usable(scenario).only(names)
    return Comparison(scenario, study.target, runs, tuple(pairs), only, study.loads, gaps, tolerance)
