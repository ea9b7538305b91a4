"""The search for the highest plateau that pays: up to where a higher full-load curve still gains time within limits."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from math import inf, isfinite, nan

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import differential_evolution

from simlaunch.errors import TargetNotReached
from simlaunch.launching.goals import target_label
from simlaunch.launching.launches import as_many
from simlaunch.launching.out_of_reach import LongLaunch, given_time
from simlaunch.launching.progress import expect
from simlaunch.metrics.ceiling import usable_torque
from simlaunch.metrics.full_load import gear_cap
from simlaunch.ratings.limits import ENVELOPE
from simlaunch.record import Car
from simlaunch.searching.plateau_search_space import HELD_TIME, SAME_TIME, Point, SearchSpace, Shape, binding, gains
from simlaunch.simulation.run import complete
from simlaunch.uncertainty.sobol import sobol
from simlaunch.units.quantity import RPM

Array = NDArray[np.float64]

FRONT = 25
"""Number of heights of plateau that are listed."""

DRIVES = np.linspace(0.76, 1.24, 25)
"""Final drives that are tried, over the present one [-]."""

_LOWEST = 0.3  # lowest height tried over the highest
_VERY_LOWEST = 0.05  # the same where none so high is sound
_FEW = 10  # heights between them
_GRID = 5  # starts, and ends, of a plateau that are tried at each height before the search closes in
_CLOSINGS = 4  # each to half the distance
_NEAR = 1.02  # a knee is sought among times that come so near the quickest
_CONFIRMED = 3  # of each height that are launched closely
_FINALISTS = 32  # of the last search, by time and again by height
_DOUBT = 5e-4  # by how much a time may be off while a search looks about [s]
_NARROWINGS = 2  # each to a fifth of the interval of heights
_MEMBERS, _GENERATIONS, _SEED = 8, 12, 20  # of the evolution
_STARTS, _POLISHINGS = 8, 6  # of the last search, around the best that were met
_APART = 0.04  # of the unit cube: points that are nearer to one another are one start
_REACH = 0.06  # of the unit cube, to which the last search goes at first
_TRIALS = 16  # of each start at each reach
_TRIAL_BITS = (_STARTS * _TRIALS).bit_length() - 1
_BASES = 4  # shapes from which higher ones are tried where a limit is lifted
_SHRINK = 0.55  # of the reach
_NOTABLY = 50.0 * RPM  # [rad/s]
_CANDIDATES = 9  # starts, ends, and shapes below the start, that are tried to lengthen a plateau
_TAIL = 5.0  # a broken limit counts like so many seconds for its whole size
_EASED = np.geomspace(1.1, 30.0, 18)  # by how much caps are raised to find how far they are off

Watch = Callable[[str], None]


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
        Torque limit of each gear; infinite where there is none [N m].
    wish : Point
        The curve that is wished for, launched likewise.
    wish_torque : ndarray, shape (n,)
        That curve [N m].
    unlimited : Point
        The chosen curve without the torque limits that were sought for gears.
    within_grip : bool
        Whether the torque limits of the gears are what the tyres can use there.
    capped : bool
        Whether any limit of the engine was given; if not, the curve may be out of its reach.
    gains : dict of str to float
        Time that a limit raised by a tenth, or a rating taken away, would save at least [s].
    earlier : Point or None
        The same plateau begun as early as rise and envelope allow, where the chosen one begins later.
    gear_curves : dict of int to ndarray, shape (n,)
        Limits over engine speed that the curve which is wished for has in single gears, and that hold here too [N m].
    own_limits : tuple of float
        Torque limits by gear of the curve that is wished for, which hold here too [N m].
    measured : dict of str to ndarray, shape (n,)
        Torque that each measured limit, and a stated envelope, allow [N m].
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
    within_grip: bool = False
    capped: bool = True
    gains: dict[str, float] = field(default_factory=dict)
    earlier: Point | None = None
    gear_curves: dict[int, Array] = field(default_factory=dict)
    own_limits: tuple[float, ...] = ()
    measured: dict[str, Array] = field(default_factory=dict)

    @property
    def limits_sought(self) -> bool:
        """Whether some torque limits by gear are the search's own."""
        stated = self.own_limits or (inf,) * len(self.gear_limits)
        return self.gear_limits != stated and not self.within_grip


def _cost(point: Point) -> float:
    """Score with what is broken on top, so that a search is led back within the limits."""
    over = sum(seen / allowed - 1.0 for seen, allowed in point.broken.values())
    return (point.score if isfinite(point.score) else 1e3) + _TAIL * over + (SAME_TIME if over else 0.0)


