"""Fields of a model that hold text with a unit: kind, possible range, and where a default comes from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray
from pydantic import Field, GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from simlaunch.errors import Fault, InputError
from simlaunch.units.gate import MAX_LENGTH, example, phrase, quoted, spellings
from simlaunch.units.quantity import Quantity, read
from simlaunch.units.spelling import Dimension


def refusal(*faults: Fault) -> PydanticCustomError:
    """Validation error that carries our own faults; their places count from the field that raised it."""
    return PydanticCustomError("faults", "{text}", {"text": "; ".join(map(str, faults)), "faults": faults})


def refused(typed: str, why: str, instead: str) -> PydanticCustomError:
    """Validation error with one fault, placed at the field itself."""
    return refusal(Fault("", typed, why, instead))


Range: TypeAlias = tuple[Dimension, str, str]


@dataclass(frozen=True)
class Within:
    """Marks a field as text with a unit, between two bounds that are possible at all.

    Bounds are inclusive, and are text with a unit as well, so that a message can repeat them as the trade
    writes them. A field that takes more than one kind of quantity names the other ranges in `also`.
    """

    dimension: Dimension
    low: str
    high: str
    also: tuple[Range, ...] = ()
    whole: bool = False

    @property
    def ranges(self) -> tuple[Range, ...]:
        """Every kind of quantity that the field takes, with its bounds."""
        return ((self.dimension, self.low, self.high), *self.also)

    @property
    def dimensions(self) -> tuple[Dimension, ...]:
        """Every kind of quantity that the field takes."""
        return tuple(dimension for dimension, _, _ in self.ranges)

    @cached_property
    def _bounds(self) -> Mapping[Dimension, tuple[Quantity, Quantity]]:
        return {kind: (read(low, kind), read(high, kind)) for kind, low, high in self.ranges}

    def holds(self, si: NDArray[np.float64], dimension: Dimension) -> NDArray[np.bool_]:
        """Which numbers of one kind the field takes, as `parse` does [SI units]."""
        low, high = self._bounds[dimension]
        inside = (low.si <= si) & (si <= high.si)
        return inside & (si == np.floor(si)) if self.whole else inside

    def parse(self, value: object) -> Quantity:
        """Quantity from what stands in the file, or a validation error that says what to write instead."""
        if isinstance(value, Quantity):
            value = value.text
        if not isinstance(value, str):
            raise refused(*_not_text(value, self.dimensions))
        try:
            quantity = read(value, *self.dimensions)
        except InputError as error:
            fault: Fault = error.args[0]
            raise refused(fault.typed, fault.why, fault.instead) from None
        self._check(quantity)
        return quantity

    def _check(self, quantity: Quantity) -> None:
        low, high = self._bounds[quantity.dimension]
        typed = quoted(quantity.text)
        bare = quantity.dimension is Dimension.SHARE and "%" not in quantity.text
        if bare and quantity.si > 1.0 and low.si <= quantity.si / 100.0 <= high.si:
            why = "is no share: a number alone counts in parts of one, up to 1"
            raise refused(typed, why, f'write "{quantity.text} %" if per cent was meant')
        if quantity.si < low.si:
            raise refused(typed, f"is below {low.text}, the least that is possible", f"write {low.text} or more")
        if quantity.si > high.si:
            raise refused(typed, f"is above {high.text}, the most that is possible", f"write {high.text} or less")
        if self.whole and not quantity.si.is_integer():
            raise refused(typed, "is not a whole number", f'write one, such as "{round(quantity.si)}"')

    def __get_pydantic_core_schema__(self, source: object, handler: GetCoreSchemaHandler) -> CoreSchema:
        """Validator for pydantic; written back as the text that was typed."""
        back = core_schema.plain_serializer_function_ser_schema(_text)
        return core_schema.no_info_plain_validator_function(self.parse, serialization=back)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> JsonSchemaValue:
        """JSON Schema: a string, with kinds, bounds and accepted units in words."""
        units = ", ".join(spelling or "no unit" for spelling in spellings(*self.dimensions))
        ranges = " or ".join(f"{phrase(kind)} from {low} to {high}" for kind, low, high in self.ranges)
        return {"type": "string", "maxLength": MAX_LENGTH, "$comment": f"{ranges}; units: {units}"}


def _text(quantity: Quantity) -> str:
    return quantity.text


def _not_text(value: object, dimensions: tuple[Dimension, ...]) -> tuple[str, str, str]:
    """Typed value, why, and what to write, for a value that is not text."""
    bare = not isinstance(value, bool) and isinstance(value, int | float)
    if bare:
        unit = "" if "" in spellings(*dimensions) else example(dimensions[0]).strip('"').partition(" ")[2]
        return (
            str(value),
            "is a bare number; values are text",
            f'write "{f"{value} {unit}".strip()}" in quotes',
        )
    what = {bool: "true or false", list: "a list", tuple: "a list", dict: "a table"}.get(type(value), "not text")
    return "", f"is {what}; {phrase(*dimensions)} is wanted", f"write text such as {example(*dimensions)}"


def required(description: str, *examples: str | list[Any]) -> Any:
    """A field that has to be given; the examples fit it, as they would be typed, the most usual one first."""
    return Field(description=description, examples=list(examples) or None)


def default(
    value: Any, description: str, origin: str, common: tuple[str, str] | None = None, example: Any = None
) -> Any:
    """A field with a default: where that comes from, and between which two values the field commonly lies.

    The range is common practice, or that of the origin; for a choice it names two of the choices.
    """
    extra: dict[str, Any] = {"origin": origin} | ({"common": list(common)} if common else {})
    return Field(
        default=value,
        description=description,
        json_schema_extra=extra,
        examples=[value if example is None else example],
    )


def optional(description: str, *examples: str | list[Any]) -> Any:
    """A field that may be left out, and then stands for nothing or is worked out from the rest."""
    return Field(default=None, description=description, examples=list(examples) or None)
