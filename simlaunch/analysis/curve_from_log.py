"""From pulls in one gear, logged on the road, to a full-load curve at the crank.

While coupling and gear are closed, the torque of the engine is what moves the car and all that turns with it, plus the
road load, brought back through the gear:

    T = r / (e i) (m a + (1 + k) m_turning a + R(v)),  engine speed = i v (1 + k) / r

with R the road load and m_turning the mass that stands for wheels, driveline and engine, both of the scenario, and k
the slip at which the tyres give that force. A logged engine speed is taken instead of the second equation. `fit
--coast-down` finds the drag and the rolling resistance that make R. The acceleration is the slope of a cubic smoothing
spline through the logged speed; generalised cross-validation sets how smooth it is, and so estimates the noise.

What is not full load in that gear is left out, with its reason: no pull, another gear, a slipping clutch or spinning
wheels (engine faster than the wheels in that gear), tyres near the end of their grip, boost that is still building
up by the scenario's lag, the rev limiter, and the ends of the pull, where the driver presses and lifts and the shafts
twist.

Source: Newton's second law; Craven and Wahba, Numerische Mathematik 31 (1979) 377, as in SciPy.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from simlaunch.analysis.curve import DynoCurve
from simlaunch.analysis.curve_through_gears import through_gears
from simlaunch.curves.engine_figures import engine_figures
from simlaunch.errors import UsageError
from simlaunch.launching.ready import runnable
from simlaunch.logged.pulls import (
    LIFTING,
    SETTLING,
    Log,
    boost_along,
    building_up,
    driveline,
    near_grip,
    opened,
    splined,
)
from simlaunch.logged.same_conditions import PULLS, steady_acceleration
from simlaunch.logged.tied import TIED, off_gear
from simlaunch.physics import engine
from simlaunch.physics.driveline import driven_radius
from simlaunch.readers.curve import CurveAccount, PullAccount, grid_of, pull_notes, sound
from simlaunch.readers.delimited import refusal
from simlaunch.readers.log import LogOptions
from simlaunch.readers.sheet import Dropped, Pull, together
from simlaunch.readers.smoothing import Smooth, Smoothing, as_it_is
from simlaunch.record import Car, Pedal
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.powertrain import Correction, MeasuredAt
from simlaunch.stretches import stretches_of
from simlaunch.units.gate import quoted
from simlaunch.units.quantity import RPM, DisplayUnit, display_unit
from simlaunch.units.spelling import Dimension, System, system_named

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

FEWEST = 15
"""Samples that a pull needs."""

SHORTEST = 1.0
"""A pull lasts that long at least, its ends left out [s]."""

_ENDS = 0.03  # of a pull, on either side: there the slope of a spline hangs on few samples
_ROWS = 120  # of a pull, at equal steps of engine speed
_REFITS = 10  # with fresh noise, for the error that noise leaves
_NOT_PULLING = "no pull: the car does not gain speed as in full load"


def read_curve_from_logs(
    logs: Sequence[str | os.PathLike[str]],
    scenario: Scenario,
    *,
    gear: int | Literal["all"] | None = None,
    options: LogOptions | None = None,
    displacement: float | None = None,
    fuel_consumption: float | None = None,
    air_fuel_ratio: float | None = None,
    units: System | str = System.METRIC,
    hold_to: float | None = None,
) -> DynoCurve:
    """Make one full-load curve of pulls in gear that were logged on the road.

    Parameters
    ----------
    logs : sequence of path-like
        Logs with a pull at full load each; the longest pull of each is taken.
    scenario : Scenario
        The car, its road load and the conditions of the day; its own curves do not matter.
    gear : int or "all", optional
        Gear of the pulls, from 1; left out, it is found from a logged engine speed. ``"all"`` joins what every gear of
        the logs drove, as in launches through the gears, and says where gears do not agree.
    options : LogOptions, optional
        How the logs are read.
    displacement, fuel_consumption, air_fuel_ratio : float, optional
        As in `read_curve` [m^3], [kg/J], [-].
    units : System or str
        In which the account states road speeds: km/h (``"metric"``), or mph (``"us"``).
    hold_to : float, optional
        Engine speed up to which a saved curve holds the torque of its last point; a pull ends below the rev limit,
        and a curve of a scenario must not [rad/s].

    Returns
    -------
    DynoCurve
        The curve at the crank, in the air of the day, and the account of it.

    Raises
    ------
    InputError
        A log cannot be used, or holds no pull.
    UsageError
        No such gear, or no gear for logs without engine speed.
    """
    if not logs:
        raise UsageError("no log is named; name one with a pull in gear")
    seen: set[str] = set()
    for path in logs:
        if (real := os.path.realpath(path)) in seen:
            raise UsageError(f"{quoted(str(path))} is named twice; a copy adds no certainty")
        seen.add(real)
    car = runnable(scenario, scenario.curve_names[0], Pedal.FULL)
    count, unit = int(car.gearbox.count), display_unit(Dimension.SPEED, system_named(units))
    if gear == "all":
        account = through_gears([opened(path, options) for path in logs], car, scenario, unit)
    elif gear is not None and gear not in range(1, count + 1):
        raise UsageError(f'there is no gear {gear}; the gearbox has 1 to {count}, and "all" joins all of them')
    else:
        account = _account([_pull(opened(path, options), car, gear) for path in logs], scenario, unit)
    figures = engine_figures(account, displacement, fuel_consumption, air_fuel_ratio)
    return DynoCurve(account, figures, scenario.engine.rev_limit.si, hold_to)


# --- the pull in a log ---


def _in_gear(log: Log, car: Car, gear: int) -> Mask:
    if log.engine_speed is None:
        return np.ones(log.time.size, np.bool_)
    return np.asarray(np.abs(off_gear(log.speed, log.engine_speed, car, gear)) <= TIED, np.bool_)


def _gear_of(log: Log, car: Car, pulling: Mask) -> int:
    """The gear in which the log pulls longest."""
    if log.engine_speed is None:
        why = "has no engine speed, by which the gear would be found"
        raise refusal(log.source, "engine_speed", "", why, "state the gear of the pull, such as --gear 4")
    lengths = [_longest(log.time, _in_gear(log, car, k + 1) & pulling)[2] for k in range(int(car.gearbox.count))]
    return int(np.argmax(lengths)) + 1


def _longest(time: Array, mask: Mask) -> tuple[int, int, float]:
    """The longest stretch: first sample, the one behind the last, and how long it lasts [s]."""
    each = [(a, b, float(time[b - 1] - time[a])) for a, b in stretches_of(mask)]
    return max(each, key=lambda span: span[2], default=(0, 0, 0.0))


@dataclass(frozen=True)
class _Found:
    """A pull: its rows, what was left out of its log, and how far noise moves its torque."""

    pull: Pull
    gear: int
    samples: int
    all_samples: int
    dropped: tuple[Dropped, ...]
    understood: tuple[str, ...]
    noise: float
    error: float
    notes: tuple[str, ...]
    times: tuple[float, float]
    speeds: tuple[float, float]

    def where(self, unit: DisplayUnit) -> str:
        """Where in its log it stands."""
        first, last = (f"{unit.of(each):.0f}" for each in self.speeds)
        (begin, end), (low, high) = self.times, self.pull.speed[[0, -1]] / RPM
        return (
            f"{self.pull.source}: pull in gear {self.gear} from {begin:.2f} s to {end:.2f} s of the log, {first} to "
            f"{last} {unit.label}, {low:.0f} to {high:.0f} rpm"
        )


def _pull(log: Log, car: Car, asked: int | None) -> _Found:
    if log.time.size < FEWEST:
        raise refusal(log.source, "speed", "", f"has {log.time.size} samples", f"log a pull of {FEWEST} or more")
    gained = steady_acceleration(log.time, log.speed)
    pulling = np.asarray(gained > PULLS, np.bool_)
    gear = asked or _gear_of(log, car, pulling)
    turns = log.engine_speed
    top = float(engine.limiter_start(car.engine))
    if turns is None:  # tyres slip, so that the engine turns faster than the road speed says
        turns, top = log.speed * car.gearbox.ratio[gear - 1] / driven_radius(car.front, car.rear, car.drive), 0.96 * top
    usable = pulling & _in_gear(log, car, gear)
    usable &= (turns < top) & (turns >= car.engine.idle)
    first, behind, _ = _longest(log.time, usable)
    reasons = np.full(log.time.size, "", dtype=object)
    _give_reasons(reasons, log, car, gear, pulling, turns, top, first, behind)
    inside = (np.arange(log.time.size) >= first) & (np.arange(log.time.size) < behind)
    reasons[(reasons == "") & ~inside] = "another, shorter stretch"
    kept = np.asarray(reasons == "", np.bool_)
    first, behind, lasts = _longest(log.time, kept)
    kept[first:behind] = False
    reasons[kept] = "another, shorter stretch"
    if behind - first < FEWEST or lasts < SHORTEST:
        raise _no_pull(log, gear, reasons, lasts)
    return _measured(log, car, gear, first, behind, reasons)


def _give_reasons(
    reasons: NDArray[np.object_], log: Log, car: Car, gear: int, pulling: Mask, turns: Array, top: float,
    first: int, behind: int,
) -> None:  # fmt: skip
    """Why each sample is left out; empty where it is not."""
    reasons[~pulling] = _NOT_PULLING
    if log.engine_speed is not None:
        off = off_gear(log.speed, log.engine_speed, car, gear)
        astray = pulling & ~(np.abs(off) <= TIED)
        reasons[astray] = f"not in gear {gear}, or the speed of the engine is missing"
        reasons[astray & (off > TIED)] = (
            f"engine faster than the wheels in gear {gear}: spinning wheels, a slipping clutch, or a lower gear"
        )
    reasons[(turns >= top) & pulling] = "rev limiter, or near it"
    reasons[(turns < car.engine.idle) & pulling] = "below idle"
    if behind <= first:
        return
    index = np.arange(log.time.size)
    free = (index >= first) & (index < behind) & (reasons == "")
    since, left = log.time - log.time[first], log.time[behind - 1] - log.time
    for mask, why in (
        (near_grip(log, car, first, behind), "near the end of grip: the tyres may hold the torque"),
        (_builds(log, car, turns, first, behind), "boost builds up, by the scenario's lag"),
        (since < SETTLING, "beginning of the pull: pedal and shafts settle"),
        (left < LIFTING, "end of the pull: the driver may be lifting"),
    ):
        reasons[free & mask & (reasons == "")] = why


def _builds(log: Log, car: Car, turns: Array, first: int, behind: int) -> Mask:
    """Where boost, none of it there when the pull begins, is still building up."""
    builds, pull = np.zeros(log.time.size, np.bool_), slice(first, behind)
    builds[pull] = building_up(boost_along(log.time[pull], turns[pull], np.ones(behind - first, np.bool_), car), car)
    return builds


def _no_pull(log: Log, gear: int, reasons: NDArray[np.object_], lasts: float) -> Exception:
    found = "; ".join(f"{len(reasons[reasons == why])} samples: {why}" for why in dict.fromkeys(reasons) if why)
    why = f"holds no pull of {SHORTEST:g} s in gear {gear}; the longest lasts {lasts:.2g} s ({found})"
    return refusal(log.source, "speed", "", why, "log a longer pull in one gear, or state another with --gear")


# --- from speed to torque ---


@dataclass(frozen=True)
class _Rows:
    """Engine speed and torque at equal steps of engine speed, residuals of road speed, and the error noise leaves."""

    speed: Array
    torque: Array
    residuals: Array
    error: float


def _rows(time: Array, speed: Array, turns: Array | None, car: Car, gear: int) -> _Rows:
    smooth, gained, rest = splined(time, speed)
    line = driveline(smooth, gained, car, gear)
    where = np.maximum.accumulate(line.turns if turns is None else splined(time, turns)[0])
    first = np.concatenate([[True], np.diff(where) > 0.0])
    edge = _ENDS * float(np.ptp(time))
    low, high = (float(np.interp(at, time, where)) for at in (time[0] + edge, time[-1] - edge))
    grid = np.linspace(low, high, _ROWS)

    def at_grid(gained: Array) -> Array:
        torque = line.leverage * (line.mass * gained + line.resistance)
        return np.asarray(np.interp(grid, where[first], torque[first]))

    torque, noise = at_grid(gained), float(np.sqrt(np.mean(rest**2)))
    rng = np.random.default_rng(0)
    fits = [at_grid(splined(time, smooth + noise * rng.standard_normal(time.size))[1]) for _ in range(_REFITS)]
    error = float(np.sqrt(np.mean((np.array(fits) - torque) ** 2)) / np.mean(torque))
    return _Rows(grid, torque, rest, error)


def _measured(log: Log, car: Car, gear: int, first: int, behind: int, reasons: NDArray[np.object_]) -> _Found:
    inside = slice(first, behind)
    time, speed = log.time[inside], log.speed[inside]
    turns = None if log.engine_speed is None else log.engine_speed[inside]
    rows = _rows(time, speed, turns, car, gear)
    grid, noise = rows.speed, float(np.sqrt(np.mean(rows.residuals**2)))
    dropped = tuple(
        Dropped(log.source, int((reasons == why).sum()), why) for why in dict.fromkeys(reasons.tolist()) if why
    )
    account = (
        *(f"{log.source}: {line}" for line in log.account.understood[:-1]),
        *(
            (f"{log.source}: no engine speed; it is taken from road speed, gear and the slip of the tyres",)
            if turns is None
            else ()
        ),
    )
    notes = tuple(f"{log.source}: {note}" for note in log.account.notes if "no tyre radius" not in note)
    if turns is None:
        notes += (f"{log.source}: without engine speed, spinning wheels and a slipping clutch do not show",)
    pull = Pull(log.source, (first + 1, behind), grid, rows.torque)
    ends = (float(time[0]), float(time[-1])), (float(speed[0]), float(speed[-1]))
    return _Found(pull, gear, behind - first, log.time.size, dropped, account, noise, rows.error, notes, *ends)


# --- the account ---


def _account(found: Sequence[_Found], scenario: Scenario, unit: DisplayUnit) -> CurveAccount:
    pulls = [each.pull for each in found]
    curves: list[Smooth] = [replace(as_it_is(pull.speed, pull.torque), method=Smoothing.LOGGED_SPEED) for pull in pulls]
    grid = grid_of(pulls, curves)
    mean = together(curves, grid)
    speed, torque, spread = sound(grid, mean.torque, mean.spread)
    accounts = tuple(
        PullAccount(
            f"pull {n + 1} ({each.pull.source}, gear {each.gear})", each.samples, None, mean.deviations[n],
            n in mean.outliers, False, None, each.pull.speed, each.pull.torque,
        )
        for n, each in enumerate(found)
    )  # fmt: skip
    gears = sorted({each.gear for each in found})
    conversion = (
        f"road load, mass, inertias, efficiency and tyres of {scenario.name}, gear {' and '.join(map(str, gears))}; "
        "the torque is that of the air of the day"
    )
    return CurveAccount(
        sources=tuple(each.pull.source for each in found),
        understood=tuple(line for each in found for line in (each.where(unit), *each.understood)),
        rows=sum(each.all_samples for each in found),
        rows_used=sum(each.samples for each in found),
        dropped=tuple(entry for each in found for entry in each.dropped),
        pulls=accounts,
        smoothing=(Smoothing.LOGGED_SPEED,),
        taken_back=None,
        put_on=None,
        conversion=conversion,
        correction=Correction.NONE,
        measured_at=MeasuredAt.CRANK,
        speed=speed,
        torque=torque,
        spread=spread,
        notes=(*dict.fromkeys(_noted(found, unit)), *pull_notes(accounts)),
    )


def _noted(found: Sequence[_Found], unit: DisplayUnit) -> Iterator[str]:
    for each in found:
        yield (
            f"{each.pull.source}: the speed scatters by {unit.of(each.noise):.2g} {unit.label} about its spline, "
            f"which leaves the torque uncertain by {100.0 * each.error:.1f} % (one standard deviation, from {_REFITS} "
            "fits with fresh noise)"
        )
        yield from each.notes
    yield (
        "mass, drag, grade, wind and tyre radius that are wrong shift the whole curve, and noise does not show that; a "
        "coast-down fixes the road load (simlaunch fit --coast-down)"
    )
