"""Launches aimed at targets, many at a time, with the same numbers whatever the number of threads."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from simlaunch.launching.launch_speed import settle
from simlaunch.launching.progress import count
from simlaunch.launching.ready import aim
from simlaunch.metrics.many import GROUPS, Measured, columns, measure_many
from simlaunch.metrics.marks import Target
from simlaunch.record import CAR, Car
from simlaunch.simulation.batch import on_threads
from simlaunch.simulation.run import complete

Array = NDArray[np.float64]
Cars = NDArray[np.void]


@dataclass(frozen=True)
class Aim:
    """What a curve is to be quick for.

    Parameters
    ----------
    targets : tuple of Target
        At least one.
    weights : tuple of float
        How much the time to each counts [-].
    """

    targets: tuple[Target, ...]
    weights: tuple[float, ...]


def make_ready(car: Car, targets: Sequence[Target]) -> float:
    """Fill in what a car leaves open, so that it stays as it is when the curve is varied, and aim it at targets.

    Parameters
    ----------
    car : Car
        The car, changed in place: shift speeds and target slip are those of its curve.
    targets : sequence of Target
        What is measured.

    Returns
    -------
    float
        Engine speed that the launch asks for; against a converter a stronger engine comes nearer to it [rad/s].
    """
    settle([car], targets[0])
    asked = float(car.launch.engine_speed)
    complete(car)
    aim(car, targets)
    return asked


def as_many(cars: Sequence[Car]) -> Cars:
    """Records of single cars as one array."""
    many: Cars = np.zeros(len(cars), CAR)
    for place, car in enumerate(cars):
        many[place] = car
    return many


def measure_all(
    cars: Cars,
    targets: tuple[Target, ...],
    tolerance: float | None,
    workers: int | None = None,
    *,
    times_only: bool = False,
    groups: Collection[str] = GROUPS,
) -> Measured:
    """Run and measure many launches on several threads.

    Parameters
    ----------
    cars : ndarray of CAR, shape (n,)
        The cars; left as they are. One whose launch speed is open is launched with the best for the first target.
    targets : tuple of Target
        What is measured beside the usual; see `metrics.many.columns`.
    tolerance : float or None
        Relative error allowed per step; None: as usual [-].
    workers : int, optional
        Threads; one for each core if left out.
    times_only : bool
        Measure nothing but the time of each target.
    groups : collection of str
        What is measured beside the marks; see `metrics.many.GROUPS`.

    Returns
    -------
    Measured
        A row of numbers for each launch, SI units; each row depends on its own car alone.

    Raises
    ------
    UsageError
        A tolerance out of range.
    """
    if np.isnan(cars["launch"]["engine_speed"]).any():
        cars = cars.copy()
        settle(list(cars.view(np.recarray)), targets[0], workers)

    def some(piece: slice) -> Measured:
        return measure_many(cars[piece], targets, tolerance, times_only=times_only, groups=groups)

    found = []
    for part in on_threads(some, len(cars), workers):
        found.append(part)
        count(len(part.ending))
    values = np.concatenate([part.values for part in found])
    return Measured(values, np.concatenate([part.ending for part in found]))


def times_of(cars: Sequence[Car], target: Target, tolerance: float | None = None) -> Array:
    """Time to one target with each of several cars.

    Parameters
    ----------
    cars : sequence of Car
        The cars; each runs to the target, whatever it was aimed at before.
    target : Target
        What the time is taken to.
    tolerance : float, optional
        Relative error allowed per step [-].

    Returns
    -------
    ndarray, shape (n,)
        Times; nan where the target was not reached [s].

    Raises
    ------
    UsageError
        A tolerance out of range.
    """
    many = as_many(cars)
    for car in many.view(np.recarray):
        aim(car, (target,))
    times: Array = measure_all(many, (target,), tolerance, times_only=True).values[:, 0]
    return times


def column(measured: Measured, targets: tuple[Target, ...], name: str) -> Array:
    """One number of every launch.

    Parameters
    ----------
    measured : Measured
        Launches.
    targets : tuple of Target
        What they were measured for.
    name : str
        Name of a column.

    Returns
    -------
    ndarray, shape (n,)
        SI units; nan where a launch has no such number.
    """
    place = [each.name for each in columns(targets)].index(name)
    return measured.values[:, place]
