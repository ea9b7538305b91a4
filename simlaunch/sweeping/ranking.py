"""Rankings, groups, maps and trade-offs by SQL in the file itself, so that memory never holds more than the answer."""

from __future__ import annotations

import operator
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import inf
from typing import Any

import numpy as np
from numpy.typing import NDArray

from simlaunch.errors import Fault, InputError, UsageError
from simlaunch.metrics.many import Measure
from simlaunch.simulation.kernel import FINISHED
from simlaunch.sweeping.axes import Axis, Kind, called, choices
from simlaunch.sweeping.chunk import Study
from simlaunch.sweeping.store import Reader, identifier
from simlaunch.units.gate import quoted
from simlaunch.units.quantity import DisplayUnit, read
from simlaunch.units.spelling import Dimension

_CONSTRAINT = re.compile(r"\s*(?P<name>.+?)\s*(?P<sign><=|>=|!=|<|>|=)\s*(?P<bound>.+?)\s*")
_SIGNS: Mapping[str, Callable[[Any, Any], Any]] = {
    "<": operator.lt,
    "<=": operator.le,
    ">": operator.gt,
    ">=": operator.ge,
    "=": operator.eq,
    "!=": operator.ne,
}
_FOR_NAMES = ("=", "!=")

MOST_GROUPS = 12
"""An axis of numbers with more values than this is grouped in ranges."""

_RANGES = 6
_MOST_REASONS = 5


@dataclass(frozen=True)
class Constraint:
    """A condition for being ranked: a column, a sign, and a bound in SI units or a name."""

    text: str
    column: str
    sign: str
    bound: float | str

    @property
    def sql(self) -> str:
        """As a condition of a statement, with the bound left to be filled in."""
        return f"{identifier(self.column)} {self.sign} ?"

    def met_by(self, values: NDArray[Any]) -> NDArray[np.bool_]:
        """Which values of its column meet it."""
        return np.asarray(_SIGNS[self.sign](values, self.bound))


@dataclass(frozen=True)
class Order:
    """How launches are ranked: the measure, whether highest is best, and the constraints."""

    by: Measure
    highest: bool
    constraints: tuple[Constraint, ...]

    @property
    def best(self) -> str:
        """Name of the function that picks the best of a group."""
        return "max" if self.highest else "min"

    @property
    def condition(self) -> str:
        """Condition that selects the ranked launches: those that reached their goal and meet the constraints."""
        return " AND ".join(
            (
                f"ending = {FINISHED} AND {identifier(self.by.name)} IS NOT NULL",
                *(each.sql for each in self.constraints),
            )
        )

    @property
    def bounds(self) -> tuple[float | str, ...]:
        """Values to fill into the condition."""
        return tuple(each.bound for each in self.constraints)


@dataclass(frozen=True)
class Ranked:
    """One launch in a ranking: its number, its values by axis, and its measures by name."""

    number: int
    values: Mapping[str, str | float]
    measures: Mapping[str, float]


@dataclass(frozen=True)
class Group:
    """Launches that share a value, or a range of values, of one axis: the best of them, and how many there are."""

    axis: Axis
    label: str
    best: float
    number: int
    count: int


@dataclass(frozen=True)
class Findings:
    """Ranking, groups and counts of a file of results, finished or not.

    Parameters
    ----------
    study : Study
        The question that the file answers.
    order : Order
        How launches are ranked.
    best : sequence of Ranked
        The best launches, best first.
    groups : mapping of str to sequence of Group
        The best launch with each value of an axis, by axis.
    finished, failed, met : int
        Number of launches that are finished, that failed, and that are ranked.
    failures : mapping of str to int
        Number of failed launches by reason, for the most frequent reasons.
    """

    study: Study
    order: Order
    best: Sequence[Ranked]
    groups: Mapping[str, Sequence[Group]]
    finished: int
    failed: int
    met: int
    failures: Mapping[str, int]


def measure_named(text: str, study: Study) -> Measure:
    """Column of measures that goes by a name.

    Parameters
    ----------
    text : str
        Its name, such as ``time 1/4 mile``.
    study : Study
        What the file holds.

    Returns
    -------
    Measure
        The column.

    Raises
    ------
    UsageError
        There is none; the message names the nearest.
    """
    known = {measure.name: measure for measure in study.measures}
    return known[_known(text, known, "measure")]


def _known(text: str, known: Mapping[str, object], what: str) -> str:
    name = called(" ".join(text.split()))
    if name in known:
        return name
    raise UsageError(f"no {what} is called {quoted(text)}; choose from {choices(name, known)}")


def order(study: Study, by: str | None, constraints: Sequence[str]) -> Order:
    """How to rank, from text.

    Parameters
    ----------
    study : Study
        What the file holds.
    by : str, optional
        Name of a measure; the time to the scenario's goal if left out. Speeds rank highest first, every other measure
        lowest first.
    constraints : sequence of str
        Such as ``peak torque gearbox input < 700 N m`` or ``tyre != track``.

    Returns
    -------
    Order
        For the questions below.

    Raises
    ------
    UsageError
        A name that does not exist, or a constraint that is none.
    InputError
        A bound that is not a quantity of the right kind.
    """
    measure = measure_named(study.goal if by is None else by, study)
    return Order(measure, measure.dimension is Dimension.SPEED, tuple(_constraint(text, study) for text in constraints))


