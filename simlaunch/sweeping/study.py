"""One sweep from the question to the answer: every launch in a file, and the result that stands for that file."""

from __future__ import annotations

import contextlib
import json
import shutil
import tempfile
import weakref
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from simlaunch.choices import chosen
from simlaunch.errors import InputError, UsageError
from simlaunch.launching.ready import aim
from simlaunch.launching.targets import target_named
from simlaunch.metrics.marks import Target
from simlaunch.results import Result
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.reading import from_mapping
from simlaunch.simulation.bench import checked
from simlaunch.sweeping import export
from simlaunch.sweeping.axes import Kind, axes
from simlaunch.sweeping.backends import BackEnd, Threads
from simlaunch.sweeping.campaign import BestSoFar, Progress, Watch, carry_out
from simlaunch.sweeping.chunk import (
    BESIDE_MARKS,
    SWEEP_TOLERANCE,
    Spec,
    Stopped,
    Study,
    in_order,
    never,
    prepared,
    spec_of,
    study_of,
)
from simlaunch.sweeping.completion import complete, filled, groups_for
from simlaunch.sweeping.plan import Draw, Plan, Sample
from simlaunch.sweeping.ranking import Findings, Order, Ranked, findings, order
from simlaunch.sweeping.store import Reader
from simlaunch.sweeping.winners import Winners, best_by_condition, winners
from simlaunch.units.spelling import system_named

if TYPE_CHECKING:
    import xarray


_REMEDY = "restore a copy, or begin again in another file"


class _Folder:
    """A temporary folder that is removed with the last object that holds it, or when the process ends."""

    def __init__(self) -> None:
        self.path = Path(tempfile.mkdtemp(prefix="simlaunch-sweep-"))
        weakref.finalize(self, shutil.rmtree, self.path, ignore_errors=True)


@dataclass(frozen=True, repr=False)
class SweepResult(Result):
    """A file of results: the best launches, and access to every launch.

    The launches stay in the file, which may hold millions; only the methods that say so read all of them into memory.

    Parameters
    ----------
    path : Path
        The file. Without a path of the caller's own it is temporary, and is removed with this result.
    findings : Findings
        Ranking, best launch by axis, and counts.
    winners : Winners or None
        Two curves in every cell; None without two of them, or where the launches are no full grid.
    by_condition : tuple of Ranked
        The best launch under each of a few sets of conditions (surfaces, weather); none where none vary.
    """

    study = "sweep"

    path: Path
    findings: Findings
    winners: Winners | None = None
    by_condition: tuple[Ranked, ...] = ()
    _folder: _Folder | None = field(default=None, compare=False)

    @property
    def scenario(self) -> Scenario:
        """The scenario that was swept, without what no launch depends on."""
        return from_mapping(json.loads(self.findings.study.scenario), "scenario of the sweep")

    def to_xarray(self) -> xarray.Dataset:
        """All launches as labelled arrays in memory, whatever constraints there are, since a grid has no gaps.

        Returns
        -------
        xarray.Dataset
            One dimension for each axis of a full grid, or one for the launches of a sample. SI units, named in the
            attribute `units`; nan where nothing was reached or is finished.

        Raises
        ------
        UsageError
            A package is missing.
        """
        complete(self.path)
        return export.dataset(self.path)

    def export(self, path: str | Path, *, force: bool = False) -> Path:
        """Write the launches that meet the constraints to a file; the ending of its name says in which format.

        Parameters
        ----------
        path : str or Path
            A name that ends in .csv, .xlsx, .parquet, .jsonl, or .nc (netCDF, which holds all launches, since a grid
            has no gaps).
        force : bool
            Whether a file that is there may be replaced.

        Returns
        -------
        Path
            The file.

        Raises
        ------
        UsageError
            Another ending, a missing package, or more launches than a worksheet has rows.
        InputError
            A file is there already, or it cannot be written.
        """
        target = Path(path)
        kind = export.kind_of(target)
        complete(self.path)
        with Reader(self.path) as reader:
            export.write(kind, reader, self.findings.order, target, place="path", force=force)
        return target

    def figures(
        self, units: str = "metric", across: Sequence[str] | None = None, against: str | None = None
    ) -> dict[str, Any]:
        """The sheets that `simlaunch sweep show --figure` writes.

        Parameters
        ----------
        units : str
            System of units.
        across : sequence of str, optional
            Two or three axes of the map; those that change the best result most if left out.
        against : str, optional
            Measure that stands against the result in the trade-off; steady pull at the gearbox input if left out.

        Returns
        -------
        dict of str to matplotlib.figure.Figure
            ``map`` where two axes have more than one value, and ``trade-off``.

        Raises
        ------
        UsageError
            No axis, measure or system of units of that name, or nothing to draw.
        """
        made: dict[str, Any] = self._pictures.figures(self, system_named(units), across, against)
        return made

    def verify(self) -> str:
        """Check every bit of the file against what was written.

        Returns
        -------
        str
            Hash of all results.

        Raises
        ------
        InputError
            The file is damaged.
        """
        return verified(self.path)


