"""The highest plateau that pays, against answers known beforehand and against a dense grid."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from math import inf, pi
from pathlib import Path

import numpy as np
import pytest

from cars import POINT_MASS, constant_power, coupe, gears, point_mass
from searching import brief
from simlaunch.analysis.plateau import PlateauResult, WantedFinalDrive, plateau
from simlaunch.comparing.compare import compare
from simlaunch.errors import TargetNotReached, UsageError
from simlaunch.launching.goals import goal
from simlaunch.launching.launches import Aim, as_many
from simlaunch.launching.ready import runnable
from simlaunch.launching.targets import target_named
from simlaunch.metrics.ceiling import usable_torque
from simlaunch.metrics.marks import Kind, Target
from simlaunch.output.plateau import cheaper, curve_csv, verdict
from simlaunch.physics.engine import mean_effective_pressure
from simlaunch.ratings.limits import ENVELOPE, MEAN_PRESSURE, POWER, RISE, TORQUE, Limits, limits_of
from simlaunch.record import Car, Pedal
from simlaunch.scenario.curve_file import read_conditions, read_curve
from simlaunch.scenario.decision import PartRating, Place
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.reading import load
from simlaunch.searching.plateau_search import DRIVES, Plateau, final_drive, highest_plateau
from simlaunch.searching.plateau_search_space import (
    FALL,
    HEIGHT,
    HELD_TIME,
    IDLE,
    NO_GAIN,
    SAME_TIME,
    Point,
    SearchSpace,
    Shape,
    binding,
)
from simlaunch.simulation.run import Outcome, complete, launch
from simlaunch.units.quantity import RPM
from simlaunch.units.spelling import System

COUPE = Path(__file__).parents[2] / "scenarios" / "road-coupe.toml"
SPRINT = Target("200 m", Kind.DISTANCE, 0.0, 200.0)
DASH = Aim((SPRINT,), (1.0,))


@cache
def scenario() -> Scenario:
    return load(COUPE)


def _rated(torque: float, place: Place = Place.GEARBOX_INPUT) -> PartRating:
    values = {"name": "gearbox", "place": place, "rating": f"{torque} N m", "origin": "Invented."}
    return PartRating.model_validate(values)


@cache
def found() -> tuple[SearchSpace, Plateau]:
    space = SearchSpace(coupe(), Limits(power=230e3, mean_pressure=24e5, displacement=2.4e-3), DASH)
    return space, highest_plateau(space, by_gear=True)


# --- an answer known by hand ---


def test_under_a_cap_of_power_alone_the_curve_follows_the_cap() -> None:
    """t = m (v2^2 - v1^2) / (2 P), from the engine speed on at which the time begins. Source: constant power."""
    power, radius_by_ratio, first, last = 60e3, 0.03, 10.0, 50.0
    car = point_mass({**constant_power(power, 300.0, 2000.0), "engine.rev_limit": 2000.0,
                      "engine.limiter_band": 10.0, "launch.engine_speed": 100.0})  # fmt: skip
    span = Target("span", Kind.SPAN, first, last)
    space = SearchSpace(car, Limits(power=power, rise=inf), Aim((span,), (1.0,)), tolerance=1e-7)
    answer = highest_plateau(space)
    known = POINT_MASS * (last**2 - first**2) / (2.0 * power)
    # 2e-4: the cap is put into a table of 182 points; a millisecond counts as equal
    assert answer.quickest.score == pytest.approx(known, rel=2e-4)
    assert answer.chosen.score == pytest.approx(known, abs=HELD_TIME + 2e-4 * known)
    used = (answer.speeds > 1.1 * first / radius_by_ratio) & (answer.speeds < last / radius_by_ratio)
    np.testing.assert_allclose(answer.torque[used], power / answer.speeds[used], rtol=1e-9)
    assert {name for name, hit in zip(answer.binding, used, strict=True) if hit} <= {POWER, f"{POWER}{IDLE}", FALL}
    # More torque than the cap leaves where the time begins buys nothing. A share d less costs m v1^2 d^2 / (2 P), which
    # is the millisecond that counts as equal at d = 2.8 %.
    assert answer.chosen.shape.height == pytest.approx(power * radius_by_ratio / first, rel=0.06)


# --- the search ---


def test_no_point_of_a_dense_grid_is_quicker() -> None:
    space, answer = found()
    heights = np.linspace(0.3, 1.0, 15) * space.top
    shapes = [space.shape(h, a, b) for h in heights for a in np.linspace(0, 1, 7) for b in np.linspace(0, 1, 7)]
    best = min(point.score for point in space.launched(shapes) if point.sound)
    assert answer.quickest.score <= best + SAME_TIME


def test_of_equals_the_lowest_is_taken() -> None:
    _, answer = found()
    assert answer.unlimited.score <= answer.quickest.score + HELD_TIME
    assert answer.unlimited.shape.height <= answer.quickest.shape.height


def test_the_front_trades_torque_for_time() -> None:
    _, answer = found()
    torque, time = np.array([(point.strain, point.score) for point in answer.front]).T
    assert len(torque) > 5
    assert (np.diff(torque) > 0.0).all()
    assert (np.diff(time) < 0.0).all()
    assert 0 <= answer.knee < len(torque)


def test_limits_by_gear_never_cost_time() -> None:
    _, answer = found()
    assert answer.chosen.score <= answer.unlimited.score + SAME_TIME
    assert answer.gear_limits[0] < answer.unlimited.shape.height  # this car spins its tyres in first gear
    assert answer.gear_limits[-1] == inf


def test_results_do_not_depend_on_threads() -> None:
    one, three = (SearchSpace(coupe(), Limits(), DASH, workers=workers) for workers in (1, 3))
    shapes = [one.shape(height, 0.3, 0.6) for height in (300.0, 400.0, 500.0)]
    assert [point.score for point in one.launched(shapes)] == [point.score for point in three.launched(shapes)]


# --- limits ---


def test_the_curve_keeps_to_every_cap_and_names_what_binds() -> None:
    space, answer = found()
    highest = np.array([mean_effective_pressure(torque, 2.4e-3) for torque in answer.torque])
    assert highest.max() <= 24e5 * (1.0 + 1e-12)
    assert (answer.torque * answer.speeds).max() <= 230e3 * (1.0 + 1e-12)
    assert (np.diff(answer.torque) / np.diff(answer.speeds)).max() <= space.rise * (1.0 + 1e-9)
    assert len(answer.binding) == answer.speeds.size
    assert (answer.torque <= space.climb * (1.0 + 1e-9)).all()
    assert answer.binding[0] in (RISE, ENVELOPE)
    for name, cap in space.caps.items():
        bound = np.array([each == name for each in answer.binding])
        assert answer.torque[bound] == pytest.approx(cap[bound], rel=6e-3)  # within half a percent counts as on it
    assert HEIGHT not in answer.binding  # a plateau has a reason for its height


@pytest.mark.parametrize(
    ("limits", "name"),
    [
        (Limits(torque=300.0), TORQUE),
        (Limits(power=300e3, mean_pressure=20e5, displacement=2.4e-3), MEAN_PRESSURE),
        (Limits(power=900e3, rise=0.2), RISE),
        (Limits(), "highest that was tried"),
    ],
)
def test_a_cap_that_all_but_ends_a_plateau_is_named(limits: Limits, name: str) -> None:
    """Of heights that are equally quick the lowest is taken, a hair below the cap: the cap stands in the way all the
    same, and not the search. Whether lifting it saves time is said beside it."""
    space = SearchSpace(coupe(), limits, DASH)
    middle = float(space.speeds[space.speeds.size // 2])
    (point,) = space.launched([Shape(0.997 * space.top, middle, middle + 50.0)])
    level = (space.speeds > middle) & (space.speeds < middle + 50.0)
    for saved in ({}, {name: 0.1}):
        causes = {cause for cause, is_level in zip(binding(space, point, saved), level, strict=True) if is_level}
        assert causes == {name if saved or not space.caps else f"{name}{IDLE}"}
    falling = space.parts_of(point.shape)
    falls = np.array(list(falling.values())).argmin(axis=0) == list(falling).index(FALL)
    told = {cause for cause, falls in zip(binding(space, point, {}), falls, strict=True) if falls}
    assert told <= {NO_GAIN, *(f"{cap}{IDLE}" for cap in space.caps)}


def test_a_mean_pressure_is_a_torque() -> None:
    """p = 4 pi T / V for a four-stroke engine. Source: definition."""
    caps = Limits(mean_pressure=20e5, displacement=2.0e-3).caps(np.array([200.0, 400.0]))
    assert caps[MEAN_PRESSURE] == pytest.approx(20e5 * 2.0e-3 / (4.0 * pi))
    with pytest.raises(UsageError, match=r"needs engine\.displacement"):
        Limits(mean_pressure=20e5).caps(np.array([200.0]))


def test_a_flow_of_air_is_a_power() -> None:
    """0.3 kg/s is 264.7 kW at 340 g/(kW h) and 12 parts of air to one of fuel. Source: definitions, by hand."""
    caps = Limits(air_flow=0.3).caps(np.array([500.0]))
    assert caps["air flow"][0] * 500.0 == pytest.approx(0.3 / (0.340 / 3.6e6 * 12.0))


@cache
def under_a_rating() -> tuple[Scenario, Plateau]:
    short = scenario().replace({"run.until": ["60 m"], "uncertain": []})
    space = SearchSpace(
        runnable(short, "peak", Pedal.FULL), Limits(parts=(_rated(380.0),)), Aim((goal(short),), (1.0,))
    )
    with brief():  # a rating is kept by whatever plateau is found
        return short, highest_plateau(space)


def test_a_proposal_is_never_too_much_for_the_comparison() -> None:
    """Rounded as the curve file has it, launched anew and weighed as `compare` does, it keeps to its rating."""
    short, answer = under_a_rating()
    points = [
        [f"{speed * 30.0 / pi:.1f} rpm", f"{torque:.2f} N m"]
        for speed, torque in zip(answer.speeds, answer.torque, strict=True)
    ]
    peak = [["1000 rpm", "300 N m"], ["3000 rpm", "560 N m"], ["7000 rpm", "450 N m"]]
    curves = [{"name": "proposal", "points": points}, {"name": "peak", "points": peak}]
    part = {"name": "gearbox", "place": "gearbox input", "rating": "380 N m", "origin": "Invented."}
    both = short.replace({"curves": curves, "parts": [part]})
    (rated,) = compare(both, cases=0).pairs[0].verdict.case.rated
    assert (rated.higher.broken, rated.lower.broken) == (True, False)
    assert rated.lower.demand.share > 0.95


def test_a_rating_holds_the_plateau_down() -> None:
    _, answer = under_a_rating()
    assert answer.chosen.sound
    assert all(point.sound for point in answer.front)
    assert answer.chosen.strain <= 380.0


def test_a_cap_that_is_too_low_is_named_with_how_far_it_is_off() -> None:
    """With no losses, work is kinetic energy: the least power for a distance in a time. Source: constant power,
    x = sqrt(8 P t^3 / (9 m)).
    """
    low, limit = 20e3, 12.0
    car = point_mass({**constant_power(low, 10.0, 2000.0), "engine.rev_limit": 2000.0, "engine.limiter_band": 10.0,
                      "launch.engine_speed": 20.0, "run.time_limit": limit})  # fmt: skip
    space = SearchSpace(car, Limits(power=low, rise=inf), DASH)
    needed = 9.0 * POINT_MASS * 200.0**2 / (8.0 * limit**3) / low
    assert needed > 1.2
    with pytest.raises(TargetNotReached, match="the limit of power would have to be about") as told:
        highest_plateau(space)
    factor = float(str(told.value).split("about ")[1].split()[0])
    assert needed * 0.9 < factor < needed * 1.5  # the factors that are tried lie 22 % apart; clutch and shape cost some


def test_a_speed_beyond_the_top_speed_of_every_plateau_is_not_laid_to_the_time_limit() -> None:
    """Engine speed over ratio times radius bounds the speed of a car whose wheels drive it. Source: kinematics."""
    target = target_named(scenario(), "400 km/h")
    space = SearchSpace(coupe(), Limits(), Aim((target,), (1.0,)))
    with pytest.raises(TargetNotReached, match="no time limit changes that: choose a lower speed") as told:
        highest_plateau(space)
    assert "raise run.time_limit" not in str(told.value)
    top = float(str(told.value).split("the top speed is ")[1].split()[0])
    car = coupe()
    gear = int(car.gearbox.count) - 1
    highest = float(car.engine.rev_limit / car.gearbox.ratio[gear] * car.rear.radius) * 3.6
    assert 0.4 * highest < top < highest


def test_plateaus_that_all_stall_are_given_the_advice_of_their_launch_and_none_on_time() -> None:
    """From 1000 rpm within a tenth of a second every plateau stalls; held at 3200 rpm, as usual, none does."""
    stalls = {"launch.engine_speed": "1000 rpm", "coupling.engagement_time": "0.1 s"}
    with pytest.raises(TargetNotReached) as caught:
        plateau(scenario().replace(stalls))
    assert str(caught.value) == f"no plateau within the limits reaches 1/4 mile; {Outcome.STALLED.value}"
    usual = runnable(scenario().replace({"coupling.engagement_time": "0.1 s"}), "peak", Pedal.FULL)
    assert launch(usual).outcome is Outcome.FINISHED


def test_plateaus_that_need_more_time_are_told_how_much() -> None:
    """And with as much, one is found. Source: the same search without the limit."""
    with pytest.raises(TargetNotReached, match=r"takes \d+\.\d s with more time: raise run.time_limit") as caught:
        highest_plateau(SearchSpace(coupe({"run.time_limit": 2.0}), Limits(), DASH))
    needed = float(str(caught.value).split("it takes ")[1].split()[0])
    found = highest_plateau(SearchSpace(coupe({"run.time_limit": needed + 0.1}), Limits(), DASH))
    assert 2.0 < found.chosen.times[0] <= needed + 0.1


# --- grip and final drive ---


def test_within_grip_each_gear_keeps_to_what_its_tyres_can_use() -> None:
    """The least usable torque of a gear at any engine speed is its limit in every launch."""
    free, kept = (SearchSpace(coupe(), Limits(), DASH, within_grip=within) for within in (False, True))
    complete(car := as_many([coupe()]).view(np.recarray)[0])
    for gear, ceiling in enumerate(kept.ceilings, start=1):
        least = float(usable_torque(car, gear, kept.speeds).min())
        assert ceiling == (pytest.approx(least, rel=1e-9) if least < kept.top else inf)
    assert kept.ceilings[0] < inf == kept.ceilings[-1]
    shape = free.shape(0.95 * free.top, 0.0, 1.0)
    spun, held = (space.launched([shape])[0] for space in (free, kept))
    assert held.score < spun.score  # grip past its peak pushes less
    limits = kept.cars([shape])[0]["engine"]["gear_limit"]
    assert tuple(limits[: len(kept.ceilings)]) == kept.ceilings


def test_the_final_drive_of_a_single_gear_with_flat_torque() -> None:
    """t = m v r / (T i): the shorter the better, to the last that is tried. Source: Newton's second law."""
    flat = {"engine.torque": ((10.0, 4000.0), (225.0, 225.0)), "engine.rev_limit": 4000.0,
            "engine.limiter_band": 10.0, "launch.engine_speed": 100.0}  # fmt: skip
    span = Target("span", Kind.SPAN, 10.0, 50.0)

    def lowered(ratio: float) -> Car:
        return point_mass({**flat, **gears(10.0 * ratio, efficiency=1.0)})

    space = SearchSpace(lowered(1.0), Limits(torque=225.0), Aim((span,), (1.0,)))
    ratio, score = final_drive(space, None, lowered)
    assert ratio == DRIVES[-1]
    assert score == pytest.approx(POINT_MASS * 40.0 * 0.03 / (225.0 * ratio), rel=1e-3)


