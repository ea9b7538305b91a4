"""`simlaunch live`: a page on this machine in which a curve is shaped by hand."""

from __future__ import annotations

from typing import Annotated

import typer

from simlaunch.cli.options import Quiet, ScenarioFile, Units
from simlaunch.cli.output import compile_once, note, result
from simlaunch.cli.scenario_file import read
from simlaunch.live import server
from simlaunch.units.spelling import System

FromCurve = Annotated[
    str | None,
    typer.Option("--curve", metavar="NAME", help="Curve to shape from.", show_default="the first"),
]
Against = Annotated[
    str | None,
    typer.Option("--against", metavar="NAME", help="Curve to set it against.", show_default="the first other one"),
]
Port = Annotated[
    int,
    typer.Option("--port", min=0, max=65535, metavar="NUMBER", help="Port to listen at.", show_default="free"),
]
NoBrowser = Annotated[bool, typer.Option("--no-browser", help="Open no browser; the address is printed either way.")]


def live(
    scenario: ScenarioFile,
    curve: FromCurve = None,
    against: Against = None,
    port: Port = 0,
    no_browser: NoBrowser = False,
    units: Units = System.METRIC,
    quiet: Quiet = False,
) -> int:
    """Shape a full-load curve by hand in a browser on this machine, and see at once what follows."""
    sound = read(scenario)
    server.beginning(sound, curve, against, units)  # before anything is compiled
    compile_once(quiet=quiet)

    def announce(address: str) -> None:
        result(address)
        note("The address holds a secret: do not pass it on. Ctrl-C ends the server, and so does closing the page.",
             quiet=quiet)  # fmt: skip

    server.serve(sound, curve=curve, against=against, units=units, port=port, browser=not no_browser, announce=announce)
    return 0
