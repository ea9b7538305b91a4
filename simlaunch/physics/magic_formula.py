"""The Magic Formula: force of a tyre over its slip, as a share of the peak, in closed form and from a table."""

from __future__ import annotations

from math import atan, cos, inf, pi, sin, tan
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from simlaunch.compiled import inline, part
from simlaunch.record import SHAPE_CELLS, Record


class Contact(NamedTuple):
    """What a contact patch does."""

    force: float  # [N], or as a share of the peak force [-]
    slope_share: float  # slope of force over slip, as a share of the slope at no slip [-]


def _atan_table() -> NDArray[np.float64]:
    """A cubic for every cell of w = x / (1 + x) from 0 to 1, from values and slopes at its ends."""
    w = np.arange(_ATAN_CELLS + 1) / _ATAN_CELLS
    with np.errstate(divide="ignore"):
        value = np.arctan(w / (1.0 - w))
    slope = 1.0 / ((1.0 - w) ** 2 + w**2) / _ATAN_CELLS  # d atan x / dw, times the width of a cell
    rise = np.diff(value)
    return np.stack([
        value[:-1], slope[:-1], 3.0 * rise - 2.0 * slope[:-1] - slope[1:], slope[:-1] + slope[1:] - 2.0 * rise
    ], axis=1)  # fmt: skip


_ATAN_CELLS = 256
_ATAN = _atan_table()


@inline
def tabulated_atan(x: float) -> float:
    """Arctangent from a table, within 1e-10 at half the cost of the library's: a launch asks some ten thousand times.

    Parameters
    ----------
    x : float
        Any number [-].

    Returns
    -------
    float
        Angle [rad].

    Source: cubic Hermite interpolation.

    Examples
    --------
    >>> round(4.0 * tabulated_atan(1.0), 9)
    3.141592654
    """
    size = abs(x)
    place = size / (1.0 + size) * _ATAN_CELLS
    cell = min(int(place), _ATAN_CELLS - 1)
    d = place - cell
    angle = _ATAN[cell, 0] + d * (_ATAN[cell, 1] + d * (_ATAN[cell, 2] + d * _ATAN[cell, 3]))
    return float(angle if x >= 0.0 else -angle)


@inline
def bent_argument(x: float, curvature: float) -> Contact:
    """What the Magic Formula hands to its outer curve, and its slope.

    u = x - E (x - atan x)

    Parameters
    ----------
    x : float
        B k [-].
    curvature : float
        E, at most 1 [-].

    Returns
    -------
    Contact
        u [-] and du/dx [-].

    Source: H. B. Pacejka, Tire and Vehicle Dynamics, ch. 4 (from memory).
    """
    return Contact(x - curvature * (x - tabulated_atan(x)), 1.0 - curvature + curvature / (1.0 + x * x))


@inline
def shape_curve(u: float, shape: float) -> Contact:
    """Outer curve of the Magic Formula.

    F/D = sin(C atan u)

    Parameters
    ----------
    u : float
        B k - E (B k - atan(B k)) [-].
    shape : float
        C, between 1 and 2 [-].

    Returns
    -------
    Contact
        Force over peak force [-], and its slope over u as a share of the slope at zero, which is C [-].

    Source: H. B. Pacejka, Tire and Vehicle Dynamics, ch. 4 (from memory).
    """
    angle = shape * atan(u)
    return Contact(sin(angle), cos(angle) / (1.0 + u * u))


@inline
def magic_formula(slip: float, stiffness_factor: float, shape: float, curvature: float) -> Contact:
    """Longitudinal force of a tyre as a share of its peak, and how steeply it still rises with slip.

    F/D = sin(C atan(B k - E (B k - atan(B k))))

    Parameters
    ----------
    slip : float
        Longitudinal slip k, ISO 8855: (wheel speed x radius - speed) / speed [-].
    stiffness_factor : float
        B [-].
    shape : float
        C, between 1 and 2 [-].
    curvature : float
        E, at most 1 [-].

    Returns
    -------
    Contact
        Force over peak force [-], and slope over the slope at no slip, which is B C D [-].

    Source: H. B. Pacejka, Tire and Vehicle Dynamics, ch. 4 (from memory).

    Examples
    --------
    The teaching set for a dry road, B = 10, C = 1.9, E = 0.97, at 5 % slip:

    >>> round(magic_formula(0.05, 10.0, 1.9, 0.97).force, 5)
    0.73562
    """
    bent = bent_argument(stiffness_factor * slip, curvature)
    outer = shape_curve(bent.force, shape)
    return Contact(outer.force, outer.slope_share * bent.slope_share)


