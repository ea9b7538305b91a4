"""Torque by gear in the studies: closed forms, brute force, and files that are read back."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from cars import POINT_MASS, point_mass
from searching import brief
from simlaunch.analysis.parts import peak_torque
from simlaunch.analysis.plateau import plateau
from simlaunch.analysis.usable import usable
from simlaunch.comparing.attribution import attribute
from simlaunch.comparing.compare import peak_power
from simlaunch.launching.goals import goal
from simlaunch.launching.launches import times_of
from simlaunch.metrics.full_load import full_load, limited_gears
from simlaunch.output.plateau import curve_csv
from simlaunch.parameters.fill import fill_table, lower, scale_torque
from simlaunch.record import CAR, Pedal
from simlaunch.scenario.curve_file import read_conditions, read_curve, read_gear_curves
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.reading import load
from simlaunch.simulation.events import CHANGE_BEGINS
from simlaunch.simulation.run import launch

SCENARIOS = Path(__file__).parents[2] / "scenarios"
COUPE = load(SCENARIOS / "road-coupe.toml").replace({"uncertain": None})
FIRST = {"gear": "1", "torque": "300 N m"}
SECOND = {"gear": "2", "torque": [["2000 rpm", "250 N m"], ["4000 rpm", "380 N m"], ["6900 rpm", "340 N m"]]}


def _curves(**limits: list[dict[str, Any]]) -> Scenario:
    """The coupe with curves of these names, each the plateau with its limits by gear."""
    own = COUPE.curve("plateau").model_dump(exclude_unset=True)
    return COUPE.replace({"curves": [own | {"name": name, "gear_limits": each} for name, each in limits.items()]})


def test_force_under_a_curve_of_one_gear() -> None:
    """t = sqrt(2 m x / F), F = T i / r with the curve of the gear for T. Source: Newton's second law."""
    limit, torque = 150.0, 225.0
    car = point_mass({"engine.torque": ((10.0, 1e4), (torque, torque)), "coupling.capacity": limit,
                      "launch.engine_speed": 300.0, "launch.boost": 1.0, "run.stop_distance": 200.0})  # fmt: skip
    fill_table(car.engine.gear_curve[0], np.array([10.0, 1e4]), np.array([limit, limit]))
    run = launch(car, tolerance=1e-9)
    assert run.trace.time[-1] == pytest.approx(np.sqrt(2.0 * POINT_MASS * 200.0 * 0.03 / limit), rel=5e-5)


def test_a_level_curve_of_a_gear_is_a_limit_of_that_gear() -> None:
    """Two ways to say the same: one torque, and a curve that has it at every engine speed."""
    level = {"gear": "1", "torque": [["500 rpm", "300 N m"], ["7000 rpm", "300 N m"]]}
    scenario = _curves(one=[FIRST], other=[level])
    times = times_of([lower(scenario, name, Pedal.FULL) for name in scenario.curve_names], goal(scenario))
    assert times[0] == times[1]


def test_each_gear_has_the_torque_that_it_is_limited_to() -> None:
    scenario = _curves(both=[FIRST, SECOND])
    run = launch(lower(scenario, "both", Pedal.FULL))
    time, torque, speed = run.trace.time, run.trace["available_torque"], run.trace["engine_speed"]
    first, second, *_ = [event.time for event in run.trace.events if event.kind in CHANGE_BEGINS and event.time > 0.0]
    assert torque[time < first].max() == 300.0
    within = (time > first + 0.5) & (time < second)  # the shift takes 0.4 s
    car = lower(scenario, "both", Pedal.FULL)
    assert within.any()
    assert (torque[within] <= full_load(car, 2, speed[within]) * (1.0 + 1e-9)).all()
    assert torque[within].max() > 300.0
    assert torque[run.trace["gear"] == 3].max() > 430.0


# --- why ---


def test_limits_by_gear_take_their_share_of_the_gap() -> None:
    """Shares of spans and limits add up to the gap, for both pedals. Source: Shapley (1953), efficiency."""
    own = [curve.model_dump(exclude_unset=True) for curve in COUPE.curves]
    scenario = COUPE.replace({"curves": [own[0] | {"gear_limits": [FIRST, SECOND]}, own[1]]})
    found = attribute(scenario, "peak", "plateau", goal(scenario))
    assert found is not None
    assert found.limits is not None
    assert found.limits.gears == (1, 2)
    for pedal, share in ((Pedal.FULL, found.limits.full), (Pedal.HELD_SLIP, found.limits.held)):
        times = times_of([lower(scenario, name, pedal) for name in ("peak", "plateau")], goal(scenario))
        total = share.share + sum(span.of(pedal).share for span in found.spans)
        assert total == pytest.approx(times[1] - times[0], abs=1e-9)
        assert share.least <= share.share <= share.most


