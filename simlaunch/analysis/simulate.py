"""One launch of a scenario, measured."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from math import isnan

from simlaunch.choices import chosen
from simlaunch.errors import RunNotFollowed
from simlaunch.launching.bog import Bog, bog
from simlaunch.launching.goals import extra_targets
from simlaunch.launching.launch_speed import LaunchSpeed, settle
from simlaunch.launching.out_of_reach import LongLaunch, given_time
from simlaunch.launching.progress import count
from simlaunch.launching.ready import aim
from simlaunch.launching.road_tests import in_its_gear
from simlaunch.launching.targets import target_named
from simlaunch.launching.unfollowed import remedy
from simlaunch.metrics.marks import Kind, MarkResult, Target, mark
from simlaunch.metrics.summary import Measures, measure
from simlaunch.parameters.fill import lower
from simlaunch.record import FOOT, Car, Pedal
from simlaunch.results import Result
from simlaunch.scenario.model import Scenario
from simlaunch.simulation.run import Method, Outcome, Run, complete, launch

_CLOSER = (1e-7, 1e-9)
"""Tolerances to try in turn where the energy of a run does not add up [-]."""


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
    longer: LongLaunch | None = None
    """The same launch with all the time that a scenario may give it, where a speed is missed for lack of time."""

    @property
    def beyond_reach(self) -> tuple[Target, ...]:
        """Speeds that the car does not come to, however long it is given."""
        if self.longer is None or not self.longer.beyond_reach:
            return ()
        return tuple(each for each in self.targets if not each.by_distance and each.end > self.longer.top_speed)


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
    car : Car
        The numbers of the car, SI units, complete.
    run : Run
        Trace and outcome.
    measures : Measures
        Everything that is reported. Marks that lie beyond the goal of the run are taken from the same launch carried
        on until they are passed; all else is measured up to the goal.
    target : Target
        What it ran to: the goal of the scenario, or the target that was asked for; a roll with the gear it began in.
    launch_speed : LaunchSpeed or None
        The launch speed that was found; None where it is stated, and for a roll.
    bog : Bog or None
        How far the engine falls as the clutch takes hold; None for a roll and for a torque converter.
    missed : Missed or None
        Marks that are not reached even so.
    """

    study = "run"

    scenario: Scenario
    curve: str
    pedal: Pedal
    car: Car
    run: Run
    measures: Measures
    target: Target
    launch_speed: LaunchSpeed | None = None
    bog: Bog | None = None
    missed: Missed | None = None

    @property
    def time(self) -> float:
        """Time to the target; nan where it was not reached [s]."""
        return mark(self.run.trace, self.target).time

    @property
    def reached(self) -> bool:
        """Whether every wanted target was passed."""
        return self.run.outcome is Outcome.FINISHED


def _measured(car: Car, extra: tuple[Target, ...], method: Method, tolerance: float | None) -> tuple[Run, Measures]:
    """A run and its measures; one whose energy does not add up is run again more closely, unless a tolerance is set."""
    run = launch(car, method=method, tolerance=tolerance)
    count(1)
    found = measure(run, car, extra)
    for closer in _CLOSER if tolerance is None and method is Method.COMPILED else ():
        if not found.audit.bad:
            break
        with suppress(RunNotFollowed):
            run = launch(car, tolerance=closer)
            found = measure(run, car, extra)
    return run, found


def _carried_on(
    car: Car, run: Run, marks: Sequence[MarkResult], method: Method, tolerance: float | None
) -> tuple[tuple[MarkResult, ...], Missed | None]:
    """Marks, those beyond the goal from a launch that goes on until they are passed; and what is missed even so."""
    beyond = tuple(each.target for each in marks if isnan(each.time))
    last = run
    rolls = car.launch.roll_speed > 0.0
    if beyond and not rolls and run.outcome is Outcome.FINISHED:
        further = car.copy()
        aim(further, beyond)
        further.run.stop_distance += FOOT
        with suppress(RunNotFollowed):
            last = launch(further, method=method, tolerance=tolerance)
    found = tuple(mark(last.trace, each.target) if isnan(each.time) else each for each in marks)
    missed = tuple(each.target for each in found if isnan(each.time))
    return found, _missed(missed, last, car, tolerance) if missed else None


def _missed(targets: tuple[Target, ...], last: Run, car: Car, tolerance: float | None) -> Missed:
    trace, timed_out = last.trace, last.outcome is Outcome.TIME_LIMIT
    longer = given_time(car, targets, tolerance) if timed_out else None
    distance, speed = (float(trace[name][-1]) for name in ("distance", "speed"))
    return Missed(targets, last.outcome, float(trace.time[-1]), distance, speed, longer)


def _of_roll(marks: Sequence[MarkResult]) -> tuple[MarkResult, ...]:
    """Marks of a rolling start: its own, and the spans of speed that it passes; there are none from rest."""
    return tuple(each for each in marks if each.target.roll or (each.target.kind is Kind.SPAN and not isnan(each.time)))


def simulate(
    scenario: Scenario,
    curve: str | None = None,
    pedal: Pedal | str = Pedal.FULL,
    target: str | None = None,
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
    target : str, optional
        Where it ends and how it begins, such as ``"0-200 km/h"``, ``"roll 60 mph to 130 mph"`` or the name of a test;
        the scenario's goal if left out. A roll that names no gear begins in the one in which the car is quickest.
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
        No curve, pedal, target or method of that name, a gear in which the engine could not run, or a tolerance out of
        range.
    RunNotFollowed
        The equations could not be followed; the message says from when on, and what to write instead.
    """
    name = scenario.curve_names[0] if curve is None else curve
    driven, way = chosen(Pedal, pedal, "pedal"), chosen(Method, method, "method")
    car, aimed, extra = lower(scenario, name, driven), target_named(scenario, target), extra_targets(scenario)
    [speed] = settle([car], aimed)
    complete(car)
    if target is not None:
        aimed = in_its_gear(car, aimed, tolerance if way is Method.COMPILED else None)
        aim(car, (aimed,))
        car.run.stop_distance += FOOT if aimed.kind is Kind.DISTANCE else 0.0
        extra = (*extra, aimed)
    try:
        run, found = _measured(car, extra, way, tolerance)
    except RunNotFollowed as failure:
        raise RunNotFollowed(failure.what, failure.time, remedy(scenario, name, driven, failure)) from None
    kept = _of_roll(found.marks) if aimed.roll else found.marks
    marks, missed = _carried_on(car, run, kept, way, tolerance)
    fallen = bog(run.trace, car, aimed, mark(run.trace, aimed).time, tolerance if way is Method.COMPILED else None)
    return Simulation(scenario, name, driven, car, run, replace(found, marks=marks), aimed, speed, fallen, missed)
