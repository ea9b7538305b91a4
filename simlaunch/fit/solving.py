"""The solution of the least-squares problem: several starts, weights found from what is left over, and errors."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats
from scipy.optimize import least_squares

from simlaunch.fit.problem import Problem

Array = NDArray[np.float64]
Watch = Callable[[str], None]
End = tuple[Array, float, int]
"""Where a search ended: scaled unknowns, cost, and evaluations."""

ROBUST = 3.0
"""Residuals beyond so many standard deviations count less and less."""

CONFIDENCE = 0.95
"""How often an interval is meant to hold the true value [-]."""

WORTH_WEIGHING = 1.3
"""A channel whose residuals exceed its noise by this is weighed by its residuals instead [-]."""

_ROUGH = 12  # evaluations of a start before the starts are compared
_FINE = 40
_ENOUGH = 1e-4  # relative change at which a search ends; less is lost in the error of the integration
_APART = 4.0  # two solutions farther apart than this, in standard errors, are not the same
_ALIKE = 2.0  # a solution whose cost is no more than this above the least fits as well
_FARTHEST_START = 1.5  # in usual spreads


@dataclass(frozen=True)
class Solution:
    """Where the residuals are least, and how sure that is.

    Parameters
    ----------
    x : ndarray, shape (n,)
        Scaled unknowns.
    residuals : ndarray, shape (m,)
        In units of the noise they were weighed with.
    jacobian : ndarray, shape (m, n)
        How they change.
    covariance : ndarray, shape (n, n)
        Of the scaled unknowns, solutions elsewhere that fit as well included; zero for one at a bound.
    information : ndarray, shape (n, n)
        What the logs alone tell of the scaled unknowns.
    at_bound : ndarray of bool, shape (n,)
        Unknowns that stopped at a bound.
    quantile : float
        Half width of an interval, in standard errors [-].
    others : tuple of ndarray
        Solutions elsewhere that fit as well.
    evaluations : int
        How often the logs were held against cars.
    """

    x: Array
    residuals: Array
    jacobian: Array
    covariance: Array
    information: Array
    at_bound: NDArray[np.bool_]
    quantile: float
    others: tuple[Array, ...]
    evaluations: int

    @property
    def errors(self) -> Array:
        """Standard errors of the scaled unknowns."""
        return np.sqrt(np.maximum(np.diag(self.covariance), 0.0))


def _loss(data: int) -> Callable[[Array], Array]:
    """Soft L1 for what is measured, squares for what is known beforehand; rho(z) and its derivatives, z = r^2."""

    def rho(z: Array) -> Array:
        root = np.sqrt(1.0 + z / ROBUST**2)
        found = np.array([2.0 * ROBUST**2 * (root - 1.0), 1.0 / root, -0.5 / (ROBUST**2 * root**3)])
        found[0, data:], found[1, data:], found[2, data:] = z[data:], 1.0, 0.0
        return found

    return rho


def aligned(problem: Problem, x: Array) -> Array:
    """Unknowns with the values of the car as they are, and the clocks of the logs that suit them best.

    Parameters
    ----------
    problem : Problem
        The problem.
    x : ndarray, shape (n,)
        Scaled unknowns.

    Returns
    -------
    ndarray, shape (n,)
        The same, aligned; one launch for each log is run.
    """
    cars = np.array([column.parameter is not None for column in problem.columns])
    return search(problem, x, _ROUGH, held=cars)[0]


def search(problem: Problem, x: Array, evaluations: int = _FINE, *, held: NDArray[np.bool_] | None = None) -> End:
    """Least residuals from one start.

    Parameters
    ----------
    problem : Problem
        The problem.
    x : ndarray, shape (n,)
        Where to begin.
    evaluations : int
        Most evaluations of the residuals.
    held : ndarray of bool, shape (n,), optional
        Unknowns that stay where they are.

    Returns
    -------
    tuple of ndarray, float and int
        Scaled unknowns, cost, and evaluations.

    Source: Branch, Coleman and Li (1999), SIAM J. Sci. Comput. 21, 1, as in SciPy.
    """
    low, high = problem.bounds
    inside, free = np.clip(x, low + 1e-9, high - 1e-9), np.ones(x.size, bool) if held is None else ~held

    def whole(part: Array) -> Array:
        full = inside.copy()
        full[free] = part
        return full

    found = least_squares(
        lambda part: problem.residuals(whole(part)),
        inside[free],
        lambda part: problem.jacobian(whole(part), wanted=free)[:, free],
        bounds=(low[free], high[free]),
        loss=_loss(problem.measured().size),
        ftol=_ENOUGH,
        xtol=_ENOUGH,
        gtol=None,
        max_nfev=evaluations,
    )
    return whole(found.x), float(found.cost), int(found.nfev)


def _starts(problem: Problem, count: int, seed: int) -> list[Array]:
    """The scenario's own values, and points about them."""
    cars = np.array([column.parameter is not None for column in problem.columns])
    points = stats.qmc.LatinHypercube(len(cars), rng=np.random.default_rng(seed)).random(max(count - 1, 0))
    return [np.zeros(len(cars)), *(np.where(cars, _FARTHEST_START * (2.0 * point - 1.0), 0.0) for point in points)]


