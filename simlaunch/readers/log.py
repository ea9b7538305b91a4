"""Logs from a car: channels found by name, brought to SI and onto one time base, as a trace that can be measured.

How a log is understood:

- Channels are chosen by name (`channels.toml`). Several that fit, or none where one is needed, is an error that lists
  them; `--channel speed="NAME"` settles it, `--channel gear=` leaves one out. An axle is the mean of its two wheels,
  and both wheels are kept beside it.
- Units are taken from `--unit speed=km/h`, else from the file, else from the name ("speed km/h", "rpm").
- Time has to increase. The time base is that of the channel sampled most often; others run straight between samples,
  gears hold, nothing is extrapolated. A pause of more than five times the usual one is reported as a gap.
- Time zero is the moment at which the car moves off, found through the noise of the speed (`onset`), and stated with
  how well it is known. The run ends at its highest speed. A log that does not start from rest begins at its first
  sample.
- Where the speed has noise, the time at which the car has moved one foot is found with time zero, and distance is
  integrated from there: below it, samples hold more noise than speed.
- A log that changes its speed far slower or faster than any car is refused: its time is in another unit.
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from math import inf, isfinite
from pathlib import Path
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from simlaunch.errors import InputError
from simlaunch.metrics.crossing import first_time, with_distance
from simlaunch.readers.child import Channel, Recording, numbered, without_unit
from simlaunch.readers.columns import known_channels, plain_name, unit_named
from simlaunch.readers.delimited import MAX_BYTES, TableOptions, read_table, refusal, shown
from simlaunch.readers.matlab import read_matlab
from simlaunch.readers.mdf import read_mdf
from simlaunch.readers.onset import Onset, moving_off
from simlaunch.record import FOOT
from simlaunch.scenario.reading import read_bytes
from simlaunch.simulation.trace import Trace
from simlaunch.units.gate import quoted
from simlaunch.units.spelling import Dimension

AT_REST = 0.2
"""A car no faster than this stands [m/s]."""

MOVED_OFF = 3.0
"""A car that reaches this before it stands again has been launched [m/s]."""

SLOWEST, FASTEST, COARSE = 0.05, 50.0, 0.5
"""A log in which speed never changes faster than the first, with samples no closer than the last, counts its time in
milliseconds; one that gains speed faster than the second on the whole, in seconds for milliseconds [m/s^2], [s]."""

GAP = 5.0
"""A pause longer than so many usual ones is a gap [-]."""

_MOST_NAMES = 30  # in a message
_SAME_FOOT = 0.05  # by which a logged distance may pass the first foot sooner or later than the speed shows [s]

Array: TypeAlias = NDArray[np.float64]


class Role(StrEnum):
    """What a channel is needed for; the value is its name in the trace, and in options of the command line."""

    TIME = "time"
    SPEED = "speed"
    ENGINE_SPEED = "engine_speed"
    GEAR = "gear"
    WHEEL_SPEED_FRONT = "wheel_speed_front"
    WHEEL_SPEED_REAR = "wheel_speed_rear"
    WHEEL_SPEED_FRONT_LEFT = "wheel_speed_front_left"
    WHEEL_SPEED_FRONT_RIGHT = "wheel_speed_front_right"
    WHEEL_SPEED_REAR_LEFT = "wheel_speed_rear_left"
    WHEEL_SPEED_REAR_RIGHT = "wheel_speed_rear_right"
    ACCELERATION = "acceleration"
    DISTANCE = "distance"
    BOOST_PRESSURE = "boost_pressure"


_WHEELS = (Role.WHEEL_SPEED_FRONT, Role.WHEEL_SPEED_REAR)
_SIDES: Mapping[Role, tuple[Role, Role]] = {axle: (Role(f"{axle}_left"), Role(f"{axle}_right")) for axle in _WHEELS}
_AXLES: Mapping[Role, Role] = {side: axle for axle, sides in _SIDES.items() for side in sides}
_MEASURED = tuple(role for role in Role if role is not Role.TIME)


@dataclass(frozen=True)
class LogOptions:
    """What the caller knows of a log; what is left out is found by the stated rules."""

    channels: Mapping[Role, tuple[str, ...]] = field(default_factory=dict)
    """Names of the channels for a role; several are averaged, none leaves the role out."""
    units: Mapping[Role, str] = field(default_factory=dict)
    """Unit of a role's channels."""
    radii: tuple[float, float] | None = None
    """Effective rolling radius of the front and of the rear tyres, for wheel speeds logged as road speeds [m]."""
    start: float | None = None
    """The run that is wanted is the first that moves off at or after this time of the log [s]."""
    whole: bool = False
    """Keep all of the log, from its first sample on, rather than a run from rest."""
    table: TableOptions = field(default_factory=TableOptions)
    """For logs in delimited text."""


