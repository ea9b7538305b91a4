"""The command `simlaunch`: every command in one place, and how each of them ends."""

from __future__ import annotations

import sys
import warnings
from collections.abc import Sequence
from typing import Annotated, Any

import typer

from simlaunch.cli.deferral import deferred

with deferred():  # help needs none of what the commands work with
    from simlaunch.cli.check import check
    from simlaunch.cli.compare import compare
    from simlaunch.cli.curve import curve
    from simlaunch.cli.ending import answered, on_worker
    from simlaunch.cli.fit import fit
    from simlaunch.cli.guide import guide
    from simlaunch.cli.live import live
    from simlaunch.cli.log import log
    from simlaunch.cli.new import new
    from simlaunch.cli.odds import odds
    from simlaunch.cli.output import result
    from simlaunch.cli.parts import parts
    from simlaunch.cli.plateau import plateau
    from simlaunch.cli.report import report
    from simlaunch.cli.run import run
    from simlaunch.cli.schema import schema
    from simlaunch.cli.sweep import app as sweep
    from simlaunch.cli.usable import usable
    from simlaunch.cli.worth import worth

_EPILOG = (
    "Exit codes: 0 done; 1 internal error; 2 usage; 3 bad input; 4 a target was not reached; "
    "5 some launches of a sweep failed; 130 interrupted. Results go to stdout, all else to stderr."
)

app = typer.Typer(
    name="simlaunch",
    help="Does a higher torque peak make the car quicker, or only spin its tyres and load its gearbox?",
    epilog=_EPILOG,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    add_completion=False,
    context_settings={"help_option_names": ["-h", "--help"], "terminal_width": 80, "max_content_width": 80},
)
for _command in (
    new,
    check,
    run,
    compare,
    live,
    report,
    odds,
    parts,
    usable,
    worth,
    plateau,
    curve,
    log,
    fit,
    schema,
    guide,
):
    app.command(cls=getattr(_command, "command_class", None))(_command)
app.add_typer(sweep, name="sweep")


def _version() -> str:
    """Version of the installed package, or that of the source when it is not installed."""
    package = sys.modules["simlaunch"]
    return str(package.__version__)


def _print_version(wanted: bool) -> None:
    if wanted:
        result(f"simlaunch {_version()}")
        raise typer.Exit(0)


@app.callback()
def _all(
    version: Annotated[
        bool,
        typer.Option("--version", help="Print the version and end.", callback=_print_version, is_eager=True),
    ] = False,
) -> None:
    pass


def _call(arguments: Sequence[str]) -> Any:
    return app(list(arguments), prog_name="simlaunch", standalone_mode=False)


def answer(arguments: Sequence[str]) -> int:
    """Exit code of a command line, run on this thread."""
    return answered(lambda: _call(arguments))


def main() -> None:
    """Run the command line of this process and end it."""
    if not sys.warnoptions:
        warnings.simplefilter("ignore")
    sys.exit(on_worker(lambda: _call(sys.argv[1:])))
