"""When a channel of a trace passes a value, and what value it has at a time."""

from __future__ import annotations

from math import isfinite, nan
from typing import NamedTuple

import numpy as np

from simlaunch.compiled import entry, inline, part
from simlaunch.metrics.samples import Samples, empty_samples, first_from
from simlaunch.simulation.trace import Trace

_SLOPE = {"distance": "speed", "speed": "acceleration"}
"""The channel that is another channel's rate of change."""

_SHORT_OF = 1e-9  # a trace that stops this share short of a value, by rounding, has reached it
_SAME_SHARE = 1e-14  # a root between two samples is found once it moves by less than this
_MOST_TRIALS = 100


POINT = np.dtype([("time", "f8"), ("value", "f8"), ("slope", "f8")])
"""One sample of a channel that is followed from sample to sample; slope: its rate of change, nan where not known."""


class Passing(NamedTuple):
    """When a value was passed upward, and where to look for a greater one."""

    value: float
    time: float  # nan: never [s]
    sample: int  # no greater value is passed before this sample


class _Cubic(NamedTuple):
    """Course of a channel between two samples, over the share of the time between them."""

    constant: float
    linear: float
    square: float
    cube: float


def curve_of(trace: Trace, channel: str) -> Samples:
    """The sound samples of a channel, with its rate of change where the trace has that too.

    Parameters
    ----------
    trace : Trace
        Simulated or logged.
    channel : str
        Name of the channel.

    Returns
    -------
    ndarray of `POINT`, shape (n,)
        Samples at which the channel is a number.

    Raises
    ------
    UsageError
        The trace has no such channel.
    """
    value = trace[channel]
    curve = empty_samples(POINT, value.size)
    curve.time, curve.value = trace.time, value
    curve.slope = trace.channels.get(_SLOPE.get(channel, ""), np.nan)
    return curve[np.isfinite(value)]


@inline
def _cubic(curve: Samples, i: int) -> _Cubic:
    """Hermite's cubic after sample i; a straight line where a slope is not known."""
    here, there = curve[i], curve[i + 1]
    start, rise = here.value, there.value - here.value
    step = there.time - here.time
    first, last = step * here.slope, step * there.slope
    if not isfinite(first + last):
        return _Cubic(start, rise, 0.0, 0.0)
    return _Cubic(start, first, 3.0 * rise - 2.0 * first - last, first + last - 2.0 * rise)


@inline
def _at(cubic: _Cubic, share: float) -> float:
    return cubic.constant + share * (cubic.linear + share * (cubic.square + share * cubic.cube))


@inline
def _slope_at(cubic: _Cubic, share: float) -> float:
    return cubic.linear + share * (2.0 * cubic.square + 3.0 * share * cubic.cube)


@part
def _share_at(cubic: _Cubic, value: float, guess: float) -> float:
    """Share of the way at which a cubic that begins below a value and ends above it has risen to it.

    Newton's steps, and halving of what is left wherever such a step would leave it or hardly shortens it.
    """
    low, high, share, last_move = 0.0, 1.0, guess, 1.0
    for _ in range(_MOST_TRIALS):
        excess = _at(cubic, share) - value
        if excess == 0.0:
            return share
        if excess < 0.0:
            low = share
        else:
            high = share
        slope = _slope_at(cubic, share)
        follower = share - excess / slope if slope > 0.0 else low
        if not (low < follower < high and abs(follower - share) <= 0.5 * last_move):
            follower = 0.5 * (low + high)
        last_move = abs(follower - share)
        share = follower
        if last_move <= _SAME_SHARE:
            return share
    return share


@part
def _passing_time(curve: Samples, i: int, value: float) -> float:
    """Time between samples i and i + 1 at which the value is passed upward [s]."""
    start, end = curve[i].time, curve[i + 1].time
    cubic = _cubic(curve, i)
    if cubic.constant == value:
        return start
    if end == start or _at(cubic, 1.0) <= value:
        return end
    guess = (value - curve[i].value) / (curve[i + 1].value - curve[i].value)
    return start + (end - start) * _share_at(cubic, value, guess)


