"""Every plateau that a car can be given within its limits, what launches with one come to, and which limit binds it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from math import inf, isfinite
from typing import NamedTuple, Self

import numpy as np
from numpy.typing import NDArray

from simlaunch.cubics import monotone
from simlaunch.curves.bump import curve_speeds
from simlaunch.launching.launch_speed import settle
from simlaunch.launching.launches import Aim, Cars, as_many, column, measure_all
from simlaunch.launching.ready import aim
from simlaunch.metrics.ceiling import usable_torque
from simlaunch.metrics.many import GRIP, PARTS, Measured
from simlaunch.metrics.parts import Part
from simlaunch.physics.table import values_at
from simlaunch.ratings.limits import ENVELOPE, RISE, Limits
from simlaunch.record import Car
from simlaunch.scenario.decision import Place
from simlaunch.simulation.run import complete

Array = NDArray[np.float64]

TOLERANCE = 1e-4
"""Relative error allowed per step: times are off by a tenth of a millisecond at most, a tenth of what counts [-]."""

SCREENING = 1e-3
"""The same while a search looks about: times are off by half a millisecond, half of what counts. Whatever a search
hands on, and every time that is reported, has been launched again at `TOLERANCE` [-]."""

CLIMB, HEIGHT, FALL = "climb to the plateau", "height of the plateau", "fall after the plateau"

SAME_TIME = 1e-3
"""Times that are no further apart count as equal [s]."""

HELD_TIME = 5e-3
"""A plateau that is held longer may be so much slower than the quickest: half the hundredth that verdicts name [s]."""

LIFTED = 1.1
"""By how much a limit is raised to see whether time is gained [-]."""

NO_GAIN, HIGHEST = "more gains no time", "highest that was tried"
IDLE = ", but more saves no time"
"""Follows the name of a cap that the curve lies on, where lifting it saves no time."""

_NEARLY = 0.995  # of the highest that can be tried: the cap that ends the heights stands in the way
_AT = 0.995  # of a cap: the curve lies on it
_NEAR_RATING = 0.97  # of what a part is allowed
_HIGHER = (1.0, 1.02, 1.05, LIFTED)
_HEADROOM = 1.5  # highest plateau that is tried over the peak that is wished for, where nothing limits it
_OVER_RATING = 1.1  # torque over the rating of a part by which its peak may lie lower, since inertia takes some


class RatingLimit(str):
    """Name of a limit that is the rating of a part."""

    __slots__ = ()

    def __new__(cls, part: str) -> Self:
        """The limit of a part that goes by this name."""
        return super().__new__(cls, f"rating of {part}")


class Shape(NamedTuple):
    """A plateau with the rise to it and the fall after it."""

    height: float
    """Torque [N m]."""
    start: float
    """Engine speed at which it is reached [rad/s]."""
    end: float
    """Engine speed from which torque falls, at the same power [rad/s]."""
    left: float = 0.0
    """Engine speed up to which the curve climbs as early as it can; from there a straight line leads to the start."""


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


Launched = Callable[[Sequence[Shape], Cars], list[Point]]


class SearchSpace:
    """All plateaus that a car can be given within the caps of its curve.

    Torque limits by gear of the curve that is wished for hold for every plateau.

    Parameters
    ----------
    car : Car
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
        car: Car,
        limits: Limits,
        aims: Aim,
        tolerance: float = TOLERANCE,
        workers: int | None = None,
        *,
        within_grip: bool = False,
    ) -> None:
        self.car = as_many([car]).view(np.recarray)[0]
        settle([self.car], aims.targets[0])  # and the curves that are sought keep it
        aim(self.car, aims.targets)
        self.limits, self.aims, self.tolerance, self.workers = limits, aims, tolerance, workers
        self.speeds = curve_speeds(car)
        self.caps = limits.caps(self.speeds)
        self.wish_torque = values_at(car.engine.torque, self.speeds)
        self.rise, self.climb, self.rise_binds = self._climbing()
        self.top = self._highest()
        self.within_grip = within_grip
        self.ceilings = self._ceilings() if within_grip else (inf,) * int(car.gearbox.count)
        self._known: dict[bytes, Point] = {}
        self._glimpsed: dict[bytes, Point] = {}

    def _ceilings(self) -> tuple[float, ...]:
        """Most torque that the tyres can use in each gear at any engine speed; infinite above every plateau [N m]."""
        complete(car := as_many([self.car]).view(np.recarray)[0])
        gears = range(1, int(car.gearbox.count) + 1)
        least = [float(usable_torque(car, gear, self.speeds).min()) for gear in gears]
        return tuple(torque if torque < self.top else inf for torque in least)

    def within(self, limits: Limits) -> SearchSpace:
        """The same car within other limits."""
        return SearchSpace(self.car, limits, self.aims, self.tolerance, self.workers, within_grip=self.within_grip)

    def _climbing(self) -> tuple[float, Array, NDArray[np.bool_]]:
        """Steepest rise, the earliest climb of torque over engine speed, and where the rise alone holds it down.

        What the engine can give says how early torque comes up. Unless it was stated it says nothing beyond its peak,
        for a plateau may be higher than all curves of the scenario.
        """
        envelope = self.limits.envelope
        known = np.maximum.accumulate(self.wish_torque if envelope is None else envelope.at(self.speeds))
        gaps = np.diff(self.speeds)
        rise = float(np.max(np.diff(known) / gaps)) if self.limits.rise is None else self.limits.rise
        if envelope is None or not envelope.given:
            known[int(known.argmax()) + 1 :] = inf
        climb = known.copy()
        for k, gap in enumerate(gaps, start=1):
            climb[k] = min(known[k], climb[k - 1] + rise * gap)
        return rise, climb, climb < known * (1.0 - 1e-9)

    def _highest(self) -> float:
        """Highest plateau that makes a difference: what caps, the rise and the ratings at the engine leave [N m]."""
        wished = _HEADROOM * float(self.wish_torque.max())
        rated = [part.rating.si for part in self.limits.parts if part.place in (Place.COUPLING, Place.GEARBOX_INPUT)]
        allowed = _OVER_RATING * min(rated, default=inf)
        if not self.caps:
            return min(wished, allowed, float(self.climb.max()))
        reach = np.minimum(np.min(list(self.caps.values()), axis=0), self.climb)
        return min(float(reach.max()), allowed)

    def earliest(self, height: float) -> float:
        """Lowest engine speed at which envelope and rise leave room for a height [rad/s]."""
        reached = np.flatnonzero(self.climb >= height - 1e-9)
        if not reached.size:
            return float(self.speeds[-1])
        k = int(reached[0])
        if k == 0:
            return float(self.speeds[0])
        low, high = self.climb[k - 1], self.climb[k]
        share = (height - low) / (high - low) if high < inf else 0.0
        return float(self.speeds[k - 1] + share * (self.speeds[k] - self.speeds[k - 1]))

    def _span(self, height: float) -> tuple[float, float]:
        """Earliest start and latest end of a plateau of a height [rad/s]."""
        earliest = self.earliest(height)
        return earliest, max(self.latest(height), earliest)

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

    def latest(self, height: float) -> float:
        """Highest engine speed up to which the caps leave room for a height [rad/s]."""
        lid = np.min(list(self.caps.values()), axis=0) if self.caps else np.full(self.speeds.size, inf)
        free = np.flatnonzero(lid >= height)
        if not free.size or free[-1] == lid.size - 1:
            return float(self.speeds[-1 if free.size else 0])
        k = int(free[-1])
        return float(np.interp(height, lid[[k + 1, k]], self.speeds[[k + 1, k]]))

    def parts_of(self, shape: Shape) -> dict[str, Array]:
        """Torque that each piece of a curve, and each cap, would allow at every engine speed."""
        rising = np.where(self.speeds >= shape.start - 1e-9, inf, self._rising(shape))
        falling = np.where(self.speeds > shape.end, shape.height * shape.end / self.speeds, inf)
        level = np.full(self.speeds.size, shape.height)
        return {**self.caps, CLIMB: rising, FALL: falling, HEIGHT: level}

    def _rising(self, shape: Shape) -> Array:
        """Torque below the start of a plateau: the earliest climb, or a straight line from where it is left [N m]."""
        left = float(np.clip(shape.left, self.speeds[0], shape.start))
        foot = float(np.interp(left, self.speeds, np.minimum(self.climb, shape.height)))
        along = (self.speeds - left) / max(shape.start - left, 1e-9)
        line = np.where(self.speeds > left, foot + along * (shape.height - foot), inf)
        return np.asarray(np.minimum(self.climb, line))

    def torque(self, shape: Shape) -> Array:
        """Full-load torque of a shape within the caps [N m]."""
        return np.asarray(np.min(list(self.parts_of(shape).values()), axis=0))

    def cars(self, shapes: Sequence[Shape], gear_limits: Sequence[Sequence[float]] | None = None) -> Cars:
        """Cars with these curves."""
        many = as_many([self.car] * len(shapes))
        torque = np.array([self.torque(shape) for shape in shapes])
        table, count = many["engine"]["torque"], self.speeds.size
        table["count"] = count
        table["knot"][:, :count] = self.speeds
        table["cubic"][:, : count - 1] = monotone(self.speeds, torque).parts
        table["cubic"][:, count - 1] = 0.0
        table["cubic"][:, count - 1, 0] = torque[:, -1]
        own = np.array(self.car.engine.gear_limit)
        many["engine"]["gear_limit"][:, : len(self.ceilings)] = np.minimum(self.ceilings, own[: len(self.ceilings)])
        for place, limit in enumerate(gear_limits or ()):
            many["engine"]["gear_limit"][place, : len(limit)] = np.minimum(limit, own[: len(limit)])
        return many

    def launched(self, shapes: Sequence[Shape], gear_limits: Sequence[Sequence[float]] | None = None) -> list[Point]:
        """Curves of these shapes, launched; one that was launched before, even under another shape, is not again."""
        if gear_limits is not None:
            return self.points(shapes, self.cars(shapes, gear_limits))
        return self._once_each(shapes, self._known, self.points)

    def screened(self, shapes: Sequence[Shape]) -> list[Point]:
        """The same, but less closely, and of torque and spin only what says whether a rating is kept to."""
        return self._once_each(shapes, self._glimpsed, self._glimpses)

    def _once_each(self, shapes: Sequence[Shape], known: dict[bytes, Point], launch: Launched) -> list[Point]:
        curves = [self.torque(shape).tobytes() for shape in shapes]
        new = {curve: shape for curve, shape in zip(curves, shapes, strict=True) if curve not in known}
        if new:
            wanted = list(new.values())
            known.update(zip(new, launch(wanted, self.cars(wanted)), strict=True))
        return [replace(known[curve], shape=shape) for curve, shape in zip(curves, shapes, strict=True)]

    def _glimpses(self, shapes: Sequence[Shape], cars: Cars) -> list[Point]:
        groups = (PARTS,) if self.limits.parts else ()
        return self._points(shapes, cars, max(SCREENING, self.tolerance), groups)

    def points(self, shapes: Sequence[Shape], cars: Cars) -> list[Point]:
        """What launches of some cars come to."""
        return self._points(shapes, cars, self.tolerance, (GRIP, PARTS))

    def _points(self, shapes: Sequence[Shape], cars: Cars, tolerance: float, groups: Sequence[str]) -> list[Point]:
        measured = measure_all(cars, self.aims.targets, tolerance, self.workers, groups=groups)
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


