"""Launches aimed at targets, many at a time, with the same numbers whatever the number of threads."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from simlaunch.analysis.ready import aim
from simlaunch.analysis.simulate import extra_targets, goal, target_label
from simlaunch.errors import InputError, UsageError
from simlaunch.metrics.many import Measured, columns, measure_many
from simlaunch.metrics.marks import STANDARD, Target
from simlaunch.record import CAR, Record
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.reading import changed
from simlaunch.simulation.batch import on_threads
from simlaunch.simulation.run import complete
from simlaunch.units.gate import quoted

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


def target_named(scenario: Scenario, name: str | None) -> Target:
    """Target by the name under which it is printed, or one made of text such as "80 km/h to 120 km/h".

    Parameters
    ----------
    scenario : Scenario
        The scenario, whose own marks have names too.
    name : str or None
        Name; None: the scenario's goal.

    Returns
    -------
    Target
        The target.

    Raises
    ------
    UsageError
        Neither a known name nor a distance, a speed or a span.
    """
    if name is None:
        return goal(scenario)
    every = (*extra_targets(scenario), *STANDARD)
    known = {target.label: target for target in every}
    if name.strip() in known:
        return known[name.strip()]
    try:
        return extra_targets(changed(scenario, {"run.marks": [name]}))[0]
    except InputError as error:
        faults = getattr(error, "faults", ())
        remedy = next((fault.instead for fault in faults if fault.place.startswith("run.marks")), "")
        choices = ", ".join(dict.fromkeys(map(target_label, every)))
        made = remedy if "span" in remedy else 'write a distance, a speed or a span such as "80 km/h to 120 km/h"'
        raise UsageError(f"no target is named {quoted(name)}; choose one of {choices}, or {made}") from None


def make_ready(car: Record, targets: Sequence[Target]) -> float:
    """Fill in what a car leaves open, so that it stays as it is when the curve is varied, and aim it at targets.

    Parameters
    ----------
    car : Record
        The car, changed in place: shift speeds and target slip are those of its curve.
    targets : sequence of Target
        What is measured.

    Returns
    -------
    float
        Engine speed that the launch asks for; against a converter a stronger engine comes nearer to it [rad/s].
    """
    asked = float(car.launch.engine_speed)
    complete(car)
    aim(car, targets)
    return asked


def as_many(cars: Sequence[Record]) -> Cars:
    """Records of single cars as one array."""
    many: Cars = np.zeros(len(cars), CAR)
    for place, car in enumerate(cars):
        many[place] = car
    return many


def measure_all(
    cars: Cars, targets: tuple[Target, ...], tolerance: float, workers: int | None = None, *, times_only: bool = False
) -> Measured:
    """Run and measure many launches on several threads.

    Parameters
    ----------
    cars : ndarray of CAR, shape (n,)
        The cars; left as they are.
    targets : tuple of Target
        What is measured beside the usual; see `measure.many.columns`.
    tolerance : float
        Relative error allowed per step [-].
    workers : int, optional
        Threads; one for each core if left out.
    times_only : bool
        Measure nothing but the time of each target.

    Returns
    -------
    Measured
        A row of numbers for each launch, SI units; each row depends on its own car alone.

    Raises
    ------
    UsageError
        A tolerance out of range.
    """

    def some(piece: slice) -> Measured:
        return measure_many(cars[piece], targets, tolerance, times_only=times_only)

    found = list(on_threads(some, len(cars), workers))
    values = np.concatenate([part.values for part in found])
    return Measured(values, np.concatenate([part.ending for part in found]))


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
