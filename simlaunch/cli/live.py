"""`simlaunch live`: a page on this machine in which a curve is shaped by hand."""

from __future__ import annotations

from typing import Annotated

import typer

from simlaunch.cli.options import Quiet, ScenarioFile, Units
from simlaunch.cli.output import compile_once, note, result
from simlaunch.cli.scenario_file import read
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
NoBrowser = Annotated[bool, typer.Option("--no-browser", help="Open no browser; the address is printed in any case.")]


def live(
    scenario: ScenarioFile,
    curve: FromCurve = None,
    against: Against = None,
    port: Port = 0,
    no_browser: NoBrowser = False,
    units: Units = System.METRIC,
    quiet: Quiet = False,
) -> int:
    """Shape a curve by hand in a browser, and see its times at once.

    The page is served on this machine only.
    """
    sound = read(scenario)
    server.beginning(sound, curve, against, units)  # before anything is compiled
    compile_once(quiet=quiet)

    def announce(address: str) -> None:
        result(address)
        ends = "The server ends with Ctrl-C, or when the page is closed."
        note(f"The address contains a secret: do not pass it on. {ends}", quiet=quiet)

    server.live(sound, curve=curve, against=against, units=units, port=port, browser=not no_browser, announce=announce)
    return 0
