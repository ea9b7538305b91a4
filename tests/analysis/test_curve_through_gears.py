"""Launches through the gears, logged: known curves come back, and gears that differ are named instead of averaged."""

from __future__ import annotations

import shutil
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

import simlaunch
from readers.logs import write_csv
from simlaunch.errors import InputError, UsageError
from simlaunch.launching.ready import runnable
from simlaunch.logged import pulls
from simlaunch.logged.joined import Stretch, joined
from simlaunch.metrics.full_load import full_load
from simlaunch.physics.table import values_at
from simlaunch.record import Pedal
from simlaunch.scenario.model import Scenario
from simlaunch.simulation.trace import Trace

Array = NDArray[np.float64]
SCENARIOS = Path(__file__).parents[2] / "scenarios"
COUPE = simlaunch.load(SCENARIOS / "road-coupe.toml")
RPM = np.pi / 30.0
LIMITS = [
    {"gear": "2", "torque": "330 N m"},
    {"gear": "3", "torque": [["2000 rpm", "300 N m"], ["5000 rpm", "420 N m"], ["6900 rpm", "360 N m"]]},
]


def limited() -> Scenario:
    """The coupe without lag, less torque in two gears."""
    own = COUPE.curve("plateau").model_dump(exclude_unset=True)
    return COUPE.replace({"engine.boost_lagged_share": "0 %", "curves": [own | {"gear_limits": LIMITS}]})


@cache
def driven(name: str = "coupe") -> Trace:
    """A calculated launch over a kilometre."""
    scenario = limited() if name == "limited" else COUPE
    return simlaunch.simulate(scenario.replace({"run.until": ["1000 m"]}), "plateau").run.trace


def logged(path: Path, trace: Trace, rate: float, noise: float = 0.0, step: float = 0.0, seed: int = 3) -> Path:
    """A log of a launch with noise and steps in km/h, a second before the start."""
    rng = np.random.default_rng(seed)
    time = np.arange(-1.0, trace.time[-1], 1.0 / rate)
    speed = 3.6 * np.interp(time, trace.time, trace["speed"], left=0.0) + noise * rng.standard_normal(time.size)
    columns = {
        "Time [s]": time + 1.0,
        "Speed [km/h]": np.maximum(np.round(speed / step) * step if step else speed, 0.0),
        "Engine Speed [rpm]": np.interp(time, trace.time, trace["engine_speed"]) / RPM,
    }
    return write_csv(path, columns)


def off(found: Any, scenario: Scenario = COUPE) -> Array:
    """Relative error of a curve."""
    car = runnable(scenario, "plateau", Pedal.FULL)
    return np.asarray(found.torque / values_at(car.engine.torque, found.speed) - 1.0)


@pytest.mark.parametrize("rate", [10.0, 20.0, 100.0])
def test_a_known_curve_comes_back_from_one_launch(tmp_path: Path, rate: float) -> None:
    found = simlaunch.read_curve_from_logs([logged(tmp_path / "l.csv", driven(), rate)], COUPE, gear="all")
    assert np.abs(off(found)).max() < 0.01
    assert [each.gear for each in found.account.by_gear] == [2, 3, 4, 5]
    assert not any(each.apart for each in found.account.by_gear)
    assert np.ptp(found.speed) / RPM > 1000.0


@pytest.mark.parametrize(("rate", "noise", "step"), [(100.0, 0.1, 0.0), (20.0, 0.1, 0.0), (20.0, 0.0, 1.0)])
def test_with_noise_the_curve_is_within_one_percent(tmp_path: Path, rate: float, noise: float, step: float) -> None:
    """Root mean square over the curve; the scatter that is stated is of the size of the error."""
    logs = [logged(tmp_path / f"{k}.csv", driven(), rate, noise, step, seed=k) for k in range(2)]
    for some in (logs[:1], logs):
        found = simlaunch.read_curve_from_logs(some, COUPE, gear="all")
        error = float(np.sqrt(np.mean(off(found) ** 2)))
        assert error < 0.01
        assert error < 3.0 * float(np.mean(found.account.spread / found.torque))
        assert not any(each.apart for each in found.account.by_gear)


def test_a_launch_and_a_pull_are_joined(tmp_path: Path) -> None:
    """The pull brings the low engine speeds that the launch does not drive."""
    pull = SCENARIOS / "sheets" / "invented-pull-log.csv"
    launch = logged(tmp_path / "l.csv", driven(), 20.0, 0.1)
    found = simlaunch.read_curve_from_logs([launch, pull], COUPE, gear="all")
    assert found.speed[0] / RPM < 3300.0
    assert float(np.sqrt(np.mean(off(found) ** 2))) < 0.01


# --- gears that differ ---


@pytest.mark.parametrize("noise", [0.0, 0.1])
def test_torque_limits_by_gear_are_found_and_not_averaged_away(tmp_path: Path, noise: float) -> None:
    scenario, trace = limited(), driven("limited")
    found = simlaunch.read_curve_from_logs([logged(tmp_path / "l.csv", trace, 20.0, noise)], scenario, gear="all")
    assert np.abs(off(found, scenario)).max() < 0.01
    car = runnable(scenario, "plateau", Pedal.FULL)
    by_gear = {each.gear: each for each in found.account.by_gear}
    assert [gear for gear, each in by_gear.items() if each.apart] == [2, 3]
    for gear, each in by_gear.items():
        error = each.torque / full_load(car, gear, each.speed) - 1.0
        assert float(np.sqrt(np.mean(error**2))) < 0.01
        for low, high, gap, scatter in each.apart:
            inside = found.speed[(found.speed >= low) & (found.speed <= high)]
            true = np.mean(full_load(car, gear, inside) / values_at(car.engine.torque, inside)) - 1.0
            assert gap == pytest.approx(true, abs=0.01 + 3.0 * scatter)
    notes = " ".join(found.notes)
    assert "gear 2 gives" in notes
    assert "% less torque than the curve from 5500 to" in notes
    assert "gear 4 gives" not in notes


