"""One run: from the numbers of a car to a trace."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from simlaunch.compiled import publish
from simlaunch.errors import RunNotFollowed, UsageError
from simlaunch.integrator.advance import Advance
from simlaunch.integrator.control import Accuracy
from simlaunch.integrator.sampling import Samples, make_samples
from simlaunch.physics import state as at
from simlaunch.record import Record
from simlaunch.simulation import channels, events, kernel, prepare
from simlaunch.simulation.trace import Moment, Trace

Array = NDArray[np.float64]

DEFAULT_TOLERANCE = 1e-5
REFERENCE_TOLERANCE = 1e-10
SAMPLE_GAP = 5e-3  # [s]
LONGEST_STEP = 0.25  # [s]
FIRST_SAMPLES = 20_000
MOST_SAMPLES = 320_000
PHASES = 2_100
_INSTANT = 1e-6  # [ms]
_HOPELESS = 2e-7  # mean step over half a record [s]: of 3,600 random launches none that came to an end was below 4e-6

_SCALES = {
    at.DISTANCE: 1.0,
    at.SPEED: 1.0,
    at.WHEEL_FRONT: 3.0,
    at.WHEEL_REAR: 3.0,
    at.SLIP_FRONT: 0.05,
    at.SLIP_REAR: 0.05,
    at.TRANSFER: 1e3,
    at.TRANSFER_RATE: 1e4,
    at.ENGINE_SPEED: 30.0,
    at.INPUT_SPEED: 30.0,
    at.SHAFT_SPEED: 3.0,
    at.TWIST_FRONT: 0.05,
    at.TWIST_REAR: 0.05,
    at.BOOST: 1.0,
    at.REQUEST: 1e3,
}
_WORK_SCALE = 1e4  # [J]

_WHAT = {
    events.TARGETS_PASSED: "targets passed",
    events.SPEEDS_MEET: "coupling speeds meet",
    events.BREAKS_AWAY: "coupling breaks away",
    events.SHIFT_BEGINS: "shift begins",
    events.GEAR_CLOSES: "gear engaged",
    events.LOCK_UP: "lock-up begins",
    events.BRAKE_OFF: "brakes let go",
    events.STALLS: "engine stalls",
    events.LIMITER_UP: "rev limiter cuts in",
    events.LIMITER_DOWN: "rev limiter lets go",
    events.FRONT_LIFT: "front axle lifts or lands",
}


MEETING, ENGAGED, SHIFT_BEGINS = (_WHAT[e] for e in (events.SPEEDS_MEET, events.GEAR_CLOSES, events.SHIFT_BEGINS))
BEGINNINGS = frozenset(_WHAT[event] for event in (events.SHIFT_BEGINS, events.BREAKS_AWAY, events.LOCK_UP))
"""Moments that begin or end a change in coupling or gearbox."""


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


def scales() -> Array:
    """Size of each state below which its error is taken as absolute.

    Returns
    -------
    ndarray, shape (24,)
        Sizes, SI units.
    """
    sizes = np.full(at.STATES, _WORK_SCALE)
    for index, size in _SCALES.items():
        sizes[index] = size
    return sizes


def phase_log() -> kernel.PhaseLog:
    """Room for the phases of a launch.

    Returns
    -------
    PhaseLog
        Empty.
    """
    phases = np.zeros(PHASES, dtype=at.PHASE).view(np.recarray)
    return kernel.PhaseLog(phases, np.zeros(PHASES), np.full(PHASES, -1, np.int64))


def _loop(method: Method, scipy_method: str) -> Callable[..., kernel.Ending]:
    if method is Method.COMPILED:
        return kernel.run_compiled
    from simlaunch.integrator.reference import advance_by_scipy  # slow to import, and seldom wanted

    advance: Callable[..., Advance] = advance_by_scipy(
        kernel.compiled_rates, kernel.compiled_events, events.EVENTS, scipy_method
    )
    run = kernel.make_run(advance)

    def loop(
        car: Record, phase: Record, accuracy: Accuracy, work: Record, samples: Samples, log: kernel.PhaseLog
    ) -> kernel.Ending:
        return run(car, work.state, phase, accuracy, work, samples, log)

    return loop


def _moments(log: kernel.PhaseLog, count: int, end: float, zero: float) -> tuple[Moment, ...]:
    told = [i for i in range(count) if int(log.event[i]) in _WHAT and not _is_inner(log, i)]
    found = [Moment(float(log.start[i]) - zero, _WHAT[int(log.event[i])]) for i in told]
    return (*found, Moment(end - zero, "end"))


def _is_inner(log: kernel.PhaseLog, i: int) -> bool:
    """Whether a phase began at the upper edge of the limiter's band, where it has long cut in."""
    side, event = int(log.phase[i].limiter_side), int(log.event[i])
    return (event, side) in ((events.LIMITER_UP, 2), (events.LIMITER_DOWN, 1))


