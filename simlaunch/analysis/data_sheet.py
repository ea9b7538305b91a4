"""The lines of a data sheet as they are typed, one after another, and what is usual for the next of them."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from itertools import pairwise
from math import pi, sqrt
from pathlib import Path
from typing import Any

from pydantic import ValidationError
from pydantic_core import PydanticCustomError

from simlaunch.analysis.curve import DynoCurve, read_curve
from simlaunch.curves.full_load import FullLoad, Peak, disagreement, fastest, through_peaks
from simlaunch.errors import Fault, InputError
from simlaunch.readers.curve import CurveOptions
from simlaunch.readers.reference_conditions import stated_losses
from simlaunch.scenario.car import Tyre, rolling_radius, size_designation
from simlaunch.scenario.powertrain import MeasuredAt
from simlaunch.scenario.questions import QUESTIONS, Question
from simlaunch.scenario.reading import validator
from simlaunch.scenario.schema import quantity_at
from simlaunch.scenario.usual import gearbox_kinds, tyre_kinds, usual_ratios, usual_values
from simlaunch.units.field import Within
from simlaunch.units.gate import quoted
from simlaunch.units.quantity import RPM, Quantity, as_typed, read, to_si
from simlaunch.units.spelling import Dimension

BOOSTS = ("turbocharger", "supercharger", "none")
_FIRST_GEAR = "60 km/h"  # speed in first gear at a rev limit of 7000 rpm (common practice: 45 to 70 km/h)
_PRESSURE_AT_IDLE = "8 bar"  # full-load mean effective pressure at idle speed (from memory)
_AT_IDLE = (0.3, 0.7)  # bounds of full-load torque at idle speed over the peak
_REDLINE = 1.08  # rev limit over the engine speed of peak power (common practice)
_SPEED = Within(Dimension.ROTATIONAL_SPEED, "800 rpm", "20000 rpm")
_RIM = Within(Dimension.ROTATIONAL_SPEED, "2500 rpm", "20000 rpm")
_TORQUE = Within(Dimension.TORQUE, "10 N m", "5000 N m")
_POWER = Within(Dimension.POWER, "5 kW", "3000 kW")
_VOLUME = Within(Dimension.VOLUME, "50 cc", "30 l")
_SHARE = Within(Dimension.SHARE, "0 %", "50 %")
_RATIO = Within(Dimension.NUMBER, "0.1", "30")
_AT = re.compile(r"(.+?)(?:\s+at\s+|\s*@\s*)(.+)", re.IGNORECASE)
_SPAN = re.compile(r"\s*(.+?)(?:\s+to\s+|\s*[-\u2013]\s*)(.+)")
_SHEETS = (".csv", ".txt", ".tsv", ".dat")
_NUMBERS = ("three", "four", "five", "six", "seven", "eight", "nine", "ten")
_GEARS = re.compile(r"\b(\d{1,2}|" + "|".join(_NUMBERS) + r")(?=\b|[- ]|[a-z])", re.IGNORECASE)


@dataclass(frozen=True)
class DataSheet:
    """What a data sheet says of a car, with usual values for what it leaves out.

    Parameters
    ----------
    mass : Quantity
        With driver and fuel, as typed.
    driven : str
        "front", "rear" or "all".
    centre : str
        "open", "locked", "rear by clutch" or "front by clutch"; open for a single driven axle.
    rear_axle : str
        "independent" or "live"; independent unless the rear axle alone is driven.
    differential : str
        "open", "limited slip" or "locked"; open unless the rear axle is live.
    tyres : tuple of str
        Sizes in front and behind.
    tyre_kind : str
        Kind of tyre.
    displacement : Quantity
        As typed.
    boost : str
        "turbocharger", "supercharger" or "none".
    curve : FullLoad
        The full-load curve.
    sheet : DynoCurve or None
        The dyno sheet that the curve comes from; None where it was drawn through peak torque and peak power.
    redline : Quantity
        Engine speed of the rev limiter.
    gearbox : tuple of int and str
        Number of gears, and kind.
    ratios : tuple of Quantity
        First gear first.
    final_drive : Quantity
        Its ratio.
    usual : frozenset of str
        Names of the lines that were left out.
    """

    mass: Quantity
    driven: str
    centre: str
    rear_axle: str
    differential: str
    tyres: tuple[str, str]
    tyre_kind: str
    displacement: Quantity
    boost: str
    curve: FullLoad
    sheet: DynoCurve | None
    redline: Quantity
    gearbox: tuple[int, str]
    ratios: tuple[Quantity, ...]
    final_drive: Quantity
    usual: frozenset[str]


def _refused(question: Question, typed: str, why: str, instead: str) -> InputError:
    return InputError(Fault(question.name, quoted(typed), why, instead))


def _quantity(question: Question, text: str, within: Within) -> Quantity:
    try:
        return within.parse(text)
    except PydanticCustomError as error:
        fault: Fault = (error.context or {})["faults"][0]
        raise InputError(replace(fault, place=question.name)) from None


def _choice(question: Question, text: str, choices: tuple[str, ...]) -> str:
    """The one choice that the text begins."""
    typed = text.strip().lower()
    found = [choice for choice in choices if typed and choice.startswith(typed)]
    if len(found) == 1:
        return found[0]
    listed = ", ".join(f'"{choice}"' for choice in choices)
    raise _refused(question, text, "is not one of the choices", f"write one of {listed}")


_DRIVEN = ("front", "rear", "all")
BY_CLUTCH = {"rear by clutch": "rear", "front by clutch": "front"}
"""Centres that bring one axle in by a clutch, and which."""
_CENTRES = ("open", "locked", *BY_CLUTCH)
_REAR_AXLES, LIVE = ("independent", "live"), "live"
_DIFFERENTIALS = ("open", "limited slip", "locked")


_ONLY: Mapping[str, tuple[Callable[[Mapping[str, Any]], bool], str, str]] = {
    "centre": (
        lambda found: found.get("driven") == "all",
        "applies only where both axles are driven",
        'leave it out, or answer "all" for the driven axle',
    ),
    "rear_axle": (
        lambda found: found.get("driven") == "rear",
        "applies only where the rear axle alone is driven",
        "leave it out",
    ),
    "differential": (
        lambda found: found.get("rear_axle") == LIVE,
        "applies only to a live axle, since no differential changes anything while both wheels carry and grip alike",
        "leave it out, and write drive.locking into the file beside sides that grip unlike",
    ),
    "power": (
        lambda found: not isinstance(found.get("torque"), DynoCurve),
        "is stated, and the dyno sheet holds the power already",
        "leave it out",
    ),
    "losses": (
        lambda found: isinstance(found.get("torque"), DynoCurve),
        "applies only where a dyno sheet is named",
        "leave it out",
    ),
}
"""Questions that have a meaning only after some answers, and what is wrong with an answer to one that has none."""


@dataclass
class Answers:
    """Answers so far; each is checked as it is given, against those before it."""

    found: dict[str, Any] = field(default_factory=dict)
    left_out: set[str] = field(default_factory=set)

    def wanted(self, question: Question) -> bool:
        """Whether a question has a meaning after the answers so far."""
        return question.name not in _ONLY or _ONLY[question.name][0](self.found)

    def give(self, question: Question, text: str | None) -> None:
        """Take an answer; None or blanks take what is usual.

        Raises
        ------
        InputError
            With a `Fault` as its only argument: the answer does not do, or is needed.
        """
        self.left_out.discard(question.name)
        if text is None or not text.strip():
            self.found.pop(question.name, None)
            text = self.usual(question)
            if not text:
                raise _refused(question, "", "is empty", f"write such as {question.example}")
            self.left_out.add(question.name)
        self.found[question.name] = _READERS[question.name](self, question, text.strip())
        for name, (applies, *_) in _ONLY.items():
            if not applies(self.found):  # an answer from before one step back
                self.found.pop(name, None)
                self.left_out.discard(name)

    def usual(self, question: Question) -> str:
        """What is taken for a question that is left out, as it would be typed; empty where an answer is needed."""
        maker = _USUAL.get(question.name)
        return maker(self) if maker else ""

    def complete(self) -> DataSheet:
        """The data sheet, once every question has been answered.

        Raises
        ------
        InputError
            The answers do not fit each other.
        """
        found = self.found
        sheet = self.sheet
        return DataSheet(
            mass=found["mass"],
            driven=found["driven"],
            centre=found.get("centre", _CENTRES[0]),
            rear_axle=found.get("rear_axle", _REAR_AXLES[0]),
            differential=found.get("differential", _DIFFERENTIALS[0]),
            tyres=(found["tyres"], found["rear_tyres"]),
            tyre_kind=found["tyre_kind"],
            displacement=found["displacement"],
            boost=found["boost"],
            curve=self._curve(sheet),
            sheet=sheet,
            redline=found["redline"],
            gearbox=found["gearbox"],
            ratios=found["ratios"],
            final_drive=found["final_drive"],
            usual=frozenset(self.left_out),
        )

    def _curve(self, sheet: DynoCurve | None) -> FullLoad:
        if sheet is not None:
            return FullLoad(sheet.speed, sheet.torque)
        torque, power, end = self.found["torque"], self.found["power"], self.found["redline"].si
        off_boost = mean_torque(_PRESSURE_AT_IDLE, self.found["displacement"])
        low, high = (share * torque.value for share in _AT_IDLE)
        idle = to_si(
            next(each for each in usual_values() if each.key == "engine.idle").of("usual", {}), _SPEED.dimension
        )
        return through_peaks(torque, power, idle, end, min(max(off_boost, low), high))

    @property
    def sheet(self) -> DynoCurve | None:
        """The dyno sheet with its figures at the crank; None where peaks were given."""
        sheet: DynoCurve | None = self.found["losses"] if isinstance(self.found["torque"], DynoCurve) else None
        return sheet


def mean_torque(pressure: str, displacement: Quantity) -> float:
    """Torque of a four-stroke engine at a mean effective pressure: T = p V / (4 pi) [N m]."""
    return to_si(pressure, Dimension.PRESSURE) * displacement.si / (4.0 * pi)


# --- one reader for each question ---


def _mass(answers: Answers, question: Question, text: str) -> Quantity:
    within = quantity_at("body.mass")
    assert within is not None, "a key of the model"
    return _quantity(question, text, within)


def _size(answers: Answers, question: Question, text: str) -> str:
    try:
        return size_designation(text.upper())
    except PydanticCustomError as error:
        fault: Fault = (error.context or {})["faults"][0]
        raise InputError(replace(fault, place=question.name, typed=quoted(text))) from None


def _sheet(question: Question, text: str) -> DynoCurve:
    try:
        return read_curve([Path(text).expanduser()])
    except InputError as error:
        if isinstance(error.args[0], Fault):
            raise
        raise InputError(Fault(question.name, quoted(text), "cannot be used", str(error))) from None


def _peak(question: Question, text: str, within: Within) -> Peak:
    match = _AT.fullmatch(text)
    if match is None:
        _quantity(question, text, within)  # says first what is wrong with the value itself
        raise _refused(question, text, "has no engine speed", f"write such as {question.example}")
    value, speeds = match.groups()
    first, last = span.groups() if (span := _SPAN.fullmatch(speeds)) else (speeds, speeds)
    end = _quantity(question, last, _SPEED)
    if re.fullmatch(r"[\d.]+", first.strip()):
        first = f"{first.strip()} {last.strip().lstrip('0123456789.').strip()}"
    begin = _quantity(question, first, _SPEED)
    if begin.si > end.si:
        raise _refused(question, text, "runs from a higher to a lower engine speed", "write the lower one first")
    return Peak(_quantity(question, value, within).si, begin.si, end.si)


def _torque(answers: Answers, question: Question, text: str) -> Peak | DynoCurve:
    if names_a_sheet(text):
        return _sheet(question, text)
    return _peak(question, text, _TORQUE)


def _power(answers: Answers, question: Question, text: str) -> Peak | None:
    torque = answers.found["torque"]
    peak = _peak(question, text, _POWER)
    if why := disagreement(torque, peak):
        raise _refused(question, text, why, "check the numbers and units of both peaks")
    return peak


def _losses(answers: Answers, question: Question, text: str) -> DynoCurve:
    """The dyno sheet with its figures at the crank."""
    sheet: DynoCurve = answers.found["torque"]
    share, place = _quantity(question, text, _SHARE), sheet.account.measured_at
    if place is MeasuredAt.CRANK and share.si:
        why = "is given, and the sheet states that its figures stand at the crank"
        raise _refused(question, text, why, "leave it out")
    if place is MeasuredAt.CRANK:
        return sheet
    if not share.si and place is not None:
        why = f"is given, and the sheet states that its figures stand at the {place}"
        raise _refused(question, text, why, f"write such as {question.example}")
    if not share.si:
        return read_curve(sheet.account.sources, CurveOptions(measured_at=MeasuredAt.CRANK))
    at = place or MeasuredAt.WHEEL
    return read_curve(
        sheet.account.sources,
        CurveOptions(measured_at=at, wanted_at=MeasuredAt.CRANK, losses=stated_losses(share.si)),
    )


def _redline(answers: Answers, question: Question, text: str) -> Quantity:
    found, sheet = _quantity(question, text, _RIM), answers.sheet
    if sheet is not None:
        end = float(sheet.speed[-1])
        if found.si > end * (1.0 + 1e-9):
            why = f"is above {end / RPM:.0f} rpm, where the dyno sheet ends"
            raise _refused(question, text, why, "write a lower one, or measure up to it")
        return found
    power: Peak = answers.found["power"]
    if found.si < power.high * (1.0 - 1e-9):
        why = f"is below {power.high / RPM:.0f} rpm, where the engine has its peak power"
        raise _refused(question, text, why, "write a higher one, or correct the peak power")
    if found.si > fastest(power):
        why = f"is more than 1.5 times the engine speed of peak power, {power.high / RPM:.0f} rpm"
        raise _refused(question, text, why, "write a lower one, or name a dyno sheet that reaches it")
    return found


def _gearbox(answers: Answers, question: Question, text: str) -> tuple[int, str]:
    words = {word: kind for kind, entry in gearbox_kinds().items() for word in entry["words"]}
    typed = text.lower()
    kinds = {kind for word, kind in words.items() if re.search(rf"(?<![a-z]){word}", typed)}
    if kinds == {"dual clutch", "planetary"} and "dual" in typed:  # "dual clutch automatic"
        kinds = {"dual clutch"}
    count = _GEARS.search(text)
    if len(kinds) != 1 or count is None:
        why = "does not say the kind" if len(kinds) != 1 else "does not say how many gears"
        raise _refused(
            question, text, why, 'write such as "6 speed manual", "7 dual clutch" or "eight speed planetary"'
        )
    number = count.group(1).lower()
    gears = _NUMBERS.index(number) + 3 if number in _NUMBERS else int(number)
    if not 3 <= gears <= 10:
        raise _refused(question, text, f"has {gears} gears", "write 3 to 10 gears")
    return gears, kinds.pop()


def _ratios(answers: Answers, question: Question, text: str) -> tuple[Quantity, ...]:
    gears = answers.found["gearbox"][0]
    parts = [part for part in re.split(r"\s*[;/]\s*|\s*,\s+|\s+|,(?=\d*\.)", text.strip("[]() ")) if part]
    found = tuple(_quantity(question, part.strip("\"'"), _RATIO) for part in parts)
    if len(found) != gears:
        why = f"holds {len(found)} ratios for {gears} gears"
        raise _refused(question, text, why, f"write {gears}, such as {_USUAL['ratios'](answers)}")
    for before, here in pairwise(found):
        if here.si >= before.si:
            why = f"does not fall from {before.text} to {here.text}"
            raise _refused(question, text, why, "write first gear first, without reverse")
    return found


def _final_drive(answers: Answers, question: Question, text: str) -> Quantity:
    within = quantity_at("gearbox.final_drive")
    assert within is not None, "a key of the model"
    return _quantity(question, text, within)


Reader = Callable[[Answers, Question, str], Any]
_READERS: Mapping[str, Reader] = {
    "mass": _mass,
    "driven": lambda answers, question, text: _choice(question, text, _DRIVEN),
    "centre": lambda answers, question, text: _choice(question, text, _CENTRES),
    "rear_axle": lambda answers, question, text: _choice(question, text, _REAR_AXLES),
    "differential": lambda answers, question, text: _choice(question, text, _DIFFERENTIALS),
    "tyres": _size,
    "rear_tyres": _size,
    "tyre_kind": lambda answers, question, text: _choice(question, text, tyre_kinds()),
    "displacement": lambda answers, question, text: _quantity(question, text, _VOLUME),
    "boost": lambda answers, question, text: _choice(question, text, BOOSTS),
    "torque": _torque,
    "power": _power,
    "losses": _losses,
    "redline": _redline,
    "gearbox": _gearbox,
    "ratios": _ratios,
    "final_drive": _final_drive,
}


# --- what is usual, after the answers so far ---


def driven_radius(sizes: tuple[str, str], driven: str) -> float:
    """Rolling radius of the driven tyres by their size, with the usual factor of a scenario [m]."""
    factor = str(Tyre.model_fields["rolling_factor_of_radius"].default)
    return rolling_radius(None, sizes[0] if driven == "front" else sizes[1], read(factor, Dimension.NUMBER))


def _usual_redline(answers: Answers) -> str:
    sheet = answers.sheet
    if sheet is not None:
        return f"{int(float(sheet.speed[-1]) / RPM + 1e-6)} rpm"
    return f"{100 * round(_REDLINE * answers.found['power'].high / RPM / 100):d} rpm"


def _usual_ratios(answers: Answers) -> str:
    gears, kind = answers.found["gearbox"]
    return ", ".join(f"{ratio:.2f}" for ratio in usual_ratios(kind, gears))


def _usual_final_drive(answers: Answers) -> str:
    found = answers.found
    radius = driven_radius((found["tyres"], found["rear_tyres"]), found["driven"])
    limit, usual = found["redline"].si, 7000.0 * RPM
    overall = limit * radius / (to_si(_FIRST_GEAR, Dimension.SPEED) * sqrt(limit / usual))
    return as_typed(overall / found["ratios"][0].si, Dimension.NUMBER, 3)


_USUAL: Mapping[str, Callable[[Answers], str]] = {
    "centre": lambda answers: _CENTRES[0],
    "rear_axle": lambda answers: _REAR_AXLES[0],
    "differential": lambda answers: _DIFFERENTIALS[0],
    "rear_tyres": lambda answers: str(answers.found["tyres"]),
    "tyre_kind": lambda answers: "sport",
    "boost": lambda answers: "turbocharger",
    "losses": lambda answers: "0 %" if answers.found["torque"].account.measured_at is MeasuredAt.CRANK else "",
    "redline": _usual_redline,
    "ratios": _usual_ratios,
    "final_drive": _usual_final_drive,
}


def names_a_sheet(text: str) -> bool:
    """Whether an answer for the peak torque names a dyno sheet."""
    return text.strip().lower().endswith(_SHEETS)


def scenario_name(text: str) -> str:
    """Name of a scenario, as its file may hold it.

    Raises
    ------
    InputError
        Not a name.
    """
    try:
        return str(validator("name").validate_python(text))
    except ValidationError:
        why, instead = "is not a short name of printable characters", "give --name, such as My car"
        raise InputError(Fault("name", quoted(text), why, instead)) from None


def data_sheet(given: Mapping[str, str | None]) -> DataSheet:
    """A data sheet of answers that are all there.

    Parameters
    ----------
    given : mapping of str to str or None
        Answer by the name of the question; what is missing takes its usual value.

    Returns
    -------
    DataSheet
        Checked.

    Raises
    ------
    InputError
        An answer that does not do, or is needed.
    """
    answers = Answers()
    for question in QUESTIONS:
        text = given.get(question.name)
        if answers.wanted(question):
            answers.give(question, text)
        elif text is not None:
            raise _refused(question, text, *_ONLY[question.name][1:])
    return answers.complete()
