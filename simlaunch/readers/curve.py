"""From dyno sheets to one full-load curve, with an account of everything that was done on the way.

The order of the steps: pulls are smoothed and averaged; the correction that the figures carry is taken back; hub or
wheel figures are brought to the crank, or the other way; the wanted correction is put on; points are written down.
A step that was not asked for is not taken.
"""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from simlaunch.choices import chosen
from simlaunch.errors import InputError, UsageError
from simlaunch.parameters.weather import Factor, Weather, factor
from simlaunch.readers.columns import NO_CHOICES, Choices
from simlaunch.readers.delimited import TableOptions, shown
from simlaunch.readers.reference_conditions import Losses, from_crank, to_crank
from simlaunch.readers.sheet import (
    LEAST_DEVIATION,
    Dropped,
    Pull,
    Sheet,
    Together,
    common_range,
    read_sheet,
    stated_condition,
    together,
)
from simlaunch.readers.smoothing import FEWEST, Smooth, Smoothing, as_it_is, peak_bound, smooth
from simlaunch.record import MAX_CURVE_POINTS
from simlaunch.scenario.curve_file import read_conditions
from simlaunch.scenario.powertrain import Correction, MeasuredAt
from simlaunch.units.quantity import RPM
from simlaunch.writing import write

Array = NDArray[np.float64]

_NEAR = 0.03  # rows that count for the mixture at an engine speed, relative

MOST_SHEETS = 20
STEPS = (50.0, 100.0, 200.0, 250.0, 500.0)
"""Distances of the engine speeds of a curve: the first that leaves few enough points [rpm]."""


@dataclass(frozen=True)
class CurveOptions:
    """What the caller knows of the sheets, and what is wanted of the curve; corrections and places may be plain text.

    Parameters
    ----------
    table : TableOptions
        What is known of the text.
    choices : Choices
        Columns and units that are named.
    leave_out : tuple of int
        Pulls to leave out, by number from 1.
    smoothing : bool
        False takes the rows of a single rising pull as they are.
    carried : Correction or None
        Correction that the figures carry; None where a sheet says so itself, or nobody knows.
    wanted : Correction or None
        Correction that the curve shall carry; None leaves the one that is there.
    weather : Weather or None
        Air of the test; needed to change the correction.
    boosted : bool
        Whether the engine holds its own charge pressure.
    correct_boosted : bool
        Correct such an engine by the formula all the same.
    measured_at : MeasuredAt or None
        Where the figures were taken; None where a sheet says so itself, or nobody knows.
    wanted_at : MeasuredAt or None
        Where the curve shall be valid; None leaves it where it is.
    losses : Losses or None
        What stands between the two; needed to change the place.
    """

    table: TableOptions = field(default_factory=TableOptions)
    choices: Choices = NO_CHOICES
    leave_out: tuple[int, ...] = ()
    smoothing: bool = True
    carried: Correction | None = None
    wanted: Correction | None = None
    weather: Weather | None = None
    boosted: bool = False
    correct_boosted: bool = False
    measured_at: MeasuredAt | None = None
    wanted_at: MeasuredAt | None = None
    losses: Losses | None = None

    def __post_init__(self) -> None:
        """Take text for corrections and places."""
        for name, kind in (
            ("carried", Correction),
            ("wanted", Correction),
            ("measured_at", MeasuredAt),
            ("wanted_at", MeasuredAt),
        ):
            if (value := getattr(self, name)) is not None:
                object.__setattr__(self, name, chosen(kind, value, name.replace("_", " ")))


@dataclass(frozen=True)
class PullAccount:
    """One pull as it went into the curve: where it stands, and how it compares with the others.

    Parameters
    ----------
    name : str
        File and lines.
    rows : int
        Rows used.
    noise : float or None
        Scatter of the rows about the smooth curve, relative; None for a pull left out [-].
    deviation : float or None
        Mean deviation from the median of the pulls; None for a pull left out [-].
    outlier : bool
        Whether it lies apart from the others.
    left_out : bool
        Whether the caller left it out.
    bound : float or None
        How far its peak may lie from the truth, relative; None where nothing is stated [-].
    speed, torque : ndarray, shape (n,)
        Its rows, with the correction and at the place of the curve [rad/s], [N m].
    gear : int or None
        Gear of which it holds all stretches, first is 1; None for a single pull.
    """

    name: str
    rows: int
    noise: float | None
    deviation: float | None
    outlier: bool
    left_out: bool
    bound: float | None
    speed: Array
    torque: Array
    gear: int | None = None


