"""`simlaunch parts`: what the parts of the driveline take with each curve."""

from __future__ import annotations

from typing import Annotated

import typer

from simlaunch.analysis import parts as study
from simlaunch.cli.ending import ended
from simlaunch.cli.options import (
    AsJson,
    Changes,
    Force,
    Out,
    PedalChoice,
    Quiet,
    ScenarioFile,
    Taken,
    Tolerance,
    Units,
)
from simlaunch.cli.output import compile_once, note, prepare, show
from simlaunch.cli.scenario_file import read
from simlaunch.units.spelling import System

CurveNames = Annotated[
    list[str] | None,
    typer.Option(
        "--curve",
        metavar="NAME",
        help="Full-load curve; repeat it. Wear is stated over that with the mildest.",
        show_default="all of the scenario",
    ),
]
Pedal = Annotated[PedalChoice, typer.Option("--pedal", help="Full load throughout, or torque trimmed to a slip.")]


def parts(
    scenario: ScenarioFile,
    curve: CurveNames = None,
    pedal: Pedal = PedalChoice.FULL,
    tolerance: Tolerance = None,
    changes: Changes = None,
    taken: Taken = None,
    units: Units = System.METRIC,
    as_json: AsJson = False,
    out: Out = None,
    force: Force = False,
    quiet: Quiet = False,
) -> int:
    """Hold the torque of every part against its rating, and say which curve wears it faster."""
    stem = f"{scenario.stem}-parts"
    prepare(out, stem, force=force)
    sound = read(scenario, changes, taken)
    for name in curve or ():
        sound.curve(name)
    compile_once(quiet=quiet)
    found = study.parts(sound, curve or None, pedal=pedal.value, tolerance=tolerance)
    if found.broken:
        note(f"loads that are too much: {len(found.broken)}", quiet=quiet)
    show(found, stem, units=units, as_json=as_json, out=out, force=force, quiet=quiet)
    runs = [load.simulation for load in found.loads]
    return ended(bad=any(run.measures.audit.bad for run in runs), reached=all(run.reached for run in runs))
