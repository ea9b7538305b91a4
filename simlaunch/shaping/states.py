"""What the page can change, and how what it sends becomes a scenario."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property
from math import isfinite
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from simlaunch.analysis.log import LoggedRun
from simlaunch.errors import UsageError
from simlaunch.launching.goals import extra_targets, goal, same_target, target_label
from simlaunch.launching.targets import road_tests
from simlaunch.metrics.marks import STANDARD, Target
from simlaunch.record import MAX_CURVE_POINTS
from simlaunch.scenario.model import AS_DESCRIBED, Alternative, Scenario
from simlaunch.scenario.powertrain import BEST, Curve, TorqueGap
from simlaunch.units.gate import quoted
from simlaunch.units.quantity import DisplayUnit, as_typed, display_unit, read
from simlaunch.units.spelling import Dimension, System

Array = NDArray[np.float64]
Changes = dict[str, object]

MOST_TESTS = 12
"""More tests at once are refused: each rolling start is a launch of its own."""

CLOSE_ENOUGH = 0.004
"""A curve is thinned out to the fewest points that keep within this share of its peak: no dyno resolves less [-]."""

_DIGITS = 7
_SHORTEST_LAG = 1e-3  # that a scenario takes [s]
_FEW = 4  # tests that are shown at first
_MOST_VALUES = 20


@dataclass(frozen=True)
class Slider:
    """A number that the page can change.

    Parameters
    ----------
    key : str
        Name under which the page sends it.
    label : str
        What it is called.
    unit : str
        Unit of the numbers below.
    low, high, step, value : float
        Range, step, and where it stands in the scenario.
    changes : callable
        Takes a scenario and a number; returns what that changes.
    """

    key: str
    label: str
    unit: str
    low: float
    high: float
    step: float
    value: float
    changes: Callable[[Scenario, float], Changes]


@dataclass(frozen=True)
class State:
    """A curve as it is shaped, and what else was changed; numbers as the page shows them.

    Parameters
    ----------
    points : tuple of (float, float)
        Engine speed and torque, by rising speed.
    against : str
        Curve that it is set against.
    values : tuple of (str, float)
        Sliders that were moved.
    taken : tuple of (str, str)
        Kind and name of the alternatives that are taken.
    tests : tuple of str
        Names of the tests.
    """

    points: tuple[tuple[float, float], ...]
    against: str
    values: tuple[tuple[str, float], ...]
    taken: tuple[tuple[str, str], ...]
    tests: tuple[str, ...]

    @property
    def setting(self) -> tuple[object, object]:
        """All but the curves and the tests."""
        return self.values, self.taken


def _unsound(what: str) -> UsageError:
    return UsageError(f"the page sent {what}; reload it")


def _number(value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise _unsound("something else where a number belongs")
    try:
        found = float(value)
    except OverflowError:
        found = float("inf")
    if not isfinite(found):
        raise _unsound("a number that is not finite")
    return found


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise _unsound("something else where text belongs")
    return value


def _listed(value: object, most: int) -> list[Any]:
    if not isinstance(value, list) or len(value) > most:
        raise _unsound(f"something else where a list of at most {most} entries belongs")
    return value


def _mapped(value: object) -> dict[str, Any]:
    if not isinstance(value, dict) or len(value) > _MOST_VALUES:
        raise _unsound(f"something else where at most {_MOST_VALUES} named values belong")
    return value


def read_state(data: object) -> State:
    """State of the page from what it sent.

    Parameters
    ----------
    data : object
        Parsed JSON; anything.

    Returns
    -------
    State
        Of the right shape; whether its numbers and names do is found out when the scenario is made.

    Raises
    ------
    UsageError
        Anything else.
    """
    sent = _mapped(data)
    points = []
    for each in _listed(sent.get("points"), MAX_CURVE_POINTS):
        pair = _listed(each, 2)
        if len(pair) != 2:
            raise _unsound("a point that is no pair of numbers")
        points.append((_number(pair[0]), _number(pair[1])))
    return State(
        tuple(points),
        _text(sent.get("against")),
        tuple(sorted((key, _number(value)) for key, value in _mapped(sent.get("values", {})).items())),
        tuple(sorted((key, _text(value)) for key, value in _mapped(sent.get("taken", {})).items())),
        tuple(_text(each) for each in _listed(sent.get("tests", []), MOST_TESTS)),
    )


# --- sliders ---


def _plain_slider(
    key: str, label: str, path: str, ends: tuple[float, float, float], held: Any, system: System
) -> Slider:
    """Slider of a key that holds one number; ends and step are SI."""
    unit = display_unit(held.dimension, system)
    low, high = (float(f"{unit.of(end):.3g}") for end in ends[:2])
    step = float(f"{ends[2] / unit.scale:.1g}")
    value = float(f"{unit.of(held.si):.6g}")

    def changes(_: Scenario, shown: float) -> Changes:
        return {path: as_typed(unit.si(shown), held.dimension, _DIGITS)}

    return Slider(key, label, unit.label, min(low, value), max(high, value), step, value, changes)


def _with_grip(scenario: Scenario, percent: float) -> Changes:
    road = scenario.road
    own = (road.friction_factor or read(road.derived()["friction_factor"].text, Dimension.NUMBER)).si
    return {"road.friction_factor": as_typed(own * percent / 100.0, Dimension.NUMBER, _DIGITS)}


def _with_lag(scenario: Scenario, percent: float) -> Changes:
    table = [
        [speed.text, as_typed(max(constant.si * percent / 100.0, _SHORTEST_LAG), Dimension.TIME, _DIGITS)]
        for speed, constant in scenario.engine.boost_time_constant
    ]
    return {"engine.boost_time_constant": table}


def sliders(scenario: Scenario, system: System) -> tuple[Slider, ...]:
    """Numbers that the page can change.

    Parameters
    ----------
    scenario : Scenario
        The scenario as it is.
    system : System
        Units of the page.

    Returns
    -------
    tuple of Slider
        Boost lag only where some of the torque waits for boost.
    """
    mass, speed, shift = scenario.body.mass, scenario.launch.engine_speed, scenario.gearbox.shift
    gap = isinstance(shift, TorqueGap)
    path = "gearbox.shift.gap" if gap else "gearbox.shift.inertia_phase"
    named = "shift: time without torque" if gap else "shift: time of the speed change"
    held = shift.gap if isinstance(shift, TorqueGap) else shift.inertia_phase
    idle, limit = scenario.engine.idle.si, scenario.engine.rev_limit.si
    rpm = display_unit(Dimension.ROTATIONAL_SPEED, system).scale
    found = [
        Slider("grip", "grip", "%", 40.0, 160.0, 1.0, 100.0, _with_grip),
        _plain_slider("mass", "mass", "body.mass", (0.75 * mass.si, 1.25 * mass.si, 5.0), mass, system),
        _plain_slider("shift", named, path, (0.02, 0.6, 0.01), held, system),
    ]
    if speed != BEST:  # the best one follows every change of the car by itself
        ends = (idle, 0.9 * limit, 50.0 * rpm)
        found.append(_plain_slider("launch", "launch speed", "launch.engine_speed", ends, speed, system))
    second = scenario.drive.second_axle
    if second is not None:
        ends = (0.0, max(2.0 * second.capacity.si, 1000.0), 10.0)
        name, key = "capacity of the second axle's clutch", "drive.second_axle.capacity"
        found.append(_plain_slider("second-axle", name, key, ends, second.capacity, system))
    if scenario.engine.boost_lagged_share.si:
        found.append(Slider("lag", "boost lag", "%", 10.0, 300.0, 5.0, 100.0, _with_lag))
    if not scenario.air.density:
        ends = (253.15, 318.15, 1.0)
        air = scenario.air.temperature or read(scenario.air.derived()["temperature"].text, Dimension.TEMPERATURE)
        found.append(_plain_slider("air", "air temperature", "air.temperature", ends, air, system))
    return tuple(found)


# --- tests ---


def tests_of(scenario: Scenario, system: System) -> dict[str, Target]:
    """Tests that may be chosen, by name: the goal first, then from standstill, then from a roll.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    system : System
        Whose usual tests from a roll are offered.

    Returns
    -------
    dict of str to Target
        Each once.
    """
    found: list[Target] = [goal(scenario)]
    for target in (*extra_targets(scenario), *STANDARD):
        if not any(same_target(target, other) for other in found):
            found.append(target)
    return {target_label(target): target for target in (*found, *road_tests(scenario, system))}


# --- points ---


def few_points(speed: Array, torque: Array) -> list[int]:
    """Which points of a curve to keep, so that it can be shaped by hand and looks as before.

    Parameters
    ----------
    speed, torque : ndarray, shape (n,)
        Points of the curve.

    Returns
    -------
    list of int
        Places of the points that are kept, in order: both ends, the peak, and the worst missing one again and again
        until all others lie within `CLOSE_ENOUGH` of the peak from the curve through those that are kept.
    """
    kept = {0, len(speed) - 1, int(np.argmax(torque))}
    while len(kept) < len(speed):
        places = sorted(kept)
        missed = np.abs(PchipInterpolator(speed[places], torque[places])(speed) - torque)
        worst = int(np.argmax(missed))
        if missed[worst] <= CLOSE_ENOUGH * float(torque.max()):
            break
        kept.add(worst)
    return sorted(kept)


# --- the scenario with what was shaped ---


@dataclass(frozen=True)
class Start:
    """What the page begins with.

    Parameters
    ----------
    scenario : Scenario
        The scenario as it is.
    curve : Curve
        The curve that is shaped from.
    against : str
        Curve that it is set against at first.
    system : System
        Units of the page.
    logs : tuple of LoggedRun
        Logs that lie beside the launches.
    """

    scenario: Scenario
    curve: Curve
    against: str
    system: System
    logs: tuple[LoggedRun, ...] = ()

    @cached_property
    def name(self) -> str:
        """Name of the shaped curve, which no other curve has."""
        names, k, name = self.scenario.curve_names, 1, "shaped"
        while name in names:
            k += 1
            name = f"shaped {k}"
        return name

    @cached_property
    def sliders(self) -> tuple[Slider, ...]:
        """Numbers that can be changed."""
        return sliders(self.scenario, self.system)

    @cached_property
    def choices(self) -> Mapping[Alternative, tuple[str, ...]]:
        """Alternatives of the scenario, of the kinds of which there are any."""
        every = {kind: self.scenario.alternatives(kind) for kind in Alternative}
        return {kind: names for kind, names in every.items() if len(names) > 1}

    @cached_property
    def tests(self) -> Mapping[str, Target]:
        """Tests that can be chosen."""
        return tests_of(self.scenario, self.system)

    @property
    def shown_tests(self) -> tuple[str, ...]:
        """Tests that are shown at first: the goal, a sprint, and the first two from a roll."""
        sprint = "0-60 mph" if self.system is System.US else "0-100 km/h"
        rolls = [name for name, target in self.tests.items() if target.roll is not None]
        first = next(iter(self.tests))
        return tuple(dict.fromkeys((first, *(name for name in (sprint, *rolls) if name in self.tests))))[:_FEW]

    @property
    def units(self) -> tuple[DisplayUnit, DisplayUnit]:
        """Units of engine speed and torque."""
        speed, torque = (display_unit(each, self.system) for each in (Dimension.ROTATIONAL_SPEED, Dimension.TORQUE))
        return speed, torque

    def shown(self, speed: Array, torque: Array) -> list[list[float]]:
        """Points as the page shows them."""
        units = self.units
        return [
            [round(float(units[0].of(x)), 0), round(float(units[1].of(y)), 1)]
            for x, y in zip(speed, torque, strict=True)
        ]

    def points_of(self, curve: Curve) -> tuple[list[list[float]], int]:
        """Points of a curve of the scenario for shaping, and how many it has in all."""
        speed = np.array([each.si for each, _ in curve.points])
        torque = np.array([each.si for _, each in curve.points])
        kept = few_points(speed, torque)
        return self.shown(speed[kept], torque[kept]), len(speed)

    def changes(self, state: State) -> Changes:
        """What a state changes beside the curve, as `Scenario.replace` takes it: alternatives, then sliders.

        Raises
        ------
        UsageError
            A kind, a name or a slider that is not there.
        """
        kinds = {str(kind): kind for kind in self.choices}
        found: Changes = {}
        for kind, name in state.taken:
            if kind not in kinds:
                raise _unsound(f"a choice that is not there, {quoted(kind)}")
            if name != AS_DESCRIBED:
                found |= self.scenario.changes_to(kinds[kind], name)
        taken = self.scenario.replace(found) if found else self.scenario
        known = {slider.key: slider for slider in self.sliders}
        for key, value in state.values:
            if key not in known:
                raise _unsound(f"a slider that is not there, {quoted(key)}")
            slider = known[key]
            if not slider.low <= value <= slider.high:
                raise _unsound(f"{slider.label} of {value:g} {slider.unit}, outside {slider.low:g} to {slider.high:g}")
            found = _together(found, slider.changes(taken, value))
        return found

    def setting(self, state: State) -> Scenario:
        """The scenario with what a state changes beside the curve."""
        changes = self.changes(state)
        return self.scenario.replace(changes) if changes else self.scenario

    def shaped(self, state: State) -> dict[str, object]:
        """The shaped curve as it would stand in a file; by gear and in the air it does as the one it began from."""
        speed, torque = self.units
        typed = [
            [
                as_typed(speed.si(x), Dimension.ROTATIONAL_SPEED, _DIGITS),
                as_typed(torque.si(y), Dimension.TORQUE, _DIGITS),
            ]
            for x, y in state.points
        ]
        conditions = {"correction": self.curve.correction, "measured_at": self.curve.measured_at}
        stated = {key: str(value) for key, value in conditions.items() if value is not None}
        kept = self.curve.model_dump(exclude_unset=True, include={"gear_limits", "weather"}, exclude_none=True)
        return {"name": self.name, "points": typed, **stated, **kept}

    def scenario_of(self, state: State, setting: Scenario | None = None) -> Scenario:
        """The scenario with the shaped curve as its last one.

        Parameters
        ----------
        state : State
            What the page sent.
        setting : Scenario, optional
            What `setting` made of the same state.

        Returns
        -------
        Scenario
            Checked.

        Raises
        ------
        UsageError
            A name that is not there.
        ScenarioError
            Numbers that do not do.
        """
        base = self.setting(state) if setting is None else setting
        base.curve(state.against)
        return base.replace({"curves": [*base.curves, self.shaped(state)]})


def _together(changes: Changes, more: Changes) -> Changes:
    """Changes of which the later ones may lie within a table that the earlier ones replace."""
    found = dict(changes)
    for path, value in more.items():
        table, _, key = path.partition(".")
        whole = found.get(table)
        if key and isinstance(whole, dict):
            found[table] = {**whole, key: value}
        else:
            found[path] = value
    return found
