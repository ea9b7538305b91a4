"""Body, tyres and drive."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import Annotated, Literal, NamedTuple

from pydantic import AfterValidator, model_validator

from simlaunch.errors import Fault
from simlaunch.record import Axle
from simlaunch.scenario.surroundings import Derived, Name, Section
from simlaunch.units.field import Within, default, optional, refusal, refused, required
from simlaunch.units.gate import quoted
from simlaunch.units.quantity import Quantity, to_si
from simlaunch.units.spelling import Dimension

_SIZE = re.compile(r"(\d{3})/(\d{2,3}) ?Z?R ?(\d{2})", re.ASCII)

_PUBLISHED_SET = "published passenger-car set for Magic Formula 5.2, listed after Althoff and Wuersching; no real tyre"


class Body(Section):
    """Mass, its place, and the air forces on the body."""

    mass: Annotated[Quantity, Within(Dimension.MASS, "100 kg", "20 t")] = required(
        "Mass with driver and fuel.", "1610 kg"
    )
    front_weight_share: Annotated[Quantity, Within(Dimension.SHARE, "10 %", "90 %")] = required(
        "Share of the weight on the front axle, standing on level ground.", "54 %"
    )
    left_weight_share: Annotated[Quantity, Within(Dimension.SHARE, "30 %", "70 %")] | None = optional(
        "Share of the weight of a driven axle on its left wheel, standing with the driver aboard; stated, the two "
        "wheels of a driven axle are two.",
        "52 %",
    )
    wheelbase: Annotated[Quantity, Within(Dimension.LENGTH, "1 m", "8 m")] = required(
        "Distance between the axles.", "2.65 m"
    )
    cg_height: Annotated[Quantity, Within(Dimension.LENGTH, "0 m", "3 m")] = required(
        "Height of the centre of gravity.", "0.52 m"
    )
    drag_area: Annotated[Quantity, Within(Dimension.AREA, "0 m^2", "10 m^2")] = required(
        "Drag coefficient times frontal area.", "0.66 m^2"
    )
    lift_area_front: Annotated[Quantity, Within(Dimension.AREA, "-5 m^2", "5 m^2")] = default(
        "0 m^2",
        "Lift coefficient times area at the front axle; positive lifts.",
        "common practice: neutral, not measured",
        common=("-0.05 m^2", "0.1 m^2"),
    )
    lift_area_rear: Annotated[Quantity, Within(Dimension.AREA, "-5 m^2", "5 m^2")] = default(
        "0 m^2",
        "Lift coefficient times area at the rear axle; positive lifts.",
        "common practice: neutral, not measured",
        common=("-0.1 m^2", "0.1 m^2"),
    )
    pitch_frequency: Annotated[Quantity, Within(Dimension.FREQUENCY, "0.2 Hz", "20 Hz")] = default(
        "1.5 Hz",
        "Natural frequency of pitch, undamped.",
        "Gillespie, Olley (from memory): cars 1.2 to 2.0 Hz",
        common=("1.2 Hz", "2 Hz"),
    )
    pitch_damping_ratio: Annotated[Quantity, Within(Dimension.NUMBER, "0.01", "3")] = default(
        "0.3", "Damping ratio of pitch.", "Gillespie, Olley (from memory): cars 0.2 to 0.4", common=("0.2", "0.4")
    )


def size_designation(text: str) -> str:
    """The same text, where it is a size designation."""
    if not _SIZE.fullmatch(text):
        raise refused(quoted(text), "is not a size designation", 'write width/aspect R rim, such as "225/45 R17"')
    return text


def unloaded_radius(size: str) -> float:
    """Half the nominal overall diameter of a tyre, from its size designation.

    Parameters
    ----------
    size : str
        Nominal section width in mm, aspect ratio in %, rim diameter code in inches, as in ``225/45 R17``.

    Returns
    -------
    float
        Radius [m].

    Source: UN Regulation 30, definition of the designation.

    Examples
    --------
    >>> round(unloaded_radius("225/45 R17"), 5)
    0.31715
    """
    match = _SIZE.fullmatch(size)
    assert match is not None, "checked by the model"
    width, aspect, rim = match.groups()
    return to_si(f"{rim} in", Dimension.LENGTH) / 2 + to_si(f"{width} mm", Dimension.LENGTH) * int(aspect) / 100


def rolling_radius(radius: Quantity | None, size: str | None, factor: Quantity) -> float:
    """Effective rolling radius, given or from the size [m]."""
    if radius is not None:
        return radius.si
    assert size is not None, "checked by the model"
    return factor.si * unloaded_radius(size)


class Tyre(Section):
    """One tyre of an axle, with its wheel."""

    size: Annotated[str, AfterValidator(size_designation)] | None = optional(
        'Size designation such as "225/45 R17"; gives the rolling radius.', "225/45 R17"
    )
    radius: Annotated[Quantity, Within(Dimension.LENGTH, "0.1 m", "1 m")] | None = optional(
        "Effective rolling radius, in place of a size.", "0.31 m"
    )
    rolling_factor_of_radius: Annotated[Quantity, Within(Dimension.NUMBER, "0.85", "1")] = default(
        "0.97",
        "Rolling radius over unloaded radius; only with a size.",
        "common practice: 0.96 to 0.98",
        common=("0.96", "0.98"),
    )
    nominal_load: Annotated[Quantity, Within(Dimension.FORCE, "200 N", "50 kN")] = default(
        "4000 N",
        "Load of one tyre at which friction and stiffness are stated.",
        "common practice",
        common=("3000 N", "5000 N"),
    )
    friction: Annotated[Quantity, Within(Dimension.NUMBER, "0.05", "5")] = required(
        "Peak friction coefficient at nominal load on dry asphalt.", "1.05"
    )
    friction_load_slope: Annotated[Quantity, Within(Dimension.NUMBER, "-1", "0.5")] = default(
        "-0.16395",
        "Change of the friction coefficient per relative change of load.",
        _PUBLISHED_SET,
        common=("-0.25", "-0.05"),
    )
    shape: Annotated[Quantity, Within(Dimension.NUMBER, "1.01", "1.99")] = default(
        "1.4",
        "Shape factor C of the Magic Formula; it sets how much grip a sliding tyre keeps.",
        "common practice: sliding grip about 80 % of the peak (the published passenger-car set has 1.6411 and 55 %)",
        common=("1.3", "1.65"),
    )
    curvature: Annotated[Quantity, Within(Dimension.NUMBER, "-10", "1")] = default(
        "0.46403", "Curvature factor E of the Magic Formula at nominal load.", _PUBLISHED_SET, common=("-1", "0.6")
    )
    curvature_load_slope: Annotated[Quantity, Within(Dimension.NUMBER, "-5", "5")] = default(
        "0.25022", "Change of E per relative change of load.", _PUBLISHED_SET, common=("0", "0.5")
    )
    curvature_load_square: Annotated[Quantity, Within(Dimension.NUMBER, "-5", "5")] = default(
        "0.067842", "Change of E per square of the relative change of load.", _PUBLISHED_SET, common=("-0.1", "0.2")
    )
    slip_stiffness: Annotated[Quantity, Within(Dimension.NUMBER, "1", "200")] = default(
        "22.303", "Slip stiffness over load, at nominal load.", _PUBLISHED_SET, common=("15", "30")
    )
    stiffness_load_slope: Annotated[Quantity, Within(Dimension.NUMBER, "-50", "50")] = default(
        "0.48896",
        "Change of the slip stiffness over load per relative change of load.",
        _PUBLISHED_SET,
        common=("0", "2"),
    )
    stiffness_load_exponent: Annotated[Quantity, Within(Dimension.NUMBER, "-3", "3")] = default(
        "0.21253",
        "Exponent of the slip stiffness over load in the relative change of load.",
        _PUBLISHED_SET,
        common=("-0.2", "0.4"),
    )
    relaxation_length: Annotated[Quantity, Within(Dimension.LENGTH, "1 mm", "2 m")] = default(
        "0.2 m", "Distance over which slip settles.", "Pacejka (from memory): 0.1 to 0.3 m", common=("0.1 m", "0.3 m")
    )
    low_speed: Annotated[Quantity, Within(Dimension.SPEED, "0.1 m/s", "10 m/s")] = default(
        "2.5 m/s",
        "Speed below which the transient slip is damped.",
        "Pacejka (from memory): 2 to 3 m/s",
        common=("2 m/s", "3 m/s"),
    )
    low_speed_damping: Annotated[Quantity, Within(Dimension.NUMBER, "0", "3")] = default(
        "1",
        "Damping ratio at standstill.",
        "ours: critical damping; shapes only the first metre",
        common=("0.5", "1.5"),
    )
    rolling_resistance: Annotated[Quantity, Within(Dimension.NUMBER, "0", "0.5")] = default(
        "0.011",
        "Rolling resistance over load at low speed.",
        "common practice: cars on asphalt 0.007 to 0.017",
        common=("0.007", "0.017"),
    )
    rolling_resistance_speed_term: Annotated[
        Quantity, Within(Dimension.INVERSE_SPEED_SQUARED, "0 s^2/m^2", "0.001 s^2/m^2")
    ] = default(
        "0 s^2/m^2",
        "Rise of the rolling resistance over load with speed squared.",
        "common practice: neglected",
        common=("0 s^2/m^2", "5e-7 s^2/m^2"),
    )
    wheel_inertia: Annotated[Quantity, Within(Dimension.INERTIA, "0.01 kg m^2", "50 kg m^2")] = default(
        "1.1 kg m^2",
        "Inertia of one wheel with tyre and disc.",
        "common practice: 0.8 to 1.8 kg m^2",
        common=("0.8 kg m^2", "1.8 kg m^2"),
    )

    @model_validator(mode="after")
    def _one_source_of_radius(self) -> Tyre:
        if (self.size is None) == (self.radius is None):
            why = "is missing, and so is radius" if self.size is None else "is given together with radius"
            raise refusal(
                Fault("size", "", why, 'give one of the two, such as size = "225/45 R17" or radius = "0.31 m"')
            )
        if self.radius is not None and "rolling_factor_of_radius" in self.model_fields_set:
            typed = quoted(self.rolling_factor_of_radius.text)
            raise refusal(
                Fault("rolling_factor_of_radius", typed, "applies to a size, not to a radius", "leave it out")
            )
        return self

    def unused(self) -> frozenset[str]:
        """The rolling factor plays no part beside a given radius."""
        return frozenset({"rolling_factor_of_radius"}) if self.radius else frozenset()

    @property
    def radius_si(self) -> float:
        """Effective rolling radius, given or from the size [m]."""
        return rolling_radius(self.radius, self.size, self.rolling_factor_of_radius)

    def derived(self) -> Mapping[str, Derived]:
        """Rolling radius from the size designation."""
        return {"radius": Derived(f"{self.radius_si:.4f} m", "size designation times rolling_factor_of_radius")}


class Tyres(Section):
    """Tyres of the two axles: one table for both, or one for each."""

    both: Tyre | None = optional("Tyres of both axles.")
    front: Tyre | None = optional("Tyres of the front axle.")
    rear: Tyre | None = optional("Tyres of the rear axle.")

    @model_validator(mode="after")
    def _both_or_each(self) -> Tyres:
        given = tuple(name for name in ("both", "front", "rear") if getattr(self, name) is not None)
        if given not in (("both",), ("front", "rear")):
            why = f"has {' and '.join(given) if given else 'no axle'}"
            raise refusal(Fault("", "", why, "give [tyres.both], or both [tyres.front] and [tyres.rear]"))
        return self

    def of(self, axle: Axle) -> Tyre:
        """Tyre of an axle."""
        own = self.front if axle is Axle.FRONT else self.rear
        tyre = self.both or own
        assert tyre is not None, "checked by the model"
        return tyre


class TyreSet(Tyres):
    """Tyres to try in place of those of the car."""

    name: Name = required("Name of the tyres, unique among them.", "track")


Locking = Annotated[Quantity, Within(Dimension.SHARE, "0 %", "100 %")]
Preload = Annotated[Quantity, Within(Dimension.TORQUE, "0 N m", "5000 N m")]

LOCKING = ("locking", "locking_preload", "front_locking", "front_locking_preload")
"""Keys of the differentials between the two wheels of an axle."""


class Differential(NamedTuple):
    """What is between the two wheels of a driven axle, as stated."""

    axle: Axle
    locking: Quantity | None
    preload: Quantity | None
    preload_key: str  # that states it

    @property
    def locked(self) -> bool:
        """Whether both wheels are on one shaft."""
        return self.locking is not None and self.locking.si >= 1.0

    @property
    def slips(self) -> bool:
        """Whether its clutches give way: it locks, but not altogether."""
        return not self.locked and any(each is not None and each.si for each in (self.locking, self.preload))


class SecondAxle(Section):
    """The axle of an all-wheel drive that a clutch brings in, while the other one is driven directly."""

    axle: Literal["front", "rear"] = required(
        "Axle that the clutch brings in; the other one is driven directly.", "rear"
    )
    capacity: Annotated[Quantity, Within(Dimension.TORQUE, "0 N m", "20000 N m")] = required(
        "Torque that the clutch carries when it has been brought in, at the clutch itself; beyond it the clutch slips.",
        "700 N m",
    )
    ratio: Annotated[Quantity, Within(Dimension.NUMBER, "0.2", "10")] = required(
        "Speed of the clutch over that of the half shafts behind it, as a rule the final drive of that axle; 1 where "
        "the capacity is that at the half shafts.",
        "2.6",
    )
    lead: Annotated[Quantity, Within(Dimension.SHARE, "-10 %", "10 %")] = default(
        "0 %",
        "How much faster the half shafts of the second axle turn than those of the first while the clutch holds; "
        "slower, below zero.",
        "common practice: both axles geared alike",
        common=("-1 %", "1 %"),
    )
    delay: Annotated[Quantity, Within(Dimension.TIME, "0 s", "10 s")] = default(
        "0 s",
        "Time from the moment the car is let go until the clutch begins to be brought in.",
        "common practice: full pedal calls for the clutch at once",
        common=("0 s", "0.15 s"),
    )
    engagement_time: Annotated[Quantity, Within(Dimension.TIME, "0 s", "10 s")] = default(
        "0.1 s",
        "Time in which its torque then rises, evenly, to the capacity; 0 s, which allows no delay: it is closed before "
        "the start.",
        "assumption: a pump or a motor needs about a tenth of a second",
        common=("0 s", "0.3 s"),
    )


class Drive(Section):
    """Driven axles, and the shafts to the wheels."""

    driven: Literal["front", "rear", "all"] = required("Driven axles.", "rear")
    centre: Literal["open", "locked", "clutch"] = default(
        "open",
        "Centre of an all-wheel drive: fixed split of torque, both axles on one shaft, or one axle that is driven "
        "directly and a second one that a clutch brings in.",
        "common practice",
        common=("open", "locked"),
    )
    front_share: Annotated[Quantity, Within(Dimension.SHARE, "0 %", "100 %")] = default(
        "50 %",
        "Share of the torque sent to the front axle by an open centre.",
        "common practice: symmetrical centre",
        common=("30 %", "60 %"),
    )
    half_shafts: Literal["rigid", "elastic"] = default(
        "elastic",
        "Whether the half shafts twist.",
        "common practice: launch peaks need the twist",
        common=("elastic", "rigid"),
    )
    half_shaft_stiffness: Annotated[
        Quantity, Within(Dimension.TORSIONAL_STIFFNESS, "500 N m/rad", "1000000 N m/rad")
    ] = default(
        "16000 N m/rad",
        "Both half shafts of an axle together.",
        "common practice: 6000 to 15000 N m/rad a side",
        common=("12000 N m/rad", "30000 N m/rad"),
    )
    half_shaft_damping: Annotated[Quantity, Within(Dimension.TORSIONAL_DAMPING, "0 N m s/rad", "10000 N m s/rad")] = (
        default(
            "40 N m s/rad",
            "Both half shafts of an axle together.",
            "about 5 % of critical for a 1500 kg car in a middle gear; an assumption, seldom measured",
            common=("20 N m s/rad", "80 N m s/rad"),
        )
    )
    inertia: Annotated[Quantity, Within(Dimension.INERTIA, "0.001 kg m^2", "20 kg m^2")] = default(
        "0.2 kg m^2",
        "Final drive and propeller shaft, at half-shaft speed.",
        "common practice",
        common=("0.1 kg m^2", "0.3 kg m^2"),
    )
    locking: Locking | None = optional(
        "Locking value of the differential of each driven axle: the difference over the sum of the torques of its two "
        "wheels when it gives all it can. 0 % is open, 100 % a locked axle; left out, open.",
        "40 %",
    )
    locking_preload: Preload | None = optional(
        "Difference of wheel torques that the differential holds even without axle torque; left out, none. A torque "
        "wrench on one raised wheel, gearbox in neutral, shows half of it.",
        "80 N m",
    )
    locking_speed: Annotated[Quantity, Within(Dimension.ROTATIONAL_SPEED, "0.5 rpm", "100 rpm")] = default(
        "5 rpm",
        "Difference of the two wheel speeds that brings in three quarters of the locking torque.",
        "ours: a walking pace of the treads past one another is far more",
        common=("2 rpm", "20 rpm"),
    )
    front_locking: Locking | None = optional(
        "Locking value of the front axle of an all-wheel drive, where it is not that of the rear.", "0 %"
    )
    front_locking_preload: Preload | None = optional(
        "Preload of the front axle of an all-wheel drive, where it is not that of the rear.", "0 N m"
    )
    live_axle_track: Annotated[Quantity, Within(Dimension.LENGTH, "0.8 m", "3 m")] | None = optional(
        "Track of a live (beam) rear axle that holds the final drive. The torque of the propeller shaft then moves "
        "load from its right wheel to its left one.",
        "1.5 m",
    )
    front_roll_stiffness_share: Annotated[Quantity, Within(Dimension.SHARE, "0 %", "100 %")] = default(
        "60 %",
        "Share of the front axle in the roll stiffness; only with a live axle, whose own springs take up the rest of "
        "the torque of the propeller shaft.",
        "common practice: 50 to 70 %",
        common=("50 %", "70 %"),
    )

    second_axle: SecondAxle | None = optional("The axle that the clutch of a centre brings in.")

    @model_validator(mode="after")
    def _split_only_when_open(self) -> Drive:
        given = self.model_fields_set
        faults = []
        if "centre" in given and self.driven != "all":
            faults.append(
                Fault("centre", quoted(self.centre), f"needs all-wheel drive, not {self.driven}", "leave it out")
            )
        if "front_share" in given and (self.driven != "all" or self.centre != "open"):
            typed = quoted(self.front_share.text)
            faults.append(Fault("front_share", typed, "needs all-wheel drive with an open centre", "leave it out"))
        faults.extend((*self._clutch_faults(), *self._wheel_faults()))
        if faults:
            raise refusal(*faults)
        return self

    def _wheel_faults(self) -> Iterator[Fault]:
        """Faults of settings of wheels that are not there."""
        given = self.model_fields_set
        for name in ("front_locking", "front_locking_preload"):
            held = getattr(self, name)
            if held is not None and self.driven != "all":
                why = f"needs all-wheel drive, not {self.driven}"
                yield Fault(name, quoted(held.text), why, f"leave it out; {name[6:]} serves the one axle")
        if self.live_axle_track is not None and self.driven != "rear":
            typed, why = quoted(self.live_axle_track.text), f"is that of a driven rear axle alone, not {self.driven}"
            yield Fault("live_axle_track", typed, why, "leave it out")
        if self.live_axle_track is None and "front_roll_stiffness_share" in given:
            typed = quoted(self.front_roll_stiffness_share.text)
            why = "needs live_axle_track, without which no torque moves load across"
            yield Fault("front_roll_stiffness_share", typed, why, "give the track, or leave it out")

    def _clutch_faults(self) -> Iterator[Fault]:
        """Faults of a clutch without its axle, of an axle without its clutch, and of shafts that cannot have one."""
        if self.centre != "clutch":
            if self.second_axle is not None:
                why = f"needs a clutch as the centre of an all-wheel drive, not {quoted(self.centre)}"
                yield Fault("second_axle", "", why, 'leave it out, or write driven = "all" and centre = "clutch"')
            return
        if self.second_axle is None and self.driven == "all":
            why = "is missing: it states which axle the clutch brings in, and what the clutch carries"
            yield Fault("second_axle", "", why, "add a table [drive.second_axle] with axle, capacity and ratio")
        if self.half_shafts == "rigid":
            why = "leaves the clutch of the second axle nothing to wind up"
            yield Fault("half_shafts", quoted(self.half_shafts), why, 'write "elastic"')

    def differentials(self) -> tuple[Differential, ...]:
        """The differential of each driven axle; the front one of an all-wheel drive may have its own keys."""
        rear = Differential(Axle.REAR, self.locking, self.locking_preload, "locking_preload")
        front = rear._replace(axle=Axle.FRONT)
        if self.front_locking is not None:
            front = front._replace(locking=self.front_locking)
        if self.front_locking_preload is not None:
            front = front._replace(preload=self.front_locking_preload, preload_key="front_locking_preload")
        return {"front": (front,), "rear": (rear,), "all": (front, rear)}[self.driven]

    def idle_preloads(self) -> tuple[str, ...]:
        """Keys of a preload that acts nowhere, since each axle that it is for is locked already."""
        locked: dict[str, bool] = {}
        for each in self.differentials():
            if each.preload is not None and each.preload.si:
                locked[each.preload_key] = locked.get(each.preload_key, True) and each.locked
        return tuple(name for name, always in locked.items() if always)

    def unused(self) -> frozenset[str]:
        """Settings of a centre that is not there, of shafts that do not twist, and of axles that cannot lock."""
        split = () if self.driven == "all" else ("centre", "front_share")
        fixed = () if self.centre == "open" else ("front_share",)
        shafts = ("half_shaft_stiffness", "half_shaft_damping") if self.half_shafts == "rigid" else ()
        wheels = () if any(each.slips for each in self.differentials()) else ("locking_speed",)
        live = () if self.live_axle_track else ("front_roll_stiffness_share",)
        return frozenset((*split, *fixed, *shafts, *wheels, *live))
