"""Many launches, run and measured in compiled code with the interpreter's lock let go: a row of numbers for each."""

from __future__ import annotations

from collections.abc import Collection
from functools import lru_cache
from math import nan
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from simlaunch.compiled import compile_for, entry, inline, part
from simlaunch.metrics.ceiling import driven_axles
from simlaunch.metrics.crossing import POINT
from simlaunch.metrics.energy import Energies, Integrals, energies, residual_of, share_of_work
from simlaunch.metrics.grip import USE, GripNumbers, note_axle, use_of_grip
from simlaunch.metrics.marks import (
    SHORTEST_WITH_TRAP,
    STANDARD,
    Kind,
    MarkNumbers,
    Target,
    at_rest,
    find_marks,
    target_numbers,
)
from simlaunch.metrics.parts import (
    CHANNEL,
    MEANING,
    NO_CHANGE,
    PEAK,
    PULL,
    Part,
    find_peaks,
)
from simlaunch.metrics.samples import Samples, empty_samples, first_from
from simlaunch.physics import state as at
from simlaunch.quantities import reported
from simlaunch.record import CAR
from simlaunch.simulation import channels, kernel
from simlaunch.simulation.bench import CAPACITIES, DEFAULT_TOLERANCE, Bench, hopeless, make_bench, run_next
from simlaunch.simulation.events import EventKind
from simlaunch.units.spelling import Dimension

Array = NDArray[np.float64]
Codes = NDArray[np.int64]

_MARK_NUMBERS, _GRIP_NUMBERS = len(MarkNumbers._fields), len(GripNumbers._fields)
_RESIDUALS = ("residual", "residual_share")
_ENERGY_NUMBERS = len(Energies._fields) + len(_RESIDUALS)
_DISTANCE, _ROLL_DISTANCE = (list(Kind).index(kind) for kind in (Kind.DISTANCE, Kind.ROLL_DISTANCE))

MARKS, GRIP, ENERGY, PARTS = "mark", "grip", "energy", "part"
GROUPS = (MARKS, GRIP, ENERGY, PARTS)
"""What is measured together: times and speeds, use of grip, energies, torque of parts. The marks are always measured;
each of the others may be left out, which spares time and changes no bit of the rest."""


class Measure(NamedTuple):
    """One number that is measured of a launch."""

    name: str
    """Stable name."""
    dimension: Dimension
    """Kind of quantity; values are in its SI unit."""
    label: str
    """What it is called where it is printed."""
    group: str
    """The group of `GROUPS` that it is measured with."""


class Measured(NamedTuple):
    """Measures of many launches."""

    values: Array
    """Shape (n, m): a row for each launch, in the order of `columns`, SI units; nan where a number is not defined."""
    ending: Codes
    """Shape (n,): how each launch ended, one of the statuses of `launch.kernel`."""


# --- what is measured ---


def _mark_columns(target: Target) -> tuple[Measure | None, ...]:
    """Columns of one target, in the order of `MarkNumbers`; None for what is not defined for such a target."""
    distance = target.by_distance
    defined = {
        "time": True,
        "time_after_rollout": target.start == 0.0 and target.roll is None,
        "speed": distance,
        "trap_speed": target.kind is Kind.DISTANCE and target.end >= SHORTEST_WITH_TRAP,
    }
    return tuple(
        _column(MARKS, field, target=target.label) if defined[field] else None for field in MarkNumbers._fields
    )


def _column(group: str, field: str, **filled: str) -> Measure:
    quantity = reported(group)[field]
    label = quantity.label.format(**filled)
    return Measure(label, quantity.dimension, label, group)


def _part_columns(part: Part) -> tuple[Measure, Measure]:
    return _column(PARTS, "torque", part=part.value), _column(PARTS, "steady", part=part.value)


def _time_column(target: Target) -> Measure:
    """The column of one target that is left where only times are wanted."""
    return _column(MARKS, "time", target=target.label)


@lru_cache(maxsize=64)
def _all_columns(targets: tuple[Target, ...]) -> tuple[Measure | None, ...]:
    """A column for every number that compiled code works out, in its order; None for those of no meaning."""
    return (
        *(column for target in targets for column in _mark_columns(target)),
        *(_column(GRIP, field) for field in GripNumbers._fields),
        *(_column(ENERGY, field) for field in (*Energies._fields, *_RESIDUALS)),
        *(column for part in Part for column in _part_columns(part)),
    )


def columns(targets: tuple[Target, ...], *, times_only: bool = False) -> tuple[Measure, ...]:
    """What is measured on each of many launches: marks, use of grip, energies, torque of parts.

    Parameters
    ----------
    targets : tuple of Target
        Every target that is wanted, the standard ones among them.
    times_only : bool
        Whether nothing but the time of each target is wanted.

    Returns
    -------
    tuple of Measure
        In the order of the numbers of a row.
    """
    if times_only:
        return tuple(_time_column(target) for target in targets)
    return tuple(column for column in _all_columns(targets) if column is not None)


