"""How a run uses its grip: time at the limit, wheelspin, slip, a lifted front axle."""

from __future__ import annotations

from dataclasses import dataclass
from math import isnan, nan
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from simlaunch.compiled import entry, inline, part
from simlaunch.errors import UsageError
from simlaunch.metrics.above import WHOLE, area, part_above
from simlaunch.metrics.samples import Samples, empty_samples, first_from
from simlaunch.record import Record
from simlaunch.simulation.channels import SIDES
from simlaunch.simulation.trace import Trace

Array = NDArray[np.float64]

LIMIT_SHARE = 0.98
"""Share of the force its tyres could give from which an axle is at the grip limit [-]."""

MEASURABLE_SPEED = 2.0
"""Below this speed of the car a slip over speed says little (common practice) [m/s]."""

_LIFTED_LOAD = 1.0  # an axle that carries less than this is lifted [N]
_AXLES = ("front", "rear")


@dataclass(frozen=True)
class GripUse:
    """Use of grip by the driven axles from time zero on; nan where the trace lacks the channels for it."""

    time_at_limit: float
    """Time at the grip limit: a driven axle uses at least 98 % of the force its tyres could give at the load of
    that moment; where its two wheels differ, of what its differential lets them pass on [s]."""
    wheelspin_time: float
    """Wheelspin time: slip on a driven axle is beyond the slip of peak force; where the two wheels of an axle differ,
    the faster one counts here and below [s]."""
    slip_distance: float
    """Slip distance: how much farther the treads of a driven axle ran than the car, integral of wheel speed x
    radius less speed; of two driven axles, the greater [m]."""
    slip_distance_past_peak: float
    """Slip distance beyond the slip of peak force; of two driven axles, the greater [m]."""
    slip_energy: float
    """Slip energy: integral of tyre force times slip speed, driven axles together [J]."""
    slip_energy_past_peak: float
    """Slip energy beyond the slip of peak force, driven axles together [J]."""
    lift_time: float
    """Time with the front axle lifted off the road [s]."""
    greatest_slip: float
    """Greatest slip of a driven axle, by ISO 8855, while the car is faster than 2 m/s [-]."""


AXLE_USE = np.dtype(
    [
        ("limit_margin", "f8"),  # force above the share that counts as the limit [N]
        ("spin_margin", "f8"),  # slip beyond the slip of peak force [-]
        ("slip", "f8"),  # [-]
        ("slip_speed", "f8"),  # wheel speed x radius less speed [m/s]
        ("slip_power", "f8"),  # [W]
    ]
)
"""What one axle does at one sample; nan where it is not known."""

USE = np.dtype([("time", "f8"), ("speed", "f8"), ("load_front", "f8"), ("front", AXLE_USE), ("rear", AXLE_USE)])
"""One sample of the car and its axles."""

Values = float | Array
"""One number in compiled code; all samples at once in plain Python."""


@inline
def note_axle(
    use: Record | Samples,
    speed: Values,
    wheel_speed: Values,
    radius: float,
    slip: Values,
    peak_slip: Values,
    force: Values,
    force_limit: Values,
    slip_power: Values,
) -> None:
    """Note what an axle does, at one sample or at all of them.

    Parameters
    ----------
    use : Record or recarray of `AXLE_USE`
        Filled.
    speed : float or ndarray, shape (n,)
        Speed of the car [m/s].
    wheel_speed : float or ndarray, shape (n,)
        Wheel speed, of the faster wheel where the two differ [rad/s].
    radius : float
        Effective rolling radius [m].
    slip : float or ndarray, shape (n,)
        Slip [-].
    peak_slip : float or ndarray, shape (n,)
        Slip of peak force [-].
    force : float or ndarray, shape (n,)
        Force of the axle's tyres [N].
    force_limit : float or ndarray, shape (n,)
        Force that they could give at the load of that moment [N].
    slip_power : float or ndarray, shape (n,)
        Force times slip speed, of both wheels together [W].
    """
    slip_speed = wheel_speed * radius - speed
    use.limit_margin = force - LIMIT_SHARE * force_limit
    use.spin_margin = slip - peak_slip
    use.slip = slip
    use.slip_speed = slip_speed
    use.slip_power = slip_power


