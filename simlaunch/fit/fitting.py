"""Fit a scenario to measured runs: values with their errors, what is left over, and what follows for times."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from math import isfinite

import numpy as np
from numpy.typing import NDArray

from simlaunch.decide.launches import aim
from simlaunch.errors import InputError, UsageError
from simlaunch.fit.apart import Apartness, apartness, profile, without
from simlaunch.fit.coasting import RoadLoad, road_load
from simlaunch.fit.histories import Runner
from simlaunch.fit.logs import Kind, LogRequest
from simlaunch.fit.misfit import Misfit, misfit
from simlaunch.fit.parameters import Parameter, cars_with, parameter, usual_names
from simlaunch.fit.problem import Problem, Run, Values, prepared
from simlaunch.fit.solving import Solution, Watch, by_channel, search, solved
from simlaunch.launch.run import complete
from simlaunch.measure.many import measure_many
from simlaunch.measure.marks import STANDARD, Kind as MarkKind, Target, marks
from simlaunch.record import Pedal, Record
from simlaunch.scenario.lowering import lower
from simlaunch.scenario.model import Scenario
from simlaunch.study.single import goal

Array = NDArray[np.float64]
Cars = NDArray[np.void]

NARROWED = 0.5
"""A value that nobody asked for is fitted if the logs narrow it to this share of its usual spread [-]."""

MATTERS = 0.3
"""One with a stated spread is fitted if that spread moves the calculated run by so many errors of the logs [-]."""

OFF = 0.02
"""Engine or wheel speed that is off by more than this share all along has another ratio, radius or unit [-]."""

_DRAWS = 150
_AT_ONCE = 16
_EXACT = 1e-4
_MOST_PROFILED = 2
_FEWEST_STEADY = 10


@dataclass(frozen=True)
class Fitted:
    """One value that was fitted; SI units, of a factor pure numbers.

    Parameters
    ----------
    parameter : Parameter
        What it is.
    log : int or None
        The log that it belongs to; None where it is shared.
    value : float
        The fitted one.
    error : float
        Standard error; 0 at a bound.
    low, high : float
        Interval that is meant to hold the true value in 95 % of cases; nan at a bound.
    from_logs : float
        Share of what is known of it that comes from the logs, not from before [-].
    at_bound : bool
        Whether it stopped at a bound.
    profiled : tuple of float or None
        Interval from the profile of the likelihood, where one was made.
    """

    parameter: Parameter
    log: int | None
    value: float
    error: float
    low: float
    high: float
    from_logs: float
    at_bound: bool
    profiled: tuple[float, float] | None = None


@dataclass(frozen=True)
class FittedRun:
    """One log beside the car that was fitted to it.

    Parameters
    ----------
    run : Run
        The log.
    start : float
        When the car was let go, in the time of the log [s].
    lag : float
        Lag of its speed [s].
    lag_error : float
        Standard error of the lag; 0 where it was given [s].
    misfits : tuple of Misfit
        What is left over, channel by channel.
    shown : mapping of str to ndarray
        What each channel should have shown at its samples, SI units.
    times : tuple of MarkTime
        Times to marks.
    road_load : RoadLoad or None
        For a coast-down.
    """

    run: Run
    start: float
    lag: float
    lag_error: float
    misfits: tuple[Misfit, ...]
    shown: dict[str, Array]
    times: tuple[MarkTime, ...]
    road_load: RoadLoad | None


@dataclass(frozen=True)
class MarkTime:
    """Time to one mark, from the moment the car is let go; nan where it was not reached [s].

    Parameters
    ----------
    target : Target
        The mark.
    logged : float
        As the log has it.
    before : float
        As the scenario had it.
    fitted : float
        As the fitted scenario has it.
    low, high : float
        Where 95 % of the cases lie that agree with the logs.
    """

    target: Target
    logged: float
    before: float
    fitted: float
    low: float
    high: float


@dataclass(frozen=True)
class Fit:
    """A scenario fitted to logs.

    Parameters
    ----------
    scenario : Scenario
        As it was.
    pedal : Pedal
        Full load throughout, or held slip.
    fitted : tuple of Fitted
        Values.
    correlation : ndarray, shape (n, n)
        Of their errors, in the same order; 0 for one at a bound [-].
    runs : tuple of FittedRun
        The logs.
    left_out : FittedRun or None
        A log that was predicted, not fitted.
    apart : Apartness
        How well the logs tell the values apart.
    warnings : tuple of str
        What speaks against the fit.
    notes : tuple of str
        What else is worth knowing.
    launches : int
        How many were run.
    """

    scenario: Scenario
    pedal: Pedal
    fitted: tuple[Fitted, ...]
    correlation: Array
    runs: tuple[FittedRun, ...]
    left_out: FittedRun | None
    apart: Apartness
    warnings: tuple[str, ...]
    notes: tuple[str, ...]
    launches: int

    def value(self, name: str, log: int | None = None) -> Fitted:
        """A fitted value by its name.

        Raises
        ------
        UsageError
            Nothing of that name was fitted.
        """
        for each in self.fitted:
            if each.parameter.name == name and each.log in (None, log):
                return each
        raise UsageError(f"{name} was not fitted; fitted were {', '.join(each.parameter.name for each in self.fitted)}")


# --- what is fitted ---


def _chosen(scenario: Scenario, names: Sequence[str], car: Record) -> tuple[Parameter, ...]:
    found: dict[str, Parameter] = {}
    for name in names:
        each = parameter(scenario, name, car)
        if each.name in found:
            raise UsageError(f"{each.name} is to be fitted twice; name it once")
        found[each.name] = each
    return tuple(found.values())


def _by_themselves(scenario: Scenario, car: Record, launched: bool) -> tuple[Parameter, ...]:
    """Everything that is worth a try and that the scenario can vary."""
    found = []
    for name in usual_names(scenario, launched=launched):
        try:
            found.append(parameter(scenario, name, car))
        except (InputError, UsageError):  # a value of no size, or that is not in this car
            continue
    return tuple(each for each in found if each.low < each.high)


def _worth_fitting(problem: Problem, x: Array) -> tuple[tuple[Parameter, ...], tuple[str, ...]]:
    """Of all that could be fitted, what the logs tell or what they cannot be understood without; and a word on it."""
    size = problem.measured().size
    slopes = problem.jacobian(x)[:size]
    information = slopes.T @ slopes
    cars = np.array([column.parameter is not None for column in problem.columns])
    inner = without(information, cars)
    parameters = [column.parameter for column in problem.columns if column.parameter]
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
    told = (f"left as they are, since these logs hardly tell them: {', '.join(left)}",) if left else ()
    return tuple(parameters[k] for k in sorted(kept)), told


# --- the whole way ---


def fit_logs(
    scenario: Scenario,
    logs: Sequence[LogRequest],
    parameters: Sequence[str] = (),
    *,
    own: Sequence[str] = (),
    left_out: int | None = None,
    lag: float | None = None,
    pedal: Pedal = Pedal.FULL,
    starts: int = 3,
    seed: int = 0,
    profiles: bool = False,
    workers: int | None = None,
    watch: Watch | None = None,
) -> Fit:
    """Fit values of a scenario to measured runs.

    Parameters
    ----------
    scenario : Scenario
        Stays as it is.
    logs : sequence of LogRequest
        Launches and coast-downs of the same car.
    parameters : sequence of str
        Names or keys of what is fitted; empty: what the logs tell.
    own : sequence of str
        Of these, what each log has a value of its own for.
    left_out : int, optional
        Place of a log that is predicted instead of fitted.
    lag : float, optional
        Lag of the logged speeds; found if left out [s].
    pedal : Pedal
        Full load throughout, or held slip.
    starts : int
        Starts of the search; the first is the scenario as it is.
    seed : int
        Decides the other starts, and the cases drawn for times.
    profiles : bool
        Whether to make the profile of every value's likelihood, not only where it is doubtful.
    workers : int, optional
        Threads; as many as there are processors if left out.
    watch : callable, optional
        Told what is going on.

    Returns
    -------
    Fit
        Values with their errors, what is left over, times.

    Raises
    ------
    UsageError
        A call that makes no sense.
    InputError
        A log or a value that cannot be used.
    """
    _check_call(logs, own, left_out, starts)
    runner = Runner(workers)
    try:
        return _Work(scenario, tuple(logs), pedal, runner, lag, seed).fit(
            parameters, own, left_out, starts, profiles, watch
        )
    finally:
        runner.close()


def _check_call(logs: Sequence[LogRequest], own: Sequence[str], left_out: int | None, starts: int) -> None:
    if not logs:
        raise UsageError("there is nothing to fit to; give at least one log")
    if left_out is not None and not 0 <= left_out < len(logs):
        raise UsageError(f"log {left_out + 1} cannot be left out; there are {len(logs)}")
    if left_out is not None and len(logs) < 2:
        raise UsageError("the only log cannot be left out; give a further one")
    if own and len(logs) < 2:
        raise UsageError("values of its own for each log need more than one log")
    if not 1 <= starts <= 100:
        raise UsageError(f"{starts} starts are out of range; give 1 to 100")


@dataclass
class _Work:
    """What every step of a fit needs."""

    scenario: Scenario
    logs: tuple[LogRequest, ...]
    pedal: Pedal
    runner: Runner
    lag: float | None
    seed: int

    def fit(
        self,
        names: Sequence[str],
        own: Sequence[str],
        left_out: int | None,
        starts: int,
        profiles: bool,
        watch: Watch | None,
    ) -> Fit:
        """All of it."""
        tell = watch or (lambda line: None)
        launched = any(request.kind is Kind.LAUNCH for request in self.logs)
        car = lower(self.scenario, self.scenario.curve_names[0], self.pedal)
        complete(car)
        wanted = _chosen(self.scenario, names, car) if names else _by_themselves(self.scenario, car, launched)
        runs = [prepared(self.scenario, request, wanted, self.pedal) for request in self.logs]
        notes: tuple[str, ...] = ()
        used = [run for i, run in enumerate(runs) if i != left_out]
        if not names:
            tell("looking for what the logs tell")
            trial = self._problem(used, wanted, ())
            wanted, notes = _worth_fitting(trial, _aligned(trial))
            if not wanted:
                raise InputError(
                    "these logs tell nothing about this scenario; check the car, or name what is to be fitted"
                )
        own_names = frozenset(each.name for each in _chosen(self.scenario, own, car))
        self._check_own(own_names, wanted)
        problem = self._problem(used, wanted, own_names)
        solution = solved(problem, starts=starts, seed=self.seed, watch=watch)
        tell("errors, and what they mean for times")
        return self._told(problem, solution, runs, left_out, profiles, notes)

    def _check_own(self, own: frozenset[str], wanted: Sequence[Parameter]) -> None:
        for name in own - {each.name for each in wanted}:
            raise UsageError(f"each log is to have its own {name}, which is not fitted; name it as fitted too")

    def _problem(
        self, runs: Sequence[Run], wanted: Sequence[Parameter], own: Sequence[str] | frozenset[str]
    ) -> Problem:
        lags = tuple(0.0 if run.log.kind is Kind.COAST_DOWN else self.lag for run in runs)
        return Problem(tuple(runs), tuple(wanted), frozenset(own), self.runner, lags)

    # --- results ---

    def _told(
        self,
        problem: Problem,
        solution: Solution,
        runs: Sequence[Run],
        left_out: int | None,
        profiles: bool,
        notes: tuple[str, ...],
    ) -> Fit:
        cars = np.array([column.parameter is not None for column in problem.columns])
        names = _column_names(problem)
        apart = apartness(names, without(solution.information, cars))
        fitted = _fitted(problem, solution)
        doubtful = {name for untold in apart.untold for name in untold.names}
        wanted = [k for k, name in enumerate(names) if profiles or name in doubtful]
        for k in wanted if profiles else wanted[:_MOST_PROFILED]:
            fitted[k] = replace(fitted[k], profiled=profile(problem, solution, k))
        draws = _draws(problem, solution, self.seed)
        told = [_fitted_run(problem, solution, i, draws, self.scenario) for i in range(len(problem.runs))]
        predicted = None if left_out is None else self._predicted(problem, solution, runs[left_out], draws)
        warnings = [
            *_log_warnings(told),
            *_misfit_warnings(told),
            *_bound_warnings(fitted),
            *_rival_warnings(problem, solution),
        ]
        errors = solution.errors[cars]
        scaled = solution.covariance[np.ix_(cars, cars)] / np.maximum(np.outer(errors, errors), 1e-300)
        return Fit(
            self.scenario, self.pedal, tuple(fitted), scaled, tuple(told), predicted, apart, tuple(warnings), notes,
            self.runner.launches,
        )  # fmt: skip

    def _predicted(self, problem: Problem, solution: Solution, run: Run, draws: Array) -> FittedRun:
        """The log that was left out: only its start and its lag are fitted."""
        values: dict[Parameter, list[float]] = {}
        for i in range(len(problem.runs)):
            for each, value in problem.values(solution.x, i).items():
                values.setdefault(each, []).append(value)
        lone = self._problem(
            [replace(run, car=cars_with(run.car, run.lines, [_means(values)]).view(np.recarray)[0])], (), ()
        )
        x, _, _ = search(lone, np.zeros(len(lone.columns)))
        noises = Solution(x, lone.residuals(x), np.zeros((0, 0)), np.zeros((x.size, x.size)), np.zeros((0, 0)),
                          np.zeros(x.size, bool), solution.quantile, (), 0)  # fmt: skip
        found = _fitted_run(lone, noises, 0, np.zeros((0, 0)), self.scenario)
        return replace(found, times=_times(replace(run, car=run.car), _means(values), found.start, self.scenario,
                                           [_means_of(problem, x_drawn) for x_drawn in draws]))  # fmt: skip


def _means(values: dict[Parameter, list[float]]) -> dict[Parameter, float]:
    return {each: float(np.mean(found)) for each, found in values.items()}


def _means_of(problem: Problem, x: Array) -> dict[Parameter, float]:
    """Values of the car, where logs have their own the mean of them."""
    found: dict[Parameter, list[float]] = {}
    for i in range(len(problem.runs)):
        for each, value in problem.values(x, i).items():
            found.setdefault(each, []).append(value)
    return _means(found)


def _aligned(problem: Problem) -> Array:
    """Unknowns with the values of the scenario, and starts and lags that suit them best."""
    bare = Problem(problem.runs, (), frozenset(), problem.runner, problem.lags)
    x, _, _ = search(bare, np.zeros(len(bare.columns)))
    count = len(problem.columns) - x.size
    return np.concatenate([np.zeros(count), x])


def _column_names(problem: Problem) -> list[str]:
    return [
        column.name if column.run is None else f"{column.name} of log {column.run + 1}"
        for column in problem.columns
        if column.parameter
    ]


def _fitted(problem: Problem, solution: Solution) -> list[Fitted]:
    found, real, errors = [], problem.real(solution.x), solution.errors * problem.scales
    for k, column in enumerate(problem.columns):
        if column.parameter is None:
            continue
        reach = solution.quantile * errors[k] if not solution.at_bound[k] else np.nan
        low, high = max(real[k] - reach, column.low), min(real[k] + reach, column.high)
        known = 1.0 - (errors[k] / column.parameter.spread) ** 2
        found.append(
            Fitted(
                column.parameter, column.run, float(real[k]), float(errors[k]),
                float(low) if isfinite(reach) else np.nan, float(high) if isfinite(reach) else np.nan,
                float(np.clip(known, 0.0, 1.0)), bool(solution.at_bound[k]),
            )
        )  # fmt: skip
    return found


def _draws(problem: Problem, solution: Solution, seed: int) -> Array:
    """Unknowns that agree with the logs, drawn from the normal distribution of their errors."""
    low, high = problem.bounds
    generator = np.random.default_rng(np.random.SeedSequence((seed, 0xF17)))
    drawn = generator.multivariate_normal(solution.x, solution.covariance, _DRAWS, method="eigh")
    return np.clip(drawn, low, high)


def _fitted_run(problem: Problem, solution: Solution, i: int, draws: Array, scenario: Scenario) -> FittedRun:
    run, x = problem.runs[i], solution.x
    start, lag = problem.start_and_lag(x, i)
    left, shown = [], {}
    for (log, name, rows), (_, channel) in zip(by_channel(problem), problem.channels(), strict=True):
        if log != i:
            continue
        residuals = solution.residuals[rows] * problem.noises[i, name]
        shown[name] = channel.values - residuals
        left.append(
            misfit(name, channel.time - start, channel.values, residuals, channel.noise, problem.noises[i, name])
        )
    of_lag = [k for k, column in enumerate(problem.columns) if column.lag and column.run == i]
    lag_error = float(solution.errors[of_lag[0]] * problem.scales[of_lag[0]]) if of_lag else 0.0
    values = problem.values(x, i)
    if run.log.kind is Kind.COAST_DOWN:
        speed, car = run.log.speed.values, cars_with(run.car, run.lines, [values]).view(np.recarray)[0]
        load = road_load(car, float(speed.min()), float(speed.max()))
        return FittedRun(run, start, lag, lag_error, tuple(left), shown, (), load)
    times = _times(run, values, start, scenario, [problem.values(each, i) for each in draws])
    return FittedRun(run, start, lag, lag_error, tuple(left), shown, times, None)


# --- times ---


def _times(run: Run, values: Values, start: float, scenario: Scenario, cases: Sequence[Values]) -> tuple[MarkTime, ...]:
    """Times to every mark that the log reaches, and to the scenario's goal."""
    logged = {mark.target: mark.time for mark in marks(run.log.account.trace)}
    later = run.log.account.zero - start
    targets = [target for target in STANDARD if isfinite(logged[target])]
    aimed = goal(scenario)
    if not any(aimed.kind is each.kind and abs(aimed.end - each.end) < 1e-9 for each in targets):
        targets.append(aimed)
        logged[aimed] = np.nan
    car = run.car.copy()
    aim(car, targets)
    car.run.time_limit = max(60.0, run.log.duration)
    everyone = cars_with(car, run.lines, [{}, values, *cases])
    found = measured_times(everyone, tuple(targets))
    told = []
    for k, target in enumerate(targets):
        shift = later if target.kind is not MarkKind.SPAN else 0.0
        spread = found[2:, k][np.isfinite(found[2:, k])]
        low, high = np.quantile(spread, [0.025, 0.975]).tolist() if spread.size > _FEWEST_STEADY else (np.nan, np.nan)
        told.append(MarkTime(target, logged[target] + shift, float(found[0, k]), float(found[1, k]), low, high))
    return tuple(told)


