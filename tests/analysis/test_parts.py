"""What the parts take: cycle counting and damage against published examples, and levels against ratings."""

from __future__ import annotations

from math import exp, log, nan, pi, sqrt
from pathlib import Path

import numpy as np
import pytest

from simlaunch.analysis.damage import Cycles, Line, cycles, wear_ratio
from simlaunch.analysis.parts import Level, PartLoad, stress
from simlaunch.analysis.simulate import simulate
from simlaunch.errors import UsageError
from simlaunch.metrics.parts import Part, PartPeak
from simlaunch.output.parts import stress_verdict
from simlaunch.record import Pedal
from simlaunch.scenario.decision import PartRating, Place, usual_slope
from simlaunch.scenario.reading import changed, load
from simlaunch.units.spelling import System

SCENARIOS = Path(__file__).parents[2] / "scenarios"
COUPE = changed(load(SCENARIOS / "road-coupe.toml"), {"run.until": ["60 m"]})
ASTM = np.array([-2.0, 1.0, -3.0, 5.0, -1.0, 3.0, -4.0, 4.0, -2.0])


# --- counting and adding up ---


def test_the_example_of_the_standard() -> None:
    """Ranges 3, 4, 6, 8, 9 occur 0.5, 1.5, 0.5, 1.0, 0.5 times. Source: ASTM E1049-85, figure 6."""
    found = cycles(ASTM)
    table = {span: float(found.counts[found.ranges == span].sum()) for span in np.unique(found.ranges)}
    assert table == {3.0: 0.5, 4.0: 1.5, 6.0: 0.5, 8.0: 1.0, 9.0: 0.5}


@pytest.mark.parametrize(("slope", "total"), [(3.0, 1094.0), (5.0, 67838.0)])
def test_damage_of_the_example_of_the_standard(slope: float, total: float) -> None:
    """Sum of n R^m. Source: cycles of ASTM E1049-85, figure 6, added up by hand."""
    assert cycles(ASTM).damage(Line(1.0, 1.0, slope)) == pytest.approx(total)


def test_miners_sum() -> None:
    """1e4 cycles at 200, 1e5 at 120, 1e6 at 80 with m = 5 and 1e6 cycles at 100: D = 0.896512.

    Source: Palmgren-Miner rule, by hand.
    """
    load_cycles = Cycles(np.array([200.0, 120.0, 80.0]), np.array([1e4, 1e5, 1e6]))
    assert load_cycles.damage(Line(100.0, 1e6, 5.0)) == pytest.approx(0.896512)


@pytest.mark.parametrize(("slope", "life"), [(5.0, 0.402), (8.738, 0.203), (6.611, 0.300), (3.0, 0.579)])
def test_life_with_a_fifth_more_torque(slope: float, life: float) -> None:
    """1.2^-m. Source: S-N line in double logarithmic scale."""
    line = Line(100.0, 1e6, slope)
    assert line.life(np.array([120.0]))[0] / 1e6 == pytest.approx(life, abs=5e-4)
    more, less = (Cycles(np.array([span]), np.ones(1)) for span in (120.0, 100.0))
    assert wear_ratio(less, more, slope) == pytest.approx(life, abs=5e-4)


def test_no_load_lasts_for_ever_and_wears_nothing() -> None:
    still = cycles(np.zeros(5))
    assert still.damage(Line(100.0, 1e6, 5.0)) == 0.0
    assert np.isnan(wear_ratio(still, still, 5.0))
    assert wear_ratio(still, cycles(ASTM), 5.0) == 0.0


def test_the_usual_slope_of_teeth() -> None:
    """Life factor 1.6 at 1e5 cycles, 1.0 at 5e7; contact stress goes with the root of torque. Source: ISO 6336-2."""
    assert usual_slope(Place.GEARBOX_INPUT) == pytest.approx(log(5e7 / 1e5) / log(1.6) / 2.0, abs=1e-3)
    assert usual_slope(Place.GEARBOX_OUTPUT) == usual_slope(Place.GEARBOX_INPUT)
    assert 5.0 <= usual_slope(Place.REAR_SHAFTS) <= 8.0  # FKM guideline, smooth shafts (from memory)


@pytest.mark.parametrize("damping_ratio", [0.05, 0.10])
def test_a_step_of_torque_is_counted_with_its_overshoot(damping_ratio: float) -> None:
    """The largest swing of a step is 1 + exp(-pi z / sqrt(1 - z^2)). Source: linear vibration theory."""
    w = sqrt(1.0 - damping_ratio**2)
    time = np.linspace(0.0, 20.0 * pi, 200_001)
    ring = np.exp(-damping_ratio * time) * (np.cos(w * time) + damping_ratio / w * np.sin(w * time))
    history = np.concatenate([[0.0], 1.0 - ring, [0.0]])
    expected = 1.0 + exp(-pi * damping_ratio / w)
    assert cycles(history).ranges.max() == pytest.approx(expected, rel=1e-6)