class _Slipping(NamedTuple):
    """Integrals over the slip of one axle; "past" is the part beyond the slip of peak force."""

    distance: float  # [m]
    distance_past_peak: float
    energy: float  # [J]
    energy_past_peak: float


class _Durations(NamedTuple):
    """Times in which something holds for the driven axles together."""

    at_limit: float  # [s]
    wheelspin: float
    lifted: float


class GripNumbers(NamedTuple):
    """Use of grip as plain numbers; see `GripUse` for what they mean."""

    time_at_limit: float
    wheelspin_time: float
    slip_distance: float
    slip_distance_past_peak: float
    slip_energy: float
    slip_energy_past_peak: float
    lift_time: float
    greatest_slip: float


@part
def _slipping(uses: Samples, of_front: bool, begin: int) -> _Slipping:
    distance, distance_past, energy, energy_past = 0.0, 0.0, 0.0, 0.0
    margin_known, distance_known, energy_known = False, False, False
    for i in range(begin, len(uses)):
        now = uses[i].front if of_front else uses[i].rear
        margin_known = margin_known or not isnan(now.spin_margin)
        distance_known = distance_known or not isnan(now.slip_speed)
        energy_known = energy_known or not isnan(now.slip_power)
        if i > begin:
            last = uses[i - 1].front if of_front else uses[i - 1].rear
            step, past = uses[i].time - uses[i - 1].time, part_above(last.spin_margin, now.spin_margin)
            distance += area(WHOLE, step, last.slip_speed, now.slip_speed)
            energy += area(WHOLE, step, last.slip_power, now.slip_power)
            distance_past += area(past, step, last.slip_speed, now.slip_speed)
            energy_past += area(past, step, last.slip_power, now.slip_power)
    return _Slipping(
        distance if distance_known else nan,
        distance_past if distance_known and margin_known else nan,
        energy if energy_known else nan,
        energy_past if energy_known and margin_known else nan,
    )


@inline
def _greater(one: float, other: float) -> float:
    """The greater of two numbers; nan where either is not known."""
    return nan if isnan(one) or isnan(other) else max(one, other)


@inline
def _of_driven(front: float, rear: float, driven: tuple[bool, bool]) -> float:
    """The greatest of the driven axles; nan where it is not known of each of them."""
    if driven[0] and driven[1]:
        return _greater(front, rear)
    return front if driven[0] else rear


@part
def _durations(uses: Samples, driven: tuple[bool, bool], begin: int) -> _Durations:
    at_limit, wheelspin, lifted = 0.0, 0.0, 0.0
    limit_known, spin_known, lift_known = False, False, False
    last_limit, last_spin, last_lift = nan, nan, nan
    for i in range(begin, len(uses)):
        now = uses[i]
        limit = _of_driven(now.front.limit_margin, now.rear.limit_margin, driven)
        spin = _of_driven(now.front.spin_margin, now.rear.spin_margin, driven)
        lift = _LIFTED_LOAD - now.load_front
        limit_known = limit_known or not isnan(limit)
        spin_known = spin_known or not isnan(spin)
        lift_known = lift_known or not isnan(lift)
        if i > begin:
            step = now.time - uses[i - 1].time
            at_limit += area(part_above(last_limit, limit), step, 1.0, 1.0)
            wheelspin += area(part_above(last_spin, spin), step, 1.0, 1.0)
            lifted += area(part_above(last_lift, lift), step, 1.0, 1.0)
        last_limit, last_spin, last_lift = limit, spin, lift
    return _Durations(at_limit if limit_known else nan, wheelspin if spin_known else nan, lifted if lift_known else nan)


@part
def _greatest_slip(uses: Samples, driven: tuple[bool, bool], begin: int) -> float:
    greatest = nan
    for i in range(begin, len(uses)):
        slip = _of_driven(uses[i].front.slip, uses[i].rear.slip, driven)
        if uses[i].speed > MEASURABLE_SPEED and not isnan(slip) and not slip <= greatest:
            greatest = slip
    return greatest


