"""What the highest torque of a part comes from: the event it falls into, and whether the clutch is its cause.

A cause is stated only where a launch with a weaker clutch confirms it; the clutch of a second axle needs no such launch
where what stands behind it carries just its capacity.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from math import inf

import numpy as np

from simlaunch.errors import SimlaunchError
from simlaunch.launching.launches import as_many
from simlaunch.metrics.parts import CHANNEL, SETTLING, Part, PartPeak
from simlaunch.ratings.demand import PeakEvent
from simlaunch.record import Car
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.powertrain import TorqueConverter
from simlaunch.simulation.events import EventKind
from simlaunch.simulation.run import launch
from simlaunch.simulation.trace import Trace

WEAKER = 0.03  # share by which the clutch is weakened to see whether it causes a peak [-]
_AT_CAPACITY = 0.999  # share of its capacity from which a clutch counts as being at it [-]
_SLIPS = 1.0  # difference of speeds from which a clutch counts as slipping [rad/s]
_MULTIPLIED = 1.05  # torque behind a converter over that before it, from which it is said to multiply [-]
_BEFORE = 0.1  # a shock in the driveline follows its cause within this time [s]


@dataclass(frozen=True)
class Window:
    """An event of a launch, from its begin until nothing rings any more."""

    gear: int | None
    """Gear that a shift leaves; None for the launch itself."""
    begin: float
    """[s]"""
    end: float
    """[s]"""

    @property
    def name(self) -> str:
        """What it is called."""
        return "launch" if self.gear is None else f"{self.gear}-{self.gear + 1} shift"

    def holds(self, time: float) -> bool:
        """Whether a time falls into it."""
        return self.begin <= time <= self.end


def windows(trace: Trace) -> tuple[Window, ...]:
    """The launch itself and every shift, in order; each ends where the next begins at the latest."""
    return tuple(_windows(trace))


def _windows(trace: Trace) -> Iterator[Window]:
    shifts = trace.times(EventKind.SHIFT_BEGINS)
    meets, closes = trace.times(EventKind.SPEEDS_MEET), trace.times(EventKind.GEAR_CLOSES)
    for begin, limit in zip([-inf, *shifts], [*shifts, inf], strict=True):
        closing = [time for time in (*meets, *closes) if begin < time < limit]
        if begin == -inf:
            closing = [time for time in meets if time < limit][:1]
            yield Window(None, begin, min(limit, closing[0] + SETTLING if closing else limit))
            continue
        first = [time for time in closing if time <= begin + _LONGEST]
        gear = round(float(trace["gear"][max(int(np.searchsorted(trace.time, begin)) - 1, 0)]))
        yield Window(gear, begin, min(limit, max(first, default=begin) + SETTLING))


_LONGEST = 2.0  # speeds that meet later than this belong to no shift any more [s]


@dataclass
class PeakEvents:
    """What the peaks of one launch come from.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    car : Car
        The car that was launched.
    trace : Trace
        The launch.
    """

    scenario: Scenario
    car: Car
    trace: Trace

    @cached_property
    def _windows(self) -> tuple[Window, ...]:
        return windows(self.trace)

    @cached_property
    def _weakened(self) -> Trace | None:
        """The same launch with a weaker clutch; None where it cannot be made."""
        car = as_many([self.car]).view(np.recarray)[0]
        car.coupling.capacity *= 1.0 - WEAKER
        try:
            return launch(car).trace
        except SimlaunchError:
            return None

    def of(self, peak: PartPeak) -> PeakEvent:
        """The event that a peak falls into, and its cause where that is confirmed."""
        window = next((each for each in self._windows if each.holds(peak.time)), None)
        pull = f"pull in gear {peak.gear}" if peak.gear else ""
        if (capacity := self._second_axle_limit(peak)) > 0.0:
            return PeakEvent(window.name if window else pull, "clutch of the second axle at its capacity of", capacity)
        return self._caused(peak, window) if window else PeakEvent(pull)

    def _second_axle_limit(self, peak: PartPeak) -> float:
        """Capacity of the clutch of the second axle where it sets the peak, as it does behind it; else 0 [N m]."""
        drive = self.car.drive
        if not drive.clutched:
            return 0.0
        shafts = Part.REAR_SHAFTS if drive.front_share > 0.0 else Part.FRONT_SHAFTS
        capacity = float(drive.capacity / drive.clutch_ratio)
        at_part = {Part.AXLE_CLUTCH: capacity, shafts: float(drive.capacity)}.get(peak.part, inf)
        return capacity if abs(peak.torque) >= _AT_CAPACITY * at_part else 0.0

    def _caused(self, peak: PartPeak, window: Window) -> PeakEvent:
        trace = self.trace
        converter = isinstance(self.scenario.coupling, TorqueConverter)
        near = (trace.time >= peak.time - _BEFORE) & (trace.time <= peak.time)
        carried = np.abs(trace["coupling_torque"][near])
        if converter and window.gear is None:
            behind = np.abs(trace["gearbox_input_torque"][near])
            multiplies = behind[-1] > _MULTIPLIED * carried[-1]
            return PeakEvent(window.name, "converter multiplies torque" if multiplies else "")
        capacity = float(self.car.coupling.capacity)
        slips = np.abs(trace["engine_speed"] - trace["input_speed"])[near].max() > _SLIPS
        most = float(carried.max())
        full = most >= _AT_CAPACITY * capacity  # it may just break away, its speeds still alike
        if not (capacity > 0.0 and (full or slips) and self._falls(peak, window)):
            return PeakEvent(window.name)
        clutch = "lock-up clutch" if converter else "clutch"
        if full:
            return PeakEvent(window.name, f"{clutch} at its capacity of", capacity)
        return PeakEvent(window.name, f"{clutch} slips as it closes, carrying", most)

    def _falls(self, peak: PartPeak, window: Window) -> bool:
        """Whether a weaker clutch lowers the peak in the same event, by half of its own loss at least."""
        if self._weakened is None:
            return False
        other = next((each for each in windows(self._weakened) if each.gear == window.gear), None)
        if other is None:
            return False
        within = (self._weakened.time >= other.begin) & (self._weakened.time <= other.end)
        highest = float(np.abs(self._weakened[CHANNEL[peak.part]][within]).max(initial=0.0))
        return highest < (1.0 - 0.5 * WEAKER) * abs(peak.torque)
