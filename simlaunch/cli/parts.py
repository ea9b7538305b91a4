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
    Pedal,
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
        help="Full-load curve; repeatable. Wear is stated relative to the curve that wears a part least.",
        show_default="all curves of the scenario",
    ),
]


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
    """Compare the torque in each part with its rating, and the wear."""
    stem = f"{scenario.stem}-parts"
    prepare(out, stem, force=force)
    sound = read(scenario, changes, taken)
    for name in curve or ():
        sound.curve(name)
    compile_once(quiet=quiet)
    found = study.parts(sound, curve or None, pedal=pedal.value, tolerance=tolerance)
    if found.broken:
        note(f"parts that are overloaded: {len(found.broken)}", quiet=quiet)
    show(found, stem, units=units, as_json=as_json, out=out, force=force, quiet=quiet)
    runs = [load.simulation for load in found.loads]
    return ended(bad=any(run.measures.audit.bad for run in runs), reached=all(run.reached for run in runs))
