"""The whole scenario, and what has to agree between its sections."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import reduce
from operator import or_
from pathlib import Path
from typing import Annotated, Any, Literal, NamedTuple, TypeAlias

import numpy as np
from pydantic import BeforeValidator, Field, GetCoreSchemaHandler, GetJsonSchemaHandler, PrivateAttr, model_validator
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema, core_schema

from simlaunch.cubics import monotone
from simlaunch.errors import Fault, UsageError
from simlaunch.record import Axle
from simlaunch.scenario.car import LOCKING, Body, Drive, Tyres, TyreSet
from simlaunch.scenario.decision import (
    Correlation,
    CurveLimits,
    PartRating,
    Uncertain,
    envelope_unknown,
    limit_curve_faults,
    names_apart,
    uncorrelatable,
)
from simlaunch.scenario.powertrain import (
    BEST,
    BEST_FORCE,
    Curve,
    Engine,
    FrictionClutch,
    Gearbox,
    GearSet,
    Launch,
    PedalSettings,
    TorqueConverter,
    gear_faults,
)
from simlaunch.scenario.road_test import RoadTest, engine_runs
from simlaunch.scenario.surroundings import Air, Name, Note, Road, RoadSurface, Section, surfaces
from simlaunch.units.field import Within, default, optional, refusal, refused, required
from simlaunch.units.gate import quoted
from simlaunch.units.quantity import Quantity, to_display, to_si
from simlaunch.units.spelling import Dimension, System

MAX_MARKS = 50
NAMED_DISTANCES = {"1/8 mile": "201.168 m", "1/4 mile": "402.336 m"}
"""Distances that the trade writes as a fraction, which the unit gate rightly takes for no number."""

_SPEEDS = (Dimension.SPEED, "1 km/h", "1000 km/h")


class _Goal(Within):
    """A distance or a speed; distances may go by the trade's fractions of a mile."""

    def parse(self, value: object) -> Quantity:
        """Quantity that keeps the text it was typed as."""
        text = value.text if isinstance(value, Quantity) else value
        if isinstance(text, str) and text.strip() in NAMED_DISTANCES:
            exact = super().parse(NAMED_DISTANCES[text.strip()])
            return Quantity(text.strip(), exact.si, exact.dimension)
        return super().parse(value)


_GOAL = _Goal(Dimension.LENGTH, "0.1 m", "20 km", also=(_SPEEDS,))


_DASHED = re.compile(r" *([\d.]{1,16}) *[-\u2013] *([\d.]{1,16}) *([^\d ]\D{0,31}?)? *", re.ASCII)
_FROM_REST = re.compile(r"\s*0+(?:\.0*)?\s*([a-z/]*)\s*", re.ASCII | re.IGNORECASE)
"""Two numbers joined by a dash, as a span is often written."""


@dataclass(frozen=True)
class Mark:
    """A distance, a speed, or a span of either, whose time is reported; a start of None means from rest."""

    text: str
    start: Quantity | None
    end: Quantity

    @staticmethod
    def parse(value: object) -> Mark:
        """Mark from text such as ``"50 m"`` or ``"80 km/h to 120 km/h"``."""
        if isinstance(value, Mark):
            return value
        if isinstance(value, str) and (dashed := _DASHED.fullmatch(value)):
            low, high, unit = dashed.groups()
            spans = " or ".join(f'"{low} {each} to {high} {each}"' for each in ([unit] if unit else ["km/h", "mph"]))
            raise refused(quoted(str(value)), "joins two values by a dash", f"write the span as {spans}")
        parts = value.split(" to ") if isinstance(value, str) else [value]
        if len(parts) > 2:
            raise refused(quoted(str(value)), "has more than one span", 'write one, such as "80 km/h to 120 km/h"')
        if len(parts) == 2 and (rest := _FROM_REST.fullmatch(str(parts[0]))):
            end = _GOAL.parse(parts[1])
            if not rest[1] or _GOAL.parse(f"100 {rest[1]}").dimension is end.dimension:
                return Mark(str(parts[1]).strip(), None, end)
        ends = [_GOAL.parse(part) for part in parts]
        start, end = (ends[0], ends[1]) if len(ends) == 2 else (None, ends[0])
        text = str(value).strip()
        if start and (start.dimension is not end.dimension or start.si >= end.si):
            why = "does not run from a lower to a higher value of one kind"
            raise refused(quoted(text), why, 'write a span such as "80 km/h to 120 km/h"')
        return Mark(text, start, end)

    @classmethod
    def __get_pydantic_core_schema__(cls, source: object, handler: GetCoreSchemaHandler) -> CoreSchema:
        """Validator for pydantic; written back as the text that was typed."""
        back = core_schema.plain_serializer_function_ser_schema(lambda mark: mark.text)
        return core_schema.no_info_plain_validator_function(cls.parse, serialization=back)

    @classmethod
    def __get_pydantic_json_schema__(cls, schema: CoreSchema, handler: GetJsonSchemaHandler) -> JsonSchemaValue:
        """JSON Schema: a string."""
        return {"type": "string", "$comment": "a distance, a speed, or a span such as 80 km/h to 120 km/h"}


