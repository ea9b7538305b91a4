"""`simlaunch check`: whether a scenario is sound, and what it leans on."""

from __future__ import annotations

from simlaunch.analysis import check as study
from simlaunch.cli.options import All, AsJson, Changes, Force, Out, Quiet, ScenarioFile, Taken, Units
from simlaunch.cli.output import compile_once, prepare, result, show
from simlaunch.cli.scenario_file import read
from simlaunch.errors import ScenarioError
from simlaunch.output import as_json as json_text
from simlaunch.output import check as words
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
    """List the faults of a scenario, or its defaults and their effect."""
    stem = f"{scenario.stem}-check"
    prepare(out, stem, force=force)
    try:
        sound = read(scenario, changes, taken)
    except ScenarioError as error:
        if as_json:
            result(json_text.dumps(words.faults_object(error.source, error.faults)))
        raise
    compile_once(quiet=quiet)
    show(study.check(sound), stem, units=units, as_json=as_json, out=out, force=force, quiet=quiet, full=full)
    return 0