def _soundest(point: Point) -> tuple[bool, float]:
    """Order in which no curve that breaks a limit stands before one that does not, however quick it is."""
    return (not point.sound, _cost(point))


# --- the search ---


class _Front:
    """The best plateau of each of some heights: grids of start and end that close in, each helped by its neighbours.

    The best few of each height are launched again, as closely as what is reported.
    """

    def __init__(self, space: SearchSpace, heights: Sequence[float]) -> None:
        self._space, self._heights = space, heights
        self.best: list[Point] = []
        self._few: list[list[Point]] = [[] for _ in heights]
        grid = np.linspace(0.0, 1.0, _GRID)
        self._try([[(late, long) for late in grid for long in grid]] * len(heights))
        for closing in range(_CLOSINGS):
            reach = 0.5 ** (closing + 1) / (_GRID - 1)
            self._try([self._around(k, reach) for k in range(len(heights))])
        confirmed = iter(space.launched([point.shape for few in self._few for point in few]))
        self.best = [min((next(confirmed) for _ in few), key=_cost) for few in self._few]

    def _around(self, k: int, reach: float) -> list[tuple[float, float]]:
        """Places about the best of a height, and those of its neighbours."""
        late, long = self._space.place(self.best[k].shape)
        beside = [(late + a * reach, long + b * reach) for a in (-1, 0, 1) for b in (-1, 0, 1) if a or b]
        near = [self.best[n].shape for n in (k - 1, k + 1) if 0 <= n < len(self.best)]
        return [*beside, *(self._space.place(shape, self._heights[k]) for shape in near)]

    def _try(self, places: list[list[tuple[float, float]]]) -> None:
        """Launch some places of each height, and keep the best of each."""
        every = [(k, *np.clip(place, 0.0, 1.0)) for k, row in enumerate(places) for place in row]
        points = self._space.screened([self._space.shape(self._heights[k], late, long) for k, late, long in every])
        for (k, *_), point in zip(every, points, strict=True):
            self._few[k].append(point)
        self._few = [_unlike(sorted(row, key=_cost), _CONFIRMED) for row in self._few]
        self.best = [row[0] for row in self._few]


def best_of_each(space: SearchSpace, heights: Sequence[float]) -> list[Point]:
    """The quickest plateau of each of some heights, sound where any that was met is."""
    return _Front(space, heights).best


def _places(space: SearchSpace, point: Point) -> tuple[float, float, float]:
    """A shape as a point of the unit cube, which a search moves about in."""
    height = (point.shape.height / space.top - _LOWEST) / (1.0 - _LOWEST)
    return (float(np.clip(height, 0.0, 1.0)), *space.place(point.shape))


def _unlike(points: Sequence[Point], most: int) -> list[Point]:
    """The first of some points, none with the shape of another."""
    found: dict[Shape, Point] = {}
    for point in points:
        found.setdefault(point.shape, point)
    return list(found.values())[:most]


def _screened_at(space: SearchSpace, places: Array) -> list[Point]:
    heights = space.top * (_LOWEST + (1.0 - _LOWEST) * places[:, 0])
    return space.screened([space.shape(*each) for each in zip(heights, places[:, 1], places[:, 2], strict=True)])


def _evolved(space: SearchSpace, first: Point) -> list[Point]:
    """All points that differential evolution meets from a first guess on.

    Source: R. Storn, K. Price, J. Global Optimization 11 (1997) 341, as in SciPy.
    """
    met: list[Point] = []

    def cost(places: Array) -> Array:
        points = _screened_at(space, places.T)
        met.extend(points)
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
        x0=_places(space, first),
        tol=1e-4,
    )
    return met


def _apart(space: SearchSpace, points: Sequence[Point]) -> list[Point]:
    """The best of some points, no two of them close to one another."""
    held: list[Point] = []
    places: list[Array] = []
    for point in sorted(points, key=_cost):
        place = np.array(_places(space, point))
        if all(np.abs(place - other).max() > _APART for other in places):
            held.append(point)
            places.append(place)
        if len(held) == _STARTS:
            break
    return held


