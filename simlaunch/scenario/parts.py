"""What parts of the driveline are rated for, and how steeply their life falls with load."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from enum import StrEnum
from typing import Annotated

from simlaunch.errors import Fault
from simlaunch.scenario.surroundings import Derived, Name, Note, Section
from simlaunch.units.field import Within, default, optional, required
from simlaunch.units.gate import quoted
from simlaunch.units.quantity import Quantity, to_si
from simlaunch.units.spelling import Dimension


class Place(StrEnum):
    """Where in the driveline the torque of a part is taken."""

    COUPLING = "coupling"
    GEARBOX_INPUT = "gearbox input"
    GEARBOX_OUTPUT = "gearbox output"
    FRONT_SHAFTS = "front shafts"
    REAR_SHAFTS = "rear shafts"


_TEETH = Derived("6.611", "ISO 6336-2, pitting of hardened gears: life factor 1.6 at 1e5 to 1.0 at 5e7 cycles")
_SHAFT = Derived("5", "FKM guideline for shafts (from memory): 5 to 8 smooth, 3 to 5 splined")

SLOPES: Mapping[Place, Derived] = {
    Place.COUPLING: _SHAFT,
    Place.GEARBOX_INPUT: _TEETH,
    Place.GEARBOX_OUTPUT: _TEETH,
    Place.FRONT_SHAFTS: _SHAFT,
    Place.REAR_SHAFTS: _SHAFT,
}
"""Slope of the S-N line in torque, where a part does not give its own."""


def usual_slope(place: Place) -> float:
    """Slope of the S-N line that is taken for a place, as an exponent of torque [-]."""
    return to_si(SLOPES[place].text, Dimension.NUMBER)


class PartRating(Section):
    """A part of the driveline, and the torque that its maker allows."""

    name: Name = required("Name of the part, unique among them.")
    place: Place = required("Where its torque is taken; shafts are both half shafts of the axle together.")
    rating: Annotated[Quantity, Within(Dimension.TORQUE, "1 N m", "100000 N m")] = required(
        "Torque that the part is rated for; behind the final drive at the gearbox output and the shafts."
    )
    reserve: Annotated[Quantity, Within(Dimension.SHARE, "0 %", "300 %")] = default(
        "50 %",
        "Share of the rating by which the torque of expected failure lies above it.",
        "common practice: a maker's rating leaves about half as much again",
    )
    slope: Annotated[Quantity, Within(Dimension.NUMBER, "1", "20")] | None = optional(
        "Slope of the S-N line: life falls with this power of torque."
    )
    origin: Note = required("Where rating, reserve and slope come from.")

    def derived(self) -> Mapping[str, Derived]:
        """Slope that is usual for the place."""
        return {"slope": SLOPES[self.place]}

    @property
    def slope_si(self) -> float:
        """Slope of the S-N line, given or usual [-]."""
        return self.slope.si if self.slope else usual_slope(self.place)

    @property
    def failure_si(self) -> float:
        """Torque of expected failure [N m]."""
        return self.rating.si * (1.0 + self.reserve.si)


def names_apart(parts: tuple[PartRating, ...] | None) -> Iterator[Fault]:
    """Faults of parts that share a name."""
    seen: set[str] = set()
    for n, part in enumerate(parts or (), start=1):
        if part.name in seen:
            yield Fault(f"parts[{n}].name", quoted(part.name), "is the name of an earlier part", "give each its own")
        seen.add(part.name)
