"""From cases to the plain numbers of their cars, many at a time.

The scenario is read once for each combination of names. Numbers go into copies of its record by the map of keys. A case
is read by itself only where a rule may refuse its numbers, so that the reason is that of a single run.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from simlaunch.errors import InputError, ScenarioError
from simlaunch.parameters.fill import Cars, lower, vary
from simlaunch.record import CAR, Car, Pedal
from simlaunch.scenario.model import Scenario, disagreements
from simlaunch.scenario.replacing import with_sections
from simlaunch.scenario.schema import quantity_at
from simlaunch.sweeping.axes import ALTERNATIVE, PEDALS, Axis, Kind
from simlaunch.sweeping.plan import Cases, Plan

Rows = NDArray[np.int64]

_MOST_KEPT = 1024
_MOST_TRIED = 4
_PEDAL = dict(zip(PEDALS, (Pedal.FULL, Pedal.HELD_SLIP), strict=True))

BETWEEN_FAULTS = " | "
"""Stands between the faults of a case that has several."""


def reason(error: InputError) -> str:
    """Why values cannot be used together, on one line: every fault by itself."""
    faults = error.faults if isinstance(error, ScenarioError) else (error,)
    return BETWEEN_FAULTS.join(" ".join(str(fault).split()) for fault in faults)


@dataclass(frozen=True)
class Cast:
    """Cars of a stretch of cases; a case whose values cannot be used has a reason in place of a car.

    Parameters
    ----------
    cars : ndarray of CAR, shape (n,)
        Numbers of the cars.
    refused : mapping of int to str
        Why a row has no car.
    """

    cars: Cars
    refused: Mapping[int, str]


@dataclass(frozen=True)
class _Base:
    """What cases with the same names have in common: a car, and the scenario whose numbers vary."""

    car: Car
    scenario: Scenario
    curve: str


class Caster:
    """Makes the cars of a plan.

    Parameters
    ----------
    scenario : Scenario
        What the plan varies.
    plan : Plan
        The cases.
    """

    def __init__(self, scenario: Scenario, plan: Plan) -> None:
        self.scenario = scenario
        self.plan = plan
        self._names = [j for j, axis in enumerate(plan.axes) if axis.kind is not Kind.NUMBER]
        self._numbers = {j: axis for j, axis in enumerate(plan.axes) if axis.kind is Kind.NUMBER}
        self._some_numbers = {axis.name: _samples(axis)[0] for axis in self._numbers.values()}
        self._bases: OrderedDict[tuple[int, ...], _Base | None] = OrderedDict()

    def check(self) -> None:
        """Try every name by itself, and what numbers are set to, before anything is run.

        Raises
        ------
        InputError
            A gear set, a tyre or a surface that the car cannot take, or an axis of numbers none of which it can.
        """
        for axis in self.plan.axes:
            if axis.kind is Kind.NUMBER:
                _one_of(self.scenario, axis)
            elif axis.kind in ALTERNATIVE:
                for name in axis.values:
                    self.scenario.replace(self.scenario.changes_to(ALTERNATIVE[axis.kind], name))

    def scenario_of(self, texts: Mapping[str, str]) -> tuple[Scenario, str, Pedal]:
        """Scenario, curve and pedal of one case, read and checked like any other.

        Parameters
        ----------
        texts : mapping of str to str
            Values by axis, as they would be typed; an axis left out stays as the scenario describes it.

        Returns
        -------
        tuple of Scenario, str and Pedal
            What `simulate` takes.

        Raises
        ------
        InputError
            The values cannot be used together.
        """
        changes, curve, pedal = self._changes(texts)
        return self.scenario.replace(changes) if changes else self.scenario, curve, pedal

    def _changes(self, texts: Mapping[str, str]) -> tuple[Mapping[str, object], str, Pedal]:
        """What a case changes in the scenario, its curve and its pedal."""
        changes: dict[str, object] = {}
        for axis in self.plan.axes:
            if axis.kind in ALTERNATIVE and axis.name in texts:
                changes |= self.scenario.changes_to(ALTERNATIVE[axis.kind], texts[axis.name])
        typed = (axis for axis in self.plan.axes if axis.kind in (Kind.NUMBER, Kind.LAUNCH))
        changes |= {axis.name: texts[axis.name] for axis in typed if axis.name in texts}
        return changes, texts.get(Kind.CURVE, self.scenario.curve_names[0]), _PEDAL[texts.get(Kind.PEDAL, PEDALS[0])]

    def cast(self, cases: Cases) -> Cast:
        """Cars of a stretch of cases.

        Parameters
        ----------
        cases : Cases
            The cases.

        Returns
        -------
        Cast
            The cars, equal to the last bit to those of single runs.
        """
        cars: Cars = np.zeros(len(cases.position), CAR)
        doubtful = [row for rows in self._same_names(cases) for row in self._fill(cars, cases, rows).tolist()]
        refused: dict[int, str] = {}
        for row in doubtful:
            try:
                cars[row] = lower(*self.scenario_of(self.plan.texts(cases, row)))
            except InputError as error:
                refused[row] = reason(error)
        return Cast(cars, refused)

    def prime(self, cases: Cases) -> int:
        """Read the scenario for every combination of names among some cases; how many of them are new."""
        firsts = [int(rows[0]) for rows in self._same_names(cases)]
        new = [row for row in firsts if self._names_of(cases, row) not in self._bases]
        for row in new:
            self._base(cases, row)
        return len(new)

    def _same_names(self, cases: Cases) -> list[Rows]:
        """Rows of cases that share all their names, group by group."""
        if not self._names:
            return [np.arange(len(cases.position))]
        _, group = np.unique(cases.position[:, self._names], axis=0, return_inverse=True)
        group = group.reshape(-1)
        return [np.flatnonzero(group == g) for g in range(int(group.max()) + 1)]

    def _fill(self, cars: Cars, cases: Cases, rows: Rows) -> Rows:
        """Fill the records of cases that share all their names; the rows that may be refused."""
        base = self._base(cases, int(rows[0]))
        if base is None:
            return rows
        cars[rows] = base.car
        columns = {axis.name: cases.si[rows, j] for j, axis in self._numbers.items()}
        if not columns:
            return rows[:0]
        at_odds = vary(cars, base.scenario, columns, rows, base.curve)
        possible = [_possible(axis, columns[axis.name]) for axis in self._numbers.values()]
        doubtful: Rows = rows[at_odds | ~np.all(possible, axis=0)]
        return doubtful

    def _names_of(self, cases: Cases, row: int) -> tuple[int, ...]:
        return tuple(cases.position[row, self._names].tolist())

    def _base(self, cases: Cases, row: int) -> _Base | None:
        """What the cases with the names of one have in common; those met last are kept."""
        key = self._names_of(cases, row)
        if key not in self._bases:
            self._bases[key] = self._read(self.plan.texts(cases, row))
        self._bases.move_to_end(key)
        if len(self._bases) > _MOST_KEPT:
            self._bases.popitem(last=False)
        return self._bases[key]

    def _read(self, texts: Mapping[str, str]) -> _Base | None:
        """Read the scenario with the names of a case; None where more than numbers may be amiss."""
        changes, curve, pedal = self._changes({**texts, **self._some_numbers})
        scenario = with_sections(self.scenario, changes)
        if scenario is None or disagreements(vars(scenario), numbers=False):
            return None
        return _Base(lower(scenario, curve, pedal), scenario, curve)


def _possible(axis: Axis, si: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Which numbers the key of an axis takes, each by itself."""
    limits = quantity_at(axis.name)
    assert limits is not None, "an axis of numbers has limits"
    assert axis.dimension is not None, "an axis of numbers has a kind"
    return limits.holds(si, axis.dimension)


def _samples(axis: Axis) -> list[str]:
    """Some values of an axis: its ends and what lies between."""
    if axis.span is not None:
        return [axis.span.text(axis.span.at(share)) for share in (0.0, 0.37, 0.61, 1.0)]
    if len(axis.values) <= _MOST_TRIED:
        return list(axis.values)
    order = np.argsort(axis.si)
    return [axis.values[order[k]] for k in np.linspace(0, len(order) - 1, _MOST_TRIED).astype(int)]


def _one_of(scenario: Scenario, axis: Axis) -> None:
    """Refuse an axis of numbers none of which a scenario can take."""
    first: InputError | None = None
    for text in _samples(axis):
        try:
            scenario.replace({axis.name: text})
        except InputError as error:
            first = first or error
        else:
            return
    if first is not None:
        raise first