def test_under_constant_power_the_final_drive_as_it_is_suits() -> None:
    """F = P / v whatever the gears, so that nothing is gained by others, and the present one is named."""

    def lowered(ratio: float) -> Car:
        return point_mass({**constant_power(60e3, 100.0, 3000.0), "engine.rev_limit": 3000.0,
                           "engine.limiter_band": 10.0, "launch.engine_speed": 100.0,
                           **gears(10.0 * ratio, efficiency=1.0)})  # fmt: skip

    space = SearchSpace(lowered(1.0), Limits(power=60e3), Aim((Target("span", Kind.SPAN, 10.0, 50.0),), (1.0,)))
    assert final_drive(space, None, lowered)[0] == pytest.approx(1.0)


def test_no_plateau_meets_the_limits() -> None:
    """A rating behind the gears is no torque of the engine, so that low heights are tried before it is given up."""
    heights: list[float] = []

    class Watched(SearchSpace):
        def launched(
            self, shapes: Sequence[Shape], gear_limits: Sequence[Sequence[float]] | None = None
        ) -> list[Point]:
            heights.extend(shape.height for shape in shapes)
            return super().launched(shapes, gear_limits)

    space = Watched(coupe(), Limits(parts=(_rated(400.0, Place.REAR_SHAFTS),)), DASH)
    told = r"no plateau meets the limits: even with one of \d+ N m, gearbox, .*, sees \d+ N m, \d+ N m more than the"
    with brief(), pytest.raises(TargetNotReached, match=told):
        highest_plateau(space)
    assert min(heights) < 0.1 * space.top


