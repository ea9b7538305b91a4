"""`simlaunch report`: the page that a customer reads."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from simlaunch.cli.compare import Cases, MixedCorrections
from simlaunch.cli.curve_options import Boosted
from simlaunch.cli.ending import before_leaving, ended
from simlaunch.cli.file_lists import UP_TO, taking_lists
from simlaunch.cli.log import Channels, ChannelUnits, ToCorrection, channels_named, units_named
from simlaunch.cli.options import (
    AsJson,
    Changes,
    Force,
    Quiet,
    ScenarioFiles,
    Taken,
    Units,
    changes_of_logs,
    for_log_option,
    meant,
)
from simlaunch.cli.output import compile_once, counting_launches, note, result
from simlaunch.cli.scenario_file import read
from simlaunch.comparing import project
from simlaunch.errors import UsageError
from simlaunch.logged import same_conditions
from simlaunch.output import as_json as json_text
from simlaunch.readers import log as logged
from simlaunch.reporting import gather
from simlaunch.reporting import project as projects
from simlaunch.reporting import report as pages
from simlaunch.scenario import powertrain
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
        help="File to write (HTML); of a project, the folder.",
        show_default="SCENARIO-report.html; of a project, NAME-report",
    ),
]
Pdf = Annotated[
    Path | None,
    typer.Option(
        "--pdf",
        metavar="FILE",
        help="Also write the page as PDF, with Chromium or a browser like it.",
        show_default=False,
    ),
]
PaperSize = Annotated[
    PaperChoice | None,
    typer.Option("--paper", help="Paper size of the PDF.", show_default="a4; letter with US units"),
]
Curves = Annotated[
    list[str] | None,
    typer.Option(
        "--curve",
        metavar="NAME",
        help="Full-load curve; give two.",
        show_default="the one with the highest peak, and the quickest of the others",
    ),
]
SweepFile = Annotated[
    Path | None,
    typer.Option(
        "--sweep", metavar="FILE", help="Also state the results in this file of `simlaunch sweep`.", show_default=False
    ),
]


Logs = Annotated[
    list[Path] | None,
    typer.Option(
        "--log",
        metavar="FILE...",
        help=f"Logs of measured runs of one set-up to lay beside the launches, {UP_TO}; those before the change if "
        "--log-after is given.",
        show_default=False,
    ),
]
LogsAfter = Annotated[
    list[Path] | None,
    typer.Option(
        "--log-after", metavar="FILE...", help=f"Logs of runs after a change of set-up, {UP_TO}.", show_default=False
    ),
]
ForLog = Annotated[
    list[str] | None,
    for_log_option("logs of --log-after count on; all are then brought to the conditions of the scenario"),
]


def report(
    scenario: ScenarioFiles,
    output: Output = None,
    pdf: Pdf = None,
    paper: PaperSize = None,
    curve: Curves = None,
    sweep: SweepFile = None,
    log: Logs = None,
    log_after: LogsAfter = None,
    channel: Channels = None,
    unit: ChannelUnits = None,
    for_log: ForLog = None,
    to_correction: ToCorrection = None,
    boosted: Boosted = False,
    mixed_corrections: MixedCorrections = False,
    cases: Cases = 256,
    changes: Changes = None,
    taken: Taken = None,
    units: Units = System.METRIC,
    as_json: AsJson = False,
    force: Force = False,
    quiet: Quiet = False,
) -> int:
    """Write a page for a customer: which curve, why, and at what cost.

    The page compares two curves and states how sure the answer is. Several scenarios, or a folder of them, get a page
    each, and one page that lists them.
    """
    files = project.scenario_files(scenario)
    if len(files) > 1 or project.is_folder(scenario[0]):
        one = {"--pdf": pdf, "--paper": paper, "--curve": curve, "--sweep": sweep,
               "--log": log, "--log-after": log_after, "--channel": channel, "--unit": unit,
               "--for-log": for_log, "--to-correction": to_correction, "--boosted": boosted}  # fmt: skip
        if idle := [name for name, value in one.items() if value]:
            raise UsageError(f"{', '.join(idle)} goes with one scenario; a project has {len(files)}")
        return _project(
            {file.stem: read(file, changes, taken) for file in files},
            output or Path(f"{scenario[0].resolve().stem}-report"),
            scenario[0].resolve().stem if project.is_folder(scenario[0]) else "",
            units,
            as_json=as_json,
            quiet=quiet,
            cases=cases,
            mixed_corrections=mixed_corrections,
            force=force,
        )
    if not log and (log_after or channel or unit or for_log or to_correction or boosted):
        raise UsageError(
            "--log-after, --channel, --unit, --for-log, --to-correction and --boosted go with logs of one set-up; name "
            "those with --log"
        )
    options = logged.LogOptions(channels_named(channel), units_named(unit))
    sound = read(files[0], changes, taken)
    days = same_conditions.Days(
        changes_of_logs(for_log or (), len(log or ()) + len(log_after or ())),
        meant(to_correction, powertrain.Correction),
        boosted,
    )
    gather.Logs(tuple(log or ()), tuple(log_after or ()), options, days).read(
        units, sound
    )  # before anything is compiled
    page = output or Path(f"{files[0].stem}-report.html")
    names = gather.question(sound, curve)
    pages.check_files(page, pdf, force=force)  # before anything is compiled
    compile_once(quiet=quiet)
    with counting_launches(quiet=quiet):
        found = pages.report(
            sound,
            page,
            curves=names,
            cases=cases,
            units=units,
            pdf=pdf,
            paper=paper.value if paper else None,
            sweep=sweep,
            logs=log or (),
            logs_after=log_after or (),
            log_options=options,
            log_changes=days.changes,
            to_correction=days.correction,
            boosted=days.boosted,
            mixed_corrections=mixed_corrections,
            force=force,
            guard=before_leaving,
        )
    for path in (found.page, *([found.pdf] if found.pdf else [])):
        note(f"wrote {path}", quiet=quiet)
    result(json_text.dumps(found.to_dict()) if as_json else found.to_text(units))
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
    for each in scenarios.values():
        gather.question(each, None)  # before anything is compiled
    compile_once(quiet=quiet)
    with counting_launches(quiet=quiet):
        found = projects.report_project(scenarios, folder, title=title, units=units.value, guard=before_leaving, **how)
    for path in (*(each.page for each in found.reports), found.index):
        note(f"wrote {path}", quiet=quiet)
    result(json_text.dumps(found.to_dict()) if as_json else found.to_text(units))
    return ended(bad=found.bad, reached=found.reached)


report.command_class = taking_lists("--log", "--log-after", beside_scenarios=True)  # type: ignore[attr-defined]
