"""What a scenario itself is timed for: the goal of its run, its marks, and the names of targets."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import isclose

from pydantic_core import PydanticCustomError

from simlaunch.errors import Fault, UsageError
from simlaunch.metrics.marks import STANDARD, Kind, Target
from simlaunch.scenario.model import Mark, Scenario
from simlaunch.units.gate import quoted
from simlaunch.units.spelling import Dimension

WORTH_NAMING = 0.01
"""Smallest time difference that is worth a word (common practice: timing is read to a hundredth) [s]."""

BEYOND = 1.005
"""A run goes a little past its target, so that samples stand on both sides of it [-]."""


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


def target_written(text: str, known: Iterable[Target], how: str) -> Target:
    """Target by the name under which it is printed, or one that is written out, such as "80 km/h to 120 km/h".

    Parameters
    ----------
    text : str
        As typed.
    known : iterable of Target
        Targets that have names.
    how : str
        How a target is written out, for the refusal.

    Returns
    -------
    Target
        The target.

    Raises
    ------
    UsageError
        Neither a known name nor a distance, a speed or a span.
    """
    every = list(known)
    named = {target.label: target for target in every}
    if text.strip() in named:
        return named[text.strip()]
    try:
        return mark_target(Mark.parse(text))
    except PydanticCustomError as error:
        faults: Sequence[Fault] = (error.context or {}).get("faults", ())
        remedy = faults[0].instead if faults else ""
        choices = ", ".join(dict.fromkeys(map(target_label, every)))
        made = remedy if "span" in remedy else how
        raise UsageError(f"no target is named {quoted(text)}; choose one of {choices}, or {made}") from None