# --- what binds ---


def _risen(space: SearchSpace, shape: Shape) -> list[Shape]:
    """Higher and longer plateaus than one, as far as a space with a limit lifted leaves room."""
    shapes = []
    for factor in _HIGHER:
        height = min(factor * shape.height, space.top)
        first, last = space.earliest(height), space.latest(height)
        start = max(shape.start, first)
        shapes += [Shape(height, start, max(end, start), shape.left) for end in {last, min(shape.end, last)}]
    return shapes


_MORE = 1e-9
"""Share by which a curve passes a cap, rounding aside [-]."""


def gains(space: SearchSpace, chosen: Point, quickest: Sequence[Point]) -> dict[str, float]:
    """Time that a higher limit would save at least, for every limit whose lifting saves any.

    Caps of the engine and the rise are raised by a tenth, a rating is taken away.

    Parameters
    ----------
    space : SearchSpace
        What could be chosen.
    chosen : Point
        The plateau that was chosen.
    quickest : sequence of Point
        Some of the quickest, the best first: time is rough over the shape, so that one of them alone says little.

    Returns
    -------
    dict of str to float
        By the name of the limit [s]; what saves no more than counts as equal is left out.
    """
    closest, share = space.limits.closest(chosen.peaks, chosen.steady)
    lifted = {name: space.limits.eased(LIFTED, (name,)) for name in space.caps}
    if space.limits.rise is not None:
        lifted[RISE] = space.limits.eased(LIFTED, (RISE,))
    if share > _NEAR_RATING:
        lifted[RatingLimit(closest)] = space.limits.without(closest)
    found = {}
    for name, limits in lifted.items():
        other = space.within(limits)
        shapes = [risen for each in (chosen, *quickest) for risen in _risen(other, each.shape)]
        if name in space.caps:  # a plateau that needs no more of it would not be quicker because of it
            shapes = [each for each in shapes if np.any(other.torque(each) > space.caps[name] * (1.0 + _MORE))]
        points = other.launched(shapes) if shapes else []
        saving = quickest[0].score - min((point.score for point in points if point.sound), default=np.inf)
        if saving > SAME_TIME:
            found[name] = saving
    return found