@dataclass(frozen=True)
class LogAccount:
    """A log as a trace, and how it was understood."""

    trace: Trace
    """Channels by the names of `Role`; time zero where the car moves off, nan outside a channel's own time."""
    understood: tuple[str, ...]
    """Which channel serves for what, in what unit; where the run begins and ends."""
    notes: tuple[str, ...]
    """What else is worth knowing: gaps, samples left out."""
    zero: float = 0.0
    """Time zero, in the time of the log [s]; whether the run starts from rest; and the whole log: times of each
    channel's own samples, in the time of the log [s], with their values."""
    from_rest: bool = False
    samples: Mapping[str, tuple[Array, Array]] = field(default_factory=dict)
    onset: Onset | None = None
    """When the car moved off and had moved one foot, and how well that is known; None for a run that rolls."""


@dataclass(frozen=True)
class _Log:
    """Everything that a file holds, what the caller knows of it, and what was noted on the way."""

    source: str
    options: LogOptions
    channels: tuple[Channel, ...]
    others: tuple[str, ...]
    notes: list[str] = field(default_factory=list)
    lines: NDArray[np.int64] | None = None

    def place(self, sample: int) -> str:
        """Where a sample stands in the file."""
        return f"line {self.lines[sample]}" if self.lines is not None else f"sample {sample + 1}"

    def refuse(self, place: str, typed: str, why: str, instead: str) -> InputError:
        """Error that names the file."""
        return refusal(self.source, place, typed, why, instead)

    def choices(self) -> str:
        """What could be named."""
        return f"choose one of {_listed([*(channel.name for channel in self.channels), *self.others])}"


@dataclass(frozen=True)
class _Series:
    """Samples of one role in SI units, over the time of the log."""

    role: Role
    label: str
    time: Array
    values: Array

    @property
    def step(self) -> float:
        """Usual time between samples [s]."""
        return float(np.median(np.diff(self.time)))


def read_channels(path: str | os.PathLike[str], options: LogOptions | None = None) -> LogAccount:
    """Trace from a log.

    Parameters
    ----------
    path : str or path-like
        Delimited text, ASAM MDF 4 (`.mf4`, `.mdf`) or MATLAB version 5 (`.mat`).
    options : LogOptions, optional
        Names, units and radii that the file does not state.

    Returns
    -------
    LogAccount
        The trace in SI units, and how it came about.

    Raises
    ------
    InputError
        The file cannot be read, a channel is missing or ambiguous, a unit is not known, or time does not increase.
    """
    log = _opened(Path(path), options or LogOptions())
    clock = _clock(log)
    chosen: dict[Role, tuple[Channel, ...]] = {role: _chosen(log, role) for role in _MEASURED}
    for sides in _SIDES.values():
        chosen.update(_both_or_none(log, sides, chosen))
    timeless = [c for c in chosen[Role.SPEED] or log.channels if c.time is None and _own_time(log, c) is None]
    lacks = ((Role.SPEED, not chosen[Role.SPEED]), (Role.TIME, clock is None and timeless))
    if missing := [role for role, lacking in lacks if lacking]:
        raise _missing(log, missing)
    series = [s for role, found in chosen.items() if (s := _of_role(log, role, found, clock))]
    return _account(log, series)


