"""Engine, full-load curves, coupling, gearbox, launch and pedal."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from enum import StrEnum
from itertools import pairwise
from typing import Annotated, Literal, TypeAlias

import numpy as np
from pydantic import AfterValidator, BeforeValidator, Discriminator, Field, Tag, model_validator

from simlaunch.cubics import monotone
from simlaunch.errors import Fault
from simlaunch.record import MAX_CURVE_POINTS, MAX_GEAR_POINTS, MAX_GEARS, MAX_TABLE_POINTS
from simlaunch.scenario.surroundings import Name, Section
from simlaunch.units.field import Within, default, optional, refusal, refused, required
from simlaunch.units.gate import quoted
from simlaunch.units.quantity import Quantity
from simlaunch.units.spelling import Dimension

EngineSpeed: TypeAlias = Annotated[Quantity, Within(Dimension.ROTATIONAL_SPEED, "0 rpm", "30000 rpm")]
Torque: TypeAlias = Annotated[Quantity, Within(Dimension.TORQUE, "0 N m", "20000 N m")]
TimeConstant: TypeAlias = Annotated[Quantity, Within(Dimension.TIME, "1 ms", "20 s")]
Duration: TypeAlias = Annotated[Quantity, Within(Dimension.TIME, "0 s", "10 s")]
SomeTime: TypeAlias = Annotated[Quantity, Within(Dimension.TIME, "1 ms", "10 s")]  # speeds have to change within it
Efficiency: TypeAlias = Annotated[Quantity, Within(Dimension.SHARE, "30 %", "100 %")]

Point: TypeAlias = tuple[EngineSpeed, Torque]


def order_faults(speeds: Sequence[Quantity], places: Sequence[str]) -> tuple[Fault, ...]:
    """Faults of speeds that do not rise from point to point.

    Parameters
    ----------
    speeds : sequence of Quantity
        As typed, in the order of the file.
    places : sequence of str
        What to call each point in a message.

    Returns
    -------
    tuple of Fault
        Empty when the speeds rise strictly.
    """
    faults = []
    for (before, here), place in zip(pairwise(speeds), places[1:], strict=True):
        if here.si == before.si:
            faults.append(Fault(place, quoted(here.text), "is given twice", "keep one point per engine speed"))
        elif here.si < before.si:
            why = f"is below the speed before it, {before.text}"
            faults.append(Fault(place, quoted(here.text), why, "sort the points by rising engine speed"))
    return tuple(faults)


def rising(points: tuple[tuple[Quantity, Quantity], ...]) -> tuple[tuple[Quantity, Quantity], ...]:
    """The same points, refused where engine speed does not rise from one to the next."""
    faults = order_faults([speed for speed, _ in points], [f"[{n}]" for n in range(1, len(points) + 1)])
    if faults:
        raise refusal(*faults)
    return points


CurvePoints: TypeAlias = Annotated[
    tuple[Point, ...], Field(min_length=2, max_length=MAX_CURVE_POINTS), AfterValidator(rising)
]


def _constant_as_point(value: object) -> object:
    return (("0 rpm", value),) if isinstance(value, str) else value


def _one_as_list(value: object) -> object:
    return (value,) if isinstance(value, str) else value


_TABLE = (
    Field(min_length=1, max_length=MAX_TABLE_POINTS),
    BeforeValidator(_constant_as_point, json_schema_input_type=str | list[tuple[str, str]]),
    AfterValidator(rising),
)

TorqueTable: TypeAlias = Annotated[tuple[tuple[EngineSpeed, Torque], ...], *_TABLE]
TimeTable: TypeAlias = Annotated[tuple[tuple[EngineSpeed, TimeConstant], ...], *_TABLE]


class Correction(StrEnum):
    """Weather correction that the figures of a curve carry."""

    NONE = "none"
    SAE_J1349 = "SAE J1349"
    ISO_1585 = "ISO 1585"
    DIN_70020 = "DIN 70020"
    SAE_J607 = "SAE J607"


class MeasuredAt(StrEnum):
    """Where along the driveline the figures of a curve were taken, or are valid."""

    CRANK = "crank"
    HUB = "hub"
    WHEEL = "wheel"


def _at_the_crank(place: MeasuredAt | None) -> MeasuredAt | None:
    if place in (None, MeasuredAt.CRANK):
        return place
    why = "is not the crank, where a launch needs the torque"
    raise refused(quoted(str(place)), why, "bring the curve to the crank with `simlaunch curve`")


GearNumber: TypeAlias = Annotated[Quantity, Within(Dimension.NUMBER, "1", str(MAX_GEARS), whole=True)]
GearTorque: TypeAlias = Annotated[
    tuple[tuple[EngineSpeed, Torque], ...],
    Field(min_length=1, max_length=MAX_GEAR_POINTS),
    BeforeValidator(_constant_as_point, json_schema_input_type=str | list[tuple[str, str]]),
    AfterValidator(rising),
]


class GearLimit(Section):
    """The most torque that the engine gives in one gear, where that is less than its full-load curve."""

    gear: GearNumber = required("Gear that it holds in; 1 is first.", "1")
    torque: GearTorque = required(
        "One value; or a whole curve for this gear, by rising engine speed, held flat beyond its ends. The engine "
        "gives the lower of it and of the full-load curve. A file of two columns may stand in its place.",
        "300 N m",
    )

    @model_validator(mode="after")
    def _lets_torque_through(self) -> GearLimit:
        if not any(torque.si for _, torque in self.torque):
            raise refusal(Fault("torque", "", "lets no torque through at all", "give torque above zero"))
        return self


class InAir(Section):
    """How torque follows the air that the engine breathes."""

    formula: Correction | None = optional(
        "Formula by which torque changes with the air; left out, that of the correction which the curve carries.",
        "SAE J1349",
    )
    pressure: Annotated[Quantity, Within(Dimension.PRESSURE, "40 kPa", "110 kPa")] | None = optional(
        "Absolute air pressure when the curve was measured, for a curve that carries no correction.", "982 hPa"
    )
    temperature: Annotated[Quantity, Within(Dimension.TEMPERATURE, "-50 degC", "60 degC")] | None = optional(
        "Temperature of the air when the curve was measured, for a curve that carries no correction.", "22 degC"
    )
    humidity: Annotated[Quantity, Within(Dimension.SHARE, "0 %", "100 %")] | None = optional(
        "Relative humidity when the curve was measured; left out, dry air.", "45 %"
    )

    def faults(self, correction: Correction | None) -> Iterator[Fault]:
        """What keeps the torque from being carried to other air, given the correction that the curve carries."""
        carried = correction if correction is not Correction.NONE else None
        stated = [name for name in ("pressure", "temperature", "humidity") if getattr(self, name) is not None]
        if self.formula is Correction.NONE:
            yield Fault("weather.formula", '"none"', "is no formula", f"write one of {_FORMULAS}")
        if carried is not None:
            if self.formula not in (None, carried):
                typed, why = quoted(str(self.formula)), f"is not {carried}, the correction that the curve carries"
                yield Fault("weather.formula", typed, why, "leave it out")
            for name in stated:
                typed, why = quoted(getattr(self, name).text), "is stated as well as the correction of the curve"
                yield Fault(f"weather.{name}", typed, why, "leave it out: the standard says in which air it holds")
            return
        if self.formula is None:
            why = "is missing, and the curve carries no correction that would say it"
            yield Fault("weather.formula", "", why, f"write one of {_FORMULAS}, or state the correction of the curve")
        for name in ("pressure", "temperature"):
            if name not in stated:
                why = "is missing, and the curve carries no correction that would say in which air it holds"
                yield Fault(f"weather.{name}", "", why, f"state the {name} when it was measured, or the correction")


class NaturallyAspirated(InAir):
    """Torque of an engine without a charger: the inverse of the weather correction."""

    kind: Literal["naturally aspirated"] = required("How torque follows the air.")


class ShareOfLoss(InAir):
    """Torque of a boosted engine that makes up for a part of the weather."""

    kind: Literal["share of the loss"] = required("How torque follows the air.")
    share: Annotated[Quantity, Within(Dimension.SHARE, "0 %", "100 %")] = required(
        "Part of what an engine without a charger would lose, or gain, by the formula.", "30 %"
    )


class CompressorLimit(InAir):
    """Torque of a boosted engine that holds its charge pressure until its compressor gives no more air."""

    kind: Literal["compressor limit"] = required("How torque follows the air.")
    power: Annotated[Quantity, Within(Dimension.POWER, "10 kW", "2000 kW")] = required(
        "Highest power that the air of the compressor allows in the air in which the curve holds. It changes with the "
        "pressure of the dry air, and with one over the square root of the absolute temperature.",
        "280 kW",
    )

    def faults(self, correction: Correction | None) -> Iterator[Fault]:
        """The same, but for the formula: the air of the compressor follows its own."""
        if self.formula is not None:
            why = "has no effect: the power follows pressure and temperature"
            yield Fault("weather.formula", quoted(str(self.formula)), why, "leave it out")
        yield from (fault for fault in super().faults(correction) if fault.place != "weather.formula")


class HeldCharge(Section):
    """Torque of a boosted engine that holds its charge pressure in any air: no loss."""

    kind: Literal["held charge pressure"] = required("How torque follows the air.")

    def faults(self, correction: Correction | None) -> Iterator[Fault]:
        """None: the air plays no part."""
        del correction
        return iter(())


CurveWeather: TypeAlias = Annotated[
    NaturallyAspirated | HeldCharge | ShareOfLoss | CompressorLimit, Field(discriminator="kind")
]
_FORMULAS = ", ".join(f'"{each}"' for each in Correction if each is not Correction.NONE)


class Curve(Section):
    """A full-load torque curve."""

    name: Name = required("Name of the curve, unique in the scenario.", "as delivered")
    points: CurvePoints = required(
        "Engine speed and full-load torque, by rising speed.", [["1500 rpm", "300 N m"], ["7000 rpm", "350 N m"]]
    )
    correction: Correction | None = optional("Weather correction that the torque carries.", "ISO 1585")
    measured_at: Annotated[MeasuredAt | None, AfterValidator(_at_the_crank)] = optional(
        "Where the torque is valid; a launch needs it at the crank.", "crank"
    )
    gear_limits: Annotated[tuple[GearLimit, ...], Field(max_length=MAX_GEARS)] | None = optional(
        "Gears in which the engine gives less than the full-load curve."
    )
    weather: CurveWeather | None = optional("How torque follows the air; left out, it does not.")

    @model_validator(mode="after")
    def _gears_and_air(self) -> Curve:
        faults = [
            *_gears_twice(self.gear_limits or ()),
            *(self.weather.faults(self.correction) if self.weather else ()),
        ]
        if faults:
            raise refusal(*faults)
        return self


def _gears_twice(limits: Sequence[GearLimit]) -> Iterator[Fault]:
    seen: set[float] = set()
    for n, limit in enumerate(limits, start=1):
        if limit.gear.si in seen:
            yield Fault(f"gear_limits[{n}].gear", quoted(limit.gear.text), "is given twice", "keep one per gear")
        seen.add(limit.gear.si)


class Engine(Section):
    """Engine without its full-load curve."""

    inertia: Annotated[Quantity, Within(Dimension.INERTIA, "0.001 kg m^2", "20 kg m^2")] = required(
        "Crankshaft, flywheel and clutch cover, or crankshaft and converter pump.", "0.18 kg m^2"
    )
    idle: Annotated[Quantity, Within(Dimension.ROTATIONAL_SPEED, "100 rpm", "30000 rpm")] = required(
        "Idle speed.", "850 rpm"
    )
    rev_limit: EngineSpeed = required(
        "Engine speed that the rev limiter keeps the engine from passing by its own torque.", "7000 rpm"
    )
    limiter_band: Annotated[Quantity, Within(Dimension.ROTATIONAL_SPEED, "1 rpm", "1000 rpm")] = default(
        "50 rpm",
        "Engine speeds below the rev limit over which the limiter takes the torque away, from all to none.",
        "common practice: a soft limiter",
        common=("20 rpm", "150 rpm"),
    )
    overrun_torque: TorqueTable = default(
        "40 N m",
        "Drag of the engine with the throttle shut, one value or over engine speed.",
        "common practice for 2 l",
        common=("20 N m", "60 N m"),
    )
    displacement: Annotated[Quantity, Within(Dimension.VOLUME, "50 cc", "30 l")] | None = optional(
        "Swept volume; used for the mean effective pressure only.", "1998 cc"
    )
    boost_lagged_share: Annotated[Quantity, Within(Dimension.SHARE, "0 %", "100 %")] = default(
        "0 %",
        "Share of the full-load torque that waits for boost.",
        "common practice: no lag unless stated",
        common=("0 %", "65 %"),
    )
    boost_time_constant: TimeTable = default(
        "0.35 s",
        "Time constant of the lagged share while it rises, one value or over engine speed; the share follows the part "
        "of full load that the engine gives. Slip control, and a shift that keeps the throttle open, take torque away "
        "by ignition and leave it alone.",
        "transient tests (from memory): 0.15 to 0.6 s",
        common=("0.15 s", "0.6 s"),
    )
    boost_decay_time: TimeConstant = default(
        "0.3 s",
        "Time constant of the lagged share while it falls.",
        "transient tests (from memory): 0.2 to 0.5 s",
        common=("0.2 s", "0.5 s"),
    )

    def unused(self) -> frozenset[str]:
        """Boost times play no part without a lagged share."""
        return frozenset() if self.boost_lagged_share.si else frozenset({"boost_time_constant", "boost_decay_time"})


class FrictionClutch(Section):
    """Dry or wet clutch, or a pair of them, engaged along a ramp."""

    kind: Literal["friction clutch"] = required("Kind of coupling.", "friction clutch")
    capacity: Annotated[Quantity, Within(Dimension.TORQUE, "1 N m", "20000 N m")] = required(
        "Torque that it carries when fully engaged.", "600 N m"
    )
    engagement_time: Annotated[Quantity, Within(Dimension.TIME, "0 s", "10 s")] = default(
        "0.5 s", "Time of the launch ramp from nothing to full capacity.", "common practice", common=("0.3 s", "1 s")
    )


SpeedRatios: TypeAlias = Annotated[
    tuple[Annotated[Quantity, Within(Dimension.NUMBER, "0", "0.999")], ...],
    Field(min_length=2, max_length=MAX_TABLE_POINTS - 1),
]
CapacityFactors: TypeAlias = Annotated[
    tuple[Annotated[Quantity, Within(Dimension.CAPACITY_FACTOR, "1 rpm/sqrt(N m)", "100000 rpm/sqrt(N m)")], ...],
    Field(min_length=2, max_length=MAX_TABLE_POINTS - 1),
]
TorqueRatios: TypeAlias = Annotated[
    tuple[Annotated[Quantity, Within(Dimension.NUMBER, "0.5", "6")], ...],
    Field(min_length=2, max_length=MAX_TABLE_POINTS - 1),
]


class TorqueConverter(Section):
    """Hydrodynamic torque converter with an optional lock-up clutch."""

    kind: Literal["torque converter"] = required("Kind of coupling.", "torque converter")
    speed_ratio: SpeedRatios = required(
        "Turbine speed over pump speed, rising from 0; the point at 1 is added.", ["0", "0.5", "0.9"]
    )
    capacity_factor: CapacityFactors = required(
        "Pump speed over the square root of pump torque, per speed ratio.",
        ["118 rpm/sqrt(N m)", "125 rpm/sqrt(N m)", "180 rpm/sqrt(N m)"],
    )
    torque_ratio: TorqueRatios = required("Turbine torque over pump torque, per speed ratio.", ["2", "1.4", "1"])
    lock_up_capacity: Annotated[Quantity, Within(Dimension.TORQUE, "0 N m", "20000 N m")] = default(
        "0 N m",
        "Torque that the lock-up clutch carries; 0 for none.",
        "common practice: none unless stated",
        common=("0 N m", "800 N m"),
    )
    lock_up_gear: Annotated[Quantity, Within(Dimension.NUMBER, "1", str(MAX_GEARS), whole=True)] = default(
        "2", "Lowest gear in which lock-up is allowed; 1 is first.", "common practice", common=("1", "3")
    )
    lock_up_speed_ratio: Annotated[Quantity, Within(Dimension.NUMBER, "0.3", "0.999")] = default(
        "0.88",
        "Speed ratio at which lock-up begins.",
        "common practice: near the coupling point",
        common=("0.8", "0.95"),
    )
    lock_up_time: Duration = default("0.3 s", "Time of the lock-up ramp.", "common practice", common=("0.2 s", "0.5 s"))

    @model_validator(mode="after")
    def _table_is_sound(self) -> TorqueConverter:
        faults = (*self._length_faults(), *self._order_faults(), *self._energy_faults())
        if faults:
            raise refusal(*faults)
        return self

    def _length_faults(self) -> list[Fault]:
        wanted = len(self.speed_ratio)
        columns = (("capacity_factor", len(self.capacity_factor)), ("torque_ratio", len(self.torque_ratio)))
        return [
            Fault(name, "", f"has {count} values for {wanted} speed ratios", "give one value per speed ratio")
            for name, count in columns
            if count != wanted
        ]

    def _order_faults(self) -> list[Fault]:
        faults = [
            Fault(
                f"speed_ratio[{n}]",
                quoted(b.text),
                f"does not rise above {a.text}",
                "sort the table by speed ratio",
            )
            for n, (a, b) in enumerate(pairwise(self.speed_ratio), start=2)
            if b.si <= a.si
        ]
        first = self.speed_ratio[0]
        if first.si != 0.0:
            faults.append(Fault("speed_ratio[1]", quoted(first.text), "leaves out the stall point", 'begin with "0"'))
        return faults

    def _energy_faults(self) -> list[Fault]:
        rows = zip(self.speed_ratio, self.torque_ratio, strict=False)
        return [
            Fault(
                f"torque_ratio[{n}]",
                quoted(torque.text),
                f"puts out more power than goes in at speed ratio {speed.text}",
                f"keep it below {1 / speed.si:.4g}",
            )
            for n, (speed, torque) in enumerate(rows, start=1)
            if speed.si * torque.si > 1.0
        ] or self._energy_faults_between()

    def _energy_faults_between(self) -> list[Fault]:
        """Faults of a table whose points are sound, but not the curve that is drawn through them."""
        if len(self.speed_ratio) != len(self.torque_ratio) or self._order_faults():
            return []
        points = [(ratio.si, torque.si) for ratio, torque in zip(self.speed_ratio, self.torque_ratio, strict=True)]
        ratios, torques = zip(*points, (1.0, 1.0), strict=True)  # the record has the same last point
        fine = np.linspace(ratios[0], 1.0, 400)
        share = fine * monotone(ratios, torques)(fine)
        worst = int(np.argmax(share))
        if share[worst] <= 1.0 + 1e-9:
            return []
        why = f"puts out more power than goes in between its points, by {share[worst] - 1.0:.1%} at speed ratio "
        return [Fault("torque_ratio", "", f"{why}{fine[worst]:.2f}", "add points there, or lower those beside it")]

    def unused(self) -> frozenset[str]:
        """Lock-up settings play no part without a lock-up clutch."""
        settings = frozenset({"lock_up_gear", "lock_up_speed_ratio", "lock_up_time"})
        return frozenset() if self.lock_up_capacity.si else settings


class TorqueGap(Section):
    """Shift that interrupts the torque: manual or sequential gearbox."""

    kind: Literal["torque gap"] = required("Kind of shift.", "torque gap")
    ramp_down: Duration = default(
        "0.05 s", "Time in which the torque is taken away.", "common practice", common=("0.03 s", "0.1 s")
    )
    gap: SomeTime = default(
        "0.25 s",
        "Time without torque.",
        "common practice: hard manual shift 0.25 to 0.5 s, at best 0.2 s",
        common=("0.2 s", "0.5 s"),
    )
    ramp_up: Duration = default(
        "0.08 s", "Time in which the torque comes back.", "common practice", common=("0.05 s", "0.2 s")
    )
    throttle: Literal["closed", "open"] = default(
        "closed",
        "Throttle during the gap; open keeps the boost.",
        "common practice: lifted pedal",
        common=("closed", "open"),
    )


class TorqueHandOver(Section):
    """Shift that passes the torque from clutch to clutch: dual clutch gearbox."""

    kind: Literal["torque hand-over"] = required("Kind of shift.", "torque hand-over")
    hand_over: Duration = default(
        "0.05 s",
        "Time in which torque passes to the next clutch.",
        "common practice: up to 0.05 s",
        common=("0.02 s", "0.1 s"),
    )
    inertia_phase: SomeTime = default(
        "0.12 s", "Time in which the engine takes its new speed.", "common practice", common=("0.08 s", "0.2 s")
    )


class TorqueDip(Section):
    """Shift under a torque dip: planetary gearbox."""

    kind: Literal["torque dip"] = required("Kind of shift.", "torque dip")
    hand_over: Duration = default(
        "0.08 s",
        "Time in which torque passes to the next brake or clutch.",
        "common practice",
        common=("0.05 s", "0.15 s"),
    )
    inertia_phase: SomeTime = default(
        "0.15 s",
        "Time in which the engine takes its new speed.",
        "common practice: 0.05 to 0.2 s",
        common=("0.05 s", "0.2 s"),
    )
    dip: Annotated[Quantity, Within(Dimension.SHARE, "0 %", "100 %")] = default(
        "40 %",
        "Share of the engine torque taken away meanwhile.",
        "common practice: 20 to 60 %",
        common=("20 %", "60 %"),
    )


def coupling_name(coupling: FrictionClutch | TorqueConverter, shift: TorqueGap | TorqueHandOver | TorqueDip) -> str:
    """What the trade calls the coupling of a car."""
    if isinstance(coupling, TorqueConverter):
        return coupling.kind
    return "dual clutch" if isinstance(shift, TorqueHandOver) else "clutch"


def _shift_speeds(value: object) -> object:
    if isinstance(value, str) and not value.strip()[:1].isdigit():
        raise refused(
            quoted(value), "is not a way to shift", 'write "best force", or an engine speed such as "6800 rpm"'
        )
    return _one_as_list(value)


def _way_to_shift(value: object) -> str:
    return BEST_FORCE if value == BEST_FORCE else "speeds"


BEST_FORCE: Literal["best force"] = "best force"

ShiftAt: TypeAlias = Annotated[
    Annotated[Literal["best force"], Tag(BEST_FORCE)]
    | Annotated[
        tuple[EngineSpeed, ...],
        Field(min_length=1, max_length=MAX_GEARS - 1),
        BeforeValidator(_shift_speeds, json_schema_input_type=str | list[str]),
        Tag("speeds"),
    ],
    Discriminator(_way_to_shift),
]

Ratio: TypeAlias = Annotated[Quantity, Within(Dimension.NUMBER, "0.1", "30")]
Ratios: TypeAlias = Annotated[tuple[Ratio, ...], Field(min_length=1, max_length=MAX_GEARS)]
Efficiencies: TypeAlias = Annotated[
    tuple[Efficiency, ...],
    Field(min_length=1, max_length=MAX_GEARS),
    BeforeValidator(_one_as_list, json_schema_input_type=str | list[str]),
]


def _one_or_per_gear(value: object) -> str:
    return "per gear" if isinstance(value, list | tuple) else "one"


FinalDrive: TypeAlias = Annotated[
    Annotated[Ratio, Tag("one")] | Annotated[Ratios, Tag("per gear")], Discriminator(_one_or_per_gear)
]


def final_drives(final_drive: Quantity | Sequence[Quantity], gears: int) -> tuple[Quantity, ...]:
    """Final drive of each gear; one value serves all gears."""
    return (final_drive,) * gears if isinstance(final_drive, Quantity) else tuple(final_drive)


def gear_faults(ratios: Sequence[Quantity], final_drive: Quantity | Sequence[Quantity]) -> Iterator[Fault]:
    """Faults of gears that have too few final drives, or whose overall ratio does not fall from gear to gear."""
    drives, gears = final_drives(final_drive, len(ratios)), len(ratios)
    if len(drives) != gears:
        why = f"has {len(drives)} values for {gears} gears"
        yield Fault("final_drive", "", why, "give one value, or one per gear")
        return
    overall = [ratio.si * drive.si for ratio, drive in zip(ratios, drives, strict=True)]
    for n in range(1, gears):
        if overall[n] >= overall[n - 1]:
            before, here = ratios[n - 1 : n + 1]
            why = f"is not below the gear before it, {before.text}"
            if drives[n].si != drives[n - 1].si:
                why = f"times its final drive of {drives[n].text} is not below the gear before it, "
                why += f"{before.text} times {drives[n - 1].text}"
            yield Fault(f"ratios[{n + 1}]", quoted(here.text), why, "order first gear to top")


class Gearbox(Section):
    """Gears, final drive and how they are shifted."""

    ratios: Ratios = required(
        "Gear ratios, first gear first; times the final drive they fall from gear to gear.",
        ["3.8", "2.2", "1.5", "1.1", "0.9"],
    )
    final_drive: FinalDrive = required(
        "Final drive ratio, one value or one per gear (a box whose output shafts each have a final drive).",
        "3.42",
        ["4.12", "4.12", "4.12", "3.04", "3.04"],
    )
    efficiency: Efficiencies = default(
        "0.94",
        "Gear and final drive together, one value or one per gear.",
        "Joachim, Boerner, Kurz, Gear Technology, September 2012: manual gearboxes 92 to 97 %",
        common=("0.85", "0.97"),
    )
    input_inertia: Annotated[Quantity, Within(Dimension.INERTIA, "0.0001 kg m^2", "5 kg m^2")] = default(
        "0.005 kg m^2",
        "Clutch disc or turbine, and input shaft.",
        "common practice",
        common=("0.002 kg m^2", "0.02 kg m^2"),
    )
    shift_at: ShiftAt = default(
        "best force",
        'Engine speeds at which each gear is left: one, one per gear but the last, or "best force". A gear is left at '
        "the road speed at which full load brings the engine there without wheelspin, at the latest where the rev "
        "limiter begins to take torque; until then the limiter holds an engine whose wheels spin.",
        "common practice: most wheel force at any road speed",
    )
    shift: Annotated[TorqueGap | TorqueHandOver | TorqueDip, Field(discriminator="kind")] = required(
        "Shift by its physics."
    )

    @model_validator(mode="after")
    def _one_per_gear(self) -> Gearbox:
        faults = (*gear_faults(self.ratios, self.final_drive), *self._count_faults())
        if faults:
            raise refusal(*faults)
        return self

    @property
    def final_drives(self) -> tuple[Quantity, ...]:
        """Final drive of each gear, one for all gears in every place."""
        return final_drives(self.final_drive, len(self.ratios))

    def overall(self, gear: int) -> float:
        """Overall ratio of a gear, first gear is 1: gear times final drive [-]."""
        return self.ratios[gear - 1].si * self.final_drives[gear - 1].si

    def _count_faults(self) -> list[Fault]:
        gears = len(self.ratios)
        faults = []
        if len(self.efficiency) not in (1, gears):
            why = f"has {len(self.efficiency)} values for {gears} gears"
            faults.append(Fault("efficiency", "", why, "give one value, or one per gear"))
        shifts = 1 if self.shift_at == BEST_FORCE else len(self.shift_at)
        if shifts not in (1, gears - 1):
            why = f"has {shifts} engine speeds for {gears} gears"
            faults.append(Fault("shift_at", "", why, f'give one, or {gears - 1}, or "best force"'))
        return faults


class GearSet(Section):
    """Gears to try in place of those of the gearbox; what is left out stays as it is there."""

    name: Name = required("Name of the gear set, unique among them.", "short")
    ratios: Ratios = required(
        "Gear ratios, first gear first; times the final drive they fall from gear to gear.",
        ["3.8", "2.2", "1.5", "1.1", "0.9"],
    )
    final_drive: FinalDrive | None = optional("Final drive ratio, if it differs; one value or one per gear.", "3.42")
    efficiency: Efficiencies | None = optional(
        "Gear and final drive together, if it differs; one value or one per gear.", "94 %"
    )
    shift_at: ShiftAt | None = optional(
        "Engine speeds at which each gear is left, if they differ.", ["6800 rpm", "6800 rpm"]
    )


BEST: Literal["best"] = "best"


def _best_or_speed(value: object) -> object:
    if isinstance(value, str) and not value.strip()[:1].isdigit():
        raise refused(quoted(value), "is no launch speed", 'write "best", or an engine speed such as "3500 rpm"')
    return value


LaunchAt: TypeAlias = Annotated[
    Annotated[Literal["best"], Tag(BEST)]
    | Annotated[EngineSpeed, BeforeValidator(_best_or_speed, json_schema_input_type=str), Tag("speed")],
    Discriminator(lambda value: BEST if value == BEST else "speed"),
]


class Launch(Section):
    """How the car is set off."""

    engine_speed: LaunchAt = required(
        'Engine speed held before the start; "best": the one with which each curve is quickest with each pedal.',
        "3500 rpm",
    )
    boost: Annotated[Quantity, Within(Dimension.SHARE, "0 %", "100 %")] = default(
        "0 %",
        "Part of the lagged share that is present at the start; a limiter that holds the launch speed by ignition "
        "builds boost, a foot on the throttle hardly any.",
        "common practice: no boost built at the line",
        common=("0 %", "60 %"),
    )
    brake_release: Annotated[Quantity, Within(Dimension.TIME, "10 ms", "2 s")] = default(
        "0.15 s",
        "Time over which brakes that hold against a torque converter let go.",
        "common practice: a foot lifted from a pedal",
        common=("0.1 s", "0.3 s"),
    )


class PedalSettings(Section):
    """How a held slip is kept."""

    target_slip: Annotated[Quantity, Within(Dimension.SHARE, "1 %", "100 %")] | None = optional(
        "Longitudinal slip (ISO 8855) that is held; left out, it is 95 % of the slip of peak force at static load. "
        "With a locked centre it is the slip of the larger tyres. Below 8 m/s less is aimed at, 80 % of it at "
        "standstill: past its peak a tyre lets go faster than an actuator follows.",
        "12 %",
    )
    actuator_delay: Annotated[Quantity, Within(Dimension.TIME, "1 ms", "1 s")] = default(
        "20 ms",
        "Delay between wanted and delivered torque.",
        "common practice: spark cut 10 to 30 ms",
        common=("10 ms", "30 ms"),
    )
