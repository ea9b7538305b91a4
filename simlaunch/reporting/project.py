"""One page for each of several scenarios, and one that lists them all, with links both ways."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import nullcontext
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import quote

from simlaunch.comparing.project import Project
from simlaunch.errors import UsageError
from simlaunch.launching.goals import target_label
from simlaunch.output.words import Numbers, sentences
from simlaunch.reporting.page import project_page
from simlaunch.reporting.report import Guard, Report, check_files, is_ours, report, version
from simlaunch.scenario.model import Scenario
from simlaunch.units.spelling import Dimension, system_named
from simlaunch.writing import write

INDEX = "index.html"


@dataclass(frozen=True, repr=False)
class ProjectReport(Project):
    """Pages that were written, and the comparisons behind them.

    Parameters
    ----------
    index : Path
        The page that lists all scenarios.
    reports : tuple of Report
        The page of each scenario.
    """

    index: Path
    reports: tuple[Report, ...]

    def to_dict(self, **options: bool) -> dict[str, Any]:
        """What `report` prints of each scenario."""
        return {
            "format": "simlaunch-project-report-1",
            "index": str(self.index),
            "reports": [each.to_dict() for each in self.reports],
        }


def report_project(
    scenarios: Mapping[str, Scenario],
    folder: str | Path,
    *,
    title: str = "",
    cases: int = 256,
    units: str = "metric",
    mixed_corrections: bool = False,
    force: bool = False,
    guard: Guard = nullcontext,
) -> ProjectReport:
    """Write a page for each scenario, and a page that lists them.

    Parameters
    ----------
    scenarios : mapping of str to Scenario
        Scenarios by name, such as stock, stage and wish; each has two curves at least.
    folder : str or Path
        Where the pages go: `NAME-report.html` for each, and `index.html`.
    title : str
        What the project is called; the name of the folder if left out.
    cases, units, mixed_corrections, force, guard
        As in `report`.

    Returns
    -------
    ProjectReport
        The files, and the comparisons behind them.

    Raises
    ------
    UsageError
        No scenario, or whatever `report` refuses.
    InputError
        A file that must not be replaced; nothing has been written then.
    """
    if not scenarios:
        raise UsageError("no scenario is named; name one at least")
    system, place = system_named(units), Path(folder)
    index = place / INDEX
    pages = {name: place / f"{name}-report.html" for name in scenarios}
    for path in (*pages.values(), index):
        check_files(path, None, force=force)
    reports = tuple(
        report(
            scenario, pages[name], cases=cases, units=system.value, mixed_corrections=mixed_corrections, force=force,
            guard=guard, index=INDEX,
        )
        for name, scenario in scenarios.items()
    )  # fmt: skip
    rows = [_row(name, each, Numbers(system)) for name, each in zip(scenarios, reports, strict=True)]
    content = project_page(title or place.resolve().name, rows, version())
    write("--output", index, content, force=force, ours=is_ours)
    comparisons = {name: each.material.comparison for name, each in zip(scenarios, reports, strict=True)}
    return ProjectReport(comparisons, index, reports)


def _row(name: str, made: Report, numbers: Numbers) -> dict[str, str]:
    pair, comparison = made.material.pair, made.material.comparison
    gap, unit = pair.full.at_goal, numbers.unit(Dimension.TIME)
    first, second, difference = numbers.beside(gap.first.time, gap.second.time, Dimension.TIME)
    return {
        "link": quote(made.page.name),
        "name": f"{name}: {comparison.scenario.name}",
        "goal": target_label(comparison.goal),
        "first": f"{pair.first.name}: {first} {unit}",
        "second": f"{pair.second.name}: {second} {unit}",
        "gap": f"{difference} {unit}",
        "verdict": " ".join(sentences(pair.verdict, numbers.system)),
    }