# --- what speaks against it ---


def measured_times(cars: Cars, targets: tuple[Target, ...]) -> Array:
    """Times of many launches, on several threads.

    Parameters
    ----------
    cars : ndarray of CAR, shape (n,)
        The cars, aimed at the targets.
    targets : tuple of Target
        What is timed.

    Returns
    -------
    ndarray, shape (n, k)
        Times; nan where a target was not reached [s].
    """
    stretches = [cars[first : first + _AT_ONCE] for first in range(0, len(cars), _AT_ONCE)]
    with ThreadPoolExecutor() as pool:
        found = pool.map(lambda part: measure_many(part, targets, _EXACT, times_only=True).values, stretches)
        return np.concatenate(list(found))


def _label(told: Sequence[FittedRun], i: int) -> str:
    return f"log {i + 1}: " if len(told) > 1 else ""


def _log_warnings(told: Sequence[FittedRun]) -> list[str]:
    return [f"{_label(told, i)}{line}" for i, each in enumerate(told) for line in each.run.log.warnings]


_WORDS = {
    "speed": "speed",
    "engine_speed": "engine speed",
    "wheel_speed_front": "speed of the front wheels",
    "wheel_speed_rear": "speed of the rear wheels",
}


def _misfit_warnings(told: Sequence[FittedRun]) -> list[str]:
    found = []
    for i, each in enumerate(told):
        for left in each.misfits:
            name = _WORDS[left.channel]
            off = _steadily_off(each, left.channel)
            if abs(off) > OFF:
                found.append(
                    f"{_label(told, i)}{name} is {abs(off):.1%} {'above' if off > 0 else 'below'} what gear ratios, final "
                    "drive and tyre radius give, in the middle of the run: look for a wrong ratio, radius, tyre or unit"
                )
            elif left.wrong:
                found.append(
                    f"{_label(told, i)}{name} does not follow this car: {left.share:.1%} of its largest value is left "
                    f"over, {left.rms / left.noise:.1f} times its noise, most of it {left.worst_time:.1f} s after the "
                    "start; look for a wrong gear ratio or unit, a driver who lifts, a grade, or another car"
                )
    return found


