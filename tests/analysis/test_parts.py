"""What the parts take: cycle counting and damage against published examples, and levels against ratings."""

from __future__ import annotations

from math import exp, log, nan, pi, sqrt
from pathlib import Path

import numpy as np
import pytest

from simlaunch.analysis.parts import Level, PartLoad, Wear, parts, spectra_of
from simlaunch.analysis.simulate import simulate
from simlaunch.errors import UsageError
from simlaunch.metrics.parts import Part, PartPeak
from simlaunch.ratings.damage import Cycles, Line, cycles, turns
from simlaunch.ratings.limits import SPARE, Limits
from simlaunch.record import Pedal
from simlaunch.scenario.decision import PartRating, Place, usual_slope
from simlaunch.scenario.reading import load
from simlaunch.simulation.trace import Trace
from simlaunch.units.spelling import System

SCENARIOS = Path(__file__).parents[2] / "scenarios"
COUPE = load(SCENARIOS / "road-coupe.toml").replace({"run.until": ["60 m"]})
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
    assert less.damage(line) / more.damage(line) == pytest.approx(life, abs=5e-4)


def test_no_load_lasts_for_ever_and_wears_nothing() -> None:
    still = cycles(np.zeros(5))
    assert still.damage(Line(100.0, 1e6, 5.0)) == 0.0


def test_the_usual_slope_of_teeth() -> None:
    """Life factor 1.6 at 1e5 cycles, 1.0 at 5e7; contact stress goes with the root of torque. Assumption."""
    assert usual_slope(Place.GEARBOX_INPUT) == pytest.approx(log(5e7 / 1e5) / log(1.6) / 2.0, abs=1e-3)
    assert usual_slope(Place.GEARBOX_OUTPUT) == usual_slope(Place.GEARBOX_INPUT)
    assert 5.0 <= usual_slope(Place.REAR_SHAFTS) <= 8.0  # smooth shafts (from memory)


@pytest.mark.parametrize("damping_ratio", [0.05, 0.10])
def test_a_step_of_torque_is_counted_with_its_overshoot(damping_ratio: float) -> None:
    """The largest swing of a step is 1 + exp(-pi z / sqrt(1 - z^2)). Source: linear vibration theory."""
    w = sqrt(1.0 - damping_ratio**2)
    time = np.linspace(0.0, 20.0 * pi, 200_001)
    ring = np.exp(-damping_ratio * time) * (np.cos(w * time) + damping_ratio / w * np.sin(w * time))
    history = np.concatenate([[0.0], 1.0 - ring, [0.0]])
    expected = 1.0 + exp(-pi * damping_ratio / w)
    assert cycles(history).ranges.max() == pytest.approx(expected, rel=1e-6)


# --- turns of gears ---


def _made_up(factor: float) -> Trace:
    """Three seconds of pull in two gears, torque in one ratio to the factor."""
    time = np.linspace(0.0, 3.0, 301)
    pull = factor * (300.0 + 100.0 * np.sin(2.0 * time))
    channels = {
        "gear": np.where(time < 1.0, 1.0, 2.0),
        "input_speed": 300.0 + 50.0 * time,
        "shaft_speed": 40.0 + 20.0 * time,
        "gearbox_input_torque": pull,
        "gearbox_output_torque": 8.0 * pull,
    }
    return Trace(time, channels)


@pytest.mark.parametrize("part", [Part.GEARBOX_INPUT, Part.GEARBOX_OUTPUT])
@pytest.mark.parametrize("factor", [1.1, 1.31, 2.0])
def test_a_steady_factor_wears_gears_by_its_power(part: Part, factor: float) -> None:
    """Same turns, torque so many times as high: damage by factor^slope. Source: closed form of Miner's sum."""
    mild, hard = spectra_of(_made_up(1.0), part), spectra_of(_made_up(factor), part)
    assert list(mild) == (["gear 1", "gear 2"] if part is Part.GEARBOX_INPUT else ["final drive"])
    for piece, spectrum in mild.items():
        line = Line(500.0, 1.0, 6.611)
        assert hard[piece].damage(line) / spectrum.damage(line) == pytest.approx(factor**6.611, rel=1e-12)


