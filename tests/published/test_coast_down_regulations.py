"""Road load as two regulations print it, from the tyre's and the air's own functions."""

from __future__ import annotations

import pytest

from closed_form.test_coast_down import coasting
from simlaunch.physics import air, body, tyre

# 40 CFR 86.529-98: coast-down times are checked with whole runs, see closed_form/test_coast_down.py.

DYNO_ROWS = [  # inertia [kg], power at 80 km/h [kW], force there [N], a [N], b [N/(km/h)^2]
    (1130.0, 6.3, 284.0, 6.4, 0.0433),
    (1360.0, 7.0, 315.0, 7.1, 0.0481),
    (1590.0, 7.5, 338.0, 7.6, 0.0515),
    (2040.0, 8.6, 387.0, 8.7, 0.0591),
]


@pytest.mark.parametrize(("mass", "power", "force", "constant", "square"), DYNO_ROWS)
def test_default_dyno_settings(mass: float, power: float, force: float, constant: float, square: float) -> None:
    """F = a + b V^2 and P = F v at 80 km/h. Source: UN R83, table of default dynamometer settings (from slides).

    b is printed to three figures and the force to 1 N: 0.25 %; the power to 0.1 kW.
    """
    car = coasting(mass, constant, square * 12.96)
    speed = 80.0 / 3.6
    load = 0.6 * mass * body.GRAVITY / 2.0
    rolling = sum(
        tyre.resisting_moment(load, speed, speed, end, 1.0, 0.0) / end.radius for end in (car.front, car.rear)
    )
    resistance = rolling + air.dynamic_force(car.body.drag_area, car.air.density, speed)
    assert resistance == pytest.approx(force, rel=2.5e-3)
    assert resistance * speed / 1e3 == pytest.approx(power, abs=0.05 + 0.0025 * power)


def test_chassis_dyno_law_in_customary_units() -> None:
    """A + B v + C v^2 = 114.0 lbf at 60 mph for 30, 0.2, 0.02. Source: 40 CFR 1066.210; exact unit definitions.

    The model has no term in v, so A and C are checked, and B is added: 102 lbf and 12 lbf.
    """
    lbf, mph = 4.4482216152605, 0.44704
    speed, square = 60.0 * mph, 0.02 * lbf / mph**2
    assert square == pytest.approx(0.44516770, rel=1e-7)
    assert air.dynamic_force(2.0 * square / 1.225, 1.225, speed) == pytest.approx(72.0 * lbf, rel=1e-12)
    assert (30.0 + 0.2 * 60.0 + 72.0) * lbf == pytest.approx(507.0973, abs=5e-5)
