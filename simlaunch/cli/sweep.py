"""`simlaunch sweep`: which curve on which gear set, final drive, tyre and surface."""

from __future__ import annotations

import contextlib
import sys
import threading
from pathlib import Path
from typing import Any

import typer
from typer.core import TyperCommand, TyperGroup

from simlaunch.cli import sweep_options as given
from simlaunch.cli.ending import Code, before_leaving
from simlaunch.cli.options import AsJson, Changes, Quiet, ScenarioFile, Taken, Units
from simlaunch.cli.output import compile_once, complain, note, result
from simlaunch.cli.scenario_file import read
from simlaunch.cli.sweep_show import printed, show
from simlaunch.errors import UsageError
from simlaunch.output import sweep as shown
from simlaunch.output import words
from simlaunch.sweeping import backends, campaign, chunk
from simlaunch.sweeping import study as sweeping
from simlaunch.units.spelling import System

_BEGIN = "begin"
_GRACE = 0.3  # time for the work to end by itself after an interruption [s]
_TENTHS = 10


class _Begin(TyperCommand):
    """The command `simlaunch sweep SCENARIO`, shown under the name of its group."""

    def make_context(self, info_name: str | None, args: list[str], parent: Any = None, **extra: Any) -> Any:
        del info_name
        return super().make_context(parent.info_name, args, parent=parent.parent, **extra)


class _Sweep(TyperGroup):
    """A group whose first argument is a scenario unless it is the command `show`."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        return super().parse_args(ctx, args if args[:1] == ["show"] else [_BEGIN, *args])


def _refuse_without_sample(sample: int | None, draw: given.DrawChoice | None, seed: int | None) -> None:
    for name, value in {"--draw": draw, "--seed": seed}.items():
        if sample is None and value is not None:
            raise UsageError(f"{name} applies to a sample; give the number of cases with --sample, or leave it out")


def _dry_run(spec: chunk.Spec, workers: int, elsewhere: bool) -> str:
    found = campaign.estimate(spec, workers, elsewhere=elsewhere)
    return shown.estimate_text(found, spec.plan, campaign.corners(spec))


class _Watch:
    """Reports progress on stderr: on one line of a terminal again and again, elsewhere a line for every tenth."""

    def __init__(self, units: System, quiet: bool) -> None:
        self.far: campaign.Progress | None = None
        self._numbers = words.Numbers(units)
        self._quiet, self._live = quiet, sys.stderr is not None and sys.stderr.isatty()
        self._tenth = -1

    def __call__(self, far: campaign.Progress) -> None:
        first, self.far = self.far is None, far
        tenth = _TENTHS * far.done // far.total
        if self._quiet or (first and far.done == 0) or (not self._live and tenth == self._tenth):
            return
        self._tenth = tenth
        self._report(far)

    def _report(self, far: campaign.Progress) -> None:
        line = shown.progress_line(far, self._numbers)
        if not self._live:
            complain(line)
            return
        with contextlib.suppress(OSError):
            sys.stderr.write(f"\r{line:<79}" + ("\n" if far.done == far.total else ""))
            sys.stderr.flush()


def _carried_out(
    request: sweeping.Request, path: Path, engine: backends.BackEnd, top: int, units: System, quiet: bool
) -> sweeping.SweepResult:
    """Do the work; after an interruption, state what is kept and how to go on."""
    stop, ended, watch = threading.Event(), threading.Event(), _Watch(units, quiet)

    def last_word() -> None:
        stop.set()
        ended.wait(_GRACE)
        far = watch.far
        kept = "nothing is finished yet" if far is None else f"{far.done} of {far.total} launches are kept in {path}"
        complain(f"{kept}; the same command continues from there")

    try:
        with before_leaving(last_word):
            found = sweeping.performed(request, path, engine, top=top, watch=watch, stopped=stop.is_set)
            ended.set()
            if stop.is_set():
                threading.Event().wait()  # the process is about to end
    except KeyboardInterrupt:
        last_word()
        raise
    finally:
        ended.set()
    note(f"wrote {path}", quiet=quiet)
    return found


def sweep(
    scenario: ScenarioFile,
    output: given.Results = None,
    vary: given.Vary = None,
    sample: given.SampleSize = None,
    draw: given.Drawn = None,
    seed: given.Seed = None,
    by: given.By = None,
    where: given.Where = None,
    target: given.For = None,
    top: given.Top = 10,
    measure_all: given.MeasureAll = False,
    dry_run: given.DryRun = False,
    workers: given.Workers = None,
    cluster: given.Cluster = None,
    trust_network: given.TrustNetwork = False,
    changes: Changes = None,
    taken: Taken = None,
    tolerance: given.Tolerance = None,
    units: Units = System.METRIC,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> int:
    """Launch and rank curves over gear sets, tyres, surfaces and values.

    A file keeps the results; the same command continues an unfinished one. `simlaunch sweep show FILE` ranks a file
    again, exports it and draws it.

    Each launch ends at the goals of the scenario (run.until): marks beyond them are not measured, and their columns
    stay empty. Add a goal to measure more.
    """
    _refuse_without_sample(sample, draw, seed)
    if dry_run and as_json:
        raise UsageError("--json prints the result of a sweep, which --dry-run does not make; leave one of them out")
    request = sweeping.requested(
        read(scenario, changes, taken),
        vary=vary,
        sample=sample,
        draw=draw or given.DrawChoice.SOBOL,
        seed=seed or 0,
        by=by,
        where=where or None,
        target=target or None,
        tolerance=tolerance,
        measure_all=measure_all,
        place="--vary",
        options={"changes": changes or [], "taken": taken or []},
    )
    compile_once(quiet=quiet)
    path = output or Path(f"{scenario.stem}-sweep.sqlite")
    with contextlib.closing(sweeping.back_end(workers, cluster, trust_network=trust_network)) as engine:
        if dry_run:
            result(_dry_run(request.spec, engine.workers, cluster is not None))
            return Code.DONE
        found = _carried_out(request, path, engine, top, units, quiet)
    printed(found, units=units, as_json=as_json)
    if found.findings.failed:
        complain(f"{found.findings.failed} launches failed; the results state why")
        return Code.SOME_FAILED
    return Code.DONE


app = typer.Typer(cls=_Sweep, help=sweep.__doc__)
app.command("show")(show)
app.command(_BEGIN, cls=_Begin, hidden=True)(sweep)