def verified(path: Path) -> str:
    """Hash of all results of a file, after a check of every bit that its answers depend on.

    Raises
    ------
    InputError
        The file is damaged, or is no file of a sweep.
    """
    with Reader(path) as reader:
        astray = reader.astray()
        if astray:
            are = "is" if len(astray) == 1 else "are"
            raise InputError(f"{' and '.join(astray)} {are} damaged; {_REMEDY}")
        damaged = reader.damaged()
        if damaged:
            first, _ = reader.study.chunk(damaged[0])
            raise InputError(f"{len(damaged)} chunks are damaged, the first from launch {first} on; {_REMEDY}")
        return reader.digest()


@dataclass(frozen=True)
class Request:
    """A sweep that passed every check, before anything is launched.

    Parameters
    ----------
    spec : Spec
        Everything that decides its numbers.
    order : Order
        How to rank it.
    asked : str
        JSON of how the ranking was asked for, kept in the file.
    """

    spec: Spec
    order: Order
    asked: str


def requested(
    scenario: Scenario,
    *,
    vary: Sequence[str] | None = None,
    sample: int | None = None,
    draw: Draw | str = "sobol",
    seed: int = 0,
    by: str | None = None,
    where: Sequence[str] | None = None,
    target: str | Sequence[str] | None = None,
    tolerance: float | None = None,
    measure_all: bool = False,
    place: str = "vary",
    options: Mapping[str, Sequence[str]] | None = None,
) -> Request:
    """Check a sweep; the parameters are those of `sweep`.

    Parameters
    ----------
    place : str
        Where the axes were given, for messages.
    options : mapping of str to sequence of str, optional
        Changes that the command line made to the scenario, kept in the file so that it can name a command for one
        launch.
    """
    own = scenario.sweep
    known = (own.vary or ()) if own else ()
    varied = axes(vary or known, scenario, place if vary or not known else "sweep.vary")
    spec = spec_of(
        scenario,
        Plan(varied, _sample(sample, draw, seed)),
        SWEEP_TOLERANCE if tolerance is None else checked(tolerance),
        _tests(scenario, target),
    )
    by = by or (own.by if own and not spec.tests else None)
    constraints = list(((own.where if own else None) or ()) if where is None else where)
    wanted = order(study_of(spec), by, constraints)
    spec = replace(spec, groups=BESIDE_MARKS if measure_all else in_order(groups_for(study_of(spec), wanted)))
    prepared(spec).caster.check()
    _check_tests(spec)
    return Request(spec, wanted, json.dumps({"by": by, "where": constraints, **(options or {})}))


def _tests(scenario: Scenario, names: str | Sequence[str] | None) -> tuple[Target, ...]:
    """What is timed by launches of its own, each once."""
    wanted = [target_named(scenario, name) for name in ([names] if isinstance(names, str) else names or ())]
    return tuple(dict.fromkeys(wanted))


def _check_tests(spec: Spec) -> None:
    """Refuse a test that no case at the corners of the sweep can begin, since its engine runs nowhere in that gear."""
    caster = prepared(spec).caster
    cars = [caster.cast(spec.plan.cases(n, n + 1)) for n in spec.plan.corners(_MOST_CORNERS)]
    for test in spec.tests:
        refusals = []
        for cast in cars:
            try:
                aim(cast.cars.copy().view(np.recarray)[0], (test,))
            except UsageError as refusal:
                refusals.append(refusal)
        if len(refusals) == len(cars):
            raise refusals[0]


