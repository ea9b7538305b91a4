"""Records that can be launched or measured as they are: complete, and aimed beyond their targets."""

from __future__ import annotations

from collections.abc import Sequence

from simlaunch.metrics.marks import Kind, Target
from simlaunch.parameters.fill import lower
from simlaunch.record import Pedal, Record
from simlaunch.scenario.model import Scenario
from simlaunch.simulation.run import complete

_BEYOND = 1.005
"""A run goes a little past its target, so that samples stand on both sides of it."""


def aim(car: Record, targets: Sequence[Target]) -> None:
    """Let a run end where the last of its targets is passed.

    Parameters
    ----------
    car : Record
        The car, changed in place.
    targets : sequence of Target
        At least one.
    """
    distances = [target.end for target in targets if target.kind is Kind.DISTANCE]
    speeds = [target.end for target in targets if target.kind is not Kind.DISTANCE]
    car.run.stop_distance = _BEYOND * max(distances, default=0.0)
    car.run.stop_speed = _BEYOND * max(speeds, default=0.0)


def runnable(scenario: Scenario, curve: str, pedal: Pedal, targets: Sequence[Target] = ()) -> Record:
    """A car of a scenario, with every derived number worked out and a run that reaches beyond its targets.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    curve : str
        Name of the full-load curve.
    pedal : Pedal
        Full load throughout, or held slip.
    targets : sequence of Target
        Where the run ends; the goal of the scenario if left out.

    Returns
    -------
    Record
        SI units. Who varies it afterwards keeps what was worked out for the car as it was; `parameters.fill.lower`
        leaves that open.

    Raises
    ------
    UsageError
        No curve of that name.
    """
    car = lower(scenario, curve, pedal)
    complete(car)
    if targets:
        aim(car, targets)
    return car
