"""Quantities typed as options: text with a unit, within bounds."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from simlaunch.errors import Fault, InputError
from simlaunch.units import gate
from simlaunch.units import quantity as quantities

if TYPE_CHECKING:
    from simlaunch.units.spelling import Dimension


@dataclass(frozen=True)
class Asked:
    """An option that takes a quantity: its name, the kind of quantity, and the bounds, as they would be typed."""

    option: str
    dimension: Dimension
    least: str
    most: str


def quantity(text: str, asked: Asked) -> float:
    """Value in SI units of what was typed; the refusal names the option."""
    try:
        value = quantities.read(text, asked.dimension).si
    except InputError as error:
        fault: Fault = error.args[0]
        raise InputError(replace(fault, place=asked.option)) from None
    least, most = (quantities.to_si(bound, asked.dimension) for bound in (asked.least, asked.most))
    if not least <= value <= most:
        why = f"is not from {asked.least} to {asked.most}"
        raise InputError(Fault(asked.option, gate.quoted(text), why, "check value and unit"))
    return value


def quantity_or_none(text: str | None, asked: Asked) -> float | None:
    """The same, or None where the option was not given."""
    return None if text is None else quantity(text, asked)
