"""`simlaunch plateau`: the highest plateau that pays, within limits."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer

from simlaunch.analysis import plateau as study
from simlaunch.cli.options import AsJson, Changes, Force, Out, Pedal, PedalChoice, Quiet, ScenarioFile, Taken, Units
from simlaunch.cli.output import compile_once, counting_launches, note, prepare, show
from simlaunch.cli.scenario_file import read
from simlaunch.errors import UsageError
from simlaunch.ratings import limits as bounds
from simlaunch.units.spelling import System
from simlaunch.writing import check


def _quantity(name: str, metavar: str, text: str) -> typer.models.OptionInfo:
    option: typer.models.OptionInfo = typer.Option(
        name, metavar=metavar, help=text, show_default="that of [limits], if any"
    )
    return option


Wish = Annotated[
    str | None,
    typer.Option(
        "--wish",
        metavar="NAME",
        help="Curve as wished for, which the plateau is compared with.",
        show_default="the first of the scenario",
    ),
]
For = Annotated[
    list[str] | None,
    typer.Option(
        "--for",
        metavar="TARGET[=WEIGHT]",
        help='Target to make the curve quick for, with its weight, such as "1/4 mile=2"; repeatable.',
        show_default="the scenario's goal",
    ),
]
MeanPressure = Annotated[
    str | None, _quantity("--mean-pressure", "PRESSURE", 'Limit of brake mean effective pressure, such as "25 bar".')
]
Power = Annotated[str | None, _quantity("--power", "POWER", 'Limit of power, such as "250 kW".')]
AirFlow = Annotated[str | None, _quantity("--air-flow", "FLOW", 'Limit of air flow, such as "0.3 kg/s".')]
Torque = Annotated[str | None, _quantity("--torque", "TORQUE", 'Limit of torque, such as "500 N m".')]
Rise = Annotated[
    str | None,
    typer.Option(
        "--rise",
        metavar="TORQUE",
        help='Limit of the rise of torque in 1000 rpm, such as "180 N m".',
        show_default="that of [limits], or else the steepest rise of the envelope",
    ),
]
EnvelopeCurve = Annotated[
    str | None,
    typer.Option(
        "--envelope",
        metavar="NAME",
        help="Curve of the scenario that the engine cannot exceed; it limits the whole plateau.",
        show_default="that of [limits], or else the highest of all curves, which limits the rise only",
    ),
]
NoParts = Annotated[bool, typer.Option("--no-parts", help="Ignore the ratings of parts.")]
GearLimits = Annotated[
    bool, typer.Option("--gear-limits", help="Also find torque limits for the gears that spin the tyres.")
]
WithinGrip = Annotated[
    bool,
    typer.Option("--within-grip", help="Limit the torque in each gear to what the tyres can use."),
]
EachGearSet = Annotated[
    bool, typer.Option("--each-gear-set", help="Find a plateau for every gear set of the scenario.")
]
Save = Annotated[
    Path | None,
    typer.Option("--save", metavar="FILE", help="Write the curve to this file (.csv).", show_default=False),
]


def _option(field: str) -> str:
    return f"--{field.replace('_', '-')}"


def _targets(wanted: Sequence[str] | None) -> dict[str, float] | None:
    """Weight of each target, by name."""
    found: dict[str, float] = {}
    for text in wanted or ():
        name, _, weight = (part.strip() for part in text.partition("="))
        if name in found:
            raise UsageError(f"--for {text} names a target twice; give it once, with its weight")
        try:
            found[name] = float(weight or 1.0)
        except ValueError:
            raise UsageError(f'--for {text}: a weight is a number above zero, such as "1/4 mile=2"') from None
    return found or None


def plateau(
    scenario: ScenarioFile,
    wish: Wish = None,
    target: For = None,
    pedal: Pedal = PedalChoice.FULL,
    mean_pressure: MeanPressure = None,
    power: Power = None,
    air_flow: AirFlow = None,
    torque: Torque = None,
    rise: Rise = None,
    envelope: EnvelopeCurve = None,
    no_parts: NoParts = False,
    gear_limits: GearLimits = False,
    within_grip: WithinGrip = False,
    each_gear_set: EachGearSet = False,
    save: Save = None,
    changes: Changes = None,
    taken: Taken = None,
    units: Units = System.METRIC,
    as_json: AsJson = False,
    out: Out = None,
    force: Force = False,
    quiet: Quiet = False,
) -> int:
    """Find the highest torque plateau that still gains time.

    The plateau stays within the limits of engine and driveline.
    """
    stem = f"{scenario.stem}-plateau"
    prepare(out, stem, force=force)
    if save is not None:
        check("--save", save, force=force)
    sound = read(scenario, changes, taken)
    if wish is not None:
        sound.curve(wish)
    limits = {"mean_pressure": mean_pressure, "power": power, "air_flow": air_flow, "torque": torque, "rise": rise}
    bounds.limits_given(limits, _option)  # so that a refusal names the option
    targets = _targets(target)
    compile_once(quiet=quiet)
    with counting_launches(quiet=quiet) as shown:
        found = study.plateau(
            sound,
            wish,
            targets=targets,
            pedal=pedal.value,
            **limits,
            envelope=envelope,
            use_parts=not no_parts,
            gear_limits=gear_limits,
            within_grip=within_grip,
            each_gear_set=each_gear_set,
            watch=shown.state,
        )
    if save is not None:
        found.save_curve(save, force=force)
        note(f"wrote {save}", quiet=quiet)
    show(found, stem, units=units, as_json=as_json, out=out, force=force, quiet=quiet)
    return 0
