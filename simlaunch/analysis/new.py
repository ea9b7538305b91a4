"""A scenario from what is on a data sheet: the file reads like a form, and says of each usual value why and how sure.

What no data sheet states takes a usual value: of `scenario/usual.toml`, or the default of the model. The file names
the ten that matter most at its head, and lists those that decide under [[uncertain]], so that the odds of a verdict
take them into account.
"""

from __future__ import annotations

import os
import re
import textwrap
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import groupby
from math import cbrt, sqrt
from pathlib import Path

import numpy as np

from simlaunch.analysis.data_sheet import BY_CLUTCH, LIVE, DataSheet, data_sheet, driven_radius, mean_torque
from simlaunch.curves.full_load import FullLoad, Plateau, plateau_of
from simlaunch.errors import plain
from simlaunch.results import Result
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.questions import QUESTIONS
from simlaunch.scenario.reading import from_mapping
from simlaunch.scenario.schema import field_at, quantity_at, typed
from simlaunch.scenario.surroundings import STANDARD_GRAVITY
from simlaunch.scenario.usual import Usual, converter, usual_values
from simlaunch.units.gate import spellings
from simlaunch.units.quantity import RPM, as_typed, read
from simlaunch.units.spelling import Dimension
from simlaunch.writing import write

GIVEN, PLATEAU = "as given", "plateau"
"""Names of the two curves."""

_WIDTH = 78
_HEAD = 10  # usual values named at the head of the file
_DIGITS = 3
_USUAL_MASS = 1500.0  # of the car whose lengths and areas the table of usual values holds [kg]
_WITHOUT_BOOST = "10 bar"  # mean effective pressure of an engine that is not boosted (from memory: 10 to 13.5 bar)
_MOST_PRESSURE = (13.5, 26.0)  # highest mean effective pressure without and with boost (from memory) [bar]
_DROP = 0.6  # launch speed that is left when a clutch has closed [-]
_RAMPS = (0.5, 6.0)  # times of a clutch ramp [s]
_FULL = 0.9  # share of peak torque from which on a launch finds the torque full
_LAUNCH = (3000.0 * RPM, 4000.0 * RPM)  # usual engine speeds of a start on a clutch
_AGAINST_BRAKES = 1800.0 * RPM  # usual engine speed of a start against a converter


@dataclass(frozen=True)
class UsualValue:
    """A usual value that stands in the file.

    Parameters
    ----------
    key : str
        Key path.
    value : str
        As typed.
    low, high : str
        Ends of the common range; empty where there is none.
    why, where, origin : str
        Its reason, where to find the value of the car at hand, and where the usual one comes from.
    """

    key: str
    value: str
    low: str
    high: str
    why: str
    where: str
    origin: str

    @property
    def label(self) -> str:
        """Key; of a converter's table, the one number that it is scaled by."""
        return f"stall speed of {self.key}" if self.key.endswith("capacity_factor") else self.key

    @property
    def span(self) -> str:
        """The common range in words."""
        return f"{self.low} {'to' if self.low[-1:].isdigit() or ' ' in self.low else 'or'} {self.high}"


@dataclass(frozen=True, repr=False)
class NewScenario(Result):
    """A scenario made from a data sheet.

    Parameters
    ----------
    sheet : DataSheet
        What the data sheet says.
    scenario : Scenario
        The scenario, as it is read back from the text.
    text : str
        TOML, with a comment on every key.
    usual : tuple of UsualValue
        Usual values that it leans on, the most important first.
    plateau : Plateau
        The second curve, and how it was cut.
    """

    study = "new"

    sheet: DataSheet
    scenario: Scenario
    text: str
    usual: tuple[UsualValue, ...]
    plateau: Plateau

    def save(self, path: str | os.PathLike[str], *, overwrite: bool = False) -> None:
        """Write the scenario to a file.

        Parameters
        ----------
        path : str or path-like
            Where to.
        overwrite : bool
            Whether a file that is there may be replaced.

        Raises
        ------
        InputError
            The file is there, or cannot be written.
        """
        write("FILE", Path(path), self.text, force=overwrite)


