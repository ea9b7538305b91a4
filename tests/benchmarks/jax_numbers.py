"""The numbers of many cars as arrays, one for each number, and how JAX looks up curves and gears in them."""

from __future__ import annotations

from collections import namedtuple
from collections.abc import Sequence
from functools import cache, partial
from typing import Any, NamedTuple

import jax
import jax.numpy as jnp
import numpy as np

from simlaunch.record import CAR, Car

_config: Any = jax.config
_config.update("jax_enable_x64", True)

Values = Any
"""One number for each car."""

_LEFT_OUT = frozenset({"outer_curve", "gear_curve"})
"""Tables that are not read: JAX takes the outer curve of a tyre by its formula, and no car has limits by gear."""


class Table(NamedTuple):
    """A piecewise cubic: where each interval starts, infinite where there is none, and its cubic."""

    start: tuple[Values, ...]
    cubic: tuple[tuple[Values, ...], ...]
    end: Values
    end_slope: Values  # value at the last but one knot over its distance from the last


def _lowered_table(table: Any) -> Table:
    rows, last = np.arange(len(table)), table["count"] - 1
    most = max(int(last.max()), 1)
    knots, cubics = table["knot"], table["cubic"]
    end, before = knots[rows, last], np.maximum(last - 1, 0)
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = cubics[rows, before, 0] / (end - knots[rows, before])
    starts = tuple(np.where((last > i) | (i == 0), knots[:, i], np.inf) for i in range(most))
    return Table(starts, tuple(tuple(cubics[:, i, k] for k in range(4)) for i in range(most)), end, slope)


@cache
def _named(name: str, fields: tuple[str, ...]) -> Any:
    """One type for each set of names, so that JAX knows it again."""
    return namedtuple(name, fields)


def lowered(records: Any, most: int | None = None, name: str = "phase") -> Any:
    """Named numbers from an array of records, one array for each number; lists only as long as asked for."""
    kind = records.dtype
    if name in _LEFT_OUT:
        return ()
    if kind.names is None:
        numbers = records.astype(np.int32) if kind.kind == "i" else records
        return tuple(numbers[:, :most].T.copy()) if numbers.ndim > 1 else numbers.copy()
    if "cubic" in kind.names:
        return _lowered_table(records)
    return _named(name, kind.names)(*(lowered(records[field], most, field) for field in kind.names))


def _refuse_what_is_left_out(car: Car) -> None:
    """End with a message where a car needs what the model in JAX does not know."""
    named = {
        "torque limits by gear over engine speed (engine.gear_curve)": any(k.count > 0 for k in car.engine.gear_curve),
        "a clutch that brings the second axle in (drive.clutched)": car.drive.clutched == 1,
        "an axle whose two wheels differ (drive.paired)": car.drive.paired == 1,
    }
    for what, wanted in named.items():
        if wanted:
            raise NotImplementedError(f"the model in JAX does not know {what}; leave such cars out")


def lowered_cars(cars: Sequence[Car]) -> Any:
    """Named numbers of complete cars; lists only as long as the longest gear set.

    Raises
    ------
    NotImplementedError
        A car needs what the model in JAX leaves out.
    """
    records = np.zeros(len(cars), CAR)
    for i, car in enumerate(cars):
        _refuse_what_is_left_out(car)
        records[i] = car
    return lowered(records, int(records["gearbox"]["count"].max()), "car")


def choose(condition: Values, first: Any, second: Any) -> Any:
    """All numbers of the first where a condition holds, else those of the second."""
    return jax.tree.map(partial(jnp.where, condition), first, second)


def pick(values: tuple[Values, ...], index: Values) -> Values:
    """One of several numbers, by an index of each car's own."""
    chosen = values[0]
    for i in range(1, len(values)):
        chosen = jnp.where(index >= i, values[i], chosen)
    return chosen


def value_at(table: Table, x: Values) -> Values:
    """Value of a piecewise cubic, held at its ends."""
    x = jnp.clip(x, table.start[0], table.end)
    start, cubic = table.start[0], table.cubic[0]
    for i in range(1, len(table.start)):
        beyond = x >= table.start[i]
        start = jnp.where(beyond, table.start[i], start)
        cubic = tuple(jnp.where(beyond, new, old) for new, old in zip(table.cubic[i], cubic, strict=True))
    d = x - start
    return cubic[0] + d * (cubic[1] + d * (cubic[2] + d * cubic[3]))
