"""`simlaunch usable`: curves against the torque that the tyres can use in each gear."""

from __future__ import annotations

from simlaunch.analysis import usable as study
from simlaunch.cli.options import AsJson, Changes, Force, Out, Quiet, ScenarioFile, Taken, Units
from simlaunch.cli.output import prepare, show
from simlaunch.cli.scenario_file import read
from simlaunch.units.spelling import System


def usable(
    scenario: ScenarioFile,
    changes: Changes = None,
    taken: Taken = None,
    units: Units = System.METRIC,
    as_json: AsJson = False,
    out: Out = None,
    force: Force = False,
    quiet: Quiet = False,
) -> int:
    """Compare each curve with the torque that the tyres can use.

    Usable torque is stated for each gear.
    """
    stem = f"{scenario.stem}-usable"
    prepare(out, stem, force=force)
    found = study.usable(read(scenario, changes, taken))
    show(found, stem, units=units, as_json=as_json, out=out, force=force, quiet=quiet)
    return 0
