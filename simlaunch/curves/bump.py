"""Bands of engine speed, and a full-load curve that is raised in one of them."""

from __future__ import annotations

from math import ceil, floor

import numpy as np
from numpy.typing import NDArray

from simlaunch.cubics import Cubics, with_slopes
from simlaunch.errors import UsageError
from simlaunch.record import MAX_CURVE_POINTS, Car, Table
from simlaunch.units.quantity import RPM

Array = NDArray[np.float64]

BAND = 250.0 * RPM
"""Usual distance of the middles of two bands [rad/s]."""

MOST_BANDS = 200
_SPACING = 100.0 * RPM
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
    if knots.size > MAX_CURVE_POINTS:
        raise UsageError(f"the curve has {count} points, which leaves no room for bands; thin it out to 240 or fewer")
    cubic = curve.seen_from(knots) + torque * bump.seen_from(knots)
    cubic[-1, 0] = curve(old[-1]) + torque * bump(old[-1])
    cubic[-1, 1:] = 0.0
    table.count = knots.size
    table.knot[: knots.size] = knots
    table.cubic[: knots.size] = cubic
