"""Full-load curves against the torque that the tyres can use, gear by gear."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from simlaunch.launching.ready import runnable
from simlaunch.metrics.ceiling import share_above, usable_torque
from simlaunch.metrics.full_load import full_load, limited_gears
from simlaunch.physics.driveline import driven_radius
from simlaunch.physics.table import values_at
from simlaunch.record import Car, Pedal
from simlaunch.results import Result
from simlaunch.scenario.model import Scenario
from simlaunch.units.quantity import RPM

Array = NDArray[np.float64]

_SPACING = 50.0 * RPM  # engine speeds stand 50 rpm apart [rad/s]


@dataclass(frozen=True)
class GearCeiling:
    """What the tyres can use in one gear.

    Parameters
    ----------
    gear : int
        First gear is 1.
    usable : ndarray, shape (n,)
        Engine torque at which the driven tyres reach their peak [N m].
    road_speed : ndarray, shape (n,)
        Road speed at each engine speed, without slip [m/s].
    """

    gear: int
    usable: Array
    road_speed: Array


@dataclass(frozen=True)
class CurveSurplus:
    """How far one curve stands above the ceiling of one gear.

    Parameters
    ----------
    curve : str
        Name of the curve.
    gear : int
        First gear is 1.
    share_of_area : float
        Share of the curve's area above the ceiling [-].
    greatest : float
        Largest torque above the ceiling; 0 where there is none [N m].
    first_speed, last_speed : float
        Range of engine speed in which the curve is above; nan where it never is [rad/s].
    """

    curve: str
    gear: int
    share_of_area: float
    greatest: float
    first_speed: float
    last_speed: float


@dataclass(frozen=True, repr=False)
class UsableTorque(Result):
    """Curves and ceilings of one scenario.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    car : Car
        Numbers of the car, SI units, complete; its curve is the scenario's first.
    engine_speed : ndarray, shape (n,)
        Common engine speeds [rad/s].
    curves : dict of str to ndarray, shape (n,)
        Full-load torque by name [N m].
    by_gear : dict of str to dict of int to ndarray, shape (n,)
        Full-load torque in the gears in which a curve has a limit, by name and gear [N m]; a curve
        without limits may be missing.
    ceilings : tuple of GearCeiling
        One for each gear.
    surplus : tuple of CurveSurplus
        One for each curve and gear.
    """

    study = "usable"

    scenario: Scenario
    car: Car
    engine_speed: Array
    curves: dict[str, Array]
    by_gear: dict[str, dict[int, Array]]
    ceilings: tuple[GearCeiling, ...]
    surplus: tuple[CurveSurplus, ...]

    def only(self, names: Sequence[str]) -> UsableTorque:
        """The same with some of the curves, in the order in which they are named."""
        surplus = tuple(each for each in self.surplus if each.curve in names)
        curves = {name: self.curves[name] for name in names}
        by_gear = {name: self.by_gear.get(name, {}) for name in names}
        return replace(self, curves=curves, by_gear=by_gear, surplus=surplus)

    def torque(self, curve: str, gear: int) -> Array:
        """Full-load torque of a curve in a gear [N m]."""
        return self.by_gear.get(curve, {}).get(gear, self.curves[curve])


def _surplus(name: str, torque: Array, ceiling: GearCeiling, speeds: Array) -> CurveSurplus:
    above = np.maximum(torque - ceiling.usable, 0.0)
    share = share_above(speeds, torque, ceiling.usable)
    where = np.flatnonzero(above > 0.0)
    first, last = (float(speeds[where[0]]), float(speeds[where[-1]])) if len(where) else (np.nan, np.nan)
    return CurveSurplus(name, ceiling.gear, share, float(above.max()), first, last)


def _ceiling(car: Car, gear: int, speeds: Array) -> GearCeiling:
    road_speed = speeds / float(car.gearbox.ratio[gear]) * driven_radius(car.front, car.rear, car.drive)
    return GearCeiling(gear + 1, usable_torque(car, gear + 1, speeds), road_speed)


def _engine_speeds(first: float, last: float) -> Array:
    """Round engine speeds from the first to the last, which are both kept [rad/s]."""
    inside = np.arange(np.floor(first / _SPACING) + 1.0, np.ceil(last / _SPACING)) * _SPACING
    inside = inside[(inside > first * (1.0 + 1e-9)) & (inside < last * (1.0 - 1e-9))]
    return np.concatenate(([first], inside, [last]))


def usable(scenario: Scenario) -> UsableTorque:
    """Set every curve of a scenario against the grip ceiling of every gear.

    Parameters
    ----------
    scenario : Scenario
        The scenario.

    Returns
    -------
    UsableTorque
        Curves, ceilings, and what stands above them.
    """
    cars = {name: runnable(scenario, name, Pedal.FULL) for name in scenario.curve_names}
    car = next(iter(cars.values()))
    first = min(float(each.engine.torque.knot[0]) for each in cars.values())
    speeds = _engine_speeds(first, float(car.engine.rev_limit))
    curves = {name: values_at(each.engine.torque, speeds) for name, each in cars.items()}
    by_gear = {
        name: {gear: full_load(each, gear, speeds) for gear in limited_gears(each)} for name, each in cars.items()
    }
    ceilings = tuple(_ceiling(car, gear, speeds) for gear in range(int(car.gearbox.count)))
    surplus = tuple(
        _surplus(name, by_gear[name].get(ceiling.gear, torque), ceiling, speeds)
        for name, torque in curves.items()
        for ceiling in ceilings
    )
    return UsableTorque(scenario, car, speeds, curves, by_gear, ceilings, surplus)
