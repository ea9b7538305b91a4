"""The highest torque that each part of the driveline saw."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from simlaunch.launch.run import BEGINNINGS, ENGAGED, MEETING
from simlaunch.launch.trace import Trace

SETTLING = 0.3
"""Time after a change of coupling or gear in which torque still rings [s]."""


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
    steady: float
    """Highest torque in steady pull: in gear, no sooner than 0.3 s after anything changed in coupling or gearbox, so
    that it tells the curve from the shock of launch and shifts; nan where there is none [N m]."""


def _steady(trace: Trace) -> NDArray[np.bool_]:
    """Samples of steady pull: coupling closed or at its working slip, and nothing changed of late."""
    steady = trace.time >= SETTLING
    for begins, ends in _changes(trace):
        steady &= (trace.time < begins) | (trace.time > ends + SETTLING)
    return steady


def _changes(trace: Trace) -> Iterator[tuple[float, float]]:
    """When coupling or gearbox were changing: from each shift's begin to the next time that speeds have met."""
    begin = 0.0 if any(moment.what == MEETING for moment in trace.moments) else None
    for moment in trace.moments:
        if moment.what in BEGINNINGS:
            yield moment.time, moment.time
            begin = moment.time
        elif moment.what in (MEETING, ENGAGED):
            yield (moment.time if begin is None else begin), moment.time


def _peak(trace: Trace, part: Part, steady: NDArray[np.bool_]) -> PartPeak | None:
    """Peak of one part; None for a part that carries nothing or is not recorded."""
    torque = np.nan_to_num(trace.channels.get(CHANNEL[part], np.zeros(trace.time.shape)))
    at = int(np.argmax(np.abs(torque)))
    if torque[at] == 0.0:
        return None
    gear = round(float(trace["gear"][at])) if "gear" in trace else None
    pull = float(np.max(torque[steady])) if steady.any() else float("nan")
    return PartPeak(part, float(torque[at]), float(trace.time[at]), gear, pull)


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
    steady = _steady(trace)
    peaks = (_peak(trace, part, steady) for part in Part)
    return tuple(peak for peak in peaks if peak is not None)
