"""What a curve may be timed for: the goal of the run, marks, spans and tests from a roll, each by its name."""

from __future__ import annotations

import re
from math import isclose

from pydantic import ValidationError

from simlaunch.errors import UsageError
from simlaunch.launching.goals import extra_targets, goal, same_target, target_written
from simlaunch.launching.ready import runs_in_gear
from simlaunch.metrics.marks import STANDARD, Kind, Roll, Target
from simlaunch.parameters.fill import lower
from simlaunch.record import Car, Pedal
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.road_test import RoadTest, roll_label
from simlaunch.units.gate import quoted
from simlaunch.units.quantity import read
from simlaunch.units.spelling import Dimension, System

_USUAL = {
    System.METRIC: (("60 mph", "130 mph"), ("100 km/h", "200 km/h")),
    System.US: (("60 mph", "130 mph"), ("40 mph", "100 mph")),
}
"""Rolling starts that are asked for most (common practice)."""

_IN_GEAR = {System.METRIC: ("80 km/h", "120 km/h"), System.US: ("50 mph", "70 mph")}
"""Speeds between which the pull of a high gear is stated (common practice)."""

_GEARS = 2  # the highest in which the engine runs at both speeds
_ROLL = re.compile(
    r"\s*roll\s+(?P<from>.+?)\s+(?P<joined>to|over)\s+(?P<to>.+?)(?:\s+in\s+gear\s+(?P<gear>\d{1,2}))?"
    r"(?:\s*,\s*shifting\s+(?P<shifting>on|off))?(?:\s*,\s*boost\s+(?P<boost>[^,]+?))?\s*",
    re.ASCII,
)
"""A rolling start as its label writes it."""
_WRITTEN_OUT = (
    'write a distance, a speed, a span such as "80 km/h to 120 km/h", or a rolling start such as '
    '"roll 60 mph to 130 mph"'
)


def target_named(scenario: Scenario, name: str | None) -> Target:
    """Target by the name under which it is printed, or one that is written out.

    Written out, it is such as "80 km/h to 120 km/h", or "roll 50 mph to 100 mph in gear 3" for a rolling start; behind
    a comma, "shifting on" lets gears be left all the same, and "boost 40 %" states what boost there is at the start.

    Parameters
    ----------
    scenario : Scenario
        The scenario, whose own marks have names too.
    name : str or None
        Name; None: the scenario's goal.

    Returns
    -------
    Target
        The target.

    Raises
    ------
    UsageError
        Neither a known name nor a distance, a speed or a span.
    """
    if name is None:
        return goal(scenario)
    if (rolling := roll_named(scenario, name)) is not None:
        return rolling
    return target_written(name, (*extra_targets(scenario), *STANDARD), _WRITTEN_OUT)


def _target(test: RoadTest) -> Target:
    """Target of a test of the scenario."""
    start, end = test.start, test.end
    by_distance = end.dimension is Dimension.LENGTH
    if start is None:
        kind = Kind.DISTANCE if by_distance else Kind.SPEED
        return Target(test.label, kind, 0.0, end.si)
    roll = Roll(start.si, test.gear_number, test.shifts, test.boost.si)
    kind = Kind.ROLL_DISTANCE if by_distance else Kind.ROLL
    return Target(test.label, kind, 0.0 if by_distance else start.si, end.si, roll)


def _roll(start: str, end: str, gear: int = 0) -> Target:
    begin, stop = read(start, Dimension.SPEED), read(end, Dimension.SPEED)
    return Target(roll_label(start, stop, gear), Kind.ROLL, begin.si, stop.si, Roll(begin.si, gear, gear == 0))


def _high_gears(car: Car, ends: tuple[str, str]) -> list[int]:
    """The highest gears in which the engine runs at both speeds of an in-gear pull, first is 1."""
    speeds = [read(each, Dimension.SPEED).si for each in ends]
    gears = range(1, int(car.gearbox.count) + 1)
    return [gear for gear in gears if all(runs_in_gear(car, gear, speed) for speed in speeds)][-_GEARS:]


def road_tests(scenario: Scenario, system: System = System.METRIC) -> tuple[Target, ...]:
    """Tests beside the goal of the run: those of the scenario, then the usual ones from a roll.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    system : System
        Whose usual tests are offered: in km/h, or in mph.

    Returns
    -------
    tuple of Target
        Each once; a test that the scenario describes takes the place of a usual one with the same ends and gear, or
        with the same name.
    """
    own = [_target(test) for test in scenario.tests or ()]
    car = lower(scenario, scenario.curve_names[0], Pedal.FULL)
    pull = _IN_GEAR[system]
    usual = [_roll(*ends) for ends in _USUAL[system]] + [_roll(*pull, gear) for gear in _high_gears(car, pull)]
    further = [each for each in usual if not any(each.label == other.label or _same(each, other) for other in own)]
    return (*own, *further)


def _same(one: Target, other: Target) -> bool:
    """Whether two tests have the same ends and the same gear, whatever else they ask."""
    if one.roll is None or other.roll is None:
        return one.roll is other.roll and same_target(one, other)
    start, gear = isclose(one.roll.speed, other.roll.speed, rel_tol=1e-9), one.roll.gear == other.roll.gear
    return start and gear and same_target(one, other)


def roll_named(scenario: Scenario, text: str) -> Target | None:
    """A rolling start by its name, or one that is written out, such as "roll 50 mph to 100 mph in gear 3".

    Parameters
    ----------
    scenario : Scenario
        The scenario, whose own tests have names too.
    text : str
        Name, or speeds.

    Returns
    -------
    Target or None
        None where the text asks for no rolling start.

    Raises
    ------
    UsageError
        Speeds or a distance that do not do.
    """
    match, own = _ROLL.fullmatch(text), {test.label for test in scenario.tests or ()}
    if match is None and text.strip() not in own:
        return None
    known = {target.label: target for system in reversed(System) for target in road_tests(scenario, system)}
    if text.strip() in known:
        return known[text.strip()]
    if match is None:
        return None
    entry = {key: typed for key, typed in match.groupdict().items() if typed is not None}
    joined = entry.pop("joined")
    try:
        made = RoadTest.model_validate(entry)
    except ValidationError as error:
        why = error.errors()[0]["msg"].removeprefix(": ")
        raise UsageError(f"{quoted(text.strip())} is no rolling start: {why}") from None
    wanted = Dimension.SPEED if joined == "to" else Dimension.LENGTH
    if made.end.dimension is not wanted:
        raise UsageError(f'{quoted(text.strip())}: write "to" before a speed and "over" before a distance')
    return _target(made)
