"""`simlaunch run`: one launch with one curve."""

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
    PedalChoice,
    Quiet,
    ScenarioFile,
    Taken,
    Tolerance,
    Trace,
    Units,
    driven,
)
from simlaunch.cli.output import Shown, compile_once, deliver, prepare
from simlaunch.units.spelling import System

CurveName = Annotated[
    str | None,
    typer.Option("--curve", metavar="NAME", help="Full-load curve.", show_default="the first of the scenario"),
]
Pedal = Annotated[PedalChoice, typer.Option("--pedal", help="Full load throughout, or torque trimmed to hold a slip.")]


def run(
    scenario: ScenarioFile,
    curve: CurveName = None,
    pedal: Pedal = PedalChoice.FULL,
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
    """Run one launch with one curve: times, use of grip, part torque, and where the energy went."""
    from simlaunch.analysis.simulate import simulate
    from simlaunch.cli.scenario_file import read
    from simlaunch.output.as_json import run_object
    from simlaunch.output.run import run_tables, run_text
    from simlaunch.simulation import run as launching

    stem = f"{scenario.stem}-run"
    prepare(out, stem, force=force)
    sound = read(scenario, changes, taken)
    if curve is not None:
        sound.curve(curve)
    compile_once(quiet=quiet)
    kind = driven(pedal)
    way = launching.Method(method.value)
    launch = simulate(sound, curve, kind, method=way, tolerance=tolerance)

    def figures() -> dict[str, object]:
        from simlaunch.plotting.run import run_figure

        return {"history": run_figure(launch, units)}

    shown = Shown(
        stem,
        text=lambda: run_text(launch, sound, units),
        document=lambda: run_object(launch, sound, trace=trace),
        tables=lambda: run_tables(launch, units),
        figures=figures,
    )
    deliver(shown, as_json=as_json, out=out, force=force, quiet=quiet)
    return ended(bad=launch.measures.audit.bad, reached=launch.reached)
