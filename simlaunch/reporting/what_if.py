"""What if the plateau were higher or lower, and the road had more or less grip: launches made beforehand for a page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from simlaunch.analysis.usable import GearCeiling, UsableTorque
from simlaunch.launching.goals import WORTH_NAMING, same_target, target_label
from simlaunch.launching.launches import Cars, as_many, column, measure_all
from simlaunch.launching.ready import aim, runnable
from simlaunch.metrics.ceiling import usable_torque
from simlaunch.metrics.full_load import full_load, limited_gears
from simlaunch.metrics.many import GRIP, PARTS, Measured
from simlaunch.metrics.marks import STANDARD, Target
from simlaunch.metrics.parts import Part
from simlaunch.output.compare import SPRINT
from simlaunch.output.layout import Row, Table
from simlaunch.output.words import PEDAL_WORDS, Numbers, gears_words
from simlaunch.parameters.fill import fill_table, lower
from simlaunch.physics.table import values_at
from simlaunch.record import MAX_CURVE_POINTS, MAX_GEAR_POINTS, Car, Pedal
from simlaunch.scenario.model import Scenario
from simlaunch.simulation.bench import DEFAULT_TOLERANCE
from simlaunch.sweeping.chunk import SWEEP_TOLERANCE
from simlaunch.units.quantity import display_unit
from simlaunch.units.spelling import Dimension, System

Array = NDArray[np.float64]

HEIGHTS, GRIPS = 17, np.linspace(0.8, 1.2, 9)
"""How many heights of plateau are launched, and with how much of the grip of the scenario [-]."""
AS_GIVEN = 4
"""Place of the scenario's own grip among them."""
STEPS = 4
"""Steps of a slider from one computed launch to the next."""

_LOWEST = 0.5  # lowest plateau over the highest
_SHOWN = 1.5  # a gear whose tyres can use more than so many times the highest torque is not drawn
_LEVEL = 1e-6  # share by which two torques may differ and count as the same
_NEAT = (1.0, 2.0, 2.5, 5.0, 10.0)
_PEDALS = {Pedal.FULL: "full", Pedal.HELD_SLIP: "held"}


@dataclass(frozen=True)
class Measure:
    """One number of every launch of a grid.

    Parameters
    ----------
    label : str
        What it is called.
    dimension : Dimension
        Kind of quantity.
    pedal : Pedal
        With which pedal.
    cut : ndarray, shape (heights, grips)
        With the plateau; SI units, nan where the goal was not reached.
    curves : ndarray, shape (2, grips)
        With the two curves as they are.
    """

    label: str
    dimension: Dimension
    pedal: Pedal
    cut: Array
    curves: Array


@dataclass(frozen=True)
class Grid:
    """Launches over height of plateau and grip.

    Parameters
    ----------
    names : tuple of str
        Names of the two curves.
    target : Target
        What is timed.
    heights : ndarray, shape (heights,)
        Heights of the plateau [N m].
    measures : tuple of Measure
        What was measured; the first is the time to the target with full pedal.
    usable : UsableTorque
        The two curves at common engine speeds.
    envelope : ndarray, shape (n,)
        The higher of the two curves at these engine speeds [N m].
    ceilings : tuple of tuple of GearCeiling
        For each grip, what the tyres can use in the gears in which that lies within the picture.
    start : int
        Place of the height that is shown first.
    limited_gears : tuple of int
        Gears in which the engine gives less than the plateau, since both curves do; first is 1.
    """

    names: tuple[str, str]
    target: Target
    heights: Array
    measures: tuple[Measure, ...]
    usable: UsableTorque
    envelope: Array
    ceilings: tuple[tuple[GearCeiling, ...], ...]
    start: int
    limited_gears: tuple[int, ...] = ()

    def cut(self, height: float) -> Array:
        """The envelope, cut off at a height [N m]."""
        return np.minimum(self.envelope, height)