def solved(problem: Problem, *, starts: int, seed: int, watch: Watch | None = None) -> Solution:
    """Solve the problem from several starts, weigh the channels by what is left over, and tell the errors.

    Parameters
    ----------
    problem : Problem
        The problem; its noises are widened where a channel does not follow the car as closely as its noise allows.
    starts : int
        How many starts; the first is the scenario as it is.
    seed : int
        Decides the others.
    watch : callable, optional
        Told what is going on.

    Returns
    -------
    Solution
        Unknowns and errors.
    """
    tell = watch or (lambda line: None)
    found, evaluations = [], 0
    for n, start in enumerate(_starts(problem, starts, seed), start=1):
        x, cost, count = search(problem, aligned(problem, start), _ROUGH)
        tell(f"start {n} of {starts}: misfit {np.sqrt(2.0 * cost / problem.measured().size):.3g} times the noise")
        found.append((cost, x))
        evaluations += count
    found.sort(key=lambda pair: pair[0])
    end = search(problem, found[0][1])
    evaluations += end[2]
    if _weigh(problem, end[0]):
        tell("weighed by what is left over")
        end = search(problem, end[0])
    ends = sorted([end, *(search(problem, other) for _, other in found[1:])], key=lambda each: each[1])
    evaluations += sum(count for _, _, count in ends)
    return _with_errors(problem, ends[0][0], ends[1:], evaluations)


# --- weights and errors ---


def by_channel(problem: Problem) -> list[tuple[int, str, slice]]:
    """Log, channel and rows of the residuals that belong to it."""
    found, first = [], 0
    for i, channel in problem.channels():
        found.append((i, channel.name, slice(first, first + channel.time.size)))
        first += channel.time.size
    return found


