"""A check of a sound scenario: defaults that it leans on, what looks odd, and what a launch works out for itself."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass

from simlaunch.analysis.ready import runnable
from simlaunch.record import Car, Pedal
from simlaunch.results import Result
from simlaunch.scenario.defaults import Default, defaults
from simlaunch.scenario.model import Scenario, warnings
from simlaunch.scenario.reading import load


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
    cars : mapping of str to Car
        Numbers of the car with each curve, SI units, with every derived number.
    """

    study = "check"

    scenario: Scenario
    defaults: tuple[Default, ...]
    warnings: tuple[str, ...]
    cars: Mapping[str, Car]


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
    return Check(sound, defaults(sound), warnings(sound), cars)
