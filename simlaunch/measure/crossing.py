"""When a channel of a trace passes a value, and what value it has at a time."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from simlaunch.launch.trace import Trace

Array = NDArray[np.float64]

_SLOPE = {"distance": "speed", "speed": "acceleration"}
"""The channel that is another channel's rate of change."""

_SHORT_OF = 1e-9  # a trace that stops this share short of a value, by rounding, has reached it


class _Curve(NamedTuple):
    """The sound samples of one channel."""

    time: Array
    value: Array
    slope: Array  # nan where it is not known


class _Cubic(NamedTuple):
    """Course of a channel between two samples, over the share of the time between them."""

    constant: float
    linear: float
    square: float
    cube: float

    def at(self, share: float) -> float:
        return self.constant + share * (self.linear + share * (self.square + share * self.cube))


def _curve(trace: Trace, channel: str) -> _Curve:
    value = trace[channel]
    slope = trace.channels.get(_SLOPE.get(channel, ""))
    if slope is None:
        slope = np.full(value.shape, np.nan)
    sound = np.isfinite(value)
    return _Curve(trace.time[sound], value[sound], slope[sound])


def _cubic(curve: _Curve, i: int) -> _Cubic:
    """Hermite's cubic after sample i; a straight line where a slope is not known."""
    start, rise = float(curve.value[i]), float(curve.value[i + 1] - curve.value[i])
    step = float(curve.time[i + 1] - curve.time[i])
    first, last = step * float(curve.slope[i]), step * float(curve.slope[i + 1])
    if not np.isfinite(first + last):
        return _Cubic(start, rise, 0.0, 0.0)
    return _Cubic(start, first, 3.0 * rise - 2.0 * first - last, first + last - 2.0 * rise)


def _passing_time(curve: _Curve, i: int, value: float) -> float:
    """Time between samples i and i + 1 at which the value is passed upward [s]."""
    start, end = float(curve.time[i]), float(curve.time[i + 1])
    cubic = _cubic(curve, i)
    if curve.value[i] == value:
        return start
    if end == start or cubic.at(1.0) <= value:
        return end
    return start + (end - start) * float(brentq(lambda share: cubic.at(share) - value, 0.0, 1.0, xtol=1e-14))


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
    curve = _curve(trace, channel)
    low, high = curve.value[:-1], curve.value[1:]
    passes = ((low < value) & (high >= value)) | ((low == value) & (high > value))
    for i in np.flatnonzero(passes & (curve.time[1:] >= after)):
        time = _passing_time(curve, int(i), value)
        if time >= after:
            return time
    if curve.time.size and curve.time[-1] >= after and 0.0 < value - curve.value[-1] <= _SHORT_OF * abs(value):
        return float(curve.time[-1])
    return float("nan")


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
    curve = _curve(trace, channel)
    if curve.time.size == 0 or not curve.time[0] <= time <= curve.time[-1]:
        return float("nan")
    i = int(np.searchsorted(curve.time, time, side="right")) - 1
    if i == curve.time.size - 1:
        return float(curve.value[i])
    return _cubic(curve, i).at((time - float(curve.time[i])) / float(curve.time[i + 1] - curve.time[i]))


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
    curve = _curve(trace, "speed")
    step = np.diff(curve.time)
    piece = 0.5 * step * (curve.value[:-1] + curve.value[1:])
    piece -= step**2 * np.nan_to_num(np.diff(curve.slope)) / 12.0  # what the trapezoid leaves out
    distance = np.interp(trace.time, curve.time, np.concatenate([[0.0], np.cumsum(piece)]))
    whole = Trace(trace.time, {**trace.channels, "distance": distance}, trace.moments)
    zero = np.nan_to_num(value_at(whole, "distance", 0.0))
    return Trace(trace.time, {**trace.channels, "distance": distance - zero}, trace.moments)
