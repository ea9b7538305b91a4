"""A check of a sound scenario: defaults that it leans on, what looks odd, and what a launch works out for itself."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from simlaunch.analysis.goals import goal
from simlaunch.analysis.influence import Influence, influences
from simlaunch.analysis.ready import runnable
from simlaunch.metrics.marks import Target
from simlaunch.parameters.weather import USUAL, scenario_weather, torque_factor
from simlaunch.record import Car, Pedal
from simlaunch.results import Result
from simlaunch.scenario.defaults import Default, defaults
from simlaunch.scenario.model import Scenario, warnings
from simlaunch.scenario.powertrain import NaturallyAspirated, ShareOfLoss
from simlaunch.scenario.reading import load
from simlaunch.units.gate import quoted


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
    return Check(sound, tuple(ranked), moved, (*warnings(sound), *_far_from_reference(sound)), cars)


def _far_from_reference(scenario: Scenario) -> Iterator[str]:
    """Curves that are carried to air in which their formula is not to be trusted."""
    weather = scenario_weather(scenario.air)
    for curve in scenario.curves:
        stated = curve.weather
        if not isinstance(stated, NaturallyAspirated | ShareOfLoss):
            continue
        plain = torque_factor(curve.model_copy(update={"weather": _whole(stated)}), weather)
        if abs(1.0 / plain - 1.0) > USUAL:
            yield (
                f"curves: {quoted(curve.name)} is carried to {weather} by a correction of {1.0 / plain:.3f}; "
                f"further than {100.0 * USUAL:.0f} % from 1 the formula is not to be trusted"
            )


def _whole(stated: NaturallyAspirated | ShareOfLoss) -> NaturallyAspirated:
    """What the formula says of an engine without a charger."""
    kept = {name: getattr(stated, name) for name in ("formula", "pressure", "temperature", "humidity")}
    return NaturallyAspirated.model_construct(kind="naturally aspirated", **kept)