def replaced_first(usual: tuple[UsualValue, ...], driven: str) -> list[UsualValue]:
    """The ten usual values that matter most; of tyres that differ, those of the driven axle."""
    other = "tyres.rear." if driven == "front" else "tyres.front."
    return [each for each in usual if each.low and not each.key.startswith(other)][:_HEAD]


def new(
    *,
    mass: str,
    driven: str,
    tyres: str,
    displacement: str,
    torque: str,
    gearbox: str,
    power: str | None = None,
    losses: str | None = None,
    rear_tyres: str | None = None,
    tyre_kind: str | None = None,
    boost: str | None = None,
    redline: str | None = None,
    ratios: str | None = None,
    final_drive: str | None = None,
    centre: str | None = None,
    rear_axle: str | None = None,
    differential: str | None = None,
    name: str = "My car",
) -> NewScenario:
    """Make a scenario from what is on a data sheet; everything else takes a usual value.

    All values are text, as they are typed for the command; what is left out takes its usual value.

    Parameters
    ----------
    mass : str
        With driver and fuel, such as "1610 kg".
    driven : str
        "front", "rear" or "all".
    tyres : str
        Size, of the front axle where the axles differ, such as "245/40 R18".
    displacement : str
        Such as "1998 cc".
    torque : str
        Peak torque with its engine speed or speeds, such as "450 N m at 1800 to 4500 rpm"; or the name of a dyno sheet.
    gearbox : str
        Gears and kind, such as "6 speed manual", "7 dual clutch" or "eight speed planetary".
    power : str, optional
        Peak power with its engine speed or speeds, such as "250 kW at 6000 rpm"; needed without a dyno sheet.
    losses : str, optional
        Losses between the crank and the place of a dyno sheet, such as "12 %"; "0 %" for figures at the crank.
    rear_tyres : str, optional
        Size, if it differs.
    tyre_kind : str, optional
        "touring", "sport", "track" or "drag".
    boost : str, optional
        "turbocharger", "supercharger" or "none"; a turbocharger if left out.
    redline : str, optional
        Engine speed of the rev limiter.
    ratios : str, optional
        Gear ratios, first gear first, such as "3.63, 2.19, 1.54, 1.21, 1.00, 0.82".
    final_drive : str, optional
        Its ratio.
    centre : str, optional
        Of an all-wheel drive: "open", "locked", "rear by clutch" or "front by clutch"; open if left out.
    rear_axle : str, optional
        Of a rear drive: "independent" or "live"; independent if left out.
    differential : str, optional
        Of a live axle: "open", "limited slip" or "locked"; open if left out.
    name : str
        Name of the scenario.

    Returns
    -------
    NewScenario
        The text of the file, and the scenario that it holds; `save` writes it.

    Raises
    ------
    InputError
        An answer that does not do, or is needed; the message says what to write instead.
    """
    given = {
        "mass": mass,
        "driven": driven,
        "tyres": tyres,
        "displacement": displacement,
        "torque": torque,
        "gearbox": gearbox,
        "power": power,
        "losses": losses,
        "rear_tyres": rear_tyres,
        "tyre_kind": tyre_kind,
        "boost": boost,
        "redline": redline,
        "ratios": ratios,
        "final_drive": final_drive,
        "centre": centre,
        "rear_axle": rear_axle,
        "differential": differential,
    }
    return made_of(data_sheet(given), name)


def made_of(sheet: DataSheet, name: str) -> NewScenario:
    """Scenario of a data sheet.

    Parameters
    ----------
    sheet : DataSheet
        What the data sheet says.
    name : str
        Name of the scenario.

    Returns
    -------
    NewScenario
        The text of the file, and the scenario that it holds.

    Raises
    ------
    ScenarioError
        A name that does not do.
    """
    plateau = plateau_of(sheet.curve, sheet.redline.si)
    form = _Form(sheet, plateau)
    text = form.text(name)
    scenario = from_mapping(tomllib.loads(text), "the new scenario")
    return NewScenario(sheet, scenario, text, form.usual, plateau)


