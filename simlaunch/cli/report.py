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
from simlaunch.cli.options import AsJson, Changes, Quiet, ScenarioFile, Taken, Units
from simlaunch.cli.output import compile_once, note, result
from simlaunch.errors import Fault, InputError, UsageError
from simlaunch.units.spelling import System

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
    _check_files(page_file, pdf)
    compile_once(quiet=quiet)
    found = gather(sound, names, system=units, cases=cases, mixed_footings=mixed_footings, sweep=sweep)
    ready = edition(found, units, stem=page_file.stem, version=_version(), cases=cases)
    content = page(ready).encode()
    _write_whole("--output", page_file, content)
    note(f"wrote {page_file}", quiet=quiet)
    if pdf is not None:
        _write_pdf(ready, pdf, paper)
        note(f"wrote {pdf}", quiet=quiet)
    result(_as_json(found, units, page_file, content, pdf) if as_json else _as_text(found, units, page_file, pdf))
    return ended(bad=bool(bad_runs(found.comparison)), reached=found.comparison.reached)


# --- files ---


def _refusal(flag: str, path: Path, why: str, instead: str) -> InputError:
    return InputError(Fault(flag, f'"{path}"', why, instead))


def _check_files(page: Path, pdf: Path | None) -> None:
    """Refuse before the work begins what could not be written after it."""
    _check_file("--output", page)
    if pdf is None:
        return
    from simlaunch.report.print_pdf import browser

    if os.path.realpath(pdf) == os.path.realpath(page):
        raise UsageError("--pdf and --output name the same file; give each its own")
    _check_file("--pdf", pdf)
    browser()


def _check_file(flag: str, path: Path) -> None:
    """A report of ours is written anew; whatever else has that name stays."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        if path.exists() and not path.is_file():
            raise _refusal(flag, path, "is not a file", "name one")
        if path.exists() and not _is_ours(path):
            why = "is there already, and is no report of ours"
            raise _refusal(flag, path, why, "name another file, or remove that one")
        if path.exists() and not os.access(path, os.W_OK):
            raise _refusal(flag, path, "is there already, and must not be written to", "name another file")
        probe = _part_of(path)
        probe.touch()
        probe.unlink()
    except (OSError, ValueError) as error:
        why = f"cannot be written ({getattr(error, 'strerror', None) or error})"
        raise _refusal(flag, path, why, "name a file in a folder that you may write to") from None


def _is_ours(path: Path) -> bool:
    from simlaunch.report.print_pdf import MARK

    with path.open("rb") as file:
        head = file.read(_HEAD)
        file.seek(-min(len(MARK), path.stat().st_size), os.SEEK_END)
        return _PAGE_MARK in head or file.read() == MARK


def _part_of(path: Path) -> Path:
    """Where a file is written until it is whole; beside the file, so that it can take its name at once."""
    return Path(os.path.realpath(path)).with_name(f".simlaunch-{os.getpid()}.part")


def _write_whole(flag: str, path: Path, content: bytes) -> None:
    """Write a file so that its name only ever stands for a whole one."""
    part = _part_of(path)
    try:
        with before_leaving(lambda: part.unlink(missing_ok=True)):
            part.write_bytes(content)
            part.replace(os.path.realpath(path))
    except OSError as error:
        part.unlink(missing_ok=True)
        why = f"cannot be written ({error.strerror or error})"
        raise _refusal(flag, path, why, "name a file in a folder that you may write to") from None


def _version() -> str:
    return str(sys.modules["simlaunch"].__version__)


def _write_pdf(ready: Edition, path: Path, paper: PaperChoice | None) -> None:
    from simlaunch.report.page import Paper, page
    from simlaunch.report.print_pdf import Printing, browser

    usual = PaperChoice.LETTER if ready.system is System.US else PaperChoice.A4
    printing = Printing(browser())
    with before_leaving(printing.stop):
        try:
            content = printing.printed(page(ready, Paper((paper or usual).value)))
        finally:
            printing.stop()
    _write_whole("--pdf", path, content)


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