def test_limits_of_a_scenario() -> None:
    typed = {"power": "200 kW", "rise": "100 N m", "note": "Invented."}
    limits = limits_of(scenario().replace({"limits": typed}), {"power": 150e3})
    assert limits.power == 150e3
    assert limits.rise == pytest.approx(100.0 / (1000.0 * pi / 30.0))
    assert limits.displacement == pytest.approx(2.4e-3)
    assert len(limits.parts) == len(scenario().parts or ())


# --- what is written ---


def test_the_curve_is_one_that_a_scenario_can_name() -> None:
    _, answer = found()
    told = PlateauResult(scenario(), "peak", Pedal.FULL, DASH, {"as described": answer}, {"as described": (3.42,)})
    text = curve_csv(told)
    points = read_curve(text, "plateau.csv")
    assert len(points) == answer.speeds.size
    assert "found by simlaunch plateau for 200 m" in read_conditions(text, "plateau.csv")["note"]
    first, *rest = verdict(told, System.METRIC)
    assert first.startswith("The highest plateau that pays is a p")
    less = cheaper(answer)
    assert less is not None
    (spared,) = [sentence for sentence in rest if "less torque at the gearbox input than" in sentence]
    assert f"of {less.shape.height:.0f} N m" in spared
    assert f"is {less.score - answer.unlimited.score:.3f} s slower" in spared


