"""`simlaunch run`: one launch with one curve."""

from __future__ import annotations

from typing import Annotated

import typer

from simlaunch.analysis import simulate as study
from simlaunch.cli.ending import ended
from simlaunch.cli.options import (
    AsJson,
    Changes,
    Force,
    Method,
    MethodChoice,
    Out,
    Pedal,
    PedalChoice,
    Quiet,
    ScenarioFile,
    Taken,
    ToleranceOfMethod,
    Trace,
    Units,
)
from simlaunch.cli.output import compile_once, prepare, show
from simlaunch.cli.scenario_file import read
from simlaunch.units.spelling import System

CurveName = Annotated[
    str | None,
    typer.Option("--curve", metavar="NAME", help="Full-load curve.", show_default="the first of the scenario"),
]
For = Annotated[
    str | None,
    typer.Option(
        "--for",
        metavar="TARGET",
        help='Where the run ends and how it begins: "0-200 km/h", "roll 60 mph to 130 mph", "roll 80 km/h to 160 km/h '
        'in gear 3, shifting on, boost 20 %" or the name of a test.',
        show_default="the scenario's goal",
    ),
]


def run(
    scenario: ScenarioFile,
    curve: CurveName = None,
    pedal: Pedal = PedalChoice.FULL,
    target: For = None,
    method: Method = MethodChoice.COMPILED,
    tolerance: ToleranceOfMethod = None,
    changes: Changes = None,
    taken: Taken = None,
    units: Units = System.METRIC,
    as_json: AsJson = False,
    trace: Trace = False,
    out: Out = None,
    force: Force = False,
    quiet: Quiet = False,
) -> int:
    """Launch once with one curve: times, grip, torque of parts, energy."""
    stem = f"{scenario.stem}-run"
    prepare(out, stem, force=force)
    sound = read(scenario, changes, taken)
    if curve is not None:
        sound.curve(curve)
    compile_once(quiet=quiet)
    launch = study.simulate(sound, curve, pedal.value, target, method=method.value, tolerance=tolerance)
    show(launch, stem, units=units, as_json=as_json, out=out, force=force, quiet=quiet, trace=trace)
    return ended(bad=launch.measures.audit.bad, reached=launch.reached)
