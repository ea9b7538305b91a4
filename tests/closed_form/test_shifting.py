"""When a gear is left, and what holds the engine until the clutch has closed."""

from __future__ import annotations

import numpy as np
import pytest

from cars import RPM, coupe
from simlaunch.record import Pedal
from simlaunch.simulation.run import launch
from simlaunch.simulation.trace import Trace


def first_shift(trace: Trace) -> int:
    """Sample at which the first shift begins."""
    begins = next(moment.time for moment in trace.moments if moment.what == "shift begins")
    return int(np.searchsorted(trace.time, begins))


@pytest.mark.parametrize("share", [0.5, 0.75, 0.9])
def test_a_gear_is_not_left_while_the_car_is_far_behind_its_wheels(share: float) -> None:
    """On spinning wheels the engine is at its limit long before; the shift comes at the stated road speed."""
    car = coupe({"gearbox.road_speed_share": share, "road.friction_factor": 0.8})
    trace = launch(car).trace
    at = first_shift(trace)
    whole = car.gearbox.shift_speed[0] / car.gearbox.ratio[0] * car.rear.radius
    assert trace["slip_rear"][: at - 1].max() > 1.0
    assert trace["speed"][at] >= share * whole * (1.0 - 1e-9)


def test_without_wheelspin_engine_speed_alone_decides() -> None:
    slow, quick = (
        launch(coupe({"gearbox.road_speed_share": share, "pedal.kind": int(Pedal.HELD_SLIP)})).trace
        for share in (0.0, 0.75)
    )
    assert slow.time[-1] == pytest.approx(quick.time[-1], abs=1e-9)


@pytest.mark.parametrize("speed", [2500.0, 4000.0])
def test_the_engine_holds_its_launch_speed_until_the_clutch_has_closed(speed: float) -> None:
    """The clutch carries less than full load while it engages; what is left must not make the engine flare."""
    car = coupe({"launch.engine_speed": speed * RPM, "launch.boost": 1.0, "coupling.capacity": 300.0})
    trace = launch(car).trace
    closes = next(moment.time for moment in trace.moments if moment.what == "coupling speeds meet")
    slipping = trace.time < closes
    assert np.ptp(trace["engine_speed"][slipping]) < 0.01 * speed * RPM


def test_launch_speed_matters() -> None:
    times = [launch(coupe({"launch.engine_speed": n * RPM})).trace.time[-1] for n in (2500.0, 4500.0)]
    assert abs(times[0] - times[1]) > 0.02
