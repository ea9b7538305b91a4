"""Launches of many cars at once by Tsit5 of diffrax: one loop of steps, in which every car is in a phase of its own.

A pass of the loop tries one step of the solver for every car. A step in which an event function falls through zero
is tried again, shorter, until it ends just behind the event; a car that has changed its phase spends one pass on
evaluating the new one. Cars that have finished are taken out of the batch whenever half of it has. The last hundredth
of the cars is given up and counts as without a time: with stiff ones an explicit method takes twenty times as many
steps as with most, which would take as long as all others together. The implicit Kvaerno3 made three quarters as many
launches, 64 at once, and takes a minute to compile for each size of batch.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

import diffrax
import jax
import jax.numpy as jnp
import numpy as np
from numpy.typing import NDArray

from benchmarks.jax_car import Evaluation, Motion, evaluate, gears
from benchmarks.jax_handover import happen, next_bound, overdue_event, settle, stage_over
from benchmarks.jax_numbers import Values, choose, lowered, lowered_cars, pick
from benchmarks.speed_motion import FINISHED, GOING, LONGEST_STEP, STOPPED, motion_scales
from simlaunch.physics import state as at
from simlaunch.record import CAR, Car
from simlaunch.simulation import events as ev
from simlaunch.simulation import prepare
from simlaunch.simulation.kernel import launch_work

Array = NDArray[np.float64]

_FIRST_STEP = 1e-4  # [s]
_LANDING = 1e-7  # a step that ends within this time behind an event ends on it [s]
_LEAST, _MOST, _SAFETY = 0.2, 5.0, 0.9
_SMALLEST_BATCH, _GIVEN_UP = 8, 0.03
_MOST_PASSES = 100_000
_SCALE = Motion(*motion_scales().tolist())
_SOLVER: Any = diffrax.Tsit5(scan_kind="lax")

LADDER = (1e-4, 5e-5, 2e-5, 1e-5, 5e-6)
"""Tolerances about those that hold the bars: a run of a whole batch takes most of a minute."""


class Flight(NamedTuple):
    """Where every car is."""

    t: Values
    y: Motion
    slope: Motion  # rates at the state, over the scale of each
    events: tuple[Values, ...]  # at the state
    phase: Any
    fresh: Values  # the phase has just begun: slope and events are not known yet
    settling: Values  # the coupling has just been taken to stick
    bound: Values  # of the phase [s]
    h: Values  # step to try [s]
    aim: Values  # where the next event is expected [s]
    aimed: Values  # which one it is
    status: Values


class Attempt(NamedTuple):
    """A step of every car."""

    t: Values
    length: Values
    to_bound: Values
    y: Motion
    error: Values  # over what is allowed


def _scaled(y: Motion, power: float) -> Motion:
    return Motion(*(value * scale**power for value, scale in zip(y, _SCALE, strict=True)))


def _vector_field(t: Values, z: Motion, about: Any) -> Motion:
    """Rates of the scaled state of one car."""
    return _scaled(evaluate(t, _scaled(z, 1.0), *about).rates, -1.0)


def _attempt(tolerance: Values, at_: Flight, about: Any) -> Attempt:
    """Try a step with every car; those that have a fresh phase try in vain."""
    length = jnp.minimum(jnp.minimum(at_.h, LONGEST_STEP), at_.aim - at_.t)
    to_bound = at_.bound - at_.t <= length * (1.0 + 1e-9)
    end = jnp.where(to_bound, at_.bound, at_.t + length)
    z = _scaled(at_.y, -1.0)

    def step(t: Values, end: Values, z: Any, slope: Any, about: Any) -> tuple[Any, Any]:
        state = (jnp.array(False), slope)  # the first stage is known: the last one of the step before
        return _SOLVER.step(diffrax.ODETerm(_vector_field), t, end, z, about, state, jnp.array(False))[:2]

    z_end, error = jax.vmap(step)(at_.t, end, z, at_.slope, about)
    allowed = [tolerance * (1.0 + jnp.maximum(jnp.abs(a), jnp.abs(b))) for a, b in zip(z, z_end, strict=True)]
    squares = sum((e / limit) ** 2 for e, limit in zip(error, allowed, strict=True))
    return Attempt(end, end - at_.t, to_bound, _scaled(z_end, 1.0), jnp.sqrt(squares / len(z)))


def _first_fall(before: tuple[Values, ...], after: tuple[Values, ...]) -> tuple[Values, Values]:
    """The event expected first among those that fall through zero in a step, or -1, and the share of the step."""
    index, earliest = jnp.full_like(before[0], -1, dtype=jnp.int32), jnp.full_like(before[0], 2.0)
    for i, (low, high) in enumerate(zip(before, after, strict=True)):
        share = jnp.where((high < 0.0) & (low >= 0.0), low / (low - high), 2.0)
        index, earliest = jnp.where(share < earliest, i, index), jnp.minimum(share, earliest)
    return index, earliest


def _next_aim(flight: Flight, attempt: Attempt, after: tuple[Values, ...]) -> Values:
    """Where the event aimed at is expected, seen from the end of a step that stopped just short of it [s]."""
    low, high = pick(flight.events, flight.aimed), pick(after, flight.aimed)
    short = attempt.t >= flight.aim
    rest = jnp.where(low > high, attempt.length * high / (low - high), jnp.inf)
    return jnp.where(short, attempt.t + rest + 0.5 * _LANDING, flight.aim)


def _next_step(flight: Flight, attempt: Attempt, order: float) -> Values:
    factor = _SAFETY * jnp.maximum(attempt.error, 1e-10) ** (-1.0 / order)
    factor = jnp.where(jnp.isfinite(attempt.error), jnp.clip(factor, _LEAST, _MOST), _LEAST)
    cut_short = (attempt.length < flight.h) & (attempt.error <= 1.0)
    return jnp.where(cut_short, jnp.maximum(flight.h, attempt.length * factor), attempt.length * factor)


def _stepped(flight: Flight, attempt: Attempt, found: Evaluation, order: float) -> tuple[Flight, Values, Values]:
    """Judge a step: where every car now is, the event it is on, or -1, and whether its phase's clock has run out."""
    stepping = (flight.status == GOING) & ~flight.fresh
    held = stepping & (attempt.error <= 1.0)
    index, share = _first_fall(flight.events, found.events)
    lands = held & (index >= 0) & ((1.0 - share) * attempt.length <= _LANDING)
    passes, again = held & (index < 0), held & (index >= 0) & ~lands
    moves = passes | lands
    aim = jnp.where(passes, _next_aim(flight, attempt, found.events), jnp.where(lands, jnp.inf, flight.aim))
    aim = jnp.where(again, flight.t + jnp.clip(share, 0.01, 0.99) * attempt.length + 0.5 * _LANDING, aim)
    moved = flight._replace(
        t=jnp.where(moves, attempt.t, flight.t),
        y=choose(moves, attempt.y, flight.y),
        slope=choose(moves, _scaled(found.rates, -1.0), flight.slope),
        events=choose(moves, found.events, flight.events),
        h=jnp.where(stepping & ~again, _next_step(flight, attempt, order), flight.h),
        aim=aim,
        aimed=jnp.where(again, index, flight.aimed),
    )
    return moved, jnp.where(lands, index, -1), passes & attempt.to_bound