def test_the_saved_curve_holds_the_limits(tmp_path: Path) -> None:
    """Read back as the curve of a scenario, it gives in each gear what that gear gave."""
    scenario, trace = limited(), driven("limited")
    found = simlaunch.read_curve_from_logs([logged(tmp_path / "l.csv", trace, 20.0)], scenario, gear="all")
    shutil.copytree(SCENARIOS, tmp_path / "cars")
    found.save(tmp_path / "cars" / "c.csv")
    own = (tmp_path / "cars" / "road-coupe.toml").read_text(encoding="utf-8").replace("6900 rpm", "6700 rpm")
    path = tmp_path / "cars" / "read.toml"
    path.write_text(f'{own}\n[[curves]]\nname = "read"\nfile = "c.csv"\n', encoding="utf-8")
    again = simlaunch.load(path).replace({"engine.boost_lagged_share": "0 %"})
    car, true = runnable(again, "read", Pedal.FULL), runnable(scenario, "plateau", Pedal.FULL)
    speeds = np.array([5700.0, 6000.0, 6300.0]) * RPM
    for gear in (2, 3, 4):
        np.testing.assert_allclose(full_load(car, gear, speeds), full_load(true, gear, speeds), rtol=0.01)


def test_a_ratio_that_is_wrong_shows_in_its_gear(tmp_path: Path) -> None:
    """T is inverse to the ratio, so 3 % more ratio reads 3 % less torque. Source: T = F r / (e i)."""
    ratios = [each.text if n != 2 else f"{1.03 * each.si:.4f}" for n, each in enumerate(COUPE.gearbox.ratios)]
    wrong = COUPE.replace({"gearbox.ratios": ratios})
    found = simlaunch.read_curve_from_logs([logged(tmp_path / "l.csv", driven(), 20.0, 0.1)], wrong, gear="all")
    apart = {each.gear: each.apart for each in found.account.by_gear if each.apart}
    assert set(apart) == {3}
    assert apart[3][0][2] == pytest.approx(1.0 / 1.03 - 1.0, abs=0.01)


def test_two_gears_that_disagree_leave_the_one_with_more_torque() -> None:
    """Stretches by Newton's second law alone: v' = (T / leverage - R) / m, T level, less in one gear."""
    stretches = [_closed(3, 400.0), _closed(4, 300.0)]
    found = joined(stretches)
    assert found.kept == (3,)
    speeds = np.linspace(3200.0, 4800.0, 9) * RPM
    assert found.curve.torque(speeds) == pytest.approx(400.0, rel=1e-3)
    assert [each.gap for each in found.apart[4]] == pytest.approx([-0.25], abs=2e-3)
    assert joined([*stretches, _closed(5, 300.0)]).kept == (4, 5)  # two say the same against one


def _closed(gear: int, torque: float) -> Stretch:
    leverage, mass, square, ratio = 0.3 / gear**-0.5, 1500.0, 0.6, 30.0 * gear**-0.5
    time = np.arange(0.0, 200.0, 0.05)
    start = 3000.0 * RPM / ratio
    rate = lambda t, v: (torque / leverage - square * v**2) / mass  # noqa: E731
    speed = solve_ivp(rate, (0.0, 200.0), [start], t_eval=time, rtol=1e-10, atol=1e-10).y[0]
    inside = ratio * speed <= 5000.0 * RPM
    time, speed = time[inside], speed[inside]
    return Stretch(0, gear, time, speed, ratio * speed, np.full(time.size, mass), square * speed**2, leverage)


# --- what is refused ---


def test_what_is_refused(tmp_path: Path) -> None:
    time = np.arange(0.0, 20.0, 0.05)
    quiet = write_csv(tmp_path / "q.csv", {"Time [s]": time, "Speed [m/s]": np.minimum(5.0 * time, 40.0)})
    with pytest.raises(InputError, match="has no engine speed, by which gears are recognised"):
        simlaunch.read_curve_from_logs([quiet], COUPE, gear="all")
    still = {
        "Time [s]": time,
        "Speed [m/s]": np.full(time.size, 20.0),
        "Engine Speed [rpm]": np.full(time.size, 3000.0),
    }
    with pytest.raises(InputError, match=r"holds no stretch of 0.4 s in any gear \(\d+ samples: no pull"):
        simlaunch.read_curve_from_logs([write_csv(tmp_path / "s.csv", still)], COUPE, gear="all")
    with pytest.raises(UsageError, match='"all" joins all of them'):
        simlaunch.read_curve_from_logs([quiet], COUPE, gear="every")  # type: ignore[arg-type]


def test_the_first_axle_takes_what_the_clutch_of_the_second_one_does_not_carry() -> None:
    """Capacity at the half shafts over the rolling radius is the most that the second axle pushes. Source: balance of
    torque.
    """
    hatch = simlaunch.load(SCENARIOS / "clutch-hatch.toml")
    car = runnable(hatch, hatch.curve_names[0], Pedal.FULL)
    car.drive.capacity = 0.0
    whole, _, tyre = pulls.driven(car, 15.0, 6.0)
    assert tyre.radius == car.front.radius
    car.drive.capacity = 500.0
    held = pulls.driven(car, 15.0, 6.0)[0]
    assert held == pytest.approx(whole - 500.0 / car.rear.radius, rel=1e-12)
    car.drive.capacity = 1e6
    assert (
        0.4 * whole < pulls.driven(car, 15.0, 6.0)[0] < 0.6 * whole
    )  # as its load, of which the start moves some back