@pytest.mark.parametrize(
    ("score", "best", "told"),
    [
        (13.0, 12.995, '"peak" suits the final drive of 3.42.'),
        (13.0, 12.9, '"peak" wants a final drive of 3.80 in place of 3.42, 0.100 s quicker.'),
        (inf, 12.9, '"peak" gets there with a final drive of 3.80, but not with 3.42.'),
        (inf, inf, '"peak" does not get there with any final drive that was tried.'),
    ],
)
def test_what_final_drive_a_curve_wants_is_reported_in_words(score: float, best: float, told: str) -> None:
    """A hundredth of a second is what is worth naming; a target that is missed has no time to be quicker than."""
    _, answer = found()
    wanted = (WantedFinalDrive("peak", 3.42, score, 3.80, best),)
    sets, drives = {"as described": answer}, {"as described": (3.42,)}
    sentences = verdict(PlateauResult(scenario(), "peak", Pedal.FULL, DASH, sets, drives, wanted), System.METRIC)
    assert told in sentences


def test_a_final_drive_per_gear_is_wanted_by_its_first_gear() -> None:
    _, answer = found()
    wanted = (WantedFinalDrive("peak", 4.12, 13.0, 4.50, 12.9, per_gear=True),)
    sets, drives = {"as described": answer}, {"as described": (4.12, 4.12, 3.04)}
    sentences = verdict(PlateauResult(scenario(), "peak", Pedal.FULL, DASH, sets, drives, wanted), System.METRIC)
    assert (
        '"peak" wants a final drive of 4.50 in first gear, those of the other gears changed by the same factor, in '
        "place of 4.12, 0.100 s quicker." in sentences
    )