def test_turns_at_constant_torque() -> None:
    """One second at 100 rad/s is 100 / (2 pi) turns, each a swing up to the torque; overrun counts nothing.

    Source: geometry.
    """
    time = np.linspace(0.0, 1.0, 11)
    found = turns(time, np.full(11, 400.0), np.full(11, 100.0))
    assert found.counts.sum() == pytest.approx(100.0 / (2.0 * pi))
    assert set(found.ranges) == {400.0}
    assert turns(time, np.full(11, -400.0), np.full(11, 100.0)).counts.size == 0


def test_more_torque_wears_gears_faster_in_a_launch() -> None:
    """The curve of 550 N m is the harder one, though both bring the clutch to the same capacity."""
    found = parts(load(SCENARIOS / "all-drive-grip.toml"))
    places = [part.place for part in found.loads[0].parts]
    for place in (Place.GEARBOX_INPUT, Place.GEARBOX_OUTPUT):
        mild, hard = found.relative_wear(places.index(place))
        assert mild.ratio == 1.0
        assert hard.ratio > 1.5
    assert found.relative_wear(places.index(Place.GEARBOX_INPUT))[1].piece.startswith("gear ")
    verdict = found.summary(System.METRIC)
    assert 'turns at torque, "higher peak" uses up the life of "gearbox ' in verdict


def _by_launch(changes: dict[str, str]) -> tuple[tuple[Wear, ...], list[float]]:
    """Wear of the front axle shafts of the all-drive car, and the share of it that its launch makes."""
    found = parts(load(SCENARIOS / "all-drive-grip.toml").replace({"run.until": ["60 m"], **changes}))
    k = [part.place for part in found.loads[0].parts].index(Place.FRONT_SHAFTS)
    return found.relative_wear(k), [load.parts[k].launch_share for load in found.loads]


def test_swings_of_a_launch_may_turn_the_order_of_shafts() -> None:
    """The milder curve wears the front shafts faster; not so where what turns the order is taken away.

    Source: a clutch that closes later does not pull the engine down; an open centre splits torque in one ratio.
    """
    wear, by_launch = _by_launch({})
    assert wear[0].ratio > 1.3 > wear[1].ratio == 1.0
    assert min(by_launch) > 0.85
    calm = {"coupling.engagement_time": "1.2 s", "drive.centre": "open", "drive.front_share": "40 %"}
    wear, by_launch = _by_launch(calm)
    assert wear[1].ratio > 1.3 > wear[0].ratio == 1.0


def test_where_the_swings_of_the_example_begin() -> None:
    """Ranges 8, 9 and 8 run from -3 to 5, from 5 to -4 and from -4 to 4. Source: ASTM E1049-85, figure 6."""
    found = cycles(ASTM)
    assert found.begins is not None
    assert [float(ASTM[begin]) for begin in found.begins[found.ranges >= 8.0]] == [-3.0, 5.0, -4.0]


# --- what peaks come from ---


@pytest.mark.parametrize("name", ["all-drive-grip", "front-hatch", "track-car"])
def test_a_clutch_at_its_capacity_is_named_and_is_no_reason_to_choose(name: str) -> None:
    scenario = load(SCENARIOS / f"{name}.toml")
    found = parts(scenario)
    assert found.loads[0].parts[0].place is Place.COUPLING
    for load_ in found.loads:
        event = load_.parts[0].event
        assert event.when.endswith(" shift")
        assert event.cause == "clutch at its capacity of"
        assert event.torque == pytest.approx(load_.parts[0].torque)
    assert found.same_peak(0)
    assert "the same with every curve, and so no reason to choose" in found.summary(System.METRIC)


def test_a_clutch_is_no_cause_where_a_weaker_one_lowers_the_peak_by_less_than_half() -> None:
    """The front shafts of the all-drive car are held by the grip of the front tyres as well."""
    scenario = load(SCENARIOS / "all-drive-grip.toml")
    weaker = scenario.replace({"coupling.capacity": "680 N m"})
    for one, other in zip(parts(scenario).loads, parts(weaker).loads, strict=True):
        k = [part.place for part in one.parts].index(Place.FRONT_SHAFTS)
        assert 1.0 - other.parts[k].torque / one.parts[k].torque < 0.5 * (1.0 - 680.0 / 700.0)
        assert one.parts[k].event.when == "launch"
        assert one.parts[k].event.cause == ""


