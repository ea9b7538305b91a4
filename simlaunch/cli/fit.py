"""`simlaunch fit`: a scenario fitted to measured runs."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, TypeAlias

import typer

from simlaunch.cli.log import (
    START,
    Channels,
    ChannelUnits,
    RadiusFront,
    RadiusRear,
    Start,
    channels_named,
    radii_given,
    units_named,
)
from simlaunch.cli.options import AsJson, Changes, Force, Out, PedalChoice, Quiet, ScenarioFile, Taken, Units
from simlaunch.cli.output import compile_once, counting_launches, note, prepare, show
from simlaunch.cli.quantities import Asked, quantity_or_none
from simlaunch.cli.table_options import Decimal, Delimiter, Encoding
from simlaunch.errors import UsageError
from simlaunch.units.spelling import Dimension, System

if TYPE_CHECKING:
    from simlaunch.fitting.logs import LogRequest
    from simlaunch.readers.log import LogOptions
    from simlaunch.scenario.model import Scenario

Logs: TypeAlias = Annotated[
    list[Path] | None,
    typer.Option("--log", metavar="FILE", help="Log of a launch; may be repeated.", show_default=False),
]
Rolls: TypeAlias = Annotated[
    list[Path] | None,
    typer.Option(
        "--roll",
        metavar="FILE",
        help="Log of a pull from a steady speed, gears shifted or not; may be repeated.",
        show_default=False,
    ),
]
CoastDowns: TypeAlias = Annotated[
    list[Path] | None,
    typer.Option(
        "--coast-down", metavar="FILE", help="Log of a coast-down in neutral; may be repeated.", show_default=False
    ),
]
Values: TypeAlias = Annotated[
    list[str] | None,
    typer.Option(
        "--value",
        metavar="NAME",
        help='What is fitted, such as "friction", "curve scale", "drag area", "mass", or a key; may be repeated.',
        show_default="what the logs tell",
    ),
]
Own: TypeAlias = Annotated[
    list[str] | None,
    typer.Option("--own", metavar="NAME", help="A value that each log has its own of.", show_default=False),
]
Curves: TypeAlias = Annotated[
    list[str] | None,
    typer.Option(
        "--curve",
        metavar="NAME",
        help="Full-load curve of the launches: one for all, or one for each in their order.",
        show_default="first of the scenario",
    ),
]
ForLog: TypeAlias = Annotated[
    list[str] | None,
    typer.Option(
        "--for-log",
        metavar="NUMBER:KEY=VALUE",
        help='What was different in one log, such as "2: air.temperature=4 degC"; rolls count after launches, '
        "coast-downs last.",
        show_default=False,
    ),
]
LeaveOut: TypeAlias = Annotated[
    int | None,
    typer.Option("--leave-out", metavar="NUMBER", min=1, help="Predict this log instead.", show_default=False),
]
Noise: TypeAlias = Annotated[
    str | None,
    typer.Option(
        "--noise",
        metavar="SPEED",
        help='Standard deviation of a logged speed, such as "0.2 km/h".',
        show_default="found in each log",
    ),
]
Lag: TypeAlias = Annotated[
    str | None,
    typer.Option(
        "--lag", metavar="TIME", help='Lag of the logged speed, such as "0 s".', show_default="found for each log"
    ),
]
Until: TypeAlias = Annotated[
    str | None,
    typer.Option(
        "--until",
        metavar="TIME",
        help="Use runs up to this time after moving off.",
        show_default="their highest speed",
    ),
]
Rollout: TypeAlias = Annotated[
    bool, typer.Option("--rollout", help="Logs begin once the car has rolled for about a foot.")
]
Starts: TypeAlias = Annotated[int, typer.Option("--starts", metavar="NUMBER", min=1, max=100, help="Of the search.")]
Seed: TypeAlias = Annotated[int, typer.Option("--seed", metavar="NUMBER", min=0, help="Decides all but the first.")]
Profiles: TypeAlias = Annotated[
    bool, typer.Option("--profile", help="Profile of the likelihood of every value, not only where it is doubtful.")
]
Workers: TypeAlias = Annotated[
    int | None,
    typer.Option("--workers", metavar="NUMBER", min=1, help="Threads.", show_default="one for each core"),
]
Pedal: TypeAlias = Annotated[PedalChoice, typer.Option("--pedal", help="How the car was driven.")]
Save: TypeAlias = Annotated[
    Path | None,
    typer.Option("--save", metavar="FILE", help="Write the fitted scenario to this file.", show_default=False),
]
SaveAnyway: TypeAlias = Annotated[
    bool, typer.Option("--save-anyway", help="Write it even if the verdict is not to use the fit.")
]

_NOISE = Asked("--noise", Dimension.SPEED, "0.0001 m/s", "10 m/s")
_LAG = Asked("--lag", Dimension.TIME, "0 s", "0.6 s")
_UNTIL = Asked("--until", Dimension.TIME, "0.2 s", "600 s")


def _curves(names: Sequence[str], launches: int, scenario: Scenario) -> list[str | None]:
    """Curve of each launch."""
    for name in names:
        scenario.curve(name)
    if len(names) not in (0, 1, launches):
        raise UsageError(f"--curve is given {len(names)} times for {launches} launches; give it once, or once for each")
    each: list[str | None] = [*names] or [None]
    return each * launches if len(each) == 1 else each


def _changes(texts: Sequence[str], count: int) -> list[dict[str, object]]:
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


def _requests(
    scenario: Scenario, logs: Sequence[Path], rolls: Sequence[Path], coasts: Sequence[Path], curves: Sequence[str],
    changes: Sequence[str], options: LogOptions, **more: Any,
) -> list[LogRequest]:  # fmt: skip
    """Every log with what is known of it."""
    from simlaunch.fitting.logs import Kind, LogRequest

    kinds = [Kind.LAUNCH] * len(logs) + [Kind.ROLL] * len(rolls) + [Kind.COAST_DOWN] * len(coasts)
    if not kinds:
        raise UsageError("there is nothing to fit to; give --log FILE, --roll FILE, or --coast-down FILE")
    of_curves = [*_curves(curves, len(logs) + len(rolls), scenario), *[None] * len(coasts)]
    each = zip((*logs, *rolls, *coasts), kinds, of_curves, _changes(changes, len(kinds)), strict=True)
    return [LogRequest(path, kind, curve, change, options, **more) for path, kind, curve, change in each]


def fit(
    scenario: ScenarioFile,
    log: Logs = None,
    roll: Rolls = None,
    coast_down: CoastDowns = None,
    value: Values = None,
    own: Own = None,
    curve: Curves = None,
    pedal: Pedal = PedalChoice.FULL,
    for_log: ForLog = None,
    leave_out: LeaveOut = None,
    noise: Noise = None,
    lag: Lag = None,
    until: Until = None,
    rollout: Rollout = False,
    channel: Channels = None,
    unit: ChannelUnits = None,
    start: Start = None,
    radius_front: RadiusFront = None,
    radius_rear: RadiusRear = None,
    encoding: Encoding = None,
    delimiter: Delimiter = None,
    decimal: Decimal = None,
    starts: Starts = 3,
    seed: Seed = 0,
    profile: Profiles = False,
    workers: Workers = None,
    save: Save = None,
    save_anyway: SaveAnyway = False,
    changes: Changes = None,
    taken: Taken = None,
    units: Units = System.METRIC,
    as_json: AsJson = False,
    out: Out = None,
    force: Force = False,
    quiet: Quiet = False,
) -> int:
    """Fit a scenario to logs of the car: values, how sure they are, and what the logs cannot tell."""
    from simlaunch.cli.scenario_file import read
    from simlaunch.cli.table_options import table_options
    from simlaunch.fitting.fit import fit as fitted
    from simlaunch.fitting.saving import check_place
    from simlaunch.readers.log import LogOptions

    stem = f"{scenario.stem}-fit"
    prepare(out, stem, force=force)
    if save is not None and (changes or taken):
        raise UsageError(
            "--save writes the scenario's own file with fitted values; put what --set or --with says into it"
        )
    sound = read(scenario, changes, taken)
    if save is not None:
        check_place(sound, save, force=force, place="--save")
    options = LogOptions(
        channels_named(channel), units_named(unit), radii_given(radius_front, radius_rear),
        quantity_or_none(start, START), table=table_options(encoding, delimiter, decimal),
    )  # fmt: skip
    known = {"until": quantity_or_none(until, _UNTIL), "noise": quantity_or_none(noise, _NOISE), "rollout": rollout}
    requests = _requests(sound, log or (), roll or (), coast_down or (), curve or (), for_log or (), options, **known)
    compile_once(quiet=quiet)
    with counting_launches(quiet=quiet) as shown:
        found = fitted(
            sound, requests, value, own=own or (), left_out=None if leave_out is None else leave_out - 1,
            lag=quantity_or_none(lag, _LAG), starts=starts, seed=seed, profiles=profile, workers=workers,
            pedal=pedal.value,
            watch=shown.tell,
        )  # fmt: skip
    show(found, stem, units=units, as_json=as_json, out=out, force=force, quiet=quiet)
    if save is not None:  # last, so that what speaks against it can be read even where it is refused
        found.save(save, force=force, anyway=save_anyway)
        note(f"wrote {save}", quiet=quiet)
    return 0
