"""What is printed of a curve from dyno sheets: what was understood and done, its points, its peaks."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np
from numpy.typing import NDArray

from simlaunch.analysis.curve import DynoCurve
from simlaunch.curves.engine_figures import AirNeed, EngineFigures
from simlaunch.output.as_json import Object, group_object, number
from simlaunch.output.groups import cells, heads, table
from simlaunch.output.layout import Row, Table, block, tables_text
from simlaunch.output.words import Numbers
from simlaunch.parameters.weather import NOT_CORRECTED, Factor
from simlaunch.quantities import reported
from simlaunch.readers.curve import CurveAccount, GearTorque, PullAccount
from simlaunch.readers.smoothing import Smoothing
from simlaunch.scenario.powertrain import MeasuredAt
from simlaunch.units.spelling import Dimension, System

_SHOWN_POINTS = 16


# --- tables ---


_OF_PULL = ("rows", "noise", "deviation")


def _pulls(account: CurveAccount, numbers: Numbers) -> Table:
    rows = tuple(
        Row(
            f"gear {pull.gear}" if pull.gear else f"pull {n}",
            "",
            (*cells("pull", pull, numbers, _OF_PULL), _remark(pull)),
        )
        for n, pull in enumerate(account.pulls, start=1)
    )
    named = heads("pull", numbers, _OF_PULL)
    if account.by_gear:
        named = tuple(head.replace("median", "curve") for head in named)
    return Table("Gears" if account.by_gear else "Pulls", (*named, "remark"), rows)


def _remark(pull: PullAccount) -> str:
    if pull.gear and pull.outlier:
        return "differs, left out"
    return "left out" if pull.left_out else "lies apart" if pull.outlier else "used"


def _point_row(account: CurveAccount, point: int, numbers: Numbers) -> Row:
    speed, torque = float(account.speed[point]), float(account.torque[point])
    power = float(account.power[point])
    cells = [numbers.plain(torque, Dimension.TORQUE), numbers.plain(power, Dimension.POWER)]
    if len(account.pulls) > 1:
        share = float(account.spread[point]) / torque
        cells.append(numbers.plain(share, Dimension.SHARE))
    return Row(numbers.with_unit(speed, Dimension.ROTATIONAL_SPEED), "", tuple(cells))


def _points(account: CurveAccount, points: list[int], numbers: Numbers) -> Table:
    heads = [f"torque [{numbers.unit(Dimension.TORQUE)}]", f"power [{numbers.unit(Dimension.POWER)}]"]
    if len(account.pulls) > 1:
        heads.append(f"{'scatter' if account.by_gear else 'spread'} [{numbers.unit(Dimension.SHARE)}]")
    return Table("Curve", tuple(heads), tuple(_point_row(account, point, numbers) for point in points))


def _few_points(account: CurveAccount) -> list[int]:
    """Some points, evenly spread; both ends are among them."""
    last = len(account.speed) - 1
    return sorted({round(i * last / (_SHOWN_POINTS - 1)) for i in range(_SHOWN_POINTS)})


def _peaks(figures: EngineFigures, numbers: Numbers) -> Table:
    peaks = (("peak torque", figures.peak_torque), ("peak power", figures.peak_power))
    return table("Peaks", "curve", peaks, numbers, ("torque", "power", "engine_speed"))


def tables(curve: DynoCurve, system: System) -> tuple[Table, ...]:
    """Every table of a curve, with all its points."""
    numbers, account, figures = Numbers(system), curve.account, curve.engine
    every = list(range(len(account.speed)))
    return _pulls(account, numbers), _points(account, every, numbers), _peaks(figures, numbers)


# --- sentences ---


def _bound(account: CurveAccount, numbers: Numbers) -> str:
    used = [pull for pull in account.pulls if not pull.left_out]
    bounds = [pull.bound for pull in used if pull.bound is not None]
    if Smoothing.SPLINE not in account.smoothing:
        return ""
    if len(bounds) < len(used):
        return "; below 60 rows in a pull no bound for the peak is stated"
    scatter = numbers.with_unit(max(pull.noise or 0.0 for pull in used), Dimension.SHARE)
    return (
        f"; the peak lies within {numbers.with_unit(max(bounds), Dimension.SHARE)} of the truth where noise is "
        f"independent from row to row (scatter {scatter})"
    )


def _rows(account: CurveAccount) -> Iterator[str]:
    yield f"{account.rows} rows read, {account.rows_used} used"
    yield from map(str, account.dropped)
    if len(account.pulls) > 1:
        yield from (f"{pull.name}, {pull.rows} rows" for pull in account.pulls)


def _done(account: CurveAccount, numbers: Numbers) -> Iterator[str]:
    yield f"smoothing: {' and '.join(account.smoothing)}{_bound(account, numbers)}"
    if account.taken_back is not None and account.taken_back is not NOT_CORRECTED:
        yield f"correction factor taken back: {account.taken_back.why}"
    if account.put_on is not None:
        yield f"correction factor put on: {account.put_on.why}"
    if account.conversion:
        yield account.conversion
    carried = "not known" if account.correction is None else account.correction.value
    place = "not known" if account.measured_at is None else f"the {account.measured_at}"
    yield f"reference conditions of the curve: weather correction {carried}; place {place}"


def _engine(account: CurveAccount, figures: EngineFigures, numbers: Numbers) -> Iterator[str]:
    if account.measured_at not in (None, MeasuredAt.CRANK):
        yield f"mean effective pressure and air need are left out: the figures are valid at the {account.measured_at}"
        return
    taken = ", if the figures are valid at the crank" if account.measured_at is None else ""
    if figures.mean_effective_pressure is not None and figures.displacement is not None:
        pressure = numbers.with_unit(figures.mean_effective_pressure, Dimension.PRESSURE)
        volume = numbers.rough(figures.displacement, Dimension.VOLUME)
        yield f"brake mean effective pressure at peak torque: {pressure} ({volume}, four-stroke){taken}"
    if figures.air is not None:
        air = figures.air
        consumption = f"{numbers.rough(air.consumption, Dimension.SPECIFIC_CONSUMPTION)} ({air.consumption_origin})"
        ratio = f"{numbers.rough(air.ratio, Dimension.NUMBER)} ({air.ratio_origin})"
        flow = numbers.with_unit(air.flow, Dimension.MASS_FLOW)
        yield f"air needed at peak power: {flow}, with fuel consumption {consumption}, air-fuel ratio {ratio}{taken}"


def summary(curve: DynoCurve, system: System) -> str:
    """Peak torque and peak power with their engine speeds."""
    numbers, torque, power = Numbers(system), curve.engine.peak_torque, curve.engine.peak_power
    speeds = [numbers.with_unit(peak.speed, Dimension.ROTATIONAL_SPEED) for peak in (torque, power)]
    return (
        f"Peak torque {numbers.with_unit(torque.torque, Dimension.TORQUE)} at {speeds[0]}, "
        f"peak power {numbers.with_unit(power.power, Dimension.POWER)} at {speeds[1]}."
    )


def text(curve: DynoCurve, system: System) -> str:
    """A curve from dyno sheets as text of 80 columns."""
    numbers, account, figures = Numbers(system), curve.account, curve.engine
    pulls, peaks = _pulls(account, numbers), _peaks(figures, numbers)
    blocks = [
        *block("Understood", account.understood),
        *block("Rows", _rows(account)),
        *tables_text([pulls, _points(account, _few_points(account), numbers), peaks]),
        *block("What was done", _done(account, numbers)),
        *block("Engine", _engine(account, figures, numbers)),
        *block("Worth knowing", curve.notes),
    ]
    return "\n\n".join(blocks)


# --- JSON and columns ---


def _pull(pull: PullAccount) -> Object:
    return {"name": pull.name, "outlier": pull.outlier, "left_out": pull.left_out, **group_object("pull", pull)}


def _factor(factor: Factor | None) -> Object | None:
    if factor is None:
        return None
    return {"value": number(factor.value), "why": factor.why, "flagged": factor.flagged}


_OF_GEAR = ("engine_speed", "torque", "power", "spread")


def _by_gear(each: GearTorque) -> Object:
    keys = ("from_rad_per_s", "to_rad_per_s", "difference_share", "scatter_share")
    return {
        "gear": each.gear,
        **group_object("curve", each, _OF_GEAR),
        "apart": [dict(zip(keys, map(number, one), strict=True)) for one in each.apart],
    }


_OF_PEAK = ("engine_speed", "torque", "power")


def _air(air: AirNeed | None) -> Object | None:
    if air is None:
        return None
    return {
        **group_object("air", air),
        "fuel_consumption_origin": air.consumption_origin,
        "air_fuel_ratio_origin": air.ratio_origin,
    }


def columns(curve: DynoCurve) -> Mapping[str, NDArray[np.float64]]:
    """Points of the curve."""
    return {each.key: each.of(curve.account) for each in reported("curve").values()}


def document(curve: DynoCurve) -> Object:
    """The JSON object."""
    account, figures = curve.account, curve.engine
    return {
        "format": "simlaunch-curve-1",
        "sources": list(account.sources),
        "understood": list(account.understood),
        **group_object("sheet", account),
        "dropped": [{"source": d.source, "rows": d.rows, "why": d.why} for d in account.dropped],
        "pulls": [_pull(pull) for pull in account.pulls],
        "smoothing": " and ".join(account.smoothing),
        "correction": account.correction and account.correction.value,
        "correction_taken_back": _factor(account.taken_back),
        "correction_put_on": _factor(account.put_on),
        "valid_at": account.measured_at and account.measured_at.value,
        "conversion": account.conversion or None,
        "points": group_object("curve", account),
        "peak_torque": group_object("curve", figures.peak_torque, _OF_PEAK),
        "peak_power": group_object("curve", figures.peak_power, _OF_PEAK),
        **group_object("engine", figures),
        "air_at_peak_power": _air(figures.air),
        **group_object("curve_end", curve),
        "notes": list(curve.notes),
        "by_gear": [_by_gear(each) for each in account.by_gear],
    }