class Run(Section):
    """Where a run ends, and what else is reported."""

    until: Annotated[tuple[Annotated[Quantity, _GOAL], ...], Field(min_length=1, max_length=2)] = default(
        ["402.336 m"],
        "Distance, speed, or one of each; the run ends when all are reached.",
        "common practice: a quarter of a mile",
    )
    time_limit: Annotated[Quantity, Within(Dimension.TIME, "0.1 s", "600 s")] = default(
        "60 s", "Time after which a run is given up.", "common practice"
    )
    marks: Annotated[tuple[Mark, ...], Field(max_length=MAX_MARKS)] = default(
        (),
        "Further distances, speeds and spans to report.",
        "none but the usual ones",
        example=["50 m", "80 km/h to 120 km/h"],
    )

    @model_validator(mode="after")
    def _one_of_each(self) -> Run:
        kinds = [goal.dimension for goal in self.until]
        if len(set(kinds)) < len(kinds):
            raise refusal(Fault("until", "", "names two ends of one kind", "give a distance, a speed, or one of each"))
        return self

    def goal(self, dimension: Dimension) -> float:
        """Distance [m] or speed [m/s] that ends the run; 0 where that kind ends nothing."""
        return next((goal.si for goal in self.until if goal.dimension is dimension), 0.0)


CouplingSection: TypeAlias = Annotated[FrictionClutch | TorqueConverter, Field(discriminator="kind")]


_OF_A_SURFACE = {"surface", "friction_factor", "rolling_factor", "left_friction_factor", "right_friction_factor"}

AS_DESCRIBED = "as described"
"""What the car and the road of a scenario itself are called among the alternatives to them."""


class Alternative(StrEnum):
    """What a scenario may name alternatives to."""

    GEAR_SET = "gear set"
    TYRE = "tyre"
    SURFACE = "surface"


_Line = Annotated[str, Field(min_length=1, max_length=2000)]


class Sweep(Section):
    """What `simlaunch sweep` varies, and how it ranks what comes of it."""

    vary: Annotated[tuple[_Line, ...], Field(min_length=1, max_length=20)] = required(
        'Axes, such as "curve", "gear set: short, long" or "body.mass: 1400 kg to 1700 kg in 4".',
        ["curve", "body.mass: 1400 kg to 1700 kg in 4"],
    )
    by: _Line | None = optional(
        "Measure that launches are ranked by; left out, the time to the scenario's goal.", "peak torque gearbox input"
    )
    where: Annotated[tuple[_Line, ...], Field(max_length=20)] | None = optional(
        'Constraints, such as "peak torque gearbox input < 700 N m".', ["peak torque gearbox input < 700 N m"]
    )


def _format_one(value: object) -> object:
    if isinstance(value, bool) or not isinstance(value, int) or value != 1:
        raise refused("", "is not a format that this version reads", "write format = 1")
    return value


