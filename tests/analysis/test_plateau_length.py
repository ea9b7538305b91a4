"""How early a plateau begins: what the engine can give, how fast torque may rise, and what an earlier start costs."""

from __future__ import annotations

from functools import cache
from math import pi
from pathlib import Path

import numpy as np
import pytest

from cars import coupe
from simlaunch.analysis.plateau import PlateauResult
from simlaunch.errors import ScenarioError, UsageError
from simlaunch.launching.launches import Aim, Cars, measure_all
from simlaunch.metrics.many import Measured
from simlaunch.metrics.marks import Kind, Target
from simlaunch.output.plateau import verdict
from simlaunch.parameters.fill import lower
from simlaunch.ratings.limits import ENVELOPE, POWER, RISE, TORQUE, Envelope, Limits, limits_of
from simlaunch.record import Pedal
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.reading import load
from simlaunch.searching import plateau_search_space
from simlaunch.searching.plateau_search import Plateau, highest_plateau, met_near_the_best
from simlaunch.searching.plateau_search_space import HELD_TIME, IDLE, NO_GAIN, SAME_TIME, SearchSpace, Shape
from simlaunch.units.spelling import System

SCENARIOS = Path(__file__).parents[2] / "scenarios"
RPM = pi / 30.0
DASH = Aim((Target("200 m", Kind.DISTANCE, 0.0, 200.0),), (1.0,))
TALL = (tuple(np.array([1000.0, 2000.0, 3000.0, 5000.0, 7000.0]) * RPM), (200.0, 500.0, 600.0, 600.0, 450.0))


@cache
def road() -> Scenario:
    return load(SCENARIOS / "road-coupe.toml")


@cache
def held() -> tuple[SearchSpace, Plateau]:
    limits = limits_of(road(), {"power": 250e3, "mean_pressure": 26e5})
    space = SearchSpace(lower(road(), road().curve_names[0], Pedal.FULL), limits, DASH)
    return space, highest_plateau(space)


@cache
def gripping() -> tuple[SearchSpace, Plateau]:
    sound = load(SCENARIOS / "all-drive-grip.toml")
    limits = limits_of(sound, {"power": 275e3, "rise": 200.0 / (1000.0 * RPM)})
    space = SearchSpace(lower(sound, sound.curve_names[0], Pedal.FULL), limits, DASH)
    return space, highest_plateau(space)


# --- what the engine can give ---


def test_by_default_the_highest_curve_caps_the_way_up_only() -> None:
    """A plateau may be higher than all curves, but not come up earlier than the engine is known to be able to."""
    space = SearchSpace(coupe(), Limits(power=400e3, envelope=Envelope((TALL,), given=False)), DASH)
    known = Envelope((TALL,), given=False).at(space.speeds)
    rising, height = space.speeds < 3000.0 * RPM, 590.0
    torque = space.torque(space.shape(height, 0.0, 1.0)._replace(left=space.earliest(height)))
    early = rising & (torque < height)
    assert early.sum() > 10
    np.testing.assert_allclose(torque[early], known[early], rtol=1e-9)
    assert space.top > 600.0
    late = space.torque(space.shape(0.99 * space.top, 0.0, 1.0))
    assert late.max() > known.max()
    assert ENVELOPE not in space.caps


def test_an_envelope_that_is_stated_caps_the_whole_curve() -> None:
    space = SearchSpace(coupe(), Limits(power=400e3, envelope=Envelope((TALL,), given=True)), DASH)
    assert space.top == pytest.approx(600.0)
    torque = space.torque(space.shape(space.top, 0.0, 1.0))
    assert (torque <= Envelope((TALL,), given=True).at(space.speeds) * (1.0 + 1e-12)).all()


