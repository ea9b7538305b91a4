"""`simlaunch check`: whether a scenario is sound, and what it leans on."""

from __future__ import annotations

from simlaunch.cli.options import All, AsJson, Changes, Force, Out, Quiet, ScenarioFile, Taken, Units
from simlaunch.cli.output import compile_once, prepare, result, show
from simlaunch.units.spelling import System


def check(
    scenario: ScenarioFile,
    changes: Changes = None,
    taken: Taken = None,
    full: All = False,
    units: Units = System.METRIC,
    as_json: AsJson = False,
    out: Out = None,
    force: Force = False,
    quiet: Quiet = False,
) -> int:
    """Check a scenario: all its faults in one go, or the defaults in use by how much they move the result."""
    from simlaunch.analysis.check import check as checked
    from simlaunch.cli.scenario_file import read
    from simlaunch.errors import ScenarioError
    from simlaunch.output.as_json import dumps
    from simlaunch.output.check import faults_object

    stem = f"{scenario.stem}-check"
    prepare(out, stem, force=force)
    try:
        sound = read(scenario, changes, taken)
    except ScenarioError as error:
        if as_json:
            result(dumps(faults_object(error.source, error.faults)))
        raise
    compile_once(quiet=quiet)
    show(checked(sound), stem, units=units, as_json=as_json, out=out, force=force, quiet=quiet, full=full)
    return 0
