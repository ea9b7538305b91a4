"""Launch simulation for engine calibrators: whether a higher torque peak makes the car quicker.

The names below are the whole public interface. They are looked up on first use, so that importing the package stays
quick.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from simlaunch.analysis.check import Check, check
    from simlaunch.analysis.curve import read_curve
    from simlaunch.analysis.curve_from_log import read_curve_from_logs
    from simlaunch.analysis.log import read_log
    from simlaunch.analysis.logs import LogComparison, compare_logs
    from simlaunch.analysis.new import NewScenario, new
    from simlaunch.analysis.odds import Odds, odds
    from simlaunch.analysis.parts import DrivelineLoads, parts
    from simlaunch.analysis.plateau import PlateauResult, plateau
    from simlaunch.analysis.simulate import Simulation, simulate
    from simlaunch.analysis.usable import UsableTorque, usable
    from simlaunch.analysis.worth import Worth, worth
    from simlaunch.comparing.compare import Comparison, compare
    from simlaunch.comparing.project import Project, compare_project
    from simlaunch.errors import InputError, ScenarioError, SimlaunchError, TargetNotReached, UsageError
    from simlaunch.fitting.fit import fit
    from simlaunch.fitting.logs import LogRequest
    from simlaunch.fitting.result import Fit
    from simlaunch.logged.same_conditions import Correcting
    from simlaunch.metrics.summary import Measures
    from simlaunch.parameters.weather import Weather
    from simlaunch.readers.columns import Choices
    from simlaunch.readers.curve import CurveOptions
    from simlaunch.readers.delimited import TableOptions
    from simlaunch.readers.log import LogOptions
    from simlaunch.readers.reference_conditions import Losses
    from simlaunch.record import Pedal
    from simlaunch.reporting.project import ProjectReport, report_project
    from simlaunch.reporting.report import Report, report
    from simlaunch.scenario.model import Scenario
    from simlaunch.scenario.powertrain import Correction, MeasuredAt
    from simlaunch.scenario.reading import load
    from simlaunch.shaping.server import live
    from simlaunch.simulation.events import EventKind
    from simlaunch.simulation.run import Method, Outcome, Run
    from simlaunch.simulation.trace import Trace
    from simlaunch.sweeping.study import SweepResult, open_sweep, sweep

_HOME = {
    "load": "simlaunch.scenario.reading",
    "Scenario": "simlaunch.scenario.model",
    "Pedal": "simlaunch.record",
    "simulate": "simlaunch.analysis.simulate",
    "Simulation": "simlaunch.analysis.simulate",
    "compare": "simlaunch.comparing.compare",
    "Comparison": "simlaunch.comparing.compare",
    "live": "simlaunch.shaping.server",
    "new": "simlaunch.analysis.new",
    "NewScenario": "simlaunch.analysis.new",
    "odds": "simlaunch.analysis.odds",
    "Odds": "simlaunch.analysis.odds",
    "parts": "simlaunch.analysis.parts",
    "DrivelineLoads": "simlaunch.analysis.parts",
    "usable": "simlaunch.analysis.usable",
    "UsableTorque": "simlaunch.analysis.usable",
    "compare_project": "simlaunch.comparing.project",
    "Project": "simlaunch.comparing.project",
    "report_project": "simlaunch.reporting.project",
    "ProjectReport": "simlaunch.reporting.project",
    "report": "simlaunch.reporting.report",
    "Report": "simlaunch.reporting.report",
    "fit": "simlaunch.fitting.fit",
    "Fit": "simlaunch.fitting.result",
    "LogRequest": "simlaunch.fitting.logs",
    "read_curve": "simlaunch.analysis.curve",
    "read_curve_from_logs": "simlaunch.analysis.curve_from_log",
    "read_log": "simlaunch.analysis.log",
    "compare_logs": "simlaunch.analysis.logs",
    "LogComparison": "simlaunch.analysis.logs",
    "Correcting": "simlaunch.logged.same_conditions",
    "Run": "simlaunch.simulation.run",
    "Method": "simlaunch.simulation.run",
    "Outcome": "simlaunch.simulation.run",
    "Trace": "simlaunch.simulation.trace",
    "EventKind": "simlaunch.simulation.events",
    "Measures": "simlaunch.metrics.summary",
    "check": "simlaunch.analysis.check",
    "Check": "simlaunch.analysis.check",
    "plateau": "simlaunch.analysis.plateau",
    "PlateauResult": "simlaunch.analysis.plateau",
    "worth": "simlaunch.analysis.worth",
    "Worth": "simlaunch.analysis.worth",
    "LogOptions": "simlaunch.readers.log",
    "CurveOptions": "simlaunch.readers.curve",
    "TableOptions": "simlaunch.readers.delimited",
    "Choices": "simlaunch.readers.columns",
    "Weather": "simlaunch.parameters.weather",
    "Losses": "simlaunch.readers.reference_conditions",
    "Correction": "simlaunch.scenario.powertrain",
    "MeasuredAt": "simlaunch.scenario.powertrain",
    "sweep": "simlaunch.sweeping.study",
    "open_sweep": "simlaunch.sweeping.study",
    "SweepResult": "simlaunch.sweeping.study",
    "SimlaunchError": "simlaunch.errors",
    "UsageError": "simlaunch.errors",
    "InputError": "simlaunch.errors",
    "ScenarioError": "simlaunch.errors",
    "TargetNotReached": "simlaunch.errors",
}

__version__ = "0.1.0"

__all__ = [
    "Check",
    "Choices",
    "Comparison",
    "Correcting",
    "Correction",
    "CurveOptions",
    "DrivelineLoads",
    "EventKind",
    "Fit",
    "InputError",
    "LogComparison",
    "LogOptions",
    "LogRequest",
    "Losses",
    "MeasuredAt",
    "Measures",
    "Method",
    "NewScenario",
    "Odds",
    "Outcome",
    "Pedal",
    "PlateauResult",
    "Project",
    "ProjectReport",
    "Report",
    "Run",
    "Scenario",
    "ScenarioError",
    "SimlaunchError",
    "Simulation",
    "SweepResult",
    "TableOptions",
    "TargetNotReached",
    "Trace",
    "UsableTorque",
    "UsageError",
    "Weather",
    "Worth",
    "check",
    "compare",
    "compare_logs",
    "compare_project",
    "fit",
    "live",
    "load",
    "new",
    "odds",
    "open_sweep",
    "parts",
    "plateau",
    "read_curve",
    "read_curve_from_logs",
    "read_log",
    "report",
    "report_project",
    "simulate",
    "sweep",
    "usable",
    "worth",
]


def __getattr__(name: str) -> Any:
    """A public name, imported when it is first asked for."""
    if name not in _HOME:
        raise AttributeError(f"module 'simlaunch' has no attribute {name!r}")
    return getattr(import_module(_HOME[name]), name)


def __dir__() -> list[str]:
    """The public names."""
    return sorted(__all__)