class Scenario(Section):
    """A car, its surroundings, one launch of it, and the curves to try."""

    format: Annotated[Literal[1], BeforeValidator(_format_one)] = required("Version of this format.")
    name: Name = required("Name of the scenario.", "Road coupe")
    note: Note | None = optional("Free text.", "Invented demonstration data.")
    run: Run = Field(default_factory=Run, description="Where a run ends.")
    body: Body = required("Body of the car.")
    air: Air = Field(default_factory=Air, description="Air.")
    road: Road = Field(default_factory=Road, description="Road.")
    tyres: Tyres = required("Tyres.")
    drive: Drive = required("Driven axles.")
    engine: Engine = required("Engine.")
    coupling: CouplingSection = required("Clutch or torque converter.")
    gearbox: Gearbox = required("Gearbox.")
    launch: Launch = required("Launch.")
    pedal: PedalSettings = Field(default_factory=PedalSettings, description="Slip control.")
    curves: Annotated[tuple[Curve, ...], Field(min_length=1, max_length=100)] = required("Full-load curves.")
    gear_sets: Annotated[tuple[GearSet, ...], Field(max_length=100)] | None = optional("Gear sets to try.")
    tyre_sets: Annotated[tuple[TyreSet, ...], Field(max_length=100)] | None = optional("Tyres to try.")
    surfaces: Annotated[tuple[RoadSurface, ...], Field(max_length=100)] | None = optional("Surfaces to try.")
    sweep: Sweep | None = optional("Sweep over curves, alternatives and values.")
    limits: CurveLimits | None = optional("Limits of a full-load curve that is sought.")
    parts: Annotated[tuple[PartRating, ...], Field(max_length=50)] | None = optional("Ratings of parts.")
    tests: Annotated[tuple[RoadTest, ...], Field(max_length=20)] | None = optional(
        "Tests by which curves are set against each other beside the goal of the run."
    )
    uncertain: Annotated[tuple[Uncertain, ...], Field(max_length=20)] | None = optional("What is not known for sure.")
    correlation: Correlation | None = optional("Which uncertain values depend on one another.")

    @model_validator(mode="after")
    def _sections_agree(self) -> Scenario:
        faults = disagreements({name: getattr(self, name) for name in type(self).model_fields})
        if faults:
            raise refusal(*faults)
        return self

    _file: Path | None = PrivateAttr(None)

    @property
    def file(self) -> Path | None:
        """File that this scenario was loaded from; None where it was changed since then, or never came from one."""
        return self._file

    def loaded_from(self, file: Path) -> Scenario:
        """The same scenario, which knows its file."""
        scenario = self.model_copy()
        scenario._file = file
        return scenario

    def replace(self, changes: Mapping[str, object] | None = None, /, **more: object) -> Scenario:
        """The same scenario with some values replaced.

        Parameters
        ----------
        changes : mapping of str to object, optional
            Key path, such as ``"body.mass"``, to what would stand in the file, such as ``"1500 kg"``.
        **more : object
            The same, for keys at the top of the file and for ``**{"body.mass": "1500 kg"}``.

        Returns
        -------
        Scenario
            Checked as far as the new values reach; its `file` is None.

        Raises
        ------
        UsageError
            A path that leads nowhere.
        ScenarioError
            Values that do not do, with every fault, as if they had been read from a file.

        Examples
        --------
        >>> car = simlaunch.load("scenarios/road-coupe.toml")  # doctest: +SKIP
        >>> lighter = car.replace({"body.mass": "1500 kg"})  # doctest: +SKIP
        """
        from simlaunch.scenario.replacing import replaced  # noqa: PLC0415  it imports this module

        return replaced(self, {**(changes or {}), **more})

    def __eq__(self, other: object) -> bool:
        """Whether two scenarios say the same, wherever they were loaded from."""
        return isinstance(other, Scenario) and self.__dict__ == other.__dict__

    @property
    def curve_names(self) -> tuple[str, ...]:
        """Names of the curves, in the order of the file."""
        return tuple(curve.name for curve in self.curves)

    def curve(self, name: str) -> Curve:
        """Curve of that name.

        Parameters
        ----------
        name : str
            As written in the scenario.

        Returns
        -------
        Curve
            The one curve of that name.

        Raises
        ------
        UsageError
            When there is none; the message names the choices.
        """
        for curve in self.curves:
            if curve.name == name:
                return curve
        choices = ", ".join(quoted(known) for known in self.curve_names)
        raise UsageError(f"no curve is named {quoted(name)}; choose one of {choices}")

    def _named(self, kind: Alternative) -> Mapping[str, Section]:
        """Alternatives of one kind that the scenario gives, by name."""
        listed = {
            Alternative.GEAR_SET: self.gear_sets,
            Alternative.TYRE: self.tyre_sets,
            Alternative.SURFACE: self.surfaces,
        }[kind]
        return {each.name: each for each in listed or ()}

    def alternatives(self, kind: Alternative) -> tuple[str, ...]:
        """Names of the alternatives of one kind, that of the scenario's own first."""
        return (AS_DESCRIBED, *self._named(kind))

    def changes_to(self, kind: Alternative, name: str) -> Mapping[str, object]:
        """What has to be changed so that the scenario has one of its alternatives.

        Parameters
        ----------
        kind : Alternative
            What to take.
        name : str
            Which one; a surface may also be one of the named road surfaces.

        Returns
        -------
        mapping of str to object
            Key path to what would stand in the file, as `changed` takes it.

        Raises
        ------
        UsageError
            When there is none of that name; the message names the choices.
        """
        if name == AS_DESCRIBED:
            return {}
        found = self._named(kind).get(name)
        if found is None and kind is Alternative.SURFACE and name in surfaces():
            return self._road_with({"surface": name})
        if found is None:
            choices = ", ".join(quoted(known) for known in self.alternatives(kind))
            raise UsageError(f"no {kind} is named {quoted(name)}; choose one of {choices}")
        keys = found.model_dump(exclude_unset=True, exclude={"name", "note"}, exclude_none=True)
        if kind is Alternative.SURFACE:
            return self._road_with(keys)
        return {"tyres": keys} if kind is Alternative.TYRE else {f"gearbox.{key}": keys[key] for key in keys}

    def _road_with(self, surface: Mapping[str, object]) -> Mapping[str, object]:
        """The road, with nothing left of the surface that it had."""
        kept = self.road.model_dump(exclude_unset=True, exclude=_OF_A_SURFACE)
        return {"road": {**kept, **surface}}


