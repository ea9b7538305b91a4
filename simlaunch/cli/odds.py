"""`simlaunch odds`: how sure it is which of two curves is quicker."""

from __future__ import annotations

import contextlib
import sys
import time
from typing import Annotated

import typer

from simlaunch.cli.options import AsJson, Changes, Force, Out, PedalChoice, Quiet, ScenarioFile, Taken, Units
from simlaunch.cli.output import compile_once, complain, prepare, show
from simlaunch.errors import UsageError
from simlaunch.units.spelling import System

_TENTHS = 10

Curves = Annotated[
    list[str] | None,
    typer.Option(
        "--curve",
        metavar="NAME",
        help="Full-load curve; give it twice. The second is set against the first.",
        show_default="the first two of the scenario",
    ),
]
Pedal = Annotated[PedalChoice, typer.Option("--pedal", help="Full load throughout, or torque trimmed to a slip.")]
For = Annotated[
    str | None,
    typer.Option("--for", metavar="TARGET", help="What is timed.", show_default="goal of the scenario"),
]
Runs = Annotated[int, typer.Option("--runs", metavar="NUMBER", help="Cases that are drawn.")]
Seed = Annotated[int, typer.Option("--seed", metavar="NUMBER", min=0, help="Decides every draw.")]
Workers = Annotated[
    int | None,
    typer.Option("--workers", metavar="NUMBER", min=1, help="Threads.", show_default="one for each core"),
]
NoEffects = Annotated[bool, typer.Option("--no-effects", help="Do not work out what decides.")]


class _Watch:
    """Tells on stderr how far the launches are: over and over on one line of a terminal, or a line for every tenth."""

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
    """Draw what is not known exactly, and say how sure it is which of two curves is quicker."""
    from simlaunch.analysis.odds import odds as drawn
    from simlaunch.analysis.targets import target_named
    from simlaunch.cli.scenario_file import read

    stem = f"{scenario.stem}-odds"
    prepare(out, stem, force=force)
    sound = read(scenario, changes, taken)
    names = tuple(curve or sound.curve_names[:2])
    if len(names) != 2:
        raise UsageError("the odds are between two curves; name two with --curve")
    for name in names:
        sound.curve(name)
    compile_once(quiet=quiet)
    found = drawn(
        sound,
        *names,
        pedal=pedal.value,
        target=target_named(sound, target),
        runs=runs,
        seed=seed,
        with_effects=not no_effects,
        workers=workers,
        watch=_Watch(quiet),
    )
    show(found, stem, units=units, as_json=as_json, out=out, force=force, quiet=quiet)
    return 0