def _constraint(text: str, study: Study) -> Constraint:
    match = _CONSTRAINT.fullmatch(text)
    if match is None:
        raise UsageError(
            f'{quoted(text)} is not a constraint; write name, sign and bound, such as "wheelspin time < 1 s"'
        )
    axes = {axis.name: axis for axis in study.plan.axes}
    measures = {measure.name: measure for measure in study.measures}
    name = _known(match["name"], {**axes, **measures}, "axis or measure")
    sign, bound = match["sign"], match["bound"]
    axis = axes.get(name)
    if axis is not None and axis.kind is not Kind.NUMBER:
        if sign not in _FOR_NAMES or bound not in axis.values:
            raise UsageError(f"{quoted(text)}: for {name}, write = or != and one of {choices(bound, axis.values)}")
        return Constraint(text, name, sign, bound)
    if sign in _FOR_NAMES:
        raise UsageError(f"{quoted(text)}: numbers take <, <=, > or >=")
    dimension = axis.dimension if axis else measures[name].dimension
    return Constraint(text, name, sign, _bound(bound, dimension or Dimension.NUMBER, text))


def _bound(text: str, dimension: Dimension, whole: str) -> float:
    try:
        return read(text, dimension).si
    except InputError as error:
        fault: Fault = error.args[0]
        raise InputError(Fault(f"constraint {quoted(whole)}", fault.typed, fault.why, fault.instead)) from None


def axis_named(text: str, study: Study) -> Axis:
    """Axis that goes by a name.

    Parameters
    ----------
    text : str
        Its name, such as ``tyre`` or ``final drive``.
    study : Study
        What the file holds.

    Returns
    -------
    Axis
        The axis.

    Raises
    ------
    UsageError
        There is none.
    """
    known = {axis.name: axis for axis in study.plan.axes}
    return known[_known(text, known, "axis")]


def ranking(reader: Reader, wanted: Order, top: int) -> list[Ranked]:
    """The best launches that meet the constraints, best first; of equals, the first."""
    way = "DESC" if wanted.highest else "ASC"
    statement = (
        f"SELECT * FROM launch WHERE {wanted.condition} ORDER BY {identifier(wanted.by.name)} {way}, number LIMIT ?"
    )
    return [ranked(reader.study, row) for row in reader.rows(statement, (*wanted.bounds, top))]


def findings(reader: Reader, wanted: Order, top: int) -> Findings:
    """Ranking, groups and counts of a file of results."""
    failures = reader.rows(
        "SELECT reason, count(*) FROM launch WHERE ending <> 0 GROUP BY reason ORDER BY 2 DESC, 1 LIMIT ?",
        (_MOST_REASONS,),
    )
    return Findings(
        reader.study,
        wanted,
        ranking(reader, wanted, top),
        {axis.name: groups(reader, wanted, axis) for axis in reader.study.plan.axes},
        reader.count(),
        reader.count("ending <> 0"),
        reader.count(wanted.condition, wanted.bounds),
        dict(failures),
    )


def ranked(study: Study, row: Sequence[Any]) -> Ranked:
    """A launch from a row of the file."""
    axes = study.plan.axes
    after = 3 + len(axes)
    measures = zip((measure.name for measure in study.measures), row[after:], strict=True)
    values = zip((axis.name for axis in axes), row[1 : after - 2], strict=True)
    return Ranked(row[0], dict(values), {name: float("nan") if v is None else v for name, v in measures})


def _range_ends(axis: Axis) -> tuple[float, float] | None:
    """Ends of an axis of numbers that is grouped in ranges; None where every value is a group."""
    if axis.kind is not Kind.NUMBER:
        return None
    unit = axis.shown_in
    if axis.span is not None and unit is not None and (not axis.values or len(axis.values) > MOST_GROUPS):
        return unit.si(axis.span.low), unit.si(axis.span.high)
    return (min(axis.si), max(axis.si)) if len(axis.si) > MOST_GROUPS else None


@dataclass(frozen=True)
class Parting:
    """How an axis is parted into groups: an expression of a statement, and what each of its results stands for."""

    axis: Axis
    sql: str
    labels: tuple[str, ...]
    keys: tuple[str | float, ...]
    edges: tuple[float, ...] = ()
    """Ends of the ranges in the unit of the axis; none where it is parted value by value."""

    @property
    def numbers(self) -> tuple[float, ...]:
        """What it is parted by, in the unit of the axis: ends of ranges, or single values; none for names."""
        unit = self.axis.shown_in
        return self.edges or (() if unit is None else tuple(float(unit.of(float(key))) for key in self.keys))


