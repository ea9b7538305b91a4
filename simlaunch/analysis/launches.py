"""Launches aimed at targets, many at a time, with the same numbers whatever the number of threads."""

from __future__ import annotations

import os
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from simlaunch.analysis.simulate import extra_targets, goal, target_label
from simlaunch.errors import InputError, UsageError
from simlaunch.metrics.many import Measured, columns, measure_many
from simlaunch.metrics.marks import STANDARD, Kind, Target
from simlaunch.record import CAR, Record
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.reading import changed
from simlaunch.simulation.run import complete
from simlaunch.units.gate import quoted

Array = NDArray[np.float64]
Cars = NDArray[np.void]

_MOST_AT_ONCE = 32
_BEYOND = 1.005
"""A run goes a little past its target, so that samples stand on both sides of it."""


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
    """Records of single cars as one array.

    Parameters
    ----------
    cars : sequence of Record
        The cars.

    Returns
    -------
    ndarray of CAR, shape (n,)
        Copies, in order.
    """
    many: Cars = np.zeros(len(cars), CAR)
    for place, car in enumerate(cars):
        many[place] = car
    return many


def _stretches(count: int, workers: int) -> list[slice]:
    length = min(max(-(-count // workers), 1), _MOST_AT_ONCE)
    return [slice(first, first + length) for first in range(0, count, length)]


def measure_all(cars: Cars, targets: tuple[Target, ...], tolerance: float, workers: int | None = None) -> Measured:
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
        Threads; as many as there are processors if left out.

    Returns
    -------
    Measured
        A row of numbers for each launch, SI units; each row depends on its own car alone.

    Raises
    ------
    UsageError
        A tolerance out of range.
    """
    threads = workers or os.cpu_count() or 1
    stretches = _stretches(len(cars), threads)
    with ThreadPoolExecutor(threads) as pool:
        found = list(pool.map(lambda part: measure_many(cars[part], targets, tolerance), stretches))
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
