"""Launch simulation for engine calibrators: whether a higher torque peak makes the car quicker.

The names below are the whole public interface. They are looked up on first use, so that importing the package stays
quick.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from simlaunch.analysis.compare import Comparison, compare
    from simlaunch.analysis.curve import read_curve
    from simlaunch.analysis.log import read_log
    from simlaunch.analysis.simulate import Simulation, simulate
    from simlaunch.errors import InputError, ScenarioError, SimlaunchError, TargetNotReached, UsageError
    from simlaunch.fit.fitting import fit_logs
    from simlaunch.fit.logs import LogRequest
    from simlaunch.fit.result import Fit
    from simlaunch.fit.saving import save_fit
    from simlaunch.metrics.summary import Measures
    from simlaunch.record import Pedal
    from simlaunch.scenario.model import Scenario
    from simlaunch.scenario.reading import load
    from simlaunch.simulation.run import Method, Outcome, Run
    from simlaunch.simulation.trace import Trace
    from simlaunch.sweeping.study import SweepResult, open_sweep, sweep

_HOME = {
    "load": "simlaunch.scenario.reading",
    "Scenario": "simlaunch.scenario.model",
    "Pedal": "simlaunch.record",
    "simulate": "simlaunch.analysis.simulate",
    "Simulation": "simlaunch.analysis.simulate",
    "compare": "simlaunch.analysis.compare",
    "Comparison": "simlaunch.analysis.compare",
    "fit_logs": "simlaunch.fit.fitting",
    "save_fit": "simlaunch.fit.saving",
    "Fit": "simlaunch.fit.result",
    "LogRequest": "simlaunch.fit.logs",
    "read_curve": "simlaunch.analysis.curve",
    "read_log": "simlaunch.analysis.log",
    "Run": "simlaunch.simulation.run",
    "Method": "simlaunch.simulation.run",
    "Outcome": "simlaunch.simulation.run",
    "Trace": "simlaunch.simulation.trace",
    "Measures": "simlaunch.metrics.summary",
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
    "Comparison",
    "Fit",
    "InputError",
    "LogRequest",
    "Measures",
    "Method",
    "Outcome",
    "Pedal",
    "Run",
    "Scenario",
    "ScenarioError",
    "SimlaunchError",
    "Simulation",
    "SweepResult",
    "TargetNotReached",
    "Trace",
    "UsageError",
    "compare",
    "fit_logs",
    "load",
    "open_sweep",
    "read_curve",
    "read_log",
    "save_fit",
    "simulate",
    "sweep",
]


def __getattr__(name: str) -> Any:
    """A public name, imported when it is first asked for."""
    if name not in _HOME:
        raise AttributeError(f"module 'simlaunch' has no attribute {name!r}")
    return getattr(import_module(_HOME[name]), name)


def __dir__() -> list[str]:
    """The public names."""
    return sorted(__all__)
