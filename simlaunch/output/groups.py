"""Groups of reported quantities as tables and as columns, with labels, units and keys from the one table of them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import isnan
from typing import Any

import numpy as np
from numpy.typing import NDArray

from simlaunch.analysis.parts import part_name
from simlaunch.metrics.parts import Part
from simlaunch.output.layout import Row, Table
from simlaunch.output.words import NOT_REACHED, Numbers
from simlaunch.quantities import Reported, reported
from simlaunch.scenario.model import Scenario
from simlaunch.units.spelling import Dimension

Names = Sequence[str] | None


def unit_of(each: Reported, numbers: Numbers) -> str:
    """Unit in which a quantity is shown; empty for a pure number, and for one with a format of its own."""
    return "" if each.format else numbers.unit(each.dimension)


def cell(each: Reported, source: object, numbers: Numbers) -> str:
    """What a result holds of a quantity, without its unit."""
    value = each.of(source)
    if value is None:
        return NOT_REACHED
    if each.format:
        return NOT_REACHED if isnan(value) else format(value, each.format)
    return numbers.signed(value, each.dimension) if each.sign else numbers.plain(value, each.dimension)


def cells(group: str, source: object, numbers: Numbers, only: Names = None) -> tuple[str, ...]:
    """A row of a table with a column for each quantity."""
    return tuple(cell(each, source, numbers) for each in reported(group, only).values())


def heads(group: str, numbers: Numbers, only: Names = None) -> tuple[str, ...]:
    """Names of the columns of such a table, with their units."""
    return tuple(with_unit(each.head, unit_of(each, numbers)) for each in reported(group, only).values())


def plain_heads(group: str, only: Names = None) -> tuple[str, ...]:
    """The same without units, for tables whose rows have units of their own."""
    return tuple(each.head for each in reported(group, only).values())


def row(label: str, values: Iterable[float], dimension: Dimension, numbers: Numbers, *, sign: bool = False) -> Row:
    """Numbers of one kind with their unit, a column for each."""
    write = numbers.signed if sign else numbers.plain
    return Row(label, numbers.unit(dimension), tuple(write(float(value), dimension) for value in values))


def with_unit(name: str, unit: str) -> str:
    """A name with its unit in brackets, where it has one."""
    return f"{name} [{unit}]" if unit else name


def table(title: str, group: str, sources: Iterable[tuple[str, object]], numbers: Numbers, only: Names = None) -> Table:
    """A row for each source under its label, and a column for each quantity of a group."""
    rows = (Row(label, "", cells(group, source, numbers, only)) for label, source in sources)
    return Table(title, heads(group, numbers, only), tuple(rows))


def rows(group: str, sources: Sequence[object], numbers: Numbers, only: Names = None) -> list[Row]:
    """A row for each quantity of a group, and a column for each source."""
    return [
        Row(each.label, unit_of(each, numbers), tuple(cell(each, source, numbers) for source in sources))
        for each in reported(group, only).values()
    ]


def of_car(rows: Iterable[Row], scenario: Scenario) -> list[Row]:
    """The rows with the coupling called what this car has, and none on a clutch that it has not."""
    name, second = part_name(Part.COUPLING, scenario), scenario.drive.second_axle is not None
    return [
        Row(each.label.replace(Part.COUPLING.value, name), each.unit, each.cells)
        for each in rows
        if second or Part.AXLE_CLUTCH.value not in each.label
    ]


def columns(group: str, sources: Sequence[object], only: Names = None) -> dict[str, NDArray[Any]]:
    """Values of several sources under the keys of JSON."""
    return {each.key: np.array([each.of(source) for source in sources]) for each in reported(group, only).values()}
