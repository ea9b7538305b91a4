"""`simlaunch fit`: a scenario fitted to measured runs."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, TypeAlias

import typer

from simlaunch.cli.file_lists import UP_TO, taking_lists
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
from simlaunch.cli.options import (
    AsJson,
    Changes,
    Force,
    Out,
    PedalChoice,
    Quiet,
    ScenarioFile,
    Taken,
    Units,
    changes_of_logs,
    for_log_option,
)
from simlaunch.cli.output import compile_once, counting_launches, note, prepare, show
from simlaunch.cli.quantities import Asked, quantity_or_none
from simlaunch.cli.scenario_file import read
from simlaunch.cli.table_options import Decimal, Delimiter, Encoding, table_options
from simlaunch.errors import UsageError
from simlaunch.fitting import fit as study
from simlaunch.fitting import logs as measured
from simlaunch.fitting import saving
from simlaunch.readers import log as logged
from simlaunch.units.spelling import Dimension, System

if TYPE_CHECKING:
    from simlaunch.scenario.model import Scenario

Logs: TypeAlias = Annotated[
    list[Path] | None,
    typer.Option("--log", metavar="FILE...", help=f"Logs of launches, {UP_TO}.", show_default=False),
]
Rolls: TypeAlias = Annotated[
    list[Path] | None,
    typer.Option(
        "--roll",
        metavar="FILE...",
        help=f"Logs of pulls from a steady speed, with or without gear changes, {UP_TO}.",
        show_default=False,
    ),
]
CoastDowns: TypeAlias = Annotated[
    list[Path] | None,
    typer.Option(
        "--coast-down", metavar="FILE...", help=f"Logs of coast-downs in neutral, {UP_TO}.", show_default=False
    ),
]
Values: TypeAlias = Annotated[
    list[str] | None,
    typer.Option(
        "--value",
        metavar="NAME",
        help='Value to fit, such as "friction", "curve scale", "drag area", "mass", or a key; repeatable.',
        show_default="those that the logs determine",
    ),
]
Own: TypeAlias = Annotated[
    list[str] | None,
    typer.Option("--own", metavar="NAME", help="Value to fit separately for each log; repeatable.", show_default=False),
]
Curves: TypeAlias = Annotated[
    list[str] | None,
    typer.Option(
        "--curve",
        metavar="NAME",
        help="Full-load curve of the launches: one for all, or one for each log in order.",
        show_default="the first of the scenario",
    ),
]
ForLog: TypeAlias = Annotated[list[str] | None, for_log_option("rolls and coast-downs are numbered after launches")]
LeaveOut: TypeAlias = Annotated[
    int | None,
    typer.Option(
        "--leave-out",
        metavar="NUMBER",
        min=1,
        help="Number of a log to predict instead of fitting to it.",
        show_default=False,
    ),
]
Noise: TypeAlias = Annotated[
    str | None,
    typer.Option(
        "--noise",
        metavar="SPEED",
        help='Standard deviation of a logged speed, such as "0.2 km/h".',
        show_default="estimated from each log",
    ),
]
Lag: TypeAlias = Annotated[
    str | None,
    typer.Option(
        "--lag", metavar="TIME", help='Lag of the logged speed, such as "0 s".', show_default="fitted for each log"
    ),
]
Until: TypeAlias = Annotated[
    str | None,
    typer.Option(
        "--until",
        metavar="TIME",
        help="Use each run up to this time after the car moves off.",
        show_default="up to its highest speed",
    ),
]
Rollout: TypeAlias = Annotated[
    bool, typer.Option("--rollout", help="The logs begin once the car has rolled about one foot.")
]
Starts: TypeAlias = Annotated[
    int, typer.Option("--starts", metavar="NUMBER", min=1, max=100, help="Number of starts of the search.")
]
Seed: TypeAlias = Annotated[
    int, typer.Option("--seed", metavar="NUMBER", min=0, help="Random seed; the first start does not depend on it.")
]
Profiles: TypeAlias = Annotated[
    bool, typer.Option("--profile", help="Profile the likelihood of every value, not only of those that stay open.")
]
Workers: TypeAlias = Annotated[
    int | None,
    typer.Option("--workers", metavar="NUMBER", min=1, help="Number of threads.", show_default="one per core"),
]
Pedal: TypeAlias = Annotated[
    PedalChoice, typer.Option("--pedal", help="Pedal in the logged launches: down throughout, or held slip.")
]
Save: TypeAlias = Annotated[
    Path | None,
    typer.Option("--save", metavar="FILE", help="Write the fitted scenario to this file.", show_default=False),
]
SaveAnyway: TypeAlias = Annotated[
    bool, typer.Option("--save-anyway", help="Save the fit even if the verdict is not to use it.")
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


def _requests(
    scenario: Scenario, logs: Sequence[Path], rolls: Sequence[Path], coasts: Sequence[Path], curves: Sequence[str],
    changes: Sequence[str], options: logged.LogOptions, **more: Any,
) -> list[measured.LogRequest]:  # fmt: skip
    """Every log with what is known of it."""
    launches, pulls = [measured.Kind.LAUNCH] * len(logs), [measured.Kind.ROLL] * len(rolls)
    kinds = launches + pulls + [measured.Kind.COAST_DOWN] * len(coasts)
    if not kinds:
        raise UsageError("there is nothing to fit to; give --log FILE, --roll FILE, or --coast-down FILE")
    of_curves = [*_curves(curves, len(logs) + len(rolls), scenario), *[None] * len(coasts)]
    each = zip((*logs, *rolls, *coasts), kinds, of_curves, changes_of_logs(changes, len(kinds)), strict=True)
    return [measured.LogRequest(path, kind, curve, change, options, **more) for path, kind, curve, change in each]


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
    """Fit a scenario to logs: values, their errors, and what stays open.

    `simlaunch odds` and `compare` can use a saved fit: it holds the values with their spreads and correlations.
    """
    stem = f"{scenario.stem}-fit"
    prepare(out, stem, force=force)
    if save is not None and (changes or taken):
        raise UsageError(
            "--save writes fitted values into the scenario's own text; write what --set or --with changes into it first"
        )
    sound = read(scenario, changes, taken)
    if save is not None:
        saving.check_place(sound, save, force=force, place="--save")
    options = logged.LogOptions(
        channels_named(channel), units_named(unit), radii_given(radius_front, radius_rear),
        quantity_or_none(start, START), table=table_options(encoding, delimiter, decimal),
    )  # fmt: skip
    known = {"until": quantity_or_none(until, _UNTIL), "noise": quantity_or_none(noise, _NOISE), "rollout": rollout}
    requests = _requests(sound, log or (), roll or (), coast_down or (), curve or (), for_log or (), options, **known)
    compile_once(quiet=quiet)
    with counting_launches(quiet=quiet) as shown:
        found = study.fit(
            sound, requests, value, own=own or (), left_out=None if leave_out is None else leave_out - 1,
            lag=quantity_or_none(lag, _LAG), starts=starts, seed=seed, profiles=profile, workers=workers,
            pedal=pedal.value,
            watch=shown.state,
        )  # fmt: skip
    show(found, stem, units=units, as_json=as_json, out=out, force=force, quiet=quiet)
    if save is not None:  # last, so that what speaks against it can be read even where it is refused
        found.save(save, force=force, anyway=save_anyway)
        note(f"wrote {save}", quiet=quiet)
    return 0


fit.command_class = taking_lists("--log", "--roll", "--coast-down", beside_scenarios=True)  # type: ignore[attr-defined]
