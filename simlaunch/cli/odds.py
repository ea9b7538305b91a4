"""`simlaunch odds`: how sure it is which of two curves is quicker."""

from __future__ import annotations

from typing import Annotated

import typer

from simlaunch.analysis import odds as study
from simlaunch.cli.ending import Code
from simlaunch.cli.options import AsJson, Changes, Force, Out, Pedal, PedalChoice, Quiet, ScenarioFile, Taken, Units
from simlaunch.cli.output import compile_once, complain, counting_launches, prepare, show
from simlaunch.cli.scenario_file import read
from simlaunch.launching import targets
from simlaunch.units.spelling import System

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
Cases = Annotated[
    int,
    typer.Option(
        "--cases", metavar="NUMBER", help="Number of cases to draw; rounded up to whole sets, by 7 % at most."
    ),
]
Seed = Annotated[int, typer.Option("--seed", metavar="NUMBER", min=0, help="Seed of the draws.")]
Workers = Annotated[
    int | None,
    typer.Option("--workers", metavar="NUMBER", min=1, help="Number of threads.", show_default="one per core"),
]
NoEffects = Annotated[bool, typer.Option("--no-effects", help="Do not work out which uncertain values decide.")]


def odds(
    scenario: ScenarioFile,
    curve: Curves = None,
    pedal: Pedal = PedalChoice.FULL,
    target: For = None,
    cases: Cases = 2048,
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
    names = study.two_curves(sound, curve or ())
    compile_once(quiet=quiet)
    with counting_launches(quiet=quiet, expected=2 * cases):
        found = study.odds(
            sound,
            *names,
            pedal=pedal.value,
            target=targets.target_named(sound, target),
            cases=cases,
            seed=seed,
            with_effects=not no_effects,
            workers=workers,
        )
    show(found, stem, units=units, as_json=as_json, out=out, force=force, quiet=quiet)
    if not found.reached:
        complain(study.why_missed(found))
        return Code.NOT_REACHED
    return Code.DONE