# --- file to channels ---


def _opened(path: Path, options: LogOptions) -> _Log:
    extract = _FORMATS.get(path.suffix.lower())
    if extract is None:
        return _from_table(path, options)
    source = shown(path)
    try:
        content = read_bytes(path, MAX_BYTES)
    except InputError as error:
        raise InputError(f"{source}, {error.args[0]}") from None
    recording = extract(content, source, _patterns(options))
    return _Log(source, options, numbered(recording.channels), recording.others)


_Reader: TypeAlias = Callable[[bytes, str, Sequence[str]], Recording]
_FORMATS: Mapping[str, _Reader] = {".mf4": read_mdf, ".mdf": read_mdf, ".mat": read_matlab}


def _from_table(path: Path, options: LogOptions) -> _Log:
    table = read_table(path, options.table)
    split = enumerate(map(without_unit, table.header))
    channels = [Channel(name, table.unit(n) or unit, table.columns[n], None) for n, (name, unit) in split]
    others = tuple(column.name for column in table.text_columns)
    return _Log(table.source, options, numbered(channels), others, [*table.notes], table.line_numbers)


def _patterns(options: LogOptions) -> list[str]:
    """Regular expressions for the names that could be needed; what they find is sorted properly once it is read."""
    given = {re.sub(r" #\d+$", "", name) for names in options.channels.values() for name in names}
    every = (name for known in known_channels().values() for name in (*known.names, *known.left, *known.right))
    words = (r"[^a-z0-9]*".join(name.split()) for name in every)
    return [*(rf"^{word}(?:[^a-z0-9].*)?$" for word in words), *(rf"^{re.escape(name)}(?:_time)?$" for name in given)]


# --- channels by name ---


def _unit_in_name(name: str, role: Role) -> tuple[str, str]:
    """Name and the unit that it ends with, such as "speed km/h"; an empty unit where it ends with none."""
    for unit in sorted(known_channels()[role].units, key=len, reverse=True):
        head = name.removesuffix(unit)
        if name.lower() == unit or (head != name and head[-1:] in (" ", "_")):
            return head.rstrip(" _") or name, unit
    return name, ""


def _going_by(log: _Log, role: Role, names: Sequence[str]) -> list[Channel]:
    bare = ((channel, re.sub(r" #\d+$", "", channel.name)) for channel in log.channels)
    return [c for c, name in bare if {plain_name(name), plain_name(_unit_in_name(name, role)[0])} & set(names)]


def _listed(names: Iterable[str]) -> str:
    every = [quoted(name) for name in names]
    rest = len(every) - _MOST_NAMES
    return ", ".join(every[:_MOST_NAMES]) + (f" and {rest} more" if rest > 0 else "")


def _flag(role: Role) -> str:
    return f'--channel {role}="NAME"'


def _chosen(log: _Log, role: Role) -> tuple[Channel, ...]:
    """Channels that serve for a role: as chosen by the caller, or by name; empty where there is none."""
    if role in log.options.channels:
        return tuple(_named(log, role, name) for name in log.options.channels[role])
    if role in _AXLES and log.options.channels.get(_AXLES[role]) == ():
        return ()
    found = _going_by(log, role, known_channels()[role].names)
    if not found and role in _SIDES:
        return tuple(channel for side in _SIDES[role] for channel in _chosen(log, side))
    if len(found) > 1:
        why = f"could be any of {_listed(channel.name for channel in found)}"
        raise log.refuse(role.replace("_", " "), "", why, f"choose one with {_flag(role)}")
    return tuple(found)


