"""Results as JSON: SI units named in the keys, null for what was not reached, a format version in front."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from math import isfinite
from typing import Any

from simlaunch.analysis.compare import Comparison, CurveRuns, MarkGap, Pair, PedalGap
from simlaunch.analysis.reference_conditions import FootingGap
from simlaunch.analysis.simulate import Simulation
from simlaunch.analysis.usable import CurveSurplus, GearCeiling, UsableTorque
from simlaunch.analysis.verdict import Rated, Sureness, Verdict
from simlaunch.errors import Fault
from simlaunch.metrics.marks import MarkResult, Target
from simlaunch.record import Record
from simlaunch.scenario.defaults import Default
from simlaunch.scenario.model import Scenario

Object = dict[str, Any]

CHANNEL_UNITS = {
    "distance": "m",
    "speed": "m_per_s",
    "wheel_speed_front": "rad_per_s",
    "wheel_speed_rear": "rad_per_s",
    "load_transfer": "N",
    "engine_speed": "rad_per_s",
    "input_speed": "rad_per_s",
    "shaft_speed": "rad_per_s",
    "boost": "share",
    "acceleration": "m_per_s2",
    "load_front": "N",
    "load_rear": "N",
    "slip_front": "share",
    "slip_rear": "share",
    "force_front": "N",
    "force_rear": "N",
    "force_limit_front": "N",
    "force_limit_rear": "N",
    "peak_slip_front": "share",
    "peak_slip_rear": "share",
    "engine_torque": "N_m",
    "available_torque": "N_m",
    "coupling_torque": "N_m",
    "gearbox_input_torque": "N_m",
    "gearbox_output_torque": "N_m",
    "axle_torque_front": "N_m",
    "axle_torque_rear": "N_m",
    "drag": "N",
    "boost_pressure": "Pa",
    "stored_energy": "J",
}
"""Unit of each channel of a trace, as it stands in a key; work is in J, a gear has none."""


def dumps(document: Mapping[str, Any]) -> str:
    """JSON text with sorted keys, the format first; ASCII only, and never a number that JSON does not have."""
    ordered = {key: document[key] for key in ("format", *sorted(set(document) - {"format"}))}
    return json.dumps({key: _sorted(value) for key, value in ordered.items()}, indent=2, allow_nan=False)


def _sorted(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {key: _sorted(value[key]) for key in sorted(value)}
    return [_sorted(each) for each in value] if isinstance(value, list) else value


def number(value: float) -> float | None:
    """A number, or null where there is none."""
    return float(value) + 0.0 if isfinite(value) else None


def listed(values: Iterable[float]) -> list[float | None]:
    """Numbers, with null where there is none."""
    return [number(value) for value in values]


def _target(target: Target) -> Object:
    unit = "m" if target.kind.name == "DISTANCE" else "m_per_s"
    return {
        "label": target.label,
        "kind": target.kind.name.lower(),
        f"start_{unit}": number(target.start),
        f"end_{unit}": number(target.end),
    }


def mark_object(result: MarkResult) -> Object:
    """What was measured for one mark."""
    return {
        **_target(result.target),
        "time_s": number(result.time),
        "time_after_rollout_s": number(result.time_after_rollout),
        "speed_m_per_s": number(result.speed),
        "trap_speed_m_per_s": number(result.trap_speed),
    }


def _grip(simulation: Simulation) -> Object:
    grip = simulation.measures.grip
    return {
        "time_at_limit_s": number(grip.time_at_limit),
        "wheelspin_time_s": number(grip.wheelspin_time),
        "slip_distance_m": number(grip.slip_distance),
        "slip_distance_past_peak_m": number(grip.slip_distance_past_peak),
        "slip_energy_J": number(grip.slip_energy),
        "slip_energy_past_peak_J": number(grip.slip_energy_past_peak),
        "lift_time_s": number(grip.lift_time),
        "greatest_slip": number(grip.greatest_slip),
    }


_AUDIT = ("engine_work", "kinetic", "drag", "rolling", "grade", "slip", "coupling", "gearing", "twist", "residual")


def _audit(simulation: Simulation) -> Object:
    audit = simulation.measures.audit
    return {
        **{f"{name}_J": number(getattr(audit, name)) for name in _AUDIT},
        "residual_share": number(audit.residual_share),
        "bad": audit.bad,
    }


def _trace(simulation: Simulation) -> Object:
    trace = simulation.run.trace
    channels = {channel_key(name): listed(values) for name, values in trace.channels.items()}
    return {"time_s": listed(trace.time), **channels}


def channel_key(name: str) -> str:
    """Name of a channel with its unit."""
    unit = CHANNEL_UNITS.get(name, "J" if "work" in name else "")
    return f"{name}_{unit}" if unit not in ("", "share") else name


def _run(simulation: Simulation, trace: bool) -> Object:
    measures = simulation.measures
    return {
        "curve": simulation.curve,
        "pedal": simulation.pedal.name.lower(),
        "outcome": simulation.run.outcome.name.lower(),
        "targets_reached": simulation.reached,
        "steps": simulation.run.steps,
        "steps_rejected": simulation.run.rejected,
        "marks": [mark_object(result) for result in measures.marks],
        "grip": _grip(simulation),
        "energy": _audit(simulation),
        "parts": [
            {
                "part": p.part.value,
                "steady_pull_N_m": number(p.steady),
                "torque_N_m": number(p.torque),
                "time_s": number(p.time),
                "gear": p.gear,
            }
            for p in measures.parts
        ],
        "surplus": [
            {"gear": s.gear, "share_of_area": number(s.share_of_area), "time_above_s": number(s.time_above)}
            for s in measures.surplus
        ],
        "moments": [{"time_s": number(m.time), "what": m.what} for m in simulation.run.trace.moments],
        **({"trace": _trace(simulation)} if trace else {}),
    }


def _conditions(scenario: Scenario, car: Record) -> Object:
    return {
        "mass_kg": number(car.body.mass),
        "surface": scenario.road.surface,
        "friction_factor": number(car.road.friction_factor),
        "grade_rad": number(car.road.grade_angle),
        "air_density_kg_per_m3": number(car.air.density),
        "head_wind_m_per_s": number(car.air.head_wind),
    }


def run_object(simulation: Simulation, scenario: Scenario, *, trace: bool = False) -> Object:
    """One launch."""
    return {
        "format": "simlaunch-run-1",
        "scenario": scenario.name,
        "conditions": _conditions(scenario, simulation.car),
        **_run(simulation, trace),
    }


# --- curves against each other ---


def _gap(gap: MarkGap) -> Object:
    return {
        **_target(gap.first.target),
        "first_time_s": number(gap.first.time),
        "second_time_s": number(gap.second.time),
        "gap_s": number(gap.gap),
    }


def _pedal_gap(gap: PedalGap) -> Object:
    return {
        "at_goal": _gap(gap.at_goal),
        "marks": [_gap(mark) for mark in gap.marks],
        "along": {"distance_m": listed(gap.along.distance), "gap_s": listed(gap.along.gap)},
        "sections": [
            {"start_m": number(s.start), "end_m": number(s.end), "growth_s": number(s.growth)} for s in gap.sections
        ],
        "with_less_grip": {"gap_s": number(gap.grip.less)},
        "with_more_grip": {"gap_s": number(gap.grip.more)},
    }


def _sureness(sure: Sureness | None) -> Object | None:
    if sure is None:
        return None
    quicker, slower = ([number(value) for value in each] for each in (sure.quicker, sure.slower))
    return {
        "cases": sure.cases,
        "quicker_share": dict(zip(("share", "low_share", "high_share"), quicker, strict=True)),
        "slower_share": dict(zip(("share", "low_share", "high_share"), slower, strict=True)),
        "level_share": number(sure.level),
        "gap_5_50_95_s": listed(sure.gaps),
    }


def _rated(part: Rated) -> Object:
    return {
        "part": part.part,
        "higher_steady_share_of_rating": number(part.demands[0].steady),
        "lower_steady_share_of_rating": number(part.demands[1].steady),
        "higher_peak_share_of_failure": number(part.demands[0].shock),
        "lower_peak_share_of_failure": number(part.demands[1].shock),
        "higher_too_much": part.over[0],
        "lower_too_much": part.over[1],
        "no_reason_to_choose": part.alike,
        "higher_peak_event": part.event.when or None,
        "higher_peak_cause": part.event.cause or None,
    }


def _verdict(verdict: Verdict, sentences: tuple[str, str]) -> Object:
    case = verdict.case
    return {
        "finding": verdict.finding.name.lower(),
        "sentences": list(sentences),
        "grip_doubt": number(verdict.grip_doubt),
        "sureness": _sureness(case.sureness),
        "rated_parts": [_rated(part) for part in case.rated],
        "higher": case.higher,
        "lower": case.lower,
        "higher_peak_N_m": number(case.higher_peak),
        "lower_peak_N_m": number(case.lower_peak),
        "higher_time_s": number(case.higher_time),
        "lower_time_s": number(case.lower_time),
        "full_gap_s": number(case.full_gap),
        "held_gap_s": number(case.held_gap),
        "less_grip_gap_s": number(case.grip_gaps[0]),
        "more_grip_gap_s": number(case.grip_gaps[1]),
        "higher_wheelspin_time_s": number(case.spin_times[0]),
        "lower_wheelspin_time_s": number(case.spin_times[1]),
        "higher_gearbox_input_pull_N_m": number(case.input_torques[0]),
        "lower_gearbox_input_pull_N_m": number(case.input_torques[1]),
    }


def _pair(pair: Pair, sentences: tuple[str, str]) -> Object:
    return {
        "first": pair.first.name,
        "second": pair.second.name,
        "full": _pedal_gap(pair.full),
        "held_slip": _pedal_gap(pair.held),
        "verdict": _verdict(pair.verdict, sentences),
    }


def _curve_runs(runs: CurveRuns, goal: Target, trace: bool) -> Object:
    return {
        "curve": runs.name,
        "full": _run(runs.full, trace),
        "held_slip": _run(runs.held, trace),
        "lost_to_spin_s": number(runs.lost_to_spin(goal)),
    }


def _footing_gap(gap: FootingGap) -> Object:
    return {
        "higher": gap.higher,
        "higher_correction": gap.higher_correction.value,
        "lower": gap.lower,
        "lower_correction": gap.lower_correction.value,
        "gap": number(gap.gap),
    }


def comparison_object(
    comparison: Comparison,
    scenario: Scenario,
    sentences: Sequence[tuple[str, str]],
    *,
    trace: bool = False,
) -> Object:
    """Curves against each other; sentences of each pair's verdict as they are printed."""
    return {
        "format": "simlaunch-compare-1",
        "scenario": comparison.scenario,
        "conditions": _conditions(scenario, comparison.runs[0].full.car),
        "goal": _target(comparison.goal),
        "targets_reached": comparison.reached,
        "unlike_footings": [_footing_gap(gap) for gap in comparison.footings],
        "runs": [_curve_runs(runs, comparison.goal, trace) for runs in comparison.runs],
        "pairs": [_pair(pair, told) for pair, told in zip(comparison.pairs, sentences, strict=True)],
    }


