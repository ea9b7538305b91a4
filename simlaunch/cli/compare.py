"""`simlaunch compare`: curves against each other, the main job."""

from __future__ import annotations

from typing import Annotated

import typer

from simlaunch.cli.ending import ended
from simlaunch.cli.options import (
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
from simlaunch.cli.output import Shown, compile_once, deliver, note, prepare
from simlaunch.units.spelling import System

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
    out: Out = None,
    force: Force = False,
    quiet: Quiet = False,
) -> int:
    """Set curves against each other: same car, same conditions, with full pedal and with held slip."""
    from simlaunch.analysis.compare import compare as compared
    from simlaunch.analysis.reference_conditions import footing_gaps, unstated
    from simlaunch.cli.scenario_file import read
    from simlaunch.output.compare import bad_runs, comparison_tables, comparison_text
    from simlaunch.output.compare_as_json import comparison_object
    from simlaunch.output.words import sentences
    from simlaunch.report.evidence import with_evidence
    from simlaunch.simulation import run as launching

    stem = f"{scenario.stem}-compare"
    prepare(out, stem, force=force)
    sound = read(scenario, changes, taken)
    for name in curve or ():
        sound.curve(name)
    if mixed_footings:
        for gap in footing_gaps(sound, curve or sound.curve_names):
            note(f"{gap}; that much of a difference is none of the engine", quiet=quiet)
        if unknown := unstated(sound, curve or sound.curve_names):
            note(unknown, quiet=quiet)
    compile_once(quiet=quiet)
    way = launching.Method(method.value)
    found = compared(sound, curve or None, method=way, tolerance=tolerance, mixed_footings=mixed_footings)
    found = with_evidence(found, sound, cases)

    def figures() -> dict[str, object]:
        from simlaunch.analysis.usable import usable
        from simlaunch.plotting.compare import compare_figures

        return {**compare_figures(found, usable(sound), units)}

    told = [sentences(pair.verdict, units) for pair in found.pairs]
    shown = Shown(
        stem,
        text=lambda: comparison_text(found, sound, units),
        document=lambda: comparison_object(found, sound, told, trace=trace),
        tables=lambda: comparison_tables(found, units),
        figures=figures,
    )
    deliver(shown, as_json=as_json, out=out, force=force, quiet=quiet)
    return ended(bad=bool(bad_runs(found)), reached=found.reached)