def parting(study: Study, axis: Axis) -> Parting:
    """How an axis is parted: value by value, or in ranges where there are many.

    Parameters
    ----------
    study : Study
        What the file holds.
    axis : Axis
        One of its axes.

    Returns
    -------
    Parting
        Groups in the order of the axis.
    """
    sampled = study.plan.sample is not None and axis.span is not None
    ends = _range_ends(Axis(axis.name, axis.kind, (), (), axis.dimension, axis.unit, axis.span) if sampled else axis)
    column = identifier(axis.name)
    if ends is None:
        labels = tuple(axis.shown(value) for value in (axis.si or axis.values))
        return Parting(axis, column, labels, axis.si or axis.values)
    low, high = ends
    sql = f"CAST(min({_RANGES - 1}, max(0, ({column} - {low!r}) / {(high - low) / _RANGES!r})) AS INTEGER)"
    edges = [low + (high - low) * k / _RANGES for k in range(_RANGES + 1)]
    unit = axis.shown_in
    assert unit is not None, "only numbers have ranges"
    labels = tuple(_range_label(unit, a, b) for a, b in pairwise(edges))
    return Parting(axis, sql, labels, tuple(range(_RANGES)), tuple(float(unit.of(edge)) for edge in edges))


def _range_label(unit: DisplayUnit, low: float, high: float) -> str:
    return f"{unit.of(low):.5g} to {unit.of(high):.5g} {unit.label}".strip()


def groups(reader: Reader, wanted: Order, axis: Axis) -> list[Group]:
    """The best launch with each value of an axis that a ranked launch has, in the order of the axis."""
    parted = parting(reader.study, axis)
    statement = (
        f"SELECT {parted.sql} AS part, {wanted.best}({identifier(wanted.by.name)}), number, count(*) "
        f"FROM launch WHERE {wanted.condition} GROUP BY part"
    )
    found = {row[0]: row[1:] for row in reader.rows(statement, wanted.bounds)}
    named = zip(parted.keys, parted.labels, strict=True)
    return [Group(axis, label, *found[key]) for key, label in named if key in found]


def field(reader: Reader, wanted: Order, across: Sequence[Parting]) -> NDArray[np.float64]:
    """Best result for every combination of the groups of some axes, SI units; nan where no ranked launch lies."""
    best = f"{wanted.best}({identifier(wanted.by.name)})"
    return _by_cell(reader, across, best, wanted.condition, wanted.bounds)


def tally(reader: Reader, across: Sequence[Parting]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """How many launches are finished, and how many of them failed, for every combination of the groups of some axes."""
    finished, failed = (_by_cell(reader, across, what) for what in ("count(*)", "sum(ending <> 0)"))
    return np.nan_to_num(finished), np.nan_to_num(failed)


def _by_cell(
    reader: Reader, across: Sequence[Parting], what: str, condition: str = "1", bounds: Sequence[object] = ()
) -> NDArray[np.float64]:
    """A number for every combination of groups; nan where no launch lies."""
    listed = ", ".join(parted.sql for parted in across)
    parts = ", ".join(str(n) for n in range(1, len(across) + 1))
    statement = f"SELECT {listed}, {what} FROM launch WHERE {condition} GROUP BY {parts}"
    places = [{key: place for place, key in enumerate(parted.keys)} for parted in across]
    found = np.full([len(parted.keys) for parted in across], np.nan)
    for *keys, number in reader.stream(statement, bounds):
        found[tuple(place[key] for place, key in zip(places, keys, strict=True))] = number
    return found


def front(reader: Reader, wanted: Order, against: Measure) -> list[tuple[int, float, float]]:
    """Launches that no other one beats in both: the measure ranked by, and another of which less is better.

    Parameters
    ----------
    reader : Reader
        The file.
    wanted : Order
        How to rank.
    against : Measure
        The other measure, such as a torque of a part.

    Returns
    -------
    list of tuple of int, float and float
        Number, other measure, measure ranked by; by rising other measure.
    """
    other, own = identifier(against.name), identifier(wanted.by.name)
    way, sign = ("DESC", -1.0) if wanted.highest else ("ASC", 1.0)
    statement = (
        f"SELECT number, {other}, {own} FROM launch WHERE {wanted.condition} AND {other} IS NOT NULL "
        f"ORDER BY {other}, {own} {way}, number"
    )
    kept, least = [], inf
    for number, load, result in reader.stream(statement, wanted.bounds):
        if sign * result < least:
            least = sign * result
            kept.append((number, load, result))
    return kept


def cloud(reader: Reader, wanted: Order, against: Measure, most: int) -> Iterator[tuple[float, float]]:
    """Some of the launches behind a front: other measure and measure ranked by, evenly taken, as many as are wanted."""
    other, own = identifier(against.name), identifier(wanted.by.name)
    stride = max(1, reader.study.launches // most)
    statement = f"SELECT {other}, {own} FROM launch WHERE {wanted.condition} AND {other} IS NOT NULL AND number % ? = 0"
    yield from reader.stream(statement, (*wanted.bounds, stride))
