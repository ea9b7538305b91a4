"""Fit a scenario to measured runs: values with their errors, what is left over, and what follows for times."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import isfinite

import numpy as np
from numpy.typing import NDArray

from simlaunch.analysis.log import with_radii
from simlaunch.choices import chosen
from simlaunch.errors import InputError, UsageError
from simlaunch.fitting.histories import Runner, road_load
from simlaunch.fitting.identifiability import identifiability, profile, without, worth_fitting
from simlaunch.fitting.logs import Kind, LogRequest, gears_of_roll
from simlaunch.fitting.parameters import Parameter, cars_with, parameter, usual_names
from simlaunch.fitting.problem import Problem, Run, Timing, Values, prepared
from simlaunch.fitting.residuals import misfit
from simlaunch.fitting.result import Fit, Fitted, FittedRun, MarkTime, column_names, warnings_of
from simlaunch.fitting.solving import Solution, Watch, aligned, by_channel, search, solved
from simlaunch.launching.goals import goal
from simlaunch.launching.launches import measure_all
from simlaunch.launching.ready import aim, runnable
from simlaunch.metrics.marks import STANDARD, Target, mark, marks
from simlaunch.metrics.marks import Kind as MarkKind
from simlaunch.record import Car, Pedal
from simlaunch.scenario.model import Scenario
from simlaunch.simulation.run import complete
from simlaunch.simulation.trace import Trace

Array = NDArray[np.float64]
Cars = NDArray[np.void]
LogPath = str | os.PathLike[str]

_DRAWS = 150
_EXACT = 1e-4
_MOST_PROFILED = 2
_ROUGH = 12  # evaluations by which the gear of a roll is found
_FEWEST_STEADY = 10


# --- what is fitted ---


def _chosen(scenario: Scenario, names: Sequence[str], car: Car) -> tuple[Parameter, ...]:
    found: dict[str, Parameter] = {}
    for name in names:
        each = parameter(scenario, name, car)
        if each.name in found:
            raise UsageError(f"{each.name} is named twice as a value to fit; name it once")
        found[each.name] = each
    return tuple(found.values())


def _by_speed_alone(runs: Sequence[Run]) -> tuple[str, ...]:
    """What to know where no launch shows more than speed: values then take in what another car does differently."""
    launches = [run for run in runs if run.log.kind is not Kind.COAST_DOWN]
    if not launches or any(len(run.log.channels) > 1 for run in launches):
        return ()
    return (
        "the logged launches hold speed alone, which values can follow even where the car differs from its "
        "description; little may be left over then. The intervals take in half shafts and axle loads that are not as "
        "described, and no other difference: log the engine speed too",
    )


def _by_themselves(scenario: Scenario, car: Car, launched: bool) -> tuple[Parameter, ...]:
    """Everything that is worth a try and that the scenario can vary."""
    found = []
    for name in usual_names(scenario, launched=launched):
        try:
            found.append(parameter(scenario, name, car))
        except (InputError, UsageError):  # a value of no size, or that is not in this car
            continue
    return tuple(each for each in found if each.low < each.high)


def fit(
    scenario: Scenario,
    logs: LogPath | LogRequest | Sequence[LogPath | LogRequest],
    values: Sequence[str] | None = None,
    *,
    own: Sequence[str] = (),
    left_out: int | None = None,
    lag: float | None = None,
    pedal: Pedal | str = Pedal.FULL,
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
    logs : path, LogRequest, or sequence of them
        Launches, rolls and coast-downs of the same car; a path stands for a launch with the first curve of the
        scenario.
    values : sequence of str, optional
        Names or keys of what is fitted; those that the logs determine if left out.
    own : sequence of str
        Of these, what each log has a value of its own for.
    left_out : int, optional
        Place of a log that is predicted instead of fitted.
    lag : float, optional
        Lag of the logged speeds; found if left out [s].
    pedal : Pedal or str
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
        Takes a line for each step of the work.

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
    given = [logs] if isinstance(logs, str | os.PathLike | LogRequest) else logs
    requests = tuple(_request(scenario, log) for log in given)
    _check_call(requests, own, left_out, starts)
    work = _Work(scenario, requests, chosen(Pedal, pedal, "pedal"), Runner(workers), lag, seed)
    return work.fit(values or (), own, left_out, starts, profiles, watch)


def _request(scenario: Scenario, log: LogPath | LogRequest) -> LogRequest:
    """A log with what is known of it; wheels roll on the tyres of the scenario where no radii are given."""
    request = log if isinstance(log, LogRequest) else LogRequest(log)
    return replace(request, options=with_radii(request.options, scenario))


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
        report = watch or (lambda line: None)
        launched = any(request.kind is not Kind.COAST_DOWN for request in self.logs)
        car = runnable(self.scenario, self.scenario.curve_names[0], self.pedal)
        wanted = _chosen(self.scenario, names, car) if names else _by_themselves(self.scenario, car, launched)
        wanted = self._not_stated(wanted, named=bool(names))
        runs = [prepared(self.scenario, each, wanted, self.pedal, place) for place, each in enumerate(self.logs)]
        notes: tuple[str, ...] = ()
        runs = [self._in_its_gear(run, wanted) for run in runs]
        used = [run for i, run in enumerate(runs) if i != left_out]
        if not names:
            report("seeking the values that the logs determine")
            trial = self._problem(used, wanted, ())
            wanted, notes = worth_fitting(trial, aligned(trial, np.zeros(len(trial.columns))))
            if not wanted:
                raise InputError(
                    "these logs determine no value of this scenario; check the car, or name the values to fit"
                )
        own_names = frozenset(each.name for each in _chosen(self.scenario, own, car))
        self._check_own(own_names, wanted)
        problem = self._problem(used, wanted, own_names)
        solution = solved(problem, starts=starts, seed=self.seed, watch=watch)
        report("errors of the values, and what they mean for times")
        return self._result(problem, solution, runs, left_out, profiles, (*notes, *_by_speed_alone(used)))

    def _in_its_gear(self, run: Run, wanted: Sequence[Parameter]) -> Run:
        """A roll begun in the gear with which the car can follow its log best; another log as it is."""
        if run.log.kind is not Kind.ROLL:
            return run
        whole = run.car.copy()
        complete(whole)
        tried = []
        for gear in gears_of_roll(run.log, whole):
            lone = self._problem([run.in_gear(gear)], wanted, ())
            tried.append((search(lone, np.zeros(len(lone.columns)), _ROUGH)[1], gear))
        return run.in_gear(min(tried)[1]) if len(tried) > 1 else run

    def _not_stated(self, wanted: Sequence[Parameter], *, named: bool) -> tuple[Parameter, ...]:
        """Values that no log says anything of: what was stated for a day would be lost where it is fitted."""
        stated = {key for request in self.logs for key in request.changes}
        twice = [each.name for each in wanted if each.key in stated]
        if twice and named:
            raise UsageError(
                f"{twice[0]} is named as a value to fit, and stated for a log with --for-log; leave out one of the two"
            )
        return tuple(each for each in wanted if each.key not in stated)

    def _check_own(self, own: frozenset[str], wanted: Sequence[Parameter]) -> None:
        for name in own - {each.name for each in wanted}:
            raise UsageError(
                f"{name} is wanted for each log by itself, but is not fitted; name it as a value to fit too"
            )

    def _problem(
        self, runs: Sequence[Run], wanted: Sequence[Parameter], own: Sequence[str] | frozenset[str]
    ) -> Problem:
        lags = tuple(0.0 if run.log.kind is Kind.COAST_DOWN else self.lag for run in runs)
        return Problem(tuple(runs), tuple(wanted), frozenset(own), self.runner, lags)

    # --- results ---

    def _result(
        self,
        problem: Problem,
        solution: Solution,
        runs: Sequence[Run],
        left_out: int | None,
        profiles: bool,
        notes: tuple[str, ...],
    ) -> Fit:
        cars = np.array([column.parameter is not None for column in problem.columns])
        names = column_names(problem)
        found = identifiability(names, without(solution.information, cars))
        fitted = _fitted(problem, solution)
        doubtful = {name for combination in found.unidentified for name in combination.names}
        wanted = [
            k for k, name in enumerate(names) if profiles or (name in doubtful and not fitted[k].parameter.stated)
        ]
        for k in wanted if profiles else wanted[:_MOST_PROFILED]:
            fitted[k] = replace(fitted[k], profiled=profile(problem, solution, k))
        draws = _draws(problem, solution, self.seed)
        followed = [_fitted_run(problem, solution, i, draws, self.scenario) for i in range(len(problem.runs))]
        predicted = None if left_out is None else self._predicted(problem, solution, runs[left_out], draws)
        warnings = warnings_of(problem, solution, followed, fitted)
        errors = solution.errors[cars]
        scaled = solution.covariance[np.ix_(cars, cars)] / np.maximum(np.outer(errors, errors), 1e-300)
        return Fit(
            self.scenario, self.pedal, tuple(fitted), scaled, tuple(followed), predicted, found, warnings,
            notes, self.runner.launches, solution.agreed,
        )  # fmt: skip

    def _predicted(self, problem: Problem, solution: Solution, run: Run, draws: Array) -> FittedRun:
        """The log that was left out: only its start and its lag are fitted."""
        car = cars_with(run.car, run.basis, [_means_of(problem, solution.x)], run.curve).view(np.recarray)[0]
        lone = self._problem([replace(run, car=car)], (), ())
        x, _, _ = search(lone, np.zeros(len(lone.columns)))
        noises = Solution(x, lone.residuals(x), np.zeros((0, 0)), np.zeros((x.size, x.size)), np.zeros((0, 0)),
                          np.zeros(x.size, bool), solution.quantile, (), 0)  # fmt: skip
        found = _fitted_run(lone, noises, 0, np.zeros((0, 0)), self.scenario)
        if run.log.kind is Kind.COAST_DOWN:
            return found
        cases = [_means_of(problem, x_drawn) for x_drawn in draws]
        return replace(found, times=_times(run, _means_of(problem, solution.x), found.timing, self.scenario, cases))


def _means_of(problem: Problem, x: Array) -> dict[Parameter, float]:
    """Values of the car, where logs have their own the mean of them."""
    found: dict[Parameter, list[float]] = {}
    for i in range(len(problem.runs)):
        for each, value in problem.values(x, i).items():
            if not each.sets:
                found.setdefault(each, []).append(value)
    return {each: float(np.mean(several)) for each, several in found.items()}


def _fitted(problem: Problem, solution: Solution) -> list[Fitted]:
    found, real, errors = [], problem.real(solution.x), solution.errors * problem.scales
    for k, column in enumerate(problem.columns):
        if column.parameter is None:
            continue
        reach = solution.quantile * errors[k] if not solution.at_bound[k] else np.nan
        low, high = max(real[k] - reach, column.low), min(real[k] + reach, column.high)
        place = None if column.run is None else problem.runs[column.run].place
        known = 1.0 - (errors[k] / column.parameter.spread) ** 2
        found.append(
            Fitted(
                column.parameter, place, float(real[k]), float(errors[k]),
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
    timing = problem.timing(x, i)
    left, shown = [], {}
    for (log, name, rows), (_, channel) in zip(by_channel(problem), problem.channels(), strict=True):
        if log != i:
            continue
        residuals = solution.residuals[rows] * problem.noises[i, name]
        shown[name] = channel.values - residuals
        left.append(
            misfit(
                name,
                timing.since(channel.time, name),
                channel.values,
                residuals,
                channel.noise,
                problem.noises[i, name],
            )
        )
    values = problem.values(x, i)
    if run.log.kind is Kind.COAST_DOWN:
        speed, car = run.log.speed.values, cars_with(run.car, run.basis, [values], run.curve).view(np.recarray)[0]
        load = road_load(car, float(speed.min()), float(speed.max()))
        return FittedRun(run, timing, tuple(left), shown, (), load)
    times = _times(run, values, timing, scenario, [problem.values(each, i) for each in draws])
    return FittedRun(run, timing, tuple(left), shown, times, None)


# --- times ---


def _times(
    run: Run, values: Values, timing: Timing, scenario: Scenario, cases: Sequence[Values]
) -> tuple[MarkTime, ...]:
    """Times to every mark that the log reaches, and to the scenario's goal."""
    if run.log.kind is Kind.ROLL:
        return _times_of_roll(run, values, cases)
    logged = {each.target: each.time for each in marks(run.log.account.trace)}
    later = run.log.account.zero - timing.start - timing.delay
    targets = [target for target in STANDARD if isfinite(logged[target])]
    aimed = goal(scenario)
    if not any(aimed.kind is each.kind and abs(aimed.end - each.end) < 1e-9 for each in targets):
        targets.append(aimed)
        logged[aimed] = np.nan
    car = run.car.copy()
    aim(car, targets)
    car.run.time_limit = max(60.0, run.log.duration)
    everyone = cars_with(car, run.basis, [{}, values, *cases], run.curve)
    found = measure_all(everyone, tuple(targets), _EXACT, times_only=True).values
    shifts = [0.0 if target.kind is MarkKind.SPAN else later for target in targets]
    return _mark_times(targets, [logged[target] + shift for target, shift in zip(targets, shifts, strict=True)], found)


