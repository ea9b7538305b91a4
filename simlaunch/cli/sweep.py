"""`simlaunch sweep`: which curve on which gear set, final drive, tyre and surface."""

from __future__ import annotations

import contextlib
import json
import sys
import threading
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer
from typer.core import TyperCommand, TyperGroup

from simlaunch.cli import sweep_options as given
from simlaunch.cli.ending import Code, before_leaving
from simlaunch.cli.options import Changes, Quiet, ScenarioFile, Taken, Tolerance, Units
from simlaunch.cli.output import compile_once, complain, note, result
from simlaunch.cli.sweep_show import print_findings, show
from simlaunch.errors import UsageError
from simlaunch.units.spelling import System

if TYPE_CHECKING:
    from simlaunch.scenario.model import Scenario
    from simlaunch.sweep.backends import BackEnd
    from simlaunch.sweep.campaign import Progress
    from simlaunch.sweep.chunk import Spec
    from simlaunch.sweep.plan import Plan
    from simlaunch.sweep.ranking import Order

_BEGIN = "begin"
_LAST_WORD = 0.3  # time for the work to end by itself on an interruption [s]
_TENTHS = 10


class _Begin(TyperCommand):
    """What `simlaunch sweep SCENARIO` means; it goes by the name of its group."""

    def make_context(self, info_name: str | None, args: list[str], parent: Any = None, **extra: Any) -> Any:
        del info_name
        return super().make_context(parent.info_name, args, parent=parent.parent, **extra)


