"""Why one curve beats another: where along the range of engine speed their gap in time comes from.

Two curves differ in several places at once, so who wins does not say whether the higher peak helped. The range is cut
where the curves cross; a *mixture* takes one curve in some spans and the other elsewhere, and has no step since the
curves meet at every cut. Every mixture is launched, and the gap is shared among the spans by their Shapley values: what
exchanging a span changes, averaged over all orders in which the spans can be exchanged. The shares add up to the gap.
Beside each share stand the least and the most that its span changes in any order: where those lie far apart, what a
span is worth depends on the rest of the curve.

Torque limits by gear act at certain engine speeds in some gears only, so no span holds them. Where they differ between
the curves they are exchanged as a whole, like one more span.

Shift speeds and target slip that the scenario leaves open are worked out anew for each mixture, as they would be tuned.

Source of the shares: see `shapley`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from enum import Enum
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from simlaunch.comparing.shapley import Share, shapley
from simlaunch.cubics import Cubics, with_slopes
from simlaunch.launching.goals import WORTH_NAMING
from simlaunch.launching.launches import times_of
from simlaunch.metrics.full_load import gear_cap, limited_gears, most_torque
from simlaunch.metrics.marks import Target
from simlaunch.parameters.fill import fill_table, lower
from simlaunch.physics.table import values_at
from simlaunch.record import MAX_CURVE_POINTS, Car, Pedal, Table
from simlaunch.scenario.model import Scenario
from simlaunch.simulation.run import complete
from simlaunch.units.quantity import RPM

Array = NDArray[np.float64]

MOST_SPANS = 5
"""More spans are joined: a gap that is shared among many is no answer, and launches double with each span."""

SMALLEST = 0.02
"""A span that holds a smaller share of the area between two curves is joined to its neighbours [-]."""

SAME = 0.001
"""Curves that differ by a smaller share of the higher peak are taken as equal there: no dyno resolves less [-]."""

SAME_PEAK = 0.03
"""Peaks that differ by a smaller share do not count as higher and lower: nobody asks about so little [-]."""

_LEVEL = 1e-3  # times of mixtures that differ by less are level [s]
_LEAST_LEVEL = 50.0 * RPM  # a stretch in which curves are equal parts two spans if it is this wide [rad/s]
_PASSAGE = 125.0 * RPM  # half the width over which one curve passes into the other [rad/s]
_PASSAGE_KNOTS = 9
_BEYOND = 1e4  # how far curves are carried on level [rad/s]
_SPACING = 5.0 * RPM  # distance of the engine speeds at which the curves are set against each other [rad/s]


class SpanName(Enum):
    """What a span of engine speed is called, seen from the curve with the higher peak."""

    PEAK = "the peak itself"
    PEAK_AND_LOW = "the peak and all below it"
    PEAK_AND_TOP = "the peak and all above it"
    WHOLE = "the whole curve"
    LOW = "the low end"
    BELOW = "below the peak"
    ABOVE = "above the peak"
    TOP = "the top end"
    MIDDLE = "the middle"
    LOWER = "the lower part"
    UPPER = "the upper part"


@dataclass(frozen=True)
class Span:
    """Stretch of engine speed between two places where the curves meet.

    Parameters
    ----------
    start, end : float
        Engine speeds [rad/s].
    name : SpanName
        What it is called.
    second_above : bool
        Whether the second curve has more torque there, on the whole.
    full, held : Share
        What it adds to the gap with full pedal and with held slip.
    """

    start: float
    end: float
    name: SpanName
    second_above: bool
    full: Share
    held: Share

    def of(self, pedal: Pedal) -> Share:
        """The share with one of the pedals."""
        return self.full if pedal is Pedal.FULL else self.held

    def turned(self) -> Span:
        """The same with the curves exchanged."""
        return replace(self, second_above=not self.second_above, full=self.full.turned(), held=self.held.turned())


@dataclass(frozen=True)
class LimitsByGear:
    """What exchanging the torque limits by gear adds to the gap.

    Parameters
    ----------
    gears : tuple of int
        Gears in which the limits let the engine give unlike torque; first gear is 1.
    full, held : Share
        What it adds with full pedal and with held slip.
    """

    gears: tuple[int, ...]
    full: Share
    held: Share

    def turned(self) -> LimitsByGear:
        """The same with the curves exchanged."""
        return replace(self, full=self.full.turned(), held=self.held.turned())


@dataclass(frozen=True)
class Mixture:
    """A curve put together from both, and the time that it takes with full pedal.

    Parameters
    ----------
    parts : tuple of (float, float, str)
        From and to engine speed [rad/s], and the name of the curve that is taken there, in rising order.
    time : float
        Time to the target [s].
    limits : str
        Name of the curve whose torque limits by gear are taken; empty where they are the same.
    """

    parts: tuple[tuple[float, float, str], ...]
    time: float
    limits: str = ""


@dataclass(frozen=True)
class Attribution:
    """Where along the range of engine speed the gap between two curves comes from.

    Parameters
    ----------
    first, second : str
        Names of the curves.
    target : Target
        What the time is taken to.
    spans : tuple of Span
        In rising order; none where the curves are equal.
    best : Mixture or None
        The quickest mixture with full pedal; None where none beats both curves by a time worth naming.
    shifts_follow : bool
        Whether shift speeds were worked out anew for each mixture.
    limits : LimitsByGear or None
        The torque limits by gear; None where they let the engine give the same.
    """

    first: str
    second: str
    target: Target
    spans: tuple[Span, ...]
    best: Mixture | None
    shifts_follow: bool
    limits: LimitsByGear | None = None

    @property
    def peak(self) -> Span | None:
        """The span that holds the higher peak alone; None where the peak cannot be separated from more of the curve."""
        return next((span for span in self.spans if span.name is SpanName.PEAK), None)

    def turned(self) -> Attribution:
        """The same with the curves exchanged."""
        spans = tuple(span.turned() for span in self.spans)
        limits = self.limits.turned() if self.limits else None
        return replace(self, first=self.second, second=self.first, spans=spans, limits=limits)


# --- where the range is cut ---


@dataclass(frozen=True)
class _Cut:
    """Engine speed at which the range is cut; curves that do not meet there pass over within a width to either side."""

    speed: float
    width: float = 0.0


@dataclass(frozen=True)
class _Stretch:
    """Part of the range between two cuts, and the area by which the second curve lies above the first [W]."""

    start: _Cut
    end: _Cut
    area: float

    def holds(self, speed: float) -> bool:
        """Whether an engine speed lies in it."""
        return self.start.speed <= speed <= self.end.speed


@dataclass(frozen=True)
class _Pair:
    """Two full-load curves over the range of engine speed that is in use."""

    tables: tuple[Table, Table]
    speed: Array
    torque: tuple[Array, Array]

    @property
    def gap(self) -> Array:
        """Torque of the second less torque of the first [N m]."""
        return self.torque[1] - self.torque[0]

    @property
    def sign(self) -> Array:
        """Which curve lies above: 1 the second, -1 the first, 0 neither."""
        most = max(float(torque.max()) for torque in self.torque)
        return np.where(np.abs(self.gap) > SAME * most, np.sign(self.gap), 0.0)

    @property
    def higher(self) -> int | None:
        """Index of the curve with the higher peak; None where the peaks are about the same."""
        one, other = (float(torque.max()) for torque in self.torque)
        return None if abs(one - other) <= SAME_PEAK * max(one, other) else int(other > one)

    @property
    def place_of_peak(self) -> float | None:
        """Engine speed of the higher peak; None where the peaks are the same [rad/s]."""
        return None if self.higher is None else float(self.speed[int(np.argmax(self.torque[self.higher]))])

    def crossing(self, low: float, high: float) -> float:
        """Engine speed between two others at which the curves meet [rad/s]."""
        begin, middle = self._gap_at(low), 0.5 * (low + high)
        while low < middle < high:  # halved until no number lies between
            low, high = (middle, high) if begin * self._gap_at(middle) > 0.0 else (low, middle)
            middle = 0.5 * (low + high)
        return middle

    def _gap_at(self, speed: float) -> float:
        one, other = (float(values_at(table, np.array([speed]))[0]) for table in self.tables)
        return other - one


def _pair(first: Car, second: Car) -> _Pair:
    tables = (first.engine.torque, second.engine.torque)
    low, high = min(float(table.knot[0]) for table in tables), float(first.engine.rev_limit)
    speed = np.linspace(low, high, max(int((high - low) / _SPACING), 64) + 1)
    return _Pair(tables, speed, (most_torque(first, speed), most_torque(second, speed)))


def _gears_apart(pair: _Pair, first: Car, second: Car) -> tuple[int, ...]:
    """Gears in which the limits of two cars would let the engine give unlike torque with the higher of the curves."""
    most = np.maximum(*pair.torque)
    stated = sorted({*limited_gears(first), *limited_gears(second)})
    one, other = (
        {gear: np.minimum(gear_cap(car, gear, pair.speed), most) for gear in stated} for car in (first, second)
    )
    return tuple(gear for gear in stated if not np.array_equal(one[gear], other[gear]))


def _meetings(pair: _Pair) -> list[float]:
    """Engine speeds at which the curves cross, or are equal over a stretch [rad/s]."""
    sign, speed = pair.sign, pair.speed
    inside = np.flatnonzero(sign)
    found = []
    for one, other in pairwise(inside):
        if sign[one] != sign[other]:
            found.append(pair.crossing(float(speed[one]), float(speed[other])))
        elif speed[other] - speed[one] > _LEAST_LEVEL:
            between = np.arange(one + 1, other)
            found.append(float(speed[between[np.argmin(np.abs(pair.gap[between]))]]))
    return found


def _lasting(pair: _Pair) -> list[float]:
    """Engine speeds at which the curves meet, but for small stretches within the range, such as noise makes them."""
    low, high = float(pair.speed[0]), float(pair.speed[-1])
    parts = _parted(pair, [_Cut(each) for each in (low, *_meetings(pair), high)])
    return [part.end.speed for part in _joined(parts, pair.place_of_peak)[:-1]]


def _edges_of_peak(pair: _Pair) -> list[float]:
    """Engine speeds between which the higher peak is more than the other curve ever gives [rad/s]."""
    if pair.higher is None:
        return []
    higher, lower = pair.torque[pair.higher], pair.torque[1 - pair.higher]
    beyond = higher > float(lower.max())
    top = int(np.argmax(higher))
    low, high = top, top
    while low > 0 and beyond[low - 1]:
        low -= 1
    while high < beyond.size - 1 and beyond[high + 1]:
        high += 1
    return [float(pair.speed[k]) for k in (low, high) if 0 < k < beyond.size - 1]


def _cuts(pair: _Pair) -> list[_Cut]:
    """Where the range is cut: where the curves meet, and at the edges of the peak on a side where they never do."""
    low, high = float(pair.speed[0]), float(pair.speed[-1])
    meetings, edges, top = _lasting(pair), _edges_of_peak(pair), pair.place_of_peak
    if top is not None:
        open_below, open_above = all(cut > top for cut in meetings), all(cut < top for cut in meetings)
        edges = [edge for edge in edges if (open_below if edge < top else open_above)]
    ordered = sorted((low, high, *meetings, *edges))
    cuts = []
    for cut, below, above in zip(ordered, [low, *ordered], [*ordered[1:], high], strict=False):
        cuts.append(_Cut(cut, min(_PASSAGE, 0.25 * (cut - below), 0.25 * (above - cut)) if cut in edges else 0.0))
    return cuts


def _stretches(pair: _Pair) -> list[_Stretch]:
    """Parts of the range; none where the curves are equal throughout."""
    if not pair.sign.any():
        return []
    return _parted(pair, _cuts(pair))


def _parted(pair: _Pair, cuts: Sequence[_Cut]) -> list[_Stretch]:
    """The range between cuts."""
    area = np.r_[0.0, np.cumsum(0.5 * (pair.gap[1:] + pair.gap[:-1]) * np.diff(pair.speed))]
    areas = np.diff(np.interp([cut.speed for cut in cuts], pair.speed, area))
    return [_Stretch(cuts[i], cuts[i + 1], float(areas[i])) for i in range(len(cuts) - 1)]


def _joined(stretches: Sequence[_Stretch], peak: float | None) -> list[_Stretch]:
    """The same with small ones joined to their neighbours, until few are left and each within the range counts.

    A small one at an end of the range stays by itself, so that it widens no other, and so does the one that holds the
    higher peak, which is asked about however small it is.
    """
    left = list(stretches)
    while len(left) > 1:
        least = SMALLEST * sum(abs(each.area) for each in left)
        others = [k for k, each in enumerate(left) if peak is None or not each.holds(peak)]
        small = [k for k in others if 0 < k < len(left) - 1 and abs(left[k].area) < least]
        if len(left) > MOST_SPANS:
            small = others
        if not small:
            break
        smallest = min(small, key=lambda k: abs(left[k].area))
        begin, end = max(smallest - 1, 0), min(smallest + 2, len(left))
        together = left[begin:end]
        left[begin:end] = [_Stretch(together[0].start, together[-1].end, sum(each.area for each in together))]
    return left


def _names(pair: _Pair, stretches: Sequence[_Stretch]) -> list[SpanName]:
    last, peak = len(stretches) - 1, pair.place_of_peak
    if last == 0:
        return [SpanName.WHOLE]
    middle = 0.5 * (stretches[0].start.speed + stretches[-1].end.speed)  # an end that reaches beyond it is none
    low = SpanName.LOW if stretches[0].end.speed <= middle else SpanName.LOWER
    top = SpanName.TOP if stretches[-1].start.speed >= middle else SpanName.UPPER
    if peak is None:
        return [low, *[SpanName.MIDDLE] * (last - 1), top]
    holds = next(i for i, each in enumerate(stretches) if each.holds(peak))
    found = [SpanName.BELOW if i < holds else SpanName.ABOVE for i in range(last + 1)]
    found[0], found[last] = low, top
    found[holds] = {0: SpanName.PEAK_AND_LOW, last: SpanName.PEAK_AND_TOP}.get(holds, SpanName.PEAK)
    return found


# --- mixtures ---


def _spline(table: Table) -> Cubics:
    """A full-load curve with its ends carried on level."""
    count = int(table.count)
    knots, cubics = table.knot[:count], table.cubic[: count - 1]
    below, above = np.array([table.cubic[0, 0], 0.0, 0.0, 0.0]), table.cubic[count - 1]
    ends = knots[0] - _BEYOND, knots[-1] + _BEYOND
    return Cubics(np.r_[ends[0], knots, ends[1]], np.vstack([below, cubics, above]))


def _passage(one: Cubics, other: Cubics, cut: _Cut) -> Cubics:
    """A smooth passage from one curve to the other around a cut: u^2 (3 - 2 u) of the way at the share u of it."""
    speed = np.linspace(cut.speed - cut.width, cut.speed + cut.width, _PASSAGE_KNOTS)
    u = (speed - speed[0]) / (2.0 * cut.width)
    way, slope = u * u * (3.0 - 2.0 * u), 6.0 * u * (1.0 - u) / (2.0 * cut.width)
    values = one(speed) + way * (other(speed) - one(speed))
    slopes = one(speed, 1) + way * (other(speed, 1) - one(speed, 1)) + slope * (other(speed) - one(speed))
    return with_slopes(speed, values, slopes)


def _mix(target: Table, curves: Sequence[Cubics], stretches: Sequence[_Stretch], choice: Sequence[int]) -> None:
    """Put the chosen curve of each stretch into a table of a car."""
    knots: list[Array] = []
    cubics: list[Array] = []
    start = min(float(curve.knots[1]) for curve in curves)
    end = max(float(curve.knots[-2]) for curve in curves)
    for i, which in enumerate(choice):
        cut, last = stretches[i].end, i == len(choice) - 1
        changes = not last and choice[i + 1] != which
        stop = end if last else cut.speed - (cut.width if changes else 0.0)
        inside = curves[which].knots
        inside = inside[(inside > start) & (inside < stop)]
        knots.append(np.r_[start, inside])
        cubics.append(curves[which].seen_from(knots[-1]))
        start = stop
        if changes and cut.width > 0.0:
            passage = _passage(curves[which], curves[choice[i + 1]], cut)
            knots.append(passage.knots[:-1])
            cubics.append(passage.seen_from(passage.knots[:-1]))
            start = cut.speed + cut.width
    all_knots = np.r_[np.concatenate(knots), end]
    all_cubics = np.vstack([*cubics, [float(curves[choice[-1]](end)), 0.0, 0.0, 0.0]])
    if all_knots.size > MAX_CURVE_POINTS:  # two curves of many points: thinned out evenly
        mixed = Cubics(all_knots, all_cubics[:-1])
        even = np.linspace(all_knots[0], end, MAX_CURVE_POINTS)
        fill_table(target, even, mixed(even))
        return
    target.count = all_knots.size
    target.knot[: all_knots.size] = all_knots
    target.cubic[: all_knots.size] = all_cubics


def _choices(players: int) -> Iterator[tuple[int, ...]]:
    """For each subset of what is exchanged, as the bits of a number, which curve each is taken from."""
    for subset in range(1 << players):
        yield tuple(subset >> i & 1 for i in range(players))


def _times(
    scenario: Scenario,
    names: tuple[str, str],
    stretches: Sequence[_Stretch],
    limits: bool,
    target: Target,
    tolerance: float | None,
) -> dict[Pedal, Array]:
    """Time to the target with every mixture, in the order of `_choices`; nan where it was not reached [s].

    The limits by gear are exchanged last, where they are exchanged at all.
    """
    choices = list(_choices(len(stretches) + limits))
    cars = []
    for pedal in Pedal:
        pair = [lower(scenario, name, pedal) for name in names]
        curves = [_spline(car.engine.torque) for car in pair]
        for choice in choices:
            mixed, by_speed = pair[choice[0]].copy(), choice[: len(stretches)]
            if len(set(by_speed)) > 1:
                _mix(mixed.engine.torque, curves, stretches, by_speed)
            if limits:
                taken = pair[choice[-1]].engine
                mixed.engine.gear_limit[:] = taken.gear_limit
                mixed.engine.gear_curve[:] = taken.gear_curve
            complete(mixed)
            cars.append(mixed)
    times = times_of(cars, target, tolerance).reshape(2, len(choices))
    return {pedal: times[k] for k, pedal in enumerate(Pedal)}


# --- shares ---


def _best(names: tuple[str, str], stretches: Sequence[_Stretch], limits: bool, times: Array) -> Mixture | None:
    """The quickest mixture; of several that are as quick, the one that changes over least often."""
    quickest = float(times.min())
    if not stretches or quickest > min(times[0], times[-1]) - WORTH_NAMING:
        return None
    choices = _choices(len(stretches) + limits)
    level = [choice for choice, time in zip(choices, times, strict=True) if time < quickest + _LEVEL]
    choice = min(level, key=lambda each: sum(one != other for one, other in pairwise(each)))
    parts: list[tuple[float, float, str]] = []
    for stretch, which in zip(stretches, choice, strict=False):
        begin, name = stretch.start.speed, names[which]
        if parts and parts[-1][2] == name:
            begin = parts.pop()[0]
        parts.append((begin, stretch.end.speed, name))
    place = sum(which << i for i, which in enumerate(choice))
    return Mixture(tuple(parts), float(times[place]), names[choice[-1]] if limits else "")


def attribute(
    scenario: Scenario, first: str, second: str, target: Target, *, tolerance: float | None = None
) -> Attribution | None:
    """Share the gap in time between two curves among the spans of engine speed in which they differ.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    first, second : str
        Names of two of its curves.
    target : Target
        What the time is taken to.
    tolerance : float, optional
        Relative error allowed per step [-].

    Returns
    -------
    Attribution or None
        Shares for both pedals, second less first; None where some mixture does not reach the target.

    Raises
    ------
    UsageError
        No curve of that name, or a tolerance out of range.
    """
    one, other = (lower(scenario, name, Pedal.FULL) for name in (first, second))
    last = int(one.gearbox.count) - 1
    follow = last > 0 and bool(np.isnan(one.gearbox.shift_speed[:last]).all())
    pair = _pair(one, other)
    stretches = _joined(_stretches(pair), pair.place_of_peak)
    gears = _gears_apart(pair, one, other)
    if not stretches and not gears:
        return Attribution(first, second, target, (), None, follow)
    times = _times(scenario, (first, second), stretches, bool(gears), target, tolerance)
    if not all(np.isfinite(each).all() for each in times.values()):
        return None
    full, held = (shapley(times[pedal]) for pedal in (Pedal.FULL, Pedal.HELD_SLIP))
    names = _names(pair, stretches) if stretches else []
    spans = tuple(
        Span(each.start.speed, each.end.speed, name, each.area > 0.0, full[k], held[k])
        for k, (each, name) in enumerate(zip(stretches, names, strict=True))
    )
    best = _best((first, second), stretches, bool(gears), times[Pedal.FULL])
    limits = LimitsByGear(gears, full[-1], held[-1]) if gears else None
    return Attribution(first, second, target, spans, best, follow, limits)
