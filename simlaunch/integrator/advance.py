"""Integration from one event to the next."""

from __future__ import annotations

from collections.abc import Callable
from math import inf
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from simlaunch.compiled import part
from simlaunch.integrator.control import LEAST_ERROR, Accuracy, foreseen_factor, next_factor
from simlaunch.integrator.differences import all_free
from simlaunch.integrator.sampling import Samples, record, record_step
from simlaunch.integrator.step import Linearise, Outline, Rates, error_norm, fill_dense, make_step, read_dense, sum_up
from simlaunch.record import Record

Array = NDArray[np.float64]
Step = Callable[[float, float, Any, Any, Record], None]
Events = Callable[[float, Array, Any, Any, Array], None]
"""events(t, y, model, phase, out): fills `out`; an event happens where a value falls through zero."""
Watch = Callable[[float, Array, Any, Any, Array, Array], Any]
"""watch(t, y, model, phase, rates, values): both at once, for a model in which they have much in common; returns what
it found on the way, for `Linearise`."""

# How an advance ends.
AT_BOUND, AT_EVENT, STEP_TOO_SMALL, BUFFER_FULL = range(4)

_SMALLEST_STEP = 1e-13  # [s]
_BISECTIONS = 60
_LOCATED = 1e-11  # an event function counts as zero below this share of its size at both ends of the step
_LANDINGS = 8
_NO_KINKS = 1_000
_LANDING_SHARE = 1e-2  # an event is met to this share of what a step may be wrong by


class Advance(NamedTuple):
    """Where an advance ended, and why."""

    status: int
    time: float  # [s]
    next_step: float  # step to begin with [s]
    event: int  # index of the event, or -1
    steps: int  # accepted
    rejected: int


def make_locate(events: Events) -> Callable[[float, float, int, Any, Any, Record], float]:
    """Build the search for the moment, within an accepted step, at which an event function falls through zero.

    Parameters
    ----------
    events : callable
        Compiled event functions [-].

    Returns
    -------
    callable
        locate(t, h, index, model, phase, work) -> share of the step, 0 to 1 [-].
    """

    @part
    def locate(t: float, h: float, index: int, model: Any, phase: Any, work: Record) -> float:
        low, high = 0.0, 1.0
        enough = _LOCATED * (abs(work.start_values[index]) + abs(work.end_values[index]))
        at_low, at_high = work.start_values[index], work.end_values[index]
        side = 0
        for _ in range(_BISECTIONS):  # regula falsi with Illinois weights: halves the end that will not move
            share = (low * at_high - high * at_low) / (at_high - at_low)
            if not low < share < high:
                share = 0.5 * (low + high)
            read_dense(share, work, work.inner)
            events(t + share * h, work.inner, model, phase, work.inner_values)
            value = work.inner_values[index]
            if value >= 0.0:
                low, at_low = share, value
                at_high *= 0.5 if side == 1 else 1.0
                side = 1
            else:
                high, at_high = share, value
                at_low *= 0.5 if side == -1 else 1.0
                side = -1
            if abs(value) <= enough:
                return share
            if high - low <= 1e-13:
                break
        return high

    return locate


def make_land(
    step: Step, events: Events, kinks: int
) -> Callable[[float, float, float, int, Any, Any, float, Record], float]:
    """Build the function that ends a step on an event, with a true step in place of the interpolant.

    Parameters
    ----------
    step : callable
        Compiled step; see `step.make_step` [-].
    events : callable
        Compiled event functions [-].
    kinks : int
        From this one on, events change no equation: a step must not straddle them, but may end on either side [-].

    Returns
    -------
    callable
        land(t, h, share, index, model, phase, tolerance, work) -> length of the step that was taken [s].
    """

    @part
    def land(
        t: float, h: float, share: float, index: int, model: Any, phase: Any, tolerance: float, work: Record
    ) -> float:
        landed = share * h
        if index >= kinks:
            step(t, landed, model, phase, work)
            return landed
        enough = _LANDING_SHARE * tolerance * (abs(work.start_values[index]) + abs(work.end_values[index]))
        last = (share - 1e-3 if share > 2e-3 else share + 1e-3) * h
        read_dense(last / h, work, work.inner)
        events(t + last, work.inner, model, phase, work.inner_values)
        last_value = work.inner_values[index]
        for _ in range(_LANDINGS):  # secants: the first one leans on the interpolant, the others on true steps
            step(t, landed, model, phase, work)
            events(t + landed, work.trial, model, phase, work.inner_values)
            value = work.inner_values[index]
            if abs(value) <= enough or value == last_value:
                break
            corrected = landed - value * (landed - last) / (value - last_value)
            if not 0.0 < corrected <= h or corrected == landed:
                break
            last, last_value, landed = landed, value, corrected
        else:
            step(t, landed, model, phase, work)
        return landed

    return land


def make_first_event(events: Events) -> Callable[[float, float, Any, Any, Record], tuple[int, float]]:
    """Build the search for the earliest event within an accepted step.

    Parameters
    ----------
    events : callable
        Compiled event functions [-].

    Returns
    -------
    callable
        first_event(t, h, model, phase, work) -> index of the event, or -1, and share of the step [-].
    """
    locate = make_locate(events)

    @part
    def first_event(t: float, h: float, model: Any, phase: Any, work: Record) -> tuple[int, float]:
        index, earliest = -1, 2.0
        for i in range(work.end_values.size):
            if work.end_values[i] < 0.0 <= work.start_values[i]:
                share = locate(t, h, i, model, phase, work)
                if share < earliest:
                    index, earliest = i, share
        return index, earliest

    return first_event


