"""One launch of a scenario, measured."""

from __future__ import annotations

from dataclasses import dataclass
from math import isclose

from simlaunch.metrics.marks import FOOT, STANDARD, Kind, Target
from simlaunch.metrics.summary import Measures, measure
from simlaunch.record import Pedal, Record
from simlaunch.results import Result
from simlaunch.scenario.lowering import lower
from simlaunch.scenario.model import Mark, Scenario
from simlaunch.simulation.run import Method, Outcome, Run, launch
from simlaunch.units.spelling import Dimension


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
        Everything that is reported.
    """

    study = "run"

    scenario: Scenario
    curve: str
    pedal: Pedal
    car: Record
    run: Run
    measures: Measures

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
    return (*(_target(mark) for mark in scenario.run.marks), *goals)


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


def _target(mark: Mark) -> Target:
    start = mark.start.si if mark.start else 0.0
    if mark.end.dimension is Dimension.LENGTH:
        return Target(mark.text, Kind.DISTANCE, start, mark.end.si)
    if start > 0.0:
        return Target(mark.text, Kind.SPAN, start, mark.end.si)
    return Target(f"0 to {mark.text}", Kind.SPEED, 0.0, mark.end.si)


def car_of(scenario: Scenario, curve: str, pedal: Pedal) -> Record:
    """Numbers of a car whose launch is to be measured.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    curve : str
        Name of the full-load curve.
    pedal : Pedal
        Full load throughout, or held slip.

    Returns
    -------
    Record
        SI units; it runs far enough to time its distance from one foot on as well.

    Raises
    ------
    UsageError
        No curve of that name.
    """
    car = lower(scenario, curve, pedal)
    if car.run.stop_distance > 0.0:
        car.run.stop_distance += FOOT
    return car


def simulate(
    scenario: Scenario,
    curve: str | None = None,
    pedal: Pedal = Pedal.FULL,
    *,
    method: Method = Method.COMPILED,
    tolerance: float | None = None,
) -> Simulation:
    """Run one launch of a scenario and measure it.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    curve : str, optional
        Name of the full-load curve; the first one if left out.
    pedal : Pedal
        Full load throughout, or held slip.
    method : Method
        The compiled integrator, or SciPy's as the reference.
    tolerance : float, optional
        Relative error allowed per step [-].

    Returns
    -------
    Simulation
        Trace and measures.

    Raises
    ------
    UsageError
        No curve of that name, or a tolerance out of range.
    SimlaunchError
        The equations could not be followed.
    """
    name = scenario.curve_names[0] if curve is None else curve
    car = car_of(scenario, name, pedal)
    run = launch(car, method=method, tolerance=tolerance)
    return Simulation(scenario, name, pedal, car, run, measure(run, car, extra_targets(scenario)))
