"""Coast-down: engine disconnected, wheels free, drag and rolling resistance alone."""

from __future__ import annotations

from math import atan, log, sqrt

import pytest

from cars import on_both_axles, point_mass
from closed_form.midway import in_gear, run_on, time_at, value_at
from simlaunch.physics import body
from simlaunch.physics import state as at
from simlaunch.record import Car

AIR = 1.225


def coasting(mass: float, constant: float, square: float, *, tyre_share: float = 0.0) -> Car:
    """A car of effective mass [kg] with a resistance F0 + F2 v^2 [N], part of F2 in the tyres."""
    load = 0.6 * mass * body.GRAVITY
    return point_mass({
        "body.mass": 0.6 * mass, "body.drag_area": 2.0 * (1.0 - tyre_share) * square / AIR,
        **on_both_axles({
            "axle_inertia": 0.2 * mass * 0.09, "rolling_resistance": constant / load,
            "rolling_resistance_square": tyre_share * square / load,
        }),
        "engine.torque": ((10.0, 1e4), (0.0, 0.0)), "gearbox.input_inertia": 1e-8,
    })  # fmt: skip


def coast_time(mass: float, constant: float, square: float, start: float, end: float) -> float:
    root = sqrt(square / constant)
    return mass / sqrt(constant * square) * (atan(start * root) - atan(end * root))


@pytest.mark.parametrize("tyre_share", [0.0, 0.3])
def test_coast_down_closed_form(tyre_share: float) -> None:
    """t = m_e / sqrt(F0 F2) [atan..]; x = m_e / (2 F2) ln(..): 152.60974 s and 2506.5682 m from 120 to 20 km/h.

    m_e = 1545 kg, F0 = 150 N, F2 = 0.40 kg/m. Source: quadrature of m_e dv/dt = -(F0 + F2 v^2).
    """
    car = coasting(1545.0, 150.0, 0.40, tyre_share=tyre_share)
    run = run_on(car, in_gear(120 / 3.6, car, coupling=at.OPEN), 155.0, tolerance=1e-8)
    end = time_at(run, "speed", 20 / 3.6)
    assert end == pytest.approx(152.60974, rel=5e-5)
    assert value_at(run, "distance", end) == pytest.approx(2506.5682, rel=5e-5)
    span = 1545.0 / 0.8 * log((150.0 + 0.4 * (120 / 3.6) ** 2) / (150.0 + 0.4 * (20 / 3.6) ** 2))
    assert span == pytest.approx(2506.5682, rel=1e-6)


ROWS = [  # mass [kg], A [N], C [N/(km/h)^2], time from 70 to 60 km/h [s]
    (100.0, 0.0, 0.0224, 2.95),
    (150.0, 4.32, 0.0238, 3.99),
    (200.0, 8.69, 0.0252, 4.85),
    (250.0, 13.06, 0.0266, 5.57),
    (300.0, 17.43, 0.0279, 6.18),
    (340.0, 20.92, 0.0290, 6.60),
]


@pytest.mark.parametrize(("mass", "constant", "square", "time"), ROWS)
def test_regulated_coast_down_times(mass: float, constant: float, square: float, time: float) -> None:
    """Coast-down times from 70 to 60 km/h. Source: 40 CFR 86.529-98, table of road-load force A + C V^2.

    C is printed to three figures and the time to 0.01 s: 0.26 % together.
    """
    car = coasting(mass, constant, square * 12.96)
    run = run_on(car, in_gear(72 / 3.6, car, coupling=at.OPEN), 10.0)
    measured = time_at(run, "speed", 60 / 3.6) - time_at(run, "speed", 70 / 3.6)
    assert measured == pytest.approx(time, rel=2.6e-3)
    if constant:
        assert measured == pytest.approx(coast_time(mass, constant, square * 12.96, 70 / 3.6, 60 / 3.6), rel=5e-5)