def test_curves_that_differ_in_limits_alone() -> None:
    """The whole gap is that of the limits, by launches with and without them."""
    scenario = _curves(free=[], held=[FIRST])
    found = attribute(scenario, "free", "held", goal(scenario))
    assert found is not None
    assert (found.spans, found.best) == ((), None)
    assert found.limits is not None
    times = times_of([lower(scenario, name, Pedal.FULL) for name in ("free", "held")], goal(scenario))
    assert found.limits.full.share == pytest.approx(times[1] - times[0], abs=1e-12)
    turned = replace(found.limits, full=found.limits.full.turned(), held=found.limits.held.turned())
    assert found.turned().limits == turned


def test_limits_above_both_curves_are_no_reason() -> None:
    found = attribute(_curves(free=[], held=[{"gear": "1", "torque": "900 N m"}]), "free", "held", goal(COUPE))
    assert found is not None
    assert (found.spans, found.limits) == ((), None)


def test_peaks_are_those_of_the_gear_that_allows_most() -> None:
    every = [{"gear": f"{k}", "torque": f"{200 + 20 * k} N m"} for k in range(1, 7)]
    scenario = _curves(some=[FIRST], every=every)
    assert peak_torque(lower(scenario, "some", Pedal.FULL)) == pytest.approx(450.0, rel=1e-6)
    assert peak_torque(lower(scenario, "every", Pedal.FULL)) == 320.0
    limit = scenario.engine.rev_limit.si
    assert peak_power(lower(scenario, "every", Pedal.FULL)) == pytest.approx(320.0 * limit, rel=1e-9)


# --- usable ---


def test_surplus_is_that_of_the_gear() -> None:
    """300 N m in first gear is below what the tyres can use there; without the limit it is not."""
    found = usable(_curves(free=[], held=[FIRST]))
    shares = {each.curve: each.share_of_area for each in found.surplus if each.gear == 1}
    assert shares["free"] > 0.1
    assert shares["held"] == 0.0
    assert found.torque("held", 1).max() == 300.0
    assert found.by_gear["free"] == {}
    assert found.torque("held", 2).tobytes() == found.curves["held"].tobytes()
    document = found.to_dict()
    assert [each["gear"] for each in document["curves"][1]["by_gear"]] == [1]
    assert "by_gear" not in document["curves"][0]


# --- what torque is multiplied by ---


def test_a_scale_of_the_torque_scales_the_gears_too() -> None:
    scenario = _curves(both=[FIRST, SECOND])
    cars = np.array([lower(scenario, "both", Pedal.FULL)] * 2, CAR)
    scale_torque(cars, np.array([1.0, 0.9]))
    one, other = cars.view(np.recarray)
    speed = np.linspace(120.0, 700.0, 50)
    for gear in range(1, 7):
        np.testing.assert_allclose(full_load(other, gear, speed), 0.9 * full_load(one, gear, speed), rtol=1e-12)


# --- plateau ---


def test_a_plateau_keeps_the_limits_of_its_wish_and_is_read_back() -> None:
    """Time of the written file as a curve against that of the search: rounding moves it by less than 0.1 ms."""
    scenario = _curves(both=[FIRST, SECOND]).replace({"run.until": ["60 m"]})
    with brief():
        found = plateau(scenario, power="230 kW", wish="both")
    assert found.first.gear_limits[0] == 300.0
    text = curve_csv(found)
    table = {**read_conditions(text, "x.csv"), "points": read_curve(text, "x.csv"), "name": "found"}
    table["gear_limits"] = [*table["gear_limits"], *read_gear_curves(text, "x.csv")]
    written = scenario.replace({"curves": [table]})
    car = lower(written, "found", Pedal.FULL)
    assert limited_gears(car) == (1, 2)
    time = float(times_of([car], found.aim.targets[0], 1e-4)[0])
    assert time == pytest.approx(found.first.chosen.times[0], abs=1e-4)
