"""From a scenario to plain numbers: fills records by the map, one for a launch, or many whose numbers vary."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache, reduce
from types import SimpleNamespace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from simlaunch.cubics import monotone
from simlaunch.parameters.table import ROWS, Column, Row
from simlaunch.record import CAR, Axle, Car, Pedal, blank
from simlaunch.scenario.model import Scenario, at_odds
from simlaunch.scenario.surroundings import Section
from simlaunch.units.spelling import Dimension

Array = NDArray[np.float64]
Cars = NDArray[np.void]

_TABLES = ("body", "air", "road", "drive", "engine", "coupling", "gearbox", "launch", "pedal", "run")


def lower(scenario: Scenario, curve_name: str, pedal: Pedal) -> Car:
    """Plain numbers of one launch.

    Parameters
    ----------
    scenario : Scenario
        A sound scenario.
    curve_name : str
        Which of its curves the engine has.
    pedal : Pedal
        Full load throughout, or held slip.

    Returns
    -------
    Car
        SI units; what the launch has to work out is `nan`, so that it may still be varied: `launching.ready.runnable`
        gives a complete one. The run reaches beyond its goal.

    Raises
    ------
    UsageError
        When no curve has that name.
    """
    cars: Cars = np.array([blank()], CAR)
    cars["pedal"]["kind"] = pedal
    tables = _tables(scenario, scenario.curve(curve_name))
    for row in ROWS:
        _put(cars, row, tables)
    car: Car = cars.view(np.recarray)[0]
    return car


def vary(
    cars: Cars, scenario: Scenario, columns: Mapping[str, Array], where: Any = ..., curve: str | None = None
) -> NDArray[np.bool_]:
    """Put values of some keys into the fields that follow them, each car its own.

    Parameters
    ----------
    cars : ndarray of CAR, shape (n,)
        Changed in place.
    scenario : Scenario
        What the cars are made of; holds a value at each of the keys, of the kind of quantity that varies.
    columns : mapping of str to ndarray, shape (m,)
        Values by key, SI units. A key holds one number, or a list that one number stands for.
    where : index
        Which m of the cars; left out, all of them.
    curve : str, optional
        Full-load curve of the cars, whose torque may follow the air; left out where none does.

    Returns
    -------
    ndarray of bool, shape (m,)
        Where numbers break a rule between keys, so that the scenario cannot have them.
    """
    varied: Any = scenario
    for key, si in columns.items():
        path = key.split(".")
        varied = _replaced(varied, path, Column(np.reshape(si, (-1, 1)), _dimension(scenario, path)))
    tables = _tables(varied, None if curve is None else scenario.curve(curve))
    for row in _rows_of(tuple(columns)):
        _put(cars, row, tables, where)
    count = max(len(si) for si in columns.values())
    return np.broadcast_to(np.reshape(at_odds(varied), -1), count)


def fill_table(target: Any, x: Array, y: Array) -> None:
    """Put a monotone piecewise cubic through points into a table of a record.

    Parameters
    ----------
    target : Car
        Table of type `CURVE` or `TABLE`, changed in place.
    x : ndarray, shape (n,)
        Knots, strictly rising, at least two, in the unit of the table.
    y : ndarray, shape (n,) or (m, n)
        Values at the knots, in the unit of the table; of one table, or of m.

    Source: Fritsch and Carlson, SIAM J. Numer. Anal. 17 (1980) 238, as in SciPy.
    """
    last = len(x) - 1
    target["count"] = last + 1
    target["knot"][..., : last + 1] = x
    target["cubic"][..., :last, :] = monotone(x, y).parts
    target["cubic"][..., last, :] = 0.0
    target["cubic"][..., last, 0] = y[..., -1]  # the end is the end


def scale_torque(cars: Any, factors: Array) -> None:
    """Multiply the torque of an engine, in gears that limit it too.

    Parameters
    ----------
    cars : ndarray of CAR, shape (n,)
        Changed in place.
    factors : ndarray, shape (n,)
        One for each car [-].
    """
    engine = cars["engine"]
    engine["torque"]["cubic"] *= factors[:, None, None]
    engine["gear_limit"] *= factors[:, None]
    engine["gear_curve"]["cubic"] *= factors[:, None, None, None]


def field(cars: Any, path: str) -> NDArray[Any]:
    """A field of records by its path, such as ``"engine.torque.cubic"``; a view that may be changed."""
    for name in path.split("."):
        cars = cars[name]
    found: NDArray[Any] = cars
    return found


def _tables(scenario: Scenario, curve: Any = None) -> Mapping[str, Any]:
    """Tables that the map reads, by path; at the top stand the run and the curve that is launched."""
    tables: dict[str, Any] = {name: getattr(scenario, name) for name in _TABLES}
    tables[""] = SimpleNamespace(run=scenario.run, curves=curve)
    tables["gearbox.shift"], tables["drive.second_axle"] = scenario.gearbox.shift, scenario.drive.second_axle
    tables["tyres.front"], tables["tyres.rear"] = (scenario.tyres.of(axle) for axle in Axle)
    return tables


def _put(cars: Cars, row: Row, tables: Mapping[str, Any], where: Any = ...) -> None:
    made = row.made(*(getattr(tables[table], name, None) for table, name in row.places))
    if made is None:
        return
    target = field(cars, row.field)
    if isinstance(made, dict):
        for place, points in made.items():
            fill_table(target[:, place], *points)
    elif target.dtype.names:
        tables_there = target[where]
        fill_table(tables_there, *made)
        target[where] = tables_there
    elif target.ndim > 1:
        target[where, : made.shape[-1]] = made
    else:
        target[where] = made[:, 0] if np.ndim(made) == 2 else made


@cache
def _rows_of(keys: tuple[str, ...]) -> tuple[Row, ...]:
    """Rows of the map that read one of some keys."""
    read = {name for key in keys for name in _of_each_axle(key)}
    return tuple(row for row in ROWS if read & set(row.keys))


def _of_each_axle(key: str) -> tuple[str, ...]:
    both, _, name = key.partition("tyres.both.")
    return (key,) if both or not name else (f"tyres.front.{name}", f"tyres.rear.{name}")


def _dimension(scenario: Scenario, path: list[str]) -> Dimension:
    held: Any = reduce(getattr, path, scenario)
    dimension: Dimension = (held[0] if isinstance(held, tuple) else held).dimension
    return dimension


def _replaced(holder: Section, path: list[str], held: object) -> Section:
    """A section with something else at a key, unchecked."""
    name, *below = path
    return holder.model_copy(update={name: _replaced(getattr(holder, name), below, held) if below else held})