# --- conditions between numbers: of one car, or of many whose `si` are arrays ---


def _beyond(engine: Engine, curves: tuple[Curve, ...]) -> Any:
    return engine.rev_limit.si > min(curve.points[-1][0].si for curve in curves) * (1 + 1e-12)


def _idle_too_high(engine: Engine) -> Any:
    return engine.idle.si >= engine.rev_limit.si


def _band_too_wide(engine: Engine) -> Any:
    return engine.limiter_band.si >= engine.rev_limit.si - engine.idle.si


def _launched_outside(engine: Engine, launch: Launch) -> Any:
    if launch.engine_speed == BEST:
        return False
    return (launch.engine_speed.si < engine.idle.si) | (launch.engine_speed.si >= engine.rev_limit.si)


def _outside(engine: Engine, speed: Quantity) -> Any:
    return (speed.si <= engine.idle.si) | (speed.si > engine.rev_limit.si)


def _shifted_outside(engine: Engine, gearbox: Gearbox) -> Any:
    speeds = () if gearbox.shift_at == BEST_FORCE else gearbox.shift_at
    return reduce(or_, (_outside(engine, speed) for speed in speeds), False)


def _locked_in_no_gear(coupling: CouplingSection, gearbox: Gearbox) -> Any:
    if not isinstance(coupling, TorqueConverter):
        return False
    return (coupling.lock_up_capacity.si > 0.0) & (coupling.lock_up_gear.si > len(gearbox.ratios))


def _too_tall(body: Body) -> Any:
    return body.cg_height.si > 0.6 * body.wheelbase.si


_LEAST_SHAFT_DAMPING = (
    1.0  # below it, half shafts behind a clutch that slips settle quicker than a tyre can [N m s/rad]
)
_LEAST_RISE = 1e-3  # of the torque of a clutch that is brought in after a delay [s]


def _undamped(drive: Drive) -> Any:
    return drive.second_axle is not None and drive.half_shaft_damping.si < _LEAST_SHAFT_DAMPING


def _too_sudden(drive: Drive) -> Any:
    second = drive.second_axle
    return second is not None and (second.delay.si > 0.0) & (second.engagement_time.si < _LEAST_RISE)


# --- rules between sections ---


def _curve_names(curves: tuple[Curve, ...]) -> Iterator[Fault]:
    seen: set[str] = set()
    for n, curve in enumerate(curves, start=1):
        if curve.name in seen:
            yield Fault(
                f"curves[{n}].name",
                quoted(curve.name),
                "is the name of an earlier curve",
                "give each its own name",
            )
        seen.add(curve.name)


def _curve_reach(engine: Engine, curves: tuple[Curve, ...]) -> Iterator[Fault]:
    for curve in curves:
        last = curve.points[-1][0]
        if _beyond(engine, (curve,)):
            why = f"is above {last.text}, where curve {quoted(curve.name)} ends"
            yield Fault("engine.rev_limit", quoted(engine.rev_limit.text), why, "lower it, or give the curve up to it")


def _curve_torque(curves: tuple[Curve, ...]) -> Iterator[Fault]:
    for n, curve in enumerate(curves, start=1):
        if not any(torque.si for _, torque in curve.points):
            yield Fault(f"curves[{n}].points", "", "holds no torque above zero", "give torque above zero at some point")


def _idle(engine: Engine) -> Iterator[Fault]:
    if _idle_too_high(engine):
        why = f"is not below the rev limit, {engine.rev_limit.text}"
        yield Fault("engine.idle", quoted(engine.idle.text), why, "lower it, or raise the rev limit")
    elif _band_too_wide(engine):
        typed = quoted(engine.limiter_band.text)
        yield Fault(
            "engine.limiter_band",
            typed,
            "spans all speeds from idle to rev limit",
            'write a narrower one, such as "50 rpm"',
        )


def _launch_speed(engine: Engine, launch: Launch) -> Iterator[Fault]:
    if launch.engine_speed != BEST and _launched_outside(engine, launch):
        why = f"is not from idle ({engine.idle.text}) to below the rev limit ({engine.rev_limit.text})"
        yield Fault("launch.engine_speed", quoted(launch.engine_speed.text), why, "write a speed between the two")


def _shift_speeds(engine: Engine, gearbox: Gearbox) -> Iterator[Fault]:
    if gearbox.shift_at == BEST_FORCE:
        return
    for n, speed in enumerate(gearbox.shift_at, start=1):
        if _outside(engine, speed):
            why = f"is not above idle ({engine.idle.text}) and up to the rev limit ({engine.rev_limit.text})"
            place = "gearbox.shift_at" if len(gearbox.shift_at) == 1 else f"gearbox.shift_at[{n}]"
            yield Fault(place, quoted(speed.text), why, "write a speed between the two")


