"""Several scenarios of one customer, cars or stages: each compared on its own, and all set side by side."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from simlaunch.comparing.compare import Comparison, compare
from simlaunch.errors import Fault, InputError, UsageError
from simlaunch.results import Result
from simlaunch.scenario.model import Scenario
from simlaunch.simulation.run import Method
from simlaunch.units.spelling import System

MOST = 100
"""Scenarios of a project."""


@dataclass(frozen=True, repr=False)
class Project(Result):
    """The comparisons of several scenarios.

    Parameters
    ----------
    comparisons : mapping of str to Comparison
        By the name of each scenario within the project, in the order in which they were given.
    """

    study = "project"

    comparisons: Mapping[str, Comparison]

    @property
    def bad(self) -> bool:
        """Whether the energy of some run does not add up."""
        return any(each.bad for each in self.comparisons.values())

    @property
    def reached(self) -> bool:
        """Whether every run reached every wanted target."""
        return all(each.reached for each in self.comparisons.values())


def is_folder(path: str | Path) -> bool:
    """Whether a path names a folder; one that no system call takes names none."""
    return os.path.isdir(path)  # noqa: PTH112  Path.is_dir raises where a name is too long


def scenario_files(paths: Sequence[str | Path]) -> tuple[Path, ...]:
    """Files of a project: those that are named, and of a folder the TOML files in it, by name.

    Parameters
    ----------
    paths : sequence of str or Path
        Files and folders.

    Returns
    -------
    tuple of Path
        The files, each once.

    Raises
    ------
    InputError
        A folder without TOML files.
    UsageError
        Two files of one name, or too many.
    """
    found: list[Path] = []
    for path in map(Path, paths):
        inside = sorted(path.glob("*.toml")) if is_folder(path) else [path]
        if not inside:
            raise InputError(
                Fault(str(path), "", "holds no scenario (*.toml)", "name a folder of scenarios, or a file")
            )
        found += inside
    stems: dict[str, Path] = {}
    for path in found:
        if path.stem in stems:
            raise UsageError(
                f"{stems[path.stem]} and {path} have one name, by which a project distinguishes its scenarios; "
                "rename one, or name each once"
            )
        stems[path.stem] = path
    if len(found) > MOST:
        raise UsageError(f"{len(found)} scenarios are named; name {MOST} at most")
    return tuple(found)


def compare_project(
    scenarios: Mapping[str, Scenario],
    curves: Sequence[str] | None = None,
    *,
    cases: int = 256,
    method: Method | str = Method.COMPILED,
    tolerance: float | None = None,
    mixed_corrections: bool = False,
    units: System | str = System.METRIC,
) -> Project:
    """Compare the curves of each of several scenarios.

    Parameters
    ----------
    scenarios : mapping of str to Scenario
        Scenarios by name, such as stock, stage and wish.
    curves : sequence of str, optional
        Curves that are compared in each; all of each scenario if left out.
    cases, method, tolerance, mixed_corrections, units
        As in `compare`.

    Returns
    -------
    Project
        One comparison for each scenario.

    Raises
    ------
    UsageError
        No scenario, or whatever `compare` refuses.
    """
    if not scenarios:
        raise UsageError("no scenario is named; name one at least")
    return Project({
        name: compare(
            scenario, curves, cases=cases, method=method, tolerance=tolerance, mixed_corrections=mixed_corrections,
            units=units,
        )
        for name, scenario in scenarios.items()
    })  # fmt: skip
