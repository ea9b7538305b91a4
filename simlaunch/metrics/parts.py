"""The highest torque that each part of the driveline saw."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from math import inf, isnan, nan
from sys import float_info

import numpy as np
from numpy.typing import NDArray

from simlaunch.compiled import entry, inline, part
from simlaunch.metrics.samples import Samples, empty_samples, first_from
from simlaunch.record import Record
from simlaunch.simulation import events
from simlaunch.simulation.events import EventKind
from simlaunch.simulation.trace import Trace

Array = NDArray[np.float64]
Codes = NDArray[np.int64]

SETTLING = 0.3
"""Time after a change of coupling or gear in which torque still rings [s]."""


class Part(StrEnum):
    """A part of the driveline, from the engine to the wheels; the value is its printed name."""

    COUPLING = "clutch or converter"
    GEARBOX_INPUT = "gearbox input"
    GEARBOX_OUTPUT = "gearbox output"
    AXLE_CLUTCH = "clutch of the second axle"
    FRONT_SHAFTS = "front axle shafts"
    REAR_SHAFTS = "rear axle shafts"


CHANNEL = {
    Part.COUPLING: "coupling_torque",
    Part.GEARBOX_INPUT: "gearbox_input_torque",
    Part.GEARBOX_OUTPUT: "gearbox_output_torque",
    Part.AXLE_CLUTCH: "axle_clutch_torque",
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
    that it tells the curve from the shock of launch and shifts; read between close samples, so that it does not depend
    on where they lie; nan where there is none [N m]."""


# What an event of a run means to coupling and gearbox.
NO_CHANGE, CHANGE_BEGINS, SPEEDS_MEET, GEAR_CLOSES = range(4)

MEANING = dict.fromkeys(EventKind, NO_CHANGE) | {
    **dict.fromkeys(events.CHANGE_BEGINS, CHANGE_BEGINS),
    EventKind.SPEEDS_MEET: SPEEDS_MEET,
    EventKind.GEAR_CLOSES: GEAR_CLOSES,
}
_LARGEST = float_info.max
_CLOSE = 0.1 * SETTLING  # samples further apart than this do not tell the torque between them [s]


PULL = np.dtype([("time", "f8"), ("torque", "f8", (len(Part),))])
"""One sample of the torques of all parts, in the order of `Part`."""

PEAK = np.dtype([("sample", "i8"), ("torque", "f8"), ("steady", "f8")])
"""Peak of one part: the sample at which it was reached first, -1 for a part that carries nothing; torque of greatest
size with its sign; the highest torque in steady pull, nan where there is none."""


@inline
def _number(torque: float) -> float:
    """A torque that can be compared; one that is not known counts as none."""
    return 0.0 if isnan(torque) else min(max(torque, -_LARGEST), _LARGEST)


@part
def _between(pulls: Samples, i: int, third: int, k: int, time: float) -> float:
    """Torque between a sample and the next, bent as a third sample beside them says; none across a long gap."""
    t, u = pulls[i].time, pulls[i + 1].time
    if not 0.0 < u - t <= _CLOSE:
        return -inf
    torque, other = _number(pulls[i].torque[k]), _number(pulls[i + 1].torque[k])
    slope = (other - torque) / (u - t)
    found = torque + slope * (time - t)
    if 0 <= third < len(pulls):
        v = pulls[third].time
        if v != t and v != u and abs(v - t) <= 2.0 * _CLOSE:
            bend = ((_number(pulls[third].torque[k]) - other) / (v - u) - slope) / (v - t)
            found += bend * (time - t) * (time - u)
    return min(found, _LARGEST)


