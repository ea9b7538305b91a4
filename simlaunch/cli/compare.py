"""`simlaunch compare`: curves against each other, the main job."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated, Any

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
    ScenarioFiles,
    Taken,
    ToleranceOfMethod,
    Trace,
    Units,
)
from simlaunch.cli.output import compile_once, counting_launches, note, prepare, show
from simlaunch.cli.scenario_file import read
from simlaunch.comparing import compare as study
from simlaunch.comparing import project, reference_conditions
from simlaunch.units.spelling import System

if TYPE_CHECKING:
    from simlaunch.scenario.model import Scenario

CurveNames = Annotated[
    list[str] | None,
    typer.Option(
        "--curve",
        metavar="NAME",
        help="Full-load curve; repeatable. The others are compared with the first.",
        show_default="all curves of the scenario",
    ),
]
MixedCorrections = Annotated[
    bool,
    typer.Option("--mixed-corrections", help="Allow curves that carry different weather corrections."),
]

Cases = Annotated[
    int,
    typer.Option(
        "--cases",
        metavar="NUMBER",
        min=0,
        help="Number of cases to draw for the verdict where the scenario has [[uncertain]] values; 0 draws none.",
    ),
]


def compare(
    scenario: ScenarioFiles,
    curve: CurveNames = None,
    mixed_corrections: MixedCorrections = False,
    cases: Cases = 256,
    method: Method = MethodChoice.COMPILED,
    tolerance: ToleranceOfMethod = None,
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
    """Compare full-load curves: which is quicker, by how much, and why.

    All launches share the car and the conditions; each curve is launched with full pedal and with held slip. Several
    scenarios, or a folder of them, are compared one by one, and one table lists them all.
    """
    files = project.scenario_files(scenario)
    several = len(files) > 1 or project.is_folder(scenario[0])
    stem = f"{scenario[0].stem}-project" if several else f"{files[0].stem}-compare"
    prepare(out, stem, force=force)
    sound = {file.stem: read(file, changes, taken) for file in files}
    for each in sound.values():
        for name in curve or ():
            each.curve(name)
        if mixed_corrections:
            _note_corrections(each, curve or each.curve_names, quiet)
    compile_once(quiet=quiet)
    how: dict[str, Any] = {
        "cases": cases, "method": method.value, "tolerance": tolerance, "mixed_corrections": mixed_corrections,
        "units": units,
    }  # fmt: skip
    found: study.Comparison | project.Project
    with counting_launches(quiet=quiet):
        found = (
            project.compare_project(sound, curve or None, **how)
            if several
            else study.compare(sound[files[0].stem], curve or None, **how)
        )
    show(found, stem, units=units, as_json=as_json, out=out, force=force, quiet=quiet, full=every, trace=trace)
    return ended(bad=found.bad, reached=found.reached)


def _note_corrections(scenario: Scenario, names: Sequence[str], quiet: bool) -> None:
    """Say what unlike weather corrections do to the differences, before any launch."""
    for gap in reference_conditions.correction_gaps(scenario, names):
        note(f"{gap}; a difference of this size can come from the correction alone", quiet=quiet)
    if unknown := reference_conditions.unstated(scenario, names):
        note(unknown, quiet=quiet)