def _both_or_none(
    log: _Log, sides: tuple[Role, Role], chosen: Mapping[Role, tuple[Channel, ...]]
) -> dict[Role, tuple[Channel, ...]]:
    """Channels of both wheels of an axle; none where there is only one, which is not compared with anything."""
    if all(chosen[side] for side in sides):
        return {side: chosen[side] for side in sides}
    if any(log.options.channels.get(side) for side in sides):
        named = next(side for side in sides if log.options.channels.get(side))
        other = next(side for side in sides if side is not named)
        why = f"has no channel, and the other wheel of its axle has one ({_flag(named)})"
        raise log.refuse(other.replace("_", " "), "", why, f"name both, or the axle alone with {_flag(_AXLES[other])}")
    return dict.fromkeys(sides, ())


def _named(log: _Log, role: Role, name: str) -> Channel:
    for channel in log.channels:
        if channel.name == name:
            return channel
    raise log.refuse(f"--channel {role}", name, "is not a numeric channel of this log", log.choices())


# --- channels to series in SI ---


def _clock(log: _Log) -> Array | None:
    """Time that channels without their own are recorded against [s]; None where there is none."""
    if all(channel.time is not None for channel in log.channels):
        return None
    found = _chosen(log, Role.TIME)
    return _as_time(log, found[0]) if found else None


def _as_time(log: _Log, channel: Channel) -> Array:
    return _rising(log, channel.name, channel.values * _scale(log, Role.TIME, channel)[0], log.place)


def _rising(log: _Log, name: str, time: Array, place: Callable[[int], str]) -> Array:
    blank = np.flatnonzero(~np.isfinite(time))
    if blank.size:
        raise log.refuse(place(int(blank[0])), "", f"has no time in {quoted(name)}", "give every sample a time")
    back = np.flatnonzero(np.diff(time) <= 0.0)
    if back.size:
        n = int(back[0])
        why = f"at {time[n + 1]:.6g} s does not come after {time[n]:.6g} s; time has to increase"
        raise log.refuse(place(n + 1), "", why, "remove what was logged twice, or what belongs to another log")
    return time


def _missing(log: _Log, roles: Sequence[Role]) -> InputError:
    """Refusal of a log that lacks channels it cannot do without, all of them at once."""
    why, it = ("is not among the channels", "it") if len(roles) == 1 else ("are not among the channels", "them")
    flags = " and ".join(map(_flag, roles))
    return log.refuse(" and ".join(roles), "", why, f"name {it} with {flags}; {log.choices()}")


def _own_time(log: _Log, channel: Channel) -> Channel | None:
    """Channel that holds the time of another one alone."""
    return next((other for other in log.channels if other.name == f"{channel.name}_time"), None)


def _time_of(log: _Log, channel: Channel, clock: Array | None) -> Array:
    place = f"channel {quoted(channel.name)}"
    if channel.time is not None:
        return _rising(log, channel.name, channel.time, lambda n: f"{place}, sample {n + 1}")
    own = _own_time(log, channel)
    shared = "".join(other.unit for other in _chosen(log, Role.TIME))
    time = clock if own is None else _as_time(log, replace(own, unit=own.unit or shared))
    if time is None:
        raise _missing(log, [Role.TIME])
    if time.size != channel.values.size:
        why = f"has {channel.values.size} values, its time has {time.size}"
        raise log.refuse(place, "", why, f"save its own time as {quoted(f'{channel.name}_time')}")
    return time


def _scale(log: _Log, role: Role, channel: Channel) -> tuple[float, Dimension, str]:
    """SI value of one unit of a channel, its kind of quantity, and the unit."""
    known = known_channels()[role]
    stated = log.options.units.get(role) or log.options.units.get(_AXLES.get(role, role))
    unit = stated or channel.unit or _unit_in_name(channel.name, role)[1]
    unit = "" if unit in ("-", "1") else unit
    read = unit_named(unit, *known.kinds)
    if read is None:
        why = "is not a unit that it can have" if unit else "has no unit"
        instead = f"give one of {', '.join(known.units)}" if known.units else "give a pure number"
        instead += f", as in --unit {role}={next(iter(known.units), '1')}"
        raise log.refuse(f"channel {quoted(channel.name)}", unit, why, instead)
    return read.scale, read.dimension, unit


