"""Power, torque and engine speed in the trade's units, by way of a run."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.constants import foot, g, hp, lb

from cars import RPM, point_mass
from closed_form.midway import in_gear, run_on

LBF_FT = lb * g * foot


@pytest.mark.parametrize(
    ("torque", "speed", "power"),
    [(300.0 * LBF_FT, 6000.0, 342.7192 * hp), (400.0, 5500.0, 230.38346e3)],
)
def test_engine_work_is_power_over_time(torque: float, speed: float, power: float) -> None:
    """hp = lbf ft x rpm / 5252.113; kW = N m x rpm / 9549.2966: 342.7192 hp and 230.38346 kW.

    Source: 33000 ft lbf/min to the horsepower, 40 CFR 1066.20; definition of the watt. The rate of the engine's work
    is read from a run where its speed passes the given one.
    """
    car = point_mass({"engine.torque": ((10.0, 1e4), (torque, torque)), "gearbox.ratio": [8.0]})
    run = run_on(car, in_gear(0.98 * speed * RPM / 8.0 * 0.3, car), 0.6)
    work = np.gradient(run["engine_work"], run.time, edge_order=2)
    unique = np.r_[True, np.diff(run.time) > 0.0]
    found = np.interp(speed * RPM, run["engine_speed"][unique], work[unique])
    # the rate is taken by differences over samples 2.5 ms apart
    assert found == pytest.approx(power, rel=1e-5)


def test_constant_of_the_trade() -> None:
    """5252.113122 = 33000 / 2 pi. Source: definition of the horsepower."""
    assert hp / (LBF_FT * RPM) == pytest.approx(5252.113122, rel=1e-9)