# --- where launches are run and measured ---


def _derived(name: str) -> int:
    """Place of a channel among those that are derived."""
    return channels.DERIVED_CHANNELS.index(name)


_ACCELERATION, _LOAD_FRONT, _STORED_ENERGY = (
    _derived(name) for name in ("acceleration", "load_front", "stored_energy")
)
_AXLE_CHANNELS = ("slip", "peak_slip", "force", "force_limit", "slip_power")
_FRONT = tuple(_derived(f"{name}_front") for name in _AXLE_CHANNELS)
_REAR = tuple(_derived(f"{name}_rear") for name in _AXLE_CHANNELS)
_TORQUES = tuple(_derived(CHANNEL[part]) for part in Part)

_MEANING = np.array([MEANING[kind] for kind in EventKind])


_NO_GRIP = (False, False)


class _Space(NamedTuple):
    """What every launch of a batch is run and measured with, one after the other."""

    bench: Bench
    derived: Array  # (capacity, channels)
    speed: Samples  # (capacity,) as `POINT`
    distance: Samples  # (capacity,) as `POINT`
    uses: Samples  # (capacity,) as `USE`
    pulls: Samples  # (capacity,) as `PULL`
    peaks: Samples  # (parts,) as `PEAK`
    times: Array  # (phases,) when each phase began [s]
    meanings: Codes  # (phases,) what began it


class _Wanted(NamedTuple):
    """What is measured, as plain numbers."""

    targets: Array  # (targets, 3)
    columns: Codes  # place of each column among all numbers
    numbers: Array  # all numbers of the launch that is being measured
    marks: Array  # (targets, numbers) those of them that belong to marks
    speeds: bool  # at the marks
    grip: bool
    energy: bool
    parts: bool


def _space(capacity: int, tolerance: float, *, energy: bool) -> _Space:
    bench = make_bench(tolerance, capacity, integrals=energy)
    return _Space(
        bench,
        np.empty((capacity, len(channels.DERIVED_CHANNELS))),
        empty_samples(POINT, capacity),
        empty_samples(POINT, capacity),
        empty_samples(USE, capacity),
        empty_samples(PULL, capacity),
        empty_samples(PEAK, len(Part)),
        np.empty(bench.log.start.size),
        np.empty(bench.log.start.size, np.int64),
    )


def _wanted(targets: tuple[Target, ...], groups: Collection[str], *, times_only: bool) -> _Wanted:
    every = _all_columns(targets)
    places = [place for place, column in enumerate(every) if column is not None]
    if times_only:
        places, groups = [_MARK_NUMBERS * k for k in range(len(targets))], ()
    beside = (group in groups for group in (GRIP, ENERGY, PARTS))
    numbers = np.empty(len(every))
    marks = numbers[: _MARK_NUMBERS * len(targets)].reshape(len(targets), _MARK_NUMBERS)
    return _Wanted(target_numbers(targets), np.array(places, np.int64), numbers, marks, not times_only, *beside)


# --- one launch ---


@part
def _note_events(space: _Space, segments: int) -> float:
    """Note what every phase began with; returns time zero."""
    log, zero = space.bench.log, space.bench.phase[0].brake_off
    for i in range(segments):
        space.times[i] = log.start[i] - zero
        space.meanings[i] = _MEANING[log.event[i]] if log.event[i] >= 0 else NO_CHANGE
    return float(zero)


@inline
def _note_motion(space: _Space, i: int, time: float, y: Array, acceleration: float) -> None:
    speed, distance = space.speed[i], space.distance[i]
    speed.time, speed.value, speed.slope = time, y[at.SPEED], acceleration
    distance.time, distance.value, distance.slope = time, y[at.DISTANCE], y[at.SPEED]


@part
def _derive(space: _Space, first: int, last: int, grip_of: tuple[bool, bool]) -> None:
    """Work out the derived channels of the samples from `first` to before `last`."""
    bench = space.bench
    time, state = bench.samples.time[first:last], bench.samples.state[first:last]
    segment, out = bench.samples.segment[first:last], space.derived[first:last]
    channels.derive(time, state, segment, bench.log.phase, bench.car[0], bench.work, out, grip_of)


@part
def _note_samples(space: _Space, count: int, zero: float, derived: bool) -> None:
    """Times, speeds and distances of the record of a launch."""
    for i in range(count):
        time, y = space.bench.samples.time[i] - zero, space.bench.samples.state[i]
        _note_motion(space, i, time, y, space.derived[i, _ACCELERATION] if derived else nan)


