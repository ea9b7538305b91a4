"""`simlaunch log`: a logged run, with the same marks as a simulated one."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, TypeAlias

import typer

from simlaunch.analysis import log as study
from simlaunch.cli.options import AsJson, Force, Out, Quiet, Trace, Units
from simlaunch.cli.output import prepare, show
from simlaunch.cli.quantities import Asked, quantity_or_none
from simlaunch.cli.table_options import Decimal, Delimiter, Encoding, table_options
from simlaunch.errors import UsageError
from simlaunch.readers import log as logged
from simlaunch.units import gate
from simlaunch.units.spelling import Dimension, System

LogFile: TypeAlias = Annotated[
    Path, typer.Argument(metavar="FILE", help="Log file: delimited text, .mf4, .mdf or .mat.", show_default=False)
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
    file: LogFile,
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
    """Measure a logged run: its times, and its use of grip.

    Use of grip needs logged wheel speeds and the radii of the tyres. The output states how the log was read.
    """
    options = logged.LogOptions(
        channels=channels_named(channel),
        units=units_named(unit),
        radii=radii_given(radius_front, radius_rear),
        start=quantity_or_none(start, START),
        table=table_options(encoding, delimiter, decimal),
    )
    stem = f"{file.stem}-log"
    prepare(out, stem, force=force)
    found = study.read_log(file, options)
    show(found, stem, units=units, as_json=as_json, out=out, force=force, quiet=quiet, trace=trace)
    return 0
