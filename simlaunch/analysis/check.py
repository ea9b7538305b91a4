"""A check of a sound scenario: defaults that it leans on, what looks odd, and what a launch works out for itself."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from simlaunch.cubics import monotone
from simlaunch.launching.goals import goal
from simlaunch.launching.ready import runnable
from simlaunch.metrics.marks import Target
from simlaunch.parameters.weather import DOUBT, USUAL, power_limit, scenario_weather, torque_factor
from simlaunch.record import Car, Pedal
from simlaunch.results import Result
from simlaunch.scenario.defaults import Default, defaults
from simlaunch.scenario.model import Scenario, warnings
from simlaunch.scenario.powertrain import CompressorLimit, Curve, NaturallyAspirated, ShareOfLoss
from simlaunch.scenario.reading import load
from simlaunch.uncertainty.influence import Influence, influences
from simlaunch.units.gate import quoted

_SAME_POWER = 0.005  # share by which a curve may exceed its own limit: both are rounded when they are typed
_FINE = 400
_BY_FORMULA = (NaturallyAspirated, ShareOfLoss)


@dataclass(frozen=True, repr=False)
class Check(Result):
    """What a check of a sound scenario found.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    defaults : tuple of Default
        Every default in use, with where it comes from; what moves the result most stands first.
    influence : mapping of str to Influence
        What each of them moves within its common range, by a launch with either end of it; by key.
    warnings : tuple of str
        Values that are possible but seldom meant, one sentence each.
    cars : mapping of str to Car
        Numbers of the car with each curve, SI units, with every derived number.
    """

    study = "check"

    scenario: Scenario
    defaults: tuple[Default, ...]
    influence: Mapping[str, Influence]
    warnings: tuple[str, ...]
    cars: Mapping[str, Car]

    @property
    def target(self) -> Target:
        """What the time is taken to that defaults move."""
        return goal(self.scenario)

    @property
    def torque_factors(self) -> dict[str, float]:
        """Torque in the air of the scenario over that stated, of curves that follow the air by a formula [-]."""
        weather = scenario_weather(self.scenario.air)
        by_formula = (curve for curve in self.scenario.curves if isinstance(curve.weather, _BY_FORMULA))
        return {curve.name: torque_factor(curve, weather) for curve in by_formula}

    @property
    def compressor_powers(self) -> dict[str, float]:
        """Power that the compressor allows in the air of the scenario, of curves that state its limit [W]."""
        weather = scenario_weather(self.scenario.air)
        limited = (curve for curve in self.scenario.curves if isinstance(curve.weather, CompressorLimit))
        return {curve.name: power_limit(curve, weather) for curve in limited}


def check(scenario: Scenario | str | os.PathLike[str]) -> Check:
    """Check a scenario: defaults in use by what they move, warnings, and derived numbers.

    Each default that has a common range is put to either end of it, all else as it is, with the first two curves and
    both pedals; these launches run together.

    Parameters
    ----------
    scenario : Scenario, str or path-like
        The scenario, or its file.

    Returns
    -------
    Check
        Of a sound scenario.

    Raises
    ------
    ScenarioError
        The file holds no sound scenario; with every fault.
    """
    sound = scenario if isinstance(scenario, Scenario) else load(scenario)
    cars = {name: runnable(sound, name, Pedal.FULL) for name in sound.curve_names}
    listed = defaults(sound)
    moved = influences(sound, {each.key: each.common for each in listed if each.common})
    ranked = sorted(listed, key=lambda each: moved.get(each.key, Influence()).rank)
    doubts = (*warnings(sound), *_far_from_reference(sound), *_compressor_doubts(sound))
    return Check(sound, tuple(ranked), moved, doubts, cars)


def _far_from_reference(scenario: Scenario) -> Iterator[str]:
    """Curves that are carried to air in which their formula no longer holds."""
    weather = scenario_weather(scenario.air)
    for curve in scenario.curves:
        stated = curve.weather
        if not isinstance(stated, _BY_FORMULA):
            continue
        plain = torque_factor(curve.model_copy(update={"weather": _whole(stated)}), weather)
        if abs(1.0 / plain - 1.0) > USUAL:
            yield (
                f"curves: {quoted(curve.name)} is carried to {weather} by a correction of {1.0 / plain:.3f}; {DOUBT}"
            )


def _compressor_doubts(scenario: Scenario) -> Iterator[str]:
    """Limits of a compressor that contradict their curve in its own air, or take nothing in the air of the scenario."""
    weather = scenario_weather(scenario.air)
    for curve in scenario.curves:
        if not isinstance(curve.weather, CompressorLimit):
            continue
        stated, left, own = curve.weather.power, power_limit(curve, weather), _highest_power(curve, scenario)
        needs = f"{own * 1e-3:.1f} kW at most"
        what = f"curves: {quoted(curve.name)} makes {needs}"
        if stated.si < own * (1.0 - _SAME_POWER):
            yield (
                f"{what} as stated, more than its compressor limit of {stated.text} allows in the same air; launches "
                "follow the limit. Raise weather.power, or check the curve"
            )
        elif left >= own:
            yield (
                f"{what}, and the compressor limit of {stated.text} leaves {left * 1e-3:.1f} kW in the air of the "
                "scenario: it takes no torque there"
            )


def _highest_power(curve: Curve, scenario: Scenario) -> float:
    """Highest power of a curve as stated, up to the rev limit [W]."""
    speeds, torques = (np.array([value.si for value in column]) for column in zip(*curve.points, strict=True))
    turns = np.linspace(speeds[0], min(speeds[-1], scenario.engine.rev_limit.si), _FINE)
    return float((monotone(speeds, torques)(turns) * turns).max())


def _whole(stated: NaturallyAspirated | ShareOfLoss) -> NaturallyAspirated:
    """What the formula says of an engine without a charger."""
    kept = {name: getattr(stated, name) for name in ("formula", "pressure", "temperature", "humidity")}
    return NaturallyAspirated.model_construct(kind="naturally aspirated", **kept)