@dataclass(frozen=True)
class _Line:
    """One key of the file, with what is said about it above."""

    key: str
    value: object
    said: str


@dataclass(frozen=True)
class _Form:
    """The file in the making."""

    sheet: DataSheet
    plateau: Plateau

    # --- numbers of the car ---

    @property
    def _clutch(self) -> bool:
        return self.sheet.gearbox[1] != "planetary"

    @property
    def _axles(self) -> tuple[str, ...]:
        return ("both",) if len(set(self.sheet.tyres)) == 1 else ("front", "rear")

    @property
    def _peak(self) -> float:
        return self.sheet.curve.peak_torque.value

    def _grown(self, value: str, per: str, digits: int) -> str:
        """A usual value for this car, where it grows with a property of the car."""
        size = cbrt(self.sheet.mass.si / _USUAL_MASS)
        if per == "peak torque":
            return as_typed(float(value) * self._peak, Dimension.TORQUE, digits)
        if per == "quarter":
            return as_typed(self.sheet.mass.si * STANDARD_GRAVITY / 4.0, Dimension.FORCE, 2)
        factor = {"litre": 1e3 * self.sheet.displacement.si, "length": size, "area": size**2}[per]
        number, _, unit = value.partition(" ")
        return f"{_rounded(float(number) * factor, digits)} {unit}".strip()

    def _launch_speed(self) -> float:
        """Where the torque is full, within what a clutch takes."""
        if not self._clutch:
            return min(_AGAINST_BRAKES, 0.5 * self.sheet.redline.si)
        curve = self.sheet.curve
        full = float(curve.speed[np.argmax(curve.torque >= _FULL * self._peak)])
        return min(float(np.clip(full, *_LAUNCH)), 0.6 * self.sheet.redline.si)

    def _worked_out(self, key: str) -> str:
        """Usual values that follow from several lines of the data sheet."""
        if key == "launch.engine_speed":
            return f"{50 * round(self._launch_speed() / RPM / 50):d} rpm"
        if key == "engine.boost_lagged_share":
            return f"{100.0 * self._lagged:.0f} %"
        if key == "coupling.engagement_time":
            return f"{self._engagement():.2f} s"
        if key == "drive.second_axle.ratio":
            return self.sheet.final_drive.text
        return ""

    @property
    def _lagged(self) -> float:
        """Share of peak torque above what the displacement gives without boost."""
        if self.sheet.boost != "turbocharger":
            return 0.0
        return min(max(1.0 - mean_torque(_WITHOUT_BOOST, self.sheet.displacement) / self._peak, 0.42), 0.68)

    def _usual(self, key: str) -> float:
        """A usual value of this car [SI units]."""
        found, within = next(each for each in usual_values() if each.key == key), quantity_at(self._model_path(key))
        assert within is not None, "a key that holds one number"
        return within.parse(self._value(found, key).value).si

    def _engagement(self) -> float:
        """Time of a clutch ramp after which engine and gearbox meet at an engine speed that keeps the engine going.

        With a torque that rises linearly to the capacity, the input of the gearbox runs at c t^2 / 2 J and the engine
        at w + (T t - c t^2 / 2) / j, where c is the rise, J the car and j the engine as inertias at the clutch, T the
        engine torque, as far as boost is there, and w the launch speed.
        """
        sheet, launch, slowest = self.sheet, self._launch_speed(), 1.5 * self._usual("engine.idle")
        radius = driven_radius(sheet.tyres, sheet.driven)
        car = sheet.mass.si * (radius / (sheet.ratios[0].si * sheet.final_drive.si)) ** 2
        engine = self._usual("engine.inertia")
        there = 1.0 - self._lagged * (1.0 - self._usual("launch.boost")) if self._lagged else 1.0
        torque, capacity = there * float(sheet.curve.at(launch)), self._usual("coupling.capacity")
        wanted = min(max(_DROP * launch, slowest), 0.95 * launch)

        def met(ramp: float) -> float:
            """Engine speed at which both sides of the clutch meet."""
            half = capacity / (2.0 * ramp)
            bend, rise = half * (1.0 / car + 1.0 / engine), torque / engine
            time = (rise + sqrt(rise * rise + 4.0 * bend * launch)) / (2.0 * bend)
            return half * time * time / car

        ramps = np.arange(_RAMPS[0], _RAMPS[1] + 1e-9, 0.05)
        return float(next((ramp for ramp in ramps if met(ramp) >= wanted), ramps[-1]))

    def _wanted(self, key: str) -> bool:
        """Whether this car has such a key."""
        boosted = self.sheet.boost == "turbocharger"
        if "boost" in key:
            return boosted
        if key.startswith("drive."):
            return self._of_drive(key)
        if key.startswith("gearbox.shift."):
            return field_at(f"gearbox.shift.{_SHIFTS[self.sheet.gearbox[1]]}.{key.rpartition('.')[2]}") is not None
        if key.startswith("coupling."):
            return field_at(f"coupling.{self._coupling}.{key.partition('.')[2]}") is not None
        return True

    def _of_drive(self, key: str) -> bool:
        """Whether this drive has such a key."""
        sheet = self.sheet
        if key == "drive.front_share":
            return sheet.driven == "all" and sheet.centre == "open"
        return sheet.centre in BY_CLUTCH if key.startswith("drive.second_axle.") else sheet.rear_axle == LIVE

    @property
    def _coupling(self) -> str:
        return "friction clutch" if self._clutch else "torque converter"

    # --- usual values ---

    @property
    def usual(self) -> tuple[UsualValue, ...]:
        """Usual values of this car, the most important first."""
        found = (each for each in usual_values() if self._wanted(each.key))
        return tuple(value for each in found for value in self._of_axles(each))

    def _of_axles(self, usual: Usual) -> Iterator[UsualValue]:
        if not usual.key.startswith("tyres."):
            yield self._value(usual, usual.key)
            return
        for axle in self._axles:
            yield self._value(usual, f"tyres.{axle}.{usual.key.partition('.')[2]}")

    def _value(self, usual: Usual, key: str) -> UsualValue:
        sheet, per = self.sheet, usual.says("per")
        properties = {
            "tyre_kind": sheet.tyre_kind, "driven": sheet.driven, "gearbox_kind": sheet.gearbox[1],
            "centre": sheet.centre, "differential": sheet.differential,
        }  # fmt: skip
        value, low, high = (usual.of(what, properties) for what in ("usual", "low", "high"))
        if per and per != "converter":
            ends = ("", "") if per == "quarter" else tuple(self._grown(each, per, _DIGITS - 1) for each in (low, high))
            value, (low, high) = self._grown(value, per, _DIGITS), ends
        value = value or self._worked_out(key)
        default = field_at(self._model_path(key))
        extra = default.json_schema_extra if default is not None else None
        if not value and default is not None:
            value = str(default.default)
            common = extra.get("common") if isinstance(extra, dict) else None
            low, high = map(str, common) if isinstance(common, list) else ("", "")
        if usual.entry.get("relative"):
            number, _, unit = value.partition(" ")
            low, high = (f"{_rounded(float(number) * float(end), _DIGITS - 1)} {unit}" for end in (low, high))
        return UsualValue(key, value, low, high, usual.says("why"), usual.says("where"), usual.says("origin"))

    def _model_path(self, key: str) -> str:
        """Path in the model, which names kinds."""
        if key.startswith("gearbox.shift."):
            return f"gearbox.shift.{_SHIFTS[self.sheet.gearbox[1]]}.{key.rpartition('.')[2]}"
        if key.startswith("coupling."):
            return f"coupling.{self._coupling}.{key.partition('.')[2]}"
        return key

    # --- lines ---

    def _said(self, key: str, rest: str) -> str:
        """Meaning of a key, the units that it takes, and the rest."""
        field = field_at(self._model_path(key))
        within = quantity_at(key) or quantity_at(self._model_path(key))
        units = [unit for unit in spellings(*within.dimensions) if unit][:4] if within else []
        unit = f" [{', '.join(units)}]" if units else " [-]" if within else ""
        meaning = (field.description or "").split(";")[0].rstrip(".") if field is not None else ""
        return f"{meaning}{unit}\n{rest}"

    def _given(self, key: str, value: object, question: str) -> _Line:
        asked = next(each for each in QUESTIONS if each.name == question)
        if question in self.sheet.usual and question != "rear_tyres":
            return _Line(key, value, self._said(key, f"Usual value: {asked.usual}.\nFind it: {asked.where}."))
        return _Line(key, value, self._said(key, f"As given.\nFind it: {asked.where}."))

    def _lines(self) -> Iterator[_Line]:
        sheet, usual = self.sheet, {each.key: each for each in self.usual}
        _, kind = sheet.gearbox
        yield self._given("body.mass", sheet.mass.text, "mass")
        yield from self._from(usual, "body.")
        for axle in self._axles:
            rear = axle == "rear"
            size = sheet.tyres[1 if rear else 0]
            yield self._given(f"tyres.{axle}.size", size, "rear_tyres" if rear else "tyres")
            yield from self._from(usual, f"tyres.{axle}.")
        yield self._given("drive.driven", sheet.driven, "driven")
        if sheet.driven == "all":
            yield self._given("drive.centre", "clutch" if sheet.centre in BY_CLUTCH else sheet.centre, "centre")
        yield from self._from(usual, "drive.", but="drive.second_axle.")
        if sheet.centre in BY_CLUTCH:
            yield self._given("drive.second_axle.axle", BY_CLUTCH[sheet.centre], "centre")
            yield from self._from(usual, "drive.second_axle.")
        yield self._given("engine.displacement", sheet.displacement.text, "displacement")
        yield self._given("engine.rev_limit", sheet.redline.text, "redline")
        yield from self._from(usual, "engine.")
        yield _Line("coupling.kind", self._coupling, "Clutch or torque converter\nFollows from the kind of gearbox.")
        if not self._clutch:
            yield from self._converter(usual)
        yield from self._from(usual, "coupling.", but="coupling.capacity_factor")
        yield self._given("gearbox.ratios", [each.text for each in sheet.ratios], "ratios")
        yield self._given("gearbox.final_drive", sheet.final_drive.text, "final_drive")
        yield from self._from(usual, "gearbox.", but="gearbox.shift.")
        yield _Line(
            "gearbox.shift.kind",
            _SHIFTS[kind],
            "What happens to the torque in a shift\nFollows from the kind of gearbox.",
        )
        yield from self._from(usual, "gearbox.shift.")
        yield from self._from(usual, "launch.")

    def _from(self, usual: Mapping[str, UsualValue], start: str, but: str = "\0") -> Iterator[_Line]:
        for key, each in usual.items():
            if key.startswith(start) and not key.startswith(but):
                as_in_front = start == "tyres.rear."
                yield _Line(key, each.value, "As in front." if as_in_front else self._said(key, _reason(each)))

    def _converter(self, usual: Mapping[str, UsualValue]) -> Iterator[_Line]:
        """Table of the converter, scaled to its stall speed with full-load torque."""
        shape, stalls = converter(), usual["coupling.capacity_factor"]
        stall = read(stalls.value, Dimension.ROTATIONAL_SPEED).si
        torque = float(self.sheet.curve.at(stall))
        factors = [float(each) * stall / RPM / torque**0.5 for each in shape["relative_capacity_factor"]]
        yield _Line("coupling.speed_ratio", shape["speed_ratio"], self._said("coupling.speed_ratio", "Usual value."))
        texts = [f"{_rounded(each, 4)} rpm/sqrt(N m)" for each in factors]
        yield _Line("coupling.capacity_factor", texts, self._said("coupling.capacity_factor", _reason(stalls)))
        yield _Line("coupling.torque_ratio", shape["torque_ratio"], self._said("coupling.torque_ratio", "Usual value."))

    def text(self, name: str) -> str:
        """The whole file."""
        tables = groupby(self._lines(), key=lambda line: line.key.rpartition(".")[0])
        parts = [self._top(name), *(_table(f"[{table}]", lines) for table, lines in tables)]
        return "\n".join([*parts, *self._curves(), self._limits(), *self._uncertain()])

    def _top(self, name: str) -> str:
        ranked = replaced_first(self.usual, self.sheet.driven)
        lines = [
            *_comment(
                f"{plain(name)}: a scenario made by simlaunch new. It is a form: above each key stands what it is, "
                "which units it takes and where to find it. Correct what is known better; simlaunch check lists "
                "faults, and the defaults of keys that do not stand here by how much they move the result."
            ),
            "#",
            "# Usual values to replace first, the most important first:",
            *(f"# {n:2d}. {each.label} = {typed(each.value)}, commonly {each.span}"
              for n, each in enumerate(ranked, start=1)),
            "",
            "format = 1",
            f"name = {_quoted(name)}",
            "",
            "[run]",
            *_comment("Where the run ends: a quarter of a mile. A speed may be added, such as \"200 km/h\"."),
            'until = ["402.336 m"]',
            "",
        ]  # fmt: skip
        return "\n".join(lines)

    def _curves(self) -> Iterator[str]:
        sheet, power = self.sheet, self.sheet.curve.peak_power
        if sheet.sheet is None:
            how = (
                "Full-load torque through peak torque and peak power as given: a parabola up to peak torque, a cubic "
                "in power from there to peak power, and 1 + x - x^2 above it (x: engine speed over that of peak "
                "power; from memory). A dyno sheet is better: simlaunch curve, or --torque SHEET.csv."
            )
            conditions = {}
        else:
            account = sheet.sheet.account
            how = f"Full-load torque of the dyno sheet {plain(Path(account.sources[0]).name)}."
            stated = {"correction": account.correction, "measured_at": account.measured_at}
            conditions = {key: str(value) for key, value in stated.items() if value is not None}
        yield _curve(GIVEN, how, sheet.curve, conditions)
        plateau = self.plateau
        kept = (
            f"and its peak power of {power.value / 1e3:.0f} kW kept"
            if plateau.keeps_power
            else "and with it its power: the curve is flat up to the rev limiter"
        )
        how = f'What if the peak were cut? "{GIVEN}" with its peak torque cut to {plateau.height:.0f} N m, {kept}.'
        yield _curve(PLATEAU, how, plateau.curve, conditions)

    def _limits(self) -> str:
        """What simlaunch plateau may ask of the engine: no more power than it has, and a usual mean pressure."""
        power, displacement = self.sheet.curve.peak_power.value, self.sheet.displacement
        has = self._peak / mean_torque("1 bar", displacement)
        usual = _MOST_PRESSURE[self.sheet.boost != "none"]
        lines = (
            _Line("limits.power", as_typed(power, Dimension.POWER, 4), self._said(
                "limits.power", "Peak power as given: the engine has no more air.\nFind it: airflow in a log."
            )),
            _Line("limits.mean_pressure", f"{max(usual, has):.1f} bar", self._said(
                "limits.mean_pressure",
                f"Usual value: {usual:g} bar, and no less than the curve as given has (from memory: 10 to 13.5 bar "
                "without boost, 18 to 28 bar with it).\nFind it: the limits of the engine builder.",
            )),
        )  # fmt: skip
        return _table("[limits]", iter(lines))

    def _uncertain(self) -> Iterator[str]:
        head = _comment(
            "What is not known for sure: the usual values that decide, over their common ranges. compare and odds "
            "take them into account. Narrow a range, or delete its entry, once the value is known."
        )
        yield "\n".join(head)
        keys = set()
        for usual in usual_values():
            key = usual.says("uncertain")
            if key and self._wanted(usual.key) and key not in keys:
                keys.add(key)
                for value in self._of_axles(usual):
                    own = key.startswith("tyres.")
                    if value.key.partition(".rear.")[1] and not (own and self.sheet.driven != "front"):
                        continue
                    if own and ".front." in value.key and self.sheet.driven == "rear":
                        continue
                    yield _table("[[uncertain]]", _spread(value.key if own else key, value))


