"""`simlaunch report`: the page that a customer reads."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from simlaunch.cli.compare import Cases, MixedFootings
from simlaunch.cli.ending import before_leaving, ended
from simlaunch.cli.options import AsJson, Changes, Force, Quiet, ScenarioFiles, Taken, Units
from simlaunch.cli.output import compile_once, note, result
from simlaunch.errors import UsageError
from simlaunch.units.spelling import System

if TYPE_CHECKING:
    from collections.abc import Mapping

    from simlaunch.scenario.model import Scenario


class PaperChoice(StrEnum):
    """Size of paper, as typed."""

    A4 = "a4"
    LETTER = "letter"


Output = Annotated[
    Path | None,
    typer.Option(
        "-o",
        "--output",
        metavar="FILE",
        help="The page (HTML); of a project, the folder.",
        show_default="SCENARIO-report.html here; of a project, NAME-report",
    ),
]
Pdf = Annotated[
    Path | None,
    typer.Option("--pdf", metavar="FILE", help="Also print it, by Chromium or a browser like it.", show_default=False),
]
PaperSize = Annotated[
    PaperChoice | None,
    typer.Option("--paper", help="Paper of the PDF.", show_default="a4; with US units letter"),
]
Curves = Annotated[
    list[str] | None,
    typer.Option(
        "--curve",
        metavar="NAME",
        help="Full-load curve; give it twice.",
        show_default="the highest peak, and the quickest of the others",
    ),
]
SweepFile = Annotated[
    Path | None,
    typer.Option("--sweep", metavar="FILE", help="Results of `simlaunch sweep` to state as well.", show_default=False),
]


def report(
    scenario: ScenarioFiles,
    output: Output = None,
    pdf: Pdf = None,
    paper: PaperSize = None,
    curve: Curves = None,
    sweep: SweepFile = None,
    mixed_footings: MixedFootings = False,
    cases: Cases = 256,
    changes: Changes = None,
    taken: Taken = None,
    units: Units = System.METRIC,
    as_json: AsJson = False,
    force: Force = False,
    quiet: Quiet = False,
) -> int:
    """Write one page for a customer: which of two curves, why, at what cost, and how sure that is.

    Several scenarios, or a folder of them, get a page each, and a page that lists them all.
    """
    from simlaunch.analysis.project import scenario_files
    from simlaunch.cli.scenario_file import read
    from simlaunch.output.as_json import dumps
    from simlaunch.reporting.gather import question
    from simlaunch.reporting.report import check_files
    from simlaunch.reporting.report import report as written

    files = scenario_files(scenario)
    if len(files) > 1 or scenario[0].is_dir():
        one = {"--pdf": pdf, "--paper": paper, "--curve": curve, "--sweep": sweep}
        if idle := [name for name, value in one.items() if value]:
            raise UsageError(f"{', '.join(idle)} goes with one scenario; a project has {len(files)}")
        return _project(
            {file.stem: read(file, changes, taken) for file in files},
            output or Path(f"{scenario[0].resolve().stem}-report"),
            scenario[0].resolve().stem if scenario[0].is_dir() else "",
            units,
            as_json=as_json,
            quiet=quiet,
            cases=cases,
            mixed_footings=mixed_footings,
            force=force,
        )
    page = output or Path(f"{files[0].stem}-report.html")
    sound = read(files[0], changes, taken)
    names = question(sound, curve)
    check_files(page, pdf, force=force)  # before anything is compiled
    compile_once(quiet=quiet)
    found = written(
        sound,
        page,
        curves=names,
        cases=cases,
        units=units,
        pdf=pdf,
        paper=paper.value if paper else None,
        sweep=sweep,
        mixed_footings=mixed_footings,
        force=force,
        guard=before_leaving,
    )
    for path in (found.page, *([found.pdf] if found.pdf else [])):
        note(f"wrote {path}", quiet=quiet)
    result(dumps(found.to_dict()) if as_json else found.to_text(units))
    return ended(bad=found.material.comparison.bad, reached=found.material.comparison.reached)


def _project(
    scenarios: Mapping[str, Scenario],
    folder: Path,
    title: str,
    units: System,
    *,
    as_json: bool,
    quiet: bool,
    **how: Any,
) -> int:
    """A page for each scenario, and one that lists them."""
    from simlaunch.output.as_json import dumps
    from simlaunch.reporting.gather import question
    from simlaunch.reporting.project import report_project

    for each in scenarios.values():
        question(each, None)  # before anything is compiled
    compile_once(quiet=quiet)
    found = report_project(scenarios, folder, title=title, units=units.value, guard=before_leaving, **how)
    for path in (*(each.page for each in found.reports), found.index):
        note(f"wrote {path}", quiet=quiet)
    result(dumps(found.to_dict()) if as_json else found.to_text(units))
    return ended(bad=found.bad, reached=found.reached)
