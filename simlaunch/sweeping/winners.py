"""Who wins where: two curves in every cell of a grid, and what changes the winner.

A *cell* is a combination of all that is varied but the curve. Gear sets, tyres, shifts and launch are choices; surfaces
and weather are conditions, and mass, drag and the like are values of the car: nobody chooses those.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from simlaunch.launching.goals import WORTH_NAMING
from simlaunch.sweeping.axes import Axis, Kind, Role
from simlaunch.sweeping.ranking import Order, Ranked, ranked
from simlaunch.sweeping.store import Reader, identifier
from simlaunch.units.spelling import Dimension

Array = NDArray[np.float64]

MOST_CELLS = 1_000_000
"""A grid with more cells is ranked, but not searched for winners."""

MOST_SETS = 12
"""More sets of conditions than this are not listed one by one."""


@dataclass(frozen=True)
class Tally:
    """How many cells either curve wins, and between which gaps.

    Parameters
    ----------
    first, second, level : int
        Cells that the first and the second curve win by more than is worth naming, and cells that are level.
    least, greatest : float
        Smallest and greatest gap, second curve less first; nan where no cell has one [unit of the measure].
    """

    first: int
    second: int
    level: int
    least: float
    greatest: float

    @property
    def cells(self) -> int:
        """Cells in which both curves got there."""
        return self.first + self.second + self.level


@dataclass(frozen=True)
class Turns:
    """How often an axis changes the winner.

    Parameters
    ----------
    turned, lines : int
        Of so many lines of cells along the axis, all else alike and with two results or more, how many hold a cell that
        the first curve wins and one that the second wins.
    """

    turned: int
    lines: int


@dataclass(frozen=True)
class Winners:
    """Two curves in every cell of a grid.

    Parameters
    ----------
    first, second : str
        Names of the curves.
    axes : tuple of Axis
        What the cells differ in.
    gap : ndarray
        Second curve less first in every cell, one dimension for each axis; nan where a curve did not get there.
    whole : Tally
        All cells.
    by_axis : mapping of str to sequence of Tally
        For each axis, the cells with each of its values, in the order of the axis.
    turns : mapping of str to Turns
        For each axis, how often it changes the winner.
    """

    first: str
    second: str
    axes: tuple[Axis, ...]
    gap: Array
    whole: Tally
    by_axis: Mapping[str, Sequence[Tally]]
    turns: Mapping[str, Turns]


def winner_of(gap: Array, wanted: Order) -> NDArray[np.int64]:
    """Who wins each cell: -1 the first curve, 1 the second, 0 neither by more than is worth naming."""
    ahead, least = gap if wanted.highest else -gap, WORTH_NAMING if wanted.by.dimension is Dimension.TIME else 0.0
    return np.where(ahead > least, 1, np.where(ahead < -least, -1, 0))


def _tally(gap: Array, signs: NDArray[np.int64]) -> Tally:
    known = ~np.isnan(gap)
    if not known.any():
        return Tally(0, 0, 0, np.nan, np.nan)
    first, second, level = (int((known & (signs == each)).sum()) for each in (-1, 1, 0))
    return Tally(first, second, level, float(np.nanmin(gap)), float(np.nanmax(gap)))


def _turns(gap: Array, signs: NDArray[np.int64], place: int) -> Turns:
    lines, known = np.moveaxis(signs, place, -1), np.moveaxis(~np.isnan(gap), place, -1).sum(axis=-1)
    turned = (lines == 1).any(axis=-1) & (lines == -1).any(axis=-1)
    return Turns(int(turned.sum()), int((known > 1).sum()))


def _results(reader: Reader, wanted: Order) -> Array:
    """The measure of every launch of a grid, by number; nan where it is not ranked."""
    counts = [len(axis.values) for axis in reader.study.plan.axes]
    found = np.full(int(np.prod(counts)), np.nan)
    statement = f"SELECT number, {identifier(wanted.by.name)} FROM launch WHERE {wanted.condition}"
    for number, value in reader.stream(statement, wanted.bounds):
        found[number] = value
    return found.reshape(counts)


def _two(results: Array, place: int, *, highest: bool) -> tuple[int, int] | None:
    """The two curves with the best results, in the order of the axis; None where fewer got anywhere."""
    by_curve = np.moveaxis(results, place, 0).reshape(results.shape[place], -1)
    known = [k for k, row in enumerate(by_curve) if not np.isnan(row).all()]
    if len(known) < 2:
        return None
    best = sorted(known, key=lambda k: float(np.nanmax(by_curve[k]) if highest else np.nanmin(by_curve[k])))
    if highest:
        best.reverse()
    first, second = sorted(best[:2])
    return first, second


def winners(reader: Reader, wanted: Order) -> Winners | None:
    """Two curves in every cell of a full grid.

    Parameters
    ----------
    reader : Reader
        File of results.
    wanted : Order
        By what, and among which launches.

    Returns
    -------
    Winners or None
        None without an axis of curves with two of them, for a sample, and for more cells than are searched. Of more
        than two curves, the two with the best results.
    """
    plan, highest = reader.study.plan, wanted.highest
    place = next((k for k, axis in enumerate(plan.axes) if axis.kind is Kind.CURVE and len(axis.values) > 1), None)
    if place is None or plan.sample is not None or reader.study.launches > MOST_CELLS:
        return None
    results = _results(reader, wanted)
    pair = _two(results, place, highest=highest)
    if pair is None:
        return None
    one, other = (np.take(results, k, axis=place) for k in pair)
    gap = other - one
    axes = tuple(axis for k, axis in enumerate(plan.axes) if k != place)
    signs = winner_of(gap, wanted)
    by_axis = {
        axis.name: [_tally(np.take(gap, v, axis=k), np.take(signs, v, axis=k)) for v in range(len(axis.values))]
        for k, axis in enumerate(axes)
    }
    turns = {axis.name: _turns(gap, signs, k) for k, axis in enumerate(axes)}
    names = [plan.axes[place].values[k] for k in pair]
    return Winners(names[0], names[1], axes, gap, _tally(gap, signs), by_axis, turns)


def best_by_condition(reader: Reader, wanted: Order) -> tuple[Ranked, ...]:
    """The best launch under each set of conditions and values of the car, which nobody chooses.

    Parameters
    ----------
    reader : Reader
        File of results.
    wanted : Order
        How to rank.

    Returns
    -------
    tuple of Ranked
        In the order of the grid; none where no condition varies, for a sample, and for more sets than are listed.
    """
    plan = reader.study.plan
    met = [axis for axis in plan.axes if axis.role is not Role.CHOICE and len(axis.values) > 1]
    sets = int(np.prod([len(axis.values) for axis in met])) if met else 0
    if plan.sample is not None or not 1 < sets <= MOST_SETS:
        return ()
    listed = ", ".join(identifier(axis.name) for axis in met)
    best = (
        f"SELECT number, {wanted.best}({identifier(wanted.by.name)}) FROM launch WHERE {wanted.condition} "
        f"GROUP BY {listed}"
    )
    numbers = [int(row[0]) for row in reader.rows(best, wanted.bounds)]
    rows = (reader.rows("SELECT * FROM launch WHERE number = ?", (number,))[0] for number in numbers)
    found = [ranked(reader.study, row) for row in rows]
    places = {axis.name: {value: k for k, value in enumerate(axis.si or axis.values)} for axis in met}
    return tuple(sorted(found, key=lambda each: [places[axis.name][each.values[axis.name]] for axis in met]))
