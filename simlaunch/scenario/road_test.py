"""Tests by which curves are judged beside the goal of the run: from standstill, or from a roll."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any, Literal, TypeAlias

from pydantic import create_model, model_validator

from simlaunch.errors import Fault
from simlaunch.scenario.surroundings import Name, Section
from simlaunch.units.field import Within, default, optional, refusal, required
from simlaunch.units.gate import quoted
from simlaunch.units.quantity import Quantity
from simlaunch.units.spelling import Dimension

_SPEED = (Dimension.SPEED, "1 km/h", "600 km/h")
_LENGTH = (Dimension.LENGTH, "0.1 m", "20 km")


class _RoadTest(Section):
    """One test: where the time begins and ends, and how the car comes to it."""

    if TYPE_CHECKING:  # as `_FIELDS` makes them
        name: str | None
        to: Quantity
        gear: Quantity | None
        shifting: str | None
        boost: Quantity

    @property
    def start(self) -> Quantity | None:
        """Speed from which the car rolls; None: from standstill."""
        found: Quantity | None = getattr(self, "from")
        return found

    @property
    def end(self) -> Quantity:
        """Speed or distance at which the time ends."""
        return self.to

    @property
    def gear_number(self) -> int:
        """Gear at the start; 0: the one that a driver would take."""
        return int(self.gear.si) if self.gear else 0

    @property
    def shifts(self) -> bool:
        """Whether gears are left: as typed, or else unless the gear is."""
        return self.shifting == "on" if self.shifting else self.gear_number == 0

    @property
    def label(self) -> str:
        """What the test is called."""
        if self.name:
            return self.name
        plain = roll_label(self.start.text if self.start else None, self.end, self.gear_number)
        other = self.shifts != (self.gear_number == 0)
        shifting = f", shifting {'on' if self.shifts else 'off'}" if self.start and other else ""
        boost = f", boost {self.boost.text}" if self.start and self.boost.si else ""
        return f"{plain}{shifting}{boost}"

    @model_validator(mode="after")
    def _rises(self) -> _RoadTest:
        start, end = self.start, self.end
        if start and end.dimension is Dimension.SPEED and start.si >= end.si:
            why = f"is not above the speed from which the car rolls, {start.text}"
            raise refusal(Fault("to", quoted(end.text), why, "write a higher speed, or a distance"))
        if start is None:
            rolling = [key for key in ("gear", "shifting", "boost") if key in self.model_fields_set]
            faults = [Fault(key, "", "applies to a rolling start only", 'add from = "60 mph"') for key in rolling]
            if faults:
                raise refusal(*faults)
        return self


_FIELDS: dict[str, Any] = {  # `from` is no name that Python lets a class body use
    "name": (Name | None, optional("Name of the test; left out, it is named by its speeds.", "pull in fourth")),
    "from": (
        Annotated[Quantity, Within(*_SPEED)] | None,
        optional(
            "Speed at which the car rolls before the driver asks for all there is; left out, from standstill.", "60 mph"
        ),
    ),
    "to": (
        Annotated[Quantity, Within(*_SPEED, also=(_LENGTH,))],
        required("Speed at which the time ends, or the distance over which it is taken.", "130 mph"),
    ),
    "gear": (
        Annotated[Quantity, Within(Dimension.NUMBER, "1", "12", whole=True)] | None,
        optional("Gear in which the car rolls; left out, the one that suits the curve.", "4"),
    ),
    "shifting": (
        Literal["on", "off"] | None,
        optional("Whether gears are changed; left out, they are unless the gear is given.", "on"),
    ),
    "boost": (
        Annotated[Quantity, Within(Dimension.SHARE, "0 %", "100 %")],
        default(
            "0 %",
            "Part of the lagged share of torque that is present at the start of a roll.",
            "common practice: a light foot builds no boost",
            common=("0 %", "60 %"),
        ),
    ),
}

if TYPE_CHECKING:
    RoadTest: TypeAlias = _RoadTest
else:
    RoadTest = create_model("RoadTest", __base__=_RoadTest, __doc__=_RoadTest.__doc__, **_FIELDS)


def engine_runs(turns: float, idle: float, rev_limit: float, limiter_band: float) -> bool:
    """Whether an engine that is tied to the wheels runs there: from idle to below where its rev limiter begins.

    The one rule for the gear of a roll, wherever it is asked.

    Parameters
    ----------
    turns : float
        Engine speed at the road speed in the gear [rad/s].
    idle, rev_limit, limiter_band : float
        Of the engine [rad/s].

    Returns
    -------
    bool
        Whether it runs.
    """
    return bool(idle <= turns < rev_limit - limiter_band)


def roll_label(start: str | None, end: Quantity, gear: int) -> str:
    """Name of a test by its speeds, such as "roll 60 mph to 130 mph" or "roll 80 km/h to 120 km/h in gear 4"."""
    joined = "to" if end.dimension is Dimension.SPEED else "over"
    label = f"roll {start} {joined} {end.text}" if start else f"0 {joined} {end.text}"
    return f"{label} in gear {gear}" if gear else label