def _polished(space: SearchSpace, points: Sequence[Point]) -> list[Point]:
    """All points that random trials meet around several of the best, each time nearer to the best of each.

    Time is rough over the shape where tyres spin, so that steps along the axes miss what lies between them. The
    trials are points of a Sobol sequence, the same in every search.
    """
    held, met = _apart(space, points), []
    for polishing in range(_POLISHINGS):
        drawn = sobol(3, _TRIAL_BITS, np.random.default_rng(_SEED + polishing)).reshape(_STARTS, _TRIALS, 3)[
            : len(held)
        ]
        centres = np.array([_places(space, point) for point in held])
        around = centres[:, None] + _REACH * _SHRINK**polishing * (2.0 * drawn - 1.0)
        tried = _screened_at(space, np.clip(around.reshape(-1, 3), 0.0, 1.0))
        met += tried
        rows = [tried[_TRIALS * k : _TRIALS * (k + 1)] for k in range(len(held))]
        held = [min([point, *row], key=_cost) for point, row in zip(held, rows, strict=True)]
    return met


def met_near_the_best(space: SearchSpace, points: Sequence[Point]) -> list[Point]:
    """What a search for the quickest plateau meets: evolution from the best that is known, then trials around the best.

    Parameters
    ----------
    space : SearchSpace
        What can be chosen.
    points : sequence of Point
        Plateaus that were launched already, at least one.

    Returns
    -------
    list of Point
        Those points, and of all that were met the best, and the lowest that are about as quick; the best first.
    """
    known = [*points, *_evolved(space, min(points, key=_cost))]
    met = sorted([*known, *_polished(space, known)], key=_soundest)
    near = [point for point in met if point.score <= met[0].score + _DOUBT + SAME_TIME]
    lowest = sorted(near, key=lambda point: point.shape.height)
    finalists = _unlike([*met[:_FINALISTS], *lowest[:_FINALISTS]], 2 * _FINALISTS)
    return sorted([*points, *space.launched([point.shape for point in finalists])], key=_soundest)


def _lowest_that_pays(space: SearchSpace, points: Sequence[Point], met: Sequence[Point]) -> Point:
    """The lowest plateau that is no slower than the best by more than counts as equal."""

    def pays(point: Point) -> bool:
        return point.sound and point.score <= met[0].score + SAME_TIME

    high = min(filter(pays, met), key=lambda point: point.shape.height)
    low = max((p.shape.height for p in points if p.shape.height < high.shape.height), default=high.shape.height)
    for _ in range(_NARROWINGS):
        heights = np.linspace(low, high.shape.height, 6)[1:-1]
        for point in best_of_each(space, heights.tolist()):
            if pays(point):
                high = point
                break
            low = point.shape.height
    return high


def _as_far(space: SearchSpace, point: Point, shaped: Callable[[float], Shape], slowest: float) -> Point:
    """The first of some shapes, from share 1 down to 0, that is sound and quick enough; the point itself if none is."""
    low, high = 0.0, 1.0
    for _ in range(2):
        shares = np.linspace(high, low, _CANDIDATES)[: -1 if low == 0.0 else None]
        tried = space.launched([shaped(float(share)) for share in shares])
        good = [k for k, each in enumerate(tried) if each.sound and each.score <= slowest]
        if not good:
            return point
        point = tried[good[0]]
        if good[0] == 0:
            return point
        high, low = float(shares[good[0] - 1]), float(shares[good[0]])
    return point


def _longest(space: SearchSpace, point: Point, slowest: float) -> Point:
    """The same height held as long as it can be without being slower: to a later end, then from an earlier start.

    A full-throttle launch hardly sees low engine speeds, so that time alone says nothing about them; a driver does see
    them. What is below the start comes up as early as it can.
    """
    shape, last = point.shape, space.latest(point.shape.height)
    point = _as_far(space, point, lambda s: shape._replace(end=shape.end + s * max(last - shape.end, 0.0)), slowest)
    later, first = point.shape, space.earliest(shape.height)
    point = _as_far(space, point, lambda s: later._replace(start=later.start + s * (first - later.start)), slowest)
    early, begin = point.shape, float(space.speeds[0])
    return _as_far(space, point, lambda s: early._replace(left=begin + s * max(first - begin, 0.0)), slowest)


def _earlier(space: SearchSpace, chosen: Point) -> Point | None:
    """The plateau begun as early as it can be, if the chosen one begins notably later."""
    first = space.earliest(chosen.shape.height)
    if chosen.shape.start <= first + _NOTABLY:
        return None
    return space.launched([chosen.shape._replace(start=first)])[0]


def _front(points: Sequence[Point], chosen: Point) -> tuple[Point, ...]:
    """The front with the chosen point on it: what is as quick within what counts as equal does not push it off."""
    return not_beaten(
        [
            chosen,
            *(
                p
                for p in points
                if p.sound
                and (p.strain, p.score) != (chosen.strain, chosen.score)
                and not (p.strain <= chosen.strain and p.score <= chosen.score)
            ),
        ]
    )


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


