"""Logs of an independent simulator: intervals hold its values, or the result says that it is not to be used."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from fit.driven import Logger, columns, write
from fit.quasi_static import QuasiStatic
from simlaunch.fitting.fit import fit
from simlaunch.fitting.logs import LogRequest
from simlaunch.parameters.fill import lower
from simlaunch.record import Pedal
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.reading import from_mapping, load
from simlaunch.simulation.run import complete, launch

SCENARIOS = Path(__file__).parents[2] / "scenarios"
NAMES = ("friction", "curve scale", "drag area")
END = 7.0


def _bare(name: str) -> Scenario:
    data = load(SCENARIOS / f"{name}.toml").model_dump(exclude_unset=True)
    data.pop("uncertain", None)
    return from_mapping(data, name)


def _simulated(scenario: Scenario, friction: float, scale: float, drag: float) -> QuasiStatic:
    """The same car in the other simulator, with values over those of the scenario."""
    name = scenario.curve_names[0]
    car = lower(scenario, name, Pedal.FULL)
    complete(car)
    speeds, torque = np.array([[speed.si, torque.si] for speed, torque in scenario.curve(name).points]).T
    return QuasiStatic(
        car, (speeds, torque), friction * float(car.road.friction_factor), scale, drag * float(car.body.drag_area)
    )


@pytest.mark.parametrize("name", ["road-coupe", "front-hatch"])
def test_both_simulators_agree_on_the_same_car(name: str) -> None:
    """To 2 % in speed from the end of the first second: what is left is shafts, pitch and tyres that need time."""
    scenario = _bare(name)
    other = _simulated(scenario, 1.0, 1.0, 1.0).run(END)
    own = launch(lower(scenario, scenario.curve_names[0], Pedal.FULL)).trace
    times = np.arange(1.0, END, 0.25)
    assert np.interp(times, other.time, other["speed"]) == pytest.approx(
        np.interp(times, own.time, own["speed"]), rel=0.02
    )


@pytest.mark.slow
@pytest.mark.parametrize("name", ["road-coupe", "front-hatch"])
@pytest.mark.parametrize("engine", [False, True])
def test_intervals_hold_the_truth_or_the_result_says_that_it_does_not_hold(
    name: str, engine: bool, tmp_path: Path
) -> None:
    """Friction and torque of every log; the drag of air of most, which 7 s from rest hardly show.

    With speed alone a warning or a note has to say that speed is all there is.
    """
    scenario, held = _bare(name), []
    own = lower(scenario, scenario.curve_names[0], Pedal.FULL)
    for n, (friction, scale, drag) in enumerate(((0.95, 1.02, 0.95), (0.92, 0.97, 1.03), (0.98, 1.0, 1.0))):
        shown = columns(
            _simulated(scenario, friction, scale, drag).run(END),
            Logger(50.0, 0.05, engine_noise=0.0 if engine else None),
            np.random.default_rng(n),
        )
        if engine:
            shown["Engine Speed [rpm]"] = np.round(shown["Engine Speed [rpm]"])
        starts = 1 if engine else 3  # with engine speed, what is left over says it alone, however many starts agree
        found = fit(scenario, [LogRequest(write(tmp_path / f"{n}.csv", shown))], NAMES, starts=starts, seed=n)
        if not found.usable:
            assert "Do not use this fit" in found.summary()
            assert found.warnings
            continue
        true = (friction * float(own.road.friction_factor), scale, drag * float(own.body.drag_area))
        assert engine or any("speed alone" in note for note in found.notes)
        for value, truth in zip(map(found.value, NAMES), true, strict=True):
            held.append(value.at_bound or bool(value.low <= truth <= value.high))
            assert held[-1] or value.parameter.name == "drag area", (n, value, truth)
    assert len(held) == (0 if engine else 9), "engine speed shows that it is another car; speed alone hardly does"
    assert sum(held) >= len(held) - 1
