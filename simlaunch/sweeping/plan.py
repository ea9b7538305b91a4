"""The values of each case by its number: a pure function, so that any process can make any chunk of a sweep again."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from enum import StrEnum
from functools import lru_cache
from itertools import product
from typing import Any

import numpy as np
import scipy  # loads its parts when they are used
from numpy.typing import NDArray

from simlaunch.errors import UsageError
from simlaunch.sweeping.axes import Axis, Kind, Span
from simlaunch.units.spelling import Dimension

MOST_CASES = 100_000_000
MOST_LATIN = 100_000
"""A Latin hypercube is made in one go, and kept; beyond this size take a Sobol sequence."""

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]


class Draw(StrEnum):
    """How a sample is drawn."""

    SOBOL = "sobol"
    LATIN = "latin"


@dataclass(frozen=True)
class Sample:
    """A sample in place of the full grid: how it is drawn, of how many cases, from which seed."""

    draw: Draw
    count: int
    seed: int


@dataclass(frozen=True)
class Cases:
    """A chunk of cases, one row each, one column for each axis.

    Parameters
    ----------
    first : int
        Number of the first case.
    position : ndarray, shape (n, axes)
        Which value of the axis; -1 where a sample fills a range of numbers.
    number : ndarray, shape (n, axes)
        Numbers in the unit typed, of a range that a sample fills; else nan.
    si : ndarray, shape (n, axes)
        Numbers in SI units; nan for names.
    """

    first: int
    position: Integers
    number: Floats
    si: Floats


@dataclass(frozen=True)
class Plan:
    """Axes, and how they are crossed: in full, or by a sample."""

    axes: tuple[Axis, ...]
    sample: Sample | None = None

    def __post_init__(self) -> None:
        open_ended = next((axis.name for axis in self.axes if not axis.values), None)
        if self.sample is None and open_ended is not None:
            raise UsageError(f'{open_ended}: a full grid needs a number of values; write "... in 5", or give --sample')
        if not 1 <= self.size <= MOST_CASES:
            raise UsageError(f"{self.size} cases are not from 1 to {MOST_CASES}; vary less, or give --sample")
        if self.sample and self.sample.draw is Draw.LATIN and self.sample.count > MOST_LATIN:
            raise UsageError(f"a Latin hypercube is drawn in one go, of at most {MOST_LATIN} cases; take sobol instead")

    @property
    def size(self) -> int:
        """Number of cases."""
        return self.sample.count if self.sample else math.prod(len(axis.values) for axis in self.axes)

    def cases(self, first: int, last: int) -> Cases:
        """The cases from one number up to, but without, another.

        Parameters
        ----------
        first, last : int
            Numbers of cases, counted from 0.

        Returns
        -------
        Cases
            The same ones whenever and wherever they are asked for.
        """
        if self.sample is None:
            position = _grid_positions(tuple(len(axis.values) for axis in self.axes), first, last)
            return self._settled(first, position, np.zeros(position.shape))
        share = unit_points(self.sample, len(self.axes), first, last)
        counts = np.array([0 if axis.span else len(axis.values) for axis in self.axes])
        position = np.where(counts > 0, np.minimum((share * counts).astype(np.int64), counts - 1), -1)
        return self._settled(first, position, share)

    def _settled(self, first: int, position: Integers, share: Floats) -> Cases:
        number, si = np.full(position.shape, np.nan), np.full(position.shape, np.nan)
        for j, axis in enumerate(self.axes):
            if axis.span is not None and self.sample is not None:
                number[:, j] = [axis.span.at(each) for each in share[:, j].tolist()]
                unit = axis.shown_in
                assert unit is not None, "a range has a unit"
                si[:, j] = unit.si(number[:, j])
            elif axis.si:
                si[:, j] = np.array(axis.si)[position[:, j]]
        return Cases(first, position, number, si)

    def texts(self, cases: Cases, row: int) -> dict[str, str]:
        """Values of one case by axis, as they would be typed."""
        return {axis.name: self.text(cases, row, j) for j, axis in enumerate(self.axes)}

    def text(self, cases: Cases, row: int, column: int) -> str:
        """One value of one case, as it would be typed."""
        axis = self.axes[column]
        position = int(cases.position[row, column])
        if position >= 0:
            return axis.values[position]
        assert axis.span is not None, "only a range has no positions"
        return axis.span.text(float(cases.number[row, column]))

    @property
    def corner_count(self) -> int:
        """How many corners the grid has; of a sample, its first case and its last."""
        if self.sample is not None:
            return min(2, self.size)
        return int(2 ** sum(len(axis.values) > 1 for axis in self.axes))

    def corners(self, most: int) -> list[int]:
        """Numbers of cases at the corners of the grid; of a sample, its first and its last.

        Parameters
        ----------
        most : int
            How many to name; of more, a balanced part is taken, in which every axis is as often at its first value as
            at its last one, and so is every pair of axes as long as there are fewer axes than corners named.

        Returns
        -------
        list of int
            In rising order; the first case and, of few axes, the last are among them.

        Source: two-level designs from Hadamard matrices; Plackett and Burman 1946 (from memory).
        """
        if self.sample is not None:
            return sorted({0, self.size - 1})
        counts = np.array([len(axis.values) for axis in self.axes])
        varied = np.flatnonzero(counts > 1)
        last = _all_levels(len(varied)) if self.corner_count <= most else _two_levels(len(varied), most)
        position = np.zeros((len(last), len(counts)), np.int64)
        position[:, varied] = np.where(last, counts[varied] - 1, 0)
        numbers: list[int] = np.unique(np.ravel_multi_index(tuple(position.T), tuple(counts))).tolist()
        return numbers


def _all_levels(axes: int) -> NDArray[np.bool_]:
    """Which axes stand at their last value in every corner."""
    return np.array(list(product((False, True), repeat=axes)), bool).reshape(-1, axes)


def _two_levels(axes: int, most: int) -> NDArray[np.bool_]:
    """Which axes stand at their last value in a balanced part of all corners; in its first row none does."""
    runs = 1 << (max(2, most).bit_length() - 1)
    if axes <= runs // 2:  # with its mirror image: every three axes are balanced too, and the last corner is there
        half = _hadamard(runs // 2)[:, :axes]
        return np.concatenate([half, ~half])
    columns = 1 + np.arange(axes) % (runs - 1)
    return _hadamard(runs)[:, columns]


def _hadamard(runs: int) -> NDArray[np.bool_]:
    """Where a Hadamard matrix of Sylvester's kind, whose size is a power of two, is below zero."""
    place = np.arange(runs)
    return np.asarray(np.bitwise_count(place[:, None] & place) % 2 == 1)