def _lock_up_gear(coupling: CouplingSection, gearbox: Gearbox) -> Iterator[Fault]:
    if isinstance(coupling, TorqueConverter) and _locked_in_no_gear(coupling, gearbox):
        gears = len(gearbox.ratios)
        why = f"is above the number of gears, {gears}"
        yield Fault("coupling.lock_up_gear", quoted(coupling.lock_up_gear.text), why, f"write 1 to {gears}")


def _road_tests(
    tests: tuple[RoadTest, ...] | None, gearbox: Gearbox, engine: Engine, tyres: Tyres, drive: Drive
) -> Iterator[Fault]:
    """A gear that a test names has to be there, and to let the engine run at the speed of the roll."""
    gears = len(gearbox.ratios)
    radius = tyres.of(Axle.FRONT if drive.driven == "front" else Axle.REAR).radius_si
    names: set[str] = set()
    for n, test in enumerate(tests or (), start=1):
        if test.label in names:
            yield Fault(
                f"tests[{n}].name",
                quoted(test.label),
                "is also the name of another test",
                "give each test its own name",
            )
        names.add(test.label)
        if not test.gear_number or test.start is None:
            continue
        if test.gear_number > gears:
            typed, why = quoted(test.gear.text if test.gear else ""), f"is above the number of gears, {gears}"
            yield Fault(f"tests[{n}].gear", typed, why, f"write 1 to {gears}")
            continue
        turns = test.start.si / radius * gearbox.overall(test.gear_number)
        if not engine_runs(turns, engine.idle.si, engine.rev_limit.si, engine.limiter_band.si):
            limit = engine.rev_limit.si - engine.limiter_band.si
            shown, most = (to_display(each, Dimension.ROTATIONAL_SPEED, System.METRIC)[0] for each in (turns, limit))
            why = f"turns the engine at {shown:.0f} rpm in gear {test.gear_number}, outside {engine.idle.text} to "
            why += f"{most:.0f} rpm, where the rev limiter begins"
            yield Fault(f"tests[{n}].from", quoted(test.start.text), why, "take another gear or speed")


def _second_axle(drive: Drive) -> Iterator[Fault]:
    """Numbers with which the clutch of a second axle cannot be followed."""
    if _undamped(drive):
        typed = quoted(drive.half_shaft_damping.text)
        why = "is too little behind a clutch that slips"
        yield Fault("drive.half_shaft_damping", typed, why, 'write "1 N m s/rad" or more')
    if drive.second_axle is not None and _too_sudden(drive):
        typed = quoted(drive.second_axle.engagement_time.text)
        why = f"is a jump after a delay of {drive.second_axle.delay.text}"
        yield Fault("drive.second_axle.engagement_time", typed, why, 'write "1 ms" or more, or take the delay out')


def _centre_of_gravity(body: Body) -> Iterator[Fault]:
    if _too_tall(body):
        why = f"is more than 60 % of the wheelbase, {body.wheelbase.text}"
        yield Fault("body.cg_height", quoted(body.cg_height.text), why, "check both; cars usually have 15 to 25 %")


def _alternative_names(table: str, entries: tuple[Any, ...] | None) -> Iterator[Fault]:
    seen = {AS_DESCRIBED}
    for n, each in enumerate(entries or (), start=1):
        if each.name in seen:
            of = "the scenario's own" if each.name == AS_DESCRIBED else "an earlier one"
            yield Fault(f"{table}[{n}].name", quoted(each.name), f"is the name of {of}", "give each its own name")
        seen.add(each.name)


def _gear_sets_fit(gearbox: Gearbox, gear_sets: tuple[GearSet, ...] | None) -> Iterator[Fault]:
    for n, gears in enumerate(gear_sets or (), start=1):
        count = len(gears.ratios)
        for fault in gear_faults(gears.ratios, gears.final_drive or gearbox.final_drive):
            yield replace(fault, place=f"gear_sets[{n}].{fault.place}")
        efficiency = gears.efficiency or gearbox.efficiency
        shift_at = gears.shift_at or gearbox.shift_at
        if len(efficiency) not in (1, count):
            why = f"has {len(efficiency)} values for the {count} gears of {quoted(gears.name)}"
            yield Fault(f"gear_sets[{n}].efficiency", "", why, "give one value, or one per gear")
        if shift_at != BEST_FORCE and len(shift_at) not in (1, count - 1):
            why = f"has {len(shift_at)} engine speeds for the {count} gears of {quoted(gears.name)}"
            yield Fault(f"gear_sets[{n}].shift_at", "", why, f'give one, or {count - 1}, or "best force"')


