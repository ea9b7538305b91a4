"""The moments at which a rev limiter cuts in and lets go are those at which the engine passes the start of its band."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from simlaunch.parameters.fill import lower
from simlaunch.physics import state as at
from simlaunch.physics.engine import limiter_start
from simlaunch.record import Pedal
from simlaunch.scenario.reading import load
from simlaunch.simulation import events, kernel, run
from simlaunch.simulation.events import EventKind
from simlaunch.simulation.run import launch
from simlaunch.simulation.trace import Trace

SCENARIOS = sorted((Path(__file__).parents[2] / "scenarios").glob("*.toml"))
CUTS_IN, LETS_GO = EventKind.LIMITER_UP, EventKind.LIMITER_DOWN
LONGER = 0.01  # a passage shorter than a step may stay unseen [s]


def _told(trace: Trace) -> list[tuple[float, float]]:
    """Stretches of time between the two moments, which must alternate."""
    limiter = [event for event in trace.events if event.kind in (CUTS_IN, LETS_GO)]
    assert [event.kind for event in limiter] == [CUTS_IN, LETS_GO] * (len(limiter) // 2)
    return [(one.time, other.time) for one, other in zip(limiter[::2], limiter[1::2], strict=True)]


def _seen(trace: Trace, limit: float) -> list[tuple[float, float]]:
    """Stretches of time in which the engine is above a speed, read from its speed alone."""
    above = np.r_[False, trace["engine_speed"] > limit, False]
    ends = np.flatnonzero(above[1:] != above[:-1])
    return [(float(trace.time[a]), float(trace.time[b - 1])) for a, b in zip(ends[::2], ends[1::2], strict=True)]


@pytest.mark.parametrize("tolerance", [1e-4, 1e-5, 1e-6])
@pytest.mark.parametrize("file", SCENARIOS, ids=lambda file: file.stem)
def test_with_shifts_at_the_rev_limit_every_passage_is_reported(file: Path, tolerance: float) -> None:
    """The limiter begins at about the moment at which a shift does: rounding must not decide what is reported."""
    scenario = load(file)
    limit = scenario.engine.rev_limit
    at_limit = scenario.replace({"gearbox.shift_at": [limit.text] * (len(scenario.gearbox.ratios) - 1)})
    car = lower(at_limit, scenario.curve_names[0], Pedal.FULL)
    trace = launch(car, tolerance=tolerance).trace
    told = _told(trace)
    begins = limiter_start(car.engine)
    reach = begins + 2e-2 * float(car.engine.limiter_band)
    for begin, end in _seen(trace, reach):
        if end - begin > LONGER:
            assert any(one - 1e-9 <= begin and end <= other + 1e-9 for one, other in told), (begin, end)
    for one, other in told:
        within = trace["engine_speed"][(trace.time > one) & (trace.time < other)]
        assert (within > begins - 2e-2 * car.engine.limiter_band).all()
    assert all(a[1] <= b[0] for a, b in pairwise(told))


def test_a_limiter_that_is_driven_into_to_the_end_of_its_band_cuts_in_once() -> None:
    """In at 1 s, through the far edge of the band at 2 s, back at 3 s, and out at 4 s."""
    phases = np.zeros(5, at.PHASE).view(np.recarray)
    phases.limiter_side = [0, 1, 2, 1, 0]
    event = np.array([-1, events.LIMITER_UP, events.LIMITER_UP, events.LIMITER_DOWN, events.LIMITER_DOWN])
    told = run._events(kernel.PhaseLog(phases, np.arange(5.0), event), 5, 5.0, 0.0)
    assert [(one.time, one.kind) for one in told] == [(1.0, CUTS_IN), (4.0, LETS_GO), (5.0, EventKind.END)]


@pytest.mark.parametrize("place", range(events.EVENTS))
def test_event_functions_stand_in_the_order_of_their_kinds(place: int) -> None:
    assert getattr(events, list(EventKind)[place].name) == place