def _grid_positions(counts: tuple[int, ...], first: int, last: int) -> Integers:
    """Digits of the case numbers in the mixed radix of the counts; the last axis turns quickest."""
    positions = np.unravel_index(np.arange(first, last), counts)
    return np.stack(positions, axis=1).astype(np.int64)


def unit_points(sample: Sample, dimensions: int, first: int, last: int) -> Floats:
    """Points of a sample in the unit cube, from one number up to another.

    Parameters
    ----------
    sample : Sample
        Sequence, size and seed.
    dimensions : int
        Number of axes.
    first, last : int
        Numbers of points, counted from 0.

    Returns
    -------
    ndarray, shape (last - first, dimensions)
        Shares from 0 to 1 [-].

    Source: Sobol sequence scrambled after Owen, and Latin hypercube, as in SciPy.
    """
    if sample.draw is Draw.LATIN:
        return _hypercube(sample, dimensions)[first:last]
    engine = scipy.stats.qmc.Sobol(dimensions, rng=sample.seed)
    if first > 0:
        engine.fast_forward(first)
        return np.asarray(engine.random(last - first))
    head = engine.random(1)  # SciPy warns of a first draw whose size is no power of two
    return np.concatenate([head, engine.random(last - 1)]) if last > 1 else head


@lru_cache(maxsize=4)
def _hypercube(sample: Sample, dimensions: int) -> Floats:
    return np.asarray(scipy.stats.qmc.LatinHypercube(dimensions, rng=sample.seed).random(sample.count))


def plan_as_json(plan: Plan) -> tuple[str, str]:
    """Axes and sample of a plan as JSON, from which `plan_from` makes it again."""
    return json.dumps([asdict(axis) for axis in plan.axes]), json.dumps(asdict(plan.sample) if plan.sample else None)


def plan_from(axes: str, sample: str) -> Plan:
    """Plan from the JSON of its axes and of its sample."""
    drawn = json.loads(sample)
    return Plan(
        tuple(_axis(entry) for entry in json.loads(axes)),
        Sample(Draw(drawn["draw"]), drawn["count"], drawn["seed"]) if drawn else None,
    )


def _axis(entry: Mapping[str, Any]) -> Axis:
    return Axis(
        entry["name"],
        Kind(entry["kind"]),
        tuple(entry["values"]),
        tuple(entry["si"]),
        Dimension(entry["dimension"]) if entry["dimension"] else None,
        entry["unit"],
        Span(**entry["span"]) if entry["span"] else None,
    )
