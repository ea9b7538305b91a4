"""From logged launches through the gears to one full-load curve, and to a curve of each gear that differs.

A launch at full load covers the same engine speeds several times, once in each gear. Its stretches in gear are joined
by `logged.joined`. Left out are shifts and spinning wheels, tyres near the end of their grip, boost that is still
building up by the scenario's lag (which a shift lets fall), the rev limiter, and both ends of every stretch.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from simlaunch.logged.joined import FEWEST, Fitted, Joined, Stretch, joined
from simlaunch.logged.pulls import (
    LIFTING,
    SETTLING,
    Log,
    Mask,
    boost_along,
    building_up,
    driveline,
    near_grip,
    splined,
)
from simlaunch.logged.same_conditions import PULLS, steady_acceleration
from simlaunch.logged.tied import nearest_gear
from simlaunch.physics import engine
from simlaunch.readers.curve import STEPS, CurveAccount, GearTorque, PullAccount, sound
from simlaunch.readers.delimited import refusal
from simlaunch.readers.sheet import Dropped
from simlaunch.readers.smoothing import Smoothing
from simlaunch.record import MAX_GEAR_POINTS, Car
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.powertrain import Correction, MeasuredAt
from simlaunch.stretches import stretches_of
from simlaunch.units.quantity import RPM, DisplayUnit

Array = NDArray[np.float64]
Reasons = NDArray[np.object_]

SHORTEST = 0.4
"""A stretch lasts that long at least, its ends left out [s]."""

_GAP = 300.0 * RPM  # a wider range of engine speeds that no stretch drove is worth a word [rad/s]
_OWN_STEP = 100.0  # of engine speed, at which the torque of a gear is listed [rpm]
_WORDS = {
    "pull": "no pull: the car does not gain speed as in full load, as in a shift",
    "tied": "engine and wheels do not turn together in any gear: a shift, a slipping clutch or spinning wheels",
    "limiter": "rev limiter, or near it",
    "idle": "below idle",
    "grip": "near the end of grip: the tyres may hold the torque",
    "boost": "boost builds up, by the scenario's lag",
    "begin": "beginning of a stretch in gear: coupling and shafts settle",
    "end": "end of a stretch in gear: the driver may be lifting",
    "short": f"a stretch in gear of less than {SHORTEST:g} s or {FEWEST} samples",
}


def through_gears(logs: Sequence[Log], car: Car, scenario: Scenario, unit: DisplayUnit) -> CurveAccount:
    """Join what every gear of some logs drove at full load.

    Parameters
    ----------
    logs : sequence of Log
        Launches or pulls; each with engine speed.
    car : Car
        The car, complete.
    scenario : Scenario
        Its scenario, for its name.
    unit : DisplayUnit
        Unit of road speeds in sentences.

    Returns
    -------
    CurveAccount
        The curve, each gear, and what was left out.

    Raises
    ------
    InputError
        A log without engine speed, or logs without a stretch in gear.
    """
    stretches: list[Stretch] = []
    dropped: list[Dropped] = []
    for number, log in enumerate(logs):
        if log.engine_speed is None:
            why = "has no engine speed, by which gears are recognised"
            raise refusal(log.source, "engine_speed", "", why, "name its channel, or state one gear, such as --gear 4")
        found, left = _stretches(log, number, car)
        stretches += found
        dropped += left
    if not stretches:
        total = Counter[str]()
        for each in dropped:
            total[each.why] += each.rows
        why = "; ".join(f"{rows} samples: {reason}" for reason, rows in total.most_common())
        what = f"holds no stretch of {SHORTEST:g} s in any gear ({why})"
        raise refusal(logs[0].source, "speed", "", what, "log a launch at full load, or state one gear with --gear")
    return _account(logs, joined(stretches), dropped, scenario, unit)


# --- stretches of a log ---


def _stretches(log: Log, number: int, car: Car) -> tuple[list[Stretch], list[Dropped]]:
    """Stretches in gear at full load, and the samples that count in none, by their reason."""
    assert log.engine_speed is not None, "refused before"
    turns = np.nan_to_num(log.engine_speed, nan=0.0)
    reasons = np.full(log.time.size, "", dtype=object)
    gear, tied = nearest_gear(log.speed, turns, car)
    pulling = steady_acceleration(log.time, log.speed) > PULLS
    top = float(engine.limiter_start(car.engine))
    for mask, why in (
        (~pulling, "pull"), (~tied, "tied"), (turns >= top, "limiter"), (turns < car.engine.idle, "idle"),
    ):  # fmt: skip
        _give(reasons, mask, why)
    boost = boost_along(log.time, np.maximum(turns, float(car.engine.idle)), np.asarray(pulling & tied, np.bool_), car)
    builds = building_up(boost, car)
    found = []
    for first, behind in _in_one_gear(np.asarray(reasons == "", np.bool_), gear):
        inside = np.zeros(log.time.size, np.bool_)
        inside[first:behind] = True
        since, left = log.time - log.time[first], log.time[behind - 1] - log.time
        _give(reasons, inside & (since < SETTLING), "begin")
        _give(reasons, inside & (left < LIFTING), "end")
        if behind - first >= FEWEST:
            _give(reasons, inside & near_grip(log, car, first, behind), "grip")
        _give(reasons, inside & builds, "boost")
        for a, b in stretches_of(np.asarray(inside & (reasons == ""), np.bool_)):
            if b - a < FEWEST or log.time[b - 1] - log.time[a] < SHORTEST:
                reasons[a:b] = "short"
            else:
                found.append(_stretch(log, number, car, int(gear[a]), a, b))
    counts = Counter(each for each in reasons.tolist() if each)
    return found, [Dropped(log.source, rows, _WORDS[why]) for why, rows in counts.items()]


def _give(reasons: Reasons, mask: Mask, why: str) -> None:
    """State a reason for samples that have none yet."""
    reasons[mask & (reasons == "")] = why


def _in_one_gear(usable: Mask, gear: Array) -> Iterator[tuple[int, int]]:
    for first, behind in stretches_of(usable):
        edges = [first, *(first + 1 + np.flatnonzero(np.diff(gear[first:behind]))).tolist(), behind]
        yield from pairwise(edges)


def _stretch(log: Log, number: int, car: Car, gear: int, first: int, behind: int) -> Stretch:
    assert log.engine_speed is not None, "refused before"
    inside = slice(first, behind)
    time, speed = log.time[inside], log.speed[inside]
    smooth, gained, _ = splined(time, speed)
    line = driveline(smooth, gained, car, gear)
    turns = splined(time, log.engine_speed[inside])[0]
    return Stretch(number, gear, time, speed, turns, line.mass, line.resistance, line.leverage)


# --- the account ---


@dataclass(frozen=True)
class _Points:
    """Engine speeds of the curve, its torque, and what that scatters by."""

    speed: Array
    torque: Array
    scatter: Array


def _points(found: Joined) -> _Points:
    covered = found.covered(found.kept)
    low, high = covered[0][0] / RPM, covered[-1][1] / RPM
    step = next((each for each in STEPS if (high - low) / each < MAX_GEAR_POINTS - 3), STEPS[-1])
    inner = np.arange(np.ceil(low / step + 0.2), np.floor(high / step - 0.2) + 1.0) * step
    speed = np.concatenate([[low], inner, [high]]) * RPM
    return _Points(*sound(speed, found.curve.torque(speed), found.curve.scatter(speed)))


def _account(
    logs: Sequence[Log], found: Joined, dropped: Sequence[Dropped], scenario: Scenario, unit: DisplayUnit
) -> CurveAccount:
    points = _points(found)
    gears = tuple(_gear(found, gear, fitted, points) for gear, fitted in found.gears.items())
    used = sum(each.time.size for each in found.stretches)
    return CurveAccount(
        sources=tuple(log.source for log in logs),
        understood=tuple(_understood(logs, found, unit)),
        rows=sum(log.time.size for log in logs),
        rows_used=used,
        dropped=tuple(dropped),
        pulls=tuple(_pull(found, each, points) for each in gears),
        smoothing=(Smoothing.JOINED,),
        taken_back=None,
        put_on=None,
        conversion=(
            f"road load, mass, inertias, efficiency and tyres of {scenario.name}, "
            f"gears {', '.join(str(each.gear) for each in gears)}; the torque is that of the air of the day"
        ),
        correction=Correction.NONE,
        measured_at=MeasuredAt.CRANK,
        speed=points.speed,
        torque=points.torque,
        spread=points.scatter,
        notes=tuple(dict.fromkeys(_notes(logs, found, gears, unit))),
        by_gear=gears,
    )


def _understood(logs: Sequence[Log], found: Joined, unit: DisplayUnit) -> Iterator[str]:
    for number, log in enumerate(logs):
        yield from (f"{log.source}: {line}" for line in log.account.understood[:-1])
        for each in found.stretches:
            if each.log == number:
                first, last = (f"{unit.of(float(each.speed[k])):.0f}" for k in (0, -1))
                low, high = each.turns.min() / RPM, each.turns.max() / RPM
                yield (
                    f"{log.source}: gear {each.gear} from {each.time[0]:.2f} s to {each.time[-1]:.2f} s of the log, "
                    f"{first} to {last} {unit.label}, {low:.0f} to {high:.0f} rpm"
                )


def _within(speed: Array, ranges: Sequence[tuple[float, float]]) -> Mask:
    return np.asarray(np.any([(speed >= low) & (speed <= high) for low, high in ranges], axis=0), np.bool_)


def _gear(found: Joined, gear: int, fitted: Fitted, points: _Points) -> GearTorque:
    """Torque of one gear over all that it drove, and what it holds the engine to where that is less."""
    low, high = (each / RPM for each in (found.covered([gear])[0][0], found.covered([gear])[-1][1]))
    inner = np.arange(np.ceil(low / _OWN_STEP), np.floor(high / _OWN_STEP) + 1.0) * _OWN_STEP
    speed = np.unique(np.concatenate([[low], inner, [high]])) * RPM
    apart = found.apart.get(gear, ())
    limit = np.full(points.speed.size, np.nan)
    if any(each.gap < 0.0 for each in apart):
        drove = _within(points.speed, found.covered([gear]))
        limit[drove] = np.minimum(fitted.torque(points.speed), points.torque)[drove]
    listed = tuple((each.low, each.high, each.gap, each.scatter) for each in apart)
    return GearTorque(gear, speed, fitted.torque(speed), fitted.scatter(speed), listed, limit)


def _pull(found: Joined, each: GearTorque, points: _Points) -> PullAccount:
    stretches = [stretch for stretch in found.stretches if stretch.gear == each.gear]
    shared = (each.speed >= points.speed[0]) & (each.speed <= points.speed[-1])
    ratio = each.torque / np.interp(each.speed, points.speed, points.torque)
    return PullAccount(
        name=f"gear {each.gear}, {len(stretches)} stretch{'es' if len(stretches) > 1 else ''}",
        rows=sum(stretch.time.size for stretch in stretches),
        noise=float(np.mean(each.spread / each.torque)),
        deviation=float(np.mean(ratio[shared]) - 1.0) if shared.any() else None,
        outlier=bool(each.apart),
        left_out=False,
        bound=None,
        speed=each.speed,
        torque=each.torque,
        gear=each.gear,
    )


def _notes(logs: Sequence[Log], found: Joined, gears: Sequence[GearTorque], unit: DisplayUnit) -> Iterator[str]:
    for each in gears:
        for low, high, gap, scatter in each.apart:
            yield (
                f"gear {each.gear} gives {100.0 * abs(gap):.1f} % {'less' if gap < 0.0 else 'more'} torque than the "
                f"curve from {low / RPM:.0f} to {high / RPM:.0f} rpm, which is more than the scatter of "
                f"{100.0 * scatter:.1f} %; this gear is left out of the curve. {_CAUSES[gap < 0.0]}"
            )
    if len(found.kept) == 1 and found.apart:
        yield (
            f"the curve is that of gear {found.kept[0]} alone: of groups of gears that are equally large, the one with "
            "more torque is taken"
        )
    if outside := _beyond(found):
        yield (
            f"only gears that are left out drove {outside}, so that the curve ends before; their torque there stands "
            "in the JSON"
        )
    if limited := [each.gear for each in gears if np.isfinite(each.limit).any()]:
        names = f"gear{'s' if len(limited) > 1 else ''} {' and '.join(map(str, limited))}"
        yield (
            f"the saved curve holds {names} to the torque measured there, in a column of its own, "
            "held beyond the engine speeds that were driven; gear_limits = [] in a scenario takes that away"
        )
    covered = found.covered(found.kept)
    for (_, low), (high, _) in pairwise(covered):
        if high - low > _GAP:
            yield f"no stretch drove {low / RPM:.0f} to {high / RPM:.0f} rpm: the curve is interpolated there"
    for number, noise in found.curve.noise.items():
        yield (
            f"{logs[number].source}: the speed scatters by {unit.of(noise):.2g} {unit.label} about what the curve "
            "makes of it"
        )
    points = _points(found)
    share = float(np.mean(points.scatter / points.torque))
    yield f"noise leaves the torque uncertain by {100.0 * share:.1f} % (one standard deviation, mean over the curve)"
    for log in logs:
        yield from (f"{log.source}: {note}" for note in log.account.notes if "no tyre radius" not in note)
    yield (
        "mass, drag, grade, wind and tyre radius that are wrong shift the whole curve, and noise does not show that; a "
        "coast-down fixes the road load (simlaunch fit --coast-down)"
    )


def _beyond(found: Joined) -> str:
    """Engine speeds beyond the curve that other gears drove, worth a word; empty where there are none."""
    covered, every = found.covered(found.kept), found.covered(found.gears)
    ends = ((every[0][0], covered[0][0]), (covered[-1][1], every[-1][1]))
    return " and ".join(f"{low / RPM:.0f} to {high / RPM:.0f} rpm" for low, high in ends if high - low > _GAP)


_CAUSES = {
    True: "A torque limit in that gear, tyres that slip, or a ratio or efficiency that is not what the scenario says",
    False: "A ratio or an efficiency that is not what the scenario says, or a slope of the road",
}
