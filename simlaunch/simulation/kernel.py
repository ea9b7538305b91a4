"""The loop of one launch: integrate to an event, hand over, go on."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from simlaunch.compiled import entry, part
from simlaunch.integrator import advance as adv
from simlaunch.integrator.control import Accuracy
from simlaunch.integrator.sampling import Samples
from simlaunch.integrator.step import make_work
from simlaunch.physics import state as at
from simlaunch.physics.balance import rates
from simlaunch.record import Record
from simlaunch.simulation import events as ev
from simlaunch.simulation.linearised import MOST_FREE, fill_structure, linearise
from simlaunch.simulation.transitions import end_stage, happen

Array = NDArray[np.float64]

# How a launch ends.
FINISHED, TIME_LIMIT, STALLED, STEP_TOO_SMALL, BUFFER_FULL, EVENT_STORM = range(6)
FOLLOWED = (FINISHED, TIME_LIMIT, STALLED)
"""Endings of launches that can be measured."""

_FIRST_STEP = 1e-4  # [s]
_STEP_AFTER_EVENT = 0.02  # a new phase begins with a step no longer than this [s]
_STORM = 2000  # more changes of phase than this in one launch mean that no phase can hold


class Ending(NamedTuple):
    """How a launch ended."""

    status: int
    time: float  # [s]
    steps: int
    rejected: int
    segments: int


class PhaseLog(NamedTuple):
    """Each phase of a launch in turn: a copy of its record, when it began, and the event that began it."""

    phase: NDArray[np.void]  # (capacity,)
    start: Array  # (capacity,) [s]
    event: NDArray[np.int64]  # (capacity,) -1 for the clock


@part
def copy_phase(source: Record, target: Record) -> None:
    """Copy one phase record into another."""
    target.stage = source.stage
    target.stage_start = source.stage_start
    target.gear = source.gear
    target.oncoming_gear = source.oncoming_gear
    target.coupling = source.coupling
    target.slip_direction = source.slip_direction
    target.engagement_start = source.engagement_start
    target.engagement_time = source.engagement_time
    target.path = source.path
    target.closing_rate = source.closing_rate
    target.braked = source.braked
    target.brake_off = source.brake_off
    target.limiter_side = source.limiter_side
    target.front_lifted = source.front_lifted


@part
def overdue_event(t: float, y: Array, car: Record, phase: Record, values: Array) -> int:
    """An event whose condition already holds where a phase begins, or -1."""
    ev.event_values(t, y, car, phase, values)
    if values[ev.BREAKS_AWAY] < 0.0:
        return ev.BREAKS_AWAY
    if values[ev.SPEEDS_MEET] < 0.0:  # a gear that closes may set the speeds past one another
        return ev.SPEEDS_MEET
    for index in (ev.TARGETS_PASSED, ev.BRAKE_OFF, ev.GEAR_CLOSES, ev.SHIFT_BEGINS, ev.LOCK_UP):
        if values[index] <= 0.0:
            return index
    return -1


def make_run(advance: Callable[..., adv.Advance]) -> Callable[..., Ending]:
    """Build the loop of a launch around a way of integrating.

    Parameters
    ----------
    advance : callable
        Integrates from one event to the next; see `integrator.advance.make_advance`.

    Returns
    -------
    callable
        run(car, phase, accuracy, work, samples, log) -> Ending; moves `work.state` and `phase` to the end.
    """

    def run(car: Record, phase: Record, accuracy: Accuracy, work: Record, samples: Samples, log: PhaseLog) -> Ending:
        y, t, h = work.state, 0.0, _FIRST_STEP
        steps, rejected, last_event = 0, 0, -1
        for segment in range(log.start.size):
            if segment >= _STORM:
                return Ending(EVENT_STORM, t, steps, rejected, segment)
            samples.cursor[1] = segment
            copy_phase(phase, log.phase[segment])
            log.start[segment] = t
            log.event[segment] = last_event
            event = overdue_event(t, y, car, phase, work.inner_values)
            if event < 0:
                if t >= car.run.time_limit:
                    return Ending(TIME_LIMIT, t, steps, rejected, segment + 1)
                bound = max(ev.next_bound(t, car, phase), t)
                done = advance(t, bound, min(h, _STEP_AFTER_EVENT), car, phase, accuracy, work, samples)
                t, h = done.time, done.next_step
                steps += done.steps
                rejected += done.rejected
                if done.status == adv.BUFFER_FULL or done.status == adv.STEP_TOO_SMALL:
                    status = BUFFER_FULL if done.status == adv.BUFFER_FULL else STEP_TOO_SMALL
                    return Ending(status, t, steps, rejected, segment + 1)
                event = done.event
            last_event = event
            if event == ev.TARGETS_PASSED or event == ev.STALLS:
                status = FINISHED if event == ev.TARGETS_PASSED else STALLED
                return Ending(status, t, steps, rejected, segment + 1)
            if event >= 0:
                happen(event, t, y, car, phase)
            elif t >= ev.stage_end(car, phase):
                end_stage(t, y, car, phase)
        return Ending(BUFFER_FULL, t, steps, rejected, log.start.size)

    return run


def launch_work() -> Record:
    """Scratch arrays for a launch.

    Returns
    -------
    Record
        Zeros.
    """
    return make_work(at.STATES, ev.EVENTS, MOST_FREE, at.INTEGRALS)


@entry
def compiled_rates(t: float, y: Array, car: Record, phase: Record, out: Array) -> None:
    """Compiled form of `physics.balance.rates`, for integrators outside the compiled world."""
    rates(t, y, car, phase, out)


@entry
def compiled_events(t: float, y: Array, car: Record, phase: Record, out: Array) -> None:
    """Compiled form of `events.event_values`, for integrators outside the compiled world."""
    ev.event_values(t, y, car, phase, out)


_LAUNCH = adv.Model(rates, fill_structure, linearise, ev.event_values, ev.rates_and_values, ev.LIMITER_UP)
_run = part(make_run(adv.make_advance(_LAUNCH)))


@entry
def run_compiled(
    car: Record, phase: Record, accuracy: Accuracy, work: Record, samples: Samples, log: PhaseLog
) -> Ending:
    """One launch by the compiled method.

    Parameters
    ----------
    car : Record
        The car, complete.
    phase : Record
        First phase; moved to the last.
    accuracy : Accuracy
        How closely to follow the equations.
    work : Record
        From `launch_work`; its state is the first one and is moved to the last.
    samples : Samples
        Filled with the record of the launch.
    log : PhaseLog
        Filled with its phases.

    Returns
    -------
    Ending
        How it ended.
    """
    return _run(car, phase, accuracy, work, samples, log)
