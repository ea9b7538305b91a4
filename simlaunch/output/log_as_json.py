"""A logged run as JSON: how it was understood, its marks, and use of grip where it can be told."""

from __future__ import annotations

from simlaunch.analysis.log import LoggedRun
from simlaunch.metrics.grip import GripUse
from simlaunch.output.as_json import Object, listed, mark_object, number
from simlaunch.output.trace import channel_key


def _grip(grip: GripUse | None) -> Object | None:
    if grip is None:
        return None
    return {"slip_distance_m": number(grip.slip_distance), "greatest_slip": number(grip.greatest_slip)}


def log_object(logged: LoggedRun, source: str, *, trace: bool = False) -> Object:
    """A logged run."""
    run = logged.account.trace
    channels = {channel_key(name): listed(values) for name, values in run.channels.items()}
    return {
        "format": "simlaunch-log-1",
        "source": source,
        "understood": list(logged.account.understood),
        "notes": list(logged.account.notes),
        "radii_m": None if logged.radii is None else listed(logged.radii),
        "marks": [mark_object(result) for result in logged.marks],
        "grip": _grip(logged.grip),
        **({"trace": {"time_s": listed(run.time), **channels}} if trace else {}),
    }
