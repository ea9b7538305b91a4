"""Options of `simlaunch curve`."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated, Any, TypeAlias

import typer

from simlaunch.cli.file_lists import UP_TO


class CorrectionChoice(StrEnum):
    """Weather correction, as typed."""

    NONE = "none"
    SAE_J1349 = "SAE J1349"
    ISO_1585 = "ISO 1585"
    DIN_70020 = "DIN 70020"
    SAE_J607 = "SAE J607"


class PlaceChoice(StrEnum):
    """Place along the driveline, as typed."""

    CRANK = "crank"
    HUB = "hub"
    WHEEL = "wheel"


def _text(flag: str, metavar: str, words: str, default: str | bool = False) -> Any:
    """An option that takes text."""
    return typer.Option(flag, metavar=metavar, help=words, show_default=default)


Sheets: TypeAlias = Annotated[
    list[Path] | None,
    typer.Argument(metavar="SHEET", help="Dyno sheet (delimited text); several are averaged.", show_default=False),
]
FromLog: TypeAlias = Annotated[
    list[Path] | None,
    typer.Option(
        "--from-log",
        metavar="FILE...",
        help=f"Logs of pulls in gear to use instead of sheets, {UP_TO}; needs --scenario.",
        show_default=False,
    ),
]
ColumnNames: TypeAlias = Annotated[
    list[str] | None,
    _text("--column", "ROLE=NAME", 'Column for a role, such as "torque=Torque 2" or "torque=#3"; repeatable.'),
]
ColumnUnits: TypeAlias = Annotated[
    list[str] | None,
    _text("--unit", "ROLE=UNIT", 'Unit of a role, such as "torque=lb-ft"; repeatable.'),
]
LeaveOut: TypeAlias = Annotated[
    list[int] | None,
    typer.Option(
        "--leave-out", metavar="NUMBER", help="Number of a pull to leave out; repeatable.", show_default=False
    ),
]
NoSmoothing: TypeAlias = Annotated[bool, typer.Option("--no-smoothing", help="Use the rows as they are.")]
MeasuredAt: TypeAlias = Annotated[
    PlaceChoice | None,
    typer.Option("--measured-at", help="Place at which the figures were measured.", show_default="as the sheet states"),
]
To: TypeAlias = Annotated[
    PlaceChoice | None,
    typer.Option(
        "--to",
        help="Place at which the resulting curve holds.",
        show_default="where it was measured; with losses given, the crank",
    ),
]
Losses: TypeAlias = Annotated[
    str | None, _text("--losses", "SHARE", 'Driveline losses as a share of crank power, such as "12 %".')
]
FromScenario: TypeAlias = Annotated[
    Path | None,
    typer.Option(
        "--scenario",
        metavar="FILE",
        help="Scenario to take the driveline and displacement from; for logs, the whole car.",
        show_default=False,
    ),
]
Gear: TypeAlias = Annotated[
    str | None,
    typer.Option(
        "--gear",
        metavar="NUMBER|all",
        help="Gear of the dyno sweep or of the logged pull; all: join what every gear of the logs drove.",
        show_default=False,
    ),
]
SweepRate: TypeAlias = Annotated[
    str | None,
    _text(
        "--sweep-rate",
        "RATE",
        'Rise of engine speed in the dyno sweep, such as "300 rpm/s"; "0 rpm/s" for steady points.',
    ),
]
Carried: TypeAlias = Annotated[
    CorrectionChoice | None,
    typer.Option(
        "--correction",
        case_sensitive=False,
        help="Weather correction that the figures carry.",
        show_default="as the sheet states",
    ),
]
Wanted: TypeAlias = Annotated[
    CorrectionChoice | None,
    typer.Option(
        "--to-correction",
        case_sensitive=False,
        help="Weather correction of the resulting curve.",
        show_default="that of the figures",
    ),
]
Pressure: TypeAlias = Annotated[
    str | None, _text("--pressure", "PRESSURE", 'Absolute air pressure at the test, such as "98.2 kPa".')
]
Temperature: TypeAlias = Annotated[
    str | None, _text("--temperature", "TEMPERATURE", 'Air temperature at the intake, such as "31 degC".')
]
Humidity: TypeAlias = Annotated[str | None, _text("--humidity", "SHARE", 'Relative humidity, such as "40 %".')]
Boosted: TypeAlias = Annotated[
    bool, typer.Option("--boosted", help="The engine controls its boost pressure: correct it by the factor 1.")
]
Override: TypeAlias = Annotated[
    bool, typer.Option("--override", help="Correct a boosted engine by the formula all the same.")
]
Displacement: TypeAlias = Annotated[
    str | None,
    _text("--displacement", "VOLUME", 'Displacement, such as "1998 cc".', "that of the scenario, if one is given"),
]
FuelConsumption: TypeAlias = Annotated[
    str | None,
    _text("--fuel-consumption", "CONSUMPTION", "Brake specific fuel consumption at peak power.", "340 g/(kW h)"),
]
AirFuelRatio: TypeAlias = Annotated[
    str | None,
    _text("--air-fuel-ratio", "NUMBER", "Air-fuel ratio by mass at peak power.", "as logged, or else 12.0"),
]
HoldTo: TypeAlias = Annotated[
    str | None,
    _text(
        "--hold-to",
        "SPEED",
        "Engine speed up to which the saved curve holds the torque of its last point, such as "
        'the rev limit, "6900 rpm".',
    ),
]
Save: TypeAlias = Annotated[
    Path | None,
    typer.Option("--save", metavar="FILE", help="Write the curve to this file (.csv).", show_default=False),
]
