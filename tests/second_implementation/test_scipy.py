"""The same launches by SciPy: the time loop, the step control and the search for events are all another's."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

import numpy as np
import pytest

from cars import PLATEAU, all_drive_saloon, coupe, front_hatch, full_load, random_car
from simlaunch.record import Car
from simlaunch.simulation.bench import SAMPLE_GAP
from simlaunch.simulation.events import EventKind
from simlaunch.simulation.run import Method, Outcome, Run, launch
from simlaunch.simulation.trace import Trace

TENTH_OF_A_MILLISECOND = 1e-4

CLUTCHED = {
    "drive.front_share": 1.0, "drive.locked": 1, "drive.clutched": 1, "drive.capacity": 900.0, "drive.lead": 1.01,
    "drive.delay": 0.1, "drive.ramp": 0.15,
}  # fmt: skip
_SIDES = {"drive.paired": 1, "drive.locking_speed": 0.5, "road.left_friction": 0.6, "body.left_share": 0.52}

SAMPLED = "coupe, full load"
"""The car whose whole history is compared too."""

CARS: dict[str, Callable[[], Car]] = {
    SAMPLED: coupe,
    "coupe, held slip": lambda: coupe({"pedal.kind": 1}),
    "hatch, full load": front_hatch,
    "saloon, held slip, uphill against the wind": lambda: all_drive_saloon(
        {"pedal.kind": 1, "road.grade_angle": 0.02, "air.head_wind": 4.0, "launch.brake_release": 0.2}
    ),
    "locked centre, rigid shafts": lambda: coupe(
        {"drive.front_share": 0.5, "drive.locked": 1, "drive.rigid": 1, **full_load(PLATEAU)}
    ),
    "open axle, sides unlike": lambda: coupe(_SIDES),
    "limited-slip axle, sides unlike, held slip": lambda: coupe(
        {**_SIDES, "drive.locking": (0.2, 0.2), "drive.preload": (40.0, 40.0), "pedal.kind": 1}
    ),
    "locked axles, sides unlike": lambda: all_drive_saloon({**_SIDES, "drive.locking": (1.0, 1.0)}),
    "live axle": lambda: coupe({"drive.paired": 1, "drive.cross_lever": 0.12}),
    "second axle by a clutch, limited-slip axles, sides unlike": lambda: coupe(
        {**CLUTCHED, **_SIDES, "drive.locking": (0.0, 0.3)}
    ),
    "drawn at random": lambda: random_car(np.random.default_rng(62)),
    "second axle by a clutch, full load": lambda: coupe(CLUTCHED),
    "second axle by a clutch, held slip, uphill": lambda: all_drive_saloon(
        {**CLUTCHED, "drive.front_share": 0.0, "drive.lead": 0.98, "pedal.kind": 1, "road.grade_angle": 0.02}
    ),
}


@cache
def launched(name: str) -> tuple[Run, Run]:
    """A launch by our method, and by SciPy's DOP853 at a tolerance of 1e-10."""
    gap = 5e-4 if name == SAMPLED else SAMPLE_GAP
    return launch(CARS[name](), sample_gap=gap), launch(CARS[name](), method=Method.REFERENCE, sample_gap=gap)


def sequence(trace: Trace) -> list[str]:
    """What happened, in order; the limiter's band bounds a kink and changes no equation.

    Where a gear is left at the rev limit itself, both happen at once and either may be seen first.
    """
    return [event.kind for event in trace.events if event.kind not in (EventKind.LIMITER_UP, EventKind.LIMITER_DOWN)]


@pytest.mark.parametrize("name", CARS)
def test_quarter_mile_and_events(name: str) -> None:
    """Source: `scipy.integrate.solve_ivp`, DOP853 at a tolerance of 1e-10."""
    own, other = launched(name)
    assert own.outcome is other.outcome is Outcome.FINISHED
    assert own.trace.time[-1] == pytest.approx(other.trace.time[-1], abs=TENTH_OF_A_MILLISECOND)
    assert own.trace["speed"][-1] == pytest.approx(other.trace["speed"][-1], abs=1e-3)
    assert sequence(own.trace) == sequence(other.trace)


def test_whole_histories_agree() -> None:
    """Speed, wheel speed and torques along the run, where no phase changes nearby. Source: as above."""
    own, other = (run.trace for run in launched(SAMPLED))
    changes = np.array([event.time for event in other.events])
    times = np.arange(0.1, other.time[-1] - 0.1, 0.01)
    times = times[np.abs(times[:, None] - changes).min(axis=1) > 0.02]
    for name, allowed in (("speed", 1e-3), ("wheel_speed_rear", 0.02), ("engine_speed", 0.2), ("distance", 5e-3)):
        ours, theirs = (np.interp(times, trace.time, trace[name]) for trace in (own, other))
        # linear interpolation between samples 0.5 ms apart is good to the allowances, the integrations to far less
        np.testing.assert_allclose(ours, theirs, atol=allowed, rtol=0.0, err_msg=name)
