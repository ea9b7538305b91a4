"""`simlaunch live`: a page on this machine in which a curve is shaped by hand."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from simlaunch.cli.curve_options import Boosted
from simlaunch.cli.file_lists import UP_TO, taking_lists
from simlaunch.cli.log import Channels, ChannelUnits, ToCorrection, channels_named, units_named
from simlaunch.cli.options import Quiet, ScenarioFiles, Units, changes_of_logs, for_log_option, meant
from simlaunch.cli.output import compile_once, note, result
from simlaunch.cli.scenario_file import read
from simlaunch.comparing import project
from simlaunch.errors import UsageError
from simlaunch.logged import same_conditions
from simlaunch.readers import log as logged
from simlaunch.scenario import powertrain
from simlaunch.shaping import server
from simlaunch.units.spelling import System

FromCurve = Annotated[
    str | None,
    typer.Option("--curve", metavar="NAME", help="Curve to start from.", show_default="the first of the scenario"),
]
Against = Annotated[
    str | None,
    typer.Option("--against", metavar="NAME", help="Curve to compare it with.", show_default="the first other curve"),
]
Port = Annotated[
    int,
    typer.Option(
        "--port", min=0, max=65535, metavar="NUMBER", help="Port of the server.", show_default="any free port"
    ),
]
Logs = Annotated[
    list[Path] | None,
    typer.Option(
        "--log",
        metavar="FILE...",
        help=f"Logs of measured launches to lay beside the calculated ones, those of the first scenario, {UP_TO}.",
        show_default=False,
    ),
]
NoBrowser = Annotated[bool, typer.Option("--no-browser", help="Open no browser; the address is printed in any case.")]
ForLog = Annotated[
    list[str] | None, for_log_option("all logs are then brought to the conditions of the first scenario")
]


def live(
    scenario: ScenarioFiles,
    log: Logs = None,
    channel: Channels = None,
    unit: ChannelUnits = None,
    for_log: ForLog = None,
    to_correction: ToCorrection = None,
    boosted: Boosted = False,
    curve: FromCurve = None,
    against: Against = None,
    port: Port = 0,
    no_browser: NoBrowser = False,
    units: Units = System.METRIC,
    quiet: Quiet = False,
) -> int:
    """Shape a curve by hand in a browser, and see its times at once.

    The page is served on this machine only. With several scenarios, or a folder of them, the page says on which cars
    the shaped curve wins.
    """
    files = project.scenario_files(scenario)
    sound = {file.stem: read(file) for file in files}
    if not log and (channel or unit or for_log or to_correction or boosted):
        raise UsageError(
            "--channel, --unit, --for-log, --to-correction and --boosted go with a log; give one with --log"
        )
    options = logged.LogOptions(channels_named(channel), units_named(unit))
    days = same_conditions.Days(
        changes_of_logs(for_log or (), len(log or ())), meant(to_correction, powertrain.Correction), boosted
    )
    server.beginnings(sound, curve, against, units, log or (), options, days)  # before anything is compiled
    compile_once(quiet=quiet)

    def announce(address: str) -> None:
        result(address)
        ends = "The server ends with Ctrl-C, or when the page is closed."
        note(f"The address contains a secret: do not pass it on. {ends}", quiet=quiet)

    server.live(
        sound,
        logs=log or (),
        log_options=options,
        log_changes=days.changes,
        to_correction=days.correction,
        boosted=days.boosted,
        curve=curve,
        against=against,
        units=units,
        port=port,
        browser=not no_browser,
        announce=announce,
    )
    return 0


live.command_class = taking_lists("--log", beside_scenarios=True)  # type: ignore[attr-defined]
