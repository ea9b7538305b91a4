"""`simlaunch report`: the page that a customer reads."""

from __future__ import annotations

import os
import sys
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from simlaunch.cli.compare import Cases, MixedFootings
from simlaunch.cli.ending import before_leaving, ended
from simlaunch.cli.options import AsJson, Changes, Force, Quiet, ScenarioFile, Taken, Units
from simlaunch.cli.output import compile_once, note, result
from simlaunch.errors import UsageError
from simlaunch.units.spelling import System
from simlaunch.writing import check, check_folder, write

if TYPE_CHECKING:
    from simlaunch.report.gather import Material
    from simlaunch.report.page import Edition

_HEAD = 4096  # of a page, in which it says what it is [bytes]
_PAGE_MARK = b'<meta name="generator" content="simlaunch report'


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
    typer.Option("--sweep", metavar="FILE", help="Results of `simlaunch sweep` to tell of too.", show_default=False),
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
    from simlaunch.output.compare import bad_runs
    from simlaunch.report.gather import gather, question
    from simlaunch.report.page import edition, page

    page_file = output or Path(f"{scenario.stem}-report.html")
    sound = read(scenario, changes, taken)
    names = question(sound, curve)
    _check_files(page_file, pdf, force)
    compile_once(quiet=quiet)
    found = gather(sound, names, system=units, cases=cases, mixed_footings=mixed_footings, sweep=sweep)
    ready = edition(found, units, stem=page_file.stem, version=_version(), cases=cases)
    content = page(ready).encode()
    write("--output", page_file, content, force=force, ours=_is_ours)
    note(f"wrote {page_file}", quiet=quiet)
    if pdf is not None:
        _write_pdf(ready, pdf, paper, force)
        note(f"wrote {pdf}", quiet=quiet)
    result(_as_json(found, units, page_file, content, pdf) if as_json else _as_text(found, units, page_file, pdf))
    return ended(bad=bool(bad_runs(found.comparison)), reached=found.comparison.reached)


# --- files ---


def _check_files(page: Path, pdf: Path | None, force: bool) -> None:
    """Refuse before the work begins what could not be written after it."""
    _check_file("--output", page, force)
    if pdf is None:
        return
    from simlaunch.report.print_pdf import browser

    if os.path.realpath(pdf) == os.path.realpath(page):
        raise UsageError("--pdf and --output name the same file; give each its own")
    _check_file("--pdf", pdf, force)
    browser()


def _check_file(place: str, path: Path, force: bool) -> None:
    """A report of ours is written anew; whatever else has that name stays."""
    check_folder(place, path.parent)
    check(place, path, force=force, ours=_is_ours)


def _is_ours(path: Path) -> bool:
    from simlaunch.report.print_pdf import MARK

    with path.open("rb") as file:
        head = file.read(_HEAD)
        file.seek(-min(len(MARK), path.stat().st_size), os.SEEK_END)
        return _PAGE_MARK in head or file.read() == MARK


def _version() -> str:
    return str(sys.modules["simlaunch"].__version__)


def _write_pdf(ready: Edition, path: Path, paper: PaperChoice | None, force: bool) -> None:
    from simlaunch.report.page import Paper, page
    from simlaunch.report.print_pdf import Printing, browser

    usual = PaperChoice.LETTER if ready.system is System.US else PaperChoice.A4
    printing = Printing(browser())
    with before_leaving(printing.stop):
        try:
            content = printing.printed(page(ready, Paper((paper or usual).value)))
        finally:
            printing.stop()
    write("--pdf", path, content, force=force, ours=_is_ours)


# --- what is printed ---


def _as_text(found: Material, units: System, page: Path, pdf: Path | None) -> str:
    from simlaunch.output.layout import paragraph
    from simlaunch.output.words import sentences

    files = [f"Report: {page}", *([f"Printed: {pdf}"] if pdf else [])]
    told = ["Verdict", *(paragraph(sentence) for sentence in sentences(found.pair.verdict, units))]
    return "\n".join([*map(paragraph, files), "", *told])


def _as_json(found: Material, units: System, page: Path, content: bytes, pdf: Path | None) -> str:
    from simlaunch.output.as_json import dumps
    from simlaunch.report.story import summary_object

    return dumps(summary_object(found, units, page=str(page), content=content, pdf=str(pdf) if pdf else None))
