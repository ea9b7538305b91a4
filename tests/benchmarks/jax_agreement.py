"""Whether the physics written in jax.numpy is that of `simlaunch.physics`, at states from launches, shaken.

Our tyres read the outer curve of the Magic Formula from a table that comes within 1e-8 of it, and an arctangent from
one that comes within 1e-10; here they take both by formula, as JAX does, so that the two can be held against each other
to rounding.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import atan
from unittest import mock

import jax
import numpy as np
from numpy.typing import NDArray

from benchmarks.jax_car import Motion, evaluate, gears
from benchmarks.jax_numbers import lowered, lowered_cars
from benchmarks.speed_motion import STATES, motion_scales
from simlaunch.physics import balance, magic_formula, tyre
from simlaunch.physics import state as at
from simlaunch.record import Car, Record
from simlaunch.simulation import events as ev
from simlaunch.simulation import kernel, prepare
from simlaunch.simulation.bench import make_bench

Array = NDArray[np.float64]
_SAMPLE_GAP, _SHAKE, _EACH = 0.02, 0.05, 8
_EVENT_SCALE = 1.0


def _exact_curve(u: float, tyre: Record) -> magic_formula.Contact:
    return magic_formula.shape_curve(u, tyre.shape_factor)


def _shaken_states(car: Car, rng: np.random.Generator) -> list[tuple[float, Array, Record]]:
    """Times, states and phases of one launch, spread over its phases."""
    bench = make_bench(1e-4, sample_gap=_SAMPLE_GAP)
    samples, log = bench.samples, bench.log
    prepare.begin(car, bench.work, bench.phase[0])
    kernel.run_compiled(car, bench.phase[0], bench.accuracy, bench.work, samples, log)
    segments = samples.segment[: samples.cursor[0]]
    places = [rng.choice(np.flatnonzero(segments == rng.choice(np.unique(segments)))) for _ in range(_EACH)]
    shake = 1.0 + _SHAKE * rng.normal(size=(_EACH, STATES))
    return [
        (samples.time[place], samples.state[place, :STATES] * factors, log.phase[segments[place]])
        for place, factors in zip(places, shake, strict=True)
    ]


def _ours(t: float, y: Array, car: Car, phase: Record) -> tuple[Array, Array]:
    full, values = np.empty(at.STATES), np.empty(ev.EVENTS)
    balance.rates(t, y, car, phase, full)
    ev.event_values(t, y, car, phase, values)
    return full[:STATES], values


def disagreement(cars: Sequence[Car]) -> float:
    """Greatest difference of a rate or an event function, over its size or the scale of its state [-]."""
    rng = np.random.default_rng(0)
    drawn = [(car, *state) for car in cars for state in _shaken_states(car, rng)]
    phases = np.array([phase for _, _, _, phase in drawn], at.PHASE)
    times, states = np.array([t for _, t, _, _ in drawn]), np.array([y for _, _, y, _ in drawn])
    car, phase = lowered_cars([car for car, _, _, _ in drawn]), lowered(phases)
    found = jax.jit(evaluate)(times, Motion(*states.T), car, phase, gears(car, phase))
    by_formula = mock.patch.object(magic_formula, "tabulated_atan", atan)
    with mock.patch.object(tyre, "tabulated_shape", _exact_curve), by_formula:
        ours = [_ours(t, y, car, phase) for car, t, y, phase in drawn]
    rates, values = (np.array(column) for column in zip(*ours, strict=True))
    worst_rate = np.abs(np.array(found.rates).T - rates) / (np.abs(rates) + motion_scales())
    worst_value = np.abs(np.array(found.events).T - values) / (np.abs(values) + _EVENT_SCALE)
    return float(max(worst_rate.max(), worst_value.max()))
