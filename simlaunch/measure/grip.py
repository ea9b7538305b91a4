"""How a run uses its grip: time at the limit, wheelspin, slip, a lifted front axle."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from simlaunch.errors import UsageError
from simlaunch.launch.trace import Trace
from simlaunch.measure.above import integral_above, length_above

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
    that moment [s]."""
    wheelspin_time: float
    """Wheelspin time: slip on a driven axle is beyond the slip of peak force [s]."""
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


class _AxleUse(NamedTuple):
    """What one driven axle does, sample by sample; all nan where it is not known."""

    limit_margin: Array  # force above the share that counts as the limit [N]
    spin_margin: Array  # slip beyond the slip of peak force [-]
    slip: Array  # [-]
    slip_speed: Array  # wheel speed x radius less speed [m/s]
    slip_power: Array  # [W]


def _from_zero(trace: Trace) -> Trace:
    """The part of a trace from time zero on."""
    kept = trace.time >= 0.0
    return Trace(trace.time[kept], {name: values[kept] for name, values in trace.channels.items()})


def _channel(trace: Trace, name: str) -> Array:
    """A channel, or nan at every sample where the trace does not have it."""
    return trace[name] if name in trace else np.full(trace.time.shape, np.nan)


def _slip_speed(trace: Trace, axle: str, radius: float) -> Array:
    return _channel(trace, f"wheel_speed_{axle}") * radius - _channel(trace, "speed")


def _slip(trace: Trace, axle: str, slip_speed: Array) -> Array:
    """Slip as recorded, or else from wheel speed; nan below the measurable speed where it is not recorded."""
    if f"slip_{axle}" in trace:
        return trace[f"slip_{axle}"]
    speed = _channel(trace, "speed")
    unknown = np.full(speed.shape, np.nan)
    return np.divide(slip_speed, speed, out=unknown, where=speed > MEASURABLE_SPEED)


def _axle_use(trace: Trace, axle: str, radius: float) -> _AxleUse:
    force = _channel(trace, f"force_{axle}")
    slip_speed = _slip_speed(trace, axle, radius)
    slip = _slip(trace, axle, slip_speed)
    return _AxleUse(
        force - LIMIT_SHARE * _channel(trace, f"force_limit_{axle}"),
        slip - _channel(trace, f"peak_slip_{axle}"),
        slip,
        slip_speed,
        force * slip_speed,
    )


def _greatest_slip(speed: Array, slip: Array) -> float:
    known = slip[(speed > MEASURABLE_SPEED) & ~np.isnan(slip)]
    return float(known.max()) if known.size else float("nan")


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
    run = _from_zero(trace)
    axles = [_axle_use(run, _AXLES[i], radii[i]) for i in range(2) if driven[i]]
    if not axles:
        raise UsageError("no axle is driven; say which one is")
    always, time = np.ones(run.time.shape), run.time
    spinning = np.maximum.reduce([axle.spin_margin for axle in axles])
    return GripUse(
        time_at_limit=length_above(time, np.maximum.reduce([axle.limit_margin for axle in axles])),
        wheelspin_time=length_above(time, spinning),
        slip_distance=_greatest([integral_above(time, axle.slip_speed, always) for axle in axles]),
        slip_distance_past_peak=_greatest([integral_above(time, axle.slip_speed, axle.spin_margin) for axle in axles]),
        slip_energy=sum(integral_above(time, axle.slip_power, always) for axle in axles),
        slip_energy_past_peak=sum(integral_above(time, axle.slip_power, axle.spin_margin) for axle in axles),
        lift_time=length_above(time, _LIFTED_LOAD - _channel(run, "load_front")),
        greatest_slip=_greatest_slip(_channel(run, "speed"), np.maximum.reduce([axle.slip for axle in axles])),
    )


def _greatest(values: list[float]) -> float:
    """The greatest; nan if any of them is not known."""
    return float(np.max(values))