@part
def tabulate_shape(tyre: Record) -> None:
    """Fill in the table of a tyre's outer curve, over w = u / (1 + u) from 0 to 1 in even cells.

    One cubic a cell, from values and slopes at its ends, comes within 1e-8 of the curve at a quarter of the cost of
    an arctangent, a sine and a cosine: a launch reads it some ten thousand times.

    Parameters
    ----------
    tyre : Record
        The tyre, changed in place.

    Source: cubic Hermite interpolation.
    """
    width = 1.0 / SHAPE_CELLS
    tyre.per_shape = 1.0 / tyre.shape_factor
    start = Contact(0.0, 1.0)
    for cell in range(SHAPE_CELLS):
        w = (cell + 1) * width
        end = shape_curve(w / (1.0 - w) if cell < SHAPE_CELLS - 1 else 1e30, tyre.shape_factor)
        at_start = width * tyre.shape_factor * start.slope_share / (1.0 - (w - width)) ** 2
        at_end = width * tyre.shape_factor * cos(0.5 * pi * tyre.shape_factor)  # the slope where slip has no end
        if cell < SHAPE_CELLS - 1:
            at_end = width * tyre.shape_factor * end.slope_share / (1.0 - w) ** 2
        rise = end.force - start.force
        tyre.outer_curve[cell, 0] = start.force
        tyre.outer_curve[cell, 1] = at_start
        tyre.outer_curve[cell, 2] = 3.0 * rise - 2.0 * at_start - at_end
        tyre.outer_curve[cell, 3] = at_start + at_end - 2.0 * rise
        start = end


@inline
def tabulated_shape(u: float, tyre: Record) -> Contact:
    """Outer curve of the Magic Formula, read from the tyre's table.

    Parameters
    ----------
    u : float
        As for `shape_curve` [-].
    tyre : Record
        The tyre, with its table filled.

    Returns
    -------
    Contact
        As `shape_curve` gives it [-].

    Source: see `tabulate_shape`.
    """
    to_w = 1.0 / (1.0 + abs(u))
    place = abs(u) * to_w * SHAPE_CELLS
    cell = min(int(place), SHAPE_CELLS - 1)
    d, c = place - cell, tyre.outer_curve[cell]
    force = c[0] + d * (c[1] + d * (c[2] + d * c[3]))
    slope = (c[1] + d * (2.0 * c[2] + d * 3.0 * c[3])) * SHAPE_CELLS * to_w * to_w * tyre.per_shape
    return Contact(force if u >= 0.0 else -force, slope)


@part
def peak_slip(stiffness_factor: float, shape: float, curvature: float) -> float:
    """Slip at which the Magic Formula peaks, by Newton's method.

    B k (1 - E) + E atan(B k) = tan(pi / (2 C))

    Parameters
    ----------
    stiffness_factor : float
        B [-].
    shape : float
        C, between 1 and 2 [-].
    curvature : float
        E, at most 1 [-].

    Returns
    -------
    float
        Slip of the peak, ISO 8855; infinite where the curve has none [-].

    Source: the formula's own derivative set to zero; Pacejka, Tire and Vehicle Dynamics, ch. 4 (from memory).

    Examples
    --------
    >>> round(peak_slip(10.0, 1.9, 0.97), 5)
    0.18019
    """
    target = tan(pi / (2.0 * shape))
    if shape <= 1.0 or (curvature >= 1.0 and target >= pi / 2.0):
        return inf
    x = target  # from here Newton's method is monotone, whatever the sign of E
    for _ in range(100):
        residual = x * (1.0 - curvature) + curvature * atan(x) - target
        step = residual / (1.0 - curvature + curvature / (1.0 + x * x))
        x -= step
        if abs(step) <= 1e-14 * x:
            break
    return x / stiffness_factor


@inline
def sliding_share(shape: float, curvature: float) -> float:
    """Force of a tyre that slides fully, as a share of its peak.

    F/D = sin(C pi / 2) for E < 1

    Parameters
    ----------
    shape : float
        C, between 1 and 2 [-].
    curvature : float
        E, at most 1 [-].

    Returns
    -------
    float
        Share [-].

    Source: limit of the Magic Formula for large slip; Pacejka, Tire and Vehicle Dynamics, ch. 4 (from memory).
    """
    return sin(shape * (atan(inf) if curvature < 1.0 else atan(pi / 2.0)))