_GLUE = "\x1f"  # stands for a blank at which a line must not end
_UNIT = re.compile(r"(?<=\d) (?=[A-Za-z%])|(?<=\bN) (?=m\b)|(?<=\bkg) (?=m\^)")
_SHIFTS = {"manual": "torque gap", "dual clutch": "torque hand-over", "planetary": "torque dip"}


def _spread(key: str, value: UsualValue) -> Iterator[_Line]:
    """An uncertain value over its common range; friction as a factor, so that both axles share it."""
    low, high = value.low, value.high
    lines: list[tuple[str, object]] = [("key", key), ("kind", "triangular")]
    if key == "road.friction_factor":
        own = float(value.value)
        low, high = (f"{float(end) / own:.3f}" for end in (low, high))
        lines.append(("middle", "1"))
    lines += [("low", low), ("high", high), ("origin", f"Usual range ({value.origin}).")]
    for name, each in lines:
        yield _Line(f"uncertain.{name}", each, "")


def _reason(each: UsualValue) -> str:
    span = f", commonly {each.span}" if each.low else ""
    return f"Usual value{span}: {each.why} ({each.origin}).\nFind it: {each.where}."


def _rounded(value: float, digits: int = _DIGITS) -> str:
    return np.format_float_positional(value, precision=digits, fractional=False, trim="-", unique=False)