def heights_up_to(top: float, system: System) -> Array:
    """Heights of plateau to launch: round in the unit that is shown, and the highest torque itself.

    Parameters
    ----------
    top : float
        Highest torque [N m].
    system : System
        Metric or US customary.

    Returns
    -------
    ndarray, shape (17,)
        In rising order [N m].
    """
    unit = display_unit(Dimension.TORQUE, system)
    shown = float(unit.of(top))
    raw = (1.0 - _LOWEST) * shown / (HEIGHTS - 1)
    scale = 10.0 ** np.floor(np.log10(raw))
    step = scale * min(_NEAT, key=lambda neat: abs(neat - raw / scale))
    below = np.ceil(shown / step - 1e-9) * step - step * np.arange(HEIGHTS - 1, 0, -1)
    return np.asarray(unit.si(np.append(below, shown)))


def grid(scenario: Scenario, usable: UsableTorque, target: Target, system: System) -> Grid:
    """Launch a plateau of every height on every grip, and the two curves on every grip, with both pedals.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    usable : UsableTorque
        Its usable torque, with two curves.
    target : Target
        What is timed.
    system : System
        Units in which heights are round, and by which the sprint is chosen.

    Returns
    -------
    Grid
        About 340 launches.

    Raises
    ------
    SimlaunchError
        The equations could not be followed.
    """
    first, second = usable.curves
    speeds = usable.engine_speed
    torques = np.array([usable.curves[first], usable.curves[second]])
    envelope, peaks = torques.max(axis=0), torques.max(axis=1)
    heights = heights_up_to(float(peaks.max()), system)
    sprint = next(each for each in STANDARD if each.label == SPRINT[system])
    targets = (target,) if same_target(target, sprint) else (target, sprint)
    measures = [
        measure
        for pedal in Pedal
        for measure in _measures(scenario, (first, second), pedal, targets, speeds, envelope, heights)
    ]
    return Grid(
        (first, second),
        target,
        heights,
        tuple(sorted(measures, key=lambda each: each.pedal is not Pedal.FULL)),
        usable,
        envelope,
        _ceilings(scenario, first, usable, float(peaks.max())),
        int(np.argmin(np.abs(heights - peaks.min()))),
        limited_gears(_cut_cars(scenario, (first, second), Pedal.FULL, (speeds, envelope, heights[-1:]))[0]),
    )


def _measures(
    scenario: Scenario,
    names: tuple[str, str],
    pedal: Pedal,
    targets: tuple[Target, ...],
    speeds: Array,
    envelope: Array,
    heights: Array,
) -> list[Measure]:
    """Everything that is measured with one pedal."""
    cars = _cars(scenario, names, pedal, targets, (speeds, envelope, heights))
    drawn = len(heights) * GRIPS.size  # the two curves, whose times stand elsewhere on the page too, come after them
    pieces = ((cars[:drawn], SWEEP_TOLERANCE), (cars[drawn:], DEFAULT_TOLERANCE))
    launched = [measure_all(some, targets, tolerance, groups=(GRIP, PARTS)) for some, tolerance in pieces]
    measured = Measured(*(np.concatenate(column) for column in zip(*launched, strict=True)))
    wanted = [(f"time {target.label}", f"time for {target_label(target)}", Dimension.TIME) for target in targets]
    wanted.append(("wheelspin time", "wheelspin time", Dimension.TIME))
    pull = f"steady pull {Part.GEARBOX_INPUT.value}"
    wanted.append((pull, "steady pull at the gearbox input", Dimension.TORQUE))
    found = []
    for name, label, dimension in wanted:
        values = column(measured, targets, name).reshape(len(heights) + 2, GRIPS.size)
        found.append(Measure(label, dimension, pedal, values[:-2], values[-2:]))
    return found


def _cars(
    scenario: Scenario,
    names: tuple[str, str],
    pedal: Pedal,
    targets: tuple[Target, ...],
    shape: tuple[Array, Array, Array],
) -> Cars:
    """A car for every height and every grip, the two curves as they are last."""
    cut = _cut_cars(scenario, names, pedal, shape)
    made: list[Any] = []
    for car in (*cut, *(lower(scenario, name, pedal) for name in names)):
        aim(car, targets)
        friction = float(car.road.friction_factor)
        for grip in GRIPS:
            car.road.friction_factor = friction * grip
            made.append(as_many([car])[0])
    return np.array(made)


