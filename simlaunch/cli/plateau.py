"""`simlaunch plateau`: the highest plateau that pays, within limits."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from simlaunch.cli.options import AsJson, Changes, Force, Out, PedalChoice, Quiet, ScenarioFile, Taken, Units, driven
from simlaunch.cli.output import Shown, compile_once, deliver, note, prepare
from simlaunch.errors import InputError, UsageError
from simlaunch.units.spelling import System
from simlaunch.writing import check, write

if TYPE_CHECKING:
    from simlaunch.analysis.launches import Aim
    from simlaunch.analysis.plateau import Plateau
    from simlaunch.analysis.plateau_search_space import Room, Shape
    from simlaunch.output.plateau import Answer, Wanted
    from simlaunch.record import Pedal, Record
    from simlaunch.scenario.model import Scenario


def _quantity(name: str, metavar: str, text: str) -> typer.models.OptionInfo:
    option: typer.models.OptionInfo = typer.Option(
        name, metavar=metavar, help=text, show_default="that of [limits], if any"
    )
    return option


Wish = Annotated[
    str | None,
    typer.Option("--wish", metavar="NAME", help="Curve that was wished for.", show_default="first of the scenario"),
]
For = Annotated[
    list[str] | None,
    typer.Option(
        "--for",
        metavar="TARGET[=WEIGHT]",
        help='What the curve is to be quick for, such as "1/4 mile=2"; may be repeated.',
        show_default="the scenario's goal",
    ),
]
PedalKind = Annotated[PedalChoice, typer.Option("--pedal", help="Full load throughout, or held slip.")]
MeanPressure = Annotated[
    str | None, _quantity("--mean-pressure", "PRESSURE", 'Highest brake mean effective pressure, such as "25 bar".')
]
Power = Annotated[str | None, _quantity("--power", "POWER", 'Highest power, such as "250 kW".')]
AirFlow = Annotated[str | None, _quantity("--air-flow", "FLOW", 'Highest flow of air, such as "0.3 kg/s".')]
Torque = Annotated[str | None, _quantity("--torque", "TORQUE", 'Highest torque, such as "500 N m".')]
Rise = Annotated[
    str | None,
    typer.Option(
        "--rise",
        metavar="TORQUE",
        help='Torque by which the curve may rise in 1000 rpm, such as "180 N m".',
        show_default="that of [limits], else that of the envelope where it is steepest",
    ),
]
EnvelopeCurve = Annotated[
    str | None,
    typer.Option(
        "--envelope",
        metavar="NAME",
        help="Curve of the scenario that is all the engine can give at each engine speed; caps the whole plateau.",
        show_default="that of [limits], else the highest of all curves, on the way up only",
    ),
]
NoParts = Annotated[bool, typer.Option("--no-parts", help="Leave the ratings of parts out.")]
GearLimits = Annotated[
    bool, typer.Option("--gear-limits", help="Also seek torque limits for gears that spin the tyres.")
]
WithinGrip = Annotated[
    bool,
    typer.Option("--within-grip", help="Keep the torque in each gear to what the tyres can use there."),
]
EachGearSet = Annotated[bool, typer.Option("--each-gear-set", help="Seek a plateau for every gear set too.")]
Save = Annotated[
    Path | None,
    typer.Option("--save", metavar="FILE", help="Write the curve to this file (.csv).", show_default=False),
]


def _limits(texts: Mapping[str, str | None]) -> dict[str, float]:
    """Limits that were typed, SI units; a limit is held against the same bounds as in a scenario."""
    from pydantic import ValidationError

    from simlaunch.analysis.limits import stated
    from simlaunch.scenario.decision import CurveLimits

    try:
        return stated(CurveLimits.model_validate({name: text for name, text in texts.items() if text is not None}))
    except ValidationError as error:
        first = error.errors()[0]
        option = f"--{str(first['loc'][0]).replace('_', '-')}"
        told = str(first["msg"]).removeprefix("Value error, ").removeprefix(": ")
        raise InputError(f"{option}: {told}") from None


def _aims(sound: Scenario, wanted: Sequence[str] | None) -> Aim:
    from simlaunch.analysis.launches import Aim, target_named

    if not wanted:
        return Aim((target_named(sound, None),), (1.0,))
    targets, weights = [], []
    for text in wanted:
        name, _, weight = text.partition("=")
        try:
            weights.append(float(weight or 1.0))
        except ValueError:
            weights.append(0.0)
        if not 0.0 < weights[-1] < 1e6:
            raise UsageError(f'--for "{text}": a weight is a number above zero, such as "1/4 mile=2"')
        targets.append(target_named(sound, name))
    if len({(target.kind, target.start, target.end) for target in targets}) < len(targets):
        raise UsageError("--for names a target twice; give it once, with its weight")
    return Aim(tuple(targets), tuple(weights))


def _gear_sets(sound: Scenario, every: bool) -> dict[str, Scenario]:
    from simlaunch.scenario.model import AS_DESCRIBED, Alternative
    from simlaunch.scenario.reading import changed

    if not every:
        return {AS_DESCRIBED: sound}
    kind = Alternative.GEAR_SET
    changes = {name: dict(sound.changes_to(kind, name)) for name in sound.alternatives(kind)}
    return {name: changed(sound, each) if each else sound for name, each in changes.items()}


def plateau(
    scenario: ScenarioFile,
    wish: Wish = None,
    target: For = None,
    pedal: PedalKind = PedalChoice.FULL,
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
    """Seek the highest torque plateau that still gains time within the limits of engine and driveline."""
    from simlaunch.analysis.plateau import plateau as sought
    from simlaunch.cli.scenario_file import read
    from simlaunch.output.plateau import Answer, curve_csv, plateau_object, plateau_tables, plateau_text
    from simlaunch.output.words import PEDAL_WORDS

    if gear_limits and within_grip:
        raise UsageError("--gear-limits seeks limits that --within-grip sets; choose one of them")
    stem = f"{scenario.stem}-plateau"
    prepare(out, stem, force=force)
    if save is not None:
        check("--save", save, force=force)
    sound = read(scenario, changes, taken)
    name = wish or sound.curve_names[0]
    sound.curve(name)
    given = _limits(
        {"mean_pressure": mean_pressure, "power": power, "air_flow": air_flow, "torque": torque, "rise": rise}
    )
    aims, kind = _aims(sound, target), driven(pedal)
    compile_once(quiet=quiet)
    found: dict[str, Plateau] = {}
    gear_sets = _gear_sets(sound, each_gear_set)
    for gear_set, geared in gear_sets.items():
        room = _room(geared, (name, kind), _Keep(given, envelope, no_parts, within_grip), aims)
        tell = partial(_tell, gear_set if each_gear_set else "", quiet)
        found[gear_set] = sought(room, by_gear=gear_limits, tell=tell)
    room = _room(sound, (name, kind), _Keep(given, envelope, no_parts, within_grip), aims)
    drives = {gear_set: geared.gearbox.final_drive.si for gear_set, geared in gear_sets.items()}
    volume = sound.engine.displacement
    wanted = _wanted(sound, (name, kind), room, next(iter(found.values())))
    answer = Answer(sound.name, name, PEDAL_WORDS[kind], aims, found, drives, volume.si if volume else None, wanted)
    if save is not None:
        write("--save", save, curve_csv(answer), force=force)
        note(f"wrote {save}", quiet=quiet)

    def figures() -> dict[str, object]:
        from simlaunch.plotting.plateau import plateau_figure

        return {"torque": plateau_figure(answer.first, name, units)}

    shown = Shown(
        stem,
        text=lambda: plateau_text(answer, units),
        document=lambda: plateau_object(answer, units),
        tables=lambda: plateau_tables(answer, units),
        figures=figures,
        more_files=lambda: _more_files(answer, stem),
    )
    deliver(shown, as_json=as_json, out=out, force=force, quiet=quiet)
    return 0


@dataclass(frozen=True)
class _Keep:
    """What a curve is to keep to, as typed."""

    given: Mapping[str, float]
    envelope: str | None
    no_parts: bool
    within_grip: bool


def _room(sound: Scenario, curve: tuple[str, Pedal], keep: _Keep, aims: Aim) -> Room:
    """All plateaus of a car within the limits of the scenario, or those that were typed."""
    from simlaunch.analysis.limits import limits_of
    from simlaunch.analysis.plateau_search_space import Room
    from simlaunch.scenario.lowering import lower

    limits = limits_of(sound, keep.given, keep.envelope)
    limits = replace(limits, parts=()) if keep.no_parts else limits
    return Room(lower(sound, *curve), limits, aims, within_grip=keep.within_grip)


def _wanted(sound: Scenario, curve: tuple[str, Pedal], room: Room, found: Plateau) -> tuple[Wanted, ...]:
    """The final drives that suit the plateau and the wish, the gears staying as they are."""
    from simlaunch.analysis.plateau import DRIVES, final_drive
    from simlaunch.output.plateau import PLATEAU, Wanted
    from simlaunch.scenario.lowering import lower
    from simlaunch.scenario.reading import changed

    present = sound.gearbox.final_drive.si

    def lowered(ratio: float) -> Record:
        return lower(changed(sound, {"gearbox.final_drive": f"{ratio * present:.6g}"}), *curve)

    def wanted(named: str, score: float, shape: Shape | None) -> Wanted:
        ratio, best = final_drive(room, shape, lowered)
        farther = "or more" if ratio >= DRIVES[-1] else "or less" if ratio <= DRIVES[0] else ""
        return Wanted(named, present, score, present * ratio, best, farther)

    return (
        wanted(PLATEAU, found.unlimited.score, found.unlimited.shape),
        wanted(curve[0], found.wish.score, None),
    )


def _tell(gear_set: str, quiet: bool, line: str) -> None:
    note(f"{gear_set}, {line}" if gear_set else line, quiet=quiet)


def _more_files(answer: Answer, stem: str) -> dict[str, str]:
    """The curve and the limits of the gears, as files that a scenario can name."""
    from simlaunch.output.plateau import curve_csv, limits_csv

    return {f"{stem}-curve.csv": curve_csv(answer), f"{stem}-gears.csv": limits_csv(answer)}
