"""The page for a customer as one study: what is asked, the files that are written, and what they say."""

from __future__ import annotations

import hashlib
import os
import sys
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import Any

from simlaunch.choices import chosen
from simlaunch.errors import UsageError
from simlaunch.logged.same_conditions import Days
from simlaunch.readers.log import LogOptions
from simlaunch.reporting.gather import Logs, Material, gather, question
from simlaunch.reporting.print_pdf import MARK, Paper, Printing, browser
from simlaunch.results import Result
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.powertrain import Correction
from simlaunch.units.spelling import System, system_named
from simlaunch.writing import check, check_folder, write

_HEAD = 4096  # of a page, in which it says what it is [bytes]
_PAGE_MARK = b'<meta name="generator" content="simlaunch report'

Guard = Callable[[Callable[[], None]], AbstractContextManager[object]]
"""Entered with the function that stops a browser, for as long as the browser runs."""


@dataclass(frozen=True, repr=False)
class Report(Result):
    """A page that was written, and what it is made of.

    Parameters
    ----------
    material : Material
        All studies that the page states results of.
    system : System
        Units of the page.
    page : Path
        The page.
    page_sha256 : str
        SHA-256 of its bytes, hexadecimal.
    pdf : Path or None
        The page as PDF; None where none was asked for.
    """

    study = "report"

    material: Material
    system: System
    page: Path
    page_sha256: str
    pdf: Path | None

    @property
    def _words(self) -> Any:
        return import_module("simlaunch.reporting.printed")  # the words of pages belong to this layer

    def figures(self, units: str = "metric") -> dict[str, Any]:
        """The sheets of the comparison."""
        return self.material.comparison.figures(units)

    def plot(self, ax: Any = None, units: str = "metric") -> Any:
        """Draw the main panel of the comparison."""
        return self.material.comparison.plot(ax, units)


def report(
    scenario: Scenario,
    path: str | Path,
    *,
    curves: Sequence[str] | None = None,
    cases: int = 256,
    units: str = "metric",
    pdf: str | Path | None = None,
    paper: Paper | str | None = None,
    sweep: str | Path | None = None,
    logs: Sequence[str | os.PathLike[str]] = (),
    logs_after: Sequence[str | os.PathLike[str]] = (),
    log_options: LogOptions | None = None,
    log_changes: Sequence[Mapping[str, object]] = (),
    to_correction: Correction | None = None,
    boosted: bool = False,
    mixed_corrections: bool = False,
    force: bool = False,
    guard: Guard = nullcontext,
    index: str = "",
) -> Report:
    """Write one page for a customer: which of two curves, why, at what cost, and how sure that is.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    path : str or Path
        File of the page (HTML).
    curves : sequence of str, optional
        Two of its curves; the one with the highest peak and the quickest of the others if left out.
    cases : int
        Cases drawn where the scenario has uncertain values; 0 for none.
    units : str
        ``"metric"`` or ``"us"``.
    pdf : str or Path, optional
        File to print the page to, by an installed browser.
    paper : Paper or str, optional
        Paper of the PDF; A4 if left out, letter with US units.
    sweep : str or Path, optional
        Results of a sweep of the same scenario, to be stated too.
    logs, logs_after : sequence of path-like
        Logged runs of the car, before and after a change of set-up; without any after, all are of one set-up. They are
        laid beside the launches, and the page says whether the change is more than repeat runs scatter by.
    log_options : LogOptions, optional
        How they are read.
    log_changes : sequence of mapping of str to object
        For each log, those before the change first, what was different on its day, such as
        ``{"air.temperature": "4 degC"}``; all of them are then brought to the conditions of the scenario.
    to_correction : Correction, optional
        Formula that carries the torque of the logs along; left out, torque is not corrected.
    boosted : bool
        Whether the engine holds its own charge pressure, so that its factor is 1.
    mixed_corrections : bool
        Whether curves that carry unlike weather corrections may be set against each other.
    force : bool
        Whether files are replaced that simlaunch did not write.
    guard : callable
        Entered with the function that stops the browser, for as long as the browser runs.
    index : str
        Name of a page beside this one that lists all scenarios of a project, to be linked.

    Returns
    -------
    Report
        The files, and all studies that the page is made of.

    Raises
    ------
    UsageError
        Not two different curves of the scenario, no such units or paper, or one file named twice.
    InputError
        A file that must not be replaced, no browser, curves under different reference conditions, or no sweep of
        this scenario.
    SimlaunchError
        The equations could not be followed, or the browser did not print.
    """
    system, target = system_named(units), Path(path)
    printed = None if pdf is None else Path(pdf)
    size = _paper(paper, system)
    names = question(scenario, curves)
    check_files(target, printed, force=force)
    with ThreadPoolExecutor(1) as beside:
        loading = beside.submit(import_module, "simlaunch.reporting.page")  # what draws takes long to load
        found = gather(
            scenario,
            names,
            system=system,
            cases=cases,
            mixed_corrections=mixed_corrections,
            sweep=Path(sweep) if sweep else None,
            logs=Logs(tuple(logs), tuple(logs_after), log_options, Days(log_changes, to_correction, boosted)),
        )
    pages = loading.result()
    ready = pages.edition(found, system, stem=target.stem, version=version(), cases=cases, index=index)
    content = pages.page(ready).encode()
    write("--output", target, content, force=force, ours=is_ours)
    if printed is not None:
        write("--pdf", printed, _printed(pages.page(ready, size), guard), force=force, ours=is_ours)
    return Report(found, system, target, hashlib.sha256(content).hexdigest(), printed)


def check_files(target: Path, pdf: Path | None, *, force: bool) -> None:
    """Refuse before the work begins what could not be written after it.

    Parameters
    ----------
    target : Path
        File of the page.
    pdf : Path or None
        File to print it to.
    force : bool
        Whether files are replaced that simlaunch did not write.

    Raises
    ------
    UsageError
        Both are one file.
    InputError
        A file that must not be replaced, a folder that cannot be written to, or no browser.
    """
    _check_file("--output", target, force)
    if pdf is None:
        return
    if os.path.realpath(pdf) == os.path.realpath(target):
        raise UsageError("--pdf and --output name the same file; give each its own")
    _check_file("--pdf", pdf, force)
    browser()


def _check_file(place: str, path: Path, force: bool) -> None:
    """A report of ours is written anew; whatever else has that name stays."""
    check_folder(place, path.parent)
    check(place, path, force=force, ours=is_ours)


def is_ours(path: Path) -> bool:
    """Whether a file is a page or a PDF that simlaunch wrote."""
    with path.open("rb") as file:
        head = file.read(_HEAD)
        file.seek(-min(len(MARK), path.stat().st_size), os.SEEK_END)
        return _PAGE_MARK in head or file.read() == MARK


def version() -> str:
    """Version of this package, as pages name it."""
    return str(sys.modules["simlaunch"].__version__)


def _paper(paper: Paper | str | None, system: System) -> Paper:
    if paper is None:
        return Paper.LETTER if system is System.US else Paper.A4
    return chosen(Paper, paper, "paper")


def _printed(content: str, guard: Guard) -> bytes:
    printing = Printing(browser())
    with guard(printing.stop):
        try:
            return printing.printed(content)
        finally:
            printing.stop()
