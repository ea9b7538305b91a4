"""Pulls of known curves, logged: by the program's own launches, by a textbook's equation, and by a closed form."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import solve_ivp
from scipy.interpolate import PchipInterpolator

import simlaunch
from fit.coasted import coasted
from readers.logs import write_csv
from simlaunch.errors import InputError, UsageError
from simlaunch.launching.ready import runnable
from simlaunch.launching.targets import target_named
from simlaunch.physics.table import value_at
from simlaunch.record import Car, Pedal
from simlaunch.simulation.run import launch
from simlaunch.simulation.trace import Trace

Array = NDArray[np.float64]
SCENARIOS = Path(__file__).parents[2] / "scenarios"
COUPE = simlaunch.load(SCENARIOS / "road-coupe.toml")
STEADY = 2.0  # before the driver presses the pedal [s]


@cache
def pulled() -> tuple[Car, Trace]:
    """A calculated pull of the coupe in fourth gear."""
    car = runnable(COUPE, "plateau", Pedal.FULL, [target_named(COUPE, "roll 70 km/h to 185 km/h in gear 4")])
    return car, launch(car).trace


def log(path: Path, trace: Trace, rate: float, noise: float = 0.0, step: float = 0.0, *, engine: bool = True) -> Path:
    """A log of a run with noise and steps in km/h."""
    rng = np.random.default_rng(3)
    time = np.arange(-STEADY, trace.time[-1], 1.0 / rate)
    speed = 3.6 * np.interp(time, trace.time, trace["speed"]) + noise * rng.standard_normal(time.size)
    columns = {"Time [s]": time + STEADY, "Speed [km/h]": np.round(speed / step) * step if step else speed}
    if engine:
        columns["Engine Speed [rpm]"] = np.interp(time, trace.time, trace["engine_speed"]) * 30.0 / np.pi
    return write_csv(path, columns)


def off(found: object, car: Car) -> Array:
    """Relative error of a curve."""
    true = np.array([value_at(car.engine.torque, float(w)) for w in found.speed])  # type: ignore[attr-defined]
    return np.asarray(found.torque / true - 1.0)  # type: ignore[attr-defined]


@pytest.mark.parametrize("engine", [True, False])
@pytest.mark.parametrize("rate", [10.0, 20.0, 100.0])
def test_a_known_curve_comes_back_without_noise(tmp_path: Path, rate: float, engine: bool) -> None:
    car, trace = pulled()
    found = simlaunch.read_curve_from_logs([log(tmp_path / "l.csv", trace, rate, engine=engine)], COUPE, gear=4)
    assert np.abs(off(found, car)).max() < 0.01
    assert np.ptp(found.speed) * 30.0 / np.pi > 3000.0


@pytest.mark.parametrize(
    ("rate", "noise", "step"), [(100.0, 0.1, 0.0), (20.0, 0.1, 0.0), (10.0, 0.1, 0.1), (20.0, 0.0, 1.0)]
)
def test_with_noise_the_curve_is_within_one_percent(tmp_path: Path, rate: float, noise: float, step: float) -> None:
    """Root mean square over the curve; single points scatter more, as the guide says."""
    car, trace = pulled()
    found = simlaunch.read_curve_from_logs([log(tmp_path / "l.csv", trace, rate, noise, step)], COUPE)
    assert float(np.sqrt(np.mean(off(found, car) ** 2))) < 0.01
    assert any("scatters by" in note for note in found.notes)


def test_the_equation_of_a_textbook(tmp_path: Path) -> None:
    """A pull by m_e v' = e i T / r - R, which shares no code: Gillespie, ch. 2 (from memory), no slip, no lag."""
    car, _ = pulled()
    ratio, efficiency = float(car.gearbox.ratio[3]), float(car.gearbox.efficiency[3])
    radius, mass = float(car.rear.radius), float(car.body.mass)
    wheels = (car.front.axle_inertia / car.front.radius**2) + (car.rear.axle_inertia + car.drive.inertia) / radius**2
    moved = mass + wheels + efficiency * ratio**2 * (car.engine.inertia + car.gearbox.input_inertia) / radius**2
    curve = PchipInterpolator([200.0, 350.0, 500.0, 720.0], [300.0, 420.0, 400.0, 330.0])
    rolling = float(car.rear.rolling_resistance) * float(car.road.rolling_factor)
    square = float(car.rear.rolling_resistance_square) * float(car.road.rolling_factor)

    def rate(t: float, v: Array) -> Array:
        drag = 0.5 * car.air.density * car.body.drag_area * v**2
        slowing = (rolling + square * v**2) * (mass * 9.80665 - 0.5 * car.air.density * v**2 * lift) + drag
        return np.asarray((efficiency * ratio * curve(ratio * v / radius) / radius - slowing) / moved)

    lift = float(car.body.lift_area_front + car.body.lift_area_rear)
    time = np.arange(0.0, 12.0, 0.02)
    speed = solve_ivp(rate, (0.0, 12.0), [20.0], t_eval=time, rtol=1e-9, atol=1e-9).y[0]
    columns = {"Time [s]": time, "Speed [m/s]": speed, "Engine Speed [rpm]": ratio * speed / radius * 30.0 / np.pi}
    found = simlaunch.read_curve_from_logs([write_csv(tmp_path / "l.csv", columns)], COUPE)
    assert np.abs(found.torque / curve(found.speed) - 1.0).max() < 0.01


