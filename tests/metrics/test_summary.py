"""All measures of a real launch, against simpler ways to the same numbers."""

from __future__ import annotations

import numpy as np
import pytest

from cars import coupe
from simlaunch.metrics.parts import CHANNEL, Part
from simlaunch.metrics.summary import Measures, measure
from simlaunch.record import Car, Pedal
from simlaunch.simulation.run import Run, launch


@pytest.fixture(scope="module", params=list(Pedal), ids=lambda pedal: pedal.name.lower())
def measured(request: pytest.FixtureRequest) -> tuple[Car, Run, Measures]:
    car = coupe({"pedal.kind": int(request.param), "run.stop_distance": 402.336 + 0.3048})
    run = launch(car)
    return car, run, measure(run, car)


def test_times_agree_with_straight_lines_between_dense_samples(measured: tuple[Car, Run, Measures]) -> None:
    _, run, found = measured
    time, distance, speed = run.trace.time, run.trace["distance"], run.trace["speed"]
    marks = {result.target.label: result for result in found.marks}
    for label, metres in (("60 ft", 18.288), ("1/8 mile", 201.168), ("1/4 mile", 402.336)):
        assert marks[label].time == pytest.approx(np.interp(metres, distance, time), abs=1e-5)
        foot = np.interp(0.3048, distance, time)
        after = np.interp(metres + 0.3048, distance, time) - foot
        assert marks[label].time_after_rollout == pytest.approx(after, abs=1e-4)
        assert marks[label].speed == pytest.approx(np.interp(metres, distance, speed), abs=1e-3)
    first = np.argmax(speed >= 100.0 / 3.6)
    assert marks["0-100 km/h"].time == pytest.approx(
        np.interp(100.0 / 3.6, speed[first - 1 : first + 1], time[first - 1 : first + 1]), abs=1e-5
    )
    assert marks["1/4 mile"].trap_speed < marks["1/4 mile"].speed


def test_slip_energy_agrees_with_the_integral_along_the_run(measured: tuple[Car, Run, Measures]) -> None:
    _, run, found = measured
    assert found.grip.slip_energy == pytest.approx(run.trace["slip_work_rear"][-1], rel=1e-4)
    assert 0.0 <= found.grip.slip_energy_past_peak <= found.grip.slip_energy
    assert 0.0 <= found.grip.slip_distance_past_peak <= found.grip.slip_distance


def test_wheelspin_time_agrees_with_counting_samples(measured: tuple[Car, Run, Measures]) -> None:
    _, run, found = measured
    trace = run.trace
    fine = np.arange(0.0, trace.time[-1], 1e-4)
    spins = np.interp(fine, trace.time, trace["slip_rear"] - trace["peak_slip_rear"]) > 0.0
    assert found.grip.wheelspin_time == pytest.approx(1e-4 * spins.sum(), abs=2e-3)


def test_the_energy_closes(measured: tuple[Car, Run, Measures]) -> None:
    car, run, found = measured
    assert found.audit.residual_share < 1e-6
    assert not found.audit.bad
    last = run.trace["stored_energy"][-1]
    assert found.audit.kinetic < last  # the engine had energy when the car was let go
    assert found.audit.kinetic == pytest.approx(last - 0.5 * car.engine.inertia * car.launch.engine_speed**2, rel=1e-9)


def test_peaks_are_the_greatest_of_their_channels(measured: tuple[Car, Run, Measures]) -> None:
    _, run, found = measured
    assert [peak.part for peak in found.parts] == [
        part for part in Part if part not in (Part.FRONT_SHAFTS, Part.AXLE_CLUTCH)
    ]
    for peak in found.parts:
        assert abs(peak.torque) == np.abs(run.trace[CHANNEL[peak.part]]).max()


def test_surplus_falls_from_gear_to_gear(measured: tuple[Car, Run, Measures]) -> None:
    _, _, found = measured
    shares = [entry.share_of_area for entry in found.surplus]
    assert [entry.gear for entry in found.surplus] == [1, 2, 3, 4, 5, 6]
    assert shares == sorted(shares, reverse=True)
    assert 0.2 < shares[0] < 0.5
    assert shares[-1] == 0.0


def test_full_pedal_spins_where_held_slip_does_not() -> None:
    """The tool's main claim: torque beyond the ceiling turns into slip, and costs time."""
    full, held = (
        measure(launch(car), car)
        for car in (coupe({"pedal.kind": int(kind)}) for kind in (Pedal.FULL, Pedal.HELD_SLIP))
    )
    assert full.grip.wheelspin_time > 1.0 > held.grip.wheelspin_time
    assert full.grip.slip_energy_past_peak > 10.0 * held.grip.slip_energy_past_peak
    assert held.grip.time_at_limit > full.grip.time_at_limit
    assert held.marks[1].time < full.marks[1].time