def _series(log: _Log, role: Role, channel: Channel, clock: Array | None) -> _Series | None:
    """One channel in SI units without samples that are no numbers; None where too few remain."""
    scale, kind, unit = _scale(log, role, channel)
    if _AXLES.get(role, role) in _WHEELS and kind is Dimension.SPEED:
        scale /= _radius(log, role, channel)
    time, values = _time_of(log, channel, clock), channel.values * scale
    sound = np.isfinite(values)
    if np.isinf(values).any():
        log.notes.append(f"{quoted(channel.name)}: {np.isinf(values).sum()} values that are not finite are left out")
    if sound.sum() < 2:
        log.notes.append(f"{quoted(channel.name)}: fewer than two values; not used")
        return None
    series = _Series(role, f"{quoted(channel.name)}{f' [{unit}]' if unit else ''}", time[sound], values[sound])
    _check_size(log, series)
    return series


def _radius(log: _Log, role: Role, channel: Channel) -> float:
    if log.options.radii is None:
        why = "is logged as a road speed, and slip needs the tyre's radius"
        instead = f"give the radii, or leave it out with --channel {_AXLES.get(role, role)}="
        raise log.refuse(f"channel {quoted(channel.name)}", "", why, instead)
    return log.options.radii[_WHEELS.index(_AXLES.get(role, role))]


def _check_size(log: _Log, series: _Series) -> None:
    reached, largest = float(np.abs(series.values).max()), known_channels()[series.role].largest
    if reached > largest:
        why = f"reaches {reached:.4g} in SI units; {largest:g} is the most that is plausible"
        raise log.refuse(f"channel {series.label}", "", why, f"check its unit, or give --unit {series.role}=UNIT")


def _of_role(log: _Log, role: Role, found: Sequence[Channel], clock: Array | None) -> _Series | None:
    """Series of a role; of several channels, their mean over the time that all of them cover."""
    parts = [s for channel in found if (s := _series(log, role, channel, clock))]
    if len(parts) <= 1:
        return parts[0] if parts else None
    base = _base(log, parts, parts)
    mean: Array = np.mean([_onto(base, part) for part in parts], axis=0)
    return _Series(role, f"mean of {' and '.join(part.label for part in parts)}", base, mean)


# --- series onto one time base ---


def _base(log: _Log, needed: Sequence[_Series], every: Sequence[_Series]) -> Array:
    """Times of the series sampled most often, over the time that all needed ones cover."""
    start, end = max(s.time[0] for s in needed), min(s.time[-1] for s in needed)
    base: Array = max((s.time[(s.time >= start) & (s.time <= end)] for s in every), key=len)
    if base.size < 2:
        places = " and ".join(s.label for s in needed)
        raise log.refuse(places, "", "have no time in common", "log them together, or leave one out with --channel")
    return base


def _onto(base: Array, series: _Series) -> Array:
    """Values at other times, nan outside the series' own; a gear holds, all else runs straight."""
    values: Array = np.interp(base, series.time, series.values, left=np.nan, right=np.nan)
    if series.role is not Role.GEAR:
        return values
    held = series.values[np.searchsorted(series.time, base, side="right") - 1]
    return np.where(np.isnan(values), np.nan, held)


def _gaps(series: _Series) -> Iterator[str]:
    pauses = np.diff(series.time)
    wide = np.flatnonzero(pauses > GAP * series.step)
    if wide.size:
        n = int(wide[np.argmax(pauses[wide])])
        count = f"{wide.size} gaps, the longest" if wide.size > 1 else "a gap"
        yield f"{series.label}: {count} of {pauses[n]:.3g} s after {series.time[n]:.6g} s of the log, bridged"


