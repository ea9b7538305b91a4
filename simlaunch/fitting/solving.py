"""The solution of the least-squares problem: several starts, weights found from what is left over, and errors."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import stats
from scipy.optimize import least_squares
from scipy.special import expit

from simlaunch.fitting.problem import BUMP, Problem
from simlaunch.fitting.residuals import misfit
from simlaunch.launching.progress import expect
from simlaunch.uncertainty.distributions import CONFIDENCE

Array = NDArray[np.float64]
Watch = Callable[[str], None]
End = tuple[Array, float, int]
"""Where a search ended: scaled unknowns, cost, and evaluations."""

ROBUST = 3.0
"""Residuals beyond so many standard deviations count less and less."""


WORTH_WEIGHING = 1.3
"""A channel whose residuals exceed its noise by this is weighed by its residuals instead [-]."""

_LAST_SEARCH = 2.0  # launches of the last search and of the errors, beside those of one start (measured: 1 to 3)
_ROUGH = 12  # evaluations of one search on the way from a start
_FINE = 40
_FEW = 4  # after which it is seen whether a search comes near
_ENOUGH = 1e-5  # relative change at which a search ends
_ROUNDS = 12  # searches on the way from a start
_SETTLED = 0.05  # residuals that shrink by less than this share from one search to the next are settled
_MORE_STARTS = 3  # times as many as asked for, where the first do not agree
_BLOCKS = 8  # stretches of a log that are left out in turn
_SMALLEST = 1e-6  # an error that counts, in usual spreads
_APART = 4.0  # two solutions farther apart than this, in standard errors, are not the same
_ALIKE = 2.0  # a solution whose cost is no more than this above the least fits as well
_NO_MODEL = 20.0  # a simpler car whose cost is so much higher, roughly sought, has no part in the errors
_HOPELESS = 2.0  # times the least misfit: from there no last search comes to it
_BLIND = 100.0  # times the noise, while nothing but the clocks is sought
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
        What the logs alone say of the scaled unknowns.
    at_bound : ndarray of bool, shape (n,)
        Unknowns that stopped at a bound.
    quantile : float
        Half width of an interval, in standard errors [-].
    others : tuple of ndarray
        Solutions elsewhere that fit as well.
    starts, agreeing : int
        How many starts were made, and how many of them ended here.
    evaluations : int
        How often the logs were held against cars.
    simpler_better : float
        By how much the logarithm of the likelihood is higher with a car whose half shafts do not twist and whose axle
        loads settle at once.
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
    starts: int = 1
    agreeing: int = 1
    simpler_better: float = -np.inf

    @property
    def agreed(self) -> bool:
        """Whether another start ended here too, if there was one."""
        return self.agreeing > 1 or self.starts == 1

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
    """Unknowns with the values of the car as they are, and the clocks of the logs that suit them best."""
    cars = np.array([column.parameter is not None for column in problem.columns])
    return search(problem, x, _ROUGH, held=cars)[0]


def search(
    problem: Problem,
    x: Array,
    evaluations: int = _FINE,
    *,
    held: NDArray[np.bool_] | None = None,
    central: bool = False,
) -> End:
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
    central : bool
        Whether slopes are looked for both ways.

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
        lambda part: problem.jacobian(whole(part), wanted=free, central=central)[:, free],
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
    """Solve the problem from several starts, weigh the channels by their residuals, and work out the errors.

    Parameters
    ----------
    problem : Problem
        The problem; its noises are widened where a channel does not follow the car as closely as its noise allows.
    starts : int
        How many starts; the first is the scenario as it is.
    seed : int
        Decides the others.
    watch : callable, optional
        Takes a line for each step of the work.

    Returns
    -------
    Solution
        Unknowns and errors.
    """
    report = watch or (lambda line: None)
    points = _starts(problem, starts if starts == 1 else _MORE_STARTS * starts, seed)
    found: list[tuple[float, Array]] = []
    for n, start in enumerate(points, start=1):
        found.append(_descended(problem, start))
        report(f"start {n} of {starts if n <= starts else len(points)}: residuals {found[-1][0]:.3g} times the noise")
        each = problem.runner.launches / n
        expect(round(each * (max(starts - n, 0) + _LAST_SEARCH)))
        if n == starts == 1 or (n >= 2 and _level(found, least=n < starts)):
            break
    found.sort(key=lambda pair: pair[0])
    _weigh(problem, found[0][1])
    report("the last search, channels weighed by their residuals")
    near = [x for left, x in found if left < _HOPELESS * found[0][0]]
    with problem.followed_more_closely() as closer:  # else the error of launches is rough enough to hold a search up
        ends = sorted([search(closer, x, central=True) for x in near], key=lambda each: each[1])
        return _with_errors(problem, closer, ends, len(found))


def _level(found: Sequence[tuple[float, Array]], *, least: bool) -> bool:
    """Whether two starts came as near to the logs as each other; least: and as near as the noise allows."""
    first, second = sorted(left for left, _ in found)[:2]
    return second < (1.0 + _SETTLED) * first and (not least or first < WORTH_WEIGHING)


def _descended(problem: Problem, start: Array) -> tuple[float, Array]:
    """Where a start leads, and the misfit there in units of the noise.

    Noises are taken as large as the residuals are and made smaller as these shrink. With those of the sensors at once a
    shift at another time weighs so much that the search stops in the next narrow valley, or its last steps are lost in
    the relative change at which it ends.

    Source: graduated non-convexity, Blake and Zisserman (1987), Visual Reconstruction; from memory.
    """
    own = {(i, channel.name): channel.noise for i, channel in problem.channels()}
    scale, x = dict.fromkeys(own, np.inf), start
    problem.noises.update({key: _BLIND * noise for key, noise in own.items()})
    x = aligned(problem, x)
    for _ in range(_ROUNDS):
        now = _sizes(problem, x)
        shrunk = {key: min(max(now[key] / own[key], 1.0), scale[key]) for key in own}
        if all(shrunk[key] > (1.0 - _SETTLED) * scale[key] for key in own):
            break
        scale = shrunk
        problem.noises.update({key: scale[key] * own[key] for key in own})
        x, _, _ = search(problem, x, _ROUGH)
    now = _sizes(problem, x)
    problem.noises.update(own)
    return float(np.sqrt(np.mean([(now[key] / own[key]) ** 2 for key in own]))), x


def _sizes(problem: Problem, x: Array) -> dict[tuple[int, str], float]:
    """Root mean square of the residuals of each channel, SI units."""
    residuals = problem.residuals(x)
    return {
        (i, name): float(np.sqrt(np.mean(residuals[rows] ** 2))) * problem.noises[i, name]
        for i, name, rows in by_channel(problem)
    }


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


def _weigh(problem: Problem, x: Array) -> None:
    """Widen the noise of channels that are not followed as closely as it allows."""
    residuals = problem.residuals(x)
    for i, name, rows in by_channel(problem):
        own = residuals[rows]
        size = float(np.median(np.abs(own))) / 0.6745 * np.sqrt(hanging_together(np.clip(own, -ROBUST, ROBUST)))
        if size > WORTH_WEIGHING:
            problem.noises[i, name] *= size


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
    reach, found = _APART * np.maximum(errors, _SMALLEST)[cars], [(x, 0.0)]
    for end, cost, _ in ends:
        elsewhere = all((np.abs(end - other)[cars] > reach).any() for other, _ in found)
        if cost < least + _ALIKE and elsewhere:
            found.append((end, cost - least))
    return found[1:]


def _of_a_simpler_car(problem: Problem, closer: Problem, x: Array) -> tuple[float, Array]:
    """By how much a car without twisting shafts and slow pitching fits better, and the second moment of its values.

    The search for these begins at the solution, about which the moment is taken; it is rough where it leads to no car
    that could have a part in the errors.
    """
    rough, simpler = problem.of_a_simpler_car(), closer.of_a_simpler_car()
    if rough is None or simpler is None:
        return -np.inf, np.zeros((x.size, x.size))
    least = _cost(closer, x)
    end = _followed_while_near(rough, x, least)
    better = least - _cost(simpler, end)
    if better < -_NO_MODEL:
        return better, np.zeros((x.size, x.size))
    end, cost, _ = search(simpler, end, central=True)
    return least - cost, _about(simpler, end).covariance + np.outer(end - x, end - x)


def _followed_while_near(problem: Problem, x: Array, wanted: float) -> Array:
    """Where a search leads, given up once a few evaluations gain less than its cost lacks."""
    x, cost, _ = search(problem, x, _FEW)
    while True:
        x, now, _ = search(problem, x, _FEW)
        if cost - now <= max(now - wanted - _NO_MODEL, _ENOUGH * now):
            return x
        cost = now


def mixed(first: Array, second: Array, better: float) -> Array:
    """Second moment of two models about the solution of the first, each as likely as it fits.

    (1 - w) C_1 + w C_2, w = 1 / (1 + exp(-better))

    Parameters
    ----------
    first, second : ndarray, shape (n, n)
        Second moments under each.
    better : float
        By how much the cost of the second is lower, costs being negative logarithms of the likelihood [-].

    Returns
    -------
    ndarray, shape (n, n)
        Second moment.

    Source: averaging over models, Hoeting et al. (1999), Statistical Science 14, 382; from memory.
    """
    weight = float(expit(better))
    return (1.0 - weight) * first + weight * second


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


class _About(NamedTuple):
    """What is known of the unknowns about one place."""

    residuals: Array
    jacobian: Array
    information: Array
    covariance: Array
    freedom: float


def _about(problem: Problem, x: Array) -> _About:
    """Errors about one solution, misfit and the error of launches counted in.

    One that stopped at a bound is free here: the others would have to move with it if it went on.
    """
    residuals, slopes = problem.residuals(x), problem.jacobian(x, central=True)
    information, effective, size = np.zeros((x.size, x.size)), 0.0, problem.measured().size
    for _, _, rows in by_channel(problem):
        share = x.size * (rows.stop - rows.start) / size
        own = residuals[rows]
        information += _sharpness(own, share) * slopes[rows].T @ slopes[rows]
        effective += own.size / hanging_together(own)
    before = slopes[size:].T @ slopes[size:]
    covariance = _inverse(information + before) + _numerical(problem, x, slopes)
    freedom = max(effective - x.size, 3.0)
    if _misfits(problem, residuals):
        moves = moves_without(slopes, residuals, _stretches(problem), size)
        covariance = no_less_than(covariance, moves)
        information *= _share_left(information + before, covariance)
        freedom = min(freedom, max(len(moves) - 1.0, 3.0))
    return _About(residuals, slopes, information, covariance, freedom)


def _with_errors(rough: Problem, problem: Problem, ends: Sequence[End], starts: int) -> Solution:
    """The best end with its errors; rough: the same problem with less exact launches."""
    x = ends[0][0]
    here = _about(problem, x)
    low, high = problem.bounds
    at_bound = (x - low < 1e-3 * np.minimum(high - low, 1.0)) | (high - x < 1e-3 * np.minimum(high - low, 1.0))
    quantile = float(stats.t.ppf(0.5 + 0.5 * CONFIDENCE, here.freedom))
    errors = np.sqrt(np.diag(here.covariance))
    rivals = _rivals(problem, x, errors, ends[1:])
    better, moment = _of_a_simpler_car(rough, problem, x)
    whole = mixed(widened(here.covariance, x, rivals), moment, better)
    whole[at_bound], whole[:, at_bound] = 0.0, 0.0
    cars = np.array([column.parameter is not None for column in problem.columns])
    near = _APART * np.maximum(errors, _SMALLEST)[cars]
    agreeing = sum(bool((np.abs(end - x)[cars] <= near).all()) for end, _, _ in ends)
    return Solution(
        x, here.residuals, here.jacobian, whole, here.information, at_bound, quantile,
        tuple(end for end, _ in rivals), sum(count for _, _, count in ends), starts, agreeing, better,
    )  # fmt: skip


def _numerical(problem: Problem, x: Array, slopes: Array) -> Array:
    """Square of how far the solution moves with less exact launches, and of the step of the differences."""
    moved = np.linalg.lstsq(slopes, -problem.lost(x), rcond=1e-10)[0]
    return np.asarray(np.outer(moved, moved) + BUMP**2 * np.eye(x.size))


# --- misfit in the errors ---


def _misfits(problem: Problem, residuals: Array) -> bool:
    """Whether there is more than noise in any channel, or what is left over hangs together more than noise does."""
    for (i, name, rows), (_, channel) in zip(by_channel(problem), problem.channels(), strict=True):
        weight = problem.noises[i, name]
        left = misfit(name, channel.time, channel.values, residuals[rows] * weight, channel.noise, weight)
        if weight > channel.noise or not left.noisy_only:
            return True
    return False


def _stretches(problem: Problem) -> Array:
    """For each sample, the stretch of its log in which it was taken; all channels of one log share its stretches."""
    found = []
    for i, channel in problem.channels():
        log = problem.runs[i].log
        part = np.floor(_BLOCKS * (channel.time - log.zero) / max(log.end - log.zero, 1e-9))
        found.append(i * _BLOCKS + np.clip(part, 0, _BLOCKS - 1))
    return np.concatenate(found)


def moves_without(slopes: Array, residuals: Array, stretches: Array, size: int) -> Array:
    """How far the solution moves when one stretch after the other is left out, in one step of Gauss and Newton.

    Parameters
    ----------
    slopes : ndarray, shape (m, n)
        Of the residuals; what is known beforehand in the last rows.
    residuals : ndarray, shape (m,)
        In units of their weights.
    stretches : ndarray, shape (size,)
        Number of the stretch that each sample belongs to.
    size : int
        Samples.

    Returns
    -------
    ndarray, shape (k, n)
        A row for each stretch.

    Source: Miller (1974), Biometrika 61, 1, for the jackknife; stretches rather than samples for dependent residuals,
    Kunsch (1989), Ann. Statist. 17, 1217. Both from memory.
    """
    root = np.sqrt(1.0 + (residuals[:size] / ROBUST) ** 2)
    influence, weight = residuals[:size] / root, 1.0 / root**3
    part, before = slopes[:size], slopes[size:]
    whole = (part.T * weight) @ part + before.T @ before
    numbers = np.unique(stretches)
    moves = np.zeros((numbers.size, slopes.shape[1]))
    for row, number in enumerate(numbers):
        own = stretches == number
        left = whole - (part[own].T * weight[own]) @ part[own]
        moves[row] = np.linalg.lstsq(left, part[own].T @ influence[own], rcond=1e-10)[0]
    return moves


def no_less_than(covariance: Array, moves: Array) -> Array:
    """A covariance, widened along every direction in which leaving out stretches moves the solution farther.

    Parameters
    ----------
    covariance : ndarray, shape (n, n)
        As the residuals give it if they are noise.
    moves : ndarray, shape (k, n)
        As `moves_without` finds them.

    Returns
    -------
    ndarray, shape (n, n)
        Widened; never smaller than the first.

    Source: variance of the jackknife, (k - 1)/k times the sum of squared moves about their mean (Miller 1974).
    """
    centred = moves - moves.mean(axis=0)
    spread = (len(moves) - 1.0) / len(moves) * centred.T @ centred
    values, vectors = np.linalg.eigh(covariance)
    root = vectors * np.sqrt(np.maximum(values, _SMALLEST**2))
    back = vectors / np.sqrt(np.maximum(values, _SMALLEST**2))
    sizes, ways = np.linalg.eigh(back.T @ spread @ back)
    turned = root @ ways
    return np.asarray((turned * np.maximum(sizes, 1.0)) @ turned.T)


def _share_left(information: Array, covariance: Array) -> float:
    """Share of the logs' information that is left once misfit is counted in: geometric mean over the unknowns [-]."""
    (_, before), (_, after) = np.linalg.slogdet(information), np.linalg.slogdet(covariance)
    return float(np.exp(np.clip(-(before + after) / len(information), -50.0, 0.0)))


def _inverse(whole: Array) -> Array:
    """Covariance of the unknowns; what nothing is known of gets a very large one rather than none."""
    values, vectors = np.linalg.eigh(whole)
    return np.asarray((vectors / np.maximum(values, 1e-8)) @ vectors.T)
