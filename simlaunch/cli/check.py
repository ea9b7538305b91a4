"""`simlaunch check`: whether a scenario is sound, and what it leans on."""

from __future__ import annotations

from simlaunch.cli.options import AsJson, Changes, Force, Out, Quiet, ScenarioFile, Taken, Units
from simlaunch.cli.output import Shown, deliver, prepare, result
from simlaunch.units.spelling import System


def check(
    scenario: ScenarioFile,
    changes: Changes = None,
    taken: Taken = None,
    units: Units = System.METRIC,
    as_json: AsJson = False,
    out: Out = None,
    force: Force = False,
    quiet: Quiet = False,
) -> int:
    """Check a scenario: all its faults in one go, or every default in use and where it comes from."""
    from simlaunch.cli.scenario_file import cars, read
    from simlaunch.errors import ScenarioError
    from simlaunch.output.as_json import dumps
    from simlaunch.output.check import check_object, check_tables, check_text, faults_object
    from simlaunch.scenario.defaults import defaults
    from simlaunch.scenario.model import warnings

    stem = f"{scenario.stem}-check"
    prepare(out, stem, force=force)
    try:
        sound = read(scenario, changes, taken)
    except ScenarioError as error:
        if as_json:
            result(dumps(faults_object(error.source, error.faults)))
        raise
    found = (sound, defaults(sound), warnings(sound), cars(sound))
    shown = Shown(
        stem,
        text=lambda: check_text(*found, units),
        document=lambda: check_object(*found),
        tables=lambda: check_tables(*found, units),
    )
    deliver(shown, as_json=as_json, out=out, force=force, quiet=quiet)
    return 0
