"""Odds between two curves: closed forms, honest intervals, the same bits whatever the number of workers."""

from __future__ import annotations

from dataclasses import replace
from math import exp, inf, log, nan, sqrt
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats

from simlaunch.analysis.odds import Odds, chance, difference, odds, shares_of, sobol_points
from simlaunch.errors import InputError, UsageError
from simlaunch.launching.goals import goal
from simlaunch.launching.ready import aim
from simlaunch.launching.targets import target_named
from simlaunch.parameters.fill import lower
from simlaunch.record import Pedal
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.reading import load
from simlaunch.uncertainty.draws import draws, own_value

Array = NDArray[np.float64]

SCENARIOS = Path(__file__).parents[2] / "scenarios"
COUPE = load(SCENARIOS / "road-coupe.toml")
BRIEF = COUPE.replace({"run.until": ["30 m"]})
GRIP = load(SCENARIOS / "all-drive-grip.toml")


def _entry(key: str, kind: str, **numbers: str) -> dict[str, str]:
    return {"key": key, "kind": kind, "origin": "invented", **numbers}


def _uncertain(scenario: Scenario, *entries: dict[str, str]) -> Scenario:
    return scenario.replace({"uncertain": list(entries)})


def _two_alike(factor: float) -> Scenario:
    """A car that never reaches its grip, with one curve and the same times a factor."""
    curve = GRIP.curves[0]
    points = [[speed.text, torque.text] for speed, torque in curve.points]
    scaled = [[speed.text, f"{factor * torque.si:.12g} N m"] for speed, torque in curve.points]
    return GRIP.replace({"curves": [{"name": "one", "points": points}, {"name": "other", "points": scaled}]})


# --- closed forms ---


@pytest.mark.parametrize(("factor", "deviation"), [(0.99, 0.01), (0.98, 0.01), (1.0, 0.005)])
def test_two_curves_of_one_shape_have_a_closed_form(factor: float, deviation: float) -> None:
    """Less time goes with more torque, so "one" is quicker where a > c b, with a and b normal about 1.

    P = Phi((1 - c) / (s sqrt(1 + c^2))). Source: difference of two normal variables.
    """
    scenario = _uncertain(
        _two_alike(factor), _entry("each curve by itself", "normal", deviation=f"{100 * deviation} %")
    )
    found = odds(scenario, "one", "other", cases=512, target=target_named(scenario, "60 ft"), with_effects=False)
    expected = stats.norm.cdf((1.0 - factor) / (deviation * sqrt(1.0 + factor**2)))
    points, _ = sobol_points(512, 2, 0)
    own, others = draws(scenario, ("one", "other"), Pedal.FULL, found.target).values(points).T
    assert np.abs(found.difference[(found.difference > 0) != (own > factor * others)]).max(initial=0.0) < 1e-3
    assert found.first_quicker.low <= expected <= found.first_quicker.high
    assert found.first_quicker.share == pytest.approx(expected, abs=0.015)
    assert found.first_quicker.share + found.second_quicker.share == pytest.approx(1.0)


def test_what_both_curves_share_drops_out_of_their_difference() -> None:
    scenario = _uncertain(_two_alike(0.99), _entry("all curves together", "normal", deviation="5 %"))
    found = odds(scenario, "one", "other", cases=64, target=target_named(scenario, "60 ft"), with_effects=False)
    assert found.first_quicker.share == 1.0
    times = np.ptp(found.times[:, 0])
    assert np.ptp(found.difference) < 0.05 * times


def _linear(weights: Array, mean: float, points: Array) -> Array:
    """Two times whose difference is linear in standard normal inputs: chances follow from Phi."""
    gaps = mean + stats.norm.ppf(points) @ weights
    return np.column_stack([np.full(len(points), 10.0), 10.0 + gaps])


@pytest.mark.parametrize(
    ("values", "cases", "mean"),
    [(5, 256, 0.0), (5, 256, 0.03), (5, 256, -0.08), (5, 256, 0.12), (1, 2048, 0.03), (1, 2048, 0.12)],
)
def test_the_interval_covers_the_true_chance_as_often_as_it_says(values: int, cases: int, mean: float) -> None:
    """95 % of 200 studies; fewer than 179 would have a chance of one in a thousand. Source: binomial distribution.

    With a single value scramblings agree on nearly every count, which says little of how far they are off.
    """
    weights = np.array([0.05, 0.03, 0.02, 0.01, 0.005])[:values]
    true = stats.norm.cdf(mean / np.linalg.norm(weights))
    covered = 0
    for seed in range(200):
        points, count = sobol_points(cases, len(weights), seed)
        first, *_ = shares_of(_linear(weights, mean, points), count)
        covered += first.low <= true <= first.high
    assert covered >= stats.binom.ppf(1e-3, 200, 0.95) == 179


