"""The public interface: one list of names, all of them there, and a quick import."""

from __future__ import annotations

import inspect
import subprocess
import sys

import pytest

import simlaunch

PUBLIC = {
    "new", "NewScenario", "load", "check", "simulate", "compare", "usable", "worth", "plateau", "odds", "parts", "fit",
    "report", "live", "read_log", "read_curve", "read_curve_from_logs", "compare_logs", "LogComparison", "Correcting",
    "compare_project", "Project", "report_project", "ProjectReport",
    "Scenario", "Pedal", "Method", "Outcome", "Run", "Trace", "EventKind", "Measures", "Simulation", "Comparison",
    "Odds", "DrivelineLoads", "UsableTorque", "Report", "Fit", "LogRequest", "Check", "PlateauResult", "Worth",
    "LogOptions", "CurveOptions", "TableOptions", "Choices", "Weather", "Losses", "Correction", "MeasuredAt",
    "sweep", "open_sweep", "SweepResult", "SimlaunchError", "UsageError",
    "InputError", "ScenarioError", "TargetNotReached",
}  # fmt: skip


def test_the_list_of_public_names_is_this_one() -> None:
    assert set(simlaunch.__all__) == PUBLIC == set(dir(simlaunch))


@pytest.mark.parametrize("name", sorted(PUBLIC))
def test_a_public_name_is_there_and_documented(name: str) -> None:
    found = getattr(simlaunch, name)
    assert inspect.getdoc(found)
    assert found.__name__ == name


def test_a_name_that_is_not_public_is_refused() -> None:
    with pytest.raises(AttributeError, match="no attribute 'nonsense'"):
        simlaunch.nonsense  # noqa: B018


def test_importing_the_package_imports_no_library() -> None:
    code = "import sys, simlaunch; print([m for m in ('numba', 'numpy', 'pint', 'scipy') if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
