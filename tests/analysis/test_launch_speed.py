"""The best launch speed against a dense grid and a golden section; bog against launches by themselves."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from math import pi
from pathlib import Path

import numpy as np
import pytest

from simlaunch.analysis.odds import odds
from simlaunch.analysis.simulate import Simulation, simulate
from simlaunch.analysis.worth import worth
from simlaunch.comparing.compare import compare
from simlaunch.errors import InputError, ScenarioError
from simlaunch.launching.goals import goal
from simlaunch.launching.launch_speed import FLAT, HELD
from simlaunch.launching.launches import times_of
from simlaunch.parameters.fill import lower
from simlaunch.record import Pedal
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.reading import load
from simlaunch.sweeping.study import sweep

SCENARIOS = Path(__file__).parents[2] / "scenarios"
RPM = pi / 30.0
BEST = {"launch.engine_speed": "best"}


@cache
def car(name: str) -> Scenario:
    return load(SCENARIOS / f"{name}.toml")


@cache
def sought(name: str) -> Simulation:
    return simulate(car(name).replace(BEST))


def timed(scenario: Scenario, rpm: float) -> float:
    return simulate(scenario.replace({"launch.engine_speed": f"{rpm:.6f} rpm"})).time


@pytest.mark.slow
@pytest.mark.parametrize("name", ["road-coupe", "front-hatch"])
def test_the_speed_is_within_what_is_flat_of_a_dense_grid(name: str) -> None:
    """By brute force: every 20 rpm, each counted by the greatest time with it and with up to 100 rpm less and more.

    A grid five times as dense may find a spike between two of the search's speeds, so 3 ms are allowed beside `FLAT`.
    """
    found, scenario = sought(name).launch_speed, car(name)
    assert found is not None
    grid = np.arange(1000.0, 4600.0, 20.0)
    cars = [lower(scenario, scenario.curve_names[0], Pedal.FULL) for _ in grid]
    for each, rpm in zip(cars, grid, strict=True):
        each.launch.engine_speed = rpm * RPM
    times = times_of(cars, goal(scenario))
    some = slice(20, None, 60)
    np.testing.assert_allclose(times[some], [timed(scenario, rpm) for rpm in grid[some]], rtol=0.0, atol=1e-6)
    times[np.isnan(times)] = np.inf
    reach = int(HELD / 20.0)
    held = np.array([times[max(k - reach, 0) : k + reach + 1].max() for k in range(grid.size)])
    own = float(np.interp(found.speed / RPM, grid, held))
    assert own <= held[reach:-reach].min() + FLAT + 0.003
    assert found.low <= found.speed <= found.high


def golden(timed: Callable[[float], float], low: float, high: float, close: float) -> float:
    """Least value of a function with one valley. Source: Kiefer (1953), Proc. Amer. Math. Soc. 4, 502 (from memory)."""
    share = (np.sqrt(5.0) - 1.0) / 2.0
    one, other = high - share * (high - low), low + share * (high - low)
    first, second = timed(one), timed(other)
    while high - low > close:
        if first < second:
            high, other, second = other, one, first
            one = high - share * (high - low)
            first = timed(one)
        else:
            low, one, first = one, other, second
            other = low + share * (high - low)
            second = timed(other)
    return min(first, second)


@pytest.mark.parametrize("friction", ["1.0", "0.7"])
def test_where_time_has_one_valley_a_golden_section_finds_no_better(friction: str) -> None:
    """All-wheel drive from 2500 rpm up: the time falls with the launch speed all the way, or nearly so.

    The speed that is taken is one of several within `FLAT` of the best, and counts by 100 rpm less and more.
    """
    scenario = car("all-drive-grip").replace({"road.friction_factor": friction})
    found = simulate(scenario.replace(BEST)).launch_speed
    assert found is not None
    least = golden(lambda rpm: timed(scenario, rpm), 2500.0, 6940.0, 5.0)
    assert found.time <= least + 2.0 * FLAT


def test_the_record_states_what_other_speeds_cost() -> None:
    found, scenario = sought("front-hatch").launch_speed, car("front-hatch")
    assert found is not None
    assert sought("front-hatch").time == pytest.approx(found.time, abs=5e-4)
    for cost, way in ((found.below, -500.0), (found.above, 500.0)):
        assert cost == pytest.approx(timed(scenario, found.speed / RPM + way) - found.time, abs=5e-4)
    assert "Launch speed" in sought("front-hatch").to_text()
    document = sought("front-hatch").to_dict()["launch_speed"]
    assert document["engine_speed_rad_per_s"] == pytest.approx(found.speed)


def test_a_converter_decides_and_says_so() -> None:
    """The stall speed is where the pump takes what the engine gives; asked for more, the car is launched with it."""
    found = sought("all-drive-saloon")
    assert found.launch_speed is not None
    assert found.launch_speed.converter
    asked = simulate(car("all-drive-saloon").replace({"launch.engine_speed": "5000 rpm"}))
    assert found.launch_speed.speed == pytest.approx(float(asked.car.launch.engine_speed), rel=1e-9)
    assert "the converter decides it" in " ".join(found.to_text().split())


def test_every_study_takes_it(tmp_path: Path) -> None:
    scenario = car("front-hatch").replace(BEST)
    first, second = scenario.curve_names[:2]
    compared = compare(scenario, (first, second), cases=64)
    speeds = [runs.full.launch_speed for runs in compared.runs]
    assert all(each is not None for each in speeds)
    assert compared.pairs[0].why is not None
    assert sum(span.full.share for span in compared.pairs[0].why.spans) == pytest.approx(
        compared.pairs[0].full.at_goal.gap, abs=2e-4
    )
    assert worth(scenario, first).gear_sets[0].pedals[0].time == pytest.approx(compared.runs[0].full.time, abs=2e-3)
    about = [{"key": "launch.engine_speed", "kind": "normal", "deviation": "100 rpm", "origin": "Invented."}]
    drawn = odds(scenario.replace({"uncertain": about}), first, second, cases=64, with_effects=False)
    assert np.isfinite(drawn.times).all()
    for curve, runs in enumerate(compared.runs):  # drawn about the best of each
        assert np.median(drawn.times[:, curve]) == pytest.approx(runs.full.time, abs=0.05)
    swept = sweep(scenario, tmp_path / "s.sqlite", vary=["curve"], tolerance=1e-5)
    times = {each.values["curve"]: each.measures[swept.findings.order.by.name] for each in swept.findings.best}
    assert times[first] == pytest.approx(compared.runs[0].full.time, abs=1e-9)


def test_best_stands_beside_stated_speeds_in_a_sweep(tmp_path: Path) -> None:
    vary = ["launch.engine_speed: best, 2500 rpm", "body.mass: 1200 kg, 1300 kg"]
    found = sweep(car("front-hatch"), tmp_path / "s.sqlite", vary=vary, tolerance=1e-4)
    for each in found.findings.best:
        changes = {
            "launch.engine_speed": each.values["launch.engine_speed"],
            "body.mass": f"{each.values['body.mass']} kg",
        }
        alone = simulate(car("front-hatch").replace(changes), tolerance=1e-4)
        assert each.measures[found.findings.order.by.name] == alone.time


def test_other_words_are_refused() -> None:
    with pytest.raises((ScenarioError, InputError), match='write "best", or an engine speed'):
        car("road-coupe").replace({"launch.engine_speed": "quickest"})


def test_a_bog_is_measured_and_its_cost_proved() -> None:
    """Launched at 2000 rpm the coupe falls below 60 % of that; the same car launched higher is quicker by the gain."""
    scenario = car("road-coupe").replace({"launch.engine_speed": "2000 rpm"})
    found = simulate(scenario)
    bog, trace = found.bog, found.run.trace
    assert bog is not None
    assert bog.bogs
    first = trace["gear"] < 1.5
    assert bog.lowest == trace["engine_speed"][first].min() < 0.6 * 2000.0 * RPM
    higher = simulate(scenario.replace({"launch.engine_speed": f"{bog.higher_speed / RPM:.6f} rpm"}))
    assert bog.gain == pytest.approx(found.time - higher.time, abs=5e-4)
    assert bog.gain > 0.1
    told = " ".join(found.to_text().split())
    assert "The launch bogs: the engine falls from 2000 to" in told
    printed = " ".join(compare(scenario, cases=0).to_text().split())
    assert f'Bog: "{scenario.curve_names[0]}" falls from 2000 to' in printed


def test_the_boost_threshold_is_read_off_the_curve() -> None:
    """By hand: the lowest speed, of a grid, at which the curve through the points gives 80 % of its peak."""
    from scipy.interpolate import PchipInterpolator

    scenario = car("road-coupe")
    speeds, torque = np.array([[one.si, other.si] for one, other in scenario.curve("peak").points]).T
    grid = np.linspace(scenario.engine.idle.si, scenario.engine.rev_limit.si, 100_001)
    held = PchipInterpolator(speeds, torque)(np.clip(grid, speeds[0], speeds[-1]))
    bog = simulate(scenario, "peak").bog
    assert bog is not None
    assert bog.threshold == pytest.approx(grid[int(np.argmax(held >= 0.8 * held.max()))], abs=4.0 * RPM)


def test_no_bog_from_a_roll_or_with_a_converter() -> None:
    assert simulate(car("road-coupe"), target="roll 60 mph to 130 mph").bog is None
    assert simulate(car("all-drive-saloon"), pedal=Pedal.FULL).bog is None
