"""Everything that a report states: which two curves it is about, and all studies of them."""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from contextvars import copy_context
from dataclasses import dataclass
from math import isnan
from pathlib import Path

import numpy as np

from simlaunch.analysis.log import LoggedRun, with_radii
from simlaunch.analysis.log_beside import Calculated, LogsBeside, beside
from simlaunch.analysis.logs import LogComparison, Setup, compare_logs, read_logs
from simlaunch.analysis.odds import Odds
from simlaunch.analysis.parts import DrivelineLoads
from simlaunch.analysis.usable import UsableTorque, usable
from simlaunch.analysis.worth import Worth, worth
from simlaunch.comparing.compare import Comparison, Pair, compare
from simlaunch.errors import Fault, InputError, TargetNotReached, UsageError
from simlaunch.launching.goals import WORTH_NAMING, goal
from simlaunch.launching.launches import as_many
from simlaunch.launching.progress import before, expect
from simlaunch.launching.ready import runnable
from simlaunch.logged.same_conditions import SAME_DAY, Days
from simlaunch.metrics.many import PARTS, measure_many
from simlaunch.readers.log import LogOptions
from simlaunch.record import Pedal
from simlaunch.reporting.what_if import Grid, grid
from simlaunch.scenario.model import Scenario
from simlaunch.sweeping.chunk import canonical
from simlaunch.sweeping.completion import complete
from simlaunch.sweeping.store import Reader
from simlaunch.sweeping.study import SweepResult, open_sweep
from simlaunch.units.spelling import System

_LAUNCHES_AFTER = 700  # of worth and of the sliders, about
_TOP = 10  # launches of a sweep that are listed


@dataclass(frozen=True)
class Swept:
    """A sweep that belongs to the scenario."""

    result: SweepResult
    """Ranking, and access to every launch."""
    digest: str
    """Hash of its results."""
    same_scenario: bool
    """Whether it was made from a scenario that says the same of its launches."""


@dataclass(frozen=True)
class Measured:
    """Logged runs of the customer's car.

    Parameters
    ----------
    before : LogsBeside
        The runs of one set-up, or those before a change, beside the launches with both curves.
    after : LogsBeside or None
        Those after the change; None where there are none.
    change : LogComparison or None
        What the change did, with what repeat runs scatter by.
    """

    before: LogsBeside
    after: LogsBeside | None
    change: LogComparison | None

    @property
    def digest(self) -> str:
        """Hash of the logged speeds."""
        logs = (*self.before.logs, *(self.after.logs if self.after else ()))
        content = b"".join(log.trace.time.tobytes() + log.trace["speed"].tobytes() for log in logs)
        return hashlib.sha256(content).hexdigest()


@dataclass(frozen=True)
class Logs:
    """Logs that a report shows, and how they are read.

    Parameters
    ----------
    before, after : tuple of path-like
        Runs before and after a change; all of one set-up where there are none after.
    options : LogOptions or None
        What the files do not state.
    days : Days
        What was different on their days, those before the change first.
    """

    before: tuple[str | os.PathLike[str], ...] = ()
    after: tuple[str | os.PathLike[str], ...] = ()
    options: LogOptions | None = None
    days: Days = SAME_DAY

    def read(
        self, system: System, scenario: Scenario
    ) -> tuple[tuple[LoggedRun, ...], tuple[LoggedRun, ...], LogComparison | None]:
        """Both sets of runs, and what the change did.

        Raises
        ------
        UsageError
            Logs after a change without logs before it, one named twice, or conditions that no log is corrected for.
        InputError
            A log cannot be used.
        """
        if not self.before:
            if self.after:
                raise UsageError("logs after a change need logs before it; name those with --log")
            return (), (), None
        if not self.after:
            return read_logs(self.before, self.options, self.days, scenario), (), None
        found = compare_logs(
            self.before,
            self.after,
            options=with_radii(self.options, scenario),
            correcting=self.days.correcting(scenario),
            changes=self.days.of(len(self.before) + len(self.after)),
            units=system,
        )
        before, after = (tuple(log.brought for log in found.of(setup)) for setup in Setup)
        return before, after, found


@dataclass(frozen=True)
class Material:
    """What a report is made of.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    comparison : Comparison
        Two curves with both pedals, and the verdict with all its evidence.
    quicker : str
        Name of the quicker curve; where neither is quicker by what is worth naming, that with the lower peak.
    left_out : tuple of str
        Curves of the scenario that the report is not about.
    worth : Worth or None
        What torque on the quicker curve is worth; None where the goal is not reached.
    what_if : Grid
        Launches with other plateaus and other grip.
    swept : Swept or None
        A sweep, if one is given.
    measured : Measured or None
        Logged runs, if some are given.
    """

    scenario: Scenario
    comparison: Comparison
    quicker: str
    left_out: tuple[str, ...]
    worth: Worth | None
    what_if: Grid
    swept: Swept | None
    measured: Measured | None = None

    @property
    def pair(self) -> Pair:
        """The two curves."""
        return self.comparison.pairs[0]

    @property
    def usable(self) -> UsableTorque:
        """The two curves against what the tyres can use."""
        return self.comparison.usable

    @property
    def loads(self) -> DrivelineLoads:
        """What the parts take with either curve."""
        return self.comparison.loads

    @property
    def odds(self) -> Odds | None:
        """How sure the difference is, first and second curve as in the comparison; None where nothing is drawn."""
        return self.pair.odds