_MOST_CORNERS = 16


def _sample(count: int | None, draw: Draw | str, seed: int) -> Sample | None:
    way = chosen(Draw, draw, "draw")
    if seed < 0:
        raise UsageError(f"a seed of {seed} is negative; give 0 or more")
    return None if count is None else Sample(way, count, seed)


def back_end(workers: int | None = None, cluster: str | None = None, *, trust_network: bool = False) -> BackEnd:
    """What calculates a sweep: threads of this machine, or a Dask cluster; the parameters are those of `sweep`."""
    if cluster is None:
        if trust_network:
            raise UsageError("trust-network applies to a cluster; name the cluster, or leave it out")
        if workers is not None and workers < 1:
            raise UsageError(f"{workers} workers cannot launch anything; give 1 or more")
        return Threads(workers)
    if workers is not None:
        raise UsageError("workers counts threads of this machine; a cluster has workers of its own; leave workers out")
    from simlaunch.sweeping.cluster import Cluster  # noqa: PLC0415  needs an optional package

    return Cluster(cluster, trust_network=trust_network)


def sweep(
    scenario: Scenario,
    path: str | Path | None = None,
    *,
    vary: Sequence[str] | None = None,
    sample: int | None = None,
    draw: Draw | str = "sobol",
    seed: int = 0,
    by: str | None = None,
    where: Sequence[str] | None = None,
    target: str | Sequence[str] | None = None,
    top: int = 10,
    workers: int | None = None,
    cluster: str | None = None,
    trust_network: bool = False,
    tolerance: float = SWEEP_TOLERANCE,
    measure_all: bool = False,
    watch: Watch | None = None,
    stopped: Stopped | None = None,
) -> SweepResult:
    """Launch every combination of curves, gear sets, tyres, surfaces and values, and rank the results.

    Parameters
    ----------
    scenario : Scenario
        What is varied.
    path : str or Path, optional
        File of results. A sweep of the same question carries on an unfinished one. Without a path, the file is
        temporary, and is removed with the result.
    vary : sequence of str, optional
        Axes, such as ``"curve"``, ``"tyre: as described, track"`` or ``"body.mass: 1400 kg to 1700 kg in 7"``; those of
        the scenario if left out.
    sample : int, optional
        Number of cases to draw; the full grid if left out.
    draw : Draw or str
        ``"sobol"`` or ``"latin"``.
    seed : int
        Seed of the sample.
    by : str, optional
        Measure to rank by; if left out, the time of the first target, or else the measure that the scenario names, or
        else the time to its goal. Speeds rank highest first,
        every other measure lowest first.
    where : sequence of str, optional
        Constraints, such as ``"peak torque gearbox input < 700 N m"``; those of the scenario if left out.
    target : str or sequence of str, optional
        What each case is timed for beside the goal, by launches of its own: such as ``"roll 60 mph to 130 mph"``, or
        the names of tests. The first is what is ranked by unless `by` names another measure. A roll that names no gear
        begins in the one in which the car is quickest.
    top : int
        Number of launches in the ranking.
    workers : int, optional
        Number of threads; one for each core if left out.
    cluster : str, optional
        Address of a Dask cluster that calculates in place of this machine.
    trust_network : bool
        Whether a cluster beyond this machine may be reached without TLS.
    tolerance : float
        Relative error allowed per step [-].
    measure_all : bool
        Whether everything is measured at once. Otherwise times, speeds and what ranking and constraints ask for are;
        whatever else is asked for later, such as the columns of a table, is found by launching the cases again, which
        gives the same numbers.
    watch : callable, optional
        Receives a `Progress` at the start and after every chunk of launches.
    stopped : callable, optional
        Returns True to stop the work; what is finished stays.

    Returns
    -------
    SweepResult
        The ranking, and access to every launch. Each launch ends at the goals of the scenario (`run.until`): marks
        beyond them have no value.

    Raises
    ------
    UsageError
        A name that does not exist, nothing to vary, or options that do not go together.
    InputError
        A value that cannot be read or does not fit the car, or a file that cannot be written.
    SimlaunchError
        A cluster that does not answer or has another version.

    Examples
    --------
    >>> found = sweep(load("car.toml"), vary=["curve", "body.mass: 1500 kg, 1600 kg"])  # doctest: +SKIP
    >>> found.to_dataframe()  # doctest: +SKIP
    """
    request = requested(
        scenario,
        vary=vary,
        sample=sample,
        draw=draw,
        seed=seed,
        by=by,
        where=where,
        target=target,
        tolerance=tolerance,
        measure_all=measure_all,
    )
    with contextlib.closing(back_end(workers, cluster, trust_network=trust_network)) as engine:
        return performed(request, path, engine, top=top, watch=watch, stopped=stopped)


