"""`simlaunch compare`: curves against each other, the main job."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated

import typer

from simlaunch.cli.ending import ended
from simlaunch.cli.options import (
    All,
    AsJson,
    Changes,
    Force,
    Method,
    MethodChoice,
    Out,
    Quiet,
    ScenarioFile,
    Taken,
    Tolerance,
    Trace,
    Units,
)
from simlaunch.cli.output import compile_once, counting_launches, note, prepare, show
from simlaunch.units.spelling import System

if TYPE_CHECKING:
    from simlaunch.scenario.model import Scenario

CurveNames = Annotated[
    list[str] | None,
    typer.Option(
        "--curve",
        metavar="NAME",
        help="Full-load curve; repeat it. The others are set against the first.",
        show_default="all of the scenario",
    ),
]
MixedFootings = Annotated[
    bool,
    typer.Option("--mixed-footings", help="Allow curves that carry unlike weather corrections."),
]

Cases = Annotated[
    int,
    typer.Option(
        "--cases",
        metavar="NUMBER",
        min=0,
        help="Cases drawn for the verdict where the scenario has [[uncertain]] values; 0: none.",
    ),
]


def compare(
    scenario: ScenarioFile,
    curve: CurveNames = None,
    mixed_footings: MixedFootings = False,
    cases: Cases = 256,
    method: Method = MethodChoice.COMPILED,
    tolerance: Tolerance = None,
    changes: Changes = None,
    taken: Taken = None,
    units: Units = System.METRIC,
    as_json: AsJson = False,
    trace: Trace = False,
    every: All = False,
    out: Out = None,
    force: Force = False,
    quiet: Quiet = False,
) -> int:
    """Set curves against each other: same car, same conditions, with full pedal and with held slip."""
    from simlaunch.analysis.compare import compare as compared
    from simlaunch.cli.scenario_file import read

    stem = f"{scenario.stem}-compare"
    prepare(out, stem, force=force)
    sound = read(scenario, changes, taken)
    for name in curve or ():
        sound.curve(name)
    if mixed_footings:
        _note_footings(sound, curve or sound.curve_names, quiet)
    compile_once(quiet=quiet)
    with counting_launches(quiet=quiet):
        found = compared(
            sound,
            curve or None,
            cases=cases,
            method=method.value,
            tolerance=tolerance,
            mixed_footings=mixed_footings,
            units=units,
        )
    show(found, stem, units=units, as_json=as_json, out=out, force=force, quiet=quiet, full=every, trace=trace)
    return ended(bad=found.bad, reached=found.reached)


def _note_footings(scenario: Scenario, names: Sequence[str], quiet: bool) -> None:
    """Say what unlike weather corrections do to the differences, before any launch."""
    from simlaunch.analysis.reference_conditions import footing_gaps, unstated

    for gap in footing_gaps(scenario, names):
        note(f"{gap}; that much of a difference is none of the engine", quiet=quiet)
    if unknown := unstated(scenario, names):
        note(unknown, quiet=quiet)