def _times_of_roll(run: Run, values: Values, cases: Sequence[Values]) -> tuple[MarkTime, ...]:
    """Times between the speeds that a roll passes, the car begun as the log was."""
    first = run.log.zero - run.log.account.zero
    trace = run.log.account.trace
    rolled = Trace(trace.time - first, trace.channels, trace.events)
    spans = [mark(rolled, target) for target in STANDARD if target.kind is MarkKind.SPAN]
    spans = [each for each in spans if isfinite(each.time) and each.target.start >= run.car.launch.roll_speed]
    if not spans:
        return ()
    targets = tuple(each.target for each in spans)
    car = run.car.copy()
    car.run.stop_distance, car.run.stop_speed = 0.0, 1.005 * max(target.end for target in targets)
    everyone = cars_with(car, run.basis, [{}, values, *cases])
    found = measure_all(everyone, targets, _EXACT, times_only=True).values
    return _mark_times(targets, [each.time for each in spans], found)


def _mark_times(targets: Sequence[Target], logged: Sequence[float], found: Array) -> tuple[MarkTime, ...]:
    """Times in the log, of the car as described, of the fitted car, and of the cases that agree with the log."""
    times = []
    for k, (target, time) in enumerate(zip(targets, logged, strict=True)):
        spread = found[2:, k][np.isfinite(found[2:, k])]
        low, high = np.quantile(spread, [0.025, 0.975]).tolist() if spread.size > _FEWEST_STEADY else (np.nan, np.nan)
        times.append(MarkTime(target, time, float(found[0, k]), float(found[1, k]), low, high))
    return tuple(times)
