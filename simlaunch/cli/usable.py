"""`simlaunch usable`: curves against the torque that the tyres can use in each gear."""

from __future__ import annotations

from simlaunch.cli.options import AsJson, Changes, Out, Quiet, ScenarioFile, Taken, Units
from simlaunch.cli.output import prepare, show
from simlaunch.units.spelling import System


def usable(
    scenario: ScenarioFile,
    changes: Changes = None,
    taken: Taken = None,
    units: Units = System.METRIC,
    as_json: AsJson = False,
    out: Out = None,
    quiet: Quiet = False,
) -> int:
    """Set every curve against the torque that the driven tyres can use in each gear."""
    from simlaunch.analysis.usable import usable as weighed
    from simlaunch.cli.scenario_file import read

    prepare(out)
    found = weighed(read(scenario, changes, taken))
    show(found, scenario.stem, units=units, as_json=as_json, out=out, quiet=quiet)
    return 0