def _begun(flight: Flight, found: Evaluation, car: Any) -> tuple[Flight, Values, Values]:
    """Begin a fresh phase: it may be over at once."""
    fresh = (flight.status == GOING) & flight.fresh
    slips = fresh & flight.settling & (jnp.abs(found.friction) > found.capacity)
    event = jnp.where(fresh & ~slips, overdue_event(found.events), -1)
    over = fresh & ~slips & (event < 0) & stage_over(flight.t, car, flight.phase)
    begins = fresh & ~slips & (event < 0) & ~over
    begun = flight._replace(
        phase=settle(slips, found.friction, flight.phase),
        slope=choose(fresh, _scaled(found.rates, -1.0), flight.slope),
        events=choose(fresh, found.events, flight.events),
        fresh=flight.fresh & ~begins,
        settling=flight.settling & ~fresh,
        bound=jnp.where(begins, next_bound(flight.t, car, flight.phase), flight.bound),
        aim=jnp.where(begins, jnp.inf, flight.aim),
        status=jnp.where(begins & (flight.t >= car.run.time_limit), STOPPED, flight.status),
    )
    return begun, event, over


def _pass(order: float, tolerance: Values, car: Any, flight: Flight) -> Flight:
    """Try a step with every car, or begin its phase; then hand over to the next phase where an event has come."""
    about = (car, flight.phase, gears(car, flight.phase))
    attempt = _attempt(tolerance, flight, about)
    t, y = choose(flight.fresh, (flight.t, flight.y), (attempt.t, attempt.y))
    found = evaluate(t, y, *about)
    was_fresh = flight.fresh
    flight, landed, by_clock = _stepped(flight, attempt, found, order)
    flight, overdue, over = _begun(flight, found, car)
    event, clock = jnp.where(was_fresh, overdue, landed), jnp.where(was_fresh, over, by_clock)
    clock_ends = clock & stage_over(flight.t, car, flight.phase)
    y, phase, settling = happen(event, clock_ends, flight.t, flight.y, car, flight.phase, found.friction)
    status = jnp.where(event == ev.TARGETS_PASSED, FINISHED, flight.status)
    status = jnp.where(event == ev.STALLS, STOPPED, status)
    return flight._replace(
        y=y, phase=phase, settling=flight.settling | settling, status=status, fresh=flight.fresh | (event >= 0) | clock
    )


