"""`simlaunch odds`: how sure it is which of two curves is quicker."""

from __future__ import annotations

import contextlib
import sys
import time
from typing import Annotated

import typer

from simlaunch.analysis import odds as study
from simlaunch.analysis import targets
from simlaunch.cli.options import AsJson, Changes, Force, Out, Pedal, PedalChoice, Quiet, ScenarioFile, Taken, Units
from simlaunch.cli.output import compile_once, complain, prepare, show
from simlaunch.cli.scenario_file import read
from simlaunch.errors import UsageError
from simlaunch.units.spelling import System

_TENTHS = 10

Curves = Annotated[
    list[str] | None,
    typer.Option(
        "--curve",
        metavar="NAME",
        help="Full-load curve; give two. The second is compared with the first.",
        show_default="the first two of the scenario",
    ),
]
For = Annotated[
    str | None,
    typer.Option(
        "--for",
        metavar="TARGET",
        help='Target to compare times for, such as "1/4 mile".',
        show_default="the scenario's goal",
    ),
]
Runs = Annotated[int, typer.Option("--runs", metavar="NUMBER", help="Number of cases to draw.")]
Seed = Annotated[int, typer.Option("--seed", metavar="NUMBER", min=0, help="Seed of the draws.")]
Workers = Annotated[
    int | None,
    typer.Option("--workers", metavar="NUMBER", min=1, help="Number of threads.", show_default="one per core"),
]
NoEffects = Annotated[bool, typer.Option("--no-effects", help="Do not work out which uncertain values decide.")]


class _Watch:
    """Reports progress on stderr: on one line of a terminal again and again, elsewhere a line for every tenth."""

    def __init__(self, quiet: bool) -> None:
        self._quiet, self._live = quiet, sys.stderr is not None and sys.stderr.isatty()
        self._tenth = 0
        self._begin = time.monotonic()

    def __call__(self, done: int, total: int) -> None:
        tenth = _TENTHS * done // total
        if self._quiet or (not self._live and tenth == self._tenth):
            return
        self._tenth = tenth
        line = f"{done} of {total} launches ({100 * done // total} %)"
        if not self._live:
            complain(line)
            return
        left = (time.monotonic() - self._begin) * (total - done) / max(done, 1)
        line += f", {max(left, 1.0):.0f} s left" if done < total else ""
        with contextlib.suppress(OSError):
            sys.stderr.write(f"\r{line:<79}" + ("\n" if done == total else ""))
            sys.stderr.flush()


def odds(
    scenario: ScenarioFile,
    curve: Curves = None,
    pedal: Pedal = PedalChoice.FULL,
    target: For = None,
    runs: Runs = 2048,
    seed: Seed = 0,
    no_effects: NoEffects = False,
    workers: Workers = None,
    changes: Changes = None,
    taken: Taken = None,
    units: Units = System.METRIC,
    as_json: AsJson = False,
    out: Out = None,
    force: Force = False,
    quiet: Quiet = False,
) -> int:
    """State how sure it is which of two curves is quicker.

    Both curves are launched in many cases, with the [[uncertain]] values of the scenario drawn anew in each.
    """
    stem = f"{scenario.stem}-odds"
    prepare(out, stem, force=force)
    sound = read(scenario, changes, taken)
    names = tuple(curve or sound.curve_names[:2])
    if len(names) != 2:
        raise UsageError("odds are stated for two curves; name two with --curve")
    for name in names:
        sound.curve(name)
    compile_once(quiet=quiet)
    found = study.odds(
        sound,
        *names,
        pedal=pedal.value,
        target=targets.target_named(sound, target),
        runs=runs,
        seed=seed,
        with_effects=not no_effects,
        workers=workers,
        watch=_Watch(quiet),
    )
    show(found, stem, units=units, as_json=as_json, out=out, force=force, quiet=quiet)
    return 0
