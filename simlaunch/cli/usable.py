"""`simlaunch usable`: curves against the torque that the tyres can use in each gear."""

from __future__ import annotations

from simlaunch.cli.options import AsJson, Changes, Force, Out, Quiet, ScenarioFile, Taken, Units
from simlaunch.cli.output import Shown, deliver, prepare
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
    """Set every curve against the torque that the driven tyres can use in each gear."""
    from simlaunch.analysis.usable import usable as weighed
    from simlaunch.cli.scenario_file import cars, read
    from simlaunch.output.as_json import usable_object
    from simlaunch.output.run import usable_tables, usable_text

    stem = f"{scenario.stem}-usable"
    prepare(out, stem, force=force)
    sound = read(scenario, changes, taken)
    found = weighed(sound)
    car = next(iter(cars(sound).values()))

    def figures() -> dict[str, object]:
        from simlaunch.plotting.usable import usable_figure

        return {"torque": usable_figure(found, units)}

    shown = Shown(
        stem,
        text=lambda: usable_text(found, sound, car, units),
        document=lambda: usable_object(found, sound, car),
        tables=lambda: usable_tables(found, units),
        figures=figures,
    )
    deliver(shown, as_json=as_json, out=out, force=force, quiet=quiet)
    return 0