@jax.jit
def _fly(target: Values, tolerance: Values, car: Any, flight: Flight) -> Flight:
    """Go on until no more than a number of cars are on their way."""
    order = float(_SOLVER.error_order(diffrax.ODETerm(_vector_field)))

    def on_their_way(carried: tuple[Values, Flight]) -> Values:
        return (jnp.sum(carried[1].status == GOING) > target) & (carried[0] < _MOST_PASSES)

    def go_on(carried: tuple[Values, Flight]) -> tuple[Values, Flight]:
        return carried[0] + 1, _pass(order, tolerance, car, carried[1])

    return jax.lax.while_loop(on_their_way, go_on, (jnp.array(0), flight))[1]


def _at_start(cars: Sequence[Car]) -> tuple[Any, Flight]:
    """The cars at their starts."""
    records: Any = np.zeros(len(cars), CAR).view(np.recarray)
    phases = np.zeros(len(cars), at.PHASE).view(np.recarray)
    states, work = np.zeros((len(cars), at.STATES)), launch_work()
    for i, car in enumerate(cars):
        records[i] = car
        prepare.begin(records[i], work, phases[i])  # also fills in the torque of the car's brakes
        states[i] = work.state
    y = Motion(*states[:, : len(Motion._fields)].T.copy())
    zeros, no, none = np.zeros(len(cars)), np.zeros(len(cars), bool), np.zeros(len(cars), np.int32)
    flight = Flight(
        zeros, y, jax.tree.map(np.zeros_like, y), (zeros,) * ev.EVENTS, lowered(phases), ~no, no, zeros,
        np.full(len(cars), _FIRST_STEP), np.full(len(cars), np.inf), none, none,
    )  # fmt: skip
    return lowered_cars(records), flight


def _batches(size: int) -> list[int]:
    """Sizes of the batch as cars drop out."""
    return [size] if size < 2 * _SMALLEST_BATCH else [size, *_batches(size // 2)]


def _taken(tree: Any, indices: NDArray[np.int64]) -> Any:
    return jax.tree.map(lambda values: np.asarray(values)[indices], tree)


def times_by_diffrax(cars: Sequence[Car], tolerance: float) -> Array:
    """End time of every car [s]; not a number where there is none."""
    car, flight = _at_start(cars)
    ends, places = np.full(len(cars), np.nan), np.arange(len(cars))
    for smaller in (*_batches(len(cars))[1:], int(_GIVEN_UP * len(cars))):
        flight = _fly(smaller, tolerance, car, flight)
        status, t = np.asarray(flight.status), np.asarray(flight.t)
        finished = status == FINISHED
        ends[places[finished]] = (t - np.asarray(flight.phase.brake_off))[finished]
        kept = np.argsort(status != GOING, kind="stable")[:smaller]
        car, flight, places = _taken(car, kept), _taken(flight, kept), places[kept]
    return ends
