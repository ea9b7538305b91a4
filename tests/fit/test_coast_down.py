"""Road load from coast-downs: the regulation's table, and closed forms."""

from __future__ import annotations

from math import atan, sqrt
from pathlib import Path

import pytest

from fit.coasted import coasted
from simlaunch.errors import InputError
from simlaunch.fitting.fit import fit
from simlaunch.fitting.histories import road_load
from simlaunch.fitting.logs import Kind, LogRequest
from simlaunch.logged.road_load import effective_mass
from simlaunch.parameters.fill import lower
from simlaunch.record import Pedal
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.reading import from_mapping, load
from simlaunch.simulation.run import complete

COUPE = load(Path(__file__).parents[2] / "scenarios" / "road-coupe.toml")

TABLE = [  # mass [kg], A [N], C [N/(km/h)^2], time from 70 to 60 km/h [s]
    (150.0, 4.32, 0.0238, 3.99),
    (200.0, 8.69, 0.0252, 4.85),
    (250.0, 13.06, 0.0266, 5.57),
    (300.0, 17.43, 0.0279, 6.18),
    (340.0, 20.92, 0.0290, 6.60),
]
"""40 CFR 86.529-98, road-load force A + C V^2 and coast-down times of motorcycles."""


def _light(mass: float) -> Scenario:
    """A scenario whose effective mass is one of the table's: a body with two small wheels."""
    data = COUPE.model_dump(exclude_unset=True)
    for name in ("uncertain", "tyres"):
        data.pop(name)
    data["tyres"] = {"both": {"radius": "0.3 m", "friction": "1", "wheel_inertia": "0.05 kg m^2"}}
    data["drive"] = {"driven": "rear", "inertia": "0.001 kg m^2"}
    turning = (4 * 0.05 + 0.001) / 0.09
    data["body"] = {**data["body"], "mass": f"{mass - turning:.6f} kg", "drag_area": "0.5 m^2",
                    "lift_area_front": "0 m^2", "lift_area_rear": "0 m^2"}  # fmt: skip
    return from_mapping(data, "light")


@pytest.mark.parametrize(("mass", "constant", "square", "time"), TABLE)
def test_rows_of_the_regulation(tmp_path: Path, mass: float, constant: float, square: float, time: float) -> None:
    """A, C and the time of the table come back from a log of the motion that they stand for.

    The motion is the closed form; the time is printed to 0.01 s and C to three figures, together 0.26 %.
    """
    scenario = _light(mass)
    path = coasted(tmp_path / "log.csv", mass=mass, constant=constant, square=square * 12.96, noise=0.02, end=6.0)
    found = fit(scenario, [LogRequest(path, Kind.COAST_DOWN)], ("drag area", "rolling resistance"), starts=1)
    load = found.runs[0].road_load
    assert load is not None
    assert load.effective_mass == pytest.approx(mass, rel=1e-6)
    assert load.time_between(70.0 / 3.6, 60.0 / 3.6) == pytest.approx(time, rel=2.6e-3)
    assert load.square / 12.96 == pytest.approx(square, rel=0.02)
    assert load.constant == pytest.approx(constant, abs=0.05 * constant + 0.3)
    assert abs(load.linear) < 1e-9
    assert found.runs[0].misfits[0].noisy_only


def test_intervals_of_coast_downs_hold_the_truth(tmp_path: Path) -> None:
    """Of 40 intervals, two for each of 20 logs, 95 % should; fewer than 34 have a chance of 1 in 100 (binomial)."""
    car = lower(COUPE, "peak", Pedal.FULL)
    complete(car)
    load, held = road_load(car, 5.0, 36.0), 0
    for seed in range(20):
        path = coasted(
            tmp_path / "log.csv",
            mass=effective_mass(car),
            constant=load.constant,
            square=load.square,
            seed=seed,
            rate=5.0,
        )
        found = fit(COUPE, [LogRequest(path, Kind.COAST_DOWN)], ("drag area", "rolling resistance"), starts=1)
        held += sum(each.low <= each.parameter.own <= each.high for each in found.fitted)
    assert held >= 34


def test_time_between_speeds_is_the_closed_form() -> None:
    """t = m / sqrt(F0 F2) [atan(v0 sqrt(F2/F0)) - atan(v1 sqrt(F2/F0))]: 152.60974 s for 1545 kg, 150 N, 0.40."""
    from simlaunch.fitting.histories import RoadLoad

    load = RoadLoad(150.0, 0.0, 0.40, 1545.0)
    assert load.time_between(120.0 / 3.6, 20.0 / 3.6) == pytest.approx(152.60974, rel=1e-7)
    root = sqrt(0.40 / 150.0)
    closed = 1545.0 / sqrt(60.0) * (atan(20.0 * root) - atan(10.0 * root))
    assert load.time_between(20.0, 10.0) == pytest.approx(closed, rel=1e-9)
    assert RoadLoad(150.0, 2.0, 0.35, 1545.0).time_between(120.0 / 3.6, 20.0 / 3.6) == pytest.approx(
        143.37918, rel=1e-7
    )


def test_a_launch_is_no_coast_down(tmp_path: Path) -> None:
    from fit.driven import Logger, driven, logged

    path = logged(tmp_path / "log.csv", driven(COUPE, {}, 8.0), Logger())
    with pytest.raises(InputError, match="which is no coast-down"):
        fit(COUPE, [LogRequest(path, Kind.COAST_DOWN)])


def test_a_coast_down_does_not_determine_mass(tmp_path: Path) -> None:
    """Force over mass is all that shows, so mass, drag and rolling resistance share one direction."""
    path = coasted(tmp_path / "log.csv", mass=1649.0, constant=172.6, square=0.4)
    data = COUPE.model_dump(exclude_unset=True)
    data.pop("uncertain")
    names = ("drag area", "rolling resistance", "mass")
    found = fit(from_mapping(data, "bare"), [LogRequest(path, Kind.COAST_DOWN)], names, starts=1)
    assert any("mass" in each.names for each in found.identifiability.unidentified)
