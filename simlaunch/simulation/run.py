"""One run: from the numbers of a car to a trace."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from simlaunch.errors import RunNotFollowed
from simlaunch.integrator.advance import Advance
from simlaunch.physics import state as at
from simlaunch.record import Record
from simlaunch.simulation import channels, events, kernel, prepare
from simlaunch.simulation.bench import (
    CAPACITIES,
    DEFAULT_TOLERANCE,
    REFERENCE_TOLERANCE,
    SAMPLE_GAP,
    Bench,
    checked,
    hopeless,
    make_bench,
)
from simlaunch.simulation.events import Event, EventKind
from simlaunch.simulation.trace import Trace

Array = NDArray[np.float64]

NOT_FOLLOWED = {
    kernel.STEP_TOO_SMALL: "no step is short enough to keep to the tolerance",
    kernel.BUFFER_FULL: "the run became too long to record",
    kernel.EVENT_STORM: "the phases changed too often",
}
"""Why a launch could not be followed, by how it ended."""

_INSTANT = 1e-6  # [ms]


class Method(Enum):
    """Which integrator makes the run."""

    COMPILED = "compiled"
    REFERENCE = "reference"


class Outcome(Enum):
    """How a run ended, as a sentence that says what to do where it is not the wished-for end."""

    FINISHED = "every target was passed"
    TIME_LIMIT = "the time limit came first: raise run.time_limit or lower the targets"
    STALLED = (
        "the engine was pulled down until it stalled: raise launch.engine_speed, lengthen coupling.engagement_time, "
        "or set gearbox.shift_at where spinning wheels had it shift up too early"
    )


@dataclass(frozen=True)
class Run:
    """One launch: its trace, how it ended, and the effort it took.

    Parameters
    ----------
    trace : Trace
        What happened.
    outcome : Outcome
        How it ended.
    steps : int
        Accepted steps.
    rejected : int
        Steps tried again with a shorter length.
    """

    trace: Trace
    outcome: Outcome
    steps: int
    rejected: int


def _loop(method: Method, scipy_method: str) -> Callable[..., kernel.Ending]:
    if method is Method.COMPILED:
        return kernel.run_compiled
    from simlaunch.integrator.reference import advance_by_scipy  # noqa: PLC0415  slow to import, and seldom wanted

    advance: Callable[..., Advance] = advance_by_scipy(
        kernel.compiled_rates, kernel.compiled_events, events.EVENTS, scipy_method
    )
    return kernel.make_run(advance)


def _events(log: kernel.PhaseLog, count: int, end: float, zero: float) -> tuple[Event, ...]:
    found = [i for i in range(count) if log.event[i] >= 0 and not _is_inner(log, i)]
    kinds = tuple(EventKind)
    listed = (Event(float(log.start[i]) - zero, kinds[log.event[i]]) for i in found)
    return (*listed, Event(end - zero, EventKind.END))


def _is_inner(log: kernel.PhaseLog, i: int) -> bool:
    """Whether a phase began at the upper edge of the limiter's band, where it has long cut in."""
    side, event = int(log.phase[i].limiter_side), int(log.event[i])
    return (event, side) in ((events.LIMITER_UP, 2), (events.LIMITER_DOWN, 1))


def _to_trace(car: Record, bench: Bench, ending: kernel.Ending) -> Trace:
    samples, log, zero = bench.samples, bench.log, float(bench.phase[0].brake_off)
    count = int(samples.cursor[0])
    time, state, segment = samples.time[:count], samples.state[:count], samples.segment[:count]
    derived = np.empty((count, len(channels.DERIVED_CHANNELS)))
    channels.derive(time, state, segment, log.phase, car, bench.work, derived, (True, True))
    named = {name: state[:, index].copy() for name, index in channels.STATE_CHANNELS.items()}
    named |= {name: derived[:, i].copy() for i, name in enumerate(channels.DERIVED_CHANNELS)}
    for axle, paired in enumerate((car.fixed.front_paired, car.fixed.rear_paired)):
        if paired == 1:
            named |= _of_each_wheel(car, bench, count, axle)
    return Trace(time - zero, named, _events(log, ending.segments, ending.time, zero))


