"""Options of `simlaunch curve`."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated, Any, TypeAlias

import typer


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
    list[Path] | None, typer.Argument(metavar="SHEET...", help="Dyno sheets (delimited text).", show_default=False)
]
FromLog: TypeAlias = Annotated[
    list[Path] | None,
    typer.Option(
        "--from-log",
        metavar="FILE",
        help="Log of a pull in gear, in place of sheets, with --scenario; may be repeated.",
        show_default=False,
    ),
]
ColumnNames: TypeAlias = Annotated[
    list[str] | None,
    _text("--column", "ROLE=NAME", 'Column of a role, such as "torque=Torque 2" or "torque=#3"; may be repeated.'),
]
ColumnUnits: TypeAlias = Annotated[
    list[str] | None,
    _text("--unit", "ROLE=UNIT", 'Unit of a role, such as "torque=lb-ft"; may be repeated.'),
]
LeaveOut: TypeAlias = Annotated[
    list[int] | None,
    typer.Option("--leave-out", metavar="NUMBER", help="Pull to leave out; may be repeated.", show_default=False),
]
NoSmoothing: TypeAlias = Annotated[bool, typer.Option("--no-smoothing", help="Take the rows as they are.")]
MeasuredAt: TypeAlias = Annotated[
    PlaceChoice | None,
    typer.Option("--measured-at", help="Where the figures were taken.", show_default="as the sheet says"),
]
To: TypeAlias = Annotated[
    PlaceChoice | None,
    typer.Option(
        "--to", help="Where the curve shall be valid.", show_default="where it is; with losses given, the crank"
    ),
]
Losses: TypeAlias = Annotated[
    str | None, _text("--losses", "SHARE", 'Driveline losses as a share of the crank power, such as "12 %".')
]
FromScenario: TypeAlias = Annotated[
    Path | None,
    typer.Option(
        "--scenario",
        metavar="FILE",
        help="Scenario whose driveline and displacement are taken; for logs, the whole car.",
        show_default=False,
    ),
]
Gear: TypeAlias = Annotated[
    int | None,
    typer.Option("--gear", metavar="NUMBER", help="Gear of the sweep or of the logged pull.", show_default=False),
]
SweepRate: TypeAlias = Annotated[
    str | None,
    _text("--sweep-rate", "RATE", 'Rise of engine speed, such as "300 rpm/s"; "0 rpm/s" for points held.'),
]
Carried: TypeAlias = Annotated[
    CorrectionChoice | None,
    typer.Option(
        "--correction",
        case_sensitive=False,
        help="Weather correction that the figures carry.",
        show_default="as the sheet says",
    ),
]
Wanted: TypeAlias = Annotated[
    CorrectionChoice | None,
    typer.Option(
        "--to-correction",
        case_sensitive=False,
        help="Weather correction that the curve shall carry.",
        show_default="the one it carries",
    ),
]
Pressure: TypeAlias = Annotated[
    str | None, _text("--pressure", "PRESSURE", 'Absolute pressure at the test, such as "98.2 kPa".')
]
Temperature: TypeAlias = Annotated[
    str | None, _text("--temperature", "TEMPERATURE", 'Temperature at the intake, such as "31 degC".')
]
Humidity: TypeAlias = Annotated[str | None, _text("--humidity", "SHARE", 'Relative humidity, such as "40 %".')]
Boosted: TypeAlias = Annotated[
    bool, typer.Option("--boosted", help="The engine holds its own charge pressure: the factor put on is 1.")
]
Override: TypeAlias = Annotated[
    bool, typer.Option("--override", help="Correct such an engine by the formula all the same.")
]
Displacement: TypeAlias = Annotated[
    str | None,
    _text("--displacement", "VOLUME", 'Swept volume, such as "1998 cc".', "that of the scenario, if one is given"),
]
FuelConsumption: TypeAlias = Annotated[
    str | None,
    _text("--fuel-consumption", "CONSUMPTION", "Fuel per work at the crank, at peak power.", "340 g/(kW h)"),
]
AirFuelRatio: TypeAlias = Annotated[
    str | None,
    _text("--air-fuel-ratio", "NUMBER", "Mass of air over mass of fuel, at peak power.", "as logged, or else 12.0"),
]
Save: TypeAlias = Annotated[
    Path | None,
    typer.Option("--save", metavar="FILE", help="Write the curve to this file (.csv).", show_default=False),
]