@part
def _note_use(space: _Space, count: int) -> None:
    """Use of grip by both axles at every sample."""
    car = space.bench.car[0]
    for i in range(count):
        y, d, use = space.bench.samples.state[i], space.derived[i], space.uses[i]
        use.time, use.speed, use.load_front = space.speed[i].time, y[at.SPEED], d[_LOAD_FRONT]
        slip, peak_slip, force, force_limit = d[_FRONT[0]], d[_FRONT[1]], d[_FRONT[2]], d[_FRONT[3]]
        turn, power = y[at.WHEEL_FRONT] + abs(y[at.APART_FRONT]), d[_FRONT[4]]
        note_axle(use.front, use.speed, turn, car.front.radius, slip, peak_slip, force, force_limit, power)
        slip, peak_slip, force, force_limit = d[_REAR[0]], d[_REAR[1]], d[_REAR[2]], d[_REAR[3]]
        turn, power = y[at.WHEEL_REAR] + abs(y[at.APART_REAR]), d[_REAR[4]]
        note_axle(use.rear, use.speed, turn, car.rear.radius, slip, peak_slip, force, force_limit, power)


@part
def _note_pulls(space: _Space, count: int) -> None:
    """Torque of all parts at every sample."""
    for i in range(count):
        pull, d = space.pulls[i], space.derived[i]
        pull.time = space.speed[i].time
        for k in range(len(_TORQUES)):
            pull.torque[k] = d[_TORQUES[k]]


@part
def _accelerations_near(space: _Space, count: int, curve: Samples, value: float) -> None:
    """Work out the acceleration of the samples between which a curve rises to a value, and of those at the same time.

    Nothing else is read from the slope of speed; a launch has thousands of samples, and a mark needs two.
    """
    for i in range(count - 1):
        if curve[i].value <= value <= curve[i + 1].value:
            last = i + 1
            while last < count - 1 and curve[last].time == curve[i + 1].time:
                last += 1
            _derive(space, i, last + 1, _NO_GRIP)
            for k in range(i, last + 1):
                space.speed[k].slope = space.derived[k, _ACCELERATION]


@part
def _accelerations_at_marks(space: _Space, count: int, wanted: _Wanted) -> None:
    """Work out the acceleration wherever a mark reads it: about the speeds of targets, and where their distances end.

    Times of distances come from distance and speed alone.
    """
    for k in range(len(wanted.targets)):
        kind, start, end = wanted.targets[k, 0], wanted.targets[k, 1], wanted.targets[k, 2]
        if kind in (_DISTANCE, _ROLL_DISTANCE):
            if wanted.speeds:
                _accelerations_near(space, count, space.distance, end)
        else:
            _accelerations_near(space, count, space.speed, start)
            _accelerations_near(space, count, space.speed, end)


@part
def _integrals(space: _Space, i: int) -> Integrals:
    y = space.bench.samples.state[i]
    return Integrals(
        y[at.ENGINE_WORK],
        space.derived[i, _STORED_ENERGY],
        y[at.DRAG_WORK],
        y[at.ROLLING_WORK],
        y[at.GRADE_WORK],
        y[at.SLIP_WORK_FRONT],
        y[at.SLIP_WORK_REAR],
        y[at.COUPLING_WORK],
        y[at.GEARING_WORK],
        y[at.TWIST_WORK],
        y[at.AXLE_CLUTCH_WORK],
    )


@part
def _find_times(space: _Space, count: int, wanted: _Wanted) -> int:
    """Marks of the launch that has just been run; returns how many numbers that is."""
    speed, distance = space.speed[:count], space.distance[:count]
    begin = first_from(speed, 0.0)
    from_rest = begin < count and at_rest(speed[begin].value)
    find_marks(speed, distance, from_rest, wanted.targets, wanted.marks)
    return wanted.marks.size


@part
def _find_energies(space: _Space, count: int, wanted: _Wanted, place: int) -> None:
    """Energies of the launch: only its first and its last sample count."""
    _derive(space, 0, 1, _NO_GRIP)
    _derive(space, count - 1, count, _NO_GRIP)
    found = energies(_integrals(space, 0), _integrals(space, count - 1))
    for number in found:
        wanted.numbers[place] = number
        place += 1
    wanted.numbers[place] = residual_of(found)
    wanted.numbers[place + 1] = share_of_work(wanted.numbers[place], found)


