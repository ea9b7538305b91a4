"""`simlaunch stress`: what the parts of the driveline take with each curve."""

from __future__ import annotations

from typing import Annotated

import typer

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
    driven,
)
from simlaunch.cli.output import Shown, compile_once, deliver, note, prepare
from simlaunch.units.spelling import System

CurveNames = Annotated[
    list[str] | None,
    typer.Option(
        "--curve",
        metavar="NAME",
        help="Full-load curve; repeat it. Wear is told over the mildest.",
        show_default="all of the scenario",
    ),
]
Pedal = Annotated[PedalChoice, typer.Option("--pedal", help="Full load throughout, or torque trimmed to a slip.")]


def stress(
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
    from simlaunch.analysis.parts import stress as loaded
    from simlaunch.cli.scenario_file import read
    from simlaunch.output.parts import stress_object, stress_tables, stress_text

    stem = f"{scenario.stem}-stress"
    prepare(out, stem, force=force)
    sound = read(scenario, changes, taken)
    for name in curve or ():
        sound.curve(name)
    compile_once(quiet=quiet)
    driver = driven(pedal)
    found = loaded(sound, curve or None, pedal=driver, tolerance=tolerance)
    if found.broken:
        note(f"loads that are too much: {len(found.broken)}", quiet=quiet)

    def figures() -> dict[str, object]:
        if not sound.parts:
            return {}
        from simlaunch.plotting.parts import stress_figure

        return {"parts": stress_figure(found, units)}

    shown = Shown(
        stem,
        text=lambda: stress_text(found, sound, units),
        document=lambda: stress_object(found, sound),
        tables=lambda: stress_tables(found, units),
        figures=figures,
    )
    deliver(shown, as_json=as_json, out=out, force=force, quiet=quiet)
    runs = [load.simulation for load in found.loads]
    return ended(bad=any(run.measures.audit.bad for run in runs), reached=all(run.reached for run in runs))