def _time_zero(log: kernel.PhaseLog, count: int) -> float:
    """Time at which brakes let go: a launch is timed from there."""
    let_go = [float(log.start[i]) for i in range(count) if log.event[i] == events.BRAKE_OFF]
    return let_go[0] if let_go else 0.0


def _to_trace(car: Record, work: Record, samples: Samples, log: kernel.PhaseLog, ending: kernel.Ending) -> Trace:
    count = int(samples.cursor[0])
    time, state, segment = samples.time[:count], samples.state[:count], samples.segment[:count]
    derived = np.empty((count, len(channels.DERIVED_CHANNELS)))
    channels.derive(time, state, segment, log.phase, car, work, derived)
    named = {name: state[:, index].copy() for name, index in channels.STATE_CHANNELS.items()}
    named |= {name: derived[:, i].copy() for i, name in enumerate(channels.DERIVED_CHANNELS)}
    zero = _time_zero(log, ending.segments)
    return Trace(time - zero, named, _moments(log, ending.segments, ending.time, zero))


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
    room: int = MOST_SAMPLES,
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
    if not 1e-13 <= tolerance <= 1e-2:
        raise UsageError(f"tolerance {tolerance:g} is out of range; give a number from 1e-13 to 1e-2")
    complete(car)
    accuracy = Accuracy(tolerance, scales(), LONGEST_STEP, sample_gap)
    loop, capacity = _loop(method, scipy_method), FIRST_SAMPLES
    while True:
        phase, work = at.first_phase(), kernel.launch_work()
        prepare.begin(car, work, phase)
        samples, log = make_samples(capacity, at.STATES), phase_log()
        ending = loop(car, phase, accuracy, work, samples, log)
        if ending.status != kernel.BUFFER_FULL or capacity >= room or _hopeless(samples):
            break
        capacity = min(8 * capacity, room)
    _refuse(ending, samples, log)
    trace = _to_trace(car, work, samples, log, ending)
    publish()
    return Run(trace, _outcome(ending), int(ending.steps), int(ending.rejected))


def _outcome(ending: kernel.Ending) -> Outcome:
    good = {
        kernel.FINISHED: Outcome.FINISHED,
        kernel.TIME_LIMIT: Outcome.TIME_LIMIT,
        kernel.STALLED: Outcome.STALLED,
    }
    return good[ending.status]


def _hopeless(samples: Samples) -> bool:
    """Whether a full record hardly moves on: eight or sixteen times its length would hardly do so either."""
    half = samples.time.size // 2
    return bool(samples.time[-1] - samples.time[half] < _HOPELESS * half)


def _refuse(ending: kernel.Ending, samples: Samples, log: kernel.PhaseLog) -> None:
    """Raise what says why a launch that came to no end could not be followed."""
    if ending.status == kernel.BUFFER_FULL and _hopeless(samples):
        reason = "its steps stay shorter than a microsecond"
    elif ending.status == kernel.BUFFER_FULL:
        reason = f"it takes more than {samples.time.size} samples"
    elif ending.status == kernel.STEP_TOO_SMALL:
        reason = "no step is short enough to keep to the tolerance"
    elif ending.status == kernel.EVENT_STORM:
        last = slice(ending.segments - 100, ending.segments)
        often = Counter(int(event) for event in log.event[last]).most_common(1)[0][0]
        passed = 1e3 * float(np.ptp(log.start[last]))
        what = _WHAT.get(often, "stages of a shift end")
        within = "at one instant" if passed < _INSTANT else f"within {passed:.3g} ms"
        reason = f"there, {what} again and again; of {ending.segments} changes of phase the last hundred come {within}"
    else:
        return
    raise RunNotFollowed(f"the launch could not be followed beyond {ending.time:.4f} s: {reason}", ending.time)
