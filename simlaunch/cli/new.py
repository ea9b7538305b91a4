"""`simlaunch new`: a scenario from what is on a data sheet, asked for on a terminal or given as options."""

from __future__ import annotations

import shlex
from pathlib import Path
from typing import Annotated, Any, TypeAlias

import typer

from simlaunch.analysis import data_sheet
from simlaunch.analysis import new as study
from simlaunch.cli import asking
from simlaunch.cli.options import AsJson, Force, Quiet, Units
from simlaunch.cli.output import note, result
from simlaunch.errors import UsageError
from simlaunch.output import as_json as json_text
from simlaunch.scenario.questions import QUESTIONS
from simlaunch.units.spelling import System
from simlaunch.writing import check

_BY_NAME = {question.name: question for question in QUESTIONS}


def _asked(name: str) -> Any:
    """Option for a question, in the words in which it is asked."""
    question = _BY_NAME[name]
    usual = question.usual or False
    words = f'{question.what}, such as "{question.example}".'
    return typer.Option(question.option, metavar="TEXT", help=words, show_default=usual)


File: TypeAlias = Annotated[
    Path, typer.Argument(metavar="FILE", help="Scenario file to write (.toml).", show_default=False)
]
CalledAs: TypeAlias = Annotated[
    str | None,
    typer.Option("--name", metavar="TEXT", help="Name of the scenario.", show_default="that of the file"),
]


def new(
    file: File,
    mass: Annotated[str | None, _asked("mass")] = None,
    driven: Annotated[str | None, _asked("driven")] = None,
    centre: Annotated[str | None, _asked("centre")] = None,
    rear_axle: Annotated[str | None, _asked("rear_axle")] = None,
    differential: Annotated[str | None, _asked("differential")] = None,
    tyres: Annotated[str | None, _asked("tyres")] = None,
    rear_tyres: Annotated[str | None, _asked("rear_tyres")] = None,
    tyre_kind: Annotated[str | None, _asked("tyre_kind")] = None,
    displacement: Annotated[str | None, _asked("displacement")] = None,
    boost: Annotated[str | None, _asked("boost")] = None,
    torque: Annotated[str | None, _asked("torque")] = None,
    power: Annotated[str | None, _asked("power")] = None,
    losses: Annotated[str | None, _asked("losses")] = None,
    redline: Annotated[str | None, _asked("redline")] = None,
    gearbox: Annotated[str | None, _asked("gearbox")] = None,
    ratios: Annotated[str | None, _asked("ratios")] = None,
    final_drive: Annotated[str | None, _asked("final_drive")] = None,
    name: CalledAs = None,
    units: Units = System.METRIC,
    as_json: AsJson = False,
    force: Force = False,
    quiet: Quiet = False,
) -> int:
    """Make a scenario from what is on a data sheet.

    On a terminal the command asks for what the options leave out. Every other value is a usual one, which the file
    explains.
    """
    given = {
        "mass": mass,
        "driven": driven,
        "centre": centre,
        "rear_axle": rear_axle,
        "differential": differential,
        "tyres": tyres,
        "rear_tyres": rear_tyres,
        "tyre_kind": tyre_kind,
        "displacement": displacement,
        "boost": boost,
        "torque": torque,
        "power": power,
        "losses": losses,
        "redline": redline,
        "gearbox": gearbox,
        "ratios": ratios,
        "final_drive": final_drive,
    }
    if file.suffix.lower() != ".toml":
        raise UsageError(f"FILE {file}: a scenario is a .toml file; write such as {file.stem or 'my-car'}.toml")
    check("FILE", file, force=force)
    called = data_sheet.scenario_name(file.stem.replace("-", " ").replace("_", " ") if name is None else name)
    made = study.made_of(asking.sheet_of(given), called)
    made.save(file, overwrite=force)
    if as_json:
        result(json_text.dumps(made.to_dict()))
    else:
        result(made.to_text(units))
    typed = shlex.quote(f"./{file}" if str(file).startswith("-") else str(file))  # as a shell takes it
    note(f"\nwrote {file}\nnext: simlaunch compare {typed}\nthen: simlaunch check {typed}", quiet=quiet)
    return 0