def hanging_together(residuals: Array) -> float:
    """By how much the variance of a mean of residuals exceeds that of independent ones; no less than 1.

    f = 1 + 2 sum (1 - k / (K + 1)) r_k

    Parameters
    ----------
    residuals : ndarray, shape (n,)
        In the order of time.

    Returns
    -------
    float
        Factor [-].

    Source: Newey and West (1987), Econometrica 55, 703; the number of lags grows with the correlation (Andrews 1991).
    """
    n = residuals.size
    if n < 8 or not residuals.any():
        return 1.0
    centred = residuals - residuals.mean()
    power = float(centred @ centred)
    first = float(np.clip(centred[1:] @ centred[:-1] / power, 0.0, 0.97)) if power > 0.0 else 0.0
    lags = int(np.clip(1.1447 * (4.0 * first**2 / (1.0 - first**2) ** 2 * n) ** (1.0 / 3.0), 1, n // 4))
    shares = [float(centred[k:] @ centred[:-k]) / power for k in range(1, lags + 1)] if power > 0.0 else []
    return max(1.0, 1.0 + 2.0 * sum((1.0 - k / (lags + 1)) * share for k, share in enumerate(shares, start=1)))


def _weigh(problem: Problem, x: Array) -> bool:
    """Widen the noise of channels that are not followed as closely as it allows; whether any was."""
    residuals, widened = problem.residuals(x), False
    for i, name, rows in by_channel(problem):
        own = residuals[rows]
        size = float(np.median(np.abs(own))) / 0.6745 * np.sqrt(hanging_together(np.clip(own, -ROBUST, ROBUST)))
        if size > WORTH_WEIGHING:
            problem.noises[i, name] *= size
            widened = True
    return widened


def _sharpness(residuals: Array, unknowns: float) -> float:
    """What a squared slope is worth: (mean psi')^2 / mean psi^2, less for unknowns and for what hangs together.

    Source: Huber (1981), Robust Statistics, ch. 6, for the variance of an M-estimate.
    """
    root = np.sqrt(1.0 + (residuals / ROBUST) ** 2)
    influence, slope = residuals / root, 1.0 / root**3
    free = residuals.size / max(residuals.size - unknowns, 1.0)
    square = float(np.mean(influence**2)) * free * hanging_together(influence)
    return float(np.mean(slope)) ** 2 / max(square, 1e-12)


def _cost(problem: Problem, x: Array) -> float:
    """What a search makes least."""
    return 0.5 * float(_loss(problem.measured().size)(problem.residuals(x) ** 2)[0].sum())


def _rivals(problem: Problem, x: Array, errors: Array, ends: Sequence[End]) -> list[tuple[Array, float]]:
    """Ends of other searches that fit as well and lie elsewhere, each place once, with their costs above the least."""
    cars, least = np.array([column.parameter is not None for column in problem.columns]), _cost(problem, x)
    reach, found = _APART * np.maximum(errors, 1e-6)[cars], [(x, 0.0)]
    for end, cost, _ in ends:
        elsewhere = all((np.abs(end - other)[cars] > reach).any() for other, _ in found)
        if cost < least + _ALIKE and elsewhere:
            found.append((end, cost - least))
    return found[1:]


def widened(covariance: Array, x: Array, rivals: Sequence[tuple[Array, float]]) -> Array:
    """Covariance about one solution when the truth may as well lie at others.

    C + sum w_k (x_k - x)(x_k - x)', w_k in proportion to the likelihood exp(-cost), the first solution included

    Parameters
    ----------
    covariance : ndarray, shape (n, n)
        About each of them; what it holds fixed stays so.
    x : ndarray, shape (n,)
        The solution.
    rivals : sequence of tuple of ndarray and float
        The others, and by how much their cost is higher.

    Returns
    -------
    ndarray, shape (n, n)
        Second moment about the solution.

    Source: moments of a mixture of normal distributions of one covariance (closed form).
    """
    weights = np.exp([-cost for _, cost in rivals])
    away = np.array([np.where(np.diag(covariance) > 0.0, end - x, 0.0) for end, _ in rivals]).reshape(-1, x.size)
    return np.asarray(covariance + (away.T * weights) @ away / (1.0 + weights.sum()))


def _with_errors(problem: Problem, x: Array, ends: Sequence[End], evaluations: int) -> Solution:
    residuals, slopes = problem.residuals(x), problem.jacobian(x, central=True)
    size = problem.measured().size
    information, effective = np.zeros((x.size, x.size)), 0.0
    for _, _, rows in by_channel(problem):
        share = x.size * (rows.stop - rows.start) / size
        own = residuals[rows]
        information += _sharpness(own, share) * slopes[rows].T @ slopes[rows]
        effective += own.size / hanging_together(own)
    before = slopes[size:].T @ slopes[size:]
    low, high = problem.bounds
    at_bound = (x - low < 1e-3 * np.minimum(high - low, 1.0)) | (high - x < 1e-3 * np.minimum(high - low, 1.0))
    covariance = _inverse(information + before, ~at_bound)
    quantile = float(stats.t.ppf(0.5 + 0.5 * CONFIDENCE, max(effective - x.size, 3.0)))
    rivals = _rivals(problem, x, np.sqrt(np.diag(covariance)), ends)
    whole = widened(covariance, x, rivals)
    others = tuple(end for end, _ in rivals)
    return Solution(x, residuals, slopes, whole, information, at_bound, quantile, others, evaluations)


def _inverse(whole: Array, free: NDArray[np.bool_]) -> Array:
    """Covariance of the free unknowns; what nothing is known of gets a very large one rather than none."""
    out, places = np.zeros_like(whole), np.flatnonzero(free)
    part = whole[np.ix_(places, places)]
    values, vectors = np.linalg.eigh(part)
    out[np.ix_(places, places)] = (vectors / np.maximum(values, 1e-8)) @ vectors.T
    return out