@part
def _meets(work: Record) -> bool:
    """Whether any event function falls through zero within the step."""
    found = False
    for i in range(work.end_values.size):
        found = found or work.end_values[i] < 0.0 <= work.start_values[i]
    return found


@part
def _move_on(work: Record) -> None:
    """Make the end of a step the start of the next: its last stage is the next one's first."""
    for i in range(work.state.size):
        work.state[i] = work.trial[i]
        work.rates[i] = work.end_rates[i]
    for i in range(work.end_values.size):
        work.start_values[i] = work.end_values[i]


class Model(NamedTuple):
    """Compiled functions that make up a system, and what is known of them."""

    rates: Rates
    """Rate of every state."""
    outline: Outline
    """Which states of a phase are to be solved for."""
    linearise: Linearise
    """How rates change with the state."""
    events: Events
    """Event functions."""
    watch: Watch
    """Rates and event functions at once, for a system in which they have much in common."""
    kinks: int
    """From this one on, events change no equation: a step must not straddle them, but may end on either side."""


def simple_model(rates: Rates, linearise: Linearise, events: Events) -> Model:
    """A system without integrals, whose rates and events have nothing in common.

    Parameters
    ----------
    rates : callable
        Compiled right-hand side, rates(t, y, model, phase, out) [-].
    linearise : callable
        Compiled linearisation of the rates; see `step.Linearise` [-].
    events : callable
        Compiled event functions, events(t, y, model, phase, out) [-].

    Returns
    -------
    Model
        For `make_advance`.
    """

    @part
    def watch(t: float, y: Array, model: Any, phase: Any, slopes: Array, values: Array) -> int:
        rates(t, y, model, phase, slopes)
        events(t, y, model, phase, values)
        return 0

    return Model(rates, all_free, linearise, events, watch, _NO_KINKS)


def make_advance(of: Model) -> Callable[..., Advance]:
    """Build the loop that integrates up to the first event or to a time bound.

    Parameters
    ----------
    of : Model
        The system.

    Returns
    -------
    callable
        advance(t, bound, h, model, phase, accuracy, work, samples) -> Advance; `work.state` is moved along, its
        integrals only where samples are recorded that are to hold them [-].
    """
    step, outline, linearise, watch = make_step(of.rates), of.outline, of.linearise, of.watch
    land, first_event = make_land(step, of.events, of.kinks), make_first_event(of.events)

    @part
    def advance(
        t: float, bound: float, h: float, model: Any, phase: Any, accuracy: Accuracy, work: Record, samples: Samples
    ) -> Advance:
        recording = accuracy.sample_gap > 0.0
        whole = recording and accuracy.integrals
        work.linear.whole = whole
        steps, rejected, moved, most_growth = 0, 0, True, inf
        last_length, last_error = 0.0, 1.0  # nothing is foreseen from a step of another phase
        outline(model, phase, work.structure)
        seen = watch(t, work.state, model, phase, work.rates, work.start_values)
        if recording and not record(samples, t, work.state):
            return Advance(BUFFER_FULL, t, h, -1, 0, 0)
        while t < bound:
            h = min(h, accuracy.longest_step)
            to_bound = bound - t <= h * (1.0 + 1e-9)
            length = bound - t if to_bound else h
            if moved:
                linearise(t, work.state, work.rates, seen, model, phase, accuracy.scale, work.structure, work.linear)
            step(t, length, model, phase, work)
            error = error_norm(work, accuracy.tolerance, accuracy.scale)
            moved = error <= 1.0
            if not moved:
                rejected += 1
                most_growth = 1.0  # what has just failed is not tried again at once
                h = length * min(next_factor(error), 0.9)
                if h < _SMALLEST_STEP:
                    return Advance(STEP_TOO_SMALL, t, h, -1, steps, rejected)
                continue
            end, index = bound if to_bound else t + length, -1
            seen = watch(end, work.trial, model, phase, work.end_rates, work.end_values)
            meets = _meets(work)
            if meets or recording:
                fill_dense(work)
            if meets:
                index, share = first_event(t, length, model, phase, work)
                length = land(t, length, share, index, model, phase, accuracy.tolerance, work)
                end = t + length
                fill_dense(work)
            else:  # a step cut short by the bound says nothing against a longer one afterwards
                growth = length / last_length if last_length > 0.0 else inf
                longer = length * min(foreseen_factor(error, last_error, growth), most_growth)
                h = max(h, longer) if to_bound else longer
                last_length, last_error, most_growth = length, max(error, LEAST_ERROR), inf
            if whole:
                sum_up(length, work)
            if recording and not record_step(samples, t, length, accuracy.sample_gap, work):
                return Advance(BUFFER_FULL, t, h, -1, steps, rejected)
            steps += 1
            t = end
            _move_on(work)
            if index >= 0:
                return Advance(AT_EVENT, t, h, index, steps, rejected)
        return Advance(AT_BOUND, t, h, -1, steps, rejected)

    return advance
