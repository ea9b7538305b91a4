"""Two curves test by test: from standstill and from a roll, where another curve may win."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import isnan

from simlaunch.analysis.launches import times_of
from simlaunch.analysis.ready import aim
from simlaunch.errors import UsageError
from simlaunch.metrics.marks import Target
from simlaunch.parameters.fill import lower
from simlaunch.record import Pedal
from simlaunch.scenario.model import Scenario
from simlaunch.simulation.run import complete


@dataclass(frozen=True)
class RoadTestGap:
    """One test with two curves, full pedal.

    Parameters
    ----------
    target : Target
        The test.
    first, second : float
        Times; nan where it was not reached [s].
    """

    target: Target
    first: float
    second: float

    @property
    def gap(self) -> float:
        """Second curve less first [s]."""
        return self.second - self.first

    def turned(self) -> RoadTestGap:
        """The same with the curves exchanged."""
        return RoadTestGap(self.target, self.second, self.first)


def road_test_gaps(
    scenario: Scenario, first: str, second: str, targets: Sequence[Target], *, tolerance: float | None = None
) -> tuple[RoadTestGap, ...]:
    """Times of two curves in several tests, full pedal.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    first, second : str
        Names of two of its curves.
    targets : sequence of Target
        The tests, each from a start of its own.
    tolerance : float, optional
        Relative error allowed per step [-].

    Returns
    -------
    tuple of RoadTestGap
        In the order of the targets; tests that neither curve reaches are left out, and so is a test for which the
        gearbox has no gear.

    Raises
    ------
    UsageError
        No curve of that name, or a tolerance out of range.
    """
    pair = [lower(scenario, name, Pedal.FULL) for name in (first, second)]
    for car in pair:
        complete(car)
    found = []
    for target in targets:
        try:
            aim(pair[0].copy(), (target,))
        except UsageError:  # this gearbox has no such gear
            continue
        one, other = map(float, times_of(pair, target, tolerance))
        if not (isnan(one) and isnan(other)):
            found.append(RoadTestGap(target, one, other))
    return tuple(found)
