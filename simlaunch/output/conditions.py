"""The conditions of a launch, as the head of a printed result and as JSON."""

from __future__ import annotations

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
    if road.grade.si:
        parts.append(f"grade {clean(road.grade.text)}")
    if scenario.air.head_wind.si:
        parts.append(f"head wind {clean(scenario.air.head_wind.text)}")
    return f"{paragraph(scenario.name)}\n{paragraph('; '.join(parts))}"


def conditions_object(scenario: Scenario, car: Car) -> Object:
    """What all launches of a result share."""
    return {"surface": scenario.road.surface, **group_object("condition", car)}
