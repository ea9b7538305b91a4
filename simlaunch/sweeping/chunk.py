"""A chunk of launches: what every back end gives to its workers, and the result that comes back."""

from __future__ import annotations

import hashlib
import json
import math
import sys
import threading
import time
from collections.abc import Callable, Iterable, Mapping
from dataclasses import asdict, dataclass, field, replace
from functools import cache, cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from simlaunch.compiled.kept import source_hash
from simlaunch.errors import UsageError
from simlaunch.launching.goals import extra_targets, goal, same_target
from simlaunch.launching.launch_speed import settle
from simlaunch.launching.road_tests import quickest
from simlaunch.metrics.many import GROUPS, MARKS, Measure, columns, measure_many
from simlaunch.metrics.marks import STANDARD, Kind, Roll, Target
from simlaunch.parameters.fill import Cars
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.reading import from_mapping
from simlaunch.simulation import kernel
from simlaunch.simulation.run import NOT_FOLLOWED, complete
from simlaunch.sweeping.axes import BESIDE_THE_LAUNCH
from simlaunch.sweeping.casting import Caster
from simlaunch.sweeping.plan import Plan, plan_as_json, plan_from
from simlaunch.units.spelling import Dimension

SCHEMA = 4
"""Version of what a file of results holds."""

UNUSABLE = -1
"""Ending of a case whose values cannot be used together, so that nothing was launched."""

ENDED: Mapping[int, str] = {
    kernel.TIME_LIMIT: "the time limit came before all targets",
    kernel.STALLED: "the engine was pulled down until it stalled",
    **{how: f"could not be followed: {why}" for how, why in NOT_FOLLOWED.items()},
}
"""Why a launch counts as failed, by how it ended."""

_HEAD = 256  # cases by which a sample is recognised
_AT_ONCE = 0.1  # time between two looks at whether to stop [s]
_FIRST_AT_ONCE, _MOST_AT_ONCE = 8, 512
_PROBE, _MOST_PROBES = 8, 16  # launches made at once to find out their pace, and how often
_TRIALS = 0.4  # time after which trials end [s]

Stopped = Callable[[], bool]


BESIDE_MARKS = tuple(group for group in GROUPS if group != MARKS)
"""What may be measured beside times and speeds."""


@dataclass(frozen=True)
class Spec:
    """Everything that decides the results of a sweep, in a form that workers elsewhere can receive.

    Parameters
    ----------
    scenario : str
        The scenario as canonical JSON.
    plan : Plan
        The cases.
    tolerance : float, optional
        Relative error allowed per step [-].
    tests : tuple of Target
        What each case is timed for by a launch of its own, beside the launch to the goal.
    groups : tuple of str
        What is measured beside the marks, see `metrics.many.GROUPS`; other measures are left blank.
    """

    scenario: str
    plan: Plan
    tolerance: float | None = None
    tests: tuple[Target, ...] = ()
    groups: tuple[str, ...] = BESIDE_MARKS


@dataclass(frozen=True)
class ChunkResult:
    """Result of a chunk of launches.

    Parameters
    ----------
    first : int
        Number of the first launch.
    values : ndarray, shape (n, columns)
        Measures in SI units; nan where there is none.
    ending : ndarray, shape (n,)
        How each launch ended.
    reasons : mapping of int to str
        Why a launch failed, by its row.
    maker : str
        Version and kernels that made it.
    """

    first: int
    values: NDArray[np.float64]
    ending: NDArray[np.int64]
    reasons: Mapping[int, str]
    maker: str

    @property
    def digest(self) -> str:
        """Hash of every bit of the result."""
        whole = hashlib.sha256(self.values.tobytes())
        whole.update(self.ending.tobytes())
        whole.update(json.dumps(sorted(self.reasons.items())).encode())
        return whole.hexdigest()


SWEEP_TOLERANCE = 3e-4
"""Relative error per step unless another one is asked for: times to a fifth of a millisecond, in half the time that a
single run's default takes; see `time_error` [-]."""

_TIME_ERRORS = {1e-5: 1e-5, 1e-4: 1e-4, SWEEP_TOLERANCE: 3e-4, 1e-3: 8e-4}