def test_scramblings_show_more_than_independent_draws() -> None:
    """Over 20 studies the intervals are narrower on average than those of as many independent draws (Wilson, 1927)."""
    widths = []
    for seed in range(20):
        points, count = sobol_points(1024, 3, seed)
        found = chance(points.sum(axis=1) > 1.5, count)
        widths.append(found.high - found.low)
    wilson = stats.binomtest(512, 1024).proportion_ci(0.95, "wilson")
    assert np.mean(widths) < wilson.high - wilson.low


def test_a_rare_outcome_has_the_interval_of_wilson() -> None:
    """Wilson (1927) with no case out of 512: from 0 to z^2 / (n + z^2)."""
    found = chance(np.zeros(512, np.bool_), 16)
    z = stats.norm.ppf(0.975)
    assert found.share == 0.0
    assert found.low == pytest.approx(0.0, abs=1e-12)
    assert found.high == pytest.approx(z**2 / (512 + z**2))


# --- cases that miss the target ---


def test_a_missed_target_is_later_than_any_time() -> None:
    gaps = difference(np.array([[10.0, 10.5], [nan, 10.5], [10.0, nan], [nan, nan]]))
    assert gaps[:3].tolist() == [0.5, -inf, inf]
    assert np.isnan(gaps[3])


def test_misses_are_counted_and_not_dropped() -> None:
    whole = odds(BRIEF, "peak", "plateau", cases=64, with_effects=False)
    limit = float(np.median(whole.times[:, 1]))
    short = BRIEF.replace({"run.time_limit": f"{limit:.6f} s"})
    found = odds(short, "peak", "plateau", cases=64)
    assert found.cases == whole.cases
    assert found.missed == tuple((whole.times > limit).sum(axis=0))
    assert found.missed[1] == pytest.approx(found.cases / 2, abs=1)
    assert found.effects == ()
    assert found.level == np.mean(np.abs(found.difference) < 0.01)  # cases that both miss are no level ones
    assert found.lost == 0
    assert found.time_quantiles(1)[2] == inf
    either = ~np.isnan(found.times).all(axis=1)
    assert found.first_quicker.share + found.second_quicker.share == pytest.approx(either.mean())


# --- the same bits ---


def _bits(found: Odds) -> bytes:
    return found.times.tobytes() + repr(found.effects).encode()


def test_the_seed_decides_every_bit_and_the_workers_none() -> None:
    alone = odds(BRIEF, "peak", "plateau", cases=128, seed=7, workers=1)
    together = odds(BRIEF, "peak", "plateau", cases=128, seed=7, workers=3)
    other = odds(BRIEF, "peak", "plateau", cases=128, seed=8, workers=3)
    assert _bits(alone) == _bits(together)
    assert _bits(alone) != _bits(other)
    assert {effect.name for effect in alone.effects} == set(
        draws(BRIEF, ("peak", "plateau"), Pedal.FULL, goal(BRIEF)).names
    )


def test_the_curve_that_is_named_first_changes_no_draw() -> None:
    """Two studies of one scenario state the same numbers, whichever curve they begin with."""
    scenario = _uncertain(
        BRIEF,
        _entry("each curve by itself", "normal", deviation="2 %"),
        _entry("body.mass", "normal", deviation="30 kg"),
    )
    one, other = (odds(scenario, *names, cases=64) for names in (("peak", "plateau"), ("plateau", "peak")))
    assert np.array_equal(one.times, other.times[:, ::-1])
    assert one.first_quicker == other.second_quicker
    assert [effect.name for effect in one.effects] == [effect.name for effect in other.effects]


def test_progress_is_reported_to_the_last_launch() -> None:
    told: list[tuple[int, int]] = []
    odds(BRIEF, "peak", "plateau", cases=64, watch=lambda done, total: told.append((done, total)))
    assert told[-1][0] == told[-1][1]
    assert [done for done, _ in told] == sorted(done for done, _ in told)


# --- draws ---


