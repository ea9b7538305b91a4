"""Rolling starts against closed forms: constant force, constant power, a boost step, an elasticity by quadrature."""

from __future__ import annotations

from math import exp, pi
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq

from simlaunch.errors import UsageError
from simlaunch.launching.ready import aim
from simlaunch.metrics.marks import Kind, Roll, Target, mark
from simlaunch.metrics.summary import measure
from simlaunch.parameters.fill import lower
from simlaunch.physics.table import values_at
from simlaunch.record import Car, Pedal
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.reading import load
from simlaunch.simulation.run import Method, Run, complete, launch

SCENARIOS = Path(__file__).parents[2] / "scenarios"
COUPE, GRIP, SALOON = (
    load(SCENARIOS / f"{name}.toml") for name in ("road-coupe", "all-drive-grip", "all-drive-saloon")
)
RPM = pi / 30.0
START, END = 20.0, 35.0  # [m/s]
PLAIN = {
    "gearbox.ratios": ["2"], "gearbox.final_drive": "3", "gearbox.efficiency": "96 %",
    "engine.boost_lagged_share": "0 %", "body.drag_area": "0 m^2", "body.lift_area_front": "0 m^2",
    "body.lift_area_rear": "0 m^2", "coupling.capacity": "1500 N m", "tyres.both.slip_stiffness": "200",
    "tyres.both.rolling_resistance": "0", "road.friction_factor": "3", "uncertain": [], "parts": [],
}  # fmt: skip
"""One gear, no resistance, and tyres that hardly slip."""


def _plain(points: list[tuple[float, float]], **more: object) -> Scenario:
    curve = {"name": "plain", "points": [[f"{speed:.10g} rpm", f"{torque:.12g} N m"] for speed, torque in points]}
    return GRIP.replace({**PLAIN, "curves": [curve], **more})


def _rolled(scenario: Scenario, target: Target, method: Method = Method.COMPILED) -> tuple[Car, Run]:
    car = lower(scenario, scenario.curve_names[0], Pedal.FULL)
    complete(car)
    aim(car, (target,))
    return car, launch(car, method=method)


def _turning_mass(car: Car, gear: int) -> float:
    """Mass of the car with all that turns [kg]."""
    ratio, radius = float(car.gearbox.ratio[gear]), float(car.rear.radius)
    engine = float(car.gearbox.efficiency[gear]) * ratio**2 * float(car.engine.inertia + car.gearbox.input_inertia)
    wheels = float(car.front.axle_inertia + car.rear.axle_inertia + car.drive.inertia)
    return float(car.body.mass) + (wheels + engine) / radius**2


def _pull(car: Car, gear: int, torque: float) -> float:
    """Force at the wheels [N]."""
    return float(torque * car.gearbox.ratio[gear] * car.gearbox.efficiency[gear] / car.rear.radius)


ROLL = Target("roll", Kind.ROLL, START, END, Roll(START, 1, shifting=False))


def test_constant_force_from_a_speed() -> None:
    """t = m (v1 - v0) / F; any textbook of mechanics."""
    car, run = _rolled(_plain([(1000, 200.0), (7000, 200.0)]), ROLL)
    expected = _turning_mass(car, 0) * (END - START) / _pull(car, 0, 200.0)
    assert mark(run.trace, ROLL).time == pytest.approx(expected, rel=0.01)  # half shafts wind up, tyres slip a little


def test_constant_force_over_a_distance() -> None:
    """s = v0 t + F t^2 / (2 m)."""
    target = Target("roll", Kind.ROLL_DISTANCE, 0.0, 150.0, Roll(START, 1, shifting=False))
    car, run = _rolled(_plain([(1000, 200.0), (7000, 200.0)]), target)
    a = _pull(car, 0, 200.0) / _turning_mass(car, 0)
    expected = (-START + np.sqrt(START**2 + 2.0 * a * 150.0)) / a
    found = mark(run.trace, target)
    assert found.time == pytest.approx(expected, rel=0.005)
    assert found.speed == pytest.approx(START + a * expected, rel=0.005)


def test_constant_power_from_a_speed() -> None:
    """t = m (v1^2 - v0^2) / (2 P); any textbook of mechanics."""
    speeds = np.linspace(1500.0, 7000.0, 200)
    car, run = _rolled(_plain([(float(n), 120e3 / (float(n) * RPM)) for n in speeds]), ROLL)
    power = 120e3 * float(car.gearbox.efficiency[0])
    expected = _turning_mass(car, 0) * (END**2 - START**2) / (2.0 * power)
    assert mark(run.trace, ROLL).time == pytest.approx(expected, rel=0.02)


