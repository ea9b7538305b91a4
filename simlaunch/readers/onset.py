"""When a logged car moved off, and when it had moved one foot, through the noise of its speed sensor.

The first movement is hidden by noise, or by a sensor that shows nothing below some speed, so it is extrapolated from
samples that are well above both. Until it reaches 2 m/s, a car is taken to gain speed by

    v(t) = a integral from t_0 to t of r(min((s - t_0) / T, 1)) ds,  r(x) = x^(1/2), x, or 3 x^2 - 2 x^3

so that its acceleration rises to a within T, at first fast, evenly, or gently; T = 0 is a start without a ramp. How a
driver, a clutch or a converter does it is not known: all three shapes count alike, three tenths of the weight are on
T = 0, and the rest falls off with exp(-T / 0.5 s). Of each t_0, T and shape, the best a is found by least squares, and
its weight is the likelihood of the samples, each of which may be off by its noise, and all of them together by 3 % of
the speed. Time zero and the time of the first foot are means over these weights, so that their scatter takes in what
noise leaves open and what the shape leaves open.

Samples at rest count as speeds of zero. Where they are equal to the last digit they hold no noise, and the sensor may
be one that shows nothing below some speed; then the last of them only says that the car was no faster than the first
speed that is shown. A sensor that shows something at rest (the size of its noise) shows the root of the sum of squares
of that and the speed. A log without noise is not fitted: the parabola through its first three moving samples begins
at its root. Nor is one fitted that is shown only once the car is fast, or in samples that are too few.

Source: Bayes' rule, with a flat weight of a; the first foot is the rollout of the drag strip (common practice).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, nan, sqrt

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr

from simlaunch.readers.noise import as_measured, noise_of, spread_of
from simlaunch.record import FOOT

Array = NDArray[np.float64]

FAST = 2.0
"""Up to this speed a start is fitted [m/s]."""

QUIET = 1e-3
"""A speed that scatters by less has no noise [m/s]."""

DEVIATIONS = 2.0
"""Half the width of an interval of 95 %, in standard deviations [-]."""

_BEFORE = 1.5  # what is looked at before the car seems to move [s]
_FEWEST, _LONGEST = 5, 1.0  # samples that are fitted where a car is fast at once, but no longer than this [-], [s]
_NEW = 0.7  # of the samples of a fine display differ from all others [-]
_LOOKED_AT = 60  # samples that show noise or a coarse display
_EVEN = 4  # fewer moving samples are not fitted
_USUAL_STEP = 0.01  # samples that are closer are averaged [s]
_AT_REST = 0.3  # before the car seems to move, which is surely at rest [s]
_SLOWEST_RAMP, _USUAL_RAMP, _AT_ONCE = 2.0, 0.5, 0.3  # longest T, its scale [s], and the weight of T = 0 [-]
_RAMPS = np.concatenate([[0.0], np.geomspace(0.02, _SLOWEST_RAMP, 24)])
_RATHER = np.gradient(_RAMPS[1:]) * np.exp(-_RAMPS[1:] / _USUAL_RAMP)
_WEIGHTS = np.concatenate([[_AT_ONCE], (1.0 - _AT_ONCE) * _RATHER / _RATHER.sum()])
_COARSE, _FINE = 60, 61  # times that are tried, in two rounds
_UNLIKELY = 1e-6  # as a share of the likeliest
_SHAPES_GOOD_TO = 0.03  # of the speed [-]
_ANY_SHAPE = (0.01, 0.003)  # what shapes beyond the three were seen to shift time zero and the first foot by [s]
_SLOW_GAIN = 3.0  # a car that is seen late may have gained speed as slowly as this [m/s^2]
_LEAST = 0.001  # nothing is stated to be known better [s]
_TABLE = np.linspace(0.0, 3.0, 301)  # after time zero, where a foot is looked for [s]


@dataclass(frozen=True)
class Onset:
    """When a car moved off.

    Parameters
    ----------
    zero : float
        When it moved off, in the time of the log [s].
    zero_within : float
        With a confidence of 95 % by no more than this sooner or later [s].
    foot : float
        When it had moved one foot; nan where only the speed says so [s].
    foot_within : float
        The same for that [s].
    """

    zero: float
    zero_within: float
    foot: float
    foot_within: float


@dataclass(frozen=True)
class _Start:
    """Samples about the start: those at rest, and those that follow.

    Parameters
    ----------
    rest_time, rest : ndarray
        Times [s] and speeds [m/s] at rest.
    time, speed : ndarray
        Those after it.
    noise : float
        Standard deviation of a sample [m/s].
    """

    rest_time: Array
    rest: Array
    time: Array
    speed: Array
    noise: float

    @property
    def silent(self) -> bool:
        """Whether the sensor shows the same at rest to the last digit."""
        return bool(np.ptp(self.rest) == 0.0)

    @property
    def spread(self) -> Array:
        """What a moving sample may differ by from the shapes: noise, and what all of them may be wrong by [m/s]."""
        speed = FAST * (self.time - self.rest_time[-1]) / (self.time[-1] - self.rest_time[-1])
        return np.asarray(np.sqrt(self.noise**2 + self.time.size * (_SHAPES_GOOD_TO * speed) ** 2))


def moving_off(time: Array, speed: Array, first: int, at_rest: float) -> Onset:
    """When a car moved off, and when it had moved one foot.

    Parameters
    ----------
    time : ndarray, shape (n,)
        Times of the samples [s].
    speed : ndarray, shape (n,)
        Speed of the car [m/s].
    first : int
        A sample at or shortly after the last one at rest; speed rises from there on.
    at_rest : float
        A car that is shown to be no faster stands [m/s].

    Returns
    -------
    Onset
        Times of the log, and how well they are known.
    """
    moving, _ = _as_shown(time[first:], speed[first:])
    exact = _parabola(time, speed, first)
    near = slice(first + 1, first + 1 + _LOOKED_AT)
    quiet = spread_of(time[near], speed[near]) < QUIET and not _coarse(speed[near])
    dead = exact < time[first] - 0.05 * (time[min(first + 1, time.size - 1)] - time[first])
    if (quiet and not dead) or moving.size <= _EVEN:
        return _between(time, speed, first, exact)
    start = _about(time, speed, first, at_rest)
    shown = start.time.size >= _EVEN and start.speed[0] < 2.0 * FAST
    return _fitted(start) if shown else _between(time, speed, first, exact)


def _parabola(time: Array, speed: Array, first: int) -> float:
    """Where the parabola through the first three moving samples begins to rise [s]."""
    t, v = time[first + 1 : first + 4] - time[first], speed[first + 1 : first + 4]
    if t.size < 3:
        return float(time[first])
    square, slope, constant = np.polyfit(t, v, 2).tolist()
    if abs(square) * t[0] < 1e-9 * abs(slope):  # a straight line
        roots = np.array([-constant / slope])
    else:
        spread = sqrt(max(slope * slope - 4.0 * square * constant, 0.0))  # no root: the lowest point
        roots = np.array([-slope - spread, -slope + spread]) / (2.0 * square)
    return (
        float(time[first] + roots[roots <= t[0]].max(initial=-np.inf)) if (roots <= t[0]).any() else float(time[first])
    )


def _between(time: Array, speed: Array, first: int, exact: float) -> Onset:
    """A start between two samples; where it lies between them is taken from the next ones."""
    zero = max(exact, float(time[first]))
    following = min(first + 1, time.size - 1)
    within = max(zero - float(time[first]), float(time[following]) - zero)
    if speed[following] > FAST:  # a sensor that shows nothing before hides how long the car has gained speed
        within = max(within, float(speed[following]) / _SLOW_GAIN)
    unseen = 0.5 * within * max(float(speed[following]), 0.0)  # way in that time [m]
    return Onset(zero, within, nan, min(max(unseen / FAST, _LEAST), within))


def _about(time: Array, speed: Array, first: int, at_rest: float) -> _Start:
    """Samples about a start, no closer than they need be."""
    noise = noise_of(*_as_shown(time[first:], speed[first:]))
    begin = int(np.searchsorted(time, time[first] - _BEFORE))
    moved = np.flatnonzero(speed[begin : first + 1] > at_rest + 3.0 * noise)  # it came to rest shortly before
    begin += int(moved[-1]) + 1 if moved.size and begin + moved[-1] < first else 0
    t, v = _as_shown(time[first + 1 :], speed[first + 1 :])
    fast = int(np.argmax(v > FAST)) if (v > FAST).any() else v.size - 1
    enough = min(_FEWEST, int(np.searchsorted(t, t[0] + _LONGEST, side="right")))
    end = max(fast + 1, enough)
    rest_time, rest, _ = _averaged(time[begin : first + 1], speed[begin : first + 1])
    t, v, count = _averaged(t[:end], v[:end])
    return _Start(rest_time, rest, t, v, noise / sqrt(count))


def _coarse(speed: Array) -> bool:
    """Whether a display is so coarse, or so slow, that it repeats itself while the car moves."""
    return bool(np.unique(speed).size < _NEW * speed.size)


def _as_shown(time: Array, speed: Array) -> tuple[Array, Array]:
    """Samples that hold something new: of a coarse display, those at which it changes."""
    time, speed = as_measured(time, speed)
    new = np.concatenate([[True], np.diff(speed) != 0.0])
    return (time[new], speed[new]) if _coarse(speed[:_LOOKED_AT]) else (time, speed)


def _averaged(time: Array, speed: Array) -> tuple[Array, Array, int]:
    """Means of so many neighbours that the rest is about a hundredth of a second apart, and how many."""
    count = int(_USUAL_STEP / float(np.median(np.diff(time)))) if time.size > 1 else 1
    if count < 2:
        return time, speed, 1
    whole = time.size // count * count
    left = time.size - whole  # the oldest samples at rest, or the first that move, are left as they are

    def means(values: Array) -> Array:
        return np.concatenate([values[:left], values[left:].reshape(-1, count).mean(axis=1)])

    return means(time), means(speed), count


def _ramp(since: Array, ramp: Array) -> tuple[tuple[Array, Array], ...]:
    """Speed and distance of each shape for a final acceleration of 1 m/s^2, at some times after time zero."""
    rising = np.minimum(since, ramp)
    later = since - rising
    x = rising / np.maximum(ramp, 1e-9)
    parts = (
        (np.sqrt(x) * 2.0 / 3.0, np.sqrt(x) * 4.0 / 15.0),
        (x / 2.0, x / 6.0),
        (x * x - 0.5 * x**3, 0.25 * x * x - 0.1 * x**3),
    )
    return tuple(
        (rising * gain + later, rising**2 * way + rising * gain * later + 0.5 * later**2) for gain, way in parts
    )


def _fitted(start: _Start) -> Onset:
    """Time zero and time of the first foot as means over all starts, by how well they agree with the samples."""
    fast = int(np.argmax(start.speed > FAST)) if (start.speed > FAST).any() else start.speed.size - 1
    low, high = float(start.rest_time[0]), float(start.time[0] if start.silent else start.time[fast])
    low = max(low, float(start.rest_time[-1]) - _BEFORE)
    coarse = np.linspace(low, high, _COARSE)
    weights, _ = _weights(start, coarse)
    likely = coarse[weights.sum(axis=(0, 2)) > _UNLIKELY * weights.sum(axis=(0, 2)).max()]
    step = (high - low) / (_COARSE - 1)
    zeros = np.linspace(max(likely[0] - step, low), min(likely[-1] + step, high), _FINE)
    weights, gains = _weights(start, zeros)
    feet = _feet(zeros, gains)
    step = float(zeros[1] - zeros[0])
    zero, zero_within = _mean(np.broadcast_to(zeros[None, :, None], weights.shape), weights, step, _ANY_SHAPE[0])
    foot, foot_within = _mean(feet, weights, 0.0, _ANY_SHAPE[1])
    return Onset(zero, zero_within, foot, foot_within)


def _mean(values: Array, weights: Array, step: float, shape: float) -> tuple[float, float]:
    """Mean, and half the interval of 95 %."""
    mean = float((weights * values).sum())
    spread = sqrt(float((weights * (values - mean) ** 2).sum()) + step**2 / 12.0)
    return mean, DEVIATIONS * hypot(spread, shape)


def _weights(start: _Start, zeros: Array) -> tuple[Array, Array]:
    """Weight of each shape, time zero and ramp, which add up to one, and the acceleration that fits best."""
    t, v, spread = start.time, start.speed, start.spread
    level = 0.0
    if not start.silent:
        t, v = np.concatenate([start.rest_time, t]), np.concatenate([start.rest, v])
        spread = np.concatenate([np.full(start.rest.size, start.noise), spread])
        level = _level(start)
    since = np.maximum(t[None, None, :] - zeros[:, None, None], 0.0)
    weight = spread**-2
    misfits, gains, slower = [], [], []
    for shape, (unit, _) in enumerate(_ramp(since, _RAMPS[None, :, None])):
        gain = np.maximum((unit @ (weight * v)) / np.maximum((unit * unit) @ weight, 1e-12), 0.0)
        misfits.append((v - np.hypot(gain[..., None] * unit, level)) ** 2 @ weight)
        gains.append(gain)
        if start.silent:
            last = np.maximum(start.rest_time[-1] - zeros, 0.0)[:, None]
            slower.append(start.speed[0] - gain * _ramp(last, _RAMPS[None, :])[shape][0])
    misfit = np.stack(misfits)
    more = max(1.0, sqrt(float(misfit.min()) / max(v.size - 3, 1)))  # times the noise that was expected
    fits = -0.5 * misfit / more**2 + np.log(_WEIGHTS)
    if start.silent:
        fits = fits + log_ndtr(np.stack(slower) / (more * start.noise))
    likely = np.exp(fits - fits.max())
    return likely / likely.sum(), np.stack(gains)


def _level(start: _Start) -> float:
    """What the sensor shows at rest; 0 where that is no more than chance [m/s]."""
    surely = start.rest[start.rest_time <= start.rest_time[-1] - _AT_REST]
    surely = surely if surely.size >= 3 else start.rest
    mean = float(surely.mean())
    return mean if mean > 3.0 * start.noise / sqrt(surely.size) else 0.0


def _feet(zeros: Array, gains: Array) -> Array:
    """When each start has moved one foot [s]."""
    feet = np.empty(gains.shape)
    for shape, (_, way) in enumerate(_ramp(_TABLE[:, None], _RAMPS[None, :])):
        for k in range(_RAMPS.size):
            feet[shape, :, k] = zeros + np.interp(FOOT / np.maximum(gains[shape, :, k], 1e-3), way[:, k], _TABLE)
    return feet