def _of_each_wheel(car: Record, bench: Bench, count: int, axle: int) -> dict[str, Array]:
    """Channels of the left and the right wheel of an axle whose wheels differ."""
    samples, named = bench.samples, ("front", "rear")[axle]
    time, state, segment = samples.time[:count], samples.state[:count], samples.segment[:count]
    names = [f"{name}_{named}_{side}" for name in channels.WHEEL_CHANNELS for side in channels.SIDES]
    each = np.empty((count, len(names)))
    channels.derive_wheels(time, state, segment, bench.log.phase, axle, car, bench.work, each)
    return {name: each[:, i].copy() for i, name in enumerate(names)}


def complete(car: Record) -> None:
    """Fill in every number that a scenario leaves to be derived: air density, shift speeds, target slip.

    Parameters
    ----------
    car : Record
        The car, changed in place.
    """
    prepare.complete(car, kernel.launch_work(), at.first_phase())


def launch(
    car: Record,
    *,
    method: Method = Method.COMPILED,
    tolerance: float | None = None,
    sample_gap: float = SAMPLE_GAP,
    scipy_method: str = "DOP853",
    room: int = CAPACITIES[-1],
) -> Run:
    """Run one launch from standstill.

    Parameters
    ----------
    car : Record
        The car; numbers it leaves open are filled in.
    method : Method
        Integrator.
    tolerance : float, optional
        Relative error allowed per step [-].
    sample_gap : float
        Largest distance between samples of the trace [s].
    scipy_method : str
        Method of `scipy.integrate.solve_ivp` behind `Method.REFERENCE`.
    room : int
        Most samples that are recorded [-].

    Returns
    -------
    Run
        Trace and outcome.

    Raises
    ------
    RunNotFollowed
        The equations could not be followed; the message says from which time on.
    UsageError
        The tolerance is not between 1e-13 and 1e-2.
    """
    if tolerance is None:
        tolerance = DEFAULT_TOLERANCE if method is Method.COMPILED else REFERENCE_TOLERANCE
    checked(tolerance)
    complete(car)
    loop = _loop(method, scipy_method)
    for capacity in (*(each for each in CAPACITIES if each < room), room):
        bench = make_bench(tolerance, capacity, sample_gap)
        phase = bench.phase[0]
        prepare.begin(car, bench.work, phase)
        ending = loop(car, phase, bench.accuracy, bench.work, bench.samples, bench.log)
        if ending.status != kernel.BUFFER_FULL or hopeless(bench.samples):
            break
    _refuse(ending, bench)
    trace = _to_trace(car, bench, ending)
    return Run(trace, _outcome(ending), int(ending.steps), int(ending.rejected))


def _outcome(ending: kernel.Ending) -> Outcome:
    good = {
        kernel.FINISHED: Outcome.FINISHED,
        kernel.TIME_LIMIT: Outcome.TIME_LIMIT,
        kernel.STALLED: Outcome.STALLED,
    }
    return good[ending.status]


def _refuse(ending: kernel.Ending, bench: Bench) -> None:
    """Raise what says why a launch that came to no end could not be followed."""
    if ending.status not in NOT_FOLLOWED:
        return
    reason = NOT_FOLLOWED[ending.status]
    if ending.status == kernel.BUFFER_FULL and hopeless(bench.samples):
        reason = "its steps stay shorter than a microsecond"
    elif ending.status == kernel.BUFFER_FULL:
        reason = f"it takes more than {bench.samples.time.size} samples"
    elif ending.status == kernel.EVENT_STORM:
        last = slice(ending.segments - 100, ending.segments)
        often = Counter(int(event) for event in bench.log.event[last]).most_common(1)[0][0]
        passed = 1e3 * float(np.ptp(bench.log.start[last]))
        what = tuple(EventKind)[often].value if often >= 0 else "stages of a shift end"
        within = "at one instant" if passed < _INSTANT else f"within {passed:.3g} ms"
        reason = f"there, {what} again and again; of {ending.segments} changes of phase the last hundred come {within}"
    raise RunNotFollowed(f"the launch could not be followed beyond {ending.time:.4f} s: {reason}", ending.time)
