"""A report in words: what the command prints, and the JSON."""

from __future__ import annotations

from pathlib import Path

from simlaunch.analysis.log_beside import LogsBeside
from simlaunch.comparing.compare import input_pull
from simlaunch.launching.goals import target_label
from simlaunch.logged.clock import from_foot
from simlaunch.output.as_json import Object, listed, number
from simlaunch.output.layout import Table, paragraph
from simlaunch.output.words import sentences
from simlaunch.readers.delimited import shown
from simlaunch.reporting.gather import Measured
from simlaunch.reporting.report import Report
from simlaunch.reporting.story import both_units, main_times
from simlaunch.units.spelling import System


def text(found: Report, system: System) -> str:
    """Where the page is, and the verdict, in 80 columns."""
    files = [f"Report: {found.page}", *([f"Printed: {found.pdf}"] if found.pdf else [])]
    verdict = ["Verdict", *(paragraph(sentence) for sentence in sentences(found.material.pair.verdict, system))]
    return "\n".join([*map(paragraph, files), "", *verdict])


def summary(found: Report, system: System) -> str:
    """The verdict in two sentences."""
    return " ".join(sentences(found.material.pair.verdict, system))


def tables(found: Report, system: System) -> tuple[Table, ...]:
    """The main results."""
    return (main_times(found.material, system), both_units(found.material))


def document(found: Report) -> Object:
    """The JSON object in SI units; its verdict is in the units of the page."""
    material = found.material
    pair = material.pair
    at_goal = (pair.full.at_goal.first, pair.full.at_goal.second)
    runs = tuple(zip((pair.first, pair.second), at_goal, strict=True))
    return {
        "format": "simlaunch-report-1",
        "scenario": material.scenario.name,
        "goal": target_label(material.comparison.goal),
        "finding": pair.verdict.finding.name.lower(),
        "verdict": list(sentences(pair.verdict, found.system)),
        "quicker": material.quicker,
        "curves": [
            {
                "curve": each.name,
                "time_s": number(mark.time),
                "wheelspin_time_s": number(each.full.measures.grip.wheelspin_time),
                "steady_pull_N_m": number(input_pull(each.full)),
            }
            for each, mark in runs
        ],
        "difference_s": number(pair.full.at_goal.gap),
        "parts_over_rating": [
            {"curve": curve, "part": part.name, "share_of_allowed": number(part.demand.share)}
            for curve, part in material.loads.broken
        ],
        "measured_before_and_after": (
            material.measured.change.to_dict() if material.measured and material.measured.change else None
        ),
        "measured_and_calculated": [_beside(each) for each in _sets(material.measured)],
        "page": str(found.page),
        "page_sha256": found.page_sha256,
        "pdf": str(found.pdf) if found.pdf else None,
    }


def _sets(measured: Measured | None) -> list[LogsBeside]:
    return [each for each in (measured.before, measured.after) if each] if measured else []


def _beside(found: LogsBeside) -> Object:
    """Marks of logged runs beside those of the calculated ones."""
    return {
        "logs": [shown(Path(log.source)) for log in found.logs],
        "curves": [run.name for run in found.runs],
        "corrected": [log.corrected or None for log in found.logs],
        "aligned_at_m_per_s": number(found.aligned_at),
        "first_foot_within_s": number(found.known_to),
        "marks": [
            {
                "label": target_label(each.target),
                "from_first_foot": from_foot(each.target),
                "logged_s": number(each.logged.mean),
                "scatter_s": number(each.logged.scatter),
                "calculated_s": listed(each.calculated),
            }
            for each in found.marks
        ],
        "wheels_until_m_per_s": number(found.wheels_until),
        "wheels": [
            {
                "wheel": each.name,
                "logged_slip_distance_m": number(each.logged.mean),
                "scatter_m": number(each.logged.scatter),
                "calculated_slip_distance_m": listed(each.calculated),
            }
            for each in found.wheels
        ],
    }
