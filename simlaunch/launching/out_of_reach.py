"""Speeds that a car does not come to, however long it is given."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from math import isnan

from simlaunch.errors import RunNotFollowed
from simlaunch.launching.progress import count
from simlaunch.launching.ready import aim
from simlaunch.metrics.marks import Target, mark
from simlaunch.record import Car
from simlaunch.simulation.run import Outcome, launch
from simlaunch.units.quantity import to_display, to_si
from simlaunch.units.spelling import Dimension, System

LONGEST = to_si("600 s", Dimension.TIME)
"""Longest time limit that a scenario may state [s]."""
_GAP = 0.1
"""Samples may be this far apart [s]: times between them follow speed and acceleration, and agree to 1e-6 s."""


@dataclass(frozen=True)
class LongLaunch:
    """A launch that is given all the time that a scenario may give it.

    Parameters
    ----------
    top_speed : float
        Highest speed that it comes to [m/s].
    time : float
        Time to the target that was asked for; nan where it does not get there [s].
    """

    top_speed: float
    time: float

    @property
    def beyond_reach(self) -> bool:
        """Whether the target is a speed that the car does not come to."""
        return isnan(self.time)

    @property
    def shown_top_speed(self) -> str:
        """The top speed, in both systems of units."""
        shown = (to_display(self.top_speed, Dimension.SPEED, system) for system in System)
        return " or ".join(f"{value:.1f} {unit}" for value, unit in shown)


def given_time(car: Car, targets: Sequence[Target], tolerance: float | None = None) -> LongLaunch | None:
    """Launch a car once more with all the time that a scenario may give it.

    Parameters
    ----------
    car : Car
        The car, complete; left as it is.
    targets : sequence of Target
        What it did not reach within its own time limit; all with the same start.
    tolerance : float, optional
        Relative error allowed per step [-].

    Returns
    -------
    LongLaunch or None
        For the highest of the speeds among the targets; None where there is none, the engine stalls, or the launch
        cannot be followed.
    """
    speeds = [target for target in targets if not target.by_distance]
    if not speeds:
        return None
    highest = max(speeds, key=lambda target: target.end)
    longer = car.copy()
    aim(longer, (highest,))
    longer.run.time_limit = LONGEST
    with suppress(RunNotFollowed):
        run = launch(longer, tolerance=tolerance, sample_gap=_GAP)
        count(1)
        if run.outcome is not Outcome.STALLED:  # what it came to by then is no top speed
            return LongLaunch(float(run.trace["speed"].max()), mark(run.trace, highest).time)
    return None