@part
def passing(curve: Samples, value: float, after: float, begin: int) -> Passing:
    """First passing of a value upward.

    Parameters
    ----------
    curve : ndarray of `POINT`, shape (n,)
        What passes it.
    value : float
        Value to pass [unit of channel].
    after : float
        Nothing before this time counts [s].
    begin : int
        Sample before which it is known not to be passed [-].

    Returns
    -------
    Passing
        Its time; nan where the value is never passed [s].
    """
    last = len(curve) - 1
    only_below = begin > last or curve[begin].value <= value
    for i in range(begin, last):
        low, high = curve[i].value, curve[i + 1].value
        if high < value:
            continue
        if curve[i + 1].time >= after and (low < value or low == value < high):
            time = _passing_time(curve, i, value)
            if time >= after:
                return Passing(value, time, i if only_below else begin)
        only_below = only_below and high == value
    place = last if only_below else begin
    if last >= 0 and curve[last].time >= after and 0.0 < value - curve[last].value <= _SHORT_OF * abs(value):
        return Passing(value, curve[last].time, place)
    return Passing(value, nan, place)


@part
def next_passing(curve: Samples, value: float, known: Passing) -> Passing:
    """First passing of a value upward from time zero on, with the help of a passing that is known already.

    Parameters
    ----------
    curve : ndarray of `POINT`, shape (n,)
        What passes it.
    value : float
        Value to pass [unit of channel].
    known : Passing
        Of the same curve, from time zero on; it shortens the way to any greater value.

    Returns
    -------
    Passing
        Its time; nan where the value is never passed [s].
    """
    return passing(curve, value, 0.0, known.sample if value >= known.value else 0)


@part
def curve_at(curve: Samples, time: float) -> float:
    """Value of a curve at a time; at a jump, the value after it.

    Parameters
    ----------
    curve : ndarray of `POINT`, shape (n,)
        The curve.
    time : float
        Time [s].

    Returns
    -------
    float
        Value; nan before the first and after the last sample [unit of channel].
    """
    last = len(curve) - 1
    if last < 0 or not curve[0].time <= time <= curve[last].time:
        return nan
    i = first_from(curve, time)
    while i < last and curve[i + 1].time <= time:
        i += 1
    if curve[i].time > time:
        i -= 1
    if i == last:
        return float(curve[i].value)
    return _at(_cubic(curve, i), (time - curve[i].time) / (curve[i + 1].time - curve[i].time))


@entry
def _first_time(curve: Samples, value: float, after: float) -> float:
    return passing(curve, value, after, 0).time


@entry
def _value_at(curve: Samples, time: float) -> float:
    return curve_at(curve, time)


def first_time(trace: Trace, channel: str, value: float, after: float = 0.0) -> float:
    """First time at which a channel passes a value upward.

    Distance and speed are followed between samples by a cubic where their rate of change is known too,
    anything else by a straight line. Samples that share a time are a jump, passed at that time.

    Parameters
    ----------
    trace : Trace
        Simulated or logged.
    channel : str
        Name of the channel.
    value : float
        Value to pass [unit of channel].
    after : float
        Nothing before this time counts [s].

    Returns
    -------
    float
        Time; nan where the value is never passed [s].

    Raises
    ------
    UsageError
        The trace has no such channel.
    """
    return _first_time(curve_of(trace, channel), float(value), float(after))


def value_at(trace: Trace, channel: str, time: float) -> float:
    """Value of a channel at a time; at a jump, the value after it.

    Parameters
    ----------
    trace : Trace
        Simulated or logged.
    channel : str
        Name of the channel.
    time : float
        Time [s].

    Returns
    -------
    float
        Value; nan before the first and after the last sample [unit of channel].

    Raises
    ------
    UsageError
        The trace has no such channel.
    """
    return _value_at(curve_of(trace, channel), float(time))


def with_distance(trace: Trace) -> Trace:
    """The same trace with a distance, integrated from speed where it has none, and zero at time zero.

    Parameters
    ----------
    trace : Trace
        Simulated or logged; acceleration, where there is any, makes the integral closer.

    Returns
    -------
    Trace
        With a channel `distance` [m].

    Raises
    ------
    UsageError
        The trace has no speed either.
    """
    if "distance" in trace:
        return trace
    curve = curve_of(trace, "speed")
    step = np.diff(curve.time)
    piece = 0.5 * step * (curve.value[:-1] + curve.value[1:])
    piece -= step**2 * np.nan_to_num(np.diff(curve.slope)) / 12.0  # what the trapezoid leaves out
    distance = np.interp(trace.time, curve.time, np.concatenate([[0.0], np.cumsum(piece)]))
    whole = Trace(trace.time, {**trace.channels, "distance": distance}, trace.events)
    zero = np.nan_to_num(value_at(whole, "distance", 0.0))
    return Trace(trace.time, {**trace.channels, "distance": distance - zero}, trace.events)
