"""The highest torque that each part of the driveline saw."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from simlaunch.launch.trace import Trace


class Part(StrEnum):
    """A part of the driveline, from the engine to the wheels; the value is its printed name."""

    COUPLING = "clutch or converter"
    GEARBOX_INPUT = "gearbox input"
    GEARBOX_OUTPUT = "gearbox output"
    FRONT_SHAFTS = "front axle shafts"
    REAR_SHAFTS = "rear axle shafts"


CHANNEL = {
    Part.COUPLING: "coupling_torque",
    Part.GEARBOX_INPUT: "gearbox_input_torque",
    Part.GEARBOX_OUTPUT: "gearbox_output_torque",
    Part.FRONT_SHAFTS: "axle_torque_front",
    Part.REAR_SHAFTS: "axle_torque_rear",
}
"""The channel that holds the history of each part's torque."""


@dataclass(frozen=True)
class PartPeak:
    """Highest torque of one part over a run."""

    part: Part
    """The part. Gearbox output is after the final drive; axle shafts are both half shafts of an axle."""
    torque: float
    """Torque of greatest size, negative where the wheels drove the engine [N m]."""
    time: float
    """When it was reached first [s]."""
    gear: int | None
    """Gear then, first gear is 1; None where the trace does not tell."""


def _peak(trace: Trace, part: Part) -> PartPeak | None:
    """Peak of one part; None for a part that carries nothing or is not recorded."""
    torque = np.nan_to_num(trace.channels.get(CHANNEL[part], np.zeros(trace.time.shape)))
    at = int(np.argmax(np.abs(torque)))
    if torque[at] == 0.0:
        return None
    gear = round(float(trace["gear"][at])) if "gear" in trace else None
    return PartPeak(part, float(torque[at]), float(trace.time[at]), gear)


def part_peaks(trace: Trace) -> tuple[PartPeak, ...]:
    """Highest torque of every part that carries any.

    Parameters
    ----------
    trace : Trace
        Simulated, or a log with torques.

    Returns
    -------
    tuple of PartPeak
        From the engine to the wheels; an axle that is not driven is left out.
    """
    peaks = (_peak(trace, part) for part in Part)
    return tuple(peak for peak in peaks if peak is not None)
