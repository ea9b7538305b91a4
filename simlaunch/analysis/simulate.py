"""One launch of a scenario, measured."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from math import isclose, isnan

from simlaunch.analysis.ready import aim, runnable
from simlaunch.analysis.unfollowed import remedy
from simlaunch.choices import chosen
from simlaunch.errors import RunNotFollowed
from simlaunch.metrics.crossing import value_at
from simlaunch.metrics.marks import STANDARD, Kind, MarkResult, Target, mark
from simlaunch.metrics.summary import Measures, measure
from simlaunch.record import FOOT, Pedal, Record
from simlaunch.results import Result
from simlaunch.scenario.model import Mark, Scenario
from simlaunch.simulation.run import Method, Outcome, Run, launch
from simlaunch.units.spelling import Dimension

_CLOSER = (1e-7, 1e-9)
"""Tolerances to try in turn where the energy of a run does not add up [-]."""

_TOP_SPEED_RISE = 0.02  # a car that gains less in its last second has come to its top speed [m/s]


@dataclass(frozen=True)
class Missed:
    """Marks that a launch does not reach, however long it goes on, and what it had come to."""

    targets: tuple[Target, ...]
    """The marks."""
    outcome: Outcome
    """How the launch ended that was to reach them."""
    time: float
    """When it ended [s]."""
    distance: float
    """How far it had come [m]."""
    speed: float
    """Its speed then [m/s]."""
    at_top_speed: bool
    """Whether the car had stopped gaining speed."""


@dataclass(frozen=True, repr=False)
class Simulation(Result):
    """One launch: what went in, what happened, and what it measures.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    curve : str
        Name of the full-load curve.
    pedal : Pedal
        Full load throughout, or held slip.
    car : Record
        The numbers of the car, SI units, complete.
    run : Run
        Trace and outcome.
    measures : Measures
        Everything that is reported. Marks that lie beyond the goal of the run are taken from the same launch carried
        on until they are passed; all else is measured up to the goal.
    missed : Missed or None
        Marks that are not reached even so.
    """

    study = "run"

    scenario: Scenario
    curve: str
    pedal: Pedal
    car: Record
    run: Run
    measures: Measures
    missed: Missed | None = None

    @property
    def reached(self) -> bool:
        """Whether every wanted target was passed."""
        return self.run.outcome is Outcome.FINISHED


def goal(scenario: Scenario) -> Target:
    """Target by which curves of a scenario are judged: the distance it runs to, or else the speed.

    Parameters
    ----------
    scenario : Scenario
        The scenario.

    Returns
    -------
    Target
        The target.
    """
    distance = scenario.run.goal(Dimension.LENGTH)
    if distance > 0.0:
        return _distance(distance, _typed(scenario, Dimension.LENGTH))
    speed = scenario.run.goal(Dimension.SPEED)
    return Target(f"0 to {_typed(scenario, Dimension.SPEED)}", Kind.SPEED, 0.0, speed)


def extra_targets(scenario: Scenario) -> tuple[Target, ...]:
    """Targets that a scenario adds to the usual ones: its own marks, and the goals it runs to.

    Parameters
    ----------
    scenario : Scenario
        The scenario.

    Returns
    -------
    tuple of Target
        In the order of the file.
    """
    goals = [
        _distance(q.si, q.text) if q.dimension is Dimension.LENGTH else Target(f"0 to {q.text}", Kind.SPEED, 0.0, q.si)
        for q in scenario.run.until
    ]
    return (*(mark_target(mark) for mark in scenario.run.marks), *goals)


def same_target(one: Target, other: Target) -> bool:
    """Whether two targets ask for the same thing, whatever they are called.

    Parameters
    ----------
    one, other : Target
        The targets.

    Returns
    -------
    bool
        Whether they do.
    """
    same_ends = isclose(one.end, other.end, rel_tol=1e-9) and isclose(one.start, other.start, abs_tol=1e-9)
    return one.kind is other.kind and same_ends


def target_label(target: Target) -> str:
    """Name of a target.

    Parameters
    ----------
    target : Target
        The target.

    Returns
    -------
    str
        The usual name where it has one, such as "1/4 mile"; else its own.
    """
    return next((usual.label for usual in STANDARD if same_target(usual, target)), target.label)


def _distance(length: float, text: str) -> Target:
    return Target(text, Kind.DISTANCE, 0.0, length)


def _typed(scenario: Scenario, dimension: Dimension) -> str:
    return next(q.text for q in scenario.run.until if q.dimension is dimension)


def mark_target(mark: Mark) -> Target:
    """Target of a distance, a speed or a span that somebody wrote down."""
    start = mark.start.si if mark.start else 0.0
    if mark.end.dimension is Dimension.LENGTH:
        return Target(mark.text, Kind.DISTANCE, start, mark.end.si)
    if start > 0.0:
        return Target(mark.text, Kind.SPAN, start, mark.end.si)
    return Target(f"0 to {mark.text}", Kind.SPEED, 0.0, mark.end.si)


def _measured(car: Record, extra: tuple[Target, ...], method: Method, tolerance: float | None) -> tuple[Run, Measures]:
    """A run and its measures; one whose energy does not add up is run again more closely, unless a tolerance is set."""
    run = launch(car, method=method, tolerance=tolerance)
    found = measure(run, car, extra)
    for closer in _CLOSER if tolerance is None and method is Method.COMPILED else ():
        if not found.audit.bad:
            break
        with suppress(RunNotFollowed):
            run = launch(car, tolerance=closer)
            found = measure(run, car, extra)
    return run, found


def _carried_on(
    car: Record, run: Run, marks: Sequence[MarkResult], method: Method, tolerance: float | None
) -> tuple[tuple[MarkResult, ...], Missed | None]:
    """Marks, those beyond the goal from a launch that goes on until they are passed; and what is missed even so."""
    beyond = tuple(each.target for each in marks if isnan(each.time))
    last = run
    if beyond and run.outcome is Outcome.FINISHED:
        further = car.copy()
        aim(further, beyond)
        further.run.stop_distance += FOOT
        with suppress(RunNotFollowed):
            last = launch(further, method=method, tolerance=tolerance)
    found = tuple(mark(last.trace, each.target) if isnan(each.time) else each for each in marks)
    missed = tuple(each.target for each in found if isnan(each.time))
    return found, _missed(missed, last) if missed else None


def _missed(targets: tuple[Target, ...], last: Run) -> Missed:
    trace = last.trace
    end, speed = float(trace.time[-1]), float(trace["speed"][-1])
    at_top = speed - value_at(trace, "speed", end - 1.0) < _TOP_SPEED_RISE  # false where it ran for less than that
    return Missed(targets, last.outcome, end, float(trace["distance"][-1]), speed, at_top)


def simulate(
    scenario: Scenario,
    curve: str | None = None,
    pedal: Pedal | str = Pedal.FULL,
    *,
    method: Method | str = Method.COMPILED,
    tolerance: float | None = None,
) -> Simulation:
    """Run one launch of a scenario and measure it.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    curve : str, optional
        Name of the full-load curve; the first one if left out.
    pedal : Pedal or str
        Full load throughout, or held slip: a member, or its words.
    method : Method or str
        The compiled integrator, or SciPy's as the reference: a member, or its words.
    tolerance : float, optional
        Relative error allowed per step [-].

    Returns
    -------
    Simulation
        Trace and measures.

    Raises
    ------
    UsageError
        No curve, pedal or method of that name, or a tolerance out of range.
    RunNotFollowed
        The equations could not be followed; the message says from when on, and what to write instead.
    """
    name = scenario.curve_names[0] if curve is None else curve
    driven, way = chosen(Pedal, pedal, "pedal"), chosen(Method, method, "method")
    car = runnable(scenario, name, driven)
    try:
        run, found = _measured(car, extra_targets(scenario), way, tolerance)
    except RunNotFollowed as failure:
        raise RunNotFollowed(failure.what, failure.time, remedy(scenario, name, driven, failure)) from None
    marks, missed = _carried_on(car, run, found.marks, way, tolerance)
    return Simulation(scenario, name, driven, car, run, replace(found, marks=marks), missed)