def time_error(tolerance: float) -> float:
    """By how much times may be off at a tolerance.

    Parameters
    ----------
    tolerance : float
        Relative error allowed per step [-].

    Returns
    -------
    float
        Error of the quarter-mile time that 95 of 100 cars drawn at random keep to, as `tests/benchmarks/accuracy.py`
        draws them, rounded up; nan for a tolerance so wide that it was not measured [s].
    """
    return min((error for known, error in _TIME_ERRORS.items() if tolerance <= known), default=math.nan)


def in_order(groups: Iterable[str]) -> tuple[str, ...]:
    """Groups beside the marks, each once, in their own order."""
    wanted = set(groups)
    return tuple(group for group in BESIDE_MARKS if group in wanted)


def canonical(scenario: Scenario) -> str:
    """Everything in a scenario that its launches depend on, in one canonical form.

    Parameters
    ----------
    scenario : Scenario
        Keys that no launch depends on are left out.

    Returns
    -------
    str
        JSON; the same for scenarios that describe the same launches.
    """
    said = scenario.model_dump(mode="json", exclude_unset=True, exclude=set(BESIDE_THE_LAUNCH), exclude_none=True)
    return json.dumps(said, sort_keys=True, ensure_ascii=True, separators=(",", ":"))


def spec_of(scenario: Scenario, plan: Plan, tolerance: float | None = None, tests: tuple[Target, ...] = ()) -> Spec:
    """What decides the results of a sweep of a scenario.

    Parameters
    ----------
    scenario : Scenario
        What is varied; keys that no launch depends on are left out.
    plan : Plan
        The cases.
    tolerance : float, optional
        Relative error allowed per step [-].
    tests : tuple of Target
        What each case is timed for beside the goal.

    Returns
    -------
    Spec
        The same for scenarios that describe the same launches.
    """
    return Spec(canonical(scenario), plan, tolerance, tests)


def maker() -> str:
    """Version of this package and hash of its kernels, as a worker names them."""
    return f"{version()} {kernels()}"


@cache
def kernels() -> str:
    """Hash of the kernels that this process has loaded."""
    return source_hash()


def version() -> str:
    """Version of this package."""
    return str(sys.modules["simlaunch"].__version__)


@dataclass(frozen=True)
class Prepared:
    """A sweep, ready to be calculated."""

    scenario: Scenario
    caster: Caster
    targets: tuple[Target, ...]
    columns: tuple[Measure, ...]
    goal: str
    aim: Target
    tests: tuple[tuple[Target, int], ...]
    """Each test that has a launch of its own, and the column of its time."""
    casting: threading.Lock = field(default_factory=threading.Lock)


def prepared(spec: Spec) -> Prepared:
    """Scenario, casting and measures of a sweep; made once in each process, and shared by its threads."""
    return _prepared(replace(spec, groups=()))


@lru_cache(maxsize=4)
def _prepared(spec: Spec) -> Prepared:
    scenario = from_mapping(json.loads(spec.scenario), "scenario of the sweep")
    targets = _distinct((*STANDARD, *extra_targets(scenario)))
    aim = goal(scenario)
    label = next(target.label for target in targets if same_target(target, aim))
    main, tests = columns(targets), [test for test in spec.tests if not same_target(test, aim)]
    names = [measure.name for measure in main]
    placed: list[tuple[Target, int]] = []
    for test in tests:
        known = next((each.label for each in targets if test.roll is None and same_target(each, test)), test.label)
        [time] = columns((replace(test, label=known),), times_only=True)
        if time.name not in names:
            names.append(time.name)
            main += (time,)
        placed.append((test, names.index(time.name)))
    ranked = f"time {label}"
    if spec.tests and not same_target(spec.tests[0], aim):  # what is asked for first is what is ranked by
        ranked = names[placed[0][1]]
    return Prepared(scenario, Caster(scenario, spec.plan), targets, main, ranked, aim, tuple(placed))


