"""Curves against each other as JSON."""

from __future__ import annotations

from collections.abc import Sequence

from simlaunch.analysis.compare import Comparison, CurveRuns, MarkGap, Pair, PedalGap
from simlaunch.analysis.reference_conditions import FootingGap
from simlaunch.analysis.verdict import Rated, Sureness, Verdict
from simlaunch.metrics.marks import Target
from simlaunch.output.as_json import Object, listed, number, target_object
from simlaunch.output.conditions import conditions_object
from simlaunch.output.run import launch_object
from simlaunch.scenario.model import Scenario


def _gap(gap: MarkGap) -> Object:
    return {
        **target_object(gap.first.target),
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
        "full": launch_object(runs.full, trace=trace),
        "held_slip": launch_object(runs.held, trace=trace),
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
        "conditions": conditions_object(scenario, comparison.runs[0].full.car),
        "goal": target_object(comparison.goal),
        "targets_reached": comparison.reached,
        "unlike_footings": [_footing_gap(gap) for gap in comparison.footings],
        "runs": [_curve_runs(runs, comparison.goal, trace) for runs in comparison.runs],
        "pairs": [_pair(pair, told) for pair, told in zip(comparison.pairs, sentences, strict=True)],
    }