def _account(log: _Log, series: Sequence[_Series]) -> LogAccount:
    speeds = [s for s in series if s.role in (Role.SPEED, *_WHEELS, *_AXLES)]
    if not speeds or speeds[0].role is not Role.SPEED:
        raise log.refuse("speed", "", "has fewer than two values", f"name another channel with {_flag(Role.SPEED)}")
    base = _base(log, speeds, series)
    _check_pace(log, speeds[0])
    run = (
        _Run(0, base.size - 1, base[0], ()) if log.options.whole else _run(log, base, _onto(base, speeds[0]), speeds[0])
    )
    times = np.concatenate([[run.zero], base[run.first + 1 : run.last + 1]])
    if run.onset is not None and run.zero < run.onset.foot < times[-1]:
        times = np.unique(np.concatenate([times, [run.onset.foot]]))
    trace = _cut(log, times, {str(s.role): _onto(times, s) for s in series}, run)
    onset = _with_foot(run.onset, trace, run.zero) if run.onset is not None else None
    samples = {str(s.role): (s.time, s.values) for s in series}
    notes = tuple(dict.fromkeys((*log.notes, *(gap for s in series for gap in _gaps(s)))))
    understood = (*_understood(series, base), *run.account, *([_said(onset)] if onset else []))
    return LogAccount(trace, understood, notes, float(run.zero), run.from_rest, samples, onset)


def _with_foot(onset: Onset, trace: Trace, zero: float) -> Onset:
    """The start with the first foot as the trace has it; nan where the run is shorter."""
    return replace(onset, foot=zero + first_time(with_distance(trace), "distance", FOOT))


def _said(onset: Onset) -> str:
    """How well the start is known."""
    zero = f"time zero and times without rollout are good to {onset.zero_within:.3f} s"
    if not isfinite(onset.foot):
        return f"{zero}, with a confidence of 95 %"
    later = f"the first foot is passed {onset.foot - onset.zero:.3f} s later"
    return f"{zero}; {later}, and times with rollout are good to {onset.foot_within:.3f} s; with a confidence of 95 %"


def _check_pace(log: _Log, speed: _Series) -> None:
    """Refuse a log whose time cannot be in the unit that it names."""
    gain, step, lasts = float(np.ptp(speed.values)), speed.step, float(np.ptp(speed.time))
    fastest, mean = float(np.abs(np.diff(speed.values) / np.diff(speed.time)).max()), gain / lasts
    if gain > MOVED_OFF and (mean > FASTEST or (fastest < SLOWEST and step >= COARSE)):
        pace, unit = (mean, "s") if mean > FASTEST else (fastest, "ms")
        why = f"has {step:.4g} s between samples, and a speed that changes by {pace:.2g} m/s^2, which no car does"
        raise log.refuse("time", "", why, f"check its unit, or give --unit time={unit}")


def _understood(series: Sequence[_Series], base: Array) -> Iterator[str]:
    for s in series:
        yield f"{s.role.replace('_', ' ')}: {s.label}, {s.time.size} samples, {s.step:.4g} s apart"
    if not all(np.array_equal(s.time, base) for s in series):
        step = float(np.median(np.diff(base)))
        yield f"one time base, {step:.4g} s apart; straight between samples, gears held, nothing extrapolated"


# --- the run in the log ---


def _starts(speed: Array) -> NDArray[np.intp]:
    """Indices of the samples from which speed rises out of rest until the car has moved off in earnest."""
    rest = speed <= AT_REST
    leaving: NDArray[np.intp] = np.flatnonzero(rest[:-1] & ~rest[1:])
    launched = leaving[np.maximum.reduceat(speed, leaving) >= MOVED_OFF] if leaving.size else leaving
    turns = np.concatenate([[0], 1 + np.flatnonzero(np.diff(speed) <= 0.0)])  # where a rise can begin
    return turns[np.searchsorted(turns, launched, side="right") - 1]