def binding(space: SearchSpace, chosen: Point, saved: dict[str, float]) -> tuple[str, ...]:
    """What keeps the curve from being higher at each engine speed.

    Parameters
    ----------
    space : SearchSpace
        What could be chosen.
    chosen : Point
        The plateau that was chosen.
    saved : dict of str to float
        What lifting a limit saves, as by `gains`.

    Returns
    -------
    tuple of str
        A limit whose lifting saves time; rise or envelope where torque cannot come up earlier; a cap that the curve
        lies on with a remark where lifting it saves none.
    """
    parts = space.parts_of(chosen.shape)
    names, values = list(parts), np.array(list(parts.values()))
    torque, least, found = values.min(axis=0), values.argmin(axis=0), []
    height = _height_cause(space, chosen, saved)
    for k in range(space.speeds.size):
        on = [name for name in space.caps if _AT * space.caps[name][k] <= torque[k]]
        piece = names[int(least[k])]
        if piece == CLIMB and torque[k] > 0.999 * space.climb[k]:
            found.append(RISE if space.rise_binds[k] else ENVELOPE)
        elif piece == HEIGHT and height != NO_GAIN:
            found.append(height)
        elif on:
            found.append(_cap_words(min(on, key=lambda name: (name not in saved, float(space.caps[name][k]))), saved))
        else:
            found.append(height if piece == FALL and isinstance(height, RatingLimit) else NO_GAIN)
    return tuple(found)


def _cap_words(name: str, saved: dict[str, float]) -> str:
    return name if name in saved else f"{name}{IDLE}"


def _height_cause(space: SearchSpace, chosen: Point, saved: dict[str, float]) -> str:
    """Why the plateau is no higher: a part at its rating, the end of what was tried, or no time that is gained."""
    rated = next((name for name in saved if isinstance(name, RatingLimit)), "")
    if rated:
        return rated
    if chosen.shape.height <= _NEARLY * space.top:
        return NO_GAIN
    top = _top_cause(space)
    return top if top == HIGHEST else _cap_words(top, saved)


def _top_cause(space: SearchSpace) -> str:
    """The cap that ends the heights which are tried, where one does."""
    names: Sequence[str] = list(space.caps)
    lids = np.array([*space.caps.values(), space.climb])
    k = int(lids.min(axis=0).argmax())
    if lids[:, k].min() > space.top * 1.000001:  # the rating of a part at the engine ends them, or nothing does
        return HIGHEST
    return [*names, RISE][int(lids[:, k].argmin())]