def test_drawn_cars_are_those_of_the_scenario() -> None:
    """Each car is the one that the scenario gives when it is read with the drawn values."""
    keys = {"body.mass": "kg", "gearbox.final_drive": "", "air.temperature": "degC", "launch.engine_speed": "rpm"}
    spread = {"body.mass": ("1500", "1700"), "gearbox.final_drive": ("3", "4"),
              "air.temperature": ("0", "30"), "launch.engine_speed": ("2800", "3400")}  # fmt: skip
    entries = [
        _entry(key, "uniform", low=f"{spread[key][0]} {unit}".strip(), high=f"{spread[key][1]} {unit}".strip())
        for key, unit in keys.items()
    ]
    scenario = _uncertain(COUPE, *entries)
    drawn = draws(scenario, ("peak", "plateau"), Pedal.FULL, goal(scenario))
    values = drawn.values(np.array([[0.3, 0.6, 0.2, 0.9]]))
    car = drawn.made(values, 1)[0]
    mass, ratio, kelvin, speed = values[0]
    texts = {"body.mass": f"{mass:.15g} kg", "gearbox.final_drive": f"{ratio:.15g}",
             "air.temperature": f"{kelvin - 273.15:.15g} degC",
             "launch.engine_speed": f"{speed * 30 / np.pi:.15g} rpm"}  # fmt: skip
    single = lower(COUPE.replace(texts), "plateau", Pedal.FULL)
    assert car["body"]["mass"] == mass
    assert car["air"]["temperature"] == pytest.approx(single.air.temperature, rel=1e-12)
    assert car["gearbox"]["ratio"] == pytest.approx(single.gearbox.ratio, rel=1e-12)
    assert car["launch"]["engine_speed"] == pytest.approx(single.launch.engine_speed, rel=1e-12)
    assert car["engine"].tobytes() == single.engine.tobytes()


def test_a_factor_on_torque_multiplies_the_whole_curve() -> None:
    scenario = _uncertain(
        COUPE,
        _entry("all curves together", "uniform", low="90 %", high="110 %"),
        _entry("each curve by itself", "uniform", low="0.98", high="1.02"),
    )
    drawn = draws(scenario, ("peak", "plateau"), Pedal.FULL, goal(scenario))
    assert drawn.names == ("all curves together", 'torque of "peak"', 'torque of "plateau"')
    values = np.array([[1.1, 0.98, 1.02]])
    for which, factor in ((0, 1.1 * 0.98), (1, 1.1 * 1.02)):
        plain = drawn.cars[which].engine.torque.cubic
        assert drawn.made(values, which)[0]["engine"]["torque"]["cubic"] == pytest.approx(factor * plain, rel=1e-14)


@pytest.mark.parametrize(
    ("entry", "share", "expected"),
    [
        (_entry("body.mass", "normal", deviation="20 kg"), stats.norm.cdf(1.0), 1620.0),
        (_entry("body.mass", "normal", deviation="2 %"), stats.norm.cdf(-1.0), 1568.0),
        (_entry("body.mass", "normal", middle="1500 kg", deviation="20 kg"), 0.5, 1500.0),
        (_entry("body.mass", "uniform", low="1500 kg", high="1700 kg"), 0.25, 1550.0),
        (_entry("body.mass", "triangular", low="1500 kg", high="1700 kg"), 0.5, 1600.0),
        (_entry("body.mass", "triangular", low="1500 kg", high="1700 kg", middle="1700 kg"), 0.25, 1600.0),
        (_entry("body.mass", "lognormal", low="1500 kg", high="1700 kg"), 0.05, 1500.0),
        (_entry("body.mass", "lognormal", low="1500 kg", high="1700 kg"), 0.5, exp(0.5 * (log(1500) + log(1700)))),
        (_entry("air.temperature", "normal", deviation="5 degC"), stats.norm.cdf(2.0), 293.15 + 10.0),
    ],
)
def test_quantiles_of_the_distributions(entry: dict[str, str], share: float, expected: float) -> None:
    """Quantiles by hand. Source: definitions; triangular: low + sqrt(u width (mode - low))."""
    drawn = draws(_uncertain(COUPE, entry), ("peak", "plateau"), Pedal.FULL, goal(COUPE))
    assert drawn.values(np.array([[share]]))[0, 0] == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(
    ("entry", "words"),
    [
        (_entry("launch.engine_speed", "normal", deviation="3000 rpm"), "spread too far"),
        (_entry("air.density", "normal", deviation="0.01 kg/m^3"), "has no such value"),
        (_entry("body.mass", "triangular", low="1700 kg", high="1800 kg"), "own value is not from"),
    ],
)
def test_what_cannot_be_drawn_is_refused_with_its_name(entry: dict[str, str], words: str) -> None:
    with pytest.raises(InputError, match=words) as fault:
        odds(_uncertain(COUPE, entry), "peak", "plateau", cases=64)
    assert entry["key"] in str(fault.value)


