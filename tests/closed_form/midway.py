"""Runs that begin where a problem solved by hand begins, and values read from them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicHermiteSpline
from scipy.optimize import brentq

from simlaunch.integrator.control import Accuracy
from simlaunch.integrator.sampling import make_samples
from simlaunch.physics import state as at
from simlaunch.record import Record
from simlaunch.simulation import channels, kernel
from simlaunch.simulation.bench import scales
from simlaunch.simulation.run import complete

Array = NDArray[np.float64]
_SLOPES = {"distance": "speed", "speed": "acceleration"}


@dataclass(frozen=True)
class Stretch:
    """Part of a run: samples of the state, and the channels that follow from them."""

    time: Array
    state: Array
    derived: Array
    phases: NDArray[np.void]
    events: tuple[tuple[float, int], ...]
    """Times and indices of the events."""

    def __getitem__(self, name: str) -> Array:
        """A channel by its name."""
        if name in channels.STATE_CHANNELS:
            return self.state[:, channels.STATE_CHANNELS[name]]
        return self.derived[:, channels.DERIVED_CHANNELS.index(name)]

    def event_time(self, event: int) -> float:
        """Time of the first event of a kind [s]."""
        return next(time for time, index in self.events if index == event)


def in_gear(speed: float, car: Record, *, coupling: int = at.STUCK) -> tuple[Array, Record]:
    """State and phase of a car that rolls in first gear without slip, nothing wound up."""
    phase = at.first_phase()
    phase.stage, phase.coupling, phase.slip_direction = at.DRIVING, coupling, 1
    y = np.zeros(at.STATES)
    y[at.SPEED] = speed
    y[at.WHEEL_FRONT], y[at.WHEEL_REAR] = speed / car.front.radius, speed / car.rear.radius
    y[at.SHAFT_SPEED] = y[at.WHEEL_REAR]
    y[at.INPUT_SPEED] = y[at.ENGINE_SPEED] = car.gearbox.ratio[0] * y[at.SHAFT_SPEED]
    y[at.BOOST] = 1.0
    return y, phase


def run_on(car: Record, start: tuple[Array, Record], duration: float, *, tolerance: float = 1e-10) -> Stretch:
    """What a car does for a time [s] from a state and a phase."""
    y, phase = start
    complete(car)
    car.run.time_limit = duration
    car.run.stop_distance = car.run.stop_speed = 1e9
    samples = make_samples(400_000, at.STATES)
    log = kernel.PhaseLog(np.zeros(300, dtype=at.PHASE).view(np.recarray), np.zeros(300), np.full(300, -1, np.int64))
    accuracy = Accuracy(tolerance, scales(), 0.05, 2.5e-3)
    work = kernel.launch_work()
    work.state[:] = y
    ending = kernel.run_compiled(car, phase, accuracy, work, samples, log)
    assert ending.status == kernel.TIME_LIMIT, ending
    n = int(samples.cursor[0])
    derived = np.empty((n, len(channels.DERIVED_CHANNELS)))
    channels.derive(
        samples.time[:n], samples.state[:n], samples.segment[:n], log.phase, car, work, derived, (True, True)
    )
    happened = tuple((float(log.start[i]), int(log.event[i])) for i in range(ending.segments))
    return Stretch(samples.time[:n], samples.state[:n], derived, log.phase, happened)


def time_at(run: Stretch, name: str, value: float) -> float:
    """Time at which distance or speed passes a value, rising or falling, by Hermite cubics between samples [s]."""
    channel, slope = run[name], run[_SLOPES[name]]
    sides = np.sign(channel - value)
    i = int(np.flatnonzero(sides[1:] != sides[0])[0])
    pair = slice(i, i + 2)
    cubic = CubicHermiteSpline(run.time[pair], channel[pair], slope[pair])
    return float(brentq(lambda t: cubic(t) - value, run.time[i], run.time[i + 1], xtol=1e-13))


def value_at(run: Stretch, name: str, time: float) -> float:
    """Distance or speed at a time, by Hermite cubics between samples."""
    i = int(np.searchsorted(run.time, time)) - 1
    pair = slice(i, i + 2)
    return float(CubicHermiteSpline(run.time[pair], run[name][pair], run[_SLOPES[name]][pair])(time))