@dataclass(frozen=True)
class _Run:
    """First and last sample of a run, its time zero [s], and how they were found."""

    first: int
    last: int
    zero: float
    account: tuple[str, ...]
    onset: Onset | None = None

    @property
    def from_rest(self) -> bool:
        """Whether the car stands before it."""
        return self.onset is not None


def _run(log: _Log, time: Array, speed: Array, own: _Series) -> _Run:
    """The run that is wanted, from speeds on the common time base and from the speed's own samples."""
    starts, wanted = _starts(speed), log.options.start
    later = starts[time[starts] >= (-inf if wanted is None else wanted)]
    if wanted is not None and not later.size:
        known = ", ".join(f"{time[n]:.4g} s" for n in starts[:_MOST_NAMES]) or "no time"
        why = "is after the last time that the car moves off from rest"
        raise log.refuse("--start", f"{wanted:g} s", why, f"it moves off at {known}")
    if not later.size:
        account = ("does not start from rest; time zero is the first sample",)
        return _Run(0, _highest(log, speed, 0, speed.size), float(time[0]), account)
    first = int(later[0])
    moving = first + int(np.argmax(speed[first:] > AT_REST))
    standing = moving + np.flatnonzero(speed[moving:] <= AT_REST)
    last = _highest(log, speed, first, int(standing[0]) if standing.size else speed.size)
    onset = moving_off(own.time, own.values, _own_first(own, float(time[first])), AT_REST)
    zero, first = onset.zero, int(np.searchsorted(time, onset.zero, side="right")) - 1
    length = f"{time[last] - zero:.4g} s"
    account = (f"moves off at {round(zero, 3):.8g} s of the log, which is time zero; highest speed after {length}",)
    more = (f"{starts.size} runs from rest in this log; --start takes a later one",) if starts.size > 1 else ()
    return _Run(first, last, zero, (*account, *more), onset)


def _own_first(own: _Series, time: float) -> int:
    """The last of a channel's own samples up to a time."""
    return max(int(np.searchsorted(own.time, time, side="right")) - 1, 0)


def _highest(log: _Log, speed: Array, first: int, end: int) -> int:
    last = first + int(np.argmax(speed[first:end]))
    if last == first:
        raise log.refuse("speed", "", "does not rise", f"name another channel with {_flag(Role.SPEED)}, or log a run")
    return last


def _cut(log: _Log, time: Array, kept: dict[str, Array], run: _Run) -> Trace:
    if run.from_rest:
        kept["speed"][0] = 0.0
    distance = kept.pop("distance", None)
    if distance is not None and not np.isfinite(distance).all():
        log.notes.append("distance does not cover the run; it is taken from speed")
    elif distance is not None and not _shows_foot(time, distance - distance[0], run.onset):
        log.notes.append("distance does not show the first foot where the speed does; it is taken from speed")
    elif distance is not None:
        kept["distance"] = distance - distance[0]
    if "distance" not in kept and run.onset is not None and run.onset.foot in time:
        kept["distance"] = _through_foot(time, kept["speed"], run.onset.foot)
    return Trace(time - run.zero, kept)


def _shows_foot(time: Array, distance: Array, onset: Onset | None) -> bool:
    """Whether a logged distance passes one foot about when the speed says so; coarse ones do not."""
    if onset is None or not isfinite(onset.foot):
        return True
    passed = first_time(Trace(time, {"distance": distance}), "distance", FOOT)
    return bool(abs(passed - onset.foot) <= onset.foot_within + _SAME_FOOT)


def _through_foot(time: Array, speed: Array, foot: float) -> Array:
    """Distance from speed that is one foot at the time at which the car has moved one foot [m]."""
    summed = np.concatenate([[0.0], np.cumsum(0.5 * (speed[1:] + speed[:-1]) * np.diff(time))])
    there = float(summed[np.searchsorted(time, foot)])
    before = np.maximum(np.maximum.accumulate(summed), 0.0) * (FOOT / there if there > 0.0 else 0.0)
    return np.where(time < foot, np.minimum(before, FOOT), FOOT + summed - there)
