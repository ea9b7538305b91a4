"""The same launches by SciPy: the time loop, the step control and the search for events are all another's."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from cars import PLATEAU, all_drive_saloon, coupe, front_hatch, full_load, random_car
from simlaunch.record import Car
from simlaunch.simulation.events import EventKind
from simlaunch.simulation.run import Method, Outcome, launch
from simlaunch.simulation.trace import Trace

TENTH_OF_A_MILLISECOND = 1e-4

CLUTCHED = {
    "drive.front_share": 1.0, "drive.locked": 1, "drive.clutched": 1, "drive.capacity": 900.0, "drive.lead": 1.01,
    "drive.delay": 0.1, "drive.ramp": 0.15,
}  # fmt: skip

CARS: dict[str, Callable[[], Car]] = {
    "coupe, full load": coupe,
    "coupe, held slip": lambda: coupe({"pedal.kind": 1}),
    "hatch, full load": front_hatch,
    "saloon, held slip, uphill against the wind": lambda: all_drive_saloon(
        {"pedal.kind": 1, "road.grade_angle": 0.02, "air.head_wind": 4.0, "launch.brake_release": 0.2}
    ),
    "locked centre, rigid shafts": lambda: coupe(
        {"drive.front_share": 0.5, "drive.locked": 1, "drive.rigid": 1, **full_load(PLATEAU)}
    ),
    "drawn at random": lambda: random_car(np.random.default_rng(62)),
    "second axle by a clutch, full load": lambda: coupe(CLUTCHED),
    "second axle by a clutch, held slip, uphill": lambda: all_drive_saloon(
        {**CLUTCHED, "drive.front_share": 0.0, "drive.lead": 0.98, "pedal.kind": 1, "road.grade_angle": 0.02}
    ),
}


def sequence(trace: Trace) -> list[str]:
    """What happened, in order; the limiter's band bounds a kink and changes no equation.

    Where a gear is left at the rev limit itself, both happen at once and either may be seen first.
    """
    return [event.kind for event in trace.events if event.kind not in (EventKind.LIMITER_UP, EventKind.LIMITER_DOWN)]


@pytest.mark.parametrize("name", CARS)
def test_quarter_mile_and_events(name: str) -> None:
    """Source: `scipy.integrate.solve_ivp`, DOP853 at a tolerance of 1e-10."""
    own = launch(CARS[name]())
    other = launch(CARS[name](), method=Method.REFERENCE)
    assert own.outcome is other.outcome is Outcome.FINISHED
    assert own.trace.time[-1] == pytest.approx(other.trace.time[-1], abs=TENTH_OF_A_MILLISECOND)
    assert own.trace["speed"][-1] == pytest.approx(other.trace["speed"][-1], abs=1e-3)
    assert sequence(own.trace) == sequence(other.trace)


def test_whole_histories_agree() -> None:
    """Speed, wheel speed and torques along the run, where no phase changes nearby. Source: as above."""
    own, other = (launch(coupe(), method=method, sample_gap=5e-4).trace for method in Method)
    changes = np.array([event.time for event in other.events])
    times = np.arange(0.1, other.time[-1] - 0.1, 0.01)
    times = times[np.abs(times[:, None] - changes).min(axis=1) > 0.02]
    for name, allowed in (("speed", 1e-3), ("wheel_speed_rear", 0.02), ("engine_speed", 0.2), ("distance", 5e-3)):
        ours, theirs = (np.interp(times, trace.time, trace[name]) for trace in (own, other))
        # linear interpolation between samples 0.5 ms apart is good to the allowances, the integrations to far less
        np.testing.assert_allclose(ours, theirs, atol=allowed, rtol=0.0, err_msg=name)
