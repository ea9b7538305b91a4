"""How sure it is which of two curves is quicker, when grip, weather, weight and the rest are not known exactly.

Both curves are drawn with the same values, so that what they share drops out of their difference. Points come from
several scramblings of a Sobol sequence, each independent of the others: how far their results lie apart is what the
intervals are made of.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import ceil, floor, nan, sqrt

import numpy as np
from numpy.typing import NDArray

from simlaunch.choices import chosen
from simlaunch.errors import UsageError
from simlaunch.launching.goals import WORTH_NAMING, goal
from simlaunch.launching.launches import make_ready
from simlaunch.launching.out_of_reach import given_time
from simlaunch.launching.progress import Watch, count, following
from simlaunch.metrics.many import measure_many
from simlaunch.metrics.marks import Target
from simlaunch.parameters.fill import lower
from simlaunch.record import Pedal
from simlaunch.results import Result
from simlaunch.scenario.model import Scenario
from simlaunch.simulation import kernel
from simlaunch.simulation.batch import on_threads
from simlaunch.uncertainty.distributions import CONFIDENCE, t_quantile, wilson
from simlaunch.uncertainty.draws import Cars, Draws, draws
from simlaunch.uncertainty.effects import Effect, effects
from simlaunch.uncertainty.sobol import sobol

Array = NDArray[np.float64]
SCRAMBLINGS = 16
"""Independent scramblings that a study is made of at least."""
TOLERANCE = 2e-3
"""Relative error allowed per step: times of the demonstration cars are off by 2 ms at most, a fifth of what is worth
naming, and by half a millisecond as a root mean square [-]."""
QUANTILES = (0.05, 0.5, 0.95)
"""Shares of the cases at which times and differences are stated [-]."""
FEWEST_CASES, MOST_CASES = 64, 1_000_000

_TRIED_AGAIN = (1e-4, 1e-6)  # tolerances for a launch that could not be followed
_RARE = 10  # fewer outcomes than this say nothing about how scramblings differ
_ROUNDING = 1e-6  # of a share times a number of cases
_UNSEEN = 3.0  # cases in all that scramblings which agree may still be off by: rule of three


@dataclass(frozen=True)
class Chance:
    """A share of the cases, and the interval in which the true one lies [-]."""

    share: float
    low: float
    high: float


@dataclass(frozen=True, repr=False)
class Odds(Result):
    """Two curves under uncertain values; differences are times of the second less times of the first.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    seed : int
        Number that decides every draw.
    first, second : str
        Names of the curves.
    pedal : Pedal
        Full load throughout, or held slip.
    target : Target
        What is timed.
    times : ndarray, shape (n, 2)
        Times of both curves in every case; nan where the target was missed [s].
    scramblings : int
        Independent scramblings that the cases stand in, one after the other.
    first_quicker, second_quicker : Chance
        Share of the cases in which a curve is the quicker one; one that misses the target is slower than any other.
    first_by_more, second_by_more : Chance
        Share of the cases in which it is quicker by what is worth naming.
    effects : tuple of Effect
        What decides the difference, the largest first; empty where it was not asked for or a target was missed.
    lost : int
        Launches that could not be followed; they count as missed.
    left_open : float
        Share of the spread that the effects do not account for, as far as cases left out show; nan without
        effects [-].
    """

    study = "odds"

    scenario: Scenario
    seed: int
    first: str
    second: str
    pedal: Pedal
    target: Target
    times: Array
    scramblings: int
    first_quicker: Chance
    second_quicker: Chance
    first_by_more: Chance
    second_by_more: Chance
    effects: tuple[Effect, ...]
    lost: int = 0
    left_open: float = nan

    @property
    def cases(self) -> int:
        """How many cases were drawn."""
        return len(self.times)

    @property
    def reached(self) -> bool:
        """Whether some case reached the target, so that there is something to compare."""
        return bool(np.isfinite(self.times).any())

    @property
    def missed(self) -> tuple[int, int]:
        """Cases in which the first and the second curve missed the target."""
        first, second = np.isnan(self.times).sum(axis=0)
        return int(first), int(second)

    @property
    def level(self) -> float:
        """Share of the cases in which both curves reach the target with no difference worth naming [-]."""
        return float(np.mean(np.abs(self.difference) < WORTH_NAMING))

    @property
    def difference(self) -> Array:
        """Difference of every case; infinite where one curve missed the target, nan where both did [s]."""
        return difference(self.times)

    def turned(self) -> Odds:
        """The same cases with first and second curve the other way round."""
        return replace(
            self,
            first=self.second,
            second=self.first,
            times=self.times[:, ::-1],
            first_quicker=self.second_quicker,
            second_quicker=self.first_quicker,
            first_by_more=self.second_by_more,
            second_by_more=self.first_by_more,
        )

    def difference_quantiles(self) -> tuple[float, ...]:
        """Difference at `QUANTILES` of the cases in which at least one curve reached the target [s]."""
        return _quantiles(self.difference[~np.isnan(self.difference)])

    def time_quantiles(self, which: int) -> tuple[float, ...]:
        """Time of a curve at `QUANTILES` of the cases; a missed target is later than any time [s]."""
        return _quantiles(np.nan_to_num(self.times[:, which], nan=np.inf))


def difference(times: Array) -> Array:
    """Second time less first; a missed target is later than any time.

    Parameters
    ----------
    times : ndarray, shape (n, 2)
        Times; nan for a missed target [s].

    Returns
    -------
    ndarray, shape (n,)
        Infinite where one is missed, nan where both are [s].
    """
    first, second = np.isnan(times).T
    gap: Array = times[:, 1] - times[:, 0]
    gap[first & ~second], gap[second & ~first] = -np.inf, np.inf
    return gap


def _quantiles(values: Array) -> tuple[float, ...]:
    if not values.size:
        return (float("nan"),) * len(QUANTILES)
    ordered = np.sort(values)
    return tuple(_quantile(ordered, share) for share in QUANTILES)


def _quantile(ordered: Array, share: float) -> float:
    """Value that a share of sorted values stays below; the mean of both neighbours where the share falls between them.

    So differences turned the other way round have the same quantiles, turned the other way round.
    """
    place = share * ordered.size
    below = float(ordered[max(ceil(place - _ROUNDING) - 1, 0)])
    above = float(ordered[min(floor(place + _ROUNDING), ordered.size - 1)])
    return below if below == above else 0.5 * (below + above)


# --- points and shares ---


def sobol_points(cases: int, dimensions: int, seed: int) -> tuple[Array, int]:
    """Points of the unit cube: independent scramblings of a Sobol sequence, one after the other.

    Parameters
    ----------
    cases : int
        How many points are wanted; as many as whole scramblings need are made.
    dimensions : int
        Coordinates of a point.
    seed : int
        Number that decides them all.

    Returns
    -------
    tuple of ndarray, shape (n, dimensions), and int
        The points [-], and the number of scramblings.

    Raises
    ------
    UsageError
        Too few or too many points.

    Source: Owen (1997), Ann. Statist. 25, 1541, as in SciPy.
    """
    if not FEWEST_CASES <= cases <= MOST_CASES:
        raise UsageError(f"{cases} cases are out of range; give a number from {FEWEST_CASES} to {MOST_CASES}")
    power = (cases // SCRAMBLINGS).bit_length() - 1
    count = ceil(cases / 2**power)
    seeds = np.random.SeedSequence(seed).spawn(count)
    made = [sobol(dimensions, power, np.random.default_rng(each)) for each in seeds]
    return np.concatenate(made), count


def chance(outcomes: NDArray[np.bool_], scramblings: int) -> Chance:
    """Share of outcomes that are true, with its interval.

    The interval comes from how far independent scramblings lie apart (Student's t); where an outcome is too rare for
    that, it is the Wilson interval of independent draws, which is wider. Scramblings of one value or two may agree on
    every count, since a count is whole: what none of n of them shows is, with a confidence of 95 %, no more than 3 / n
    of a case in each.

    Parameters
    ----------
    outcomes : ndarray of bool, shape (n,)
        Outcomes, scrambling after scrambling.
    scramblings : int
        Their number.

    Returns
    -------
    Chance
        Share and interval [-].

    Source: L'Ecuyer et al. (2023), confidence intervals for randomized quasi-Monte Carlo estimators; Wilson (1927);
    rule of three: Hanley, Lippman-Hand (1983), J. Am. Med. Assoc. 249, 1743 (from memory).
    """
    shares = outcomes.reshape(scramblings, -1).mean(axis=1)
    share, true = float(shares.mean()), int(outcomes.sum())
    if min(true, outcomes.size - true) < _RARE:
        return Chance(share, *wilson(true, outcomes.size, CONFIDENCE))
    apart = t_quantile(CONFIDENCE, scramblings - 1) * float(shares.std(ddof=1)) / sqrt(scramblings)
    reach = max(apart, _UNSEEN / outcomes.size)
    return Chance(share, max(0.0, share - reach), min(1.0, share + reach))


# --- launches ---


class _Launches:
    """Times of both cars with drawn values, several stretches at a time."""

    def __init__(self, drawn: Draws, target: Target, tolerance: float, workers: int | None) -> None:
        self._drawn, self._target, self._tolerance, self._workers = drawn, target, tolerance, workers

    def times(self, values: Array) -> tuple[Array, int]:
        """Times of both cars in every case, and how many launches could not be followed."""
        found, lost = [], 0
        for times, more_lost in on_threads(lambda piece: self._some(values[piece]), len(values), self._workers):
            found.append(times)
            count(2 * len(times))
            lost += more_lost
        return np.concatenate(found), lost

    def _some(self, values: Array) -> tuple[Array, int]:
        """Times of both cars, and how many launches could not be followed."""
        found = [self._measured(self._drawn.made(values, which)) for which in (0, 1)]
        return np.column_stack([times for times, _ in found]), sum(lost for _, lost in found)

    def _measured(self, cars: Cars) -> tuple[Array, int]:
        measured = measure_many(cars, (self._target,), self._tolerance, times_only=True)
        times = measured.values[:, 0]
        open_rows = np.flatnonzero(~np.isin(measured.ending, kernel.FOLLOWED))
        for tolerance in _TRIED_AGAIN:
            if open_rows.size:
                again = measure_many(cars[open_rows], (self._target,), tolerance, times_only=True)
                times[open_rows] = again.values[:, 0]
                open_rows = open_rows[~np.isin(again.ending, kernel.FOLLOWED)]
        return times, open_rows.size


def two_curves(scenario: Scenario, names: Sequence[str]) -> tuple[str, str]:
    """The two curves that are set against each other.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    names : sequence of str
        Names that were asked for; the first two of the scenario for none.

    Returns
    -------
    tuple of str
        Names of curves of the scenario.

    Raises
    ------
    UsageError
        Not two of them, or no curve of that name.
    """
    asked = tuple(names or scenario.curve_names[:2])
    if len(asked) != 2:
        raise UsageError("odds are stated for two curves; name two with --curve")
    first, second = (scenario.curve(name).name for name in asked)
    return first, second


def odds(
    scenario: Scenario,
    first: str | None = None,
    second: str | None = None,
    *,
    pedal: Pedal | str = Pedal.FULL,
    target: Target | None = None,
    cases: int = 2048,
    seed: int = 0,
    with_effects: bool = True,
    tolerance: float = TOLERANCE,
    workers: int | None = None,
    watch: Watch | None = None,
) -> Odds:
    """Draw the uncertain values of a scenario, and launch both curves with each draw.

    Parameters
    ----------
    scenario : Scenario
        With uncertain values.
    first, second : str, optional
        Names of the curves; the first two of the scenario if both are left out.
    pedal : Pedal or str
        Full load throughout, or held slip: a member, or its words.
    target : Target, optional
        What is timed; the scenario's goal if left out.
    cases : int
        Pairs of launches that are wanted; as many as whole scramblings need are made.
    seed : int
        Number that decides every draw; the same one gives the same bits, whatever the number of workers.
    with_effects : bool
        Whether to find out what decides the difference.
    tolerance : float
        Relative error allowed per step [-].
    workers : int, optional
        Threads; one for each core if left out.
    watch : callable, optional
        Takes how many launches are done, and how many there will be.

    Returns
    -------
    Odds
        Shares of the cases with their intervals, times, and what decides.

    Raises
    ------
    UsageError
        No curve or pedal of that name, not two of them, nothing uncertain, or a number out of range.
    InputError
        A value that cannot be drawn.
    """
    first, second = two_curves(scenario, tuple(name for name in (first, second) if name is not None))
    if first == second:
        raise UsageError("the odds are between two different curves")
    if seed < 0:
        raise UsageError(f"seed {seed} is below zero; give a whole number from 0 on")
    driven = chosen(Pedal, pedal, "pedal")
    aim = goal(scenario) if target is None else target
    drawn = draws(scenario, (first, second), driven, aim)
    points, scramblings = sobol_points(cases, len(drawn.names), seed)
    values = drawn.values(points)
    with following(watch, 2 * len(values)):
        times, lost = _Launches(drawn, aim, tolerance, workers).times(values)
    with_effects = with_effects and drawn.root is None  # Sobol indices are defined for independent values only
    decides, left_open = effects(drawn.names, values, difference(times)) if with_effects else ((), nan)
    shares = shares_of(times, scramblings)
    return Odds(scenario, seed, first, second, driven, aim, times, scramblings, *shares, decides, lost, left_open)


def why_missed(found: Odds) -> str:
    """Why the first curve misses the target in the scenario as it stands, and what to write instead.

    Parameters
    ----------
    found : Odds
        In which no case reaches the target.

    Returns
    -------
    str
        From a launch with all the time that a scenario may give it.
    """
    car = lower(found.scenario, found.first, found.pedal)
    make_ready(car, (found.target,))
    return given_time(car, (found.target,)).why


def shares_of(times: Array, scramblings: int) -> tuple[Chance, Chance, Chance, Chance]:
    """How often each curve is quicker, and how often by what is worth naming.

    Parameters
    ----------
    times : ndarray, shape (n, 2)
        Times of both curves; nan for a missed target [s].
    scramblings : int
        Independent scramblings that the cases stand in.

    Returns
    -------
    tuple of Chance
        First quicker, second quicker, first quicker by `WORTH_NAMING`, second quicker by it.
    """
    gap = difference(times)
    return (
        chance(gap > 0.0, scramblings),
        chance(gap < 0.0, scramblings),
        chance(gap >= WORTH_NAMING, scramblings),
        chance(gap <= -WORTH_NAMING, scramblings),
    )
