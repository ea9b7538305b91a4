"""The energy audit: every joule has a place, and a missing one is noticed."""

from __future__ import annotations

from math import isnan, nan

import numpy as np
import pytest

from metrics.motions import trace
from simlaunch.errors import UsageError
from simlaunch.metrics.energy import audit
from simlaunch.simulation.trace import Trace

PARTS = {
    "drag_work": 30.0,
    "rolling_work": 20.0,
    "grade_work": -10.0,
    "slip_work_front": 1.0,
    "slip_work_rear": 39.0,
    "coupling_work": 15.0,
    "gearing_work": 4.0,
    "twist_work": 0.75,
    "axle_clutch_work": 0.25,
}


def record(engine_work: float = 1000.0, stored: tuple[float, float] = (100.0, 1000.0)) -> Trace:
    parts = {name: [0.0, 0.5 * work, work] for name, work in PARTS.items()}
    return trace([0.0, 1.0, 2.0], engine_work=[0.0, 500.0, engine_work], stored_energy=[stored[0], 400.0, stored[1]],
                 **parts)  # fmt: skip


def test_every_part_is_read() -> None:
    found = audit(record())
    assert (found.engine_work, found.kinetic) == (1000.0, 900.0)
    assert (found.drag, found.rolling, found.grade, found.slip) == (30.0, 20.0, -10.0, 40.0)
    assert (found.coupling, found.gearing, found.twist, found.axle_clutch) == (15.0, 4.0, 0.75, 0.25)
    assert found.residual == pytest.approx(0.0, abs=1e-12)
    assert not found.bad


@pytest.mark.parametrize("name", PARTS)
def test_energy_that_goes_missing_makes_a_run_bad(name: str) -> None:
    run = record()
    spoiled = Trace(run.time, {**run.channels, name: run[name] + np.array([0.0, 0.0, 0.2])})
    found = audit(spoiled)
    assert found.residual == pytest.approx(-0.2, abs=1e-12)
    assert found.residual_share == pytest.approx(2e-4, rel=1e-9)
    assert found.bad


def test_the_bound_is_a_ten_thousandth_of_the_engine_work() -> None:
    assert not audit(record(stored=(100.0, 1000.0 - 0.099))).bad
    assert audit(record(stored=(100.0, 1000.0 - 0.101))).bad


def test_a_share_that_is_no_number_is_bad() -> None:
    found = audit(record(nan))
    assert isnan(found.residual_share)
    assert found.bad


@pytest.mark.parametrize("engine_work", [0.0, -5.0])
def test_energy_that_adds_up_without_work_of_the_engine_is_not_bad(engine_work: float) -> None:
    sound = audit(record(engine_work, stored=(100.0, engine_work)))
    assert sound.residual_share < 1e-12
    assert not sound.bad
    assert audit(record(engine_work, stored=(100.0, engine_work + 0.1))).bad


def test_a_log_has_no_audit() -> None:
    with pytest.raises(UsageError, match="no channel"):
        audit(trace([0.0, 1.0], speed=[0.0, 1.0]))
