"""`simlaunch log`: a logged run, with the same marks as a simulated one."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, TypeAlias

import typer

import simlaunch.results as results
from simlaunch.analysis import log as single
from simlaunch.analysis import logs as several
from simlaunch.cli.curve_options import Boosted, CorrectionChoice
from simlaunch.cli.file_lists import UP_TO, TakesLists
from simlaunch.cli.options import AsJson, Force, Out, Quiet, Trace, Units, changes_of_logs, for_log_option, meant
from simlaunch.cli.output import prepare, show
from simlaunch.cli.quantities import Asked, quantity_or_none
from simlaunch.cli.scenario_file import read
from simlaunch.cli.table_options import Decimal, Delimiter, Encoding, table_options
from simlaunch.errors import UsageError
from simlaunch.logged import same_conditions
from simlaunch.readers import log as logged
from simlaunch.scenario import powertrain
from simlaunch.units import gate
from simlaunch.units.spelling import Dimension, System

AFTER = "--after"


class SeveralAfter(TakesLists):
    """A command whose option `--after` takes every file that follows it, beside files before the change."""

    lists = (AFTER,)

    def refuse_unclear(self, args: Sequence[str]) -> None:
        """Refuse a file behind another option where files before the change are named already: nobody can say which."""
        valued = {name for each in self.params if not getattr(each, "is_flag", False) for name in each.opts}
        free: list[int] = []
        within, begun, skipped = False, False, False
        for place, text in enumerate(args):
            if skipped:
                skipped = False
            elif text.startswith("-"):
                within = text == AFTER
                begun = begun or within
                skipped = text in valued and not within
            elif not within:
                free.append(place)
                if begun and args.index(AFTER) > free[0]:
                    raise UsageError(
                        f"{text}: a file behind another option does not belong to {AFTER}, and files before the change "
                        f"are named already; write all logs after the change right behind {AFTER}, then the options"
                    )


LogFiles: TypeAlias = Annotated[
    list[Path],
    typer.Argument(metavar="FILE", help="Log file: delimited text, .mf4, .mdf or .mat.", show_default=False),
]
After: TypeAlias = Annotated[
    list[Path] | None,
    typer.Option(
        AFTER,
        metavar="FILE...",
        help=f"Logs after a change of set-up, {UP_TO}; all other FILEs are those before it.",
        show_default=False,
    ),
]
AlignAt: TypeAlias = Annotated[
    str | None,
    typer.Option(
        "--align-at",
        metavar="SPEED",
        help='Set time zero of each of several logs where it passes this speed, such as "60 km/h".',
        show_default="the start; for runs that roll, the lowest speed of all",
    ),
]
For: TypeAlias = Annotated[
    list[str] | None,
    typer.Option(
        "--for",
        metavar="TARGET",
        help='Target of the verdict, such as "100 km/h to 200 km/h"; repeatable: all further ones are measured too.',
        show_default="the longest that every log reached",
    ),
]
FromScenario: TypeAlias = Annotated[
    Path | None,
    typer.Option(
        "--scenario",
        metavar="FILE",
        help="Car and conditions to which several logs are brought.",
        show_default=False,
    ),
]
ForLog: TypeAlias = Annotated[list[str] | None, for_log_option("logs of --after are numbered after the others")]
ToCorrection: TypeAlias = Annotated[
    CorrectionChoice | None,
    typer.Option(
        "--to-correction",
        case_sensitive=False,
        help="Formula that brings engine torque to the weather of the scenario.",
        show_default="none: torque is not corrected",
    ),
]
Channels: TypeAlias = Annotated[
    list[str] | None,
    typer.Option(
        "--channel",
        metavar="ROLE=NAME",
        help='Channel for a role, such as "speed=GPS Speed"; several for one role are averaged; "gear=" leaves the '
        "role out.",
        show_default=False,
    ),
]
ChannelUnits: TypeAlias = Annotated[
    list[str] | None,
    typer.Option(
        "--unit", metavar="ROLE=UNIT", help='Unit of a role, such as "speed=km/h"; repeatable.', show_default=False
    ),
]
Start: TypeAlias = Annotated[
    str | None,
    typer.Option(
        "--start",
        metavar="TIME",
        help='Use the first run that moves off at or after this time of the log, such as "12 s".',
        show_default=False,
    ),
]
RadiusFront: TypeAlias = Annotated[
    str | None,
    typer.Option(
        "--radius-front",
        metavar="LENGTH",
        help='Effective rolling radius of the front tyres, such as "0.32 m".',
        show_default="that of the rear, if given",
    ),
]
RadiusRear: TypeAlias = Annotated[
    str | None,
    typer.Option(
        "--radius-rear",
        metavar="LENGTH",
        help="Effective rolling radius of the rear tyres.",
        show_default="that of the front, if given",
    ),
]

_ALIGN = Asked("--align-at", Dimension.SPEED, "1 km/h", "500 km/h")
START = Asked("--start", Dimension.TIME, "-1e9 s", "1e10 s")
_RADII = tuple(Asked(f"--radius-{end}", Dimension.LENGTH, "0.1 m", "1 m") for end in ("front", "rear"))


def _pair(text: str, option: str) -> tuple[logged.Role, str]:
    name, equals, value = (part.strip() for part in text.partition("="))
    key = name.lower().replace(" ", "_")
    if not equals or key not in set(logged.Role):
        raise UsageError(
            f"{option} {gate.quoted(text)}: write ROLE=..., with one of the roles {', '.join(logged.Role)}"
        )
    return logged.Role(key), value


def channels_named(pairs: list[str] | None) -> dict[logged.Role, tuple[str, ...]]:
    """Names of the channels for each role; an empty name leaves the role out."""
    found: dict[logged.Role, tuple[str, ...]] = {}
    for role, name in (_pair(text, "--channel") for text in pairs or ()):
        found[role] = (*found.get(role, ()), *([name] if name else []))
    return found


def units_named(pairs: list[str] | None) -> dict[logged.Role, str]:
    """Unit of each role that is named."""
    found: dict[logged.Role, str] = {}
    for role, unit in (_pair(text, "--unit") for text in pairs or ()):
        if role in found:
            raise UsageError(f"--unit names {role} twice; give one unit for it")
        found[role] = unit
    return found


def radii_given(*texts: str | None) -> tuple[float, float] | None:
    """Radii of front and rear; one that was not given is that of the other axle."""
    front, rear = (quantity_or_none(text, asked) for text, asked in zip(texts, _RADII, strict=True))
    front, rear = rear if front is None else front, front if rear is None else rear
    return None if front is None or rear is None else (front, rear)


def log(
    files: LogFiles,
    after: After = None,
    align_at: AlignAt = None,
    targets: For = None,
    scenario: FromScenario = None,
    for_log: ForLog = None,
    to_correction: ToCorrection = None,
    boosted: Boosted = False,
    channel: Channels = None,
    unit: ChannelUnits = None,
    start: Start = None,
    radius_front: RadiusFront = None,
    radius_rear: RadiusRear = None,
    encoding: Encoding = None,
    delimiter: Delimiter = None,
    decimal: Decimal = None,
    units: Units = System.METRIC,
    as_json: AsJson = False,
    trace: Trace = False,
    out: Out = None,
    force: Force = False,
    quiet: Quiet = False,
) -> int:
    """Measure a logged run, or what a change did between logs.

    For one log the output states how it was read, its times, and its use of grip where wheel speeds and the radii of
    the tyres are given. With --after, logs of two set-ups are compared, and the verdict states whether the difference
    is larger than the scatter of repeat runs.
    """
    options = logged.LogOptions(
        channels=channels_named(channel),
        units=units_named(unit),
        radii=radii_given(radius_front, radius_rear),
        start=quantity_or_none(start, START),
        table=table_options(encoding, delimiter, decimal),
    )
    found: results.Result
    if len(files) == 1 and not after:
        given = {AFTER: after, "--align-at": align_at, "--for": targets, "--scenario": scenario, "--for-log": for_log}
        if idle := [name for name, value in given.items() if value]:
            raise UsageError(f"{', '.join(idle)} needs several logs; give more, or leave it out")
        stem = f"{files[0].stem}-log"
        prepare(out, stem, force=force)
        found = single.read_log(files[0], options)
    else:
        stem = f"{files[0].stem}-logs"
        prepare(out, stem, force=force)
        found = _several(
            files, after or (), options, align_at, targets, scenario, for_log, to_correction, boosted, units
        )
    show(found, stem, units=units, as_json=as_json, out=out, force=force, quiet=quiet, trace=trace)
    return 0


def _several(
    files: Sequence[Path], after: Sequence[Path], options: logged.LogOptions, align_at: str | None,
    targets: Sequence[str] | None, scenario: Path | None, for_log: Sequence[str] | None,
    to_correction: CorrectionChoice | None, boosted: bool, units: System,
) -> results.Result:  # fmt: skip
    """Several logs, with what is known of them."""
    if scenario is None and (to_correction or for_log):
        raise UsageError("--to-correction and --for-log need a car; give --scenario too")
    correcting = None
    if scenario is not None:
        correcting = same_conditions.Correcting(read(scenario), meant(to_correction, powertrain.Correction), boosted)
    return several.compare_logs(
        files,
        after,
        options=options,
        align_at=quantity_or_none(align_at, _ALIGN),
        targets=targets or (),
        correcting=correcting,
        changes=changes_of_logs(for_log or (), len(files) + len(after)),
        units=units,
    )


log.command_class = SeveralAfter  # type: ignore[attr-defined]