@part
def _measure(space: _Space, count: int, segments: int, wanted: _Wanted) -> None:
    """What is wanted of the launch that has just been run, in the order of `_all_columns`; nan for the rest."""
    for i in range(wanted.numbers.size):
        wanted.numbers[i] = nan
    zero, everywhere = _note_events(space, segments), wanted.grip or wanted.parts
    if everywhere:
        _derive(space, 0, count, driven_axles(space.bench.car[0]) if wanted.grip else _NO_GRIP)
    _note_samples(space, count, zero, everywhere)
    if not everywhere:
        _accelerations_at_marks(space, count, wanted)
    place = _find_times(space, count, wanted)
    if wanted.grip:
        _note_use(space, count)
        for k, number in enumerate(use_of_grip(space.uses[:count], driven_axles(space.bench.car[0]))):
            wanted.numbers[place + k] = number
    if wanted.energy:
        _find_energies(space, count, wanted, place + _GRIP_NUMBERS)
    if wanted.parts:
        _note_pulls(space, count)
        find_peaks(space.pulls[:count], space.times[:segments], space.meanings[:segments], space.peaks)
        place += _GRIP_NUMBERS + _ENERGY_NUMBERS
        for k in range(len(space.peaks)):
            wanted.numbers[place + 2 * k] = space.peaks[k].torque
            wanted.numbers[place + 2 * k + 1] = space.peaks[k].steady


# --- many launches ---


@entry
def measure_each(
    cars: NDArray[np.void],
    begin: int,
    end: int,
    space: _Space,
    wanted: _Wanted,
    values: Array,
    ending: Codes,
) -> int:
    """Run and measure some of many cars, as long as their launches fit.

    Parameters
    ----------
    cars : ndarray of CAR, shape (n,)
        The cars; left as they are.
    begin, end : int
        The first of them, and the one after the last.
    space : _Space
        Buffers of this thread.
    wanted : _Wanted
        What is measured.
    values : ndarray, shape (n, m)
        Filled with a row for each launch that was followed, SI units.
    ending : ndarray of int, shape (n,)
        Filled with how each launch ended, one of the statuses of `kernel`.

    Returns
    -------
    int
        The first whose launch did not fit, or `end`.
    """
    for i in range(begin, end):
        bench = space.bench
        done = run_next(cars[i], bench)
        ending[i], count = done.status, bench.samples.cursor[0]
        if done.status == kernel.BUFFER_FULL:
            return i
        if done.status in kernel.FOLLOWED and count > 0:
            _measure(space, count, done.segments, wanted)
            for k in range(wanted.columns.size):
                values[i, k] = wanted.numbers[wanted.columns[k]]
    return end


def compile_measuring() -> None:
    """Compile what runs and measures many launches, without the stages of a launch, which stand on their own."""
    cars, ending = np.zeros(1, CAR), np.zeros(1, np.int64)
    space, wanted = _space(1, DEFAULT_TOLERANCE, energy=True), _wanted(STANDARD, (), times_only=False)
    compile_for(measure_each, cars, 0, 1, space, wanted, np.zeros((1, 1)), ending)


def _measure_long(
    cars: NDArray[np.void], i: int, space: _Space, tolerance: float, wanted: _Wanted, values: Array, ending: Codes
) -> None:
    """Run and measure one car with more and more space for its samples, as long as that promises to help."""
    for capacity in CAPACITIES[1:]:
        if ending[i] == kernel.BUFFER_FULL and not hopeless(space.bench.samples):
            space = _space(capacity, tolerance, energy=wanted.energy)
            measure_each(cars, i, i + 1, space, wanted, values, ending)


def measure_many(
    cars: NDArray[np.void],
    targets: tuple[Target, ...],
    tolerance: float | None = None,
    *,
    times_only: bool = False,
    groups: Collection[str] = GROUPS,
) -> Measured:
    """Run and measure many launches by the compiled method; the same numbers, to the last bit, as one by one.

    A launch that cannot be followed has its status in `ending` and nan in its row.

    Parameters
    ----------
    cars : ndarray, shape (n,)
        Records of type `CAR`; left as they are.
    targets : tuple of Target
        Every target that is wanted, the standard ones among them.
    tolerance : float, optional
        Relative error allowed per step [-].
    times_only : bool
        Measure nothing but the time of each target, which takes half as long.
    groups : collection of str
        Those of `GROUPS` that are measured beside the marks, unless only times are; the columns of others hold nan.

    Returns
    -------
    Measured
        A row of numbers for each launch, SI units.

    Raises
    ------
    UsageError
        The tolerance is not between 1e-13 and 1e-2.
    """
    tolerance = DEFAULT_TOLERANCE if tolerance is None else tolerance
    cars, wanted = np.require(cars, CAR, ["C", "W"]), _wanted(targets, groups, times_only=times_only)
    values, ending = np.full((cars.size, wanted.columns.size), np.nan), np.zeros(cars.size, np.int64)
    space, done = _space(CAPACITIES[0], tolerance, energy=wanted.energy), 0
    while done < cars.size:
        done = measure_each(cars, done, cars.size, space, wanted, values, ending)
        if done < cars.size:
            _measure_long(cars, done, space, tolerance, wanted, values, ending)
            done += 1
    return Measured(values, ending)