# --- levels ---


def _part(torque: float, steady: float = nan, rating: str = "500 N m", reserve: str = "50 %") -> PartLoad:
    rated = PartRating.model_validate(
        {"name": "box", "place": "gearbox input", "rating": rating, "reserve": reserve, "origin": "invented"}
    )
    peak = PartPeak(Part.GEARBOX_INPUT, torque, 1.0, 1, steady)
    return PartLoad("box", Place.GEARBOX_INPUT, rated, peak, {})


@pytest.mark.parametrize(
    ("torque", "steady", "level"),
    [
        (700.0, 500.0, Level.WITHIN),
        (700.0, nan, Level.WITHIN),
        (700.0, 500.1, Level.OVER_RATING),
        (-750.0, 400.0, Level.WITHIN),
        (-750.1, 400.0, Level.OVER_FAILURE),
        (750.1, 500.1, Level.OVER_FAILURE),
    ],
)
def test_steady_pull_keeps_to_the_rating_and_shocks_to_failure(torque: float, steady: float, level: Level) -> None:
    """A maker's rating leaves about half as much again to failure (common practice)."""
    part = _part(torque, steady)
    assert part.level is level
    assert part.broken == (level is not Level.WITHIN)
    peaks, pulls = (dict.fromkeys(Part, value) for value in (abs(torque), steady))
    assert part.rating is not None
    assert bool(Limits(parts=(part.rating,)).broken(peaks, pulls)) == (part.demand.share > 1.0 - SPARE)


def test_loads_are_those_of_single_launches() -> None:
    found = parts(COUPE)
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
    scenario = COUPE.replace({"curves": [curve], "engine.displacement": "2.0 l"})
    (found,) = parts(scenario).loads
    assert found.mean_pressure == pytest.approx(25.1327e5, rel=1e-5)
    assert found.peak_torque == pytest.approx(400.0)


def test_wear_compares_curves_and_needs_no_rating() -> None:
    rated, unrated = parts(COUPE), parts(COUPE.replace({"parts": []}))
    k = [part.place for part in unrated.loads[0].parts].index(Place.GEARBOX_INPUT)
    assert unrated.relative_wear(k) == rated.relative_wear(1)
    assert min(wear.ratio for wear in rated.relative_wear(1)) == 1.0
    assert {part.level for part in unrated.loads[0].parts} == {Level.UNRATED}
    assert unrated.broken == ()


def test_parts_are_ranked_by_how_near_they_come_to_their_ratings() -> None:
    found = parts(COUPE)
    shares = [max(load_.parts[k].demand.share for load_ in found.loads) for k in found.ranked()]
    assert shares[:3] == sorted(shares[:3], reverse=True)
    assert np.isnan(shares[3])


def test_a_part_at_an_idle_axle_carries_nothing() -> None:
    idle = {"name": "front", "place": "front shafts", "rating": "1000 N m", "origin": "invented"}
    found = parts(COUPE.replace({"parts": [idle]}))
    (part,) = (p for p in found.loads[0].parts if p.rating)
    assert part.level is Level.UNLOADED
    assert not part.broken
    assert found.summary(System.METRIC).startswith("No part that has a rating carries any torque. ")


def test_lower_ratings_are_flagged_worst_first() -> None:
    rated = [
        {"name": name, "place": "gearbox input", "rating": rating, "origin": "invented"}
        for name, rating in (("weak", "300 N m"), ("weaker", "200 N m"), ("strong", "3000 N m"))
    ]
    found = parts(COUPE.replace({"parts": rated}), ["plateau"])
    assert [(curve, part.name) for curve, part in found.broken] == [("plateau", "weaker"), ("plateau", "weak")]
    assert found.broken[0][1].level is Level.OVER_FAILURE


def test_a_curve_named_twice_is_refused() -> None:
    with pytest.raises(UsageError, match="named twice"):
        parts(COUPE, ["peak", "peak"])
