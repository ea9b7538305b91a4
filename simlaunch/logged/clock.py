"""One clock for logs and launches that stand side by side: from the first foot on, or from a speed that all pass.

When a car moves off, a log shows badly: noise hides the first movement, and a launch counts from where the driver lets
the car go, which no log shows. When it has moved one foot, both show: there it is fast enough for noise not to matter.
So all times from rest that are compared are those with rollout, and lines over time begin at the foot.

Source: one-foot rollout is timing practice of the drag strip (common practice).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from simlaunch.metrics.crossing import first_time, with_distance
from simlaunch.metrics.marks import MarkResult, Target
from simlaunch.record import FOOT
from simlaunch.simulation.trace import Trace

Array = NDArray[np.float64]


def from_foot(target: Target) -> bool:
    """Whether the time of a mark is counted from the first foot: it is one from rest."""
    return target.start == 0.0 and target.roll is None


def clocked(result: MarkResult) -> float:
    """Time of a mark by which a log and a launch are compared: with rollout where it is one from rest [s]."""
    return result.time_after_rollout if from_foot(result.target) else result.time


def rise(trace: Trace) -> tuple[Array, Array]:
    """Speeds that a run passes for the first time, and when."""
    highest = np.maximum.accumulate(trace["speed"])
    first = np.concatenate([[True], np.diff(highest) > 0.0])
    return highest[first], trace.time[first]


def begins(trace: Trace, speed: float) -> float:
    """Time at which a run passes a speed; for no speed, at which it has moved one foot; nan where it never has [s]."""
    return float(np.interp(speed, *rise(trace))) if speed else first_time(with_distance(trace), "distance", FOOT)


def since(trace: Trace, speed: float) -> Trace:
    """A run with time zero where it passes a speed, or for no speed, where it has moved one foot."""
    return Trace(trace.time - begins(trace, speed), trace.channels)
