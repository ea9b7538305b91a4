"""The conditions of a launch, as the head of a printed result and as JSON."""

from __future__ import annotations

from simlaunch.metrics.ceiling import driven_axles
from simlaunch.output.as_json import Object, group_object
from simlaunch.output.layout import clean, paragraph
from simlaunch.output.words import Numbers
from simlaunch.record import Car
from simlaunch.scenario.model import Scenario
from simlaunch.units.spelling import Dimension, System


def header(scenario: Scenario, car: Car, system: System) -> str:
    """Name of the scenario, and its conditions in a line."""
    numbers = Numbers(system)
    road = scenario.road
    given = road.friction_factor and road.rolling_factor
    parts = [
        numbers.with_unit(car.body.mass, Dimension.MASS),
        "road as given" if given else clean(road.surface),
        f"friction factor {numbers.plain(car.road.friction_factor, Dimension.NUMBER)}",
        f"air {numbers.with_unit(car.air.density, Dimension.DENSITY)}",
    ]
    if car.drive.paired == 1:
        parts.append(_wheels(car, numbers))
    if road.grade.si:
        parts.append(f"grade {clean(road.grade.text)}")
    if scenario.air.head_wind.si:
        parts.append(f"head wind {clean(scenario.air.head_wind.text)}")
    return f"{paragraph(scenario.name)}\n{paragraph('; '.join(parts))}"


def _wheels(car: Car, numbers: Numbers) -> str:
    """What the two wheels of an axle stand on, and what is between them."""
    left, right = (numbers.plain(each, Dimension.NUMBER) for each in (car.road.left_friction, car.road.right_friction))
    grip = f"of it left {left}, right {right}; " if left != right else ""
    locking = {float(each) for each, driven in zip(car.drive.locking, driven_axles(car), strict=True) if driven}
    held = " front and ".join(_differential(each, numbers) for each in car.drive.locking)
    between = _differential(locking.pop(), numbers) if len(locking) == 1 else f"{held} rear"
    return f"{grip}{between}"


def _differential(locking: float, numbers: Numbers) -> str:
    if locking in (0.0, 1.0):
        return "locked axle" if locking else "open axle"
    return f"axle with locking value {numbers.with_unit(locking, Dimension.SHARE)}"


def conditions_object(scenario: Scenario, car: Car) -> Object:
    """What all launches of a result share."""
    wheels = {"wheels": group_object("wheels", car)} if car.drive.paired == 1 else {}
    return {"surface": scenario.road.surface, **group_object("condition", car), **wheels}
