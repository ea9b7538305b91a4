"""Every plateau that a car can be given within its limits, and what launches with one come to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf, isfinite
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from simlaunch.analysis.bump import curve_speeds
from simlaunch.analysis.launches import Aim, Cars, as_many, column, measure_all
from simlaunch.analysis.limits import Limits
from simlaunch.analysis.ready import aim
from simlaunch.metrics.ceiling import usable_torque
from simlaunch.metrics.many import Measured
from simlaunch.metrics.parts import Part
from simlaunch.physics.table import values_at
from simlaunch.record import Record
from simlaunch.scenario.decision import Place
from simlaunch.simulation.run import complete

Array = NDArray[np.float64]

TOLERANCE = 1e-4
"""Relative error allowed per step: times are off by a tenth of a millisecond at most, a tenth of what counts [-]."""

RISE, HEIGHT, FALL = "rise of the curve", "height of the plateau", "fall after the plateau"

_HEADROOM = 1.5  # highest plateau that is tried over the peak that is wished for, where nothing limits it
_OVER_RATING = 1.1  # torque over the rating of a part by which its peak may lie lower, since inertia takes some


class Shape(NamedTuple):
    """A plateau with the rise to it and the fall after it."""

    height: float
    """Torque [N m]."""
    start: float
    """Engine speed at which it is reached [rad/s]."""
    end: float
    """Engine speed from which torque falls, at the same power [rad/s]."""


@dataclass(frozen=True)
class Point:
    """One curve, launched.

    Parameters
    ----------
    shape : Shape
        Its plateau.
    score : float
        Weighted sum of its times [s].
    times : tuple of float
        Time to each target [s].
    peaks, steady : dict of Part to float
        Highest torque of each part, shocks included, and that in steady pull [N m].
    spin : float
        Wheelspin time [s].
    broken : dict of str to tuple of float
        Torque, and what is allowed, of each part that has too much [N m].
    """

    shape: Shape
    score: float
    times: tuple[float, ...]
    peaks: dict[Part, float]
    steady: dict[Part, float]
    spin: float
    broken: dict[str, tuple[float, float]]

    @property
    def sound(self) -> bool:
        """Whether the targets are reached and no part has too much."""
        return isfinite(self.score) and not self.broken

    @property
    def strain(self) -> float:
        """Steady torque at the gearbox input, for shocks hide the curve; the highest where there is none [N m]."""
        steady = self.steady[Part.GEARBOX_INPUT]
        return steady if isfinite(steady) else self.peaks[Part.GEARBOX_INPUT]


class Room:
    """All plateaus that a car can be given within the caps of its curve.

    Parameters
    ----------
    car : Record
        The car with the curve that is wished for; its gearbox may leave shift speeds open.
    limits : Limits
        What the curve must keep to.
    aims : Aim
        What it is judged by.
    tolerance : float
        Relative error allowed per step [-].
    workers : int or None
        Threads.
    within_grip : bool
        Whether the torque in each gear keeps to what the tyres can use there, at any engine speed.

    Raises
    ------
    UsageError
        A mean pressure without a displacement.
    """

    def __init__(
        self,
        car: Record,
        limits: Limits,
        aims: Aim,
        tolerance: float = TOLERANCE,
        workers: int | None = None,
        *,
        within_grip: bool = False,
    ) -> None:
        self.car = as_many([car]).view(np.recarray)[0]
        aim(self.car, aims.targets)
        self.limits, self.aims, self.tolerance, self.workers = limits, aims, tolerance, workers
        self.speeds = curve_speeds(car)
        self.caps = limits.caps(self.speeds)
        self.wish_torque = values_at(car.engine.torque, self.speeds)
        self.foot = float(self.wish_torque[0])
        steepest = float(np.max(np.diff(self.wish_torque) / np.diff(self.speeds)))
        self.rise = steepest if limits.rise is None else limits.rise
        self.top = self._highest()
        self.within_grip = within_grip
        self.ceilings = self._ceilings() if within_grip else (inf,) * int(car.gearbox.count)

    def _ceilings(self) -> tuple[float, ...]:
        """Most torque that the tyres can use in each gear at any engine speed; infinite above every plateau [N m]."""
        complete(car := as_many([self.car]).view(np.recarray)[0])
        gears = range(1, int(car.gearbox.count) + 1)
        least = [float(usable_torque(car, gear, self.speeds).min()) for gear in gears]
        return tuple(torque if torque < self.top else inf for torque in least)

    def eased(self, factor: float) -> Room:
        """The same with all caps of the engine so many times as high."""
        eased = self.limits.eased(factor)
        return Room(self.car, eased, self.aims, self.tolerance, self.workers, within_grip=self.within_grip)

    def _highest(self) -> float:
        """Highest plateau that makes a difference: what caps, the rise and the ratings at the engine leave [N m]."""
        wished = _HEADROOM * float(self.wish_torque.max())
        rated = [part.rating.si for part in self.limits.parts if part.place in (Place.COUPLING, Place.GEARBOX_INPUT)]
        allowed = _OVER_RATING * min(rated, default=inf)
        if not self.caps:
            return min(wished, allowed)
        climb = self.foot + self.rise * (self.speeds - self.speeds[0]) if self.rise < inf else inf
        reach = np.minimum(np.min(list(self.caps.values()), axis=0), climb)
        return min(float(reach.max()), allowed)

    def _span(self, height: float) -> tuple[float, float]:
        """Earliest start and latest end of a plateau of a height [rad/s]."""
        first, last = float(self.speeds[0]), float(self.speeds[-1])
        climb = max(height - self.foot, 0.0)
        earliest = min(first + (climb / self.rise if self.rise < inf else 0.0), last)
        return earliest, max(self._under_caps(height), earliest)

    def shape(self, height: float, late: float, long: float) -> Shape:
        """Plateau of a height; `late` and `long` say from 0 to 1 how late it begins and how long it lasts."""
        earliest, last = self._span(height)
        start = earliest + late * (last - earliest)
        return Shape(height, start, start + long * (last - start))

    def place(self, shape: Shape, height: float | None = None) -> tuple[float, float]:
        """`late` and `long` of a shape, or of one of another height that begins and ends as near to it as it can."""
        earliest, last = self._span(shape.height if height is None else height)
        start, end = np.clip([shape.start, shape.end], earliest, last)
        late = (start - earliest) / (last - earliest) if last > earliest else 0.0
        return float(late), float((end - start) / (last - start)) if last > start else 1.0

    def _under_caps(self, height: float) -> float:
        """Highest engine speed up to which the caps leave room for a height [rad/s]."""
        lid = np.min(list(self.caps.values()), axis=0) if self.caps else np.full(self.speeds.size, inf)
        room = np.flatnonzero(lid >= height)
        if not room.size or room[-1] == lid.size - 1:
            return float(self.speeds[-1 if room.size else 0])
        k = int(room[-1])
        return float(np.interp(height, lid[[k + 1, k]], self.speeds[[k + 1, k]]))

    def parts_of(self, shape: Shape) -> dict[str, Array]:
        """Torque that each piece of a curve, and each cap, would allow at every engine speed."""
        first = self.speeds[0]
        along = np.clip((self.speeds - first) / max(shape.start - first, 1e-9), 0.0, 1.0)
        rising = np.where(self.speeds >= shape.start - 1e-9, inf, self.foot + along * (shape.height - self.foot))
        falling = np.where(self.speeds > shape.end, shape.height * shape.end / self.speeds, inf)
        level = np.full(self.speeds.size, shape.height)
        return {**self.caps, RISE: rising, FALL: falling, HEIGHT: level}

    def torque(self, shape: Shape) -> Array:
        """Full-load torque of a shape within the caps [N m]."""
        return np.asarray(np.min(list(self.parts_of(shape).values()), axis=0))

    def cars(self, shapes: Sequence[Shape], gear_limits: Sequence[Sequence[float]] | None = None) -> Cars:
        """Cars with these curves."""
        many = as_many([self.car] * len(shapes))
        torque = np.array([self.torque(shape) for shape in shapes])
        cubic = PchipInterpolator(self.speeds, torque, axis=1).c[::-1]
        table, count = many["engine"]["torque"], self.speeds.size
        table["count"] = count
        table["knot"][:, :count] = self.speeds
        table["cubic"][:, : count - 1] = np.moveaxis(cubic, (0, 1, 2), (2, 1, 0))
        table["cubic"][:, count - 1] = 0.0
        table["cubic"][:, count - 1, 0] = torque[:, -1]
        many["engine"]["gear_limit"][:, : len(self.ceilings)] = self.ceilings
        for place, limit in enumerate(gear_limits or ()):
            many["engine"]["gear_limit"][place, : len(limit)] = limit
        return many

    def launched(self, shapes: Sequence[Shape], gear_limits: Sequence[Sequence[float]] | None = None) -> list[Point]:
        """Curves of these shapes, launched."""
        return self.points(shapes, self.cars(shapes, gear_limits))

    def points(self, shapes: Sequence[Shape], cars: Cars) -> list[Point]:
        """What launches of some cars come to."""
        measured = measure_all(cars, self.aims.targets, self.tolerance, self.workers)
        times = np.column_stack([self._column(measured, f"time {target.label}") for target in self.aims.targets])
        score = np.where(np.isnan(times).any(axis=1), inf, times @ np.array(self.aims.weights))
        peaks = {part: np.abs(self._column(measured, f"peak torque {part.value}")) for part in Part}
        steady = {part: self._column(measured, f"steady pull {part.value}") for part in Part}
        spin = self._column(measured, "wheelspin time")
        return [
            self._point(shape, float(score[k]), times[k], (_row(peaks, k), _row(steady, k)), float(spin[k]))
            for k, shape in enumerate(shapes)
        ]

    def _column(self, measured: Measured, name: str) -> Array:
        return column(measured, self.aims.targets, name)

    def _point(
        self, shape: Shape, score: float, times: Array, torques: tuple[dict[Part, float], ...], spin: float
    ) -> Point:
        peaks, steady = torques
        broken = self.limits.broken(peaks, steady)
        return Point(shape, score, tuple(times.tolist()), peaks, steady, spin, broken)


def _row(columns: dict[Part, Array], k: int) -> dict[Part, float]:
    return {part: float(values[k]) for part, values in columns.items()}
