"""The demonstration scenarios are sound, invented, and say what they are meant to say."""

from __future__ import annotations

import math
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from simlaunch.parameters.fill import lower
from simlaunch.record import Car, Pedal
from simlaunch.scenario.defaults import defaults
from simlaunch.scenario.model import Scenario, warnings
from simlaunch.scenario.reading import load

FOLDER = Path(__file__).parents[2] / "scenarios"
FILES = sorted(FOLDER.glob("*.toml"))
NAMES = {"hill-roadster", "road-coupe", "front-hatch", "all-drive-saloon", "track-car", "all-drive-grip",
         "clutch-hatch"}  # fmt: skip


def _demo(name: str) -> Scenario:
    return load(FOLDER / f"{name}.toml")


def _first_gear_force(car: Car, torque: float) -> float:
    return float(torque * car.gearbox.ratio[0] * car.gearbox.efficiency[0] / car.rear.radius)


def _peak(scenario: Scenario, name: str) -> float:
    return max(torque.si for _, torque in scenario.curve(name).points)


def test_all_are_there() -> None:
    assert {path.stem for path in FILES} >= NAMES


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_scenario_is_sound(path: Path) -> None:
    scenario = load(path)
    assert "Invented" in (scenario.note or "")
    assert len(scenario.curves) >= 2
    assert warnings(scenario) == ()
    assert all(entry.origin for entry in defaults(scenario))
    for name in scenario.curve_names:
        car = lower(scenario, name, Pedal.HELD_SLIP)
        assert car.engine.torque.count >= 2
        assert np.isfinite(car.engine.torque.cubic[: car.engine.torque.count]).all()


def test_coupe_peaks_high_and_the_plateau_has_more_at_the_top() -> None:
    scenario = _demo("road-coupe")
    curves = {
        name: {speed.text: torque.si for speed, torque in scenario.curve(name).points} for name in ("peak", "plateau")
    }
    assert _peak(scenario, "peak") > 1.15 * _peak(scenario, "plateau")
    assert curves["plateau"]["6500 rpm"] > curves["peak"]["6500 rpm"]


def test_coupe_spins_in_first_gear_with_either_curve() -> None:
    # rear drive at the limit: a = mu g (a1/L) / (1 - mu h/L) (Wong, Gillespie; from memory)
    scenario = _demo("road-coupe")
    car = lower(scenario, "plateau", Pedal.FULL)
    body, mu = car.body, car.rear.friction
    limit = mu * 9.80665 * (1 - body.front_share) / (1 - mu * body.cg_height / body.wheelbase) * body.mass
    assert _first_gear_force(car, _peak(scenario, "plateau")) > 1.3 * limit


def test_grip_car_stays_below_its_grip_with_either_curve() -> None:
    scenario = _demo("all-drive-grip")
    car = lower(scenario, "higher peak", Pedal.FULL)
    limit = car.rear.friction * car.road.friction_factor * car.body.mass * 9.80665  # all wheels: a = mu g
    assert _first_gear_force(car, _peak(scenario, "higher peak")) < 0.8 * limit
    assert _peak(scenario, "higher peak") > 1.2 * _peak(scenario, "as delivered")


def test_track_car_has_downforce() -> None:
    car = lower(_demo("track-car"), "peak", Pedal.FULL)
    assert car.body.lift_area_front < 0.0
    assert car.body.lift_area_rear < 0.0


def test_saloon_stalls_at_a_plausible_speed() -> None:
    # common practice: road converters stall at 1800 to 3000 rpm
    scenario = _demo("all-drive-saloon")
    car = lower(scenario, "as delivered", Pedal.FULL)
    stall = math.sqrt(500.0 / car.coupling.fluid_capacity.cubic[0, 0]) * 60 / (2 * math.pi)
    assert 1800 < stall < 3000


def test_reading_needs_neither_the_compiler_nor_figures() -> None:
    code = (
        "import sys; from simlaunch.scenario.reading import load;"
        f"load({str(FOLDER / 'road-coupe.toml')!r});"
        "print(sorted({'numba', 'matplotlib', 'scipy.interpolate', 'typer'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=FOLDER.parent)
    assert done.stdout.strip() == "[]"


def test_importing_the_models_does_not_import_the_unit_library() -> None:
    code = "import sys; import simlaunch.scenario.reading; print('pint' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=FOLDER.parent)
    assert done.stdout.strip() == "False"
