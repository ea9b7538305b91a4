"""Which values logs cannot determine: combinations that leave no trace, and how far a doubtful value may go."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from simlaunch.fitting.parameters import Parameter
from simlaunch.fitting.problem import Problem
from simlaunch.fitting.solving import Solution, search

Array = NDArray[np.float64]

DETERMINED = 1.0
"""Logs do not identify a combination that they leave as uncertain as this, in usual spreads of its values."""

NARROWED = 0.5
"""A value that nobody asked for is fitted if the logs narrow it to this share of its usual spread [-]."""

MATTERS = 0.3
"""One with a stated spread is fitted if that spread moves the calculated run by so many errors of the logs [-]."""

_PART = 0.3  # a value has a part in a combination from this share of it on
_NOTHING = 1e-10  # of the largest eigenvalue: no information at all
_PROFILED = 7  # points on either side
_QUICK = 8


@dataclass(frozen=True)
class Unidentified:
    """A combination of values that the logs do not identify.

    Parameters
    ----------
    names : tuple of str
        The values that take part, the greatest part first.
    shares : tuple of float
        By how much each moves along, in usual spreads.
    uncertainty : float
        Standard deviation along it from the logs alone, in usual spreads; infinite where they say nothing of it.
    """

    names: tuple[str, ...]
    shares: tuple[float, ...]
    uncertainty: float


@dataclass(frozen=True)
class Identifiability:
    """How well logs distinguish values.

    Parameters
    ----------
    rank : int
        Combinations of which the logs say anything at all.
    of : int
        Values.
    condition : float
        Largest over smallest singular value of the scaled Jacobian [-].
    unidentified : tuple of Unidentified
        Combinations that they do not determine to better than one usual spread.
    """

    rank: int
    of: int
    condition: float
    unidentified: tuple[Unidentified, ...]


def without(information: Array, kept: NDArray[np.bool_]) -> Array:
    """Information on some unknowns when the others are not known: the Schur complement."""
    a, b = information[np.ix_(kept, kept)], information[np.ix_(kept, ~kept)]
    return np.asarray(a - b @ np.linalg.pinv(information[np.ix_(~kept, ~kept)], rcond=1e-12, hermitian=True) @ b.T)


def identifiability(names: Sequence[str], information: Array) -> Identifiability:
    """How well logs distinguish values.

    Parameters
    ----------
    names : sequence of str
        Of the values.
    information : ndarray, shape (n, n)
        What the logs say of them, counted in usual spreads.

    Returns
    -------
    Identifiability
        Rank, condition, and what is not identified.
    """
    values, vectors = np.linalg.eigh(0.5 * (information + information.T))
    values = np.maximum(values, 0.0)
    most = float(values[-1]) if values.size else 0.0
    rank = int(np.count_nonzero(values > _NOTHING * most)) if most > 0.0 else 0
    condition = float(np.sqrt(most / values[0])) if values.size and values[0] > 0.0 else np.inf
    unidentified = [
        _unidentified(names, vectors[:, k], float(1.0 / np.sqrt(value)) if value > 0.0 else np.inf)
        for k, value in enumerate(values)
        if value < 1.0 / DETERMINED**2
    ]
    return Identifiability(rank, len(names), condition, tuple(unidentified))


def _unidentified(names: Sequence[str], direction: Array, uncertainty: float) -> Unidentified:
    order = np.argsort(-np.abs(direction))
    part = [k for k in order.tolist() if abs(direction[k]) >= _PART]
    sign = np.sign(direction[part[0]])
    return Unidentified(tuple(names[k] for k in part), tuple(float(sign * direction[k]) for k in part), uncertainty)


def profile(problem: Problem, solution: Solution, k: int) -> tuple[float, float]:
    """Interval of one value from the profile of the likelihood: the others are fitted anew wherever it is held.

    Parameters
    ----------
    problem : Problem
        The problem.
    solution : Solution
        Its solution.
    k : int
        Column of the value.

    Returns
    -------
    tuple of float
        Ends of the interval in SI units; a bound of the value where the logs set none.

    Source: Venzon and Moolgavkar (1988), Applied Statistics 37, 87.
    """
    x, least, _ = search(problem, solution.x, _QUICK)
    ends = [_crossing(problem, solution, x, least, k, way) for way in (-1.0, 1.0)]
    real = problem.origin[k] + problem.scales[k] * np.array(ends)
    return float(real[0]), float(real[1])


def _crossing(problem: Problem, solution: Solution, x: Array, least: float, k: int, way: float) -> float:
    """Where the profile passes the cost of an interval's end, in scaled units; the bound where it does not.

    The root of the rise of the cost runs nearly straight, so it is followed from the solution outwards.
    """
    bound, wanted = float(problem.bounds[int(way > 0.0)][k]), 0.5 * solution.quantile**2
    step, here, root = max(float(solution.errors[k]), 1e-3) * solution.quantile, float(x[k]), 0.0
    for _ in range(_PROFILED):
        there = min(here + step, bound) if way > 0.0 else max(here - step, bound)
        held = x.copy()
        held[k] = there
        x, cost, _ = search(problem, held, _QUICK, held=np.arange(x.size) == k)
        passed = np.sqrt(max(cost - least, 0.0))
        if cost - least >= wanted:
            return here + (there - here) * float((np.sqrt(wanted) - root) / (passed - root))
        if there == bound:
            return bound
        here, root = there, passed
    return here


def worth_fitting(problem: Problem, x: Array) -> tuple[tuple[Parameter, ...], tuple[str, ...]]:
    """The values that the logs determine, or cannot be explained without, and a note on all the others."""
    size = problem.measured().size
    slopes = problem.jacobian(x)[:size]
    information = slopes.T @ slopes
    cars = np.array([bool(column.parameter and not column.parameter.sets) for column in problem.columns])
    inner = without(information, cars)
    parameters = [column.parameter for column in problem.columns if column.parameter and not column.parameter.sets]
    kept: list[int] = []
    for k, each in enumerate(parameters):
        if each.stated:
            moved = inner[k, k] * (each.spread / each.usual) ** 2
            if moved > (MATTERS * size**0.25) ** 2:
                kept.append(k)
            continue
        trial = [*kept, k]
        before = np.array([(parameters[j].usual / parameters[j].spread) ** 2 for j in trial])
        error = np.sqrt(np.linalg.inv(inner[np.ix_(trial, trial)] + np.diag(before))[-1, -1])
        if error < NARROWED:
            kept.append(k)
    left = [each.name for k, each in enumerate(parameters) if k not in kept]
    note = (f"left as they are, since these logs hardly determine them: {', '.join(left)}",) if left else ()
    return tuple(parameters[k] for k in sorted(kept)), note