def test_road_load_from_a_coast_down(tmp_path: Path) -> None:
    """A wrong drag gives a wrong curve; fitted to a coast-down of the true car, it gives the right one."""
    from simlaunch.fitting.histories import road_load
    from simlaunch.logged.road_load import effective_mass

    car, trace = pulled()
    load = road_load(car, 5.0, 36.0)
    coast = coasted(
        tmp_path / "coast.csv", mass=effective_mass(car), constant=load.constant, square=load.square, rate=5.0
    )
    wrong = COUPE.replace({"body.drag_area": "1.1 m^2"})
    path = log(tmp_path / "l.csv", trace, 20.0)
    assert np.abs(off(simlaunch.read_curve_from_logs([path], wrong), car)).max() > 0.05
    request = simlaunch.LogRequest(coast, "coast-down")
    fit = simlaunch.fit(wrong, [request], ("drag area", "rolling resistance"), starts=1)
    area, rolling = (fit.value(name).value for name in ("drag area", "rolling resistance"))
    right = wrong.replace({"body.drag_area": f"{area:.5f} m^2", "road.rolling_factor": f"{rolling:.5f}"})
    assert np.abs(off(simlaunch.read_curve_from_logs([path], right), car)).max() < 0.015


def test_the_curve_is_saved_as_a_scenario_reads_it(tmp_path: Path) -> None:
    _, trace = pulled()
    found = simlaunch.read_curve_from_logs([log(tmp_path / "l.csv", trace, 20.0)], COUPE)
    found.save(tmp_path / "c.csv")
    again = simlaunch.read_curve([tmp_path / "c.csv"])
    assert again.account.measured_at is simlaunch.MeasuredAt.CRANK
    assert again.account.correction is simlaunch.Correction.NONE
    assert again.torque == pytest.approx(np.interp(again.speed, found.speed, found.torque), rel=2e-3)


def test_several_pulls_are_averaged(tmp_path: Path) -> None:
    car, trace = pulled()
    logs = [log(tmp_path / f"{rate:g}.csv", trace, rate, 0.1) for rate in (20.0, 25.0, 40.0)]
    found = simlaunch.read_curve_from_logs(logs, COUPE)
    assert len(found.account.pulls) == 3
    assert found.account.spread.max() > 0.0
    assert float(np.sqrt(np.mean(off(found, car) ** 2))) < 0.01


def test_a_launch_with_shifts_is_read_in_the_gear_that_is_named(tmp_path: Path) -> None:
    run = simlaunch.simulate(COUPE.replace({"run.until": ["1000 m"]}), "plateau").run
    path = log(tmp_path / "l.csv", run.trace, 50.0)
    found = simlaunch.read_curve_from_logs([path], COUPE, gear=3)
    car, _ = pulled()
    reasons = " ".join(dropped.why for dropped in found.account.dropped)
    assert "gear 3" in reasons
    assert "boost builds up" in reasons
    assert np.abs(off(found, car)).max() < 0.02


def test_a_slipping_clutch_is_left_out(tmp_path: Path) -> None:
    car, trace = pulled()
    slips = np.where((trace.time > 6.0) & (trace.time < 6.6), 1.2, 1.0)
    other = Trace(trace.time, {"speed": trace["speed"], "engine_speed": trace["engine_speed"] * slips})
    found = simlaunch.read_curve_from_logs([log(tmp_path / "l.csv", other, 50.0)], COUPE, gear=4)
    assert any("slipping clutch" in dropped.why for dropped in found.account.dropped)
    assert np.abs(off(found, car)).max() < 0.01


def test_what_is_refused(tmp_path: Path) -> None:
    time = np.arange(0.0, 10.0, 0.05)
    _, trace = pulled()
    sound = log(tmp_path / "l.csv", trace, 20.0, engine=False)
    with pytest.raises(InputError, match="state the gear of the pull, such as --gear 4"):
        simlaunch.read_curve_from_logs([sound], COUPE)
    with pytest.raises(UsageError, match="there is no gear 9"):
        simlaunch.read_curve_from_logs([sound], COUPE, gear=9)
    with pytest.raises(UsageError, match="no log is named"):
        simlaunch.read_curve_from_logs([], COUPE)
    still = write_csv(tmp_path / "still.csv", {"Time [s]": time, "Speed [m/s]": np.full(time.size, 20.0)})
    with pytest.raises(InputError, match="holds no pull of 1 s in gear 4"):
        simlaunch.read_curve_from_logs([still], COUPE, gear=4)
    few = write_csv(tmp_path / "few.csv", {"Time [s]": time[:9], "Speed [m/s]": 20.0 + 4.0 * time[:9]})
    with pytest.raises(InputError, match="has 9 samples"):
        simlaunch.read_curve_from_logs([few], COUPE, gear=4)