@dataclass(frozen=True)
class GearTorque:
    """Full-load torque of one gear, from logs through the gears.

    Parameters
    ----------
    gear : int
        First gear is 1.
    speed, torque, spread : ndarray, shape (n,)
        Engine speeds that it drove [rad/s], torque there, and what noise leaves it uncertain by [N m].
    apart : tuple of tuple of float
        Where it does not agree with the curve: from and to [rad/s], torque over that of the curve less 1, and the
        standard deviation of that [-].
    limit : ndarray, shape (m,)
        What it lets the engine give at the points of the curve, where it gives less; nan where it says nothing, so
        everywhere for a gear that gives no less [N m].
    """

    gear: int
    speed: Array
    torque: Array
    spread: Array
    apart: tuple[tuple[float, float, float, float], ...]
    limit: Array

    @property
    def power(self) -> Array:
        """Power at the points [W]."""
        return self.speed * self.torque


@dataclass(frozen=True)
class CurveAccount:
    """A full-load curve, and how it came about.

    Parameters
    ----------
    sources : tuple of str
        The files.
    understood : tuple of str
        Text, columns and units of each file.
    rows, rows_used : int
        Rows of all files, and those behind the curve.
    dropped : tuple of Dropped
        Rows that were not used, and why.
    pulls : tuple of PullAccount
        Every pull.
    smoothing : tuple of Smoothing
        Methods that the pulls needed.
    taken_back, put_on : Factor or None
        Correction that was taken back, and the one that was put on.
    conversion : str
        Losses that were counted in; empty for none.
    correction : Correction or None
        Correction that the curve carries; None where nobody knows.
    measured_at : MeasuredAt or None
        Where the curve is valid; None where nobody knows.
    speed, torque : ndarray, shape (n,)
        Points of the curve, 2 to 256 [rad/s], [N m].
    spread : ndarray, shape (n,)
        Standard deviation between the pulls, as measured; zero for one pull [N m].
    notes : tuple of str
        What a careful reader should know.
    air_fuel : float or None
        Mass of air over mass of fuel at peak power, as logged; None where it was not [-].
    by_gear : tuple of GearTorque
        Torque of each gear, from logs through the gears; none otherwise.
    """

    sources: tuple[str, ...]
    understood: tuple[str, ...]
    rows: int
    rows_used: int
    dropped: tuple[Dropped, ...]
    pulls: tuple[PullAccount, ...]
    smoothing: tuple[Smoothing, ...]
    taken_back: Factor | None
    put_on: Factor | None
    conversion: str
    correction: Correction | None
    measured_at: MeasuredAt | None
    speed: Array
    torque: Array
    spread: Array
    notes: tuple[str, ...]
    air_fuel: float | None = None
    by_gear: tuple[GearTorque, ...] = ()

    @property
    def power(self) -> Array:
        """Power at the points [W]."""
        return self.speed * self.torque


def read_sheets(paths: Sequence[str | os.PathLike[str]], options: CurveOptions | None = None) -> CurveAccount:
    """One full-load curve from the pulls of one or several dyno sheets.

    Parameters
    ----------
    paths : sequence of str or path-like
        The sheets, 1 to 20.
    options : CurveOptions, optional
        What is known of them, and what is wanted.

    Returns
    -------
    CurveAccount
        Points of the curve, and everything that was done.

    Raises
    ------
    InputError
        A sheet cannot be used; the message names file, place, reason and remedy.
    UsageError
        What is wanted cannot be worked out from what is known.
    """
    options = options or CurveOptions()
    if not 1 <= len(paths) <= MOST_SHEETS:
        raise UsageError(f"{len(paths)} sheets were named; name 1 to {MOST_SHEETS}")
    sheets = tuple(read_sheet(path, options.choices, options.table) for path in paths)
    options = _as_stated(sheets, options)
    pulls = tuple(pull for sheet in sheets for pull in sheet.pulls)
    used = _used(pulls, options.leave_out)
    curves = {n: _smoothed(pulls[n], options) for n in used}
    grid = grid_of([pulls[n] for n in used], list(curves.values()))
    mean = together(list(curves.values()), grid)
    torque, steps = _under_wanted_conditions(mean.torque, options)
    speed, torque, spread = sound(grid, torque, mean.spread)
    accounts = _accounts(pulls, curves, mean, options)
    return CurveAccount(
        sources=tuple(sheet.source for sheet in sheets),
        understood=tuple(f"{sheet.source}: {line}" for sheet in sheets for line in sheet.understood),
        rows=sum(sheet.rows for sheet in sheets),
        rows_used=sum(len(pulls[n].speed) for n in used),
        dropped=tuple(entry for sheet in sheets for entry in sheet.dropped),
        pulls=accounts,
        smoothing=tuple(sorted({curve.method for curve in curves.values()})),
        taken_back=steps.taken_back,
        put_on=steps.put_on,
        conversion=steps.conversion,
        correction=steps.correction,
        measured_at=options.wanted_at or options.measured_at,
        speed=speed,
        torque=torque,
        spread=spread,
        notes=(*pull_notes(accounts), *steps.notes),
        air_fuel=_mixture([pulls[n] for n in used], float(speed[int(np.argmax(speed * torque))])),
    )