def _uncertain_final_drive(gearbox: Gearbox, uncertain: tuple[Uncertain, ...] | None) -> Iterator[Fault]:
    """One number cannot stand for several."""
    for n, entry in enumerate(uncertain or (), start=1):
        if entry.key == "gearbox.final_drive" and isinstance(gearbox.final_drive, tuple):
            why = "holds one value per gear, for which one number cannot stand"
            yield Fault(f"uncertain[{n}].key", quoted(entry.key), why, "take it out, or give one final drive")


def _uncertain_drive(drive: Drive, uncertain: tuple[Uncertain, ...] | None) -> Iterator[Fault]:
    """Nothing can be drawn for a setting that this drive refuses."""
    reasons = {
        "drive.front_share": "needs all-wheel drive with an open centre",
        "drive.front_roll_stiffness_share": "needs drive.live_axle_track",
    }
    refused = {f"drive.{name}" for name in drive.unused()} & set(reasons)
    for n, entry in enumerate(uncertain or (), start=1):
        why = reasons[entry.key] if entry.key in refused else ""
        if entry.key.startswith("drive.second_axle.") and drive.second_axle is None:
            why = "needs a table [drive.second_axle]"
        if why:
            yield Fault(f"uncertain[{n}].key", quoted(entry.key), why, "take the entry out")


def _final_drive_of_live_axle(drive: Drive, gearbox: Gearbox, gear_sets: tuple[GearSet, ...] | None) -> Iterator[Fault]:
    """A live axle holds the final drive, so there is one."""
    every = (gearbox.final_drive, *(gears.final_drive for gears in gear_sets or ()))
    if drive.live_axle_track is not None and any(isinstance(each, tuple) for each in every):
        why = "is the track of a live axle, which has one final drive, and gears have their own"
        yield Fault("drive.live_axle_track", quoted(drive.live_axle_track.text), why, "leave it out, or give one")


class _Rule(NamedTuple):
    """Something between sections that has to hold."""

    needs: tuple[str, ...]
    faults: Callable[..., Iterator[Fault]]
    broken: Callable[..., Any] | None = None
    """Whether numbers break it, of one car or of many; None for a rule on anything else."""


_RULES = (
    _Rule(("curves",), _curve_names),
    _Rule(("curves",), _curve_torque),
    _Rule(("parts",), names_apart),
    _Rule(("uncertain", "correlation"), lambda entries, correlation: uncorrelatable(entries or (), correlation)),
    _Rule(("gear_sets",), lambda gear_sets: _alternative_names("gear_sets", gear_sets)),
    _Rule(("tyre_sets",), lambda tyre_sets: _alternative_names("tyre_sets", tyre_sets)),
    _Rule(("surfaces",), lambda given: _alternative_names("surfaces", given)),
    _Rule(("gearbox", "gear_sets"), _gear_sets_fit),
    _Rule(("gearbox", "uncertain"), _uncertain_final_drive),
    _Rule(("drive", "uncertain"), _uncertain_drive),
    _Rule(("drive", "gearbox", "gear_sets"), _final_drive_of_live_axle),
    _Rule(("engine", "curves"), _curve_reach, _beyond),
    _Rule(("limits", "curves"), envelope_unknown),
    _Rule(("limits", "engine"), limit_curve_faults),
    _Rule(("engine",), _idle, lambda engine: _idle_too_high(engine) | _band_too_wide(engine)),
    _Rule(("engine", "launch"), _launch_speed, _launched_outside),
    _Rule(("engine", "gearbox"), _shift_speeds, _shifted_outside),
    _Rule(("tests", "gearbox", "engine", "tyres", "drive"), _road_tests),
    _Rule(("coupling", "gearbox"), _lock_up_gear, _locked_in_no_gear),
    _Rule(("body",), _centre_of_gravity, _too_tall),
    _Rule(("drive",), _second_axle, lambda drive: _undamped(drive) | _too_sudden(drive)),
)


def disagreements(
    sections: Mapping[str, Any], touched: Collection[str] | None = None, *, numbers: bool = True
) -> tuple[Fault, ...]:
    """Faults between sections, as far as the sections at hand allow them to be found.

    Parameters
    ----------
    sections : mapping of str to section
        Sound sections by key; those with faults of their own are left out.
    touched : collection of str, optional
        Sections that are new; rules between others are left out.
    numbers : bool
        False leaves out rules on numbers, which `at_odds` finds broken.

    Returns
    -------
    tuple of Fault
        Places are full key paths; lists count from 1.
    """
    wanted = (rule for rule in _RULES if touched is None or not set(touched).isdisjoint(rule.needs))
    rules = (rule for rule in wanted if (numbers or rule.broken is None) and set(rule.needs) <= set(sections))
    return tuple(fault for rule in rules for fault in rule.faults(*(sections[need] for need in rule.needs)))