@part
def _crest(pulls: Samples, i: int, k: int) -> float:
    """Crest of the parabola through a sample that is no lower than its two neighbours, and through these."""
    before, after = pulls[i].time - pulls[i - 1].time, pulls[i + 1].time - pulls[i].time
    torque = _number(pulls[i].torque[k])
    if not (0.0 < before <= _CLOSE and 0.0 < after <= _CLOSE):
        return torque
    rise = (torque - _number(pulls[i - 1].torque[k])) / before
    fall = (_number(pulls[i + 1].torque[k]) - torque) / after
    bend = (fall - rise) / (before + after)
    slope = rise + bend * before
    return min(torque - 0.25 * slope * slope / bend, _LARGEST) if bend < 0.0 else torque


@part
def _highest_within(pulls: Samples, k: int, opened: float, closed: float) -> float:
    """Highest torque from one moment to another: at samples, at a crest between them, and at both moments."""
    begin, end, found, best = first_from(pulls, opened), first_from(pulls, closed), -inf, -1
    for i in range(begin, end):
        torque = _number(pulls[i].torque[k])
        if torque > found:
            found, best = torque, i
    if begin < best < end - 1:
        found = _crest(pulls, best, k)
    if 0 < begin < end:
        found = max(found, _between(pulls, begin - 1, begin + 1, k, opened))
    if begin < end < len(pulls):
        found = max(found, _between(pulls, end - 1, end - 2, k, closed))
    return found


@part
def _steady_pull(pulls: Samples, k: int, times: Array, meanings: Codes) -> float:
    """Highest torque while the coupling is closed or at its working slip, and nothing changed of late.

    Something changes from each begin to the next time that speeds have met; a coupling that has yet to meet
    does so from time zero on.
    """
    found, opened, begin = -inf, SETTLING, nan
    for meaning in meanings:
        if meaning == SPEEDS_MEET:
            begin = 0.0
    for i in range(times.size):
        if meanings[i] == CHANGE_BEGINS:
            begin = times[i]
        if meanings[i] != NO_CHANGE:
            found = max(found, _highest_within(pulls, k, opened, times[i] if isnan(begin) else begin))
            opened = max(opened, times[i] + SETTLING)
    return max(found, _highest_within(pulls, k, opened, inf))


@entry
def find_peaks(pulls: Samples, times: Array, meanings: Codes, peaks: Samples) -> None:
    """Peaks of all parts.

    Parameters
    ----------
    pulls : ndarray of `PULL`, shape (n,)
        Torques over time.
    times : ndarray, shape (m,)
        Times at which something happened [s].
    meanings : ndarray, shape (m,)
        `CHANGE_BEGINS` and the like, for each of them [-].
    peaks : ndarray of `PEAK`, shape (parts,)
        Filled in the order of `Part`.
    """
    for k in range(len(peaks)):
        sample, peak, greatest = -1, nan, 0.0
        for i in range(len(pulls)):
            torque = _number(pulls[i].torque[k])
            if abs(torque) > greatest:
                sample, peak, greatest = i, torque, abs(torque)
        peaks[k].sample, peaks[k].torque = sample, peak
        pull = _steady_pull(pulls, k, times, meanings) if sample >= 0 else -inf
        peaks[k].steady = pull if pull > -inf else nan


def _pulls(trace: Trace) -> Samples:
    """Torques of all parts; a part that is not recorded carries nothing."""
    pulls = empty_samples(PULL, trace.time.size)
    pulls.time = trace.time
    for k, name in enumerate(CHANNEL[each] for each in Part):
        pulls.torque[:, k] = trace.channels.get(name, 0.0)
    return pulls


def _part_peak(trace: Trace, part: Part, peak: Record) -> PartPeak:
    gear = round(float(trace["gear"][peak.sample])) if "gear" in trace else None
    return PartPeak(part, float(peak.torque), float(trace.time[peak.sample]), gear, float(peak.steady))


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
    times = np.array([event.time for event in trace.events], np.float64)
    meanings = np.array([MEANING[event.kind] for event in trace.events], np.int64)
    peaks = empty_samples(PEAK, len(Part))
    find_peaks(_pulls(trace), times, meanings, peaks)
    found = zip(Part, peaks, strict=True)
    return tuple(_part_peak(trace, part, peak) for part, peak in found if peak.sample >= 0)