class _Sweep(TyperGroup):
    """A group that takes a scenario where it is not told to show a file."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        return super().parse_args(ctx, args if args[:1] == ["show"] else [_BEGIN, *args])


app = typer.Typer(cls=_Sweep, help="Launch every curve on gear sets, tyres, surfaces and values, and rank the results.")
app.command("show")(show)


def _plan(
    sound: Scenario, vary: list[str] | None, sample: int | None, draw: given.DrawChoice | None, seed: int | None
) -> Plan:
    from simlaunch.sweep.axes import axes
    from simlaunch.sweep.plan import Draw, Plan, Sample

    own = sound.sweep.vary if sound.sweep else ()
    for name, value in {"--draw": draw, "--seed": seed}.items():
        if sample is None and value is not None:
            raise UsageError(f"{name} is about a sample; say how many cases to draw with --sample, or leave it out")
    drawn = None if sample is None else Sample(Draw((draw or given.DrawChoice.SOBOL).value), sample, seed or 0)
    return Plan(axes(vary or own, sound, "--vary" if vary else "sweep.vary"), drawn)


def _back_end(workers: int | None, cluster: str | None, trusted: bool) -> BackEnd:
    from simlaunch.sweep.backends import Threads

    if cluster is None:
        if trusted:
            raise UsageError("--trust-network is about a cluster; name it with --cluster, or leave it out")
        return Threads(workers)
    if workers is not None:
        raise UsageError("--workers counts threads of this machine; a cluster brings its own workers, leave it out")
    from simlaunch.sweep.cluster import Cluster

    return Cluster(cluster, trust_network=trusted)


def _dry_run(spec: Spec, workers: int, elsewhere: bool) -> str:
    from simlaunch.output.sweep import estimate_text
    from simlaunch.sweep.campaign import corners, estimate

    found = estimate(spec, workers, elsewhere=elsewhere)
    return estimate_text(found, spec.plan, corners(spec))


class _Watch:
    """Tells on stderr how far a sweep is: over and over on one line of a terminal, or a line for every tenth."""

    def __init__(self, spec: Spec, path: Path, order: Order, units: System, quiet: bool) -> None:
        from simlaunch.output.words import Numbers
        from simlaunch.sweep.campaign import BestSoFar
        from simlaunch.sweep.chunk import study_of

        self._path = path
        self.far: Progress | None = None
        self._best = BestSoFar(study_of(spec), order)
        self._order, self._numbers = order, Numbers(units)
        self._quiet, self._live = quiet, sys.stderr is not None and sys.stderr.isatty()
        self._tenth = -1

    def __call__(self, far: Progress) -> None:
        first, self.far = self.far is None, far
        if first and far.done > 0:
            self._begin()
        if far.cases is not None and far.result is not None:
            self._best.see(far.cases, far.result)
        tenth = _TENTHS * far.done // far.total
        if self._quiet or (first and far.done == 0) or (not self._live and tenth == self._tenth):
            return
        self._tenth = tenth
        self._tell(far)

    def _begin(self) -> None:
        """Take in what the file holds from an earlier time."""
        from simlaunch.sweep.store import Reader

        with Reader(self._path) as reader:
            self._best.begin(reader)

    def _tell(self, far: Progress) -> None:
        from simlaunch.output.sweep import progress_line

        line = progress_line(far, self._best.value, self._order, self._numbers)
        if not self._live:
            complain(line)
            return
        with contextlib.suppress(OSError):
            sys.stderr.write(f"\r{line:<79}" + ("\n" if far.done == far.total else ""))
            sys.stderr.flush()


def _carried_out(spec: Spec, path: Path, back_end: BackEnd, watch: _Watch, asked: str, quiet: bool) -> None:
    """Do the work; on an interruption, what is finished stays, and it is said how to go on."""
    from simlaunch.sweep.campaign import carry_out

    stop, ended = threading.Event(), threading.Event()

    def last_word() -> None:
        stop.set()
        ended.wait(_LAST_WORD)
        far = watch.far
        kept = "nothing is finished yet" if far is None else f"{far.done} of {far.total} launches are kept in {path}"
        complain(f"{kept}; the same command goes on from there")

    try:
        with before_leaving(last_word):
            carry_out(spec, path, back_end, stop.is_set, watch, asked)
            ended.set()
            if stop.is_set():
                threading.Event().wait()  # the process is about to end
    except KeyboardInterrupt:
        last_word()
        raise
    finally:
        ended.set()
    note(f"wrote {path}", quiet=quiet)


def sweep(
    scenario: ScenarioFile,
    output: given.Results = None,
    vary: given.Vary = None,
    sample: given.SampleSize = None,
    draw: given.Drawn = None,
    seed: given.Seed = None,
    by: given.By = None,
    where: given.Where = None,
    top: given.Top = 10,
    dry_run: given.DryRun = False,
    workers: given.Workers = None,
    cluster: given.Cluster = None,
    trust_network: given.TrustNetwork = False,
    changes: Changes = None,
    taken: Taken = None,
    tolerance: Tolerance = None,
    units: Units = System.METRIC,
    quiet: Quiet = False,
) -> int:
    """Launch every curve on gear sets, tyres, surfaces and values, and rank the results.

    Results are kept in a file; the same command carries an unfinished one on. `simlaunch sweep show FILE` ranks a file
    anew, exports it and draws it.
    """
    from simlaunch.cli.scenario_file import read
    from simlaunch.sweep.chunk import SWEEP_TOLERANCE, prepared, spec_of, study_of
    from simlaunch.sweep.ranking import order

    sound = read(scenario, changes, taken)
    spec = spec_of(sound, _plan(sound, vary, sample, draw, seed), tolerance or SWEEP_TOLERANCE)
    asked_by = by or (sound.sweep.by if sound.sweep else None)
    asked_where = where or list((sound.sweep.where if sound.sweep else None) or ())
    wanted = order(study_of(spec), asked_by, asked_where)
    prepared(spec).caster.check()
    compile_once(quiet=quiet)
    path = output or Path(f"{scenario.stem}-sweep.sqlite")
    asked = json.dumps({"by": asked_by, "where": asked_where, "changes": changes or [], "taken": taken or []})
    with contextlib.closing(_back_end(workers, cluster, trust_network)) as engine:
        if dry_run:
            result(_dry_run(spec, engine.workers, cluster is not None))
            return Code.DONE
        _carried_out(spec, path, engine, _Watch(spec, path, wanted, units, quiet), asked, quiet)
    failed = print_findings(path, asked_by, asked_where, top, units)
    if failed:
        complain(f"{failed} launches failed; the results say why")
        return Code.SOME_FAILED
    return Code.DONE


app.command(_BEGIN, cls=_Begin, hidden=True)(sweep)
