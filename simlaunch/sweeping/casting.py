"""From cases to the plain numbers of their cars, many at a time.

Reading and checking a scenario takes a thousandth of a second, so it is done once for each combination of names. What a
number does to the record is found out by trying: where it goes into the record as it is, or times a factor, it is put
there directly; where it does anything else, the scenario is read anew for each of its values. Both give the same bits.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from simlaunch.errors import InputError, ScenarioError
from simlaunch.record import CAR, Pedal
from simlaunch.scenario.lowering import lower
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.reading import changed
from simlaunch.sweeping.axes import ALTERNATIVE, PEDALS, Axis, Kind
from simlaunch.sweeping.plan import Cases, Plan
from simlaunch.units.quantity import read
from simlaunch.units.spelling import kinds

Words = NDArray[np.float64]
"""A record of a car as a row of numbers of eight bytes, which all its fields are."""

Cars = NDArray[np.void]
Rows = NDArray[np.int64]

_MOST_KEPT = 1024
_MOST_TRIED = 4
_PEDAL = dict(zip(PEDALS, (Pedal.FULL, Pedal.HELD_SLIP), strict=True))
_READ_ANEW = frozenset({"engine.rev_limit", "coupling.lock_up_gear", "coupling.lock_up_capacity"})
"""Numbers that are held against more of the scenario than stands in the record of one car."""


BETWEEN_FAULTS = " | "
"""Stands between the faults of a case that has several."""


def reason(error: InputError) -> str:
    """Why values cannot be used together, on one line: every fault by itself."""
    faults = error.faults if isinstance(error, ScenarioError) else (error,)
    return BETWEEN_FAULTS.join(" ".join(str(fault).split()) for fault in faults)


@dataclass(frozen=True)
class Place:
    """Where a number goes in the record, and what it is multiplied by there."""

    words: Rows
    factors: Words


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
        self._numbers = [j for j, axis in enumerate(plan.axes) if axis.kind is Kind.NUMBER]
        self._bases: OrderedDict[tuple[tuple[str, str], ...], Words | str] = OrderedDict()
        self._places: dict[tuple[tuple[str, str], ...], Mapping[int, Place]] = {}

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
                    changed(self.scenario, self.scenario.changes_to(ALTERNATIVE[axis.kind], name))

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
        changes: dict[str, object] = {}
        for axis in self.plan.axes:
            if axis.kind in ALTERNATIVE and axis.name in texts:
                changes |= self.scenario.changes_to(ALTERNATIVE[axis.kind], texts[axis.name])
        numbers = (self.plan.axes[j].name for j in self._numbers)
        changes |= {name: texts[name] for name in numbers if name in texts}
        scenario = changed(self.scenario, changes) if changes else self.scenario
        curve = texts.get(Kind.CURVE, self.scenario.curve_names[0])
        return scenario, curve, _PEDAL[texts.get(Kind.PEDAL, PEDALS[0])]

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
        words = cars.view(np.float64).reshape(len(cars), -1)
        open_rows = [row for rows in self._same_names(cases) for row in self._fill(words, cases, rows)]
        refused: dict[int, str] = {}
        for row in {*open_rows, *np.flatnonzero(doubtful(cars)).tolist()}:
            made = self._lowered(self.plan.texts(cases, row))
            if isinstance(made, str):
                refused[row] = made
            else:
                words[row] = made
        return Cast(cars, refused)

    def prime(self, cases: Cases) -> int:
        """Read the scenario for every combination of names among some cases; how many of them are new."""
        known = len(self._places)
        for rows in self._same_names(cases):
            self._places_for({self.plan.axes[j].name: self.plan.text(cases, int(rows[0]), j) for j in self._names})
        return len(self._places) - known

    def _same_names(self, cases: Cases) -> list[Rows]:
        """Rows of cases that share all their names, group by group."""
        if not self._names:
            return [np.arange(len(cases.position))]
        _, group = np.unique(cases.position[:, self._names], axis=0, return_inverse=True)
        group = group.reshape(-1)
        return [np.flatnonzero(group == g) for g in range(int(group.max()) + 1)]

    def _fill(self, words: Words, cases: Cases, rows: Rows) -> list[int]:
        """Fill the records of cases that share all their names; the rows for which that cannot be done."""
        names = {self.plan.axes[j].name: self.plan.text(cases, int(rows[0]), j) for j in self._names}
        places = self._places_for(names)
        anew = [j for j in self._numbers if j not in places]
        left_open = []
        for same in _runs(rows, cases.si[rows][:, anew]):
            numbers = {self.plan.axes[j].name: self.plan.text(cases, int(same[0]), j) for j in anew}
            base = self._base({**names, **numbers})
            if isinstance(base, str):
                left_open += same.tolist()
            else:
                words[same] = base
        for j, place in places.items():
            words[rows[:, None], place.words] = place.factors * cases.si[rows, j][:, None]
        return left_open

    def _base(self, texts: Mapping[str, str]) -> Words | str:
        """Record with some values of a case, or why there is none; those met last are kept."""
        key = tuple(texts.items())
        if key not in self._bases:
            self._bases[key] = self._lowered(texts)
        self._bases.move_to_end(key)
        if len(self._bases) > _MOST_KEPT:
            self._bases.popitem(last=False)
        return self._bases[key]

    def _lowered(self, texts: Mapping[str, str]) -> Words | str:
        """Record made by reading the scenario anew, or why it cannot be."""
        try:
            scenario, curve, pedal = self.scenario_of(texts)
        except InputError as error:
            return reason(error)
        return np.frombuffer(lower(scenario, curve, pedal).tobytes(), np.float64)

    def _places_for(self, names: Mapping[str, str]) -> Mapping[int, Place]:
        """Numbers that can be put into the record directly, by axis."""
        key = tuple(names.items())
        if key not in self._places:
            self._places[key] = self._found_places(names)
        return self._places[key]

    def _found_places(self, names: Mapping[str, str]) -> Mapping[int, Place]:
        plain = self._base(names)
        if isinstance(plain, str):
            return {}
        touched: dict[int, Rows] = {}
        found: dict[int, Place] = {}
        for j in self._numbers:
            touched[j], place = self._try(names, self.plan.axes[j], plain)
            if place is not None:
                found[j] = place
        alone = [j for j in found if not any(np.intersect1d(touched[j], touched[k]).size for k in touched if k != j)]
        return {j: found[j] for j in alone}

    def _try(self, names: Mapping[str, str], axis: Axis, plain: Words) -> tuple[Rows, Place | None]:
        """The words of the record that a number changes, and where it goes if that is plain."""
        tried = {text: self._lowered({**names, axis.name: text}) for text in _samples(axis)}
        made = {text: words for text, words in tried.items() if not isinstance(words, str)}
        changed_by = [words.view(np.int64) != plain.view(np.int64) for words in made.values()]
        touched = np.flatnonzero(np.any(changed_by, axis=0)) if changed_by else np.arange(plain.size)
        if axis.name in _READ_ANEW or len(made) < min(2, len(tried)):
            return touched, None
        one = self._lowered({**names, axis.name: _text_of_one(axis)})
        factors = np.ones(touched.size) if isinstance(one, str) else one[touched]
        si = np.array([_si(axis, text) for text in made])[:, None]
        seen = np.array([words[touched] for words in made.values()])
        direct = _same_bits(np.broadcast_to(si, seen.shape), seen)
        factors = np.where(direct, 1.0, factors)
        sound = _same_bits(factors * si, seen).all()
        return touched, Place(touched, factors) if sound else None


def _same_bits(a: Words, b: Words) -> NDArray[np.bool_]:
    """Whether columns agree to the last bit in every row."""
    same: NDArray[np.bool_] = np.ascontiguousarray(a).view(np.int64) == np.ascontiguousarray(b).view(np.int64)
    return np.asarray(same.all(axis=0))


def _runs(rows: Rows, values: Words) -> list[Rows]:
    """Rows that agree in all values, group by group."""
    if values.shape[1] == 0:
        return [rows]
    _, group = np.unique(values, axis=0, return_inverse=True)
    group = group.reshape(-1)
    return [rows[group == g] for g in range(int(group.max()) + 1)]


def _samples(axis: Axis) -> list[str]:
    """Some values of an axis: its ends and what lies between."""
    if axis.span is not None:
        return [axis.span.text(axis.span.at(share)) for share in (0.0, 0.37, 0.61, 1.0)]
    if len(axis.values) <= _MOST_TRIED:
        return list(axis.values)
    order = np.argsort(axis.si)
    return [axis.values[order[k]] for k in np.linspace(0, len(order) - 1, _MOST_TRIED).astype(int)]


def _si(axis: Axis, text: str) -> float:
    assert axis.dimension is not None, "only numbers are tried"
    return read(text, axis.dimension).si


def _text_of_one(axis: Axis) -> str:
    """The number one in SI units, as it would be typed; the bare number where no unit says so."""
    assert axis.dimension is not None, "only numbers are tried"
    spelled = (f"1 {spelling}".strip() for spelling in kinds()[axis.dimension].spelling)
    return next((text for text in spelled if read(text, axis.dimension).si == 1.0), "1")


def _one_of(scenario: Scenario, axis: Axis) -> None:
    """Refuse an axis of numbers none of which a scenario can take."""
    first: InputError | None = None
    for text in _samples(axis):
        try:
            changed(scenario, {axis.name: text})
        except InputError as error:
            first = first or error
        else:
            return
    if first is not None:
        raise first


def doubtful(cars: Cars) -> NDArray[np.bool_]:
    """Which cars may break a rule between sections of a scenario, so that it has to be read to tell.

    Parameters
    ----------
    cars : ndarray of CAR, shape (n,)
        Cars filled number by number.

    Returns
    -------
    ndarray of bool, shape (n,)
        False only where no number is at odds with another.
    """
    engine, body, launch = cars["engine"], cars["body"], cars["launch"]["engine_speed"]
    idle, limit = engine["idle"], engine["rev_limit"]
    shift = cars["gearbox"]["shift_speed"]
    shifts_outside = (shift <= idle[:, None]) | (shift > limit[:, None])
    speeds = (idle >= limit) | (engine["limiter_band"] >= limit - idle) | (launch < idle) | (launch >= limit)
    tall = body["cg_height"] > 0.6 * body["wheelbase"]
    return np.asarray(speeds | tall | shifts_outside.any(axis=1))
