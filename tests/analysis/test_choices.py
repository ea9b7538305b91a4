"""Choices of public functions, as enum members or as plain words."""

from __future__ import annotations

import pytest

from simlaunch.choices import chosen
from simlaunch.errors import UsageError
from simlaunch.record import Pedal
from simlaunch.simulation.run import Method


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
