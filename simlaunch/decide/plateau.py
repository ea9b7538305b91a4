"""The highest plateau that pays: where a full-load curve gains time within its limits, and where it stops to."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import inf, isfinite, nan
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator
from scipy.optimize import differential_evolution

from simlaunch.decide.launches import Aim, Cars, aim, as_many, column, measure_all
from simlaunch.decide.limits import Limits
from simlaunch.errors import TargetNotReached
from simlaunch.launch.run import complete
from simlaunch.measure.ceiling import usable_torque
from simlaunch.measure.many import Measured
from simlaunch.measure.parts import Part
from simlaunch.physics.table import values_at
from simlaunch.record import Record
from simlaunch.scenario.decision import Place
from simlaunch.study.bump import curve_speeds

Array = NDArray[np.float64]
Codes = NDArray[np.int64]

TOLERANCE = 1e-5
SAME_TIME = 1e-3
"""Times that are no further apart count as equal, and the lower torque is taken [s]."""

FRONT = 25
"""Heights of plateau that are told."""

_NO_GAIN = "more gains no time"
RISE, HEIGHT, FALL = "rise of the curve", "height of the plateau", "fall after the plateau"

_HEADROOM = 1.5  # highest plateau that is tried over the peak that is wished for, where nothing limits it
_OVER_RATING = 1.1  # torque over the rating of a part by which its peak may lie lower, since inertia takes some
_LOWEST = 0.3  # lowest one that is tried, over the highest
_ZOOMS = 3
_NEAR = 1.02  # a knee is sought among times that come so near the quickest
_NARROWINGS = 2  # each to a fifth of the interval of heights
_MEMBERS, _GENERATIONS, _SEED = 8, 12, 20  # of the search
_TAIL = 5.0  # a broken limit counts like so many seconds for its whole size

Tell = Callable[[str], None]


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


@dataclass(frozen=True)
class Plateau:
    """What was found for one car.

    Parameters
    ----------
    speeds : ndarray, shape (n,)
        Engine speeds [rad/s].
    torque : ndarray, shape (n,)
        The curve that pays [N m].
    binding : tuple of str
        What keeps the curve from being higher, at each engine speed.
    chosen : Point
        The highest plateau that pays.
    quickest : Point
        The quickest one that was found, however high.
    front : tuple of Point
        Of the best curves of each height that keep to the limits, those that no other beats in both time and torque
        at the gearbox input; by rising torque.
    knee : int
        Place on the front from which more torque buys least for what it costs.
    gear_limits : tuple of float
        Torque limit of each gear; infinite where none pays [N m].
    wish : Point
        The curve that is wished for, launched likewise.
    wish_torque : ndarray, shape (n,)
        That curve [N m].
    unlimited : Point
        The chosen curve without torque limits by gear.
    """

    speeds: Array
    torque: Array
    binding: tuple[str, ...]
    chosen: Point
    quickest: Point
    front: tuple[Point, ...]
    knee: int
    gear_limits: tuple[float, ...]
    wish: Point
    wish_torque: Array
    unlimited: Point


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

    Raises
    ------
    UsageError
        A mean pressure without a displacement.
    """

    def __init__(
        self, car: Record, limits: Limits, aims: Aim, tolerance: float = TOLERANCE, workers: int | None = None
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

    def shape(self, height: float, late: float, long: float) -> Shape:
        """Plateau of a height; `late` and `long` say from 0 to 1 how late it begins and how long it lasts."""
        first, last = float(self.speeds[0]), float(self.speeds[-1])
        climb = max(height - self.foot, 0.0)
        earliest = min(first + (climb / self.rise if self.rise < inf else 0.0), last)
        last = max(self._under_caps(height), earliest)
        start = earliest + late * (last - earliest)
        return Shape(height, start, start + long * (last - start))

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
        steady = {part: self._column(measured, f"steady torque {part.value}") for part in Part}
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


def _cost(point: Point) -> float:
    """Score with what is broken on top, so that a search is led back within the limits."""
    over = sum(seen / allowed - 1.0 for seen, allowed in point.broken.values())
    return (point.score if isfinite(point.score) else 1e3) + _TAIL * over + (SAME_TIME if over else 0.0)


# --- the search ---


def _zoomed(room: Room, heights: Sequence[float]) -> list[Point]:
    """Best start and end for each of some heights: a grid that closes in on the best of it, all heights at once."""
    centres, half = np.full((len(heights), 2), 0.5), 0.5
    best: list[Point | None] = [None] * len(heights)
    for _ in range(_ZOOMS):
        steps = [(a, b) for a in (-1.0, 0.0, 1.0) for b in (-1.0, 0.0, 1.0)]
        places = np.clip([[centre + half * np.array(step) for step in steps] for centre in centres], 0.0, 1.0)
        shapes = [room.shape(height, *place) for height, row in zip(heights, places, strict=True) for place in row]
        points = room.launched(shapes)
        for k in range(len(heights)):
            row = points[len(steps) * k : len(steps) * (k + 1)]
            least = min(range(len(row)), key=lambda i: (_cost(row[i]), i))
            held = best[k]
            if held is None or _cost(row[least]) < _cost(held):
                best[k], centres[k] = row[least], places[k][least]
        half *= 0.5
    return [point for point in best if point is not None]


def quickest(room: Room) -> Point:
    """A plateau about as quick as any within the limits, by differential evolution over height, start and end.

    Where tyres spin, time is rough over the shape; the grids by height search more closely.

    Parameters
    ----------
    room : Room
        What can be chosen.

    Returns
    -------
    Point
        The best that was met, sound if any was.

    Source: R. Storn, K. Price, J. Global Optimization 11 (1997) 341, as in SciPy.
    """
    best: list[Point] = []

    def cost(places: Array) -> Array:
        heights = room.top * (_LOWEST + (1.0 - _LOWEST) * places[0])
        points = room.launched([room.shape(*each) for each in zip(heights, places[1], places[2], strict=True)])
        best[:] = [min([*best, *points], key=_cost)]
        return np.array([_cost(point) for point in points])

    differential_evolution(
        cost,
        [(0.0, 1.0)] * 3,
        popsize=_MEMBERS,
        maxiter=_GENERATIONS,
        rng=_SEED,
        init="sobol",
        polish=False,
        vectorized=True,
        updating="deferred",
        x0=(1.0, 0.0, 1.0),
        tol=1e-4,
    )
    return best[0]


def _lowest_that_pays(room: Room, points: Sequence[Point], best: Point) -> Point:
    """The lowest plateau that is no slower than the best by more than counts as equal."""

    def pays(point: Point) -> bool:
        return point.sound and point.score <= best.score + SAME_TIME

    high = next((point for point in points if pays(point)), best)
    if best.shape.height < high.shape.height:
        high = best
    low = max((p.shape.height for p in points if p.shape.height < high.shape.height), default=high.shape.height)
    for _ in range(_NARROWINGS):
        heights = np.linspace(low, high.shape.height, 6)[1:-1]
        for point in _zoomed(room, heights.tolist()):
            if pays(point):
                high = point
                break
            low = point.shape.height
    return high


def not_beaten(points: Sequence[Point]) -> tuple[Point, ...]:
    """Points than which no other is as quick with as little torque at the gearbox input.

    Parameters
    ----------
    points : sequence of Point
        Curves that were launched.

    Returns
    -------
    tuple of Point
        By rising torque, and so by falling time.
    """
    kept: list[Point] = []
    for point in sorted(points, key=lambda each: (each.strain, each.score)):
        if not kept or point.score < kept[-1].score:
            kept.append(point)
    return tuple(kept)


def _knee(front: Sequence[Point]) -> int:
    """The point of the quicker end of a front that lies farthest below the straight line between its ends."""
    first = next(k for k, point in enumerate(front) if point.score <= _NEAR * front[-1].score)
    torque, score = np.array([(point.strain, point.score) for point in front[first:]]).T
    if score.size < 3:
        return len(front) - 1
    along = (torque - torque[0]) / (torque[-1] - torque[0])
    down = (score[0] - score) / (score[0] - score[-1])
    return first + int(np.argmax(down - along))


def _binding(room: Room, chosen: Point, front: Sequence[Point]) -> tuple[str, ...]:
    """What keeps the curve from being higher at each engine speed."""
    parts = room.parts_of(chosen.shape)
    names, values = list(parts), np.array(list(parts.values()))
    height, climb = _height_cause(room, chosen, front), chosen.shape.height - room.foot
    steepest = chosen.shape.start <= room.speeds[0] + 1.001 * climb / room.rise
    causes = {HEIGHT: height, FALL: height, RISE: RISE if steepest else _NO_GAIN}
    return tuple(causes.get(names[k], names[k]) for k in values.argmin(axis=0))


def _height_cause(room: Room, chosen: Point, front: Sequence[Point]) -> str:
    """Why the plateau is no higher: a part that is at its rating, or that more torque gains no time."""
    closest, share = room.limits.closest(chosen.peaks, chosen.steady)
    above = [point for point in front if point.shape.height > chosen.shape.height * 1.001]
    if share > 0.97 and (not above or not above[0].sound):
        return f"rating of {closest}"
    return _NO_GAIN


def _gear_limits(room: Room, chosen: Point) -> tuple[tuple[float, ...], Point]:
    """Torque limits of the gears in which the tyres cannot use the plateau, from first gear up."""
    count = int(room.car.gearbox.count)
    limits, best = [inf] * count, chosen
    complete(car := as_many([room.cars([chosen.shape])[0]]).view(np.recarray)[0])
    within = (room.speeds >= chosen.shape.start) & (room.speeds <= max(chosen.shape.end, chosen.shape.start))
    pull = room.speeds[within] if within.any() else room.speeds[-1:]
    for gear in range(count):
        if float(np.min(usable_torque(car, gear + 1, pull))) >= chosen.shape.height:
            break
        for low, high in ((0.3, 1.0), (-0.05, 0.05)):
            middle = 0.0 if low > 0.0 or not isfinite(limits[gear]) else limits[gear] / chosen.shape.height
            tried = [*(chosen.shape.height * (middle + share) for share in np.linspace(low, high, 15))]
            trials = [[*limits[:gear], limit, *limits[gear + 1 :]] for limit in tried if limit > 0.0]
            points = room.launched([chosen.shape] * len(trials), trials)
            least = min([best.score, *(point.score for point in points if point.sound)])
            for trial, point in zip(trials, points, strict=True):
                if point.sound and point.score <= least + SAME_TIME and trial[gear] < chosen.shape.height:
                    limits, best = trial, point
                    break
            if not isfinite(limits[gear]):
                break
    return tuple(limits), best


def _refuse(points: Sequence[Point], aims: Aim) -> TargetNotReached:
    """Why no plateau keeps to the limits: what is broken least where least is broken."""
    nearest = min(points, key=lambda point: (not isfinite(point.score), _over(point)))
    height = f"{nearest.shape.height:.0f} N m"
    if not nearest.broken:
        names = ", ".join(target.label for target in aims.targets)
        return TargetNotReached(f"no plateau within the limits reaches {names}; the one of {height} came nearest")
    what, (seen, allowed) = max(nearest.broken.items(), key=lambda item: item[1][0] / item[1][1])
    return TargetNotReached(
        f"no plateau meets the limits: even with one of {height}, {what}, sees {seen:.0f} N m, "
        f"{seen - allowed:.0f} N m more than the {allowed:.0f} N m allowed"
    )


def _over(point: Point) -> float:
    return max((seen / allowed for seen, allowed in point.broken.values()), default=0.0)


def plateau(room: Room, *, by_gear: bool = False, tell: Tell | None = None) -> Plateau:
    """The highest plateau that pays, and what less torque would cost.

    Of curves that are equally quick, within a thousandth of a second, the one with the lowest plateau is taken.

    Parameters
    ----------
    room : Room
        What can be chosen.
    by_gear : bool
        Whether torque limits are sought for the gears in which the tyres cannot use the plateau.
    tell : callable, optional
        Takes a line that says how far the search is.

    Returns
    -------
    Plateau
        The curve and the front of curves around it.

    Raises
    ------
    TargetNotReached
        No plateau keeps to the limits; the message says which limit stands in the way, and by how much.
    """
    tell = tell or (lambda line: None)
    tell("1 of 3: the quickest plateau")
    best = quickest(room)
    tell(f"2 of 3: {FRONT} heights of plateau")
    points = _zoomed(room, np.linspace(_LOWEST * room.top, room.top, FRONT).tolist())
    sound = [point for point in [*points, best] if point.sound]
    if not sound:
        raise _refuse([*points, best], room.aims)
    tell("3 of 3: the lowest one that is as quick")
    best = min(sound, key=_cost)
    chosen = _lowest_that_pays(room, points, best)
    front = not_beaten([*sound, chosen])
    limits: tuple[float, ...] = (inf,) * int(room.car.gearbox.count)
    binding = _binding(room, chosen, points)
    plain = chosen
    if by_gear:
        limits, chosen = _gear_limits(room, chosen)
    wish = room.points([Shape(float(room.wish_torque.max()), nan, nan)], as_many([room.car]))[0]
    torque = room.torque(chosen.shape)
    return Plateau(
        room.speeds, torque, binding, chosen, best, front, _knee(front), limits, wish, room.wish_torque, plain
    )
