"""Constant power: one gear whose torque is flat up to 20 m/s and then falls as power over speed.

The figures are closed forms for m = 1500 kg, P = 150 kW at the wheels, k = 0.40425 kg/m; each agrees with quadrature
of m dv/dt = P / v - k v^2. At rest constant power would mean an infinite force, so runs begin with F = 7500 N.
"""

from __future__ import annotations

import numpy as np
import pytest

from cars import Changes, constant_power, gears, on_both_axles, point_mass
from closed_form.midway import Stretch, in_gear, run_on, time_at, value_at
from simlaunch.physics import body
from simlaunch.record import Car, ShiftKind
from simlaunch.simulation.run import launch

POWER = 150e3
LOW = 20.0 / 0.03  # engine speed at 20 m/s [rad/s]
MPH = 0.44704
ROLLING = on_both_axles({"rolling_resistance": 0.012 * 1500.0 / 900.0})  # of the body's weight; wheels weigh nothing


def powered(changes: Changes | None = None) -> Car:
    return point_mass({**constant_power(POWER, LOW, 4.0 * LOW), **(changes or {})})


def run(changes: Changes, duration: float) -> Stretch:
    car = powered(changes)
    return run_on(car, in_gear(0.0, car), duration)


def test_grip_limited_then_power_limited() -> None:
    """t = t1 + m (v^2 - v1^2) / 2P, x = x1 + m (v^3 - v1^3) / 3P, from F = 7500 N up to v1 = 20 m/s."""
    rolled = run({}, 14.5)
    assert time_at(rolled, "speed", 60 * MPH) == pytest.approx(5.597206, rel=2e-5)
    assert time_at(rolled, "speed", 100 / 3.6) == pytest.approx(5.858025, rel=2e-5)
    for distance, time, speed in ((201.168, 9.349109, 38.338254), (402.336, 13.940410, 48.868005)):
        assert time_at(rolled, "distance", distance) == pytest.approx(time, rel=2e-5)
        assert value_at(rolled, "speed", time) == pytest.approx(speed, rel=2e-5)


@pytest.mark.parametrize(
    ("drag_area", "low", "high", "time"),
    [
        (0.0, 60 * MPH, 130 * MPH, 13.289677),
        (0.0, 100 / 3.6, 200 / 3.6, 11.574076),
        (0.66, 60 * MPH, 130 * MPH, 18.76147),
        (0.66, 100 / 3.6, 200 / 3.6, 19.54942 - 3.95053),
    ],
)
def test_time_between_speeds(drag_area: float, low: float, high: float, time: float) -> None:
    """t = m (v2^2 - v1^2) / 2P; with drag the cubic's logarithm and arctangent."""
    rolled = run({"body.drag_area": drag_area}, 27.0)
    assert time_at(rolled, "speed", high) - time_at(rolled, "speed", low) == pytest.approx(time, rel=3e-5)


def test_distance_between_speeds_with_drag() -> None:
    """x = (m / 3k) ln(P / (P - k v^3)): 73.5914 m to 100 km/h, 766.9676 m to 200 km/h."""
    rolled = run({"body.drag_area": 0.66}, 27.0)
    ends = [value_at(rolled, "distance", time_at(rolled, "speed", speed / 3.6)) for speed in (100, 200)]
    assert ends[1] - ends[0] == pytest.approx(766.9676 - 73.5914, rel=3e-5)


@pytest.mark.parametrize("start", [69.7, 70.0])
def test_top_speed(start: float) -> None:
    """P = k v^3 + f m g v at 69.83388 m/s, approached from below and from above."""
    car = powered({"body.drag_area": 0.66, **ROLLING})
    rolled = run_on(car, in_gear(start, car), 100.0, tolerance=1e-8)
    # the difference dies out as exp(-0.058 t): what is left of 0.17 m/s is 0.0005 m/s
    assert rolled["speed"][-1] == pytest.approx(69.83388, abs=1e-3)


def test_top_speed_with_drag_only() -> None:
    """v = (P / k)^(1/3) = 71.85887 m/s: there the acceleration is nothing."""
    car = powered({"body.drag_area": 0.66})
    rolled = run_on(car, in_gear(71.85887, car), 0.5)
    assert abs(rolled["acceleration"][-1]) < 1e-3  # a slope of 0.06 1/s times the slip of a few parts in a million