@pytest.mark.parametrize(
    "spread",
    [
        {"air.altitude": ("0 m", "2000 m", "700 m"), "air.temperature": ("0 degC", "30 degC", "11 degC")},
        {"road.grade": ("-5 %", "5 %", "3.7 %"), "body.pitch_frequency": ("1.2 Hz", "2 Hz", "1.77 Hz")},
        {"gearbox.efficiency": ("92 %", "96 %", "93.1 %"), "gearbox.final_drive": ("3", "4", "3.33")},
        {"tyres.rear.rolling_factor_of_radius": ("0.96", "0.98", "0.973")},
    ],
)
def test_a_car_follows_a_value_however_the_scenario_uses_it(spread: dict[str, tuple[str, str, str]]) -> None:
    """No straight line: pressure at an altitude, the angle of a grade. Two values may feed one number of the car."""
    entries = [_entry(key, "uniform", low=low, high=high) for key, (low, high, _) in spread.items()]
    scenario = _uncertain(COUPE, *entries)
    drawn = draws(scenario, ("peak", "plateau"), Pedal.FULL, goal(scenario))
    changed_car = COUPE.replace({key: text for key, (_, _, text) in spread.items()})
    values = np.array([[own_value(changed_car, key) for key in spread]])
    for which, curve in enumerate(("peak", "plateau")):
        single = lower(changed_car, curve, Pedal.FULL)
        aim(single, (goal(scenario),))
        assert drawn.made(values, which)[0].tobytes() == single.tobytes()


def test_values_that_cannot_stand_together_are_refused() -> None:
    entries = [
        _entry("air.altitude", "uniform", low="0 m", high="100 m"),
        _entry("air.pressure", "uniform", low="99 kPa", high="101 kPa"),
    ]
    with pytest.raises(InputError, match="is given together with pressure"):
        draws(_uncertain(GRIP, *entries), (GRIP.curve_names[0], GRIP.curve_names[1]), Pedal.FULL, goal(GRIP))


def test_calls_that_make_no_sense_are_refused() -> None:
    with pytest.raises(UsageError, match="two different curves"):
        odds(COUPE, "peak", "peak")
    with pytest.raises(UsageError, match=r"no \[\[uncertain\]\] values"):
        odds(GRIP, *GRIP.curve_names[:2])
    with pytest.raises(UsageError, match="8 cases are out of range"):
        odds(COUPE, "peak", "plateau", cases=8)
    with pytest.raises(UsageError, match="seed -1 is below zero"):
        odds(COUPE, "peak", "plateau", seed=-1)


@pytest.mark.parametrize("cases", [64, 100, 320, 321])
def test_quantiles_turn_with_the_curves(cases: int) -> None:
    """Against NumPy's `averaged_inverted_cdf` (type 2 of Hyndman and Fan, from memory)."""
    rng = np.random.default_rng(cases)
    times = 12.0 + rng.normal(0.0, 0.2, (cases, 2))
    drawn = odds(BRIEF, *BRIEF.curve_names[:2], cases=64, with_effects=False)
    found = replace(drawn, times=times)
    expected = np.quantile(times[:, 1] - times[:, 0], (0.05, 0.5, 0.95), method="averaged_inverted_cdf")
    assert found.difference_quantiles() == pytest.approx(tuple(expected), abs=1e-12)
    assert found.turned().difference_quantiles() == tuple(-gap for gap in found.difference_quantiles()[::-1])


def test_the_first_two_curves_are_set_against_each_other_unless_two_are_named() -> None:
    found, named = (odds(BRIEF, *names, cases=64, with_effects=False) for names in ((), BRIEF.curve_names[:2]))
    assert np.array_equal(found.times, named.times)
    with pytest.raises(UsageError, match="odds are stated for two curves"):
        odds(BRIEF, "peak", cases=64)
