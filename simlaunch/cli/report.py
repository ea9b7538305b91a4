"""`simlaunch report`: the page that a customer reads."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from simlaunch.cli.compare import Cases, MixedFootings
from simlaunch.cli.ending import before_leaving, ended
from simlaunch.cli.options import AsJson, Changes, Force, Quiet, ScenarioFile, Taken, Units
from simlaunch.cli.output import compile_once, counting_launches, note, result
from simlaunch.units.spelling import System


class PaperChoice(StrEnum):
    """Size of paper, as typed."""

    A4 = "a4"
    LETTER = "letter"


Output = Annotated[
    Path | None,
    typer.Option("-o", "--output", metavar="FILE", help="The page (HTML).", show_default="SCENARIO-report.html here"),
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
    scenario: ScenarioFile,
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
    """Write one page for a customer: which of two curves, why, at what cost, and how sure that is."""
    from simlaunch.cli.scenario_file import read
    from simlaunch.output.as_json import dumps
    from simlaunch.reporting.gather import question
    from simlaunch.reporting.report import check_files
    from simlaunch.reporting.report import report as written

    page = output or Path(f"{scenario.stem}-report.html")
    sound = read(scenario, changes, taken)
    names = question(sound, curve)
    check_files(page, pdf, force=force)  # before anything is compiled
    compile_once(quiet=quiet)
    with counting_launches(quiet=quiet):
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
