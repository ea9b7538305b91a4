"""Studies that take longer, of the curve as it is shaped: a plateau that pays, the odds, the report."""

from __future__ import annotations

from typing import Any

import numpy as np

from simlaunch.analysis.odds import odds
from simlaunch.analysis.plateau import plateau
from simlaunch.reporting.report import report
from simlaunch.shaping.saving import place_of
from simlaunch.shaping.states import Start, State, few_points

Object = dict[str, Any]


def highest_plateau(start: Start, state: State) -> Object:
    """The highest plateau that pays in place of the shaped curve, as points to take over.

    Raises
    ------
    TargetNotReached
        No plateau keeps to the limits.
    """
    found = plateau(start.scenario_of(state), start.name)
    speed, torque = (np.asarray(each, float) for each in (found.first.speeds, found.first.torque))
    kept = few_points(speed, torque)
    return {"points": start.shown(speed[kept], torque[kept]), "text": found.summary(start.system)}


def odds_of_pair(start: Start, state: State) -> Object:
    """How sure it is which of the two curves is quicker.

    Raises
    ------
    UsageError
        Nothing in the scenario is uncertain.
    """
    return {"text": odds(start.scenario_of(state), state.against, start.name).summary(start.system)}


def write_report(start: Start, state: State, name: str) -> Object:
    """The customer's page of the two curves, as a new file beside the scenario.

    Raises
    ------
    InputError
        Not a plain name, or the place is taken.
    """
    path = place_of(start, name, ".html")
    report(start.scenario_of(state), path, curves=(state.against, start.name), units=start.system)
    return {"text": f"wrote {path.name}"}