def _gear_limits(space: SearchSpace, chosen: Point) -> tuple[tuple[float, ...], Point]:
    """Torque limits of the gears in which the tyres cannot use the plateau, from first gear up."""
    count = int(space.car.gearbox.count)
    limits, best = [inf] * count, chosen
    complete(car := as_many([space.cars([chosen.shape])[0]]).view(np.recarray)[0])
    within = (space.speeds >= chosen.shape.start) & (space.speeds <= max(chosen.shape.end, chosen.shape.start))
    pull = space.speeds[within] if within.any() else space.speeds[-1:]
    for gear in range(count):
        if float(np.min(usable_torque(car, gear + 1, pull))) >= chosen.shape.height:
            break
        for low, high in ((0.3, 1.0), (-0.05, 0.05)):
            middle = 0.0 if low > 0.0 or not isfinite(limits[gear]) else limits[gear] / chosen.shape.height
            tried = [*(chosen.shape.height * (middle + share) for share in np.linspace(low, high, 15))]
            trials = [[*limits[:gear], limit, *limits[gear + 1 :]] for limit in tried if limit > 0.0]
            points = space.launched([chosen.shape] * len(trials), trials)
            least = min([best.score, *(point.score for point in points if point.sound)])
            for trial, point in zip(trials, points, strict=True):
                if point.sound and point.score <= least + SAME_TIME and trial[gear] < chosen.shape.height:
                    limits, best = trial, point
                    break
            if not isfinite(limits[gear]):
                break
    return tuple(limits), best


def _refuse(space: SearchSpace, points: Sequence[Point]) -> TargetNotReached:
    """Why no plateau keeps to the limits: what is broken least where least is broken, or which cap is too low."""
    nearest = min(points, key=lambda point: (not isfinite(point.score), _over(point)))
    if not isfinite(nearest.score):
        return _out_of_reach(space)
    what, (seen, allowed) = max(nearest.broken.items(), key=lambda item: item[1][0] / item[1][1])
    return TargetNotReached(
        f"no plateau meets the limits: even with one of {nearest.shape.height:.0f} N m, {what}, sees {seen:.0f} N m, "
        f"{seen - allowed:.0f} N m more than the {allowed:.0f} N m allowed"
    )


def _out_of_reach(space: SearchSpace) -> TargetNotReached:
    """No plateau is strong enough: which limits hold it down, and how much higher they would have to be."""
    names = ", ".join(target_label(target) for target in space.aims.targets)
    none = f"no plateau within the limits reaches {names}"
    why = f"{none} within {float(space.car.run.time_limit):g} s"
    which, eased = " and ".join(space.caps), space
    for factor in _EASED if space.caps else ():
        eased = space.within(space.limits.eased(float(factor)))
        if any(isfinite(point.score) for point in eased.launched(_tall(eased))):
            return TargetNotReached(f"{why}; the limit of {which} would have to be about {factor:.1f} times as high")
    own = _given_time(space)
    if any(isfinite(each.time) for each in own):
        return TargetNotReached(f"{why}; {min(own, key=_arrival).why}")
    lifted = _given_time(eased) if space.caps else []
    if any(isfinite(each.time) for each in lifted):
        return TargetNotReached(
            f"{why}; raise both the limit of {which} and run.time_limit: with that limit {_EASED[-1]:.0f} times as "
            f"high, {min(lifted, key=_arrival).why}"
        )
    even = f", and a limit of {which} {_EASED[-1]:.0f} times as high would not change that" if space.caps else ""
    return TargetNotReached(f"{none}{even}; {_every_why(lifted or own)}")


def _arrival(launch: LongLaunch) -> float:
    return launch.time if isfinite(launch.time) else inf


def _every_why(launches: Sequence[LongLaunch]) -> str:
    """Why none of some launches gets there: one clause for each reason, with the highest speed or the longest way."""
    farthest = sorted(launches, key=lambda each: (each.top_speed, each.distance))
    return "; with other plateaus, ".join({(each.outcome, each.target.label): each.why for each in farthest}.values())


def _tall(space: SearchSpace) -> list[Shape]:
    """Plateaus that begin as early and last as long as the limits let them."""
    return [space.shape(share * space.top, 0.0, 1.0) for share in (0.5, 0.75, 1.0)]


