"""Bands of engine speed, and a full-load curve that is raised in one of them."""

from __future__ import annotations

from math import ceil, floor, inf, isfinite

import numpy as np
from numpy.typing import NDArray

from simlaunch.cubics import Cubics, with_slopes
from simlaunch.errors import UsageError
from simlaunch.parameters.fill import fill_table
from simlaunch.record import Car, Record, Table
from simlaunch.units.quantity import RPM

Array = NDArray[np.float64]

BAND = 250.0 * RPM
"""Usual distance of the middles of two bands [rad/s]."""

MOST_BANDS = 200
_SPACING = 100.0 * RPM
_ROOM = 16  # places in a table of torque that bands may take
_BEYOND = 1.0  # how far a curve is padded past its ends, where it stays level [rad/s]


def band_middles(car: Car, bands: int | None = None) -> Array:
    """Middles of the bands that cover a curve up to the rev limit.

    Parameters
    ----------
    car : Car
        The car with its curve.
    bands : int, optional
        How many; if left out, bands lie at whole multiples of 250 rpm.

    Returns
    -------
    ndarray, shape (n,)
        Engine speeds, evenly spaced [rad/s].

    Raises
    ------
    UsageError
        Fewer than two bands, or too many.
    """
    first = float(car.engine.torque.knot[0])
    last = min(float(car.engine.rev_limit), float(car.engine.torque.knot[car.engine.torque.count - 1]))
    if bands is None:
        inside = np.arange(floor(first / BAND + 0.5), ceil(last / BAND - 0.5) + 1) * BAND
        if 2 <= inside.size <= MOST_BANDS:
            return np.asarray(inside, np.float64)
        bands = 2 if inside.size < 2 else MOST_BANDS
    if not 2 <= bands <= MOST_BANDS:
        raise UsageError(f"{bands} bands cannot be made; write a number from 2 to {MOST_BANDS}")
    return np.asarray(np.linspace(first, last, bands), np.float64)


def curve_speeds(car: Car) -> Array:
    """Round engine speeds from the first point of a full-load curve to its last.

    Parameters
    ----------
    car : Car
        The car with its curve.

    Returns
    -------
    ndarray, shape (n,)
        At most 182 engine speeds, in rising order [rad/s].
    """
    table = car.engine.torque
    first, last = float(table.knot[0]), float(table.knot[int(table.count) - 1])
    inside = np.arange(np.floor(first / _SPACING) + 1.0, np.ceil(last / _SPACING)) * _SPACING
    inside = inside[(inside > first * 1.001) & (inside < last * 0.999)]
    if inside.size > 180:
        inside = np.linspace(first, last, 182)[1:-1]
    return np.concatenate([[first], inside, [last]])


def _bumps(middles: Array, shares: Array, ends: tuple[float, float]) -> Cubics:
    """Smooth curve through a share at each middle, level there and beyond the outer ones."""
    low, high = min(ends[0], middles[0]) - _BEYOND, max(ends[1], middles[-1]) + _BEYOND
    values = np.r_[shares[0], shares, shares[-1]]
    return with_slopes(np.r_[low, middles, high], values, np.zeros(values.size))


def raise_curve(table: Table, middles: Array, shares: Array, torque: float) -> None:
    """Add torque to a full-load curve, as much in each band as its share says, with no kink between bands.

    Shares of one in every band raise the whole curve by the torque; a table of cubics holds the sum exactly.

    Parameters
    ----------
    table : Table
        Full-load curve, changed in place.
    middles : ndarray, shape (n,)
        Middles of the bands [rad/s].
    shares : ndarray, shape (n,)
        Share of the torque that each band gets [-].
    torque : float
        Torque [N m].

    Raises
    ------
    UsageError
        The curve has so many points that the bands find no room in it.
    """
    count = int(table.count)
    old = table.knot[:count].copy()
    curve = Cubics(old, table.cubic[: count - 1].copy())
    bump = _bumps(middles, shares, (old[0], old[-1]))
    uneven = np.flatnonzero(np.diff(shares) != 0.0)
    needed = middles[np.union1d(uneven, uneven + 1)]
    knots = np.union1d(old, needed[(needed > old[0]) & (needed < old[-1])])
    if knots.size > (room := table.knot.size):
        what = f"the curve has {count} points, which leaves no room for bands; thin it out to {room - _ROOM} or fewer"
        raise UsageError(what)
    cubic = curve.seen_from(knots) + torque * bump.seen_from(knots)
    cubic[-1, 0] = curve(old[-1]) + torque * bump(old[-1])
    cubic[-1, 1:] = 0.0
    table.count = knots.size
    table.knot[: knots.size] = knots
    table.cubic[: knots.size] = cubic


def raise_gear(engine: Record, gear: int, middles: Array, shares: Array, torque: float) -> None:
    """Add torque to what a gear lets the engine give, as `raise_curve` does to the curve.

    A gear without a limit of its own is left as it is.

    Parameters
    ----------
    engine : Record
        The engine, changed in place; a gear is limited by one torque or by a curve.
    gear : int
        Index of the gear [-].
    middles, shares : ndarray, shape (n,)
        Middles of the bands [rad/s], and what share of the torque each gets [-].
    torque : float
        Torque [N m].

    Raises
    ------
    UsageError
        The curve of the gear has so many points that the bands find no room in it.
    """
    limit, level = engine.gear_curve[gear], float(engine.gear_limit[gear])
    count = int(engine.torque.count)
    ends = engine.torque.knot[[0, count - 1]]
    if not limit.count:
        if not isfinite(level):
            return
        fill_table(limit, ends, np.array([level, level]))
        engine.gear_limit[gear] = inf
    _hold_beyond(limit, float(ends[0]), float(ends[1]))
    raise_curve(limit, middles, shares, torque)


def _hold_beyond(table: Table, low: float, high: float) -> None:
    """Let a curve that is held beyond its ends reach to some engine speeds, level there."""
    count = int(table.count)
    knots, cubics = table.knot[:count].copy(), table.cubic[:count].copy()
    if low < knots[0]:
        knots, cubics = np.r_[low, knots], np.vstack([[cubics[0, 0], 0.0, 0.0, 0.0], cubics])
    if high > knots[-1]:
        knots, cubics = np.r_[knots, high], np.vstack([cubics, [cubics[-1, 0], 0.0, 0.0, 0.0]])
    if knots.size > table.knot.size:
        raise UsageError(f"the torque of a gear has {count} points, which leaves no room for bands; thin it out")
    table.count = knots.size
    table.knot[: knots.size], table.cubic[: knots.size] = knots, cubics
