"""A check of a sound scenario: defaults that it leans on, what looks odd, and what a launch works out for itself."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass

from simlaunch.analysis.influence import Influence, influences
from simlaunch.analysis.ready import runnable
from simlaunch.analysis.simulate import goal
from simlaunch.metrics.marks import Target
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
    return Check(sound, tuple(ranked), moved, warnings(sound), cars)
