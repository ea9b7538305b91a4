"""A curve from dyno sheets as JSON: how it came about, its points, and what follows from its peaks."""

from __future__ import annotations

from pathlib import Path

from simlaunch.analysis.engine_figures import AirNeed, EngineFigures, Peak
from simlaunch.output.as_json import Object, listed, number
from simlaunch.readers.curve import CurveAccount, PullAccount
from simlaunch.readers.reference_conditions import Factor


def _or_null(value: float | None) -> float | None:
    return None if value is None else number(value)


def _pull(pull: PullAccount) -> Object:
    return {
        "name": pull.name,
        "rows": pull.rows,
        "noise": _or_null(pull.noise),
        "deviation": _or_null(pull.deviation),
        "outlier": pull.outlier,
        "left_out": pull.left_out,
        "peak_bound": _or_null(pull.bound),
    }


def _factor(factor: Factor | None) -> Object | None:
    if factor is None:
        return None
    return {"value": number(factor.value), "why": factor.why, "flagged": factor.flagged}


def _peak(peak: Peak) -> Object:
    return {
        "engine_speed_rad_per_s": number(peak.speed),
        "torque_N_m": number(peak.torque),
        "power_W": number(peak.power),
    }


def _air(air: AirNeed | None) -> Object | None:
    if air is None:
        return None
    return {
        "flow_kg_per_s": number(air.flow),
        "fuel_consumption_kg_per_J": number(air.consumption),
        "fuel_consumption_origin": air.consumption_origin,
        "air_fuel_ratio": number(air.ratio),
        "air_fuel_ratio_origin": air.ratio_origin,
    }


def curve_object(account: CurveAccount, figures: EngineFigures, saved: Path | None) -> Object:
    """A curve and the account of it."""
    return {
        "format": "simlaunch-curve-1",
        "sources": list(account.sources),
        "understood": list(account.understood),
        "rows": account.rows,
        "rows_used": account.rows_used,
        "dropped": [{"source": d.source, "rows": d.rows, "why": d.why} for d in account.dropped],
        "pulls": [_pull(pull) for pull in account.pulls],
        "smoothing": account.smoothing,
        "correction": account.correction and account.correction.value,
        "correction_taken_back": _factor(account.taken_back),
        "correction_put_on": _factor(account.put_on),
        "valid_at": account.measured_at and account.measured_at.value,
        "conversion": account.conversion or None,
        "points": {
            "engine_speed_rad_per_s": listed(account.speed),
            "torque_N_m": listed(account.torque),
            "power_W": listed(account.power),
            "spread_N_m": listed(account.spread),
        },
        "peak_torque": _peak(figures.peak_torque),
        "peak_power": _peak(figures.peak_power),
        "displacement_m3": _or_null(figures.displacement),
        "mean_effective_pressure_Pa": _or_null(figures.mean_effective_pressure),
        "air_at_peak_power": _air(figures.air),
        "notes": list(account.notes),
        "saved": None if saved is None else str(saved),
    }
