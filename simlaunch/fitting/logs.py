"""Logs made ready for a fit: the samples that count, their noise, and what speaks against a log."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from enum import Enum
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from simlaunch.choices import chosen
from simlaunch.launching.ready import runs_in_gear
from simlaunch.metrics.ceiling import driven_axles
from simlaunch.physics.body import GRAVITY
from simlaunch.readers.delimited import refusal, shown
from simlaunch.readers.log import LogAccount, LogOptions, read_channels
from simlaunch.readers.noise import FEWEST, as_measured, noise_of
from simlaunch.record import Car
from simlaunch.simulation.histories import FOLLOWED
from simlaunch.simulation.rolling import engine_speed_in
from simlaunch.stretches import stretches_of

Array = NDArray[np.float64]

SLOWEST = 0.5
"""Slower samples are left out: sensors of speed are dead there [m/s]."""

LAST = 0.15
"""The last stretch before the highest speed is left out: the driver may be lifting already [s]."""

MOST = 4000
"""Of a channel with more samples in the run, every second, third and so on is used."""

LONGEST_FALL = 0.7
"""Speed that falls for longer, by more than `DEEPEST_FALL`, is no gear change [s]."""

DEEPEST_FALL = 1.0
"""[m/s]"""

_STEADY = 0.5  # before the start of a pull is used [s]
_ROLL_STEP = 0.05  # in which a pull is looked for [s]
_HARDLY = 0.2  # of the later gain of speed: less of it is steady rolling [-]
_SMOOTHED = 0.3  # over which the largest acceleration is looked for [s]
_COASTING = 3.0  # over which a coasting speed is smoothed to see where it falls [s]
_BEYOND_GRIP = 1.25
_SAME = 0.01  # a speed this near to that of wheels that slip is theirs
_SLIPPING = 0.05
_TILTED = 0.03  # of gravity


class Kind(Enum):
    """What was driven."""

    LAUNCH = "launch"
    ROLL = "roll"
    COAST_DOWN = "coast-down"


@dataclass(frozen=True)
class LogRequest:
    """A log that is to be fitted, and what is known of its run.

    Parameters
    ----------
    path : path-like
        The log.
    kind : Kind
        What was driven; may be given as text.
    curve : str or None
        Full-load curve; None for the first of the scenario.
    changes : mapping of str to object
        What was different on that day, as `changed` takes it.
    options : LogOptions
        How it is read.
    until : float or None
        The run is used up to this time after moving off [s].
    rollout : bool
        Whether the log begins once the car has rolled for about a foot.
    noise : float or None
        Standard deviation of its speed; None to find it [m/s].
    gear : int or None
        Gear in which a roll begins, first is 1; None to find it [-].
    """

    path: str | os.PathLike[str]
    kind: Kind | str = Kind.LAUNCH
    curve: str | None = None
    changes: Mapping[str, object] = field(default_factory=dict)
    options: LogOptions = field(default_factory=LogOptions)
    until: float | None = None
    rollout: bool = False
    noise: float | None = None
    gear: int | None = None

    def __post_init__(self) -> None:
        """Take text for the kind."""
        object.__setattr__(self, "kind", chosen(Kind, self.kind, "kind of log"))


@dataclass(frozen=True)
class Channel:
    """Samples of one channel that count.

    Parameters
    ----------
    name : str
        One of `FOLLOWED`.
    time : ndarray, shape (n,)
        In the time of the log [s].
    values : ndarray, shape (n,)
        SI units.
    noise : float
        Standard deviation of a sample, SI units.
    """

    name: str
    time: Array
    values: Array
    noise: float


@dataclass(frozen=True)
class Log:
    """A log made ready.

    Parameters
    ----------
    request : LogRequest
        What was asked.
    source : str
        The file, for messages.
    account : LogAccount
        How it was understood.
    channels : tuple of Channel
        Speed first.
    zero : float
        When the car seems to be let go, in the time of the log [s].
    end : float
        Last sample that counts [s].
    warnings : tuple of str
        What speaks against the log without deciding.
    pulls_at_once : bool
        Whether a roll is in full pull from its first sample, so that only that sample can be its start.
    """

    request: LogRequest
    source: str
    account: LogAccount
    channels: tuple[Channel, ...]
    zero: float
    end: float
    warnings: tuple[str, ...]
    pulls_at_once: bool = False

    @property
    def kind(self) -> Kind:
        """What was driven."""
        return Kind(self.request.kind)

    @property
    def duration(self) -> float:
        """How long the run is, with some room [s]."""
        return self.end - self.zero + 1.0

    @property
    def speed(self) -> Channel:
        """The speed of the car."""
        return self.channels[0]


def read_run(request: LogRequest, car: Car) -> Log:
    """Read a log and make it ready.

    Parameters
    ----------
    request : LogRequest
        Which log, and what is known of it.
    car : Car
        The car that is said to have driven it, complete.

    Returns
    -------
    Log
        The samples that count.

    Raises
    ------
    InputError
        The log cannot be used; the message says why and what to do.
    """
    coasts, rolls = request.kind is Kind.COAST_DOWN, request.kind is Kind.ROLL
    options = _whole(request.options) if coasts or rolls else request.options
    account, source = read_channels(request.path, options), shown(Path(request.path))
    if not coasts:
        _refuse_wheel_speed(account, source, car)
    if rolls:
        return _roll(request, account, source, car)
    begin, end = _coasting_span(account, source) if coasts else _launch_span(account, request, source)
    if coasts and request.until is not None:
        end = min(end, account.zero + request.until)
    names = ("speed",) if coasts else FOLLOWED
    begins = {"engine_speed": min(begin, account.zero)}  # it is alive while the car hardly moves, and shows the launch
    channels = tuple(_channel(name, account, begins.get(name, begin), end) for name in names if name in account.samples)
    channels = _sufficient(channels, request, source)
    log = Log(request, source, account, channels, begin if coasts else account.zero, end, ())
    warnings = () if coasts else tuple(_doubts(log, car))
    return Log(request, source, account, channels, log.zero, end, warnings)


def _sufficient(channels: tuple[Channel, ...], request: LogRequest, source: str) -> tuple[Channel, ...]:
    """Channels with enough samples in the run; the speed with the noise that was stated."""
    if channels[0].time.size < FEWEST:
        why = f"has {channels[0].time.size} samples in its run; a fit needs {FEWEST} at least"
        raise refusal(source, "speed", "", why, "log faster, or use a longer run")
    channels = tuple(channel for channel in channels if channel.time.size >= FEWEST)
    if request.noise is not None:
        channels = (Channel("speed", channels[0].time, channels[0].values, request.noise), *channels[1:])
    return channels


def _whole(options: LogOptions) -> LogOptions:
    return LogOptions(options.channels, options.units, options.radii, options.start, whole=True, table=options.table)


# --- the run ---


def _roll(request: LogRequest, account: LogAccount, source: str, car: Car) -> Log:
    """A pull from a steady speed."""
    time, speed = account.samples["speed"]
    start, at_once = _start_of_pull(time, speed, source)
    last = float(time[int(np.argmax(np.where(time >= start, speed, -np.inf)))])
    end = min(last - LAST, np.inf if request.until is None else start + request.until)
    run = (time >= start) & (time <= (last if request.until is None else end))
    _refuse_lift(time[run], speed[run], start, source)
    begin = start if at_once else start - _STEADY
    channels = tuple(_channel(name, account, begin, end) for name in FOLLOWED if name in account.samples)
    log = Log(request, source, account, _sufficient(channels, request, source), start, end, (), at_once)
    return replace(log, warnings=tuple(_doubts(log, car)))


def _start_of_pull(time: Array, speed: Array, source: str) -> tuple[float, bool]:
    """When the driver asks for all there is, and whether the log holds nothing before that.

    It is the end of the last stretch, longer than any gear change, in which the car hardly gains speed beside what it
    gains later on. A car near its top speed hardly gains speed either, but gains no more later on.
    """
    grid = np.arange(time[0], time[-1], _ROLL_STEP)
    if grid.size < FEWEST:
        raise refusal(source, "speed", "", f"lasts {float(np.ptp(time)):.2f} s", "log a longer pull")
    smooth = uniform_filter1d(np.interp(grid, time, speed), round(_SMOOTHED / _ROLL_STEP))
    gain = np.gradient(smooth, _ROLL_STEP)
    top = int(np.argmax(smooth))
    most = np.maximum.accumulate(gain[: top + 1][::-1])[::-1]
    steady = stretches_of(gain[: top + 1] < _HARDLY * most)
    stretches = [(a, b) for a, b in steady if (b - a) * _ROLL_STEP > LONGEST_FALL and b <= top]
    if not stretches:
        return float(time[0]), True
    start = float(grid[stretches[-1][1]])
    if float(np.interp(start, time, speed)) <= 2.0 * SLOWEST:
        why = "starts from rest, or nearly so"
        raise refusal(source, "speed", "", why, "give it with --log: it is a launch")
    return start, False


def gears_of_roll(log: Log, car: Car) -> tuple[int, ...]:
    """Gears in which a roll may begin, first is 1: the one that was stated, that the engine speed shows, or all likely.

    Parameters
    ----------
    log : Log
        A roll.
    car : Record
        The car that is said to have driven it.

    Returns
    -------
    tuple of int
        At least one [-].

    Raises
    ------
    InputError
        The engine runs in no gear at that speed, or not in the one that was stated.
    """
    speed = start_speed(log)
    fitting = tuple(gear for gear in range(1, int(car.gearbox.count) + 1) if runs_in_gear(car, gear, speed))
    if log.request.gear is not None and log.request.gear in fitting:
        return (log.request.gear,)
    if not fitting or log.request.gear is not None:
        which = f"gear {log.request.gear}" if log.request.gear is not None else "any gear"
        why = f"begins at {3.6 * speed:.0f} km/h, where the engine of the scenario does not run in {which}"
        raise refusal(log.source, "speed", "", why, "check the unit of the speed, the gears and the tyres")
    engine = next((channel for channel in log.channels if channel.name == "engine_speed"), None)
    if engine is None:
        return fitting
    near = (engine.time >= log.zero - _STEADY) & (engine.time <= log.zero + _STEADY)
    if not near.any():
        return fitting
    turns = float(np.median(engine.values[near]))
    return (min(fitting, key=lambda gear: abs(np.log(turns / engine_speed_in(car, gear - 1, speed)))),)


def start_speed(log: Log) -> float:
    """Speed at which a roll begins, as the samples about its start show it [m/s]."""
    time, values = log.speed.time, log.speed.values
    near = np.abs(time - log.zero) <= _STEADY if not log.pulls_at_once else time <= log.zero + 2.0 * _STEADY
    if near.sum() < 3:
        return float(values[:3].mean())
    if log.pulls_at_once:
        return float(np.polyfit(time[near] - log.zero, values[near], 1)[-1])
    before = near & (time <= log.zero)
    return float(values[before].mean() if before.any() else values[near].min())


def _launch_span(account: LogAccount, request: LogRequest, source: str) -> tuple[float, float]:
    """First and last time that count in a launch [s]."""
    time, speed = account.samples["speed"]
    zero, last = account.zero, account.zero + float(account.trace.time[-1])
    end = min(last - LAST, zero + (np.inf if request.until is None else request.until))
    run = (time >= zero) & (time <= (last if request.until is None else end))
    if not account.from_rest and not request.rollout:
        at = f"{account.trace['speed'][0] * 3.6:.1f} km/h"
        why = f"starts rolling, at {at}; a fit needs a run from rest"
        instead = (
            "log the start too; give --rollout if the log begins one foot after it, --roll for a pull from a steady "
            "speed, or --coast-down for a coast-down"
        )
        raise refusal(source, "speed", "", why, instead)
    _refuse_lift(time[run], speed[run], zero, source)
    standing = time[run & (speed <= SLOWEST)]
    begin = float(standing[-1]) if standing.size else zero
    return np.nextafter(begin, np.inf), end


def _falls(time: Array, speed: Array, length: float) -> list[tuple[int, int]]:
    """First and last sample of every stretch in which speed, smoothed over a length [s], falls."""
    step = float(np.median(np.diff(time)))
    smooth = uniform_filter1d(speed, max(1, round(length / step)))
    return stretches_of(np.diff(smooth) < 0.0)


def _refuse_lift(time: Array, speed: Array, zero: float, source: str) -> None:
    """Refuse a run in which the driver lifts: speed falls for longer than any gear change."""
    if time.size < FEWEST:
        return
    for first, last in _falls(time, speed, _SMOOTHED):
        if time[last] - time[first] > LONGEST_FALL and speed[first] - speed[last] > DEEPEST_FALL:
            when = f"from {time[first] - zero:.1f} s to {time[last] - zero:.1f} s after moving off"
            fall = 3.6 * (speed[first] - speed[last])
            why = f"falls by {fall:.0f} km/h {when}: the driver lifts or brakes, or these are wheels that spin"
            instead = f'use the run before that, --until "{max(time[first] - zero - _SMOOTHED, 0.5):.1f} s"'
            raise refusal(source, "speed", "", why, instead)


def _coasting_span(account: LogAccount, source: str) -> tuple[float, float]:
    """First and last time of the longest stretch in which speed falls [s]."""
    time, speed = account.samples["speed"]
    spans = list(_falls(time, speed, _COASTING)) if time.size >= FEWEST else []
    first, last = max(spans, key=lambda span: speed[span[0]] - speed[span[1]], default=(0, 0))
    if speed[first] - speed[last] < 3.0 * DEEPEST_FALL:
        why = f"falls by {3.6 * (speed[first] - speed[last]):.1f} km/h at most, which is no coast-down"
        raise refusal(source, "speed", "", why, "log the car coasting in neutral from a high speed")
    rolling = (time >= time[first] + _COASTING) & (time <= time[last] - _COASTING) & (speed > 2.0 * SLOWEST)
    ends = time[rolling][[0, -1]] if rolling.any() else time[[first, last]]  # smoothing blurs where it begins
    return float(ends[0]), float(ends[1])


# --- samples and their noise ---


def _channel(name: str, account: LogAccount, begin: float, end: float) -> Channel:
    time, values = account.samples[name]
    kept = (time >= begin) & (time <= end)
    time, values = as_measured(time[kept], values[kept])
    thinned = -(-time.size // MOST) if time.size else 1
    return Channel(name, time[::thinned], values[::thinned], noise_of(time, values))


# --- what speaks against a log ---


def _doubts(log: Log, car: Car) -> Iterator[str]:
    """What speaks against a log before anything is fitted; a log that cannot be used is refused."""
    _refuse_beyond_grip(log, car)
    yield from _tilt(log)


def _refuse_wheel_speed(account: LogAccount, source: str, car: Car) -> None:
    """Refuse a speed that is that of driven wheels, slip included."""
    driven, samples = driven_axles(car), account.samples
    ends = {"front": float(car.front.radius), "rear": float(car.rear.radius)}
    if all(driven) or not {f"wheel_speed_{end}" for end in ends} <= set(samples):
        return
    pulled, free = ("front", "rear") if driven[0] else ("rear", "front")
    time, speed = samples["speed"]
    rims = {end: np.interp(time, *samples[f"wheel_speed_{end}"]) * radius for end, radius in ends.items()}
    slips = (rims[pulled] > (1.0 + _SLIPPING) * rims[free]) & (rims[free] > SLOWEST)
    if slips.sum() >= FEWEST and np.median(np.abs(speed[slips] / rims[pulled][slips] - 1.0)) < _SAME:
        why = f"is that of the {pulled} wheels, which are driven and slip"
        raise refusal(source, "speed", "", why, f"name another with --channel speed=NAME, such as the {free} wheels")


def _refuse_beyond_grip(log: Log, car: Car) -> None:
    """Refuse a speed that rises faster than any grip of these tyres allows."""
    time, speed = log.speed.time, log.speed.values
    grid = np.arange(time[0], time[-1], 0.02)
    smooth = np.interp(grid + _SMOOTHED, time, speed) - np.interp(grid, time, speed)
    most = float(smooth[: max(1, grid.size - round(_SMOOTHED / 0.02))].max()) / _SMOOTHED
    friction = max(float(end.friction) for end in (car.front, car.rear)) * float(car.road.friction_factor)
    limit = _BEYOND_GRIP * friction * GRAVITY
    if most > limit:
        where = float(grid[int(np.argmax(smooth))]) - log.zero
        why = (
            f"rises by {most:.1f} m/s^2 {where:.1f} s after moving off; the tyres of the scenario allow "
            f"{friction * GRAVITY:.1f} m/s^2 at most"
        )
        instead = "name a speed that is not that of spinning wheels, check its unit, or raise the friction of the tyres"
        raise refusal(log.source, "speed", "", why, instead)


def _tilt(log: Log) -> Iterator[str]:
    """Grade that an accelerometer feels and the speed does not."""
    if "acceleration" not in log.account.samples:
        return
    time, values = log.account.samples["acceleration"]
    kept = (time >= log.speed.time[0]) & (time <= log.end)
    if kept.sum() < FEWEST:
        return
    felt = float(np.trapezoid(values[kept], time[kept]))
    first, last = (float(np.interp(end, log.speed.time, log.speed.values)) for end in time[kept][[0, -1]])
    tilt = (felt - (last - first)) / float(np.ptp(time[kept])) / GRAVITY
    if abs(tilt) > _TILTED:
        way = "downhill" if tilt < 0.0 else "uphill"
        yield (
            f"the accelerometer reads {abs(tilt):.1%} of gravity {'more' if tilt > 0.0 else 'less'} than the speed "
            f"gains: the road goes {way}, or the sensor does not lie level; give the grade with "
            "--for-log if it is known"
        )
