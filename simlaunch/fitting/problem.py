"""The least-squares problem: what is unknown, what each log should have shown, and how that changes."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass, field, replace
from enum import Enum
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from simlaunch.fitting.histories import COASTING_STEP, FINER, ROUGHER, History, Runner, coasting, last_until
from simlaunch.fitting.logs import Channel, Kind, Log, LogRequest, gears_of_roll, read_run, start_speed
from simlaunch.fitting.parameters import Parameter, cars_with, fitted_from, of_start
from simlaunch.launching.goals import goal
from simlaunch.launching.launch_speed import settle
from simlaunch.parameters.fill import lower
from simlaunch.record import CAR, Car, Pedal
from simlaunch.scenario.model import Scenario
from simlaunch.simulation.run import complete

Array = NDArray[np.float64]
Values = Mapping[Parameter, float]

BUMP = 0.005
"""Step of differences, in usual spreads of a value: shifts bend what is measured within a few times this, and launches
are repeated to well within it [-]."""

REACH = 2.0 * BUMP
"""So near to where slopes were worked out they still do; answers then move by 0.02 errors at most, and with twice this
by 0.3 [-]."""

LATEST, LONGEST_LAG, SHARPEST = 0.5, 0.6, -0.01
"""How far the start may be from where the car seems to move off, the longest lag of a sensor [s], and the most that a
logger may sharpen what it shows by filling in between slow samples [s^2]."""

START_SCALE, DELAY_SCALE, BLUR_SCALE = 0.05, 0.1, 0.01
"""What start and delay [s] and the square of a lag [s^2] are counted in."""

_SMALL, _SMALL_SQUARE = 1e-3, 2e-4  # steps of differences for start and delay [s], and for a lag squared [s^2]
_AT_ONCE = 10.0  # times its own frequency, or stiffness: what then settles within a few hundredths of a second
_AT_START = 0.01  # how far the start of a roll may be from the first sample of a log that holds nothing before it [s]
_ABOUT_START = 0.2  # how far it may be from where the pull seems to begin [s]
_BEFORE = 2.0  # how long before a log with rollout the car may have been let go [s]


@dataclass(frozen=True)
class Run:
    """One log, and the car that is held against it.

    Parameters
    ----------
    log : Log
        The measured run.
    scenario : Scenario
        With what was different on that day.
    basis : Scenario
        The same, with a value at every key that is fitted.
    curve : str
        Full-load curve.
    car : Car
        The car as the scenario has it, up to the end of the log.
    place : int
        Where the log stands among all that were given, one that is left out included.
    start : tuple of Parameter
        What is unknown of the start of a roll; belongs to this log alone.
    """

    log: Log
    scenario: Scenario
    basis: Scenario
    curve: str
    car: Car
    place: int = 0
    start: tuple[Parameter, ...] = ()

    def in_gear(self, gear: int) -> Run:
        """The same roll, begun in another gear; first is 1."""
        car = self.car.copy()
        car.launch.roll_gear = gear
        return replace(self, car=car)


def prepared(
    scenario: Scenario, request: LogRequest, parameters: Sequence[Parameter], pedal: Pedal, place: int = 0
) -> Run:
    """Read a log, and make ready the car that drove it.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    request : LogRequest
        The log.
    parameters : sequence of Parameter
        What is fitted.
    pedal : Pedal
        Full load throughout, or held slip.
    place : int
        Where the log stands among all that were given.

    Returns
    -------
    Run
        The log with its car.

    Raises
    ------
    InputError, UsageError
        The log or what is said of it cannot be used.
    """
    own = scenario.replace(request.changes) if request.changes else scenario
    curve = request.curve or own.curve_names[0]
    car = lower(own, curve, pedal)
    settle([car], goal(own))
    whole = car.copy()
    complete(whole)
    log = read_run(request, whole)
    if any(each.factor == "gearbox.shift_speed" for each in parameters):
        car.gearbox.shift_speed[:] = whole.gearbox.shift_speed
    last_until(car, log.duration)
    start: tuple[Parameter, ...] = ()
    if log.kind is Kind.ROLL:
        speed = start_speed(log)
        start = of_start(speed, log.pulls_at_once and bool(car.engine.lagged_share > 0.0), place)
        car.launch.roll_speed, car.launch.roll_gear = speed, gears_of_roll(log, whole)[0]
    return Run(log, own, fitted_from(parameters, own), curve, car, place, start)


def _simpler(car: Car) -> Car:
    """A car without what is seldom known of one: how its half shafts twist, and how fast it pitches."""
    simpler: Car = car.copy()
    if simpler.drive.clutched == 1:  # its clutch needs shafts that twist, if ever so little
        simpler.drive.shaft_stiffness *= _AT_ONCE
        simpler.drive.shaft_damping *= _AT_ONCE
    else:
        simpler.drive.rigid = 1
    simpler.body.pitch_frequency *= _AT_ONCE
    return simpler


class Clock(Enum):
    """What is unknown of the time of a log."""

    START = "start"
    """When the car was let go, as the channels beside the speed show it; where there are none, as the speed does."""
    BLUR = "blur"
    """Square of the time constant of the sensor of speed."""
    DELAY = "delay"
    """By how much the speed is late beside the other channels, its lag included."""


@dataclass(frozen=True)
class Timing:
    """Clock of one log.

    Parameters
    ----------
    start : float
        When the car was let go, in the time of the log [s].
    delay : float
        By how much its speed is late, its lag included [s].
    blur : float
        Square of the time constant with which it lags [s^2].
    """

    start: float
    delay: float
    blur: float

    @property
    def lag(self) -> float:
        """Time constant with which the speed lags [s]."""
        return sqrt(max(self.blur, 0.0))

    def since(self, time: Array, channel: str) -> Array:
        """Time since the car was let go at samples of a channel, less what the channel is late [s]."""
        return time - self.start - (self.delay if channel == "speed" else 0.0)


@dataclass(frozen=True)
class Column:
    """One unknown: a value of the car, shared or of one log; or something about the clock of a log."""

    name: str
    scale: float
    low: float
    high: float
    parameter: Parameter | None = None
    run: int | None = None
    """Which log it belongs to; None: all of them."""
    clock: Clock | None = None


@dataclass(frozen=True)
class _Neighbours:
    """What cars near some unknowns do: what slopes are differences of."""

    x: Array
    columns: tuple[int, ...]
    central: bool
    base: list[History]
    steps: list[tuple[int, int, float]]
    """Log, column and step of each history in `moved`."""
    moved: list[History]

    def serve(self, x: Array, columns: tuple[int, ...], central: bool, cars: NDArray[np.bool_]) -> bool:
        """Whether differences taken here are slopes there too."""
        return self.columns == columns and self.central >= central and bool((np.abs(x - self.x)[cars] <= REACH).all())


@dataclass
class Problem:
    """Logs, unknowns and weights.

    Parameters
    ----------
    runs : tuple of Run
        The logs.
    parameters : tuple of Parameter
        Values that are fitted.
    own : frozenset of str
        Names of values of which each log has its own.
    runner : Runner
        Runs launches.
    lags : tuple of float or None
        Lag of the speed of each log; None where it is unknown [s].
    noises : dict of tuple of int and str to float
        Standard deviation that each channel of each log is weighed with, SI units.
    """

    runs: tuple[Run, ...]
    parameters: tuple[Parameter, ...]
    own: frozenset[str]
    runner: Runner
    lags: tuple[float | None, ...]
    noises: dict[tuple[int, str], float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.columns = tuple(self._columns())
        self._kept: dict[bytes, list[History]] = {}
        self._neighbours: list[_Neighbours] = []
        self._cars = np.array([column.parameter is not None for column in self.columns], bool)
        if not self.noises:
            self.noises = {(i, channel.name): channel.noise for i, channel in self.channels()}

    def channels(self) -> list[tuple[int, Channel]]:
        """Every channel of every log, in the order of the residuals."""
        return [(i, channel) for i, run in enumerate(self.runs) for channel in run.log.channels]

    def _columns(self) -> list[Column]:
        found = [
            Column(each.name, each.usual, each.low, each.high, each, which)
            for each in self.parameters
            for which in (self._with_a_say_of(each) if each.name in self.own else (None,))
        ]
        for i, run in enumerate(self.runs):
            found += [Column(each.name, each.usual, each.low, each.high, each, i) for each in run.start]
            zero, before, after = run.log.zero, _BEFORE if run.log.request.rollout else LATEST, LATEST
            if run.log.kind is Kind.ROLL:
                before = after = _AT_START if run.log.pulls_at_once else _ABOUT_START
            if run.log.kind is Kind.COAST_DOWN:
                before = 0.5 * run.log.duration
            found.append(Column("start", START_SCALE, zero - before, zero + after, run=i, clock=Clock.START))
            if self.lags[i] is None:
                found.append(Column("blur", BLUR_SCALE, SHARPEST, LONGEST_LAG**2, run=i, clock=Clock.BLUR))
                if len(run.log.channels) > 1:
                    found.append(Column("delay", DELAY_SCALE, -LATEST, 2.0 * LONGEST_LAG, run=i, clock=Clock.DELAY))
        return found

    def _with_a_say_of(self, parameter: Parameter) -> Sequence[int]:
        """Logs that have a value of their own: not a coast-down of one that does nothing to a coasting car."""
        every = range(len(self.runs))
        return [i for i in every if _has_a_say(parameter, self.runs[i])] or every

    # --- unknowns ---

    @property
    def origin(self) -> Array:
        """What unknowns are counted from: the scenario's own values, and where the car seems to move off."""
        return np.array([self._origin(column) for column in self.columns])

    def _origin(self, column: Column) -> float:
        if column.parameter is not None:
            return column.parameter.own
        return self.runs[column.run or 0].log.zero if column.clock is Clock.START else 0.0

    @property
    def scales(self) -> Array:
        """What unknowns are counted in."""
        return np.array([column.scale for column in self.columns])

    @property
    def bounds(self) -> tuple[Array, Array]:
        """Bounds of the scaled unknowns."""
        low, high = np.array([[column.low, column.high] for column in self.columns]).T
        return (low - self.origin) / self.scales, (high - self.origin) / self.scales

    def real(self, x: Array) -> Array:
        """Unknowns in SI units."""
        return self.origin + self.scales * x

    def values(self, x: Array, run: int) -> dict[Parameter, float]:
        """Values of the car in one log, SI units."""
        real = self.real(x)
        return {
            column.parameter: float(real[k])
            for k, column in enumerate(self.columns)
            if column.parameter and column.run in (None, run)
        }

    def timing(self, x: Array, run: int) -> Timing:
        """Clock of one log."""
        real = self.real(x)
        own = {c.clock: float(real[k]) for k, c in enumerate(self.columns) if c.clock is not None and c.run == run}
        given = self.lags[run] or 0.0
        blur = own.get(Clock.BLUR, given**2)
        lag = sqrt(max(blur, 0.0))
        if Clock.DELAY in own:
            return Timing(own[Clock.START], own[Clock.DELAY], blur)
        late = given if len(self.runs[run].log.channels) > 1 else lag  # what start stands for if only speed shows it
        shift = 0.0 if len(self.runs[run].log.channels) > 1 else lag
        return Timing(own[Clock.START] - shift, late, blur)

    # --- what the logs should have shown ---

    def _histories(self, wanted: Sequence[tuple[int, Values]]) -> list[History]:
        """Histories of cars, each in the place of one log; launches of logs of one length run together."""
        found: list[History | None] = [None] * len(wanted)
        duration = max(run.log.duration for run in self.runs)
        launched = [k for k, (i, _) in enumerate(wanted) if self.runs[i].log.kind is not Kind.COAST_DOWN]
        if launched:
            cars = np.empty(len(launched), CAR)
            for row, (i, values) in enumerate(wanted[k] for k in launched):
                cars[row] = cars_with(self.runs[i].car, self.runs[i].basis, [values], self.runs[i].curve)[0]
            for k, values in zip(launched, self.runner(cars, duration), strict=True):
                found[k] = History(values)
        for k, (i, values) in enumerate(wanted):
            if found[k] is None:
                found[k] = _coasted(self.runs[i], values)
        return [each for each in found if each is not None]

    def _base(self, x: Array) -> list[History]:
        """Histories of all logs at some unknowns; those met last are kept."""
        key = x[self._cars].tobytes()
        if key not in self._kept:
            self._kept = {key: self._histories([(i, self.values(x, i)) for i in range(len(self.runs))])}
        return self._kept[key]

    def _shown(self, run: int, history: History, timing: Timing) -> Array:
        """What the channels of a log should show, one after the other, in units of their noise."""
        shown = []
        for channel in self.runs[run].log.channels:
            blur = timing.blur if channel.name == "speed" else 0.0
            values = history.at(channel.name, timing.since(channel.time, channel.name), blur)
            shown.append(values / self.noises[run, channel.name])
        return np.nan_to_num(np.concatenate(shown), nan=0.0)

    def measured(self) -> Array:
        """What the logs show, in units of their noise."""
        return np.concatenate([channel.values / self.noises[i, channel.name] for i, channel in self.channels()])

    def residuals(self, x: Array) -> Array:
        """What the logs show less what they should, in units of their noise; then how far values are from before."""
        shown = [self._shown(i, history, self.timing(x, i)) for i, history in enumerate(self._base(x))]
        return np.concatenate([self.measured() - np.concatenate(shown), self.from_before(x)])

    @contextmanager
    def _followed_to(self, tolerance: float) -> Iterator[Problem]:
        """The same problem with launches of another tolerance, which are counted here when it is done with."""
        runner = Runner(self.runner.workers, tolerance)
        try:
            yield replace(self, runner=runner)
        finally:
            self.runner.launches += runner.launches

    def followed_more_closely(self) -> AbstractContextManager[Problem]:
        """The same problem with more exact launches, which are counted here when it is done with."""
        return self._followed_to(self.runner.tolerance * FINER)

    def lost(self, x: Array) -> Array:
        """By how much the residuals change when launches are followed less closely, in units of the noise.

        The error of the launches themselves is smaller.
        """
        with self._followed_to(self.runner.tolerance * ROUGHER) as rougher:
            return np.asarray(rougher.residuals(x) - self.residuals(x))

    def of_a_simpler_car(self) -> Problem | None:
        """The same logs held against a car whose shafts do not twist and whose loads settle at once; None: coasting."""
        if all(run.log.kind is Kind.COAST_DOWN for run in self.runs):
            return None
        return replace(self, runs=tuple(replace(run, car=_simpler(run.car)) for run in self.runs))

    def from_before(self, x: Array) -> Array:
        """How far each value of the car is from what was known beforehand, in standard deviations."""
        real = self.real(x)
        return np.array(
            [(real[k] - c.parameter.middle) / c.parameter.spread for k, c in enumerate(self.columns) if c.parameter]
        )

    def _neighbours_of(self, x: Array, columns: tuple[int, ...], central: bool) -> _Neighbours:
        """Cars that differ by a step in one value each; those launched before, where they are about the same place."""
        for near in self._neighbours:
            if near.serve(x, columns, central, self._cars):
                self._neighbours.sort(key=lambda each: each is not near)
                return near
        (low, high), found = self.bounds, []
        for k in columns:
            up = BUMP if x[k] + BUMP <= high[k] else -BUMP
            steps = (up, -up) if central and low[k] <= x[k] - up <= high[k] else (up,)
            run = self.columns[k].run
            found += [(i, k, step) for i in (range(len(self.runs)) if run is None else (run,)) for step in steps]
        base = self._base(x)
        moved = self._histories([(i, self.values(_moved(x, k, step), i)) for i, k, step in found])
        self._neighbours = [_Neighbours(x.copy(), columns, central, base, found, moved), *self._neighbours[:1]]
        return self._neighbours[0]

    def jacobian(self, x: Array, *, central: bool = False, wanted: NDArray[np.bool_] | None = None) -> Array:
        """How the residuals change with the unknowns, by differences.

        Near where they were worked out the last time or the time before, the launches made there do.

        Parameters
        ----------
        x : ndarray, shape (n,)
            Scaled unknowns.
        central : bool
            Whether to look both ways, which takes twice the launches and errs less.
        wanted : ndarray of bool, shape (n,), optional
            Columns that are worked out; the others stay zero.

        Returns
        -------
        ndarray, shape (m, n)
            Rows as in `residuals`.
        """
        of_cars = self._cars if wanted is None else self._cars & wanted
        near = self._neighbours_of(x, tuple(np.flatnonzero(of_cars).tolist()), central)
        rows = np.cumsum([0, *(sum(c.time.size for c in run.log.channels) for run in self.runs)])
        out = np.zeros((int(rows[-1]) + len(self.from_before(x)), len(self.columns)))
        here = [self._shown(i, history, self.timing(x, i)) for i, history in enumerate(near.base)]
        looked = Counter((i, k) for i, k, _ in near.steps)
        for (i, k, step), history in zip(near.steps, near.moved, strict=True):
            there = self._shown(i, history, self.timing(x, i))
            share = 1.0 / looked[i, k]
            out[rows[i] : rows[i + 1], k] -= share * (there - here[i]) / step
        base = self._base(x)
        for k, column in enumerate(self.columns):
            if column.parameter is None and column.run is not None:
                i = column.run
                out[rows[i] : rows[i + 1], k] = self._sensor_slope(i, k, x, base[i])
        before = [k for k, column in enumerate(self.columns) if column.parameter]
        spreads = [c.scale / c.parameter.spread for c in self.columns if c.parameter]
        out[int(rows[-1]) + np.arange(len(before)), before] = spreads
        return out

    def _sensor_slope(self, run: int, k: int, x: Array, history: History) -> Array:
        """How the residuals of a log change with its clock."""
        step = (_SMALL if self.columns[k].clock is not Clock.BLUR else _SMALL_SQUARE) / self.columns[k].scale
        ends = [self._shown(run, history, self.timing(_moved(x, k, way), run)) for way in (0.0, step)]
        if self.columns[k].clock is not Clock.BLUR:
            ends[0] = self._shown(run, history, self.timing(_moved(x, k, -step), run))
            step *= 2.0
        return (ends[0] - ends[1]) / step


def _moved(x: Array, k: int, step: float) -> Array:
    there = x.copy()
    there[k] += step
    return there


def _has_a_say(parameter: Parameter, run: Run) -> bool:
    """Whether a value changes what a log should show."""
    if run.log.kind is not Kind.COAST_DOWN:
        return True
    low, high = (_coasted(run, {parameter: value}).values for value in (parameter.low, parameter.high))
    return not np.array_equal(low, high, equal_nan=True)


def _coasted(run: Run, values: Values) -> History:
    """History of a coast-down; it begins above the highest speed of the log."""
    car = cars_with(run.car, run.basis, [values], run.curve).view(np.recarray)[0]
    speed = run.log.speed.values
    high, low = float(speed[: max(3, speed.size // 50)].mean()), float(speed.min())
    return History(coasting(car, high + 1.0, max(0.5 * low, 0.2), 2.0 * run.log.duration, COASTING_STEP), COASTING_STEP)
