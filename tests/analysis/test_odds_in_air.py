"""Weather that is drawn acts on torque where a curve states how it follows the air."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from simlaunch.analysis.odds import odds
from simlaunch.launching.goals import goal
from simlaunch.parameters.fill import lower
from simlaunch.parameters.weather import Weather, torque_factor
from simlaunch.record import Pedal
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.reading import load
from simlaunch.uncertainty.draws import draws

COUPE = load(Path(__file__).parents[2] / "scenarios" / "road-coupe.toml").replace({"run.until": ["60 m"]})
DAY = [{"key": "air.temperature", "kind": "uniform", "low": "-5 degC", "high": "35 degC", "origin": "invented"}]


def _coupe(*kinds: str) -> Scenario:
    """The coupe with its two curves, each of which follows the air in its own way."""
    own = [curve.model_dump(exclude_unset=True) for curve in COUPE.curves]
    ways = [{"correction": "ISO 1585", "weather": {"kind": kind}} for kind in kinds]
    return COUPE.replace({"curves": [a | b for a, b in zip(own, ways, strict=True)], "uncertain": DAY})


def test_each_curve_is_drawn_in_its_own_way() -> None:
    """Torque of every drawn car is that of a scenario read with the drawn temperature, bit for bit."""
    scenario = _coupe("naturally aspirated", "held charge pressure")
    ready = draws(scenario, ("peak", "plateau"), Pedal.FULL, goal(scenario))
    values = ready.values(np.array([[0.02], [0.5], [0.97]]))
    natural, held = (ready.made(values, which) for which in (0, 1))
    for k, kelvin in enumerate(values[:, 0]):
        weather = Weather(scenario.air.pressure_si, float(kelvin), scenario.air.humidity.si)
        factor = torque_factor(scenario.curve("peak"), weather)
        stated = lower(COUPE, "peak", Pedal.FULL).engine.torque.cubic[:, 0]
        np.testing.assert_allclose(natural["engine"]["torque"]["cubic"][k, :, 0], factor * stated, rtol=1e-12)
        plain = lower(COUPE, "plateau", Pedal.FULL).engine.torque
        assert held["engine"]["torque"][k].tobytes() == plain.tobytes()


def test_weather_on_torque_widens_the_difference() -> None:
    """The same days move the gap more where one engine feels them and the other does not."""
    spread = {}
    for kinds in (("held charge pressure",) * 2, ("naturally aspirated", "held charge pressure")):
        low, _, high = odds(_coupe(*kinds), "peak", "plateau", cases=64, with_effects=False).difference_quantiles()
        spread[kinds[0]] = high - low
    assert spread["naturally aspirated"] > 3.0 * spread["held charge pressure"]