def _quoted(text: str) -> str:
    """Text as a TOML string."""
    escaped = "".join(f"\\u{ord(c):04x}" if c in '"\\' or ord(c) < 32 or ord(c) == 127 else c for c in text)
    return f'"{escaped}"'


def _comment(text: str) -> list[str]:
    """Comment lines: what a key is, and indented below it what is to be said about its value."""
    lines = []
    for n, part in enumerate(text.split("\n")):
        start = "#   " if n else "# "
        glued = _UNIT.sub(_GLUE, part)
        wrapped = textwrap.wrap(glued, _WIDTH, initial_indent=start, subsequent_indent=start, break_on_hyphens=False)
        lines += [line.replace(_GLUE, " ") for line in wrapped]
    return lines


def _value(value: object) -> str:
    if isinstance(value, list):
        return f"[{', '.join(map(_value, value))}]"
    return _quoted(str(value))


def _long(name: str, value: object) -> str:
    """A key and its value; a list that is too long for a line stands on several."""
    line = f"{name} = {_value(value)}"
    if len(line) <= _WIDTH + 2 or not isinstance(value, list):
        return line
    rows = textwrap.wrap(", ".join(_value(each).replace(" ", _GLUE) for each in value), _WIDTH - 4)
    body = "\n".join(f"    {row}".replace(_GLUE, " ").rstrip() for row in rows)
    return f"{name} = [\n{body},\n]"


def _table(heading: str, lines: Iterator[_Line]) -> str:
    """A table with its heading, each key below its comment."""
    written = [heading]
    for line in lines:
        written += _comment(line.said) if line.said else []
        written.append(_long(line.key.rpartition(".")[2], line.value))
    return "\n".join([*written, ""])


def _curve(name: str, how: str, curve: FullLoad, conditions: Mapping[str, str]) -> str:
    points: list[object] = [
        [f"{speed / RPM:.6g} rpm", f"{torque:.1f} N m"] for speed, torque in zip(curve.speed, curve.torque, strict=True)
    ]
    lines = [
        "[[curves]]",
        *_comment(how),
        f"name = {_quoted(name)}",
        *(f"{key} = {_quoted(value)}" for key, value in conditions.items()),
        _long("points", points),
        "",
    ]
    return "\n".join(lines)