def performed(
    request: Request,
    path: str | Path | None,
    engine: BackEnd,
    *,
    top: int = 10,
    watch: Watch | None = None,
    stopped: Stopped | None = None,
) -> SweepResult:
    """Calculate what a file does not hold yet, and rank it; the other parameters are those of `sweep`."""
    _check_top(top)
    folder = _Folder() if path is None else None
    file = folder.path / "sweep.sqlite" if folder else Path(str(path))
    seen = _with_best(request, file, watch) if watch else _unseen
    carry_out(request.spec, file, engine, stopped or never, seen, request.asked)
    return _ranked(file, lambda study: request.order, top, folder)


def open_sweep(
    path: str | Path, by: str | None = None, where: Sequence[str] | None = None, top: int = 10
) -> SweepResult:
    """Rank a file of results, finished or still being written.

    Parameters
    ----------
    path : str or Path
        The file.
    by : str, optional
        Measure to rank by; the one asked for when the file was made if left out. Speeds rank highest first, every
        other measure lowest first.
    where : sequence of str, optional
        Constraints; those asked for when the file was made if left out.
    top : int
        Number of launches in the ranking.

    Returns
    -------
    SweepResult
        The ranking, and access to every launch.

    Raises
    ------
    UsageError
        A measure that does not exist, or a text that is no constraint.
    InputError
        The file is missing, damaged, or no file of a sweep.
    """

    def wanted(study: Study) -> Order:
        asked = json.loads(study.asked)
        return order(study, by or asked.get("by"), asked.get("where", ()) if where is None else where)

    _check_top(top)
    return _ranked(Path(path), wanted, top)


def _check_top(top: int) -> None:
    if top < 1:
        raise UsageError(f"a ranking of {top} launches is empty; give top 1 or more")


def _ranked(path: Path, wanted: Callable[[Study], Order], top: int, folder: _Folder | None = None) -> SweepResult:
    with Reader(path) as reader:
        asked = groups_for(reader.study, wanted(reader.study))
    complete(path, asked)
    with Reader(path) as reader:  # it reports an error within as damage of the file where the file is damaged
        found = findings(reader, wanted(reader.study), top)
        _check_kinds(found)
        found = replace(found, best=filled(found.study, found.best))
        by_condition = filled(found.study, best_by_condition(reader, found.order))
        return SweepResult(path, found, winners(reader, found.order), by_condition, folder)


def _check_kinds(found: Findings) -> None:
    """Refuse cells of another kind than their column, which only a damaged file has."""
    kinds = {axis.name: float if axis.kind is Kind.NUMBER else str for axis in found.study.plan.axes}
    sound = all(isinstance(value, kinds[name]) for launch in found.best for name, value in launch.values.items())
    sound &= all(isinstance(value, float) for launch in found.best for value in launch.measures.values())
    sound &= all(isinstance(group.best, float) for groups in found.groups.values() for group in groups)
    if not sound or not all(isinstance(reason, str) for reason in found.failures):
        raise TypeError("a cell is of another kind than its column")


def _unseen(far: Progress) -> None:
    """A watch that ignores progress."""


def _with_best(request: Request, path: Path, watch: Watch) -> Watch:
    """Add to each report of progress the best result so far, which includes what the file held from an earlier time."""
    best: BestSoFar | None = None

    def seen(far: Progress) -> None:
        nonlocal best
        if best is None:
            best = BestSoFar(study_of(request.spec), request.order)
            if far.done > 0:
                with Reader(path) as reader:
                    best.begin(reader)
        if far.cases is not None and far.result is not None:
            best.see(far.cases, far.result)
        watch(replace(far, best=best.value, by=request.order.by))

    return seen