# --- what the sheets say of themselves ---


def _as_stated(sheets: Sequence[Sheet], options: CurveOptions) -> CurveOptions:
    """The options with correction and place as the sheets state them; all sheets and the caller have to agree."""
    stated = [
        read_conditions("\n".join(line for line in map(stated_condition, sheet.preamble) if line), sheet.source)
        for sheet in sheets
    ]
    carried = {Correction(entry["correction"]) if "correction" in entry else options.carried for entry in stated}
    places = set().union(*(_places(*each, options) for each in zip(sheets, stated, strict=True)))
    for found, asked, what in ((carried, options.carried, "correction"), (places, options.measured_at, "place")):
        if len(found) > 1 or (asked is not None and found != {asked}):
            listed = ", ".join(sorted(str(entry or "not stated") for entry in (found | {asked} if asked else found)))
            raise InputError(
                f"{', '.join(sheet.source for sheet in sheets[:5])}: the sheets differ in {what}: "
                f"{listed}; bring each sheet to the same one first, or state what holds for all"
            )
    return replace(options, carried=carried.pop(), measured_at=places.pop())


def _places(sheet: Sheet, stated: Mapping[str, str], options: CurveOptions) -> set[MeasuredAt | None]:
    """Where the figures of a sheet were taken, by a line of its own, by its heading, or else by the caller."""
    said = {sheet.place, MeasuredAt(stated["measured_at"]) if "measured_at" in stated else None} - {None}
    return said or {options.measured_at}


def _mixture(pulls: Sequence[Pull], speed: float) -> float | None:
    """Air-fuel ratio logged near an engine speed, the median of its rows; None where none is logged."""
    near = [pull.air_fuel[np.abs(pull.speed - speed) <= _NEAR * speed] for pull in pulls if pull.air_fuel is not None]
    known = np.concatenate(near) if near else np.array([])
    known = known[np.isfinite(known)]
    return float(np.median(known)) if len(known) else None


# --- pulls to one curve ---


def _used(pulls: Sequence[Pull], leave_out: tuple[int, ...]) -> list[int]:
    unknown = [number for number in leave_out if not 1 <= number <= len(pulls)]
    if unknown:
        raise UsageError(f"there is no pull {unknown[0]} to leave out; there are 1 to {len(pulls)}")
    used = [n for n in range(len(pulls)) if n + 1 not in leave_out]
    if not used:
        raise UsageError(f"all {len(pulls)} pulls are left out; keep one at least")
    return used


def _smoothed(pull: Pull, options: CurveOptions) -> Smooth:
    if options.smoothing:
        return smooth(pull.speed, pull.torque)
    rising = bool((np.diff(pull.speed) > 0.0).all())
    if not rising or len(pull.speed) > MAX_CURVE_POINTS:
        raise UsageError(
            f"{pull}: {len(pull.speed)} rows cannot be used as they are; without smoothing a pull has up to "
            f"{MAX_CURVE_POINTS} rows by strictly rising engine speed"
        )
    return as_it_is(pull.speed, pull.torque)


def grid_of(pulls: Sequence[Pull], curves: Sequence[Smooth]) -> Array:
    """Engine speeds of the points: those of a single table taken as it is, else round ones between the ends."""
    if len(pulls) == 1 and curves[0].method is Smoothing.AS_IT_IS:
        return np.unique(pulls[0].speed)
    low, high = (edge / RPM for edge in common_range(pulls))
    step = next((step for step in STEPS if (high - low) / step < MAX_CURVE_POINTS - 3), STEPS[-1])
    inner = np.arange(np.ceil((low + 0.2 * step) / step), np.floor((high - 0.2 * step) / step) + 1.0) * step
    return np.concatenate(([low], inner, [high])) * RPM