def at_odds(scenario: Scenario) -> Any:
    """Whether numbers break a rule between sections.

    Parameters
    ----------
    scenario : Scenario
        One car; or many, whose sections hold quantities with an array of shape (n, 1) as their `si`.

    Returns
    -------
    bool or ndarray of bool, shape (n, 1)
        True where `disagreements` finds a fault of numbers.
    """
    rules = ((rule.broken, rule.needs) for rule in _RULES)
    found = (broken(*(getattr(scenario, need) for need in needs)) for broken, needs in rules if broken)
    return reduce(or_, found)


_SELDOM: tuple[tuple[str, str, str, Dimension], ...] = (
    ("body.mass", "400 kg", "3500 kg", Dimension.MASS),
    ("body.front_weight_share", "35 %", "70 %", Dimension.SHARE),
    ("body.wheelbase", "2 m", "3.5 m", Dimension.LENGTH),
    ("body.cg_height", "0.25 m", "0.9 m", Dimension.LENGTH),
    ("body.drag_area", "0.3 m^2", "1.3 m^2", Dimension.AREA),
    ("engine.inertia", "0.03 kg m^2", "0.6 kg m^2", Dimension.INERTIA),
    ("engine.rev_limit", "3500 rpm", "12000 rpm", Dimension.ROTATIONAL_SPEED),
    ("gearbox.final_drive", "2", "6.5", Dimension.NUMBER),
    ("drive.second_axle.ratio", "1", "5", Dimension.NUMBER),
    ("drive.second_axle.lead", "-3 %", "3 %", Dimension.SHARE),
    ("tyres.both.friction", "0.6", "1.9", Dimension.NUMBER),
    ("tyres.front.friction", "0.6", "1.9", Dimension.NUMBER),
    ("tyres.rear.friction", "0.6", "1.9", Dimension.NUMBER),
    ("tyres.both.slip_stiffness", "10", "45", Dimension.NUMBER),
    ("tyres.front.slip_stiffness", "10", "45", Dimension.NUMBER),
    ("tyres.rear.slip_stiffness", "10", "45", Dimension.NUMBER),
)
"""Ranges outside which a value is possible but seldom meant (common practice for cars)."""

SIDES = ("road.left_friction_factor", "road.right_friction_factor")
"""Keys of the grip under left and right wheels."""

TWO_WHEELS = (
    *SIDES,
    "body.left_weight_share",
    "drive.live_axle_track",
)
"""Keys of which any one makes the two wheels of a driven axle two."""


def two_wheels(scenario: Scenario) -> bool:
    """Whether the two wheels of a driven axle count as two."""
    return any(_at(scenario, key) for key in TWO_WHEELS)


UNLIKE_SIDES = (
    "the two sides grip unlike; yaw and steering are not modelled: wheels that push unlike, as of a limited-slip or "
    "locked axle, pull the car aside, and a driver who steers against it loses time that no number contains"
)
"""What to take care of on a road of which `unlike_sides` says that its sides differ."""


def unlike_sides(scenario: Scenario) -> bool:
    """Whether the road grips unlike under left and right wheels."""
    road = scenario.road
    left, right = (each.si if each else 1.0 for each in (road.left_friction_factor, road.right_friction_factor))
    return left != right


_HIGH_MEAN_PRESSURE = 30e5


def _at(scenario: Scenario, path: str) -> tuple[Quantity, ...]:
    """The quantity at a key, each of several once; nothing where the key is left open."""
    value: Any = scenario
    for key in path.split("."):
        value = None if value is None else getattr(value, key)
    held = value if isinstance(value, tuple) else (value,)
    return tuple({each.text: each for each in held if isinstance(each, Quantity)}.values())


def _seldom(scenario: Scenario) -> Iterator[str]:
    for path, low, high, dimension in _SELDOM:
        for value in _at(scenario, path):
            if not to_si(low, dimension) <= value.si <= to_si(high, dimension):
                yield f"{path}: {quoted(value.text)} is outside the usual {low} to {high}"


def _clutch_too_small(scenario: Scenario) -> Iterator[str]:
    if not isinstance(scenario.coupling, FrictionClutch):
        return
    capacity = scenario.coupling.capacity
    for curve in scenario.curves:
        peak = max((torque for _, torque in curve.points), key=lambda torque: torque.si)
        if capacity.si < peak.si:
            above = f"the {peak.text} of curve {quoted(curve.name)}"
            yield f"coupling.capacity: {quoted(capacity.text)} is below {above}; it will slip"