def _distinct(targets: tuple[Target, ...]) -> tuple[Target, ...]:
    """Targets without those that were asked for earlier under another name."""
    kept: list[Target] = []
    for target in targets:
        if not any(same_target(target, other) for other in kept):
            kept.append(target)
    return tuple(kept)


@dataclass(frozen=True)
class Study:
    """The question that a file of results answers: the same question gives the same study.

    Parameters
    ----------
    scenario : str
        Canonical JSON of the scenario.
    scenario_hash, axes_hash : str
        Hashes of the scenario, and of the axes with the first cases that they give.
    axes, sample, columns, tests : str
        JSON of the axes, the sample, the columns of measures, and what is timed by launches beside that to the goal.
    seed : int, optional
        Seed of the sample.
    tolerance : float, optional
        Relative error allowed per step; None for the usual one.
    version : str
        Version of this package.
    source : str
        Hash of the kernels.
    format : int
        Version of what the file holds.
    goal : str
        Column that launches are ranked by unless another is named.
    launches, chunk_length : int
        Number of launches, and how many are calculated and written at a time.
    groups : str
        JSON of what is measured beside the marks; single chunks may hold more.
    asked : str
        JSON of how the ranking was asked for last.
    """

    scenario: str
    scenario_hash: str
    axes_hash: str
    axes: str
    sample: str
    columns: str
    tests: str
    seed: int | None
    tolerance: float | None
    version: str
    source: str
    format: int
    goal: str
    launches: int
    chunk_length: int
    groups: str = json.dumps(BESIDE_MARKS)
    asked: str = "{}"

    @cached_property
    def plan(self) -> Plan:
        """The cases."""
        return plan_from(self.axes, self.sample)

    @cached_property
    def measures(self) -> tuple[Measure, ...]:
        """The columns of measures."""
        return tuple(
            Measure(entry["name"], Dimension(entry["dimension"]), entry["label"], entry["group"])
            for entry in json.loads(self.columns)
        )

    @property
    def measured(self) -> frozenset[str]:
        """What is measured beside the marks."""
        return frozenset(json.loads(self.groups))

    def spec(self, groups: Iterable[str]) -> Spec:
        """The sweep that made the file, with these groups measured beside the marks."""
        tests = tuple(
            Target(**{**test, "kind": Kind[test["kind"]], "roll": Roll(**test["roll"]) if test["roll"] else None})
            for test in json.loads(self.tests)
        )
        return Spec(self.scenario, self.plan, self.tolerance, tests, in_order(groups))

    def chunk(self, number: int) -> tuple[int, int]:
        """First and last number of a chunk."""
        return number * self.chunk_length, min((number + 1) * self.chunk_length, self.launches)


def study_of(spec: Spec, asked: str = "{}") -> Study:
    """The question that a file of results answers.

    Parameters
    ----------
    spec : Spec
        The sweep.
    asked : str
        JSON of how its ranking is asked for.

    Returns
    -------
    Study
        To compare with the study of a file.
    """
    plan, ready = spec.plan, prepared(spec)
    head = plan.cases(0, min(_HEAD, plan.size))
    axes_json, sample_json = plan_as_json(plan)
    sampled = hashlib.sha256(axes_json.encode() + head.position.tobytes() + head.si.tobytes())
    measures = [c._asdict() for c in ready.columns]
    return Study(
        scenario=spec.scenario,
        scenario_hash=hashlib.sha256(spec.scenario.encode()).hexdigest(),
        axes_hash=sampled.hexdigest(),
        axes=axes_json,
        sample=sample_json,
        columns=json.dumps(measures),
        tests=json.dumps([{**asdict(test), "kind": test.kind.name} for test in spec.tests]),
        seed=plan.sample.seed if plan.sample else None,
        tolerance=spec.tolerance,
        version=version(),
        source=kernels(),
        format=SCHEMA,
        goal=ready.goal,
        launches=plan.size,
        chunk_length=plan.size,
        groups=json.dumps(spec.groups),
        asked=asked,
    )


def never() -> bool:
    """Whether to stop, for work that nothing stops."""
    return False


