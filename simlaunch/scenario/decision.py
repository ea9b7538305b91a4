"""What a decision needs beside the car: what is uncertain, what parts are rated for, what a curve must keep to."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from math import nan
from typing import Annotated, Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray
from pydantic import AfterValidator, Discriminator, Field, Tag, model_validator
from pydantic_core import PydanticCustomError

from simlaunch.errors import Fault, InputError
from simlaunch.record import MAX_CURVE_POINTS
from simlaunch.scenario.powertrain import Curve, CurvePoints, Engine, EngineSpeed, rising
from simlaunch.scenario.surroundings import Derived, Name, Note, Section
from simlaunch.units.field import Within, default, optional, refusal, required
from simlaunch.units.gate import examine, phrase, quoted
from simlaunch.units.quantity import Quantity, to_si, unit_spelled
from simlaunch.units.spelling import Dimension

ALL_CURVES, EACH_CURVE = "all curves together", "each curve by itself"
"""Keys that stand for a factor on the torque: the same for every curve, or one of its own for each."""

CURVE_FACTOR = Within(Dimension.NUMBER, "0.5", "1.5", also=((Dimension.SHARE, "50 %", "150 %"),))

ALL_GEARS = {"gearbox.efficiency": Within(Dimension.SHARE, "30 %", "100 %")}
"""Lists that one value stands for, and may be uncertain as that value."""

Find = Callable[[str], Within | None]
"""What a key takes that holds a single quantity; None for any other key."""

_NEEDS = {
    "normal": ("deviation",),
    "uniform": ("low", "high"),
    "triangular": ("low", "high"),
    "lognormal": ("low", "high"),
}
_ALLOWS_MIDDLE = frozenset({"normal", "triangular"})
_NUMBERS = ("middle", "deviation", "low", "high")


@dataclass(frozen=True)
class Spread:
    """Numbers of a distribution in SI units; nan where a kind has no such number."""

    middle: float = nan
    deviation: float = nan
    low: float = nan
    high: float = nan


class Uncertain(Section):
    """A value that is not known for sure."""

    key: str = required(
        f'Key path of a number, such as "road.friction_factor"; or "{ALL_CURVES}", "{EACH_CURVE}" for torque.',
        "road.friction_factor",
    )
    kind: Literal["normal", "uniform", "triangular", "lognormal"] = required("Kind of distribution.", "uniform")
    middle: str | None = optional(
        "Mean of a normal, likeliest value of a triangular distribution; left out, as in the scenario.", "1"
    )
    deviation: str | None = optional("Standard deviation, in the unit of the key or as a share of the middle.", "4 %")
    low: str | None = optional("Least value; with lognormal, the value that 5 % of cases stay below.", "0.9")
    high: str | None = optional("Greatest value; with lognormal, the value that 5 % of cases exceed.", "1.05")
    origin: Note = required("Where the spread comes from.", "Common practice: grip is known to 5 % at best.")

    @model_validator(mode="after")
    def _as_its_kind_needs(self) -> Uncertain:
        needed = _NEEDS[self.kind]
        allowed = {*needed, "middle"} if self.kind in _ALLOWS_MIDDLE else set(needed)
        given = {name for name in _NUMBERS if getattr(self, name) is not None}
        faults = [
            Fault(name, "", f"is missing for a {self.kind} distribution", f'add {name} = "..."')
            for name in needed
            if name not in given
        ]
        faults += [
            Fault(name, "", f"has no meaning for a {self.kind} distribution", "leave it out")
            for name in _NUMBERS
            if name in given - allowed
        ]
        if faults:
            raise refusal(*faults)
        return self

    def spread(self, within: Within, own: float) -> Spread:
        """Numbers of the distribution.

        Parameters
        ----------
        within : Within
            What the key takes.
        own : float
            Value in the scenario, in SI units; nan where it has none.

        Returns
        -------
        Spread
            In SI units.
        """
        middle, low, high = (
            nan if text is None else within.parse(text).si for text in (self.middle, self.low, self.high)
        )
        middle = own if self.middle is None and self.kind in _ALLOWS_MIDDLE else middle
        deviation = nan if self.deviation is None else _deviation(self.deviation, within, middle)
        return Spread(middle, deviation, low, high)


def _deviation(text: str, within: Within, middle: float) -> float:
    """Standard deviation, which is a difference: an offset between units plays no part in it."""
    typed = examine(text, *dict.fromkeys((within.dimension, Dimension.SHARE)))
    if typed.dimension is not within.dimension:
        return typed.number * unit_spelled(typed.spelling, Dimension.SHARE).scale * abs(middle)
    return typed.number * unit_spelled(typed.spelling, typed.dimension).scale


def within_of(key: str, find: Find) -> Within | None:
    """What an uncertain key takes, of one kind of quantity only."""
    if key in (ALL_CURVES, EACH_CURVE):
        return CURVE_FACTOR
    found = ALL_GEARS.get(key) or find(key)
    return None if found is None else replace(found, also=())


_CORRELATION = Within(Dimension.NUMBER, "-1", "1")


class Correlation(Section):
    """Normal values that are not independent of one another."""

    keys: Annotated[tuple[str, ...], Field(min_length=2, max_length=20)] = required(
        "Keys under [[uncertain]], each with a normal distribution.", ["body.mass", "road.friction_factor"]
    )
    coefficients: Annotated[
        tuple[tuple[Annotated[Quantity, _CORRELATION], ...], ...], Field(min_length=2, max_length=20)
    ] = required("Their correlations: a row for each key, 1 on the diagonal.", [["1", "0.3"], ["0.3", "1"]])
    origin: Note = required("Where they come from.", "Invented.")

    @model_validator(mode="after")
    def _is_a_correlation(self) -> Correlation:
        rows, why = self.coefficients, ""
        if {len(row) for row in rows} != {len(self.keys)} or len(rows) != len(self.keys):
            why = f"is not a table of {len(self.keys)} rows of {len(self.keys)} values"
        elif (self.matrix != self.matrix.T).any() or (self.matrix.diagonal() != 1.0).any():
            why = "is not symmetric about a diagonal of 1"
        elif np.linalg.eigvalsh(self.matrix)[0] <= 0.0:
            why = "contradicts itself: no values can have these correlations"
        if why:
            raise refusal(Fault("coefficients", "", why, 'write rows such as ["1", "0.4"], ["0.4", "1"]'))
        return self

    @property
    def matrix(self) -> NDArray[np.float64]:
        """The coefficients as an array, shape (n, n) [-]."""
        return np.array([[value.si for value in row] for row in self.coefficients])


def uncorrelatable(entries: tuple[Uncertain, ...], correlation: Correlation | None) -> Iterator[Fault]:
    """Faults of a correlation that show only beside the uncertain values.

    Parameters
    ----------
    entries : tuple of Uncertain
        The values.
    correlation : Correlation or None
        What ties some of them together.

    Yields
    ------
    Fault
        Places are full key paths.
    """
    normal = {entry.key for entry in entries if entry.kind == "normal" and entry.key != EACH_CURVE}
    keys = correlation.keys if correlation else ()
    for n, key in enumerate(keys, start=1):
        if key not in normal:
            why = "is not a single value with a normal distribution under [[uncertain]]"
            yield Fault(f"correlation.keys[{n}]", quoted(key), why, "add it there, or leave it out here")
        elif key in keys[: n - 1]:
            yield Fault(f"correlation.keys[{n}]", quoted(key), "is given twice", "give each key once")


def unsound(entries: tuple[Uncertain, ...], find: Find) -> Iterator[Fault]:
    """Faults of uncertain values that show only beside the values of their keys.

    Parameters
    ----------
    entries : tuple of Uncertain
        The values.
    find : callable
        What a key takes.

    Yields
    ------
    Fault
        Places are full key paths.
    """
    seen: set[str] = set()
    for n, entry in enumerate(entries, start=1):
        place, within = f"uncertain[{n}]", within_of(entry.key, find)
        if within is None:
            why = "is not a key that holds one number"
            yield Fault(f"{place}.key", quoted(entry.key), why, 'write one such as "body.mass"')
        elif entry.key in seen:
            yield Fault(f"{place}.key", quoted(entry.key), "is given twice", "give each key once")
        else:
            yield from (replace(fault, place=f"{place}.{fault.place}") for fault in _number_faults(entry, within))
        seen.add(entry.key)


def _number_faults(entry: Uncertain, within: Within) -> Iterator[Fault]:
    unread = list(_unread(entry, within))
    yield from unread
    if not unread:
        yield from _order_faults(entry, entry.spread(within, nan))


def _unread(entry: Uncertain, within: Within) -> Iterator[Fault]:
    for name in ("middle", "low", "high"):
        text = getattr(entry, name)
        try:
            if text is not None:
                within.parse(text)
        except PydanticCustomError as error:
            yield from (replace(fault, place=name) for fault in (error.context or {})["faults"])
    try:
        if entry.deviation is not None and not _deviation(entry.deviation, within, 1.0) > 0.0:
            yield Fault("deviation", quoted(entry.deviation), "is not above zero", "leave the key out, or widen it")
    except InputError as error:
        yield replace(error.args[0], place="deviation")


def _order_faults(entry: Uncertain, spread: Spread) -> Iterator[Fault]:
    if spread.low >= spread.high:
        yield Fault("low", quoted(entry.low or ""), f"is not below high, {entry.high}", "widen the range")
    elif entry.kind == "lognormal" and spread.low <= 0.0:
        yield Fault("low", quoted(entry.low or ""), "is not above zero", "write a value above zero")
    elif spread.middle < spread.low or spread.middle > spread.high:
        yield Fault("middle", quoted(entry.middle or ""), f"is not from {entry.low} to {entry.high}", "move it inside")


class Place(StrEnum):
    """Where in the driveline the torque of a part is taken."""

    COUPLING = "coupling"
    GEARBOX_INPUT = "gearbox input"
    GEARBOX_OUTPUT = "gearbox output"
    AXLE_CLUTCH = "second axle clutch"
    FRONT_SHAFTS = "front shafts"
    REAR_SHAFTS = "rear shafts"


_TEETH = Derived("6.611", "assumption: pitting of hardened teeth, life factor 1.6 at 1e5 to 1.0 at 5e7 turns")
_SHAFT = Derived("5", "assumption: shafts, 5 to 8 smooth, 3 to 5 splined (from memory)")

TOOTHED = (Place.GEARBOX_INPUT, Place.GEARBOX_OUTPUT)
"""Places whose life is that of teeth."""

SLOPES: Mapping[Place, Derived] = {
    Place.COUPLING: _SHAFT,
    Place.GEARBOX_INPUT: _TEETH,
    Place.GEARBOX_OUTPUT: _TEETH,
    Place.AXLE_CLUTCH: _SHAFT,
    Place.FRONT_SHAFTS: _SHAFT,
    Place.REAR_SHAFTS: _SHAFT,
}
"""Slope of the S-N line in torque, where a part does not give its own."""


def usual_slope(place: Place) -> float:
    """Slope of the S-N line that is taken for a place, as an exponent of torque [-]."""
    return to_si(SLOPES[place].text, Dimension.NUMBER)


class PartRating(Section):
    """A part of the driveline, and the torque that its maker allows."""

    name: Name = required("Name of the part, unique among them.", "gearbox")
    place: Place = required(
        "Where its torque is taken; shafts are both half shafts of the axle together.", "gearbox input"
    )
    rating: Annotated[Quantity, Within(Dimension.TORQUE, "1 N m", "100000 N m")] = required(
        "Torque that the part is rated for; behind the final drive at the gearbox output and the shafts.", "500 N m"
    )
    reserve: Annotated[Quantity, Within(Dimension.SHARE, "0 %", "300 %")] = default(
        "50 %",
        "Share of the rating by which the torque of expected failure lies above it.",
        "common practice: a maker's rating leaves about half as much again",
    )
    slope: Annotated[Quantity, Within(Dimension.NUMBER, "1", "20")] | None = optional(
        "Slope of the S-N line: life falls with this power of torque.", "6.6"
    )
    origin: Note = required("Where rating, reserve and slope come from.", "The maker's data sheet.")

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
            yield Fault(
                f"parts[{n}].name", quoted(part.name), "is the name of an earlier part", "give each part its own name"
            )
        seen.add(part.name)


Envelope: TypeAlias = Annotated[
    Annotated[str, Tag("name")] | Annotated[CurvePoints, Tag("points")],
    Discriminator(lambda value: "name" if isinstance(value, str) else "points"),
]


_LIMIT = Within(
    Dimension.TORQUE,
    "0 N m",
    "20000 N m",
    also=((Dimension.PRESSURE, "0 bar", "100 bar"), (Dimension.POWER, "0 kW", "3000 kW")),
)
LimitPoints: TypeAlias = Annotated[
    tuple[tuple[EngineSpeed, Annotated[Quantity, _LIMIT]], ...],
    Field(min_length=2, max_length=MAX_CURVE_POINTS),
    AfterValidator(rising),
]

BUILT_IN_LIMITS = (
    "brake mean effective pressure", "power", "air flow", "torque", "rise of the curve", "envelope",
)  # fmt: skip
"""Names of the limits that are keys of their own."""


class LimitCurve(Section):
    """A limit over engine speed that was measured: cylinder pressure, knock, exhaust temperature, or anything else."""

    name: Name = required("What sets the limit, as results name it.", "cylinder pressure")
    points: LimitPoints = required(
        "Engine speed, and the most that the limit allows: all as torque, as brake mean effective pressure (which "
        "needs the displacement), or as power. Held flat beyond its ends. A file of two columns may stand in its "
        "place.",
        [["1500 rpm", "22 bar"], ["4000 rpm", "25 bar"], ["6500 rpm", "21 bar"]],
    )
    origin: Note = required("Where it comes from: what was measured, and how.", "invented: pressure sensor, 30 cycles")

    @property
    def dimension(self) -> Dimension:
        """Kind of quantity of the limit."""
        return self.points[0][1].dimension

    @model_validator(mode="after")
    def _sound(self) -> LimitCurve:
        faults = []
        if self.name in BUILT_IN_LIMITS:
            faults.append(Fault("name", quoted(self.name), "is the name of a limit of its own", "give it another name"))
        for n, (_, value) in enumerate(self.points, start=1):
            if value.dimension is not self.dimension:
                why = f"is no {phrase(self.dimension).split(' ', 1)[-1]}, as the first point is"
                faults.append(Fault(f"points[{n}]", quoted(value.text), why, "write all points in one kind"))
        if not any(value.si for _, value in self.points):
            faults.append(Fault("points", "", "allow no torque at all", "give more than zero at some point"))
        if faults:
            raise refusal(*faults)
        return self


class CurveLimits(Section):
    """Limits of a full-load curve; what is left out limits nothing."""

    mean_pressure: Annotated[Quantity, Within(Dimension.PRESSURE, "1 bar", "60 bar")] | None = optional(
        "Highest brake mean effective pressure; needs the displacement.", "26 bar"
    )
    power: Annotated[Quantity, Within(Dimension.POWER, "10 kW", "2000 kW")] | None = optional(
        "Highest power.", "250 kW"
    )
    air_flow: Annotated[Quantity, Within(Dimension.MASS_FLOW, "0.01 kg/s", "3 kg/s")] | None = optional(
        "Highest flow of air, which caps the power by the usual consumption and air-fuel ratio.", "900 kg/h"
    )
    rise: Annotated[Quantity, Within(Dimension.TORQUE, "1 N m", "5000 N m")] | None = optional(
        "Torque by which the curve may rise in 1000 rpm.", "180 N m"
    )
    torque: Annotated[Quantity, Within(Dimension.TORQUE, "10 N m", "3000 N m")] | None = optional(
        "Highest torque.", "450 N m"
    )
    envelope: Envelope | None = optional(
        "What the engine can give at each engine speed: a curve of the scenario by name, or points; it caps the whole "
        "curve. Left out, the highest of the scenario's curves at each speed caps only the way up: below the speed "
        "at which it peaks. Held flat beyond its ends.",
        [["1500 rpm", "300 N m"], ["3000 rpm", "480 N m"], ["6500 rpm", "400 N m"]],
    )
    curves: Annotated[tuple[LimitCurve, ...], Field(max_length=20)] | None = optional(
        "Limits over engine speed that were measured."
    )


def limit_curve_faults(limits: CurveLimits | None, engine: Engine) -> Iterator[Fault]:
    """Faults of measured limits that share a name, or that say nothing without the displacement."""
    seen: set[str] = set()
    for n, curve in enumerate((limits.curves or ()) if limits else (), start=1):
        if curve.name in seen:
            why = "is the name of an earlier one"
            yield Fault(f"limits.curves[{n}].name", quoted(curve.name), why, "name them apart")
        seen.add(curve.name)
        if curve.dimension is Dimension.PRESSURE and engine.displacement is None:
            why = "is a mean effective pressure, which says nothing without the displacement"
            instead = "give engine.displacement, or the limit as a torque or a power"
            yield Fault(f"limits.curves[{n}].points", quoted(curve.points[0][1].text), why, instead)


def envelope_unknown(limits: CurveLimits | None, curves: tuple[Curve, ...]) -> Iterator[Fault]:
    """Fault of an envelope that names no curve of the scenario."""
    envelope, names = limits.envelope if limits else None, [curve.name for curve in curves]
    if isinstance(envelope, str) and envelope not in names:
        instead = f"write one of {', '.join(map(quoted, names))}, or points"
        yield Fault("limits.envelope", quoted(envelope), "is not the name of a curve", instead)