def _mean_pressure(scenario: Scenario) -> Iterator[str]:
    if scenario.engine.displacement is None:
        return
    for curve in scenario.curves:
        peak = max(torque.si for _, torque in curve.points)
        pressure = 4 * math.pi * peak / scenario.engine.displacement.si  # four-stroke engine
        if pressure > _HIGH_MEAN_PRESSURE:
            shown = f"{pressure / to_si('1 bar', Dimension.PRESSURE):.1f} bar"
            yield (
                f"curves: {quoted(curve.name)} needs a brake mean effective pressure of {shown}; "
                "road engines stay below 30 bar"
            )


def _below_the_curve(scenario: Scenario) -> Iterator[str]:
    launch = scenario.launch.engine_speed
    if launch == BEST:
        return
    for curve in scenario.curves:
        first, torque = curve.points[0]
        if launch.si < first.si:
            yield (
                f"curves: {quoted(curve.name)} begins at {first.text}, above the launch at {launch.text}; "
                f"{torque.text} is taken below its first point"
            )


def _boost_without_lag(scenario: Scenario) -> Iterator[str]:
    if scenario.launch.boost.si and not scenario.engine.boost_lagged_share.si:
        yield "launch.boost: has no effect while engine.boost_lagged_share is 0 %"


def _wheels(scenario: Scenario) -> Iterator[str]:
    """Differentials between wheels that are alike, and forces that would turn the car."""
    body, drive = scenario.body, scenario.drive
    stated = [name for name in LOCKING if getattr(drive, name) is not None]
    even = body.left_weight_share is None or body.left_weight_share.si == 0.5
    if stated and even and drive.live_axle_track is None and not unlike_sides(scenario):
        why = "has no effect while the two wheels of an axle are alike"
        what = "let them differ by road.left_friction_factor, body.left_weight_share or drive.live_axle_track"
        yield f"drive.{stated[0]}: {why}; {what}"
    if "locking_speed" in drive.model_fields_set and "locking_speed" in drive.unused():
        needs = "drive.locking between 0 % and 100 %, or drive.locking_preload with less than 100 %"
        yield f"drive.locking_speed: has no effect without {needs}"
    for name in drive.idle_preloads():
        why = "has no effect beside a locking value of 100 %, which puts both wheels on one shaft"
        yield f"drive.{name}: {why}; leave it out, or lower the locking value"
    if unlike_sides(scenario):
        yield f"road: {UNLIKE_SIDES}"


def _idle_gear_limits(scenario: Scenario) -> Iterator[str]:
    """Torque limits by gear that lie nowhere below their curve, and curves that no gear lets through."""
    gears, first, last = len(scenario.gearbox.ratios), scenario.engine.idle.si, scenario.engine.rev_limit.si
    speed = np.linspace(first, last, _FINE)
    for curve in scenario.curves:
        most = _over(curve.points, speed)
        caps = {int(limit.gear.si): _over(limit.torque, speed) for limit in curve.gear_limits or ()}
        idle = [str(gear) for gear, cap in caps.items() if gear <= gears and (cap >= most * (1.0 - 1e-9)).all()]
        if idle:
            where = f"in gear {', '.join(idle)}"
            why = "is nowhere below the curve, so it limits nothing"
            yield f"curves: the torque limit of {quoted(curve.name)} {where} {why}"
        missing = [str(gear) for gear in caps if gear > gears]
        if missing:
            where = f"in gear {', '.join(missing)}"
            yield f"curves: {quoted(curve.name)} has a torque limit {where}, which this gearbox has not"
        if all(gear in caps for gear in range(1, gears + 1)):
            left = np.max([np.minimum(caps[gear], most) for gear in range(1, gears + 1)], axis=0)
            if left.max() < most.max() * (1.0 - 1e-9):
                shown = f"{to_display(most.max(), Dimension.TORQUE, System.METRIC)[0]:.0f} N m"
                yield f"curves: every gear limits {quoted(curve.name)}, so that no gear reaches its {shown}"


def _over(points: tuple[tuple[Quantity, Quantity], ...], speed: Any) -> Any:
    """Torque of a typed curve over engine speed, held flat beyond its ends [N m]."""
    x, y = ([pair[k].si for pair in points] for k in range(2))
    return monotone(x, y)(np.clip(speed, x[0], x[-1])) if len(x) > 1 else np.full(speed.shape, y[0])


_FINE = 400

_DOUBTS = (_seldom, _clutch_too_small, _mean_pressure, _below_the_curve, _boost_without_lag, _wheels, _idle_gear_limits)


def warnings(scenario: Scenario) -> tuple[str, ...]:
    """Values that are possible but seldom right, one sentence each.

    Parameters
    ----------
    scenario : Scenario
        A sound scenario.

    Returns
    -------
    tuple of str
        Empty when nothing looks odd.
    """
    return tuple(sentence for doubt in _DOUBTS for sentence in doubt(scenario))
