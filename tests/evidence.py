"""Odds and loads of parts with stated numbers, for verdicts whose numbers are set by hand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from simlaunch.analysis.odds import Chance, Odds
from simlaunch.analysis.parts import PartLoad
from simlaunch.comparing.verdict import RatedPart
from simlaunch.metrics.marks import Kind, Target
from simlaunch.metrics.parts import Part, PartPeak
from simlaunch.ratings.demand import NO_EVENT, PeakEvent
from simlaunch.record import Pedal
from simlaunch.scenario.decision import PartRating
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.reading import load

SCENARIOS = Path(__file__).parents[1] / "scenarios"


@cache
def _scenario() -> Scenario:
    return load(SCENARIOS / "road-coupe.toml")


@dataclass(frozen=True, repr=False)
class StatedOdds(Odds):
    """Odds of which level share and quantiles are stated instead of worked out from times."""

    stated_level: float = 0.0
    stated_gaps: tuple[float, ...] = ()

    @property
    def level(self) -> float:
        return self.stated_level

    def difference_quantiles(self) -> tuple[float, ...]:
        return self.stated_gaps


def stated_odds(
    cases: int, quicker: Sequence[float], slower: Sequence[float], level: float, gaps: tuple[float, float, float]
) -> StatedOdds:
    """Odds of the higher peak: share, low and high of its being quicker and slower, level share, and gaps."""
    behind, ahead = Chance(*slower), Chance(*quicker)
    return StatedOdds(
        _scenario(), 0, "plateau", "peak", Pedal.FULL, Target("402.336 m", Kind.DISTANCE, 0.0, 402.336),
        np.zeros((cases, 2)), 16, behind, ahead, behind, ahead, (), stated_level=level, stated_gaps=gaps,
    )  # fmt: skip


def stated_part(higher: tuple[float, float], lower: tuple[float, float], event: PeakEvent = NO_EVENT) -> RatedPart:
    """A gearbox: share of its rating in steady pull and of expected failure in shocks, with either peak."""
    rating = next(part for part in _scenario().parts or () if part.name == "gearbox")
    return RatedPart(_load(rating, *higher, event), _load(rating, *lower, event))


def _load(rating: PartRating, steady: float, shock: float, event: PeakEvent) -> PartLoad:
    pull, torque = steady * rating.rating.si, shock * rating.failure_si
    return PartLoad(rating.name, rating.place, rating, PartPeak(Part.GEARBOX_INPUT, torque, 1.0, 2, pull), {}, event)