# --- levels ---


def _part(torque: float, rating: str = "500 N m", reserve: str = "50 %") -> PartLoad:
    rated = PartRating.model_validate(
        {"name": "box", "place": "gearbox input", "rating": rating, "reserve": reserve, "origin": "invented"}
    )
    peak = PartPeak(Part.GEARBOX_INPUT, torque, 1.0, 1, nan)
    return PartLoad("box", Place.GEARBOX_INPUT, rated, peak, cycles(np.array([0.0, torque, 0.0])))


@pytest.mark.parametrize(
    ("torque", "level"),
    [
        (500.0, Level.WITHIN),
        (500.1, Level.OVER_RATING),
        (-500.1, Level.OVER_RATING),
        (750.0, Level.OVER_RATING),
        (750.1, Level.OVER_FAILURE),
    ],
)
def test_a_level_is_passed_at_its_torque_whatever_the_sign(torque: float, level: Level) -> None:
    """A maker's rating leaves about half as much again to failure (common practice)."""
    part = _part(torque)
    assert part.level is level
    assert part.broken == (level is not Level.WITHIN)
    assert part.share_of_failure == pytest.approx(part.share_of_rating / 1.5)


def test_loads_are_those_of_single_launches() -> None:
    found = stress(COUPE)
    for load_ in found.loads:
        run = simulate(COUPE, load_.curve, Pedal.FULL)
        peaks = {peak.part: peak for peak in run.measures.parts}
        torques = {part.name: part.torque for part in load_.parts}
        assert torques["gearbox"] == abs(peaks[Part.GEARBOX_INPUT].torque)
        assert torques["half shafts"] == abs(peaks[Part.REAR_SHAFTS].torque)
        assert load_.coupling_heat == run.measures.audit.coupling
        assert [part.name for part in load_.parts] == ["clutch", "gearbox", "half shafts", Part.GEARBOX_OUTPUT.value]


def test_mean_effective_pressure_is_that_of_the_peak() -> None:
    """4 pi T / V: 400 N m from 2.0 l are 25.1327 bar. Source: definition."""
    curve = {"name": "flat", "points": [["1000 rpm", "400 N m"], ["7000 rpm", "400 N m"]]}
    scenario = changed(COUPE, {"curves": [curve], "engine.displacement": "2.0 l"})
    (found,) = stress(scenario).loads
    assert found.mean_pressure == pytest.approx(25.1327e5, rel=1e-5)
    assert found.peak_torque == pytest.approx(400.0)


def test_wear_compares_curves_and_needs_no_rating() -> None:
    rated, unrated = stress(COUPE), stress(changed(COUPE, {"parts": []}))
    k = [part.place for part in unrated.loads[0].parts].index(Place.GEARBOX_INPUT)
    assert unrated.wear(0, k, 1) == rated.wear(0, 1, 1)
    assert rated.wear(0, 1, 1) == pytest.approx(1.0 / rated.wear(1, 1, 0))
    assert min(rated.relative_wear(1)) == 1.0
    assert {part.level for part in unrated.loads[0].parts} == {Level.UNRATED}
    assert unrated.broken == ()


def test_parts_are_ranked_by_how_near_they_come_to_their_ratings() -> None:
    found = stress(COUPE)
    shares = [max(load_.parts[k].share_of_rating for load_ in found.loads) for k in found.ranked()]
    assert shares[:3] == sorted(shares[:3], reverse=True)
    assert np.isnan(shares[3])


def test_a_part_at_an_idle_axle_carries_nothing() -> None:
    idle = {"name": "front", "place": "front shafts", "rating": "1000 N m", "origin": "invented"}
    found = stress(changed(COUPE, {"parts": [idle]}))
    (part,) = (p for p in found.loads[0].parts if p.rating)
    assert part.level is Level.UNLOADED
    assert not part.broken
    assert stress_verdict(found, System.METRIC).startswith("No part that has a rating carries any torque. ")


def test_lower_ratings_are_flagged_worst_first() -> None:
    parts = [
        {"name": name, "place": "gearbox input", "rating": rating, "origin": "invented"}
        for name, rating in (("weak", "300 N m"), ("weaker", "200 N m"), ("strong", "3000 N m"))
    ]
    found = stress(changed(COUPE, {"parts": parts}), ["plateau"])
    assert [(curve, part.name) for curve, part in found.broken] == [("plateau", "weaker"), ("plateau", "weak")]
    assert found.broken[0][1].level is Level.OVER_FAILURE


def test_a_curve_named_twice_is_refused() -> None:
    with pytest.raises(UsageError, match="named twice"):
        stress(COUPE, ["peak", "peak"])