@pytest.mark.parametrize("ratios", [(10.0, 6.0, 3.5), (10.0, 7.5, 5.0, 4.0, 3.0)])
def test_time_does_not_depend_on_gears(ratios: tuple[float, ...]) -> None:
    """F = P / v whatever the gear: gear changes that take no time change no time. Source: definition of power."""
    count = len(ratios)
    car = powered({
        **gears(*ratios, efficiency=1.0), "gearbox.shift_kind": int(ShiftKind.TORQUE_HAND_OVER),
        "gearbox.hand_over": 0.0, "gearbox.inertia_phase": 1e-5, "gearbox.shift_speed": [1.8 * LOW] * (count - 1),
    })  # fmt: skip
    rolled = run_on(car, in_gear(0.0, car), 14.5)
    assert rolled["gear"][-1] >= 2
    assert time_at(rolled, "distance", 402.336) == pytest.approx(13.940410, rel=3e-5)


@pytest.mark.parametrize("gap", [0.1, 0.3])
def test_a_gap_costs_its_own_length(gap: float) -> None:
    """Without resistance each gap adds dt to the time to a speed and v dt to the distance. Source: Newton's first law.

    What turns with the engine has 2e-6 kg m^2: its energy, 4 J at 2000 rad/s, is worth 0.03 ms.
    """
    light = {"engine.inertia": 1e-6, "gearbox.input_inertia": 1e-6}
    ratios, shifts = (10.0, 7.5, 5.5, 4.0), (1.8 * LOW, 1.7 * LOW, 1.6 * LOW)
    car = powered({
        **gears(*ratios, efficiency=1.0), "gearbox.ramp_down": 0.0, "gearbox.gap": gap, "gearbox.ramp_up": 0.0,
        "gearbox.shift_speed": shifts, **light,
    })  # fmt: skip
    plain = run(light, 30.0)
    rolled = run_on(car, in_gear(0.0, car), 30.0)
    assert rolled["gear"][-1] == 4
    top = 60.0
    assert time_at(rolled, "speed", top) - time_at(plain, "speed", top) == pytest.approx(3 * gap, abs=4e-5)
    speeds = [0.3 * speed / ratio for speed, ratio in zip(shifts, ratios, strict=False)]
    ends = [value_at(part, "distance", time_at(part, "speed", top)) for part in (plain, rolled)]
    assert ends[1] - ends[0] == pytest.approx(sum(speeds) * gap, abs=0.01)


@pytest.mark.parametrize("drag_area", [0.0, 0.66])
def test_whole_launch_with_a_slipping_clutch(drag_area: float) -> None:
    """A clutch that carries exactly the torque of the engine gives the constant force from the first moment on.

    402.336 m in 13.940410 s at 48.868005 m/s without drag.
    """
    torque = POWER / LOW
    car = powered({"coupling.capacity": torque, "launch.engine_speed": 300.0, "launch.boost": 1.0,
                   "body.drag_area": drag_area})  # fmt: skip
    ended = launch(car, tolerance=1e-10)
    in_one = run({"body.drag_area": drag_area}, 20.0)
    assert ended.trace.time[-1] == pytest.approx(time_at(in_one, "distance", 402.336), rel=2e-5)
    if drag_area == 0.0:
        assert ended.trace.time[-1] == pytest.approx(13.940410, rel=2e-5)
        assert ended.trace["speed"][-1] == pytest.approx(48.868005, rel=2e-5)


def test_limiter_holds_the_engine_where_torque_meets_resistance() -> None:
    """T (limit - w) / band = k v^2 r / i in steady state, below the limit. Source: balance of torques on the ramp."""
    limit, band = 1.5 * LOW, 10.0
    car = powered({"body.drag_area": 0.66, "engine.rev_limit": limit, "engine.limiter_band": band})
    rolled = run_on(car, in_gear(29.0, car), 20.0)
    speed = rolled["engine_speed"][-1]
    assert limit - band < speed < limit
    resistance = 0.40425 * (0.03 * speed) ** 2 * 0.03
    assert rolled["engine_torque"][-1] == pytest.approx(resistance, rel=1e-4)
    assert speed == pytest.approx(limit - band * resistance / (POWER / speed), abs=1e-3)


def test_rolling_resistance_is_a_share_of_the_weight() -> None:
    """F = f m g, the share of the top-speed problem. Source: definition of the coefficient."""
    assert pytest.approx(176.52, abs=0.005) == 0.012 * 1500.0 * body.GRAVITY
    car = powered(ROLLING)
    car.engine.torque.cubic[:] = 0.0
    rolled = run_on(car, in_gear(30.0, car), 2.0)
    lost = value_at(rolled, "speed", 0.9) - value_at(rolled, "speed", 1.9)
    assert lost == pytest.approx(176.5197 / 1500.0, rel=3e-5)
    assert np.all(np.diff(rolled["speed"]) <= 0.0)
