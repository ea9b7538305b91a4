"""A check of a sound scenario: defaults that it leans on, what looks odd, and what a launch works out for itself."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from simlaunch.analysis.ready import runnable
from simlaunch.parameters.weather import USUAL, scenario_weather, torque_factor
from simlaunch.record import Pedal, Record
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
        Every default in use, with where it comes from.
    warnings : tuple of str
        Values that are possible but seldom meant, one sentence each.
    cars : mapping of str to Record
        Numbers of the car with each curve, SI units, with every derived number.
    """

    study = "check"

    scenario: Scenario
    defaults: tuple[Default, ...]
    warnings: tuple[str, ...]
    cars: Mapping[str, Record]


def check(scenario: Scenario | str | os.PathLike[str]) -> Check:
    """Check a scenario: every default in use and where it comes from, warnings, and derived numbers.

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
    return Check(sound, defaults(sound), (*warnings(sound), *_far_from_reference(sound)), cars)


def _far_from_reference(scenario: Scenario) -> Iterator[str]:
    """Curves that are carried to air in which their formula is not to be trusted."""
    weather = scenario_weather(scenario.air)
    for curve in scenario.curves:
        told = curve.weather
        if not isinstance(told, NaturallyAspirated | ShareOfLoss):
            continue
        plain = torque_factor(curve.model_copy(update={"weather": _whole(told)}), weather)
        if abs(1.0 / plain - 1.0) > USUAL:
            yield (
                f"curves: {quoted(curve.name)} is carried to {weather} by a correction of {1.0 / plain:.3f}; "
                f"further than {100.0 * USUAL:.0f} % from 1 the formula is not to be trusted"
            )


def _whole(told: NaturallyAspirated | ShareOfLoss) -> NaturallyAspirated:
    """What the formula says of an engine without a charger."""
    kept = {name: getattr(told, name) for name in ("formula", "pressure", "temperature", "humidity")}
    return NaturallyAspirated.model_construct(kind="naturally aspirated", **kept)