def test_the_wanted_final_drive_of_a_split_box_is_that_of_the_same_box_described_plainly() -> None:
    """Half the final drive with twice the gear is the same car, and so is every multiple of it."""
    plain = scenario()
    ratios, final = plain.gearbox.ratios, plain.gearbox.final_drives[0].si
    twice = len(ratios) - 1
    split = plain.replace({
        "gearbox.ratios": [f"{each.si * (2.0 if n == twice else 1.0):.15g}" for n, each in enumerate(ratios)],
        "gearbox.final_drive": [f"{final * (0.5 if n == twice else 1.0):.15g}" for n in range(len(ratios))],
    })  # fmt: skip
    with brief():  # equal cars meet equal plateaus however long they are searched for
        results = [plateau(each, "peak", targets=["1/8 mile"], power="150 kW") for each in (plain, split)]
    assert results[1].final_drives["as described"] == (*(final,) * twice, final / 2.0)
    for one, other in zip(*(each.wanted for each in results), strict=True):
        assert (other.ratio, other.per_gear) == (one.ratio, True)
        # ratios of a trial are written with six digits, of either product
        assert other.best_score == pytest.approx(one.best_score, abs=1e-4)


def test_targets_weigh() -> None:
    quarter = target_named(scenario(), "1/8 mile")
    space = SearchSpace(coupe(), Limits(), Aim((SPRINT, quarter), (2.0, 0.5)))
    point = space.launched([space.shape(400.0, 0.0, 1.0)])[0]
    assert point.score == pytest.approx(2.0 * point.times[0] + 0.5 * point.times[1])


def test_a_plateau_of_a_few_engine_speeds_is_called_none() -> None:
    """Over 6 rpm nothing is held: the words say that it is a peak, and at which power torque falls from there."""
    _, answer = found()
    start = 5200.0 * RPM
    brief = replace(answer.chosen, shape=Shape(400.0, start, start + 6.0 * RPM))
    short = replace(answer, chosen=brief)
    result = PlateauResult(scenario(), "peak", Pedal.FULL, DASH, {"as described": short}, {"as described": (3.42,)})
    first = verdict(result, System.METRIC)[0]
    assert first.startswith("What pays is no plateau but a peak of 400 N m at 5200 rpm, from which on torque falls")
    assert f"{400.0 * (start + 6.0 * RPM) * 1e-3:.1f} kW" in first
    assert result.to_dict()["gear_sets"]["as described"]["is_plateau"] is False
