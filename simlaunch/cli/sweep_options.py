"""Options of `simlaunch sweep` and `simlaunch sweep show`."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated, Any, TypeAlias

import typer

from simlaunch.cli.options import tolerance_option


class DrawChoice(StrEnum):
    """How a sample is drawn, as typed."""

    SOBOL = "sobol"
    LATIN = "latin"


def _file(flag: str, words: str, metavar: str = "FILE") -> Any:
    return typer.Option(flag, metavar=metavar, help=words, show_default=False)


Vary: TypeAlias = Annotated[
    list[str] | None,
    typer.Option(
        "--vary",
        metavar="AXIS",
        help='Axis to vary, such as "curve", "tyre: as described, track" or '
        '"body.mass: 1400 kg to 1700 kg in 7"; repeatable.',
        show_default="the [sweep] of the scenario",
    ),
]
Results: TypeAlias = Annotated[
    Path | None,
    typer.Option("-o", "--output", metavar="FILE", help="File of results; an unfinished one is continued.",
                 show_default="SCENARIO-sweep.sqlite"),
]  # fmt: skip
SampleSize: TypeAlias = Annotated[
    int | None,
    typer.Option("--sample", metavar="NUMBER", min=1, help="Number of cases to draw instead of the full grid.",
                 show_default=False),
]  # fmt: skip
Drawn: TypeAlias = Annotated[
    DrawChoice | None, typer.Option("--draw", help="How to draw the sample.", show_default="sobol")
]
Seed: TypeAlias = Annotated[
    int | None, typer.Option("--seed", metavar="NUMBER", min=0, help="Seed of the sample.", show_default="0")
]
By: TypeAlias = Annotated[
    str | None,
    typer.Option("--by", metavar="MEASURE", help='Measure to rank by, such as "time 60 ft".',
                 show_default="time to the scenario's goal"),
]  # fmt: skip
For: TypeAlias = Annotated[
    list[str] | None,
    typer.Option(
        "--for",
        metavar="TARGET",
        help='Also time every case for it, such as "roll 60 mph to 130 mph" or the name of a test; repeatable, and '
        "the first is what is ranked by.",
        show_default="only the goal",
    ),
]
Where: TypeAlias = Annotated[
    list[str] | None,
    typer.Option(
        "--where",
        metavar="CONSTRAINT",
        help='Rank only launches that meet this constraint, such as "peak torque gearbox input < 700 N m"; repeatable.',
        show_default=False,
    ),
]
Top: TypeAlias = Annotated[
    int, typer.Option("--top", metavar="NUMBER", min=1, max=1000, help="Number of launches in the ranking.")
]
Workers: TypeAlias = Annotated[
    int | None,
    typer.Option("--workers", metavar="NUMBER", min=1, max=1024, help="Number of launches that run at the same time.",
                 show_default="one per core"),
]  # fmt: skip
Cluster: TypeAlias = Annotated[
    str | None,
    typer.Option("--cluster", metavar="ADDRESS", help="Launch on a Dask cluster, such as tls://host:8786.",
                 show_default=False),
]  # fmt: skip
TrustNetwork: TypeAlias = Annotated[
    bool, typer.Option("--trust-network", help="Allow a cluster on another machine without TLS.")
]
MeasureAll: TypeAlias = Annotated[
    bool,
    typer.Option(
        "--measure-all",
        help="Measure everything at once; otherwise times, speeds, and what ranking and constraints ask for.",
    ),
]
DryRun: TypeAlias = Annotated[bool, typer.Option("--dry-run", help="Only estimate time and disk space.")]
ResultsFile: TypeAlias = Annotated[
    Path, typer.Argument(metavar="FILE", help="File of results, finished or not.", show_default=False)
]
ToJsonl: TypeAlias = Annotated[
    Path | None, _file("--jsonl", "Write all launches as JSON lines; - prints them instead of the ranking.")
]
ToCsv: TypeAlias = Annotated[Path | None, _file("--csv", "Write all launches as CSV.")]
ToXlsx: TypeAlias = Annotated[Path | None, _file("--xlsx", "Write all launches as a workbook.")]
ToParquet: TypeAlias = Annotated[Path | None, _file("--parquet", "Write all launches as Parquet.")]
ToNetcdf: TypeAlias = Annotated[Path | None, _file("--netcdf", "Write all launches as labelled arrays.")]
Figures: TypeAlias = Annotated[
    Path | None, _file("--figure", "Write map and trade-off as figures into this folder.", "FOLDER")
]
Across: TypeAlias = Annotated[
    str | None,
    typer.Option("--across", metavar="AXES", help='Axes of the map, such as "tyre, gear set".',
                 show_default="those that matter most"),
]  # fmt: skip
Against: TypeAlias = Annotated[
    str | None,
    typer.Option("--against", metavar="MEASURE", help="Measure that the trade-off plots the ranking measure against.",
                 show_default="steady pull gearbox input"),
]  # fmt: skip
Verify: TypeAlias = Annotated[bool, typer.Option("--verify", help="First check that no stored launch has changed.")]
Tolerance: TypeAlias = Annotated[float | None, tolerance_option("3e-4")]
