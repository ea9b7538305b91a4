"""What torque is worth: seconds per N m in each band of engine speed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import isnan

import numpy as np
from numpy.typing import NDArray

from simlaunch.choices import word_of
from simlaunch.curves.bump import band_middles, raise_curve
from simlaunch.curves.gear_worth import Use, follow, gear_gains, use_of_bands, visited
from simlaunch.errors import TargetNotReached
from simlaunch.launching.goals import target_label
from simlaunch.launching.launches import Cars, as_many, column, make_ready, measure_all
from simlaunch.launching.out_of_reach import given_time
from simlaunch.launching.targets import target_named
from simlaunch.metrics.full_load import limited_gears
from simlaunch.metrics.many import GRIP
from simlaunch.metrics.marks import Target
from simlaunch.parameters.fill import lower
from simlaunch.physics.table import values_at
from simlaunch.record import Car, Pedal
from simlaunch.results import Result
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.replacing import with_gear_sets
from simlaunch.stretches import stretches_of
from simlaunch.units.quantity import RPM

Array = NDArray[np.float64]

TOLERANCE = 1e-5
"""Relative error allowed per step: the times of curves that are so alike share it, and it drops out of their difference
[-]."""

STEP = 2.0
"""Torque by which a curve is raised and lowered; twice as much shows how sure the result is [N m]."""

_STEPS = (STEP, -STEP, 2.0 * STEP, -2.0 * STEP)


_MOSTLY = 0.9  # share of the time in a band with slip past the peak, from which more torque there is said to spin [-]
_NOTABLE = RPM  # an engine speed beyond the end of a curve by less is not worth a word [rad/s]
_OUTWARDS = (-1.0, 1.0)


@dataclass(frozen=True)
class PedalWorth:
    """What torque is worth with one pedal.

    Parameters
    ----------
    pedal : Pedal
        Full load throughout, or held slip.
    time : float
        Time of the curve as it is [s].
    gain : ndarray, shape (n,)
        Time gained for each N m more in a band; below zero where more torque costs time [s/(N m)].
    noise : ndarray, shape (n,)
        Difference between the gains found with two step sizes [s/(N m)].
    spin : ndarray, shape (n,)
        Wheelspin time added for each N m more in a band [s/(N m)].
    whole : float
        Time gained for each N m by which the whole curve is raised [s/(N m)].
    whole_noise : float
        Difference between two step sizes [s/(N m)].
    gears : ndarray, shape (gears, n)
        Gain of torque that acts in one gear only; no rows where that was not asked for [s/(N m)].
    use : Use
        Where the engine runs.
    """

    pedal: Pedal
    time: float
    gain: Array
    noise: Array
    spin: Array
    whole: float
    whole_noise: float
    gears: Array
    use: Use


@dataclass(frozen=True)
class GearSetWorth:
    """What torque is worth for one curve of a car with one gear set.

    Parameters
    ----------
    gear_set : str
        Name of the gear set.
    curve : str
        Name of the curve.
    target : Target
        What it is judged by.
    middles : ndarray, shape (n,)
        Middles of the bands; a band fades out at the middles of its neighbours [rad/s].
    torque : ndarray, shape (n,)
        Full-load torque there [N m].
    given : tuple of float
        First and last engine speed for which the curve gives torque; beyond them that torque is held [rad/s].
    given_torque : tuple of float
        Torque there [N m].
    pedals : tuple of PedalWorth
        Full pedal, then held slip.
    limited_gears : tuple of int
        Gears with a torque limit of their own, which stays where it is, but for torque in one gear only; first is 1.
    """

    gear_set: str
    curve: str
    target: Target
    middles: Array
    torque: Array
    given: tuple[float, float]
    given_torque: tuple[float, float]
    pedals: tuple[PedalWorth, ...]
    limited_gears: tuple[int, ...] = ()

    def of(self, pedal: Pedal) -> PedalWorth:
        """Result with one of the pedals."""
        return next(each for each in self.pedals if each.pedal is pedal)

    @property
    def width(self) -> float:
        """Distance of the middles of two bands [rad/s]."""
        return float(self.middles[1] - self.middles[0])

    @property
    def run(self) -> tuple[float, float]:
        """Lowest and highest engine speed of what is timed, with either pedal [rad/s]."""
        return min(each.use.low for each in self.pedals), max(each.use.high for each in self.pedals)

    @property
    def open_ends(self) -> tuple[bool, bool]:
        """Whether the first and the last band take in more than their width, since the engine runs beyond them."""
        low, high = self.run
        half = 0.5 * self.width
        return bool(low < self.middles[0] - half), bool(high > self.middles[-1] + half)

    @property
    def inner(self) -> slice:
        """Bands that are bands: those at an end that the engine runs beyond are left out."""
        below, above = self.open_ends
        return slice(int(below), self.middles.size - int(above))


@dataclass(frozen=True, repr=False)
class Worth(Result):
    """What torque is worth for one curve of a scenario.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    gear_sets : tuple of GearSetWorth
        The car as described first; the other gear sets of the scenario where they were asked for.
    """

    study = "worth"

    scenario: Scenario
    gear_sets: tuple[GearSetWorth, ...]

    @property
    def first(self) -> GearSetWorth:
        """The car as described."""
        return self.gear_sets[0]


@dataclass(frozen=True)
class Span:
    """Neighbouring bands taken together.

    Parameters
    ----------
    first, last : float
        Where the outer bands have faded to a half [rad/s].
    gains : tuple of float
        Time gained for each N m more in all of them, full pedal and held slip [s/(N m)].
    spins : bool
        Whether with full pedal the engine runs in every one of them with slip past the peak, and more torque there
        adds wheelspin time.
    """

    first: float
    last: float
    gains: tuple[float, float]
    spins: bool


def _span(found: GearSetWorth, first: int, last: int) -> Span:
    half, within = 0.5 * found.width, slice(first, last + 1)
    full, held = found.of(Pedal.FULL), found.of(Pedal.HELD_SLIP)
    gains = float(full.gain[within].sum()), float(held.gain[within].sum())
    first_end, last_end = found.middles[[first, last]] + np.array([-half, half])
    ends = np.clip((first_end, last_end), found.middles[0], found.middles[-1])  # the curve ends in the outermost bands
    past_peak = bool((full.use.past_peak[within] >= _MOSTLY).all())  # nan, where the engine does not run, is no yes
    return Span(float(ends[0]), float(ends[1]), gains, past_peak and bool(full.spin[within].sum() > 0.0))


def best_span(found: GearSetWorth) -> Span | None:
    """Neighbouring bands in which torque is worth most with full pedal, for how wide they are.

    The sum over the square root of the number of bands is greatest, so no span of as many bands, or of fewer, is worth
    more. A band that takes in all that lies beyond the curve is left out.

    Parameters
    ----------
    found : GearSetWorth
        What torque is worth.

    Returns
    -------
    Span or None
        None where no torque gains time.
    """
    inner = found.inner
    before = np.r_[0.0, np.cumsum(found.of(Pedal.FULL).gain[inner])]
    sums = before[None, 1:] - before[:-1, None]  # of the bands from the row to the column
    wide = np.arange(1, sums.shape[0] + 1)[None, :] - np.arange(sums.shape[0])[:, None]
    scores = np.where(wide > 0, sums / np.sqrt(np.maximum(wide, 1)), -np.inf)
    if not scores.size or scores.max() <= 0.0:
        return None
    first, last = np.unravel_index(int(np.argmax(scores)), scores.shape)
    return _span(found, inner.start + int(first), inner.start + int(last))


def costly_span(found: GearSetWorth) -> Span | None:
    """Neighbouring bands in which more torque costs most time with full pedal.

    Parameters
    ----------
    found : GearSetWorth
        What torque is worth.

    Returns
    -------
    Span or None
        None where no band costs more than its noise.
    """
    full = found.of(Pedal.FULL)
    costs = np.zeros(found.middles.size, bool)
    costs[found.inner] = (full.gain < -np.maximum(full.noise, 1e-9))[found.inner]
    spun = full.use.past_peak >= _MOSTLY  # a span is either of bands that spin the tyres or of others
    stretches = [*stretches_of(costs & spun), *stretches_of(costs & ~spun)]
    return min(
        (_span(found, first, behind - 1) for first, behind in stretches), key=lambda span: span.gains[0], default=None
    )


@dataclass(frozen=True)
class Beyond:
    """An end of the curve that the engine runs beyond, where the torque of that end is held.

    Parameters
    ----------
    end : float
        Last engine speed for which torque is given [rad/s].
    torque : float
        Torque there, and beyond it [N m].
    reached : float
        Engine speed that the timed part of a launch comes to [rad/s].
    band : Span or None
        The outermost band, where it takes in what lies beyond; None where that is no more than its own width.
    """

    end: float
    torque: float
    reached: float
    band: Span | None


def beyond(found: GearSetWorth) -> tuple[Beyond | None, Beyond | None]:
    """What the engine does below the first and above the last engine speed for which torque is given.

    Parameters
    ----------
    found : GearSetWorth
        What torque is worth.

    Returns
    -------
    tuple of Beyond or None
        Below, then above; None where the engine does not run beyond that end.
    """
    return tuple(_beyond(found, which) for which in range(2))  # type: ignore[return-value]


def _beyond(found: GearSetWorth, which: int) -> Beyond | None:
    end, reached = found.given[which], found.run[which]
    if (reached - end) * _OUTWARDS[which] <= _NOTABLE:
        return None
    last = found.middles.size - 1
    band = _span(found, *((0, 0) if which == 0 else (last, last))) if found.open_ends[which] else None
    return Beyond(end, found.given_torque[which], reached, band)


def unused(found: GearSetWorth) -> tuple[float, float]:
    """Engine speeds below and above which the engine does not run in what is timed, to a band.

    Parameters
    ----------
    found : GearSetWorth
        What torque is worth.

    Returns
    -------
    tuple of float
        Middles of bands; the first and the last where the engine runs everywhere [rad/s].
    """
    low, high = found.run
    below = found.middles[found.middles <= low]
    above = found.middles[found.middles >= high]
    return float(below[-1] if below.size else found.middles[0]), float(above[0] if above.size else found.middles[-1])


@dataclass(frozen=True)
class _Trial:
    """One car with one pedal, and the launches that weigh its torque.

    The first is that of the unchanged curve; then there are four for each band, and four for the whole curve.
    """

    pedal: Pedal
    car: Car
    asked: float  # engine speed that the launch asks for; a stronger engine comes nearer to it against a converter
    middles: Array
    bands: NDArray[np.int64]  # through which the engine goes
    use: Use

    def cars(self) -> Cars:
        """Records of all launches."""
        count = self.middles.size
        shares = [*np.eye(count)[self.bands], np.ones(count)]
        many = as_many([self.car] * (1 + len(_STEPS) * len(shares)))
        raised = many.view(np.recarray)
        for place, (share, step) in enumerate(((share, step) for share in shares for step in _STEPS), start=1):
            raised[place].launch.engine_speed = self.asked
            raise_curve(raised[place].engine.torque, self.middles, share, step)
        return many

    def judged(self, times: Array, spin: Array, gears: Array) -> PedalWorth:
        """What the times of all launches come to."""
        (slope, noise), (spun, _) = _slopes(times), _slopes(spin)
        gain, noises, spins = np.zeros((3, self.middles.size))
        gain[self.bands], noises[self.bands], spins[self.bands] = -slope[:-1], noise[:-1], spun[:-1]
        whole = (-float(slope[-1]), float(noise[-1]))
        return PedalWorth(self.pedal, float(times[0]), gain, noises, spins, *whole, gears, self.use)


def _slopes(values: Array) -> tuple[Array, Array]:
    """Change with torque by paired differences, and how far two step sizes differ."""
    pairs = values[1:].reshape(-1, len(_STEPS))
    near = (pairs[:, 0] - pairs[:, 1]) / (2.0 * STEP)
    far = (pairs[:, 2] - pairs[:, 3]) / (4.0 * STEP)
    return near, np.abs(far - near)


def pedal_worth(
    car: Car,
    target: Target,
    *,
    bands: int | None = None,
    by_gear: bool = False,
    tolerance: float = TOLERANCE,
    workers: int | None = None,
) -> tuple[Array, PedalWorth]:
    """What torque is worth for one car with the pedal that it has.

    Parameters
    ----------
    car : Car
        The car; left as it is.
    target : Target
        What it is judged by.
    bands : int, optional
        Number of bands; every 250 rpm if left out.
    by_gear : bool
        Whether torque that acts in a single gear is weighed too.
    tolerance : float
        Relative error allowed per step [-].
    workers : int, optional
        Threads.

    Returns
    -------
    tuple of ndarray and PedalWorth
        Middles of the bands [rad/s], and what was found.

    Raises
    ------
    UsageError
        A number of bands or a tolerance out of range.
    """
    car = as_many([car]).view(np.recarray)[0]
    asked = make_ready(car, (target,))
    middles = band_middles(car, bands)
    base = follow(as_many([car]).view(np.recarray)[0], None, tolerance)
    use = use_of_bands(base, middles, target)
    trial = _Trial(Pedal(int(car.pedal.kind)), car, asked, middles, visited(base, middles), use)
    measured = measure_all(trial.cars(), (target,), tolerance, workers, groups=(GRIP,))
    times = column(measured, (target,), f"time {target.label}")
    spin = column(measured, (target,), "wheelspin time")
    none = np.empty((0, middles.size))
    gears = gear_gains(car, asked, middles, target, STEP, tolerance) if by_gear else none
    return middles, trial.judged(times, spin, gears)


def worth(
    scenario: Scenario,
    curve: str | None = None,
    target: str | None = None,
    *,
    bands: int | None = None,
    each_gear: bool = False,
    each_gear_set: bool = False,
    tolerance: float | None = None,
    workers: int | None = None,
) -> Worth:
    """What torque is worth in each band of engine speed, with both pedals.

    Central differences of the time between a curve raised and lowered in a band. The bands add up to the whole curve.
    Shift speeds stay where the curve itself puts them, and so
    do torque limits by gear, but for that of the gear in which alone torque acts.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    curve : str, optional
        Name of the curve; the first one if left out.
    target : str, optional
        What it is judged by, such as ``"1/4 mile"`` or ``"80 km/h to 120 km/h"``; the scenario's goal if left out.
    bands : int, optional
        Number of bands; every 250 rpm if left out.
    each_gear : bool
        Whether torque that acts in a single gear is weighed too.
    each_gear_set : bool
        Whether torque is weighed with every gear set of the scenario.
    tolerance : float, optional
        Relative error allowed per step [-].
    workers : int, optional
        Threads.

    Returns
    -------
    Worth
        Gains [s/(N m)] with their noise.

    Raises
    ------
    UsageError
        No such curve or target, or a number of bands or a tolerance out of range.
    TargetNotReached
        The car does not reach the target with the curve as it is.
    """
    name = scenario.curve(curve or scenario.curve_names[0]).name
    found, error = [], TOLERANCE if tolerance is None else tolerance
    for gear_set, geared in with_gear_sets(scenario, every=each_gear_set).items():
        aimed = target_named(geared, target)
        cars = [lower(geared, name, pedal) for pedal in Pedal]
        weighed = [
            pedal_worth(car, aimed, bands=bands, by_gear=each_gear, tolerance=error, workers=workers) for car in cars
        ]
        for car, (_, each) in zip(cars, weighed, strict=True):
            if isnan(each.time):
                raise _not_reached(aimed, name, car)
        found.append(_of_gear_set(gear_set, name, aimed, cars[0], weighed))
    return Worth(scenario, tuple(found))


def _not_reached(target: Target, curve: str, car: Car) -> TargetNotReached:
    """That torque has no worth for a target, why the launch does not get there, and what to write instead."""
    make_ready(car, (target,))
    pedal, limit = Pedal(int(car.pedal.kind)), f"{float(car.run.time_limit):g} s"
    how = f" and {word_of(pedal)}" if pedal is Pedal.HELD_SLIP else ""
    missed = f'{target_label(target)} is not reached with curve "{curve}"{how} within {limit}'
    return TargetNotReached(f"{missed}, so torque has no worth for it; {given_time(car, (target,)).why}")


def _of_gear_set(
    gear_set: str, curve: str, target: Target, car: Car, weighed: Sequence[tuple[Array, PedalWorth]]
) -> GearSetWorth:
    middles, table = weighed[-1][0], car.engine.torque
    ends = table.knot[[0, int(table.count) - 1]]
    held = values_at(table, ends)
    given, given_torque = (float(ends[0]), float(ends[1])), (float(held[0]), float(held[1]))
    pedals, limited = tuple(each for _, each in weighed), limited_gears(car)
    torque = values_at(table, middles)
    return GearSetWorth(gear_set, curve, target, middles, torque, given, given_torque, pedals, limited)