def test_the_climb_keeps_to_the_rise_and_to_the_envelope() -> None:
    rise = 100.0 / (1000.0 * RPM)
    space = SearchSpace(coupe(), Limits(power=400e3, rise=rise, envelope=Envelope((TALL,), given=False)), DASH)
    assert (np.diff(space.climb) / np.diff(space.speeds)).max() <= rise * (1.0 + 1e-9)
    assert space.earliest(400.0) == pytest.approx(3000.0 * RPM, rel=1e-3)  # 200 N m at 1,000 rpm, 100 N m per 1,000 rpm
    shape = space.shape(400.0, 0.4, 1.0)
    for left in (0.0, space.earliest(400.0)):
        torque = space.torque(shape._replace(left=left))
        assert (torque <= space.climb + 1e-9).all()
    assert torque[space.speeds < space.earliest(400.0)] == pytest.approx(
        space.climb[space.speeds < space.earliest(400.0)]
    )


# --- how long it is held ---


@pytest.mark.parametrize("case", [held, gripping])
def test_no_earlier_start_is_as_quick(case: object) -> None:
    """Below the start the curve climbs as early as envelope and rise allow; earlier starts cost more than counts."""
    space, answer = case()  # type: ignore[operator]
    chosen, first = answer.chosen, space.earliest(answer.chosen.shape.height)
    slowest = answer.quickest.score + HELD_TIME
    assert chosen.sound
    assert chosen.score <= slowest
    assert (answer.torque <= space.climb * (1.0 + 1e-9)).all()
    if answer.earlier is None:
        assert chosen.shape.start == pytest.approx(first, abs=51.0 * RPM)
    else:
        assert answer.earlier.shape.start == pytest.approx(first)
        assert not answer.earlier.sound or answer.earlier.score > slowest
    shapes = [chosen.shape._replace(start=first + s * (chosen.shape.start - first)) for s in (0.0, 0.25, 0.5, 0.75)]
    longer = [point for point in space.launched(shapes) if point.shape.start < chosen.shape.start - 100.0 * RPM]
    assert not any(point.sound and point.score <= slowest for point in longer[:1])


def test_an_earlier_start_that_costs_time_is_reported_with_its_cost() -> None:
    _space, answer = held()
    told = verdict(PlateauResult(road(), "peak", Pedal.FULL, DASH, {"as described": answer}, {}), System.METRIC)
    begins = [sentence for sentence in told if "begins as early as rise and envelope allow" in sentence]
    assert bool(begins) == (answer.earlier is not None)
    if answer.earlier is not None and answer.earlier.sound:
        height, end = f"{answer.chosen.shape.height:.0f} N m", f"{answer.chosen.shape.end / RPM:.0f} rpm"
        early, late = (f"{each.shape.start / RPM:.0f}" for each in (answer.earlier, answer.chosen))
        assert begins[0] == (
            f"A plateau of {height} from {early} to {end}, which begins as early as rise and envelope allow, is "
            f"{answer.earlier.score - answer.chosen.score:.3f} s slower than a plateau of {height} from {late} to "
            f"{end}."
        )


# --- what binds ---


@pytest.mark.parametrize("case", [held, gripping])
def test_a_cap_is_named_where_lifting_it_saves_time(case: object) -> None:
    space, answer = case()  # type: ignore[operator]
    named = set(answer.binding) & set(space.caps)
    assert named == set(answer.gains) & set(space.caps)
    for name in named:
        lifted = space.within(space.limits.eased(1.1, (name,)))
        quicker = min(met_near_the_best(lifted, [answer.chosen, answer.quickest]), key=lambda point: point.score)
        assert quicker.score < answer.quickest.score - SAME_TIME


def test_the_cap_that_the_curve_lies_on_is_named() -> None:
    """Never that more gains no time: a power of 275 kW holds this car back."""
    space, answer = gripping()
    on = answer.torque > 0.999 * space.caps[POWER]
    assert on.sum() > 10
    assert {name for name, lies in zip(answer.binding, on, strict=True) if lies} == {POWER}
    (told,) = [
        sentence
        for sentence in verdict(PlateauResult(road(), "peak", Pedal.FULL, DASH, {"": answer}, {}), System.METRIC)
        if sentence.startswith("With all other limits as they are, ")
    ]
    assert f"10 % more power makes the quickest plateau at least {answer.gains[POWER]:.3f} s quicker" in told


def test_where_more_gains_no_time_no_cap_holds_time_back() -> None:
    """Torque where the engine never runs: a cap there alone is no reason."""
    space = SearchSpace(coupe(), Limits(torque=2000.0, power=240e3), DASH)
    answer = highest_plateau(space)
    assert TORQUE not in answer.binding
    assert TORQUE not in answer.gains
    assert set(answer.binding) <= {POWER, f"{POWER}{IDLE}", RISE, ENVELOPE, NO_GAIN}