def sound(speed: Array, torque: Array, spread: Array) -> tuple[Array, Array, Array]:
    """The points, or a refusal where a curve that had been sound has come out at or below zero."""
    if not np.isfinite(torque).all() or (torque <= 0.0).any():
        place = float(speed[int(np.argmin(np.nan_to_num(torque, nan=-np.inf)))]) / RPM
        raise InputError(
            f"the finished curve has no torque at {place:.0f} rpm; check the losses, the inertia and the acceleration"
        )
    return speed, torque, spread


def _accounts(
    pulls: Sequence[Pull], curves: dict[int, Smooth], mean: Together, options: CurveOptions
) -> tuple[PullAccount, ...]:
    order = {n: k for k, n in enumerate(curves)}
    return tuple(
        PullAccount(
            name=f"pull {n + 1} ({pull})",
            rows=len(pull.speed),
            noise=curves[n].noise if n in curves else None,
            deviation=mean.deviations[order[n]] if n in order else None,
            outlier=n in order and order[n] in mean.outliers,
            left_out=n not in order,
            bound=_bound(pull, curves.get(n)),
            speed=pull.speed,
            torque=_under_wanted_conditions(pull.torque, options)[0],
        )
        for n, pull in enumerate(pulls)
    )


def _bound(pull: Pull, curve: Smooth | None) -> float | None:
    return peak_bound(len(pull.speed), curve.noise) if curve and curve.method is Smoothing.SPLINE else None


def pull_notes(accounts: Sequence[PullAccount]) -> list[str]:
    """What pulls say of one another."""
    notes = [
        f"{account.name} lies {account.deviation:+.1%} from the median of the pulls; it is in the mean unless left out"
        for account in accounts
        if account.outlier
    ]
    used = [account for account in accounts if not account.left_out]
    deviations = [account.deviation for account in used if account.deviation is not None]
    apart = max(deviations) - min(deviations)
    if len(used) == 2 and apart > LEAST_DEVIATION:
        notes.append(f"the two pulls lie {apart:.1%} apart; a third pull would show which of them is right")
    if any(account.rows < FEWEST for account in used):
        notes.append(f"a pull with fewer than {FEWEST} rows is not smoothed")
    return notes


# --- correction and place ---


@dataclass(frozen=True)
class _Steps:
    """What was done to bring the figures to the wanted correction and place."""

    taken_back: Factor | None = None
    put_on: Factor | None = None
    conversion: str = ""
    notes: tuple[str, ...] = ()
    correction: Correction | None = None  # what the figures carry in the end


def _under_wanted_conditions(torque: Array, options: CurveOptions) -> tuple[Array, _Steps]:
    back, on = _factors(options)
    placed, conversion = _placed(torque / back.value if back else torque, options)
    carries = options.wanted or options.carried
    notes = _condition_notes(options, back, on, conversion)
    if on is not None and options.boosted and not options.correct_boosted and carries is not Correction.NONE:
        notes.append(f"the curve is as measured: {carries} puts no factor on it, so its file says correction: none")
        carries = Correction.NONE
    return placed * (on.value if on else 1.0), _Steps(back, on, conversion, tuple(notes), carries)


def _factors(options: CurveOptions) -> tuple[Factor | None, Factor | None]:
    """Correction to take back and correction to put on; none of them where the correction stays."""
    carried, wanted = options.carried, options.wanted
    if wanted is None and (options.weather is None or carried is None):
        return None, None
    if wanted is not None and wanted is carried and options.weather is None:
        return None, None
    if carried is None:
        raise UsageError(
            f"a correction to {wanted} needs the correction that the figures carry; "
            f"give one of {', '.join(Correction)} (none: as measured)"
        )
    if options.weather is None:
        raise UsageError(
            f"a change of correction from {carried} to {wanted} needs the weather of the test; "
            "give pressure, temperature and humidity"
        )
    back = factor(carried, options.weather, boosted=False)  # what the dyno did, right or not
    if wanted is None:
        return back, back
    return back, factor(wanted, options.weather, boosted=options.boosted, override=options.correct_boosted)