# --- usable torque, check ---


def _ceiling(ceiling: GearCeiling) -> Object:
    return {
        "gear": ceiling.gear,
        "usable_torque_N_m": listed(ceiling.usable),
        "road_speed_m_per_s": listed(ceiling.road_speed),
    }


def _surplus(surplus: CurveSurplus) -> Object:
    return {
        "curve": surplus.curve,
        "gear": surplus.gear,
        "share_of_area": number(surplus.share_of_area),
        "greatest_torque_N_m": number(surplus.greatest),
        "first_speed_rad_per_s": number(surplus.first_speed),
        "last_speed_rad_per_s": number(surplus.last_speed),
    }


def usable_object(usable: UsableTorque, scenario: Scenario, car: Record) -> Object:
    """Curves and the usable torque of each gear."""
    return {
        "format": "simlaunch-usable-1",
        "scenario": usable.scenario,
        "conditions": _conditions(scenario, car),
        "engine_speed_rad_per_s": listed(usable.engine_speed),
        "curves": [{"curve": name, "torque_N_m": listed(values)} for name, values in usable.curves.items()],
        "gears": [_ceiling(ceiling) for ceiling in usable.ceilings],
        "surplus": [_surplus(surplus) for surplus in usable.surplus],
    }


def _derived(name: str, car: Record) -> Object:
    return {
        "curve": name,
        "shift_speeds_rad_per_s": listed(car.gearbox.shift_speed[: int(car.gearbox.count) - 1]),
        "start_engine_speed_rad_per_s": number(car.launch.engine_speed),
        "target_slip": number(car.pedal.target_slip),
    }


def check_object(
    scenario: Scenario, defaults: Sequence[Default], warnings: Sequence[str], cars: Mapping[str, Record]
) -> Object:
    """What a check of a sound scenario found."""
    return {
        "format": "simlaunch-check-1",
        "sound": True,
        "scenario": scenario.name,
        "faults": [],
        "conditions": _conditions(scenario, next(iter(cars.values()))),
        "defaults": [{"key": d.key, "value": d.value, "origin": d.origin} for d in defaults],
        "warnings": list(warnings),
        "derived": [_derived(name, car) for name, car in cars.items()],
    }


def faults_object(source: str, faults: Sequence[Fault]) -> Object:
    """What a check of an unsound scenario found."""
    return {
        "format": "simlaunch-check-1",
        "sound": False,
        "source": source,
        "faults": [{"place": f.place, "typed": f.typed, "why": f.why, "instead": f.instead} for f in faults],
    }
