"""Choices of public functions, as enum members or as plain words."""

from __future__ import annotations

import numpy as np
import pytest

from simlaunch.choices import chosen
from simlaunch.errors import UsageError
from simlaunch.record import Pedal
from simlaunch.simulation.events import Event, EventKind
from simlaunch.simulation.run import Method
from simlaunch.simulation.trace import Trace


@pytest.mark.parametrize("typed", [Pedal.HELD_SLIP, "held slip", "held_slip", "HELD-SLIP", "held"])
def test_every_spelling_of_held_slip_means_it(typed: Pedal | str) -> None:
    assert chosen(Pedal, typed, "pedal") is Pedal.HELD_SLIP


def test_text_values_are_accepted_as_well_as_names() -> None:
    assert chosen(Method, "reference", "method") is Method.REFERENCE
    assert chosen(Method, Method.COMPILED, "method") is Method.COMPILED


@pytest.mark.parametrize("typed", ["slip", "1", "", 1, None])
def test_a_choice_that_is_none_is_refused_with_the_known_ones(typed: object) -> None:
    with pytest.raises(UsageError, match=r'is not known; write one of "full", "held slip"'):
        chosen(Pedal, typed, "pedal")  # type: ignore[arg-type]


def test_a_trace_gives_the_times_of_one_kind_of_event() -> None:
    happened = (
        Event(0.1, EventKind.SPEEDS_MEET),
        Event(0.5, EventKind.SHIFT_BEGINS),
        Event(0.9, EventKind.SPEEDS_MEET),
    )
    trace = Trace(np.array([0.0, 1.0]), {}, happened)
    assert trace.times("coupling speeds meet") == trace.times(EventKind.SPEEDS_MEET) == [0.1, 0.9]
    assert trace.times("stalls") == trace.times("engine stalls") == []
    with pytest.raises(UsageError, match='event "takes off" is not known; write one of "targets passed"'):
        trace.times("takes off")