def _steadily_off(told: FittedRun, channel: str) -> float:
    """Median of measured over calculated less one, for channels that the gears tie to the speed [-]."""
    if channel == "speed":
        return 0.0
    log = next(each for each in told.run.log.channels if each.name == channel)
    shown, length = told.shown[channel], told.run.log.end - told.start
    middle = (log.time - told.start > 0.25 * length) & (shown > 0.0)
    speed = np.interp(log.time, told.run.log.speed.time, told.shown["speed"] - told.run.log.speed.values)
    close = middle & (np.abs(speed) < 0.02 * float(told.run.log.speed.values.max()))
    if close.sum() < _FEWEST_STEADY:
        return 0.0
    return float(np.median(log.values[close] / shown[close])) - 1.0


def _bound_warnings(fitted: Sequence[Fitted]) -> list[str]:
    return [
        f"{each.parameter.name} stopped at a bound: the logs would have it go further; check the car, the log, and what "
        "else is held fixed"
        for each in fitted
        if each.at_bound
    ]


def _rival_warnings(problem: Problem, solution: Solution) -> list[str]:
    if not solution.others:
        return []
    names, cars = _column_names(problem), [k for k, column in enumerate(problem.columns) if column.parameter]
    apart = max(solution.others, key=lambda other: np.abs((other - solution.x)[cars]).max())
    k = int(np.argmax(np.abs((apart - solution.x)[cars])))
    return [f"another start ended elsewhere and fits as well; {names[k]} differs most: give it, or a further log"]
