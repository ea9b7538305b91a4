"""What torque is worth that acts in one gear only.

The car of a launch is changed while it runs: up to the gear the launch is that of the curve as it is, through the gear
the curve is raised in one band, and from the next gear on it is again as it was. A torque limit of that gear is raised
with the curve, since the question is what the gear gains from more torque; limits of other gears stay.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from simlaunch.curves.bump import raise_curve, raise_gear
from simlaunch.launching.launches import as_many
from simlaunch.metrics.ceiling import driven_axles
from simlaunch.metrics.marks import Kind, Target, mark
from simlaunch.physics import state as at
from simlaunch.physics.pedal import carrying_gear
from simlaunch.record import Car, Record
from simlaunch.simulation import channels, kernel, prepare
from simlaunch.simulation.bench import Bench, make_bench
from simlaunch.simulation.trace import Trace

Array = NDArray[np.float64]

_CAPACITY = 40_000
_CLOCKS = ("stage_start", "engagement_start", "brake_off")
_ACCELERATION = channels.DERIVED_CHANNELS.index("acceleration")


@dataclass(frozen=True)
class Start:
    """Where a stretch of a launch begins: time, how long the stretch before it has run by then, state, and phase."""

    time: float
    elapsed: float
    state: Array
    phase: Record


@dataclass(frozen=True)
class Stretch:
    """A stretch of a launch with one and the same car; times are those of the whole launch."""

    time: Array
    state: Array
    acceleration: Array
    segment: NDArray[np.int64]
    phases: NDArray[np.void]  # their clocks start with the stretch
    begun: float
    zero: float  # time at which brakes let go
    spin_margin: Array  # greatest slip of a driven axle less its slip of peak force [-]

    def in_gear(self, gear: int) -> NDArray[np.bool_]:
        """Samples at which a gear carries the torque."""
        carrying = np.array([carrying_gear(phase) for phase in self.phases])
        return np.asarray(carrying[self.segment] == gear)

    def first_after(self, gear: int) -> Start | None:
        """Where a higher gear begins to carry the torque."""
        carrying = np.array([carrying_gear(phase) for phase in self.phases])
        rows = np.flatnonzero(carrying[self.segment] > gear)
        if not rows.size:
            return None
        row = int(rows[0])
        time = float(self.time[row])
        return Start(time, time - self.begun, self.state[row].copy(), self.phases[self.segment[row]].copy())

    def timed(self, target: Target) -> slice:
        """Samples of the part of the launch that a target times; the whole of it where it does not get there."""
        way = self.state[:, at.DISTANCE if target.by_distance else at.SPEED]
        there = np.flatnonzero(way >= target.end)
        begun = np.flatnonzero(way >= target.start) if target.kind is Kind.SPAN else np.zeros(1, np.int64)
        first = int(begun[0]) if begun.size else 0
        return slice(first, int(there[0]) + 1 if there.size else None)

    def until(self, end: float) -> tuple[Array, Array, Array]:
        """Time, state and acceleration up to a time, at which another stretch goes on."""
        kept = self.time < end
        return self.time[kept], self.state[kept], self.acceleration[kept]


def _begin(car: Car, start: Start | None, bench: Bench) -> None:
    """Set state and phase with which a stretch begins; clocks of the phase start from there."""
    phase = bench.phase[0]
    if start is None:
        prepare.complete(car, bench.work, phase)
        prepare.begin(car, bench.work, phase)
        return
    bench.work.state[:] = start.state
    for name in phase.dtype.names or ():
        phase[name] = start.phase[name] - (start.elapsed if name in _CLOCKS else 0)


def follow(car: Car, start: Start | None, tolerance: float) -> Stretch:
    """Run a car from a start, or from rest, to its targets.

    Parameters
    ----------
    car : Car
        The car, aimed at its targets; from rest, what it leaves open is filled in.
    start : Start or None
        Where another car has come to by then.
    tolerance : float
        Relative error allowed per step [-].

    Returns
    -------
    Stretch
        What it does from there.
    """
    bench, begun = make_bench(tolerance, _CAPACITY), start.time if start else 0.0
    _begin(car, start, bench)
    phase, samples, log = bench.phase[0], bench.samples, bench.log
    ending = kernel.run_compiled(car, phase, bench.accuracy, bench.work, samples, log)
    count = int(samples.cursor[0])
    time, state, segment = samples.time[:count], samples.state[:count], samples.segment[:count]
    derived = np.empty((count, len(channels.DERIVED_CHANNELS)))
    channels.derive(time, state, segment, log.phase, car, bench.work, derived, (True, True))
    phases, acceleration, zero = log.phase[: ending.segments], derived[:, _ACCELERATION].copy(), begun + phase.brake_off
    return Stretch(time + begun, state, acceleration, segment, phases, begun, float(zero), _spin_margin(car, derived))


def _spin_margin(car: Car, derived: Array) -> Array:
    """How far the driven axle that slips most is past its slip of peak force; below zero where none is."""
    axles = [
        derived[:, channels.DERIVED_CHANNELS.index(f"slip_{end}")]
        - derived[:, channels.DERIVED_CHANNELS.index(f"peak_slip_{end}")]
        for end, driven in zip(("front", "rear"), driven_axles(car), strict=True)
        if driven
    ]
    return np.asarray(np.max(axles, axis=0))


def _joined(parts: list[tuple[Array, Array, Array]], zero: float) -> Trace:
    time, state, acceleration = (np.concatenate(each) for each in zip(*parts, strict=True))
    named = {"speed": state[:, at.SPEED], "distance": state[:, at.DISTANCE], "acceleration": acceleration}
    return Trace(time - zero, named, ())


@dataclass(frozen=True)
class _Trial:
    """The launch with the curve as it is, and what it is judged by."""

    car: Car
    raised: Car
    base: Stretch
    target: Target
    tolerance: float

    def time(self, gear: int) -> float:
        """Time when a raised curve acts in one gear."""
        start = self.base.first_after(gear - 1) if gear else None
        within = follow(self.raised, start, self.tolerance)
        before = [] if start is None else [self.base.until(start.time)]
        zero = within.zero if start is None else self.base.zero
        after = within.first_after(gear)
        if after is None:
            return mark(_joined([*before, within.until(np.inf)], zero), self.target).time
        rest = follow(self.car, after, self.tolerance)
        parts = [*before, within.until(after.time), rest.until(np.inf)]
        return mark(_joined(parts, zero), self.target).time


def visited(base: Stretch, middles: Array, gear: int | None = None) -> NDArray[np.int64]:
    """Bands through which the engine goes; torque in any other band changes nothing.

    Parameters
    ----------
    base : Stretch
        A whole launch.
    middles : ndarray, shape (n,)
        Middles of the bands [rad/s].
    gear : int, optional
        Index of the gear; any gear if left out [-].

    Returns
    -------
    ndarray
        Indices of bands.
    """
    speeds = base.state[slice(None) if gear is None else base.in_gear(gear), at.ENGINE_SPEED]
    if not speeds.size:
        return np.zeros(0, np.int64)
    width = middles[1] - middles[0]
    return np.flatnonzero((middles > speeds.min() - width) & (middles < speeds.max() + width))


@dataclass(frozen=True)
class Use:
    """Where the engine runs in the part of a launch that is timed.

    Parameters
    ----------
    low, high : float
        Lowest and highest engine speed [rad/s].
    past_peak : ndarray, shape (n,)
        Share of the time in each band in which a driven tyre slips past its peak; nan where the engine is not [-].
    """

    low: float
    high: float
    past_peak: Array


def use_of_bands(base: Stretch, middles: Array, target: Target) -> Use:
    """Where the engine runs while it is timed; every sample counts for the band whose middle is nearest."""
    rows = base.timed(target)
    speeds, past = base.state[rows, at.ENGINE_SPEED], base.spin_margin[rows] > 0.0
    lasting = np.diff(base.time[rows], append=base.time[rows][-1:])
    nearest = np.clip(np.rint((speeds - middles[0]) / (middles[1] - middles[0])), 0, middles.size - 1).astype(np.int64)
    whole, spun = (np.bincount(nearest, lasting * part, middles.size) for part in (np.ones(past.size), past))
    shares = np.divide(spun, whole, out=np.full(middles.size, np.nan), where=whole > 0.0)
    return Use(float(speeds.min()), float(speeds.max()), shares)


def gear_gains(car: Car, asked: float, middles: Array, target: Target, step: float, tolerance: float) -> Array:
    """Time gained by torque that acts in one gear only, for every gear and band; a limit of that gear is raised too.

    Parameters
    ----------
    car : Car
        The car, complete and aimed at the target.
    asked : float
        Engine speed that the launch asks for [rad/s].
    middles : ndarray, shape (n,)
        Middles of the bands [rad/s].
    target : Target
        What the time is taken to.
    step : float
        Torque by which the curve is raised and lowered [N m].
    tolerance : float
        Relative error allowed per step [-].

    Returns
    -------
    ndarray, shape (gears, n)
        Gain; nan in a gear that the launch does not come to [s/(N m)].
    """
    copies = as_many([car, car]).view(np.recarray)
    base = follow(copies[0], None, tolerance)
    gains = np.zeros((int(car.gearbox.count), middles.size))
    for gear in range(len(gains)):
        if not base.in_gear(gear).any():
            gains[gear] = np.nan
        for band in visited(base, middles, gear):
            times = []
            for change in (step, -step):
                copies[1] = car
                copies[1].launch.engine_speed = asked
                share = np.eye(middles.size)[band]
                raise_curve(copies[1].engine.torque, middles, share, change)
                raise_gear(copies[1].engine, gear, middles, share, change)
                times.append(_Trial(copies[0], copies[1], base, target, tolerance).time(gear))
            gains[gear, band] = (times[1] - times[0]) / (2.0 * step)
    return gains