def _placed(torque: Array, options: CurveOptions) -> tuple[Array, str]:
    """Torque where it is wanted, and the losses that this took."""
    here, there = options.measured_at, options.wanted_at
    if there is None or there is here:
        return torque, ""
    if here is None:
        raise UsageError(
            f"torque at the {there} needs the place at which the figures were measured; "
            f"give one of {', '.join(MeasuredAt)}"
        )
    if options.losses is None:
        raise UsageError(
            f"a conversion from {here} to {there} needs the losses between them; "
            "give a scenario with gear and acceleration, or a percentage"
        )
    if MeasuredAt.CRANK not in (here, there):
        raise UsageError(f"figures are not converted from {here} to {there} directly; convert them to the crank first")
    convert = to_crank if there is MeasuredAt.CRANK else from_crank
    return convert(torque, options.losses), f"from {here} to {there}: {options.losses.why}"


def _condition_notes(options: CurveOptions, back: Factor | None, on: Factor | None, conversion: str) -> list[str]:
    notes = []
    if options.carried is None and options.wanted is None:
        notes.append("the sheet states no weather correction; do not compare its figures with others")
    if options.measured_at is None and options.wanted_at is None:
        notes.append("the sheet states no place of measurement; a launch needs torque at the crank")
    if conversion and back is None and options.carried not in (None, Correction.NONE):
        notes.append(
            f"losses are worked out from figures that carry {options.carried}; give the weather of the test to work "
            "them out from figures as measured"
        )
    reasons = [applied.why for applied in (back, on) if applied and applied.flagged]
    return notes + [f"correction factor {why}" for why in dict.fromkeys(reasons)]


# --- curve to file ---


def as_text(account: CurveAccount, hold_to: float | None = None) -> str:
    """The curve as a file of our own format, correction and place above the header.

    Held up to an engine speed, it has a point more there, and says so.
    """
    limits = {each.gear: each.limit for each in account.by_gear if np.isfinite(each.limit).any()}
    if hold_to is None:
        return curve_text(account.speed, account.torque, account.correction, account.measured_at, limits)
    last, speed, torque = account.torque[-1], np.append(account.speed, hold_to), account.torque
    note = f"held at {last:.0f} N m from {account.speed[-1] / RPM:.0f} rpm on, where nothing was measured"
    further = {gear: np.append(each, np.nan) for gear, each in limits.items()}
    return curve_text(speed, np.append(torque, last), account.correction, account.measured_at, further, note)


def curve_text(
    speed: Sequence[float] | Array,
    torque: Sequence[float] | Array,
    correction: Correction | None,
    measured_at: MeasuredAt | None,
    gears: Mapping[int, float | Array] | None = None,
    note: str = "",
) -> str:
    """Points of a curve [rad/s], [N m] as a file of our own format, correction and place above the header.

    A gear with one limit of torque has a line above the header, one with a curve over the same engine speeds a column,
    with empty cells where it says nothing.
    """
    conditions = {"note": note or None, "correction": correction, "measured at": measured_at}
    lines = [f"# {key}: {value}" for key, value in conditions.items() if value is not None]
    limits = {gear: each for gear, each in (gears or {}).items() if np.ndim(each) == 0}
    columns = {gear: np.asarray(each) for gear, each in (gears or {}).items() if np.ndim(each) == 1}
    lines += [f"# limit in gear {gear}: {_plain(float(each))} N m" for gear, each in limits.items()]
    head = ["engine speed [rpm]", "torque [N m]", *(f"gear {gear} [N m]" for gear in columns)]
    rows = zip((s / RPM for s in speed), torque, *columns.values(), strict=True)
    return "\n".join((*lines, ",".join(head), *(",".join(map(_plain, row)) for row in rows))) + "\n"


def _plain(value: float) -> str:
    """Number with up to three decimals, none that say nothing; empty where there is none."""
    if np.isnan(value):
        return ""
    return f"{value:.3f}".rstrip("0").rstrip(".")


def write_curve(
    account: CurveAccount, path: str | os.PathLike[str], *, overwrite: bool = False, hold_to: float | None = None
) -> None:
    """Write the curve to a file that a scenario can name; the file is there whole or not at all.

    Parameters
    ----------
    account : CurveAccount
        The curve.
    path : str or path-like
        Where to, with the ending .csv.
    overwrite : bool
        Whether a file that is there already may be replaced.
    hold_to : float, optional
        Engine speed up to which the torque of the last point is held [rad/s].

    Raises
    ------
    UsageError
        The name does not end in .csv.
    InputError
        A file is there already, or the file cannot be written.
    """
    target = Path(path)
    if target.suffix.lower() != ".csv":
        raise UsageError(f"{shown(path)}: a curve file ends in .csv, so that a scenario can name it")
    write("--save", target, as_text(account, hold_to), force=overwrite)
