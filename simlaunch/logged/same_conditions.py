"""A logged run brought from the weather and the grade of its day to those of a scenario.

On the day, the wheels pushed with F = m a + R, where R is what slowed the car and m is its mass with all that turned in
the gear. In the conditions of the scenario the same push gives a' = (k F - R') / m, where k is 1 unless a torque
correction is asked for. While the car pulls, every speed is kept and the time spent there is multiplied by a / a';
while it does not, as in a gear change, the time is kept and the speed changes by (a' - a) dt. Distance grows by
v' dt', so that the first foot stays where the log has it.

On calculated runs of a known car 84 to 91 % of the effect of wind, temperature and grade was removed.

Grip is not corrected: where tyres spin, the push is that of the tyres, whatever the weather does to the torque. So the
torque factor is applied only while engine and wheels turn together, which takes a logged engine speed to see.

Source: Newton's second law; SAE J1263 and ISO 10521-1 bring coast-downs to other air in the same way, by the ratio of
densities and the weight along the road (from memory).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import scipy  # loads its parts when they are used
from numpy.typing import NDArray

from simlaunch.errors import UsageError
from simlaunch.launching.ready import runnable
from simlaunch.logged.road_load import mass_in_gear, resistance
from simlaunch.logged.tied import nearest_gear
from simlaunch.metrics.crossing import with_distance
from simlaunch.parameters.weather import DOUBT, factor, scenario_weather
from simlaunch.record import Car, Pedal
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.powertrain import Correction
from simlaunch.simulation.trace import Trace
from simlaunch.units.gate import quoted

Array = NDArray[np.float64]

KEYS = ("road.grade",)
"""Keys beside those of the air that may differ from log to log. Mass is not among them: where grip limits the push, a
heavier car is pushed harder, and a log does not say where that was."""

PULLS = 0.3
"""A car that gains less is not pulling: a gear change, or top speed [m/s^2]."""

FALLS = 0.6
"""Nor is one that gains less than this share of the most it gains within a second: its time is that of a gear change,
which no weather makes longer [-]."""

_ROLLS = 1.0  # a slower car hardly rolls [m/s]
_WINDOW = 0.4  # over which acceleration is taken from speed [s]


@dataclass(frozen=True)
class Correcting:
    """What a log is corrected with.

    Parameters
    ----------
    scenario : Scenario
        The car, and the conditions that all logs are brought to.
    correction : Correction or None
        Formula for the torque; None leaves the torque alone.
    boosted : bool
        Whether the engine holds its own charge pressure, so that the factor is 1.
    """

    scenario: Scenario
    correction: Correction | None = None
    boosted: bool = False


@dataclass(frozen=True)
class Days:
    """What was different on the days of some logs.

    Parameters
    ----------
    changes : sequence of mapping of str to object
        For each log, such as ``{"air.temperature": "4 degC"}``; none for those that are left out at the end.
    correction : Correction or None
        Formula for the torque; None leaves the torque alone.
    boosted : bool
        Whether the engine holds its own charge pressure, so that the factor is 1.
    """

    changes: Sequence[Mapping[str, object]] = ()
    correction: Correction | None = None
    boosted: bool = False

    def correcting(self, scenario: Scenario) -> Correcting | None:
        """What logs are corrected with; None where nothing was different.

        Raises
        ------
        UsageError
            A formula, but nothing that was different.
        """
        if any(self.changes):
            return Correcting(scenario, self.correction, self.boosted)
        if self.correction or self.boosted:
            raise UsageError("torque is corrected to other weather, but no log says what weather it had (--for-log)")
        return None

    def of(self, count: int) -> list[Mapping[str, object]]:
        """Changes of so many logs.

        Raises
        ------
        UsageError
            There are fewer logs.
        """
        if len(self.changes) > count:
            raise UsageError(f"conditions of {len(self.changes)} logs are stated; there are {count}")
        return [*self.changes, *[{}] * (count - len(self.changes))]


SAME_DAY = Days()
"""Nothing is known of the days of the logs."""


def day_of(scenario: Scenario, changes: Mapping[str, object], place: str) -> Scenario:
    """The scenario in the conditions of one log.

    Raises
    ------
    UsageError
        A key that no log is corrected for.
    """
    for key in changes:
        if not key.startswith("air.") and key not in KEYS:
            raise UsageError(
                f"{place}: no log is corrected for {quoted(key)}; write a key of the air, such as air.temperature, "
                f"or {' or '.join(KEYS)}"
            )
    if "air.pressure" in changes and scenario.air.altitude is not None:
        kept = scenario.air.model_dump(exclude_unset=True, exclude_none=True)  # a barometer outranks the altitude
        own = {key: value for key, value in kept.items() if key != "altitude"}
        stated = {key.removeprefix("air."): value for key, value in changes.items() if key.startswith("air.")}
        changes = {"air": {**own, **stated}, **{k: v for k, v in changes.items() if not k.startswith("air.")}}
    return scenario.replace(changes) if changes else scenario


def torque_factor(given: Correcting, day: Scenario) -> tuple[float, str]:
    """Torque in the air of the scenario over torque in that of the day, and what it comes from."""
    if given.correction is None:
        return 1.0, "torque not corrected"
    weathers = (scenario_weather(each.air) for each in (day, given.scenario))
    here, there = (factor(given.correction, each, boosted=given.boosted) for each in weathers)
    ratio = here.value / there.value
    doubt = f"; {DOUBT}" if here.flagged or there.flagged else ""
    if given.boosted:
        return ratio, "torque factor 1: the engine holds its own charge pressure"
    return ratio, f"torque times {ratio:.4f} by {given.correction}{doubt}"


def steady_acceleration(time: Array, speed: Array) -> Array:
    """Acceleration from speed, by parabolas over 0.4 s [m/s^2].

    Source: Savitzky and Golay, Analytical Chemistry 36 (1964) 1627, as in SciPy.
    """
    step = max(float(np.median(np.diff(time))), 1e-4)
    even = np.arange(time[0], time[-1] + 0.5 * step, step)
    width = max(5, 2 * round(0.5 * _WINDOW / step) + 1)
    if even.size <= width:
        return np.asarray(np.gradient(speed, time))
    slope = scipy.signal.savgol_filter(np.interp(even, time, speed), width, 2, deriv=1, delta=step)
    return np.asarray(np.interp(time, even, slope))


def _highest_near(time: Array, gained: Array) -> Array:
    """Largest acceleration within a second before and after [m/s^2]."""
    step = max(float(np.median(np.diff(time))), 1e-4)
    return np.asarray(scipy.ndimage.maximum_filter1d(gained, 2 * max(1, round(1.0 / step)) + 1))


def _gears(trace: Trace, car: Car) -> tuple[Array, Any]:
    """Gear of every sample, from 1, and whether engine and wheels are seen to turn together."""
    speed, count = trace["speed"], int(car.gearbox.count)
    if "engine_speed" in trace:
        return nearest_gear(speed, trace["engine_speed"], car)
    shifts = np.asarray(car.gearbox.shift_road_speed[: count - 1])
    gear = np.searchsorted(shifts, np.maximum.accumulate(speed), side="right") + 1.0
    return np.asarray(gear), np.ones(speed.size, np.bool_)


def brought_to(trace: Trace, given: Correcting, day: Scenario, place: str) -> tuple[Trace, str]:
    """A run as it would have been in the conditions of the scenario, and what was done to it.

    Raises
    ------
    UsageError
        The torque is to be corrected, and the log has no engine speed.
    """
    ratio, account = torque_factor(given, day)
    if ratio != 1.0 and "engine_speed" not in trace:
        raise UsageError(
            f"{place}: torque is corrected only while engine and wheels turn together, which engine speed shows, and "
            "this log has none; leave --to-correction out, or log engine speed"
        )
    name = given.scenario.curve_names[0]
    here, there = (runnable(each, name, Pedal.FULL) for each in (day, given.scenario))
    time, speed = trace.time, trace["speed"]
    gear, tied = _gears(trace, there)
    mass = np.array([mass_in_gear(there, k + 1) for k in range(int(there.gearbox.count))])[gear.astype(int) - 1]
    gained = steady_acceleration(time, speed)
    push = mass * gained + resistance(here, speed)
    after = (np.where(tied, ratio, 1.0) * push - resistance(there, speed)) / mass
    pulls = (gained > PULLS) & (after > PULLS) & (gained > FALLS * _highest_near(time, gained))
    stretch = np.where(pulls, gained / np.where(pulls, after, 1.0), 1.0)
    step = np.diff(time)
    moved = np.concatenate([[0.0], np.cumsum(0.5 * (stretch[1:] + stretch[:-1]) * step)])
    lost = np.where(pulls, 0.0, after - gained)
    lost[speed < _ROLLS] = 0.0  # a car that hardly rolls is held by its brakes, or by its clutch
    offset = np.concatenate([[0.0], np.cumsum(0.5 * (lost[1:] + lost[:-1]) * step)])
    kept = {name: values for name, values in trace.channels.items() if name not in ("distance", "acceleration")}
    kept["speed"] = np.maximum(speed + offset, 0.0)
    share = stretch * np.where(speed > _ROLLS, kept["speed"] / np.maximum(speed, _ROLLS), 1.0)
    way = np.diff(with_distance(trace)["distance"])
    kept["distance"] = np.concatenate([[0.0], np.cumsum(0.5 * (share[1:] + share[:-1]) * way)])
    return Trace(time[0] + moved, kept), account