def _cut_cars(scenario: Scenario, names: tuple[str, str], pedal: Pedal, shape: tuple[Array, Array, Array]) -> list[Car]:
    """A car for every height, whose curve is the envelope of both up to that height."""
    speeds, envelope, heights = shape
    knots = speeds if speeds.size <= MAX_CURVE_POINTS else np.linspace(speeds[0], speeds[-1], MAX_CURVE_POINTS)
    cut = [lower(scenario, names[0], pedal) for _ in heights]
    if scenario.curve(names[0]).gear_limits != scenario.curve(names[1]).gear_limits:
        pair = [lower(scenario, name, pedal) for name in names]
        for car in cut:
            _limit_as_either(car, pair, speeds)
    for car, height in zip(cut, heights, strict=True):
        fill_table(car.engine.torque, knots, np.interp(knots, speeds, np.minimum(envelope, height)))
    return cut


def _limit_as_either(car: Car, pair: Sequence[Car], speeds: Array) -> None:
    """Let each gear give the higher of what two curves give in it; one in which that is all they give has no limit."""
    places = np.linspace(speeds[0], speeds[-1], min(speeds.size, MAX_GEAR_POINTS))
    free = np.max([values_at(each.engine.torque, places) for each in pair], axis=0)
    car.engine.gear_limit[:] = np.inf
    for gear in range(1, int(car.gearbox.count) + 1):
        most = np.max([full_load(each, gear, places) for each in pair], axis=0)
        table = car.engine.gear_curve[gear - 1]
        table.count = 0
        if (most < free * (1.0 - _LEVEL)).any():
            fill_table(table, places, most)


def _ceilings(scenario: Scenario, name: str, usable: UsableTorque, top: float) -> tuple[tuple[GearCeiling, ...], ...]:
    car = runnable(scenario, name, Pedal.FULL)
    friction = float(car.road.friction_factor)
    near = [
        each
        for each in usable.ceilings
        if np.min(each.usable, where=np.isfinite(each.usable), initial=np.inf) < _SHOWN * top
    ]
    found = []
    for grip in GRIPS:
        car.road.friction_factor = friction * grip
        found.append(
            tuple(
                GearCeiling(each.gear, usable_torque(car, each.gear, usable.engine_speed), each.road_speed)
                for each in near
            )
        )
    return tuple(found)


# --- for the page ---


def _rounded(values: Array, dimension: Dimension, numbers: Numbers) -> list[Any]:
    """Numbers as they are printed; null where there is none."""
    if values.ndim > 1:
        return [_rounded(row, dimension, numbers) for row in values]
    return [float(numbers.plain(float(value), dimension)) if np.isfinite(value) else None for value in values]


def _thin(values: Array) -> Array:
    """Every second point of a line, and the last."""
    return np.append(values[:-1:2], values[-1])


def document(found: Grid, system: System) -> dict[str, Any]:
    """What the script of a page moves through, in the units that are shown.

    Parameters
    ----------
    found : Grid
        The launches.
    system : System
        Units.

    Returns
    -------
    dict
        JSON; null where a goal was not reached.
    """
    numbers, torque = Numbers(system), display_unit(Dimension.TORQUE, system)
    speed = display_unit(Dimension.ROTATIONAL_SPEED, system).of(found.usable.engine_speed)
    lines = [[np.round(torque.of(_thin(each.usable)), 1).tolist() for each in row] for row in found.ceilings]
    return {
        "names": list(found.names),
        "goal": target_label(found.target),
        "torque_unit": torque.label,
        "steps": STEPS,
        "worth_naming": WORTH_NAMING,
        "start": [found.start * STEPS, AS_GIVEN * STEPS],
        "heights": _rounded(found.heights, Dimension.TORQUE, numbers),
        "grips": np.round(100.0 * GRIPS, 1).tolist(),
        "measures": [
            {
                "digits": 0 if each.dimension is Dimension.TORQUE else 3,
                "cut": _rounded(each.cut, each.dimension, numbers),
                "curves": _rounded(each.curves, each.dimension, numbers),
            }
            for each in found.measures
        ],
        "speed": np.round(_thin(speed), 1).tolist(),
        "envelope": np.round(torque.of(_thin(found.envelope)), 1).tolist(),
        "gears": [each.gear for each in found.ceilings[0]],
        "ceilings": [[[None if not np.isfinite(v) else v for v in line] for line in row] for row in lines],
    }


