"""Arguments and options that commands share, each described once."""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Any, TypeAlias, TypeVar

import typer

from simlaunch.errors import UsageError
from simlaunch.units.spelling import System

Meant = TypeVar("Meant", bound=StrEnum)


def meant(choice: StrEnum | None, kind: type[Meant]) -> Meant | None:
    """What a typed choice stands for; the lists of choices are written twice, so that help loads nothing heavy."""
    return None if choice is None else kind(choice.value)


class PedalChoice(StrEnum):
    """What the driver does, as typed."""

    FULL = "full"
    HELD = "held"


class MethodChoice(StrEnum):
    """Which integrator makes the run, as typed."""

    COMPILED = "compiled"
    REFERENCE = "reference"


ScenarioFile: TypeAlias = Annotated[
    Path, typer.Argument(metavar="SCENARIO", help="Scenario file (TOML).", show_default=False)
]
ScenarioFiles: TypeAlias = Annotated[
    list[Path],
    typer.Argument(
        metavar="SCENARIO",
        help="Scenario file (TOML); several, or a folder of them, are a project.",
        show_default=False,
    ),
]
AsJson: TypeAlias = Annotated[bool, typer.Option("--json", help="Print one JSON object, in SI units.")]
Out: TypeAlias = Annotated[
    Path | None,
    typer.Option(
        "--out", metavar="FOLDER", help="Also write the results as files into this folder.", show_default=False
    ),
]
Force: TypeAlias = Annotated[
    bool, typer.Option("--force", help="Replace existing files, even those that simlaunch did not write.")
]
Units: TypeAlias = Annotated[System, typer.Option("--units", help="System of units of the output.")]
Quiet: TypeAlias = Annotated[bool, typer.Option("--quiet", help="Print no notes on stderr, only errors.")]
Changes: TypeAlias = Annotated[
    list[str] | None,
    typer.Option(
        "--set",
        metavar="KEY=VALUE",
        help='Replace a value of the scenario, such as "body.mass=1500 kg"; repeatable.',
        show_default=False,
    ),
]
Taken: TypeAlias = Annotated[
    list[str] | None,
    typer.Option(
        "--with",
        metavar="KIND=NAME",
        help='Use an alternative of the scenario, such as "gear set=short", "tyre=track" or "surface=wet asphalt".',
        show_default=False,
    ),
]
Pedal: TypeAlias = Annotated[
    PedalChoice, typer.Option("--pedal", help="Pedal: down throughout (full pedal), or held slip.")
]
Method: TypeAlias = Annotated[
    MethodChoice, typer.Option("--method", help="Integrator: the compiled one, or SciPy's as a reference.")
]


def tolerance_option(default: str) -> Any:
    """The option of the error allowed per step, with the default of a command."""
    words = "Relative error allowed per step, from 1e-13 to 1e-2."
    return typer.Option("--tolerance", metavar="NUMBER", help=words, show_default=default)


Tolerance: TypeAlias = Annotated[float | None, tolerance_option("1e-5")]
ToleranceOfMethod: TypeAlias = Annotated[float | None, tolerance_option("1e-5; with --method reference 1e-10")]
All: TypeAlias = Annotated[bool, typer.Option("--all", help="Print every table instead of what fits one screen.")]
Trace: TypeAlias = Annotated[bool, typer.Option("--trace", help="Add the time histories to the JSON.")]


def for_log_option(order: str) -> Any:
    """The option of a value that differs in one log, with the order in which a command numbers its logs."""
    words = f'Value that differs in one log, such as "2: air.temperature=4 degC"; {order}.'
    return typer.Option("--for-log", metavar="NUMBER:KEY=VALUE", help=words, show_default=False)


def changes_of_logs(texts: Sequence[str], count: int) -> list[dict[str, object]]:
    """What was different in each log."""
    found: list[dict[str, object]] = [{} for _ in range(count)]
    for text in texts:
        number, colon, change = (part.strip() for part in text.partition(":"))
        key, equals, value = (part.strip() for part in change.partition("="))
        if not (colon and equals and key and value and number.isdecimal() and 1 <= int(number) <= count):
            example = '"2: air.temperature=4 degC"'
            raise UsageError(f"--for-log {text}: write NUMBER: KEY=VALUE, such as {example}; there are {count} logs")
        found[int(number) - 1][key] = value
    return found
