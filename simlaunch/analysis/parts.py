"""What the parts of the driveline take: peak torque against ratings, and how fast their life is used up.

Curves are ranked against each other and ratings that are passed are flagged; how long a part lasts is not told, since
one launch says nothing about the rest of its life.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from functools import cached_property
from math import isnan, nan

import numpy as np
from numpy.typing import NDArray

from simlaunch.analysis.damage import Cycles, cycles, wear_ratio
from simlaunch.analysis.limits import PART_AT
from simlaunch.analysis.simulate import Simulation, simulate
from simlaunch.errors import UsageError
from simlaunch.metrics.parts import CHANNEL, Part, PartPeak
from simlaunch.physics.engine import mean_effective_pressure
from simlaunch.physics.table import values_at
from simlaunch.record import Pedal
from simlaunch.scenario.decision import PartRating, Place, usual_slope
from simlaunch.scenario.model import Scenario
from simlaunch.simulation.trace import Trace

Array = NDArray[np.float64]

_PEAK_GRID = 2000


class Level(Enum):
    """How the peak torque of a part stands to its rating, in words."""

    WITHIN = "within rating"
    OVER_RATING = "OVER RATING"
    OVER_FAILURE = "OVER EXPECTED FAILURE"
    UNRATED = "no rating"
    UNLOADED = "carries nothing"


@dataclass(frozen=True)
class PartLoad:
    """What one part takes with one curve.

    Parameters
    ----------
    name : str
        Name of the part.
    place : Place
        Where its torque is taken.
    rating : PartRating, optional
        Its rating; None for a part without one.
    peak : PartPeak, optional
        Highest torque, shocks of launch and shifts in it; None where it carries nothing.
    cycles : Cycles
        Swings of its torque over the launch, from rest to rest [N m].
    """

    name: str
    place: Place
    rating: PartRating | None
    peak: PartPeak | None
    cycles: Cycles

    @property
    def slope(self) -> float:
        """Slope of the S-N line [-]."""
        return self.rating.slope_si if self.rating else usual_slope(self.place)

    @property
    def torque(self) -> float:
        """Size of the highest torque; nan where the part carries none [N m]."""
        return abs(self.peak.torque) if self.peak else nan

    @property
    def share_of_rating(self) -> float:
        """Highest torque over the rating; nan without a rating [-]."""
        return self.torque / self.rating.rating.si if self.rating else nan

    @property
    def share_of_failure(self) -> float:
        """Highest torque over that of expected failure; nan without a rating [-]."""
        return self.torque / self.rating.failure_si if self.rating else nan

    @property
    def level(self) -> Level:
        """How the highest torque stands to the rating."""
        if self.peak is None:
            return Level.UNLOADED
        if self.rating is None:
            return Level.UNRATED
        if self.share_of_failure > 1.0:
            return Level.OVER_FAILURE
        return Level.OVER_RATING if self.share_of_rating > 1.0 else Level.WITHIN

    @property
    def broken(self) -> bool:
        """Whether the part is loaded above its rating."""
        return self.level in (Level.OVER_RATING, Level.OVER_FAILURE)


@dataclass(frozen=True)
class CurveLoad:
    """What the parts take with one curve.

    Parameters
    ----------
    simulation : Simulation
        The launch.
    parts : tuple of PartLoad
        In the order of the scenario, or from the engine to the wheels.
    peak_torque : float
        Highest torque of the curve up to the rev limit [N m].
    mean_pressure : float
        Brake mean effective pressure there; nan without a displacement [Pa].
    """

    simulation: Simulation
    parts: tuple[PartLoad, ...]
    peak_torque: float
    mean_pressure: float

    @property
    def curve(self) -> str:
        """Name of the curve."""
        return self.simulation.curve

    @property
    def coupling_heat(self) -> float:
        """Work that becomes heat in clutch or converter over the launch [J]."""
        return self.simulation.measures.audit.coupling


@dataclass(frozen=True)
class Stress:
    """What the parts take with each of some curves.

    Parameters
    ----------
    scenario : str
        Name of the scenario.
    pedal : Pedal
        Full load throughout, or held slip.
    loads : tuple of CurveLoad
        One for each curve.
    rigid : bool
        Whether half shafts do not twist, so that shocks are left out.
    """

    scenario: str
    pedal: Pedal
    loads: tuple[CurveLoad, ...]
    rigid: bool

    @cached_property
    def broken(self) -> tuple[tuple[str, PartLoad], ...]:
        """Curve and part of every load above a rating, the worst first."""
        found = [(load.curve, part) for load in self.loads for part in load.parts if part.broken]
        return tuple(sorted(found, key=lambda entry: -entry[1].share_of_rating))

    def wear(self, which: int, part: int, against: int) -> float:
        """How fast a curve uses up the life of a part, over another curve; nan where that one does not [-]."""
        one, other = self.loads[which].parts[part], self.loads[against].parts[part]
        return wear_ratio(one.cycles, other.cycles, one.slope)

    def relative_wear(self, part: int) -> tuple[float, ...]:
        """How fast each curve uses up the life of a part, over the mildest; nan where it carries nothing [-]."""
        over_first = [self.wear(which, part, 0) for which in range(len(self.loads))]
        mildest = min(range(len(over_first)), key=over_first.__getitem__)
        return tuple(self.wear(which, part, mildest) for which in range(len(self.loads)))

    def ranked(self) -> tuple[int, ...]:
        """Parts by how near to their rating any curve brings them, the nearest first; parts without one last."""
        shares = [max(load.parts[k].share_of_rating for load in self.loads) for k in range(len(self.loads[0].parts))]
        return tuple(
            sorted(range(len(shares)), key=lambda k: (isnan(shares[k]), 0.0 if isnan(shares[k]) else -shares[k]))
        )


def torque_history(trace: Trace, part: Part) -> Array:
    """Torque of a part over a launch, from rest to rest.

    Parameters
    ----------
    trace : Trace
        The launch.
    part : Part
        The part.

    Returns
    -------
    ndarray, shape (n,)
        Torque, zero at both ends [N m].
    """
    return np.concatenate([[0.0], trace.channels.get(CHANNEL[part], np.zeros(0)), [0.0]])


def _part_load(simulation: Simulation, name: str, place: Place, rating: PartRating | None) -> PartLoad:
    part = PART_AT[place]
    peak = next((each for each in simulation.measures.parts if each.part is part), None)
    return PartLoad(name, place, rating, peak, cycles(torque_history(simulation.run.trace, part)))


def _curve_load(scenario: Scenario, simulation: Simulation) -> CurveLoad:
    rated = [_part_load(simulation, rating.name, rating.place, rating) for rating in scenario.parts or ()]
    covered = {part.place for part in rated}
    carrying = {peak.part for peak in simulation.measures.parts}
    others = [place for place, part in PART_AT.items() if place not in covered and part in carrying]
    unrated = [_part_load(simulation, PART_AT[place].value, place, None) for place in others]
    peak = _peak_torque(simulation)
    displacement = scenario.engine.displacement
    pressure = mean_effective_pressure(peak, displacement.si) if displacement else nan
    return CurveLoad(simulation, (*rated, *unrated), peak, pressure)


def _peak_torque(simulation: Simulation) -> float:
    engine = simulation.car.engine
    speeds = np.linspace(float(engine.torque.knot[0]), float(engine.rev_limit), _PEAK_GRID)
    return float(values_at(engine.torque, speeds).max())


def stress_of(scenario: Scenario, simulations: Sequence[Simulation]) -> Stress:
    """What the parts took in launches that were made already.

    Parameters
    ----------
    scenario : Scenario
        With ratings, if any are known.
    simulations : sequence of Simulation
        At least one, all with the same pedal.

    Returns
    -------
    Stress
        Loads of every part; parts without a rating follow those with one.
    """
    loads = tuple(_curve_load(scenario, simulation) for simulation in simulations)
    return Stress(scenario.name, simulations[0].pedal, loads, scenario.drive.half_shafts == "rigid")


def stress(
    scenario: Scenario,
    curves: Sequence[str] | None = None,
    *,
    pedal: Pedal = Pedal.FULL,
    tolerance: float | None = None,
) -> Stress:
    """Launch curves, and hold what the parts take against their ratings and against each other.

    Parameters
    ----------
    scenario : Scenario
        With ratings, if any are known.
    curves : sequence of str, optional
        Names of its curves; all of them if left out.
    pedal : Pedal
        Full load throughout, or held slip.
    tolerance : float, optional
        Relative error allowed per step [-].

    Returns
    -------
    Stress
        Loads of every part with each curve.

    Raises
    ------
    UsageError
        No curve of that name, or one named twice.
    SimlaunchError
        The equations could not be followed.
    """
    names = tuple(scenario.curve_names if curves is None else curves)
    if len(set(names)) < len(names):
        raise UsageError("a curve is named twice; name each curve once")
    return stress_of(scenario, [simulate(scenario, name, pedal, tolerance=tolerance) for name in names])
