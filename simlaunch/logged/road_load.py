"""What slows a car on the road, and the mass that a force has to move: by speed, and by gear."""

from __future__ import annotations

from math import isnan

import numpy as np
from numpy.typing import NDArray

from simlaunch.physics import air, body, tyre
from simlaunch.physics.driveline import driven_radius
from simlaunch.record import Car

Array = NDArray[np.float64]


def effective_mass(car: Car) -> float:
    """Mass of a car with its wheels and what turns with them, the gearbox in neutral [kg]."""
    wheels = sum(end.axle_inertia / end.radius**2 for end in (car.front, car.rear))
    return float(car.body.mass + wheels + car.drive.inertia / driven_radius(car.front, car.rear, car.drive) ** 2)


def _density(car: Car) -> float:
    given = float(car.air.density)
    return air.density(car.air.pressure, car.air.temperature, car.air.humidity) if isnan(given) else given


def air_forces(car: Car, density: float, speed: float) -> tuple[float, float, float]:
    """Drag, and lift of the front and of the rear axle, at one road speed [N]."""
    moving, shape = speed + car.air.head_wind, car.body
    drag, front, rear = (
        air.dynamic_force(area, density, moving)
        for area in (shape.drag_area, shape.lift_area_front, shape.lift_area_rear)
    )
    return drag, front, rear


def _resistance(car: Car, density: float, speed: float) -> float:
    """Force of air, tyres and grade at one speed [N]."""
    drag, *lifts = air_forces(car, density, speed)
    loads = body.axle_loads(0.0, lifts[0], lifts[1], car.body, car.road.grade_angle)
    rolling = sum(
        tyre.resisting_moment(load, speed, speed, end, car.road.rolling_factor, 0.0) / end.radius
        for load, end in zip(loads, (car.front, car.rear), strict=True)
    )
    return float(rolling + drag + body.grade_force(car.body.mass, car.road.grade_angle))


def resistance(car: Car, speed: Array) -> Array:
    """Force of air, tyres and grade at every speed [N]."""
    density = _density(car)
    return np.array([_resistance(car, density, float(v)) for v in speed])


def mass_in_gear(car: Car, gear: int) -> float:
    """Mass of a car with all that turns while the coupling is closed; gear 1 is first [kg].

    m + (J_wheels + J_driveline + e i^2 J) / r^2, with J what turns with the engine

    Source: Newton's second law for shafts with a lossy ratio between them, as in `driveline.engaged`.
    """
    box, radius = car.gearbox, driven_radius(car.front, car.rear, car.drive)
    turning = car.engine.inertia + box.input_inertia
    return effective_mass(car) + float(box.efficiency[gear - 1] * box.ratio[gear - 1] ** 2 * turning) / radius**2