@pytest.mark.parametrize("built", [0.0, 0.5, 1.0])
def test_a_boost_step_of_first_order(built: float) -> None:
    """F = F0 (1 - s (1 - b) exp(-t / tau)), so v - v0 = F0 / m (t - s (1 - b) tau (1 - exp(-t / tau)))."""
    share, tau = 0.6, 0.5
    scenario = _plain(
        [(1000, 200.0), (7000, 200.0)],
        **{"engine.boost_lagged_share": "60 %", "engine.boost_time_constant": [["1000 rpm", "0.5 s"]]},
    )
    target = Target("roll", Kind.ROLL, START, END, Roll(START, 1, shifting=False, boost=built))
    car, run = _rolled(scenario, target)
    a = _pull(car, 0, 200.0) / _turning_mass(car, 0)

    def gained(t: float) -> float:
        return a * (t - share * (1.0 - built) * tau * (1.0 - exp(-t / tau))) - (END - START)

    expected = brentq(gained, 0.1, 60.0)
    assert mark(run.trace, target).time == pytest.approx(expected, rel=0.01)


@pytest.mark.parametrize("gear", [4, 5])
def test_elasticity_by_the_force_diagram(gear: int) -> None:
    """t = integral of m dv / (F(v) - R(v)): pull of the curve in gear less drag and rolling resistance.

    Source: force diagram of a gear, as in Gillespie, Fundamentals of Vehicle Dynamics (1992), chapter 2 (from memory).
    """
    stiff = {"tyres.rear.slip_stiffness": "200", "tyres.front.slip_stiffness": "200"}
    scenario = COUPE.replace({"engine.boost_lagged_share": "0 %", "uncertain": [], "parts": [], **stiff})
    start, end = 80.0 / 3.6, 120.0 / 3.6
    target = Target("roll", Kind.ROLL, start, end, Roll(start, gear, shifting=False))
    car, run = _rolled(scenario, target)
    mass, ratio, radius = _turning_mass(car, gear - 1), float(car.gearbox.ratio[gear - 1]), float(car.rear.radius)

    def needed(v: float) -> float:
        torque = float(values_at(car.engine.torque, np.array([v / radius * ratio]))[0])
        drag = 0.5 * float(car.air.density) * float(car.body.drag_area) * v * v
        coefficient = float(car.rear.rolling_resistance + car.rear.rolling_resistance_square * v * v)
        rolling = float(car.road.rolling_factor) * coefficient * float(car.body.mass) * 9.80665
        return mass / (_pull(car, gear - 1, torque) - drag - rolling)

    expected, _ = quad(needed, start, end)
    assert mark(run.trace, target).time == pytest.approx(expected, rel=0.01)  # slip and lift are left out by hand


@pytest.mark.parametrize("scenario", [COUPE, GRIP, SALOON], ids=["clutch", "two clutches", "converter"])
@pytest.mark.parametrize("gear", [0, 4])
def test_the_energy_of_a_rolling_start_adds_up(scenario: Scenario, gear: int) -> None:
    target = Target("roll", Kind.ROLL, 80.0 / 3.6, 160.0 / 3.6, Roll(80.0 / 3.6, gear))
    car, run = _rolled(scenario, target)
    assert not measure(run, car, (target,)).audit.bad
    assert run.trace["speed"][0] == pytest.approx(80.0 / 3.6)


@pytest.mark.parametrize("scenario", [COUPE, SALOON], ids=["clutch", "converter"])
def test_both_methods_agree_on_a_rolling_start(scenario: Scenario) -> None:
    """SciPy's DOP853 as the reference."""
    target = Target("roll", Kind.ROLL, 20.0, 40.0, Roll(20.0))
    times = [mark(_rolled(scenario, target, method)[1].trace, target).time for method in Method]
    assert times[0] == pytest.approx(times[1], abs=1e-4)


def test_a_driver_takes_the_gear_that_pulls_hardest_and_is_not_left_at_once() -> None:
    for scenario in (COUPE, GRIP):
        for speed in (15.0, 25.0, 35.0, 45.0):
            times = {}
            for gear in range(1, len(scenario.gearbox.ratios) + 1):
                target = Target("roll", Kind.ROLL, speed, speed + 1.0, Roll(speed, gear, shifting=False))
                try:
                    times[gear] = mark(_rolled(scenario, target)[1].trace, target).time
                except UsageError:  # the engine does not run there
                    continue
            free = Target("roll", Kind.ROLL, speed, speed + 1.0, Roll(speed))
            car, run = _rolled(scenario, free)
            taken = round(float(run.trace["gear"][0]))
            lower_left = {g: t for g, t in times.items() if speed <= 0.95 * _left_at(car, g)}
            assert times[taken] <= min(lower_left.values()) + 0.02


def _left_at(car: Car, gear: int) -> float:
    """Road speed at which a gear is left [m/s]."""
    speeds = car.gearbox.shift_road_speed
    return float(speeds[gear - 1]) if gear < int(car.gearbox.count) else np.inf


@pytest.mark.parametrize(("gear", "words"), [(9, "has 6 gears"), (1, "the engine would turn at")])
def test_a_gear_that_does_not_do_is_refused(gear: int, words: str) -> None:
    target = Target("roll", Kind.ROLL, 50.0, 60.0, Roll(50.0, gear))
    with pytest.raises(UsageError, match=words):
        _rolled(COUPE, target)


def test_one_launch_has_one_start() -> None:
    car = lower(COUPE, "peak", Pedal.FULL)
    complete(car)
    with pytest.raises(UsageError, match="several starts"):
        aim(car, (ROLL, Target("1/4 mile", Kind.DISTANCE, 0.0, 402.336)))