def first_table(found: Grid, system: System) -> Table:
    """What is shown before a slider is moved: the plateau and the two curves on the grip as given."""
    numbers = Numbers(system)
    heads = (f"plateau of {numbers.with_unit(found.heights[found.start], Dimension.TORQUE)}", *found.names)
    rows = [
        Row(
            f"{each.label}, {PEDAL_WORDS[each.pedal]}",
            numbers.unit(each.dimension),
            tuple(
                numbers.plain(float(value), each.dimension)
                for value in (each.cut[found.start, AS_GIVEN], *each.curves[:, AS_GIVEN])
            ),
        )
        for each in found.measures
    ]
    return Table("The chosen plateau beside the two curves", heads, tuple(rows))


def grid_table(found: Grid, which: int, system: System, *, stride: int = 1) -> Table:
    """One measure over heights (rows) and grips (columns); every so many of either."""
    numbers, each = Numbers(system), found.measures[which]
    heads = tuple(f"{100.0 * grip:.0f} % grip" for grip in GRIPS[::stride])
    rows = [
        Row(
            numbers.plain(height, Dimension.TORQUE),
            numbers.unit(Dimension.TORQUE),
            tuple(numbers.plain(float(value), each.dimension) for value in each.cut[k, ::stride]),
        )
        for k, height in list(enumerate(found.heights))[::stride]
    ]
    title = f"{each.label}, {PEDAL_WORDS[each.pedal]} [{numbers.unit(each.dimension)}]"
    if stride > 1:
        title += ", some of the computed cases"
    return Table(f"{title[:1].upper()}{title[1:]}", heads, tuple(rows))


def finding(found: Grid, system: System) -> str:
    """What the launches on the grip as given come to, in a sentence or two."""
    numbers, times = Numbers(system), found.measures[0].cut[:, AS_GIVEN]
    goal = target_label(found.target)
    if np.isnan(times).all():
        return f"{goal} was not reached with any plateau on the grip as given."
    quickest = float(np.nanmin(times))
    enough = int(np.flatnonzero(times <= quickest + WORTH_NAMING)[0])
    time = numbers.rounded_time(quickest)
    best = f"On the grip as given, the quickest of the computed plateaus takes {time} for {goal}"
    if enough == len(times) - 1:
        why = (
            "every step up gains time"
            if (np.diff(times) < 0.0).all()
            else f"no lower one comes {numbers.within()} of it"
        )
        return f"{best}, and it is the highest one, {_height(found, enough, numbers)}: {why}."
    lost = float(times[-1]) - quickest
    beyond = f"Up to {_height(found, -1, numbers)}, no higher one gains anything worth naming"
    if lost >= WORTH_NAMING:
        beyond += f", and the highest is {numbers.rounded_time(lost)} slower than the quickest"
    return f"{best}; {_height(found, enough, numbers)} is enough to come {numbers.within()} of that. {beyond}."


def limits_words(found: Grid) -> str:
    """What torque limits by gear do to a plateau; empty where there are none."""
    if not found.limited_gears:
        return ""
    gears = gears_words(found.limited_gears)
    return f"In {gears} the engine gives no more than the higher of the two curves does there."


def _height(found: Grid, place: int, numbers: Numbers) -> str:
    return numbers.with_unit(float(found.heights[place]), Dimension.TORQUE)
