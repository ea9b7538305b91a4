"""What decides a result that hangs on several uncertain values: Sobol indices of a polynomial through drawn cases.

The polynomial is orthonormal over the cases, so that its squared coefficients are shares of the variance. The cases are
those that were drawn anyway; nothing is launched for it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

_CASES_PER_TERM = 3  # fewer make a term of chance alone
_FLAT = 1e-9  # relative spread of a result that does not vary
_SINGULAR = 1e-13  # eigenvalue over the largest below which columns depend on one another
_BOUND = 0.5  # correlation from which values are drawn together, so that no share is one value's own


@dataclass(frozen=True)
class Effect:
    """How much of the spread of a result one uncertain value decides.

    Parameters
    ----------
    name : str
        The uncertain value.
    alone : float
        Share of the variance that goes with it alone: Sobol index of first order [-].
    in_all : float
        Share that would be gone if it were known: total Sobol index [-].
    """

    name: str
    alone: float
    in_all: float


@dataclass(frozen=True)
class _Terms:
    """Columns of a polynomial, each with the values that it is made of."""

    columns: Array
    members: tuple[tuple[int, ...], ...]


def _first_and_second(values: Array) -> tuple[Array, Array]:
    """Orthonormal polynomials of first and second degree of every value, over its own cases."""
    width = values.std(axis=0)
    first = (values - values.mean(axis=0)) / np.where(width > 0.0, width, 1.0)
    skew, flatness = (first**3).mean(axis=0), (first**4).mean(axis=0)
    rest = np.sqrt(np.maximum(flatness - skew**2 - 1.0, 1e-12))
    return first, (first**2 - skew * first - (width > 0.0)) / rest


def _candidates(values: Array) -> list[_Terms]:
    """Straight lines; curved ones; those with a product for each pair: as far as there are cases for them."""
    count = values.shape[1]
    first, second = _first_and_second(values)
    pairs = tuple(combinations(range(count), 2))
    single = tuple((j,) for j in range(count))
    lines = _Terms(first, single)
    curves = _Terms(np.hstack([first, second]), single * 2)
    products = np.array([first[:, i] * first[:, j] for i, j in pairs]).reshape(len(pairs), len(values)).T
    every = _Terms(np.hstack([curves.columns, products]), (*curves.members, *pairs))
    room = [each for each in (lines, curves, every) if _CASES_PER_TERM * len(each.members) < len(values)]
    return room or [lines]


class _Fit(NamedTuple):
    """Least squares: coefficients, the constant first, and how far each case lies from a fit without it."""

    coefficients: Array
    missed: Array


def _fitted(columns: Array, results: Array) -> _Fit:
    """A fit by the normal equations; columns are close to orthonormal, so that these lose no digits that count.

    Sums are left to `einsum`: for so few columns, the threads of a linear algebra library cost a hundred times what
    they save where other work keeps the cores busy.
    """
    every = np.column_stack([np.ones(len(results)), columns])
    values, vectors = np.linalg.eigh(np.einsum("ij,ik->jk", every, every))
    kept = values > _SINGULAR * values[-1]
    to_basis = vectors[:, kept] / np.sqrt(values[kept])
    basis = np.einsum("ij,jk->ik", every, to_basis)
    along = np.einsum("ij,i->j", basis, results)
    own = np.einsum("ij,ij->i", basis, basis)
    missed = (results - np.einsum("ij,j->i", basis, along)) / np.maximum(1.0 - own, 1e-9)
    return _Fit(np.einsum("jk,k->j", to_basis, along), missed)


def _left_open(fit: _Fit, results: Array) -> float:
    """Share of the variance that a fit leaves open in cases that it has not seen: each is left out in turn."""
    return float(np.mean(fit.missed**2) / np.var(results))


def effects(names: Sequence[str], values: Array, results: Array) -> tuple[tuple[Effect, ...], float]:
    """What decides a result, from cases that were drawn.

    Parameters
    ----------
    names : sequence of str
        What the columns of the values stand for.
    values : ndarray, shape (n, d)
        Uncertain values of each case, drawn independently.
    results : ndarray, shape (n,)
        Result of each case.

    Returns
    -------
    tuple of tuple of Effect and float
        The largest total first; and the share of the variance that the polynomial leaves open, found by leaving out one
        case at a time. Nothing and 1 where results are missing or do not vary, or where values hang together [-].

    Source: Sudret (2008), Reliab. Eng. Syst. Saf. 93, 964; choice of terms: Blatman, Sudret (2010), Probab. Eng. Mech.
    25, 183.
    """
    if not np.isfinite(results).all() or np.std(results) <= _FLAT * np.abs(results).max() or _hang_together(values):
        return (), 1.0
    candidates = _candidates(values)
    fits = [_fitted(terms.columns, results) for terms in candidates]
    open_by = [_left_open(fit, results) for fit in fits]
    best = int(np.argmin(open_by))
    left_open, terms = open_by[best], candidates[best]
    shares = fits[best].coefficients[1:] ** 2 / np.var(results)
    found = []
    for j, name in enumerate(names):
        alone = sum(share for share, members in zip(shares, terms.members, strict=True) if members == (j,))
        in_all = sum(share for share, members in zip(shares, terms.members, strict=True) if j in members)
        found.append(Effect(name, float(alone), float(in_all)))
    return tuple(sorted(found, key=lambda effect: -effect.in_all)), min(left_open, 1.0)


def _hang_together(values: Array) -> bool:
    width = values.std(axis=0)
    standard = (values - values.mean(axis=0))[:, width > 0.0] / width[width > 0.0]
    correlation = standard.T @ standard / len(values) - np.eye(standard.shape[1])
    return bool((np.abs(correlation) > _BOUND).any())
