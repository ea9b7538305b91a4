"""Events: found where they are, the first one first."""

from __future__ import annotations

from math import asin, pi

import numpy as np
import pytest
from numpy.typing import NDArray

from simlaunch.integrator.advance import AT_BOUND, AT_EVENT, Advance, make_advance, simple_model
from simlaunch.integrator.control import Accuracy
from simlaunch.integrator.differences import make_linearise
from simlaunch.integrator.sampling import make_samples
from simlaunch.integrator.step import error_norm, make_work

Array = NDArray[np.float64]


def swing(t: float, y: Array, model: Array, phase: None, out: Array) -> None:
    """An oscillator of angular frequency 1."""
    out[0], out[1] = y[1], -y[0]


def levels(t: float, y: Array, model: Array, phase: None, out: Array) -> None:
    """The displacement falls through each level."""
    out[:] = y[0] - model


def fall(t: float, y: Array, model: Array, phase: None, out: Array) -> None:
    """Each state falls at its own steady rate."""
    out[:] = -model


def zeros(t: float, y: Array, model: Array, phase: None, out: Array) -> None:
    """Each state is measured from 400, as two nearly equal speeds are."""
    out[:] = (y + 400.0) - 400.0


def first(rates: object, events: object, y: Array, model: Array, bound: float, first_step: float) -> Advance:
    advance = make_advance(simple_model(rates, make_linearise(rates), events))  # type: ignore[arg-type]
    accuracy = Accuracy(1e-9, np.ones(len(y)), 1.0, 0.0)
    work, samples = make_work(len(y), len(model)), make_samples(1, len(y))
    work.state = y
    done = advance(0.0, bound, first_step, model, None, accuracy, work, samples)
    y[:] = work.state
    return done


@pytest.mark.parametrize("level", [0.99, 0.5, 0.0, -0.9])
def test_time_of_an_event(level: float) -> None:
    """cos t = level at t = pi/2 - asin(level). Source: trigonometry."""
    y = np.array([1.0, 0.0])
    done = first(swing, levels, y, np.array([level]), 10.0, 0.1)
    assert done.status == AT_EVENT
    assert done.time == pytest.approx(0.5 * pi - asin(level), abs=1e-8)
    assert y[0] == pytest.approx(level, abs=1e-12)


def test_a_rising_passage_is_no_event() -> None:
    """sin t passes 0.5 upwards at pi/6 and downwards at 5 pi/6. Source: trigonometry."""
    done = first(swing, levels, np.array([0.0, 1.0]), np.array([0.5]), 10.0, 0.1)
    assert done.time == pytest.approx(5.0 * pi / 6.0, abs=1e-8)


def test_no_event_before_the_bound() -> None:
    done = first(swing, levels, np.array([1.0, 0.0]), np.array([-2.0]), 3.0, 0.1)
    assert (done.status, done.event, done.time) == (AT_BOUND, -1, 3.0)


def test_first_of_two_events_of_one_step() -> None:
    """States that fall evenly reach zero at y / rate; the smallest of these is the event.

    Steps grow eightfold, so that both passages lie within one step. Source: arithmetic.
    """
    rng = np.random.default_rng(1)
    for _ in range(400):
        start, rate = rng.uniform(1.0, 300.0, 2), rng.uniform(100.0, 3000.0, 2)
        when = start / rate
        done = first(fall, zeros, start.copy(), rate, 10.0, 0.5)
        assert done.event == int(np.argmin(when)), (start, rate)
        assert done.time == pytest.approx(when.min(), abs=1e-12 * 400.0)


@pytest.mark.parametrize("state", [0, 1])
def test_a_step_that_is_not_a_number_fails(state: int) -> None:
    work = make_work(2, 1)
    work.state[:] = 1.0
    work.stages[-1, state] = np.nan
    assert error_norm(work, 1e-6, np.ones(2)) == np.inf
