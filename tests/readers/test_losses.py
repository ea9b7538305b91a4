"""From hub or wheel to the crank, and back."""

from __future__ import annotations

from math import pi
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from simlaunch.errors import UsageError
from simlaunch.readers.reference_conditions import Losses, driveline_losses, from_crank, stated_losses, to_crank
from simlaunch.record import Axle
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.powertrain import MeasuredAt
from simlaunch.scenario.reading import load

SCENARIOS = Path(__file__).parents[2] / "scenarios"
RPM = pi / 30.0


@pytest.fixture(scope="module")
def coupe() -> Scenario:
    return load(SCENARIOS / "road-coupe.toml")


def test_stated_percentage() -> None:
    """340 N m at the wheel with losses of 15 % are 400 N m at the crank. Source: definition."""
    losses = stated_losses(0.15)
    assert to_crank(np.array([340.0]), losses) == pytest.approx([400.0])
    assert from_crank(np.array([400.0]), losses) == pytest.approx([340.0])
    assert losses.why == "stated losses of 15 % of the power at the crank"


def test_steady_points_lose_in_the_gears_only(coupe: Scenario) -> None:
    losses = driveline_losses(coupe, MeasuredAt.WHEEL, 4, 0.0)
    assert to_crank(np.array([372.0]), losses) == pytest.approx([400.0])  # efficiency 93 %


def test_energy_of_a_sweep(coupe: Scenario) -> None:
    """What the crank gives is what arrives, the gears' loss, and what spins up. Source: conservation of energy.

    A sweep at constant crank torque T and acceleration a from w0 to w1: T (w1^2 - w0^2) / 2a is the engine's work.
    """
    acceleration, w0, w1, torque = 400.0 * RPM, 2000.0 * RPM, 6000.0 * RPM, 400.0
    losses = driveline_losses(coupe, MeasuredAt.WHEEL, 4, acceleration)
    ratio = 1.21 * 3.46
    wheels = 2.0 * coupe.tyres.of(1).wheel_inertia.si  # type: ignore[arg-type]
    engine_side = 0.19 + 0.012
    turned = (w1**2 - w0**2) / 2.0
    spun_before = engine_side * turned
    spun_after = (coupe.drive.inertia.si + wheels) / ratio**2 * turned
    work = torque * turned / acceleration
    taken = float(from_crank(np.array([torque]), losses)[0]) * turned / acceleration
    lost = 0.07 * (work - spun_before)
    assert work == pytest.approx(taken + lost + spun_before + spun_after, rel=1e-12)


def test_hub_has_no_wheels(coupe: Scenario) -> None:
    hub = driveline_losses(coupe, MeasuredAt.HUB, 3, 500.0 * RPM)
    wheel = driveline_losses(coupe, MeasuredAt.WHEEL, 3, 500.0 * RPM)
    assert hub.inertia_after < wheel.inertia_after
    assert hub.efficiency == wheel.efficiency
    taken = np.array([300.0])
    assert to_crank(taken, hub) < to_crank(taken, wheel)


def test_all_wheels_of_an_all_wheel_drive_turn() -> None:
    car = load(SCENARIOS / "all-drive-saloon.toml")
    hub, wheel = (driveline_losses(car, place, 1, 0.0) for place in (MeasuredAt.HUB, MeasuredAt.WHEEL))
    ratio = car.gearbox.ratios[0].si * car.gearbox.final_drives[0].si
    every = sum((2.0 * car.tyres.of(axle).wheel_inertia.si for axle in Axle), 0.0)
    assert (wheel.inertia_after - hub.inertia_after) * ratio**2 == pytest.approx(every)


def test_the_reason_names_every_number(coupe: Scenario) -> None:
    assert driveline_losses(coupe, MeasuredAt.WHEEL, 4, 400.0 * RPM).why == (
        "driveline of Road coupe, rear drive in gear 4 (overall ratio 4.187, efficiency 93.0%) at 400 rpm/s; inertia "
        "0.202 kg m^2 with the engine, 2.8 kg m^2 beyond the gears; tyre losses on a roller not included"
    )


@given(st.floats(0.5, 1.0), st.floats(0.0, 1.0), st.floats(0.0, 1.0), st.floats(0.0, 300.0), st.floats(10.0, 2000.0))
def test_there_and_back(efficiency: float, before: float, after: float, acceleration: float, torque: float) -> None:
    losses = Losses(efficiency, before, after, acceleration, "sample")
    there = from_crank(np.array([torque]), losses)
    assert to_crank(there, losses) == pytest.approx([torque], rel=1e-9)


def test_refusals(coupe: Scenario) -> None:
    with pytest.raises(UsageError, match=r"there is no gear 7; the gearbox has 1 to 6"):
        driveline_losses(coupe, MeasuredAt.WHEEL, 7, 0.0)
    with pytest.raises(UsageError, match="figures at the crank have no driveline losses"):
        driveline_losses(coupe, MeasuredAt.CRANK, 1, 0.0)
    for share in (-0.01, 0.51, float("nan")):
        with pytest.raises(UsageError, match="are not from 0 % to 50 %"):
            stated_losses(share)
