"""`simlaunch worth`: seconds per N m in each band of engine speed."""

from __future__ import annotations

from typing import Annotated

import typer

from simlaunch.analysis import worth as study
from simlaunch.cli.options import AsJson, Changes, Force, Out, Quiet, ScenarioFile, Taken, Tolerance, Units
from simlaunch.cli.output import compile_once, prepare, show
from simlaunch.cli.scenario_file import read
from simlaunch.units.spelling import System

CurveName = Annotated[
    str | None,
    typer.Option("--curve", metavar="NAME", help="Full-load curve.", show_default="the first of the scenario"),
]
For = Annotated[
    str | None,
    typer.Option(
        "--for",
        metavar="TARGET",
        help='Target to gain time for, such as "0-100 km/h", "1/4 mile" or "80 km/h to 120 km/h".',
        show_default="the scenario's goal",
    ),
]
Bands = Annotated[
    int | None,
    typer.Option(
        "--bands",
        metavar="NUMBER",
        min=2,
        max=200,
        help="Number of bands of engine speed.",
        show_default="one every 250 rpm",
    ),
]
EachGear = Annotated[bool, typer.Option("--each-gear", help="Also state the gain of torque in one gear alone.")]
EachGearSet = Annotated[
    bool, typer.Option("--each-gear-set", help="State the gain with every gear set of the scenario.")
]


def worth(
    scenario: ScenarioFile,
    curve: CurveName = None,
    target: For = None,
    bands: Bands = None,
    each_gear: EachGear = False,
    each_gear_set: EachGearSet = False,
    tolerance: Tolerance = None,
    changes: Changes = None,
    taken: Taken = None,
    units: Units = System.METRIC,
    as_json: AsJson = False,
    out: Out = None,
    force: Force = False,
    quiet: Quiet = False,
) -> int:
    """State what more torque gains or costs at each engine speed."""
    stem = f"{scenario.stem}-worth"
    prepare(out, stem, force=force)
    sound = read(scenario, changes, taken)
    if curve is not None:
        sound.curve(curve)
    compile_once(quiet=quiet)
    found = study.worth(
        sound,
        curve,
        target,
        bands=bands,
        each_gear=each_gear,
        each_gear_set=each_gear_set,
        tolerance=tolerance,
    )
    show(found, stem, units=units, as_json=as_json, out=out, force=force, quiet=quiet)
    return 0