# --- the search ---


def test_no_curve_is_launched_twice(monkeypatch: pytest.MonkeyPatch) -> None:
    """Shapes that the caps cut to one curve are one launch, and give what each gives by itself."""
    space = SearchSpace(coupe(), Limits(power=240e3), DASH)
    late = Shape(420.0, 400.0, 600.0)  # 240 kW are reached at 571 rad/s
    shapes = [late, late, late._replace(end=610.0), Shape(320.0, 400.0, 600.0)]
    launched: list[int] = []

    def counted(cars: Cars, *rest: object, **named: object) -> Measured:
        launched.append(len(cars))
        return measure_all(cars, *rest, **named)  # type: ignore[arg-type]

    monkeypatch.setattr(plateau_search_space, "measure_all", counted)
    first, again = space.launched(shapes), space.launched(shapes)
    assert launched == [2]
    assert first == again
    assert [point.shape for point in first] == shapes
    alone = SearchSpace(coupe(), Limits(power=240e3), DASH)
    assert repr(alone.points(shapes, alone.cars(shapes))) == repr(first)


def test_time_moves_evenly_with_the_height_where_tyres_spin() -> None:
    """A step of 1 N m never moved a shift by half a second: a search cannot find which way is better otherwise."""
    space = SearchSpace(coupe(), Limits(power=275e3), Aim((Target("1/4 mile", Kind.DISTANCE, 0.0, 402.336),), (1.0,)))
    points = space.launched([space.shape(height, 0.5, 0.5) for height in np.arange(430.0, 480.0)])
    assert max(point.spin for point in points) > 2.0
    assert float(np.abs(np.diff([point.score for point in points])).max()) < 0.05


def test_no_shape_beside_the_answer_is_quicker_where_grip_is_high() -> None:
    space, answer = gripping()
    heights = np.clip(answer.quickest.shape.height * np.linspace(0.9, 1.1, 21), None, space.top)
    shapes = [space.shape(h, a, b) for h in heights for a in np.linspace(0, 1, 7) for b in np.linspace(0, 1, 5)]
    best = min(point.score for point in space.launched(shapes) if point.sound)
    assert answer.quickest.score <= best + SAME_TIME


# --- as typed ---


def test_an_envelope_is_a_curve_by_name_or_points() -> None:
    speeds = np.array([1000.0, 3000.0, 6900.0]) * RPM
    named = limits_of(road().replace({"limits": {"envelope": "peak"}}), {}).envelope
    points = [["1000 rpm", "200 N m"], ["7000 rpm", "500 N m"]]
    typed = limits_of(road().replace({"limits": {"envelope": points}}), {}).envelope
    both, option = limits_of(road(), {}).envelope, limits_of(road(), {}, "plateau").envelope
    assert named is not None
    assert typed is not None
    assert both is not None
    assert option is not None
    assert named.given
    assert typed.given
    assert option.given
    assert not both.given
    assert typed.at(speeds) == pytest.approx([200.0, 300.0, 495.0])
    assert both.at(speeds) == pytest.approx(np.maximum(named.at(speeds), option.at(speeds)))


@pytest.mark.parametrize(
    ("envelope", "told"),
    [
        ("none", r'limits\.envelope: "none" is not the name of a curve; write one of "peak", "plateau", or points'),
        ([["2000 rpm", "200 N m"], ["1000 rpm", "300 N m"]], r"sort the points by rising engine speed"),
        ([["2000 rpm", "200 kg"], ["3000 rpm", "300 N m"]], r'"200 kg" is a mass'),
    ],
)
def test_an_envelope_that_is_none_is_refused(envelope: object, told: str) -> None:
    with pytest.raises(ScenarioError, match=told):
        road().replace({"limits": {"envelope": envelope}})


def test_an_envelope_of_no_curve_is_a_wrong_option() -> None:
    with pytest.raises(UsageError, match='no curve is named "none"'):
        limits_of(road(), {}, "none")