def calculate(spec: Spec, first: int, last: int, stopped: Stopped = never) -> ChunkResult | None:
    """Launch the cases from one number up to another.

    Parameters
    ----------
    spec : Spec
        The sweep.
    first, last : int
        Numbers of the cases; the last one is left out.
    stopped : callable
        Called at least every fifth of a second; True ends the work.

    Returns
    -------
    ChunkResult or None
        None where the work was stopped. The bits do not depend on the machine's other work or on the size of chunks.
    """
    ready = prepared(spec)
    values = np.full((last - first, len(ready.columns)), np.nan)
    ending = np.full(last - first, UNUSABLE, np.int64)
    reasons: dict[int, str] = {}
    done, at_once = 0, _FIRST_AT_ONCE
    while done < last - first:
        if stopped():
            return None
        begin = time.perf_counter()
        stop = min(done + at_once, last - first)
        refused = _some(spec, ready, first + done, values[done:stop], ending[done:stop])
        reasons |= {done + row: why for row, why in refused.items()}
        pace = (time.perf_counter() - begin) / (stop - done)
        fitting = int(_AT_ONCE / max(pace, 1e-9))  # one slow turn may be other work's
        at_once = min(max(1, at_once // 2, fitting), 2 * at_once, _MOST_AT_ONCE)
        done = stop
    reasons |= {row: ENDED[how] for row, how in enumerate(ending.tolist()) if how in ENDED}
    values[np.isnan(values)] = np.nan  # one nan, and one zero, so that equal results have equal bits
    return ChunkResult(first, values + 0.0, ending, reasons, maker())


def _some(
    spec: Spec, ready: Prepared, first: int, values: NDArray[np.float64], ending: NDArray[np.int64]
) -> Mapping[int, str]:
    """Launch a few cases; gives the reason for each case whose values do not make a car."""
    with ready.casting:
        cast = ready.caster.cast(spec.plan.cases(first, first + len(values)))
    rows = np.array([row for row in range(len(values)) if row not in cast.refused], np.int64)
    if rows.size:
        cars = cast.cars[rows]
        settle(list(cars.view(np.recarray)), ready.aim, 1)
        measured = measure_many(cars, ready.targets, spec.tolerance, groups=spec.groups)
        values[rows, : measured.values.shape[1]], ending[rows] = measured.values, measured.ending
        for test, place in ready.tests:
            values[rows, place] = _times_of_test(cast.cars[rows], test, spec.tolerance)
    return cast.refused


def _times_of_test(cars: Cars, test: Target, tolerance: float | None) -> NDArray[np.float64]:
    """Time of a test with each of several cars, a roll in its best gear; nan where a car has no such gear."""
    whole = cars.copy().view(np.recarray)
    for car in whole:
        complete(car)
    try:
        return np.array([time for time, _ in quickest(list(whole), test, tolerance, 1)])
    except UsageError:  # a gear that one of these cars does not have, or in which its engine cannot run
        if len(cars) == 1:
            return np.array([np.nan])
        return np.concatenate([_times_of_test(cars[k : k + 1], test, tolerance) for k in range(len(cars))])


@dataclass(frozen=True)
class Pace:
    """Speed of launches on one core of this machine.

    Parameters
    ----------
    each : float
        Time of a launch [s].
    reading : float
        Time to read the scenario, once for every new combination of names [s].
    trials : int
        Number of trial launches.
    """

    each: float
    reading: float
    trials: int


def pace(spec: Spec) -> Pace:
    """Speed of launches on one core, from short trials all over the sweep; compiling left out."""
    size, ready = spec.plan.size, prepared(spec)
    calculate(spec, 0, 1)  # compiles, if that has not been done yet
    reading, launching, combinations, trials = 0.0, 0.0, 0, 0
    for turn in range(_MOST_PROBES):
        first = (turn * 7919 * _PROBE) % size
        last = min(first + _PROBE, size)
        begin = time.perf_counter()
        combinations += ready.caster.prime(spec.plan.cases(first, last))
        read = time.perf_counter()
        calculate(spec, first, last)
        reading, launching = reading + read - begin, launching + time.perf_counter() - read
        trials += last - first
        if reading + launching > _TRIALS:
            break
    return Pace(launching / trials, reading / max(combinations, 1), trials)