def question(scenario: Scenario, curves: Sequence[str] | None) -> tuple[str, str]:
    """The two curves that a report is about.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    curves : sequence of str, optional
        Two names; left out, the curve with the highest peak and the quickest of the others.

    Returns
    -------
    tuple of str
        Names, in the order of the scenario where they are not given.

    Raises
    ------
    UsageError
        Not two different curves of the scenario.
    """
    names = tuple(curves or scenario.curve_names)
    for name in names:
        scenario.curve(name)
    if curves is not None and (len(names) != 2 or names[0] == names[1]):
        raise UsageError("a report is about two different curves; name two with --curve")
    if len(names) < 2:
        raise UsageError("a report is about two curves; the scenario has only one")
    if len(names) == 2:
        return names[0], names[1]
    target = goal(scenario)
    cars = [runnable(scenario, name, Pedal.FULL, (target,)) for name in names]
    peaks = [max(torque.si for _, torque in scenario.curve(name).points) for name in names]
    times = measure_many(as_many(cars), (target,), times_only=True).values[:, 0]
    highest = peaks.index(max(peaks))
    others = [k for k in range(len(names)) if k != highest]
    rival = min(others, key=lambda k: (float(np.nan_to_num(times[k], nan=np.inf)), k))
    first, second = sorted((highest, rival))
    return names[first], names[second]


def _quicker(pair: Pair) -> str:
    gap, case = pair.full.at_goal.gap, pair.verdict.case
    if isnan(gap):
        return case.lower if isnan(case.higher_time) else case.higher
    if abs(gap) < WORTH_NAMING:
        return case.lower
    return pair.first.name if gap > 0.0 else pair.second.name


def _worth(scenario: Scenario, curve: str) -> Worth | None:
    try:
        return worth(scenario, curve)
    except TargetNotReached:
        return None


def swept_of(scenario: Scenario, file: Path) -> Swept:
    """What a file of results comes to, ranked as it was asked for when it was made.

    Parameters
    ----------
    scenario : Scenario
        The scenario that the report is about.
    file : Path
        File of results.

    Returns
    -------
    Swept
        Its ranking, and whether it was made from a scenario that says the same of its launches.

    Raises
    ------
    InputError
        The file holds no sweep, or one of another scenario.
    """
    with Reader(file) as reader:
        study = reader.study
    name = str(json.loads(study.scenario).get("name"))
    if name != scenario.name:
        why = f"holds a sweep of another scenario, {json.dumps(name)}"
        raise InputError(Fault("--sweep", f'"{file}"', why, "give a sweep of this scenario"))
    complete(file, (PARTS,))  # the trade-off stands against a torque
    found = open_sweep(file, top=_TOP)
    with Reader(file) as reader:
        digest = reader.digest()
    return Swept(found, digest, study.scenario == canonical(scenario))


def gather(
    scenario: Scenario,
    curves: Sequence[str] | None = None,
    *,
    system: System = System.METRIC,
    cases: int = 256,
    mixed_corrections: bool = False,
    sweep: Path | None = None,
    logs: Logs | None = None,
) -> Material:
    """Make every study that a report states.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    curves : sequence of str, optional
        Names of two of its curves; see `question`.
    system : System
        Units in which the page is written.
    cases : int
        Cases drawn where the scenario has uncertain values; 0 for none.
    mixed_corrections : bool
        Whether curves that carry unlike weather corrections may be set against each other.
    sweep : Path, optional
        File of results of a sweep of the same scenario.
    logs : Logs, optional
        Logged runs of the car.

    Returns
    -------
    Material
        Studies of the two curves.

    Raises
    ------
    UsageError
        Curves that do not exist, or not two of them.
    InputError
        Curves under different reference conditions, or a file that holds no sweep of this scenario.
    SimlaunchError
        The equations could not be followed.
    """
    names = question(scenario, curves)
    swept = swept_of(scenario, sweep) if sweep else None
    logged = (logs or Logs()).read(system, scenario)
    with (
        ThreadPoolExecutor(1) as at_once,
        before(_LAUNCHES_AFTER),
    ):  # comparing leaves cores idle between launches
        shapes = usable(scenario).only(names)
        sliders = at_once.submit(copy_context().run, grid, scenario, shapes, goal(scenario), system)
        found = compare(scenario, names, cases=cases, mixed_corrections=mixed_corrections, units=system)
    expect(_LAUNCHES_AFTER)
    quicker = _quicker(found.pairs[0])
    return Material(
        scenario,
        found,
        quicker,
        tuple(name for name in scenario.curve_names if name not in names),
        _worth(scenario, quicker),
        sliders.result(),
        swept,
        measured_of(found, logged) if logged[0] else None,
    )


def measured_of(
    found: Comparison, logged: tuple[tuple[LoggedRun, ...], tuple[LoggedRun, ...], LogComparison | None]
) -> Measured:
    """Logged runs beside the launches of both curves with full pedal."""
    runs = [Calculated(each.name, each.full.run.trace, each.full.measures.marks) for each in found.runs]
    before, after, change = logged
    return Measured(beside(before, runs), beside(after, runs) if after else None, change)
