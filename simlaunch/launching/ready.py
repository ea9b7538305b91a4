"""Records that can be launched or measured as they are: complete, and aimed beyond their targets."""

from __future__ import annotations

from collections.abc import Sequence

from simlaunch.errors import UsageError
from simlaunch.launching.goals import BEYOND, goal
from simlaunch.launching.launch_speed import settle
from simlaunch.metrics.marks import Roll, Target
from simlaunch.parameters.fill import lower
from simlaunch.physics.engine import limiter_start
from simlaunch.record import Car, Pedal
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.road_test import engine_runs
from simlaunch.simulation.rolling import engine_speed_in
from simlaunch.simulation.run import complete
from simlaunch.units.gate import quoted
from simlaunch.units.quantity import to_display
from simlaunch.units.spelling import Dimension, System


def aim(car: Car, targets: Sequence[Target]) -> None:
    """Let a run start as its targets ask, from standstill or rolling, and end where the last of them is passed.

    Parameters
    ----------
    car : Car
        The car, changed in place.
    targets : sequence of Target
        At least one; all with the same start.

    Raises
    ------
    UsageError
        Targets that start in several ways, or a gear in which the engine could not run at the start.
    """
    starts = {target.roll for target in targets}
    if len(starts) > 1:
        named = ", ".join(quoted(target.label) for target in targets)
        raise UsageError(f"one launch cannot have several starts: {named}; ask for them one by one")
    _start(car, targets[0])
    distances = [target.end for target in targets if target.by_distance]
    speeds = [target.end for target in targets if not target.by_distance]
    car.run.stop_distance = BEYOND * max(distances, default=0.0)
    car.run.stop_speed = BEYOND * max(speeds, default=0.0)


def _start(car: Car, target: Target) -> None:
    roll = target.roll or Roll(0.0)
    if roll.gear:
        _refuse_gear(car, target.label, roll)
    car.launch.roll_speed, car.launch.roll_gear, car.launch.roll_boost = roll.speed, roll.gear, roll.boost
    car.launch.hold_gear = 0 if roll.shifting else 1


def _refuse_gear(car: Car, label: str, roll: Roll) -> None:
    count = int(car.gearbox.count)
    if roll.gear > count:
        raise UsageError(f"{label}: the gearbox has {count} gears; write a gear from 1 to {count}")
    if not runs_in_gear(car, roll.gear, roll.speed):
        turns = engine_speed_in(car, roll.gear - 1, roll.speed)
        low, high = float(car.engine.idle), limiter_start(car.engine)
        shown = [f"{to_display(each, Dimension.ROTATIONAL_SPEED, System.METRIC)[0]:.0f}" for each in (turns, low, high)]
        raise UsageError(
            f"{label}: in gear {roll.gear} the engine would turn at {shown[0]} rpm, and it runs from {shown[1]} rpm to "
            f"{shown[2]} rpm, where its rev limiter begins; take another gear or speed"
        )


def runs_in_gear(car: Car, gear: int, speed: float) -> bool:
    """Whether the engine runs, short of its limiter, at a road speed in a gear.

    Parameters
    ----------
    car : Car
        The car.
    gear : int
        Gear, first is 1 [-].
    speed : float
        Road speed [m/s].

    Returns
    -------
    bool
        By the rule of `scenario.road_test.engine_runs`.
    """
    engine = car.engine
    turns = engine_speed_in(car, gear - 1, speed)
    return engine_runs(turns, float(engine.idle), float(engine.rev_limit), float(engine.limiter_band))


def runnable(scenario: Scenario, curve: str, pedal: Pedal, targets: Sequence[Target] = ()) -> Car:
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
    Car
        SI units. Who varies it afterwards keeps what was worked out for the car as it was; `parameters.fill.lower`
        leaves that open.

    Raises
    ------
    UsageError
        No curve of that name.
    """
    car = lower(scenario, curve, pedal)
    settle([car], targets[0] if targets else goal(scenario))
    complete(car)
    if targets:
        aim(car, targets)
    return car