def _given_time(space: SearchSpace) -> list[LongLaunch]:
    """Launches of tall plateaus with all the time there is."""
    cars = space.cars(_tall(space)).view(np.recarray)
    for car in cars:
        complete(car)
    return [given_time(car, space.aims.targets, space.tolerance) for car in cars]


def _over(point: Point) -> float:
    return max((seen / allowed for seen, allowed in point.broken.values()), default=0.0)


LAUNCHES = 2800
"""About how many launches a search takes: 2500 and 3100 with two of the demonstration cars."""


def highest_plateau(space: SearchSpace, *, by_gear: bool = False, watch: Watch | None = None) -> Plateau:
    """The highest plateau that pays, and what less torque would cost.

    The lowest height that is within a thousandth of a second of the quickest that was found is taken, and held as long
    as it can be within five.

    Parameters
    ----------
    space : SearchSpace
        What can be chosen.
    by_gear : bool
        Whether torque limits are sought for the gears in which the tyres cannot use the plateau.
    watch : callable, optional
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
    report = watch or (lambda line: None)
    report(f"1 of 3: {FRONT} heights of plateau")
    expect(LAUNCHES)
    points = best_of_each(space, np.linspace(_LOWEST * space.top, space.top, FRONT).tolist())
    if not any(point.sound for point in points):
        points = best_of_each(space, (np.geomspace(_VERY_LOWEST, _LOWEST, _FEW) * space.top).tolist())
    if not any(point.sound for point in points):
        raise _refuse(space, points)
    report("2 of 3: the quickest plateau")
    expect(round(0.6 * LAUNCHES))
    met = met_near_the_best(space, points)
    best = met[0]
    report("3 of 3: the lowest one that is as quick, held as long as it can be")
    expect(round(0.2 * LAUNCHES))
    chosen = _longest(space, _lowest_that_pays(space, points, met), best.score + HELD_TIME)
    best = min(best, chosen, key=_cost)
    front, saved = _front([*points, best], chosen), gains(space, chosen, [best, *_apart(space, met)[:_BASES]])
    names, plain, limits = binding(space, chosen, saved), chosen, space.ceilings
    if by_gear:
        limits, chosen = _gear_limits(space, chosen)
    own = space.car.engine.gear_limit[: len(limits)].tolist()
    limits = tuple(min(limit, stated) for limit, stated in zip(limits, own, strict=True))
    wish = space.points([Shape(float(space.wish_torque.max()), nan, nan)], as_many([space.car]))[0]
    torque, knee, earlier = space.torque(chosen.shape), _knee(front), _earlier(space, plain)
    found = Plateau(space.speeds, torque, names, chosen, best, front, knee, limits, wish, space.wish_torque, plain)
    capped, grip = bool(space.caps), space.within_grip
    curved = (k + 1 for k, count in enumerate(space.car.engine.gear_curve["count"]) if count)
    curves = {gear: gear_cap(space.car, gear, space.speeds) for gear in curved}
    names_of = (ENVELOPE, *(each.name for each in space.limits.measured))
    measured = {name: cap for name, cap in space.caps.items() if name in names_of}
    return replace(
        found,
        within_grip=grip,
        capped=capped,
        gains=saved,
        earlier=earlier,
        gear_curves=curves,
        own_limits=tuple(own),
        measured=measured,
    )


def final_drive(space: SearchSpace, shape: Shape | None, lowered: Callable[[float], Car]) -> tuple[float, float]:
    """The final drive that suits a curve, and the score with it.

    Parameters
    ----------
    space : SearchSpace
        The car as it is.
    shape : Shape or None
        The curve; None: the one that is wished for.
    lowered : callable
        Makes the car with its final drive so many times as high.

    Returns
    -------
    tuple of float
        Ratio over the present one [-], and score [s]; of those that are equally quick, the nearest to the present one.
    """
    grip = space.within_grip
    spaces = [
        SearchSpace(lowered(float(ratio)), space.limits, space.aims, space.tolerance, within_grip=grip)
        for ratio in DRIVES
    ]
    cars = [each.car if shape is None else each.cars([shape])[0] for each in spaces]
    points = space.points([shape or Shape(nan, nan, nan)] * len(cars), as_many(cars))
    scores = np.array([point.score if point.sound or shape is None else inf for point in points])
    equal = np.flatnonzero(scores <= scores.min() + SAME_TIME)
    place = int(equal[np.argmin(np.abs(DRIVES[equal] - 1.0))])
    return float(DRIVES[place]), float(scores[place])
