"""One torque curve from the stretches that several gears drove at full load, and where gears do not agree.

In a stretch the speed follows from the torque by Newton's second law, and is linear in it:

    v(t) = v_0 + integral of (T(w) / leverage - R) / m dt,  T(w) = sum of c_j B_j(w)

with cubic B-splines B_j over engine speed w, the road load R, and leverage and mass m of the gear. Least squares of the
logged speeds over all stretches give c and each v_0, so no speed is differentiated. Every stretch counts by what its
samples scatter by, the more where errors of neighbouring samples are alike, as those of a coarse display are. A penalty
on second differences of c keeps the curve smooth. Restricted maximum likelihood sets it, but lets a curve bend by half
a percent of its torque in 125 rpm at least. The covariance is that of the posterior, so what smoothing may hide counts
as uncertain.

Each gear is also fitted on its own. Two gears disagree where, in a band of engine speed that both drove, their torques
differ on average by more than three standard deviations of that difference and by more than one percent. The curve is
made of the most gears of which no two disagree; of sets of one size, of that with more torque, since a limit takes
torque away and adds none.

Source: P-splines, Eilers and Marx, Statistical Science 11 (1996) 89; restricted maximum likelihood and the posterior of
a smooth, Wood, Journal of the Royal Statistical Society B 73 (2011) 3 (both from memory).
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import BSpline

from simlaunch.units.quantity import RPM

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

BAND = 500.0 * RPM
"""Width of the bands in which gears are compared [rad/s]."""

DEVIATIONS = 3.0
"""Gears disagree from so many standard deviations of their difference on."""

LEAST = 0.01
"""And only where they differ by this share: twist of shafts and lag of sensors are not modelled here [-]."""

FEWEST = 8
"""Samples that a stretch needs."""

_KNOTS = 125.0 * RPM  # between the knots of the splines
_DEGREE = 3
_FINE = 0.01  # step of the integrals [s]
_LEAST_NOISE = 2e-3  # below which samples of a log count alike [m/s]
_BENDS = np.geomspace(0.005, 0.5, 33)  # second differences from knot to knot over the mean torque that are tried [-]
_FIRST_GUESS = 0.05  # scatter of a speed before anything is known [m/s]
_ALIKE = 0.9  # most that neighbouring errors are taken to be alike [-]
_END = 0.15  # of a stretch, on either side [s]
_COVERED = 0.4  # gears are compared in a band of which both drove this part


@dataclass(frozen=True)
class Stretch:
    """Neighbouring samples of one log in one gear at full load.

    Parameters
    ----------
    log : int
        Which log.
    gear : int
        Gear, first is 1.
    time, speed : ndarray, shape (n,)
        Time [s] and logged road speed [m/s].
    turns : ndarray, shape (n,)
        Engine speed, smoothed [rad/s].
    mass, resistance : ndarray, shape (n,)
        What is moved, with all that turns [kg], and the road load [N].
    leverage : float
        Torque at the crank for each newton at the road [m].
    """

    log: int
    gear: int
    time: Array
    speed: Array
    turns: Array
    mass: Array
    resistance: Array
    leverage: float

    @property
    def sure(self) -> tuple[float, float]:
        """Engine speeds that it covers but for its ends, which hang on few samples [rad/s]."""
        low, high = (float(np.interp(at, self.time, self.turns)) for at in (self.time[0] + _END, self.time[-1] - _END))
        return min(low, high), max(low, high)


@dataclass(frozen=True)
class _Basis:
    """B-splines over engine speed."""

    knots: Array

    @staticmethod
    def over(low: float, high: float) -> _Basis:
        """Even knots from one engine speed to another."""
        pieces = max(4, round((high - low) / _KNOTS))
        step = (high - low) / pieces
        return _Basis(np.asarray(low + step * np.arange(-_DEGREE, pieces + _DEGREE + 1), np.float64))

    @property
    def count(self) -> int:
        """How many splines."""
        return int(self.knots.size) - _DEGREE - 1

    def at(self, turns: Array) -> Array:
        """Values of every spline, shape (n, count)."""
        inside = np.clip(turns, self.knots[_DEGREE], self.knots[-_DEGREE - 1] * (1.0 - 1e-12))
        return np.asarray(BSpline.design_matrix(inside, self.knots, _DEGREE).toarray())


def _equations(stretch: Stretch, basis: _Basis) -> tuple[Array, Array]:
    """What each spline adds to the speed since the first sample, and the speed less what the road load takes."""
    time = stretch.time
    pieces = np.maximum(1, np.ceil(np.diff(time) / _FINE).astype(int))
    within = (np.linspace(a, b, n, endpoint=False) for a, b, n in zip(time[:-1], time[1:], pieces, strict=True))
    fine = np.concatenate([*within, time[-1:]])
    at = np.concatenate([[0], np.cumsum(pieces)])
    mass, slowing = np.interp(fine, time, stretch.mass), np.interp(fine, time, stretch.resistance)
    rates = np.column_stack([basis.at(np.interp(fine, time, stretch.turns)) / (stretch.leverage * mass)[:, None],
                             slowing / mass])  # fmt: skip
    steps = 0.5 * (rates[1:] + rates[:-1]) * np.diff(fine)[:, None]
    gained = np.vstack([np.zeros(rates.shape[1]), np.cumsum(steps, axis=0)])[at]
    return gained[:, :-1], stretch.speed + gained[:, -1]


@dataclass(frozen=True)
class Fitted:
    """Torque by least squares.

    Parameters
    ----------
    basis : _Basis
        Its splines.
    coefficients, covariance : ndarray
        Torque of each spline [N m], and how noise moves them.
    noise : dict of int to float
        Scatter of the speed in each log, larger where errors of neighbouring samples are alike [m/s].
    """

    basis: _Basis
    coefficients: Array
    covariance: Array
    noise: dict[int, float]

    def torque(self, turns: Array) -> Array:
        """Torque at engine speeds [N m]."""
        return np.asarray(self.basis.at(turns) @ self.coefficients)

    def scatter(self, turns: Array) -> Array:
        """Standard deviation of that [N m]."""
        values = self.basis.at(turns)
        return np.asarray(np.sqrt(np.einsum("ij,jk,ik->i", values, self.covariance, values)))

    def over(self, other: Fitted, turns: Array) -> tuple[float, float]:
        """Mean of this torque over that of another fit at some engine speeds, and its standard deviation [-]."""
        values = (self.basis.at(turns) / other.torque(turns)[:, None]).mean(axis=0)
        return float(values @ self.coefficients), float(np.sqrt(values @ self.covariance @ values))


def fit(stretches: Sequence[Stretch], basis: _Basis, noise: dict[int, float] | None = None) -> Fitted:
    """Torque of some stretches.

    Parameters
    ----------
    stretches : sequence of Stretch
        One at least.
    basis : _Basis
        Splines that reach over their engine speeds.
    noise : dict of int to float, optional
        Scatter of the speed in each log; found from the residuals if left out [m/s].

    Returns
    -------
    Fitted
        Torque, its covariance, and the scatter of each log.
    """
    equations = [_equations(each, basis) for each in stretches]
    if noise is None:
        alike = dict.fromkeys({each.log for each in stretches}, _FIRST_GUESS)
        noise = _solved(stretches, equations, basis, alike).noise
    return _solved(stretches, equations, basis, noise)


def _solved(
    stretches: Sequence[Stretch], equations: Sequence[tuple[Array, Array]], basis: _Basis, noise: dict[int, float]
) -> Fitted:
    """Weighed least squares with the penalty of highest likelihood.

    The start speed of a stretch drops out, since only differences from its mean are fitted.
    """
    weights = [1.0 / max(noise[each.log], _LEAST_NOISE) for each in stretches]
    rows = np.vstack([(a - a.mean(axis=0)) * w for (a, _), w in zip(equations, weights, strict=True)])
    right = np.concatenate([(b - b.mean()) * w for (_, b), w in zip(equations, weights, strict=True)])
    normal, bend = rows.T @ rows, np.diff(np.eye(basis.count), 2, axis=0)
    level = rows.sum(axis=1)
    mean = float(level @ right) / float(level @ level)  # the level curve that fits best
    tiny = np.eye(basis.count) * 1e-13 * np.trace(normal)

    def tried(share: float) -> tuple[float, Array, Array, Array]:
        penalty = bend.T @ bend / (share * mean) ** 2
        whole = normal + penalty + tiny
        inverse = np.linalg.inv(whole)
        found = inverse @ (rows.T @ right)
        rest = right - rows @ found
        misfit = float(rest @ rest + found @ penalty @ found)
        return misfit + np.linalg.slogdet(whole)[1] + 2.0 * len(bend) * float(np.log(share)), found, inverse, rest

    _, found, inverse, rest = min((tried(share) for share in _BENDS), key=lambda each: each[0])
    free = len(right) - len(stretches) - float(np.trace(inverse @ normal))
    ends = np.cumsum([0, *(len(b) for _, b in equations)])
    of_log: dict[int, list[Array]] = {}
    for each, weight, a, b in zip(stretches, weights, ends[:-1], ends[1:], strict=True):
        of_log.setdefault(each.log, []).append(rest[a:b] / weight)
    taken = len(right) / max(free, 1.0)  # what the fit has taken out of the residuals
    scatter = {log: _scatter(each) * float(np.sqrt(taken)) for log, each in of_log.items()}
    return Fitted(basis, found, inverse, scatter)


def _scatter(parts: Sequence[Array]) -> float:
    """Scatter of residuals, larger where neighbours are alike: so many of them say no more than a few.

    sd sqrt((1 + r) / (1 - r)) with r the correlation of neighbours

    Source: effective size of a sample with errors of first-order autocorrelation (from memory).
    """
    square = float(np.mean(np.concatenate(parts) ** 2))
    pairs = np.concatenate([part[1:] * part[:-1] for part in parts])
    alike = min(max(float(np.mean(pairs)) / max(square, 1e-300), 0.0), _ALIKE)
    return float(np.sqrt(square * (1.0 + alike) / (1.0 - alike)))


# --- gears ---


@dataclass(frozen=True)
class Apart:
    """Where a gear does not agree with the curve.

    Parameters
    ----------
    low, high : float
        Engine speeds [rad/s].
    gap : float
        Its torque over that of the curve, less 1 [-].
    scatter : float
        Standard deviation of that [-].
    """

    low: float
    high: float
    gap: float
    scatter: float


@dataclass(frozen=True)
class Joined:
    """The curve, and each gear on its own.

    Parameters
    ----------
    curve : Fitted
        Of all gears that agree.
    kept : tuple of int
        Those gears.
    gears : dict of int to Fitted
        Of each gear alone.
    apart : dict of int to tuple of Apart
        Where each of the other gears does not agree with the curve.
    stretches : tuple of Stretch
        What was fitted.
    """

    curve: Fitted
    kept: tuple[int, ...]
    gears: dict[int, Fitted]
    apart: dict[int, tuple[Apart, ...]]
    stretches: tuple[Stretch, ...]

    def covered(self, gears: Collection[int]) -> list[tuple[float, float]]:
        """Engine speeds that some gears drove: ranges that do not touch, in rising order [rad/s]."""
        return _covered([each for each in self.stretches if each.gear in gears])


def joined(stretches: Sequence[Stretch]) -> Joined:
    """One curve of stretches in several gears, and where the gears do not agree.

    A gear that does not agree in some band is left out of the curve everywhere: what holds it back there may do so
    elsewhere.

    Parameters
    ----------
    stretches : sequence of Stretch
        In any order; one at least.

    Returns
    -------
    Joined
        The curve of the gears that agree.
    """
    low = min(float(each.turns.min()) for each in stretches)
    high = max(float(each.turns.max()) for each in stretches)
    basis, numbers = _Basis.over(low, high), sorted({each.gear for each in stretches})

    def of(gears: Collection[int]) -> list[Stretch]:
        return [each for each in stretches if each.gear in gears]

    first = {gear: fit(of([gear]), basis) for gear in numbers}
    noise = {log: max(each.noise.get(log, 0.0) for each in first.values()) for log in {each.log for each in stretches}}
    gears = {gear: fit(of([gear]), basis, noise) for gear in numbers}
    gaps = {
        (one, other): _apart(gears[one], of([one]), gears[other], of([other]))
        for one in numbers
        for other in numbers
        if one != other
    }
    kept = _agreeing(numbers, gaps)
    curve = fit(of(kept), basis, noise)
    apart = {gear: _apart(gears[gear], of([gear]), curve, of(kept)) for gear in numbers if gear not in kept}
    return Joined(curve, kept, gears, apart, tuple(stretches))


def _agreeing(numbers: Sequence[int], gaps: Mapping[tuple[int, int], Sequence[Apart]]) -> tuple[int, ...]:
    """The most gears of which no two disagree; of sets of one size, that with more torque than the rest."""
    for size in range(len(numbers), 0, -1):
        sets = [each for each in combinations(numbers, size) if not any(gaps[pair] for pair in combinations(each, 2))]
        if sets:
            return max(sets, key=lambda each: _more(each, gaps))
    raise AssertionError("a single gear agrees with itself")


def _more(some: Sequence[int], gaps: Mapping[tuple[int, int], Sequence[Apart]]) -> float:
    """How much more torque some gears give than others, over all bands in which they disagree [-]."""
    return sum(each.gap for (one, other), found in gaps.items() if one in some and other not in some for each in found)


def _bands(ranges: Sequence[tuple[float, float]]) -> Iterator[tuple[float, float, Array]]:
    """Bands that some engine speeds cover for a good part: their ends, and speeds within."""
    if not ranges:
        return
    edges = np.arange(np.floor(ranges[0][0] / BAND), np.ceil(ranges[-1][1] / BAND) + 1.0) * BAND
    for start, end in pairwise(edges.tolist()):
        within = [(max(a, start), min(b, end)) for a, b in ranges if min(b, end) > max(a, start)]
        if sum(b - a for a, b in within) >= _COVERED * BAND:
            yield start, end, np.concatenate([np.linspace(a, b, 25) for a, b in within])


def _apart(own: Fitted, drove: Sequence[Stretch], curve: Fitted, others: Sequence[Stretch]) -> tuple[Apart, ...]:
    """Bands that both cover in which a gear differs from another fit by more than both scatter, neighbours joined."""
    found: list[Apart] = []
    for low, high, speeds in _bands(_shared(_covered(drove), _covered(others))):
        ratio, scatter = own.over(curve, speeds)
        scatter = float(np.hypot(scatter, np.mean(curve.scatter(speeds) / curve.torque(speeds))))
        gap = ratio - 1.0
        if abs(gap) <= max(DEVIATIONS * scatter, LEAST):
            continue
        if found and found[-1].high == low and found[-1].gap * gap > 0.0:
            last = found.pop()
            bands = round((last.high - last.low) / BAND)
            gap, scatter = ((a * bands + b) / (bands + 1) for a, b in ((last.gap, gap), (last.scatter, scatter)))
            low = last.low
        found.append(Apart(low, high, gap, scatter))
    return tuple(found)


def _covered(stretches: Sequence[Stretch]) -> list[tuple[float, float]]:
    """What some stretches cover but for their ends, merged."""
    found: list[tuple[float, float]] = []
    for low, high in sorted(each.sure for each in stretches):
        if found and low <= found[-1][1]:
            found[-1] = (found[-1][0], max(found[-1][1], high))
        else:
            found.append((low, high))
    return found


def _shared(one: Sequence[tuple[float, float]], other: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """What two sets of ranges have in common."""
    both = [(max(a, c), min(b, d)) for a, b in one for c, d in other]
    return sorted((low, high) for low, high in both if low < high)