@entry
def use_of_grip(uses: Samples, driven: tuple[bool, bool]) -> GripNumbers:
    """Use of grip from time zero on.

    Parameters
    ----------
    uses : ndarray of `USE`, shape (n,)
        What the car and its axles did.
    driven : tuple of bool
        Whether the front and the rear axle are driven; one of them is.

    Returns
    -------
    GripNumbers
        Times [s], distances [m], energies [J] and slip [-].
    """
    begin = first_from(uses, 0.0)
    times, slips = _durations(uses, driven, begin), _slipping(uses, driven[0], begin)
    if driven[0] and driven[1]:
        rear = _slipping(uses, False, begin)
        slips = _Slipping(
            _greater(slips.distance, rear.distance),
            _greater(slips.distance_past_peak, rear.distance_past_peak),
            slips.energy + rear.energy,
            slips.energy_past_peak + rear.energy_past_peak,
        )
    return GripNumbers(
        times.at_limit,
        times.wheelspin,
        slips.distance,
        slips.distance_past_peak,
        slips.energy,
        slips.energy_past_peak,
        times.lifted,
        _greatest_slip(uses, driven, begin),
    )


def _channel(trace: Trace, name: str) -> Array:
    """A channel, or nan at every sample where the trace does not have it."""
    return trace[name] if name in trace else np.full(trace.time.shape, np.nan)


def _wheel_speed(trace: Trace, axle: str) -> Array:
    """Speed of the wheels of an axle, of the faster one where the two differ."""
    sides = [f"wheel_speed_{axle}_{side}" for side in SIDES]
    if all(name in trace for name in sides):
        return np.maximum(*(trace[name] for name in sides))
    return _channel(trace, f"wheel_speed_{axle}")


def _slip_power(trace: Trace, axle: str, radius: float) -> Array:
    """Heat between the tyres of an axle and the road as recorded, or else from force and wheel speed."""
    if f"slip_power_{axle}" in trace:
        return trace[f"slip_power_{axle}"]
    return _channel(trace, f"force_{axle}") * (_wheel_speed(trace, axle) * radius - _channel(trace, "speed"))


def _slip(trace: Trace, axle: str, radius: float) -> Array:
    """Slip as recorded, or else from wheel speed; nan below the measurable speed where it is not recorded."""
    if f"slip_{axle}" in trace:
        return trace[f"slip_{axle}"]
    speed = _channel(trace, "speed")
    slip_speed, unknown = _wheel_speed(trace, axle) * radius - speed, np.full(speed.shape, np.nan)
    return np.divide(slip_speed, speed, out=unknown, where=speed > MEASURABLE_SPEED)


def _uses(trace: Trace, radii: tuple[float, float]) -> Samples:
    uses = empty_samples(USE, trace.time.size)
    uses.time, uses.speed, uses.load_front = trace.time, _channel(trace, "speed"), _channel(trace, "load_front")
    for axle, radius in zip(_AXLES, radii, strict=True):
        note_axle(
            uses[axle],
            uses.speed,
            _wheel_speed(trace, axle),
            radius,
            _slip(trace, axle, radius),
            _channel(trace, f"peak_slip_{axle}"),
            _channel(trace, f"force_{axle}"),
            _channel(trace, f"force_limit_{axle}"),
            _slip_power(trace, axle, radius),
        )
    return uses


def grip_use(trace: Trace, driven: tuple[bool, bool], radii: tuple[float, float]) -> GripUse:
    """Use of grip over a run.

    A log that has wheel speeds gives slip distance and greatest slip; one without them gives nan throughout.
    Between samples every signal runs straight, and an interval is cut where a threshold is passed.

    Parameters
    ----------
    trace : Trace
        Simulated, with samples at most a few thousandths of a second apart, or logged.
    driven : tuple of bool
        Whether the front and the rear axle are driven.
    radii : tuple of float
        Effective rolling radius of the front and of the rear tyres [m].

    Returns
    -------
    GripUse
        Times [s], distances [m], energies [J] and slip [-].

    Raises
    ------
    UsageError
        No axle is driven.
    """
    front_driven, rear_driven = (bool(axle) for axle in driven)
    if not (front_driven or rear_driven):
        raise UsageError("no axle is driven; say which one is")
    return GripUse(*use_of_grip(_uses(trace, radii), (front_driven, rear_driven)))
