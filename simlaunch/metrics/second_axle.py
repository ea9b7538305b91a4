"""What the clutch that brings in a second axle does over a run: its slip, and the heat of it."""

from __future__ import annotations

from dataclasses import dataclass
from math import nan

import numpy as np

from simlaunch.metrics.above import length_above
from simlaunch.record import Record
from simlaunch.simulation.trace import Trace

SLIPS = 0.1
"""Speed beyond which the clutch counts as slipping, about 1 rpm [rad/s]."""


@dataclass(frozen=True)
class SecondAxle:
    """The clutch that brings in a second axle, over a run; no temperature follows from it."""

    heat: float
    """Heat of its slip [J]."""
    greatest_power: float
    """Greatest heat that it makes in a second: torque times slip [W]."""
    power_time: float
    """When that is; nan where it never slips [s]."""
    slip_time: float
    """Time during which it slips by more than about 1 rpm [s]."""
    greatest_slip: float
    """Greatest difference of speed across it, at the clutch itself [rad/s]."""
    last_slip: float
    """When it slips last; nan where it never does [s]."""


def second_axle(trace: Trace, car: Record) -> SecondAxle | None:
    """What the clutch of a second axle does.

    Parameters
    ----------
    trace : Trace
        Simulated: no log has these channels.
    car : Record
        The car that made it.

    Returns
    -------
    SecondAxle or None
        None for a car without such a clutch.
    """
    if not car.drive.clutched:
        return None
    work, slip = trace["axle_clutch_work"], np.abs(trace["axle_clutch_slip"])
    power = np.abs(trace["axle_clutch_torque"]) * slip
    greatest, slipping = int(np.argmax(power)), slip > SLIPS
    ever = bool(power[greatest] > 0.0)
    return SecondAxle(
        float(work[-1] - work[0]),
        float(power[greatest]),
        float(trace.time[greatest]) if ever else nan,
        length_above(trace.time, slip - SLIPS),
        float(slip.max()),
        float(trace.time[slipping][-1]) if slipping.any() else nan,
    )
