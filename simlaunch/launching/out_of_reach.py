"""Why a car does not get to a target: a launch with all the time that a scenario may give it says so."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import isnan, nan

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

_STALLED_ROLLING = "the engine was pulled down until it stalled: begin in a lower gear or at a higher speed"


@dataclass(frozen=True)
class LongLaunch:
    """A launch that is given all the time that a scenario may give it.

    Parameters
    ----------
    target : Target
        What it is launched for.
    outcome : Outcome or None
        How it ended; None where it cannot be followed.
    top_speed : float
        Highest speed that it comes to; 0 where it cannot be followed [m/s].
    distance : float
        How far it comes; 0 where it cannot be followed [m].
    time : float
        Time to the target; nan where it does not get there [s].
    failure : str
        Why it cannot be followed.
    """

    target: Target
    outcome: Outcome | None
    top_speed: float
    distance: float
    time: float
    failure: str = ""

    @property
    def beyond_reach(self) -> bool:
        """Whether the target is a speed that the car does not come to."""
        return self.outcome is Outcome.TIME_LIMIT and not self.target.by_distance and isnan(self.time)

    @property
    def shown_top_speed(self) -> str:
        """The top speed, in both systems of units."""
        return _shown(self.top_speed, Dimension.SPEED)

    @property
    def why(self) -> str:
        """Why the target is missed with the time limit as it is, and what to write instead, as a clause."""
        if not isnan(self.time):
            return f"it takes {self.time:.1f} s with more time: raise run.time_limit"
        if self.outcome is None:
            return self.failure
        if self.beyond_reach:
            return f"the top speed is {self.shown_top_speed}, and no time limit changes that: choose a lower speed"
        return stalled(self.target) if self.outcome is Outcome.STALLED else self.how_far

    @property
    def how_far(self) -> str:
        """How far the car comes in all the time there is, as a clause."""
        far = _shown(self.distance, Dimension.LENGTH)
        return f"it comes {far} far in {LONGEST:g} s, and run.time_limit may be no longer: choose a nearer target"


def stalled(target: Target) -> str:
    """How a launch to a target ended that stalled, and what to write instead."""
    return _STALLED_ROLLING if target.roll else Outcome.STALLED.value


def _shown(value: float, dimension: Dimension) -> str:
    """A number in both systems of units."""
    shown = (to_display(value, dimension, system) for system in System)
    return " or ".join(f"{value:.1f} {unit}" for value, unit in shown)


def given_time(car: Car, targets: Sequence[Target], tolerance: float | None = None) -> LongLaunch:
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
    LongLaunch
        For the highest of the speeds among the targets; for the farthest of them where there is no speed.
    """
    speeds = [target for target in targets if not target.by_distance]
    farthest = max(speeds or targets, key=lambda target: target.end)
    longer = car.copy()
    aim(longer, (farthest,))
    longer.run.time_limit = LONGEST
    count(1)
    try:
        run = launch(longer, tolerance=tolerance, sample_gap=_GAP)
    except RunNotFollowed as failure:
        return LongLaunch(farthest, None, 0.0, 0.0, nan, str(failure))
    top, distance = (float(run.trace[name].max()) for name in ("speed", "distance"))
    return LongLaunch(farthest, run.outcome, top, distance, mark(run.trace, farthest).time)
