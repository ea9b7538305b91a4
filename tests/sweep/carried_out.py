"""A sweep in a process of its own, to be interrupted or killed: scenario and file on the line."""

from __future__ import annotations

import sys
from pathlib import Path

from simlaunch.scenario.reading import load
from simlaunch.sweeping.axes import axes
from simlaunch.sweeping.backends import Threads
from simlaunch.sweeping.campaign import Progress, carry_out
from simlaunch.sweeping.chunk import Spec, never, spec_of
from simlaunch.sweeping.plan import Plan

VARY = ("curve", "gear set", "tyre", "body.mass: 1500 kg to 1700 kg in 12")


def spec(scenario: str) -> Spec:
    """The sweep."""
    brief = load(scenario).replace({"run": {"until": ["20 m"], "time_limit": "20 s"}})
    return spec_of(brief, Plan(axes(VARY, brief)))


def _say(far: Progress) -> None:
    print(far.done, flush=True)  # noqa: T201  the parent reads it


if __name__ == "__main__":
    carry_out(spec(sys.argv[1]), Path(sys.argv[2]), Threads(2), never, _say)
