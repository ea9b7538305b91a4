"""What follows from a shaped curve: quick numbers first, exact ones after them, then where the gap comes from and why.

Numbers of both kinds come from the same launches, measured by the same code; only the error that is allowed per step
differs. The verdict and its spans are those of `compare`.
"""

from __future__ import annotations

import json
from collections import OrderedDict
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass
from functools import partial
from math import isnan, nan
from pathlib import Path
from threading import Lock
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from simlaunch.analysis.log_beside import beside, calculated
from simlaunch.analysis.parts import peak_torque
from simlaunch.analysis.usable import usable
from simlaunch.comparing.compare import Comparison, Pair, compare, gap_along, peak_power
from simlaunch.errors import UsageError
from simlaunch.launching.goals import WORTH_NAMING, goal, target_label
from simlaunch.launching.launches import as_many, measure_all
from simlaunch.launching.ready import runnable
from simlaunch.launching.road_tests import quickest
from simlaunch.metrics.full_load import full_load, limited_gears
from simlaunch.metrics.many import columns
from simlaunch.metrics.marks import Target
from simlaunch.output import log_beside as beside_words
from simlaunch.output.clock import FROM_FOOT
from simlaunch.output.compare import bad_runs
from simlaunch.output.layout import Row, Table, clean, short
from simlaunch.output.parts import one_shaft
from simlaunch.output.words import PEDAL_WORDS, Numbers, caution, sentences
from simlaunch.physics.table import values_at
from simlaunch.plotting.look import LineStyle, curve_style, gear_style
from simlaunch.plotting.why import span_words
from simlaunch.quantities import reported
from simlaunch.ratings.limits import PART_AT, demand, limits_of
from simlaunch.record import Car, Pedal
from simlaunch.scenario.model import Scenario
from simlaunch.shaping.states import Start, State
from simlaunch.simulation.batch import on_threads
from simlaunch.simulation.run import launch
from simlaunch.simulation.trace import Trace
from simlaunch.units.quantity import display_unit
from simlaunch.units.spelling import Dimension

Array = NDArray[np.float64]
Object = dict[str, Any]
Found = TypeVar("Found")

QUICK = 1e-4
"""Relative error allowed per step of a quick launch, as in sweeps [-]."""

_KEPT = 24  # launches and settings that are remembered
_LINE = 161  # places at which a curve is drawn
_LONGEST_HEAD = 12  # of a column
_OF_A_RUN = 160  # places at which a run over time is drawn
_ALONG = 60  # places at which the gap is drawn


@dataclass(frozen=True)
class CurveNumbers:
    """What launches of one curve measure.

    Parameters
    ----------
    car : Car
        With full pedal, complete.
    full, held : dict of str to float
        Columns of the launch to the goal with either pedal, SI units.
    times : dict of str to float
        Time of each chosen test by its name, full pedal; nan where it was not reached [s].
    held_time : float
        Time to the goal with held slip [s].
    trace : Trace
        Full pedal.
    """

    car: Car
    full: dict[str, float]
    held: dict[str, float]
    times: dict[str, float]
    held_time: float
    trace: Trace


def _time_column(target: Target) -> str:
    return reported("mark")["time"].label.format(target=target.label)


def _time_of(car: Car, target: Target, tolerance: float | None) -> float:
    """Time of a test that the launch to the goal does not hold; nan where the gearbox has no such gear [s]."""
    try:
        return quickest([car], target, tolerance, 1)[0][0]
    except UsageError:
        return nan


def _columns_of(car: Car, targets: tuple[Target, ...], tolerance: float | None) -> dict[str, float]:
    """Columns of one launch by their names, SI units."""
    names = [each.name for each in columns(targets)]
    values = measure_all(as_many([car]), targets, tolerance, 1).values[0]
    return dict(zip(names, map(float, values), strict=True))


def curve_numbers(scenario: Scenario, curve: str, tests: Sequence[Target], tolerance: float | None) -> CurveNumbers:
    """Launch one curve with both pedals, and in further tests with full pedal.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    curve : str
        Name of one of its curves.
    tests : sequence of Target
        From standstill or from a roll.
    tolerance : float or None
        Relative error allowed per step; None: as usual [-].

    Returns
    -------
    CurveNumbers
        What was measured.
    """
    aimed = goal(scenario)
    cars = [runnable(scenario, curve, pedal) for pedal in Pedal]
    standing = tuple(dict.fromkeys((aimed, *(test for test in tests if test.roll is None))))
    rolling = [test for test in tests if test.roll is not None]
    work: list[Callable[[], Any]] = [
        *(partial(_columns_of, car, standing, tolerance) for car in cars),
        lambda: launch(cars[0].copy(), tolerance=tolerance).trace,
        *(partial(_time_of, cars[0], test, tolerance) for test in rolling),
    ]
    full, held, trace, *rolls = on_threads(lambda piece: work[piece.start](), len(work), most=1)
    times = {target_label(test): full[_time_column(test)] for test in standing}
    times |= {target_label(test): time for test, time in zip(rolling, rolls, strict=True)}
    for test in standing:
        if isnan(times[target_label(test)]):  # beyond the goal
            times[target_label(test)] = _time_of(cars[0], test, tolerance)
    return CurveNumbers(cars[0], full, held, times, held[_time_column(aimed)], trace)


# --- as the page shows it ---


def _row(label: str, one: float, other: float, dimension: Dimension, numbers: Numbers) -> Row:
    return Row(label, numbers.unit(dimension), numbers.beside(one, other, dimension))


def _times(one: CurveNumbers, other: CurveNumbers, aimed: str, numbers: Numbers, heads: tuple[str, ...]) -> Table:
    rows = [
        _row(f"{name}, {PEDAL_WORDS[Pedal.FULL]}" if name == aimed else name, time, other.times[name], Dimension.TIME,
             numbers)
        for name, time in one.times.items()
    ]  # fmt: skip
    held = _row(f"{aimed}, {PEDAL_WORDS[Pedal.HELD_SLIP]}", one.held_time, other.held_time, Dimension.TIME, numbers)
    return Table("Times", heads, (rows[0], held, *rows[1:]))


def _spin(one: CurveNumbers, other: CurveNumbers, numbers: Numbers, heads: tuple[str, ...]) -> Table:
    """Wheelspin time with either pedal."""
    spin = reported("grip")["wheelspin_time"]
    rows = [
        _row(f"{spin.label}, {words}", getattr(one, name)[spin.label], getattr(other, name)[spin.label],
             spin.dimension, numbers)
        for name, words in (("full", PEDAL_WORDS[Pedal.FULL]), ("held", PEDAL_WORDS[Pedal.HELD_SLIP]))
    ]  # fmt: skip
    return Table("Wheelspin", heads, tuple(rows))


def _parts(scenario: Scenario, pair: Sequence[CurveNumbers], numbers: Numbers, heads: tuple[str, ...]) -> Object | None:
    """Rated parts, full pedal: the share of what is allowed, and whether it is too much."""
    labels = reported("part")
    rows, over = [], []
    for rated in scenario.parts or ():
        part = PART_AT[rated.place].value
        peak, steady = (labels[field].label.format(part=part) for field in ("torque", "steady"))
        asked = [demand(rated, each.full[peak], each.full[steady]) for each in pair]
        rows.append(_row(clean(rated.name), asked[0].share, asked[1].share, Dimension.SHARE, numbers))
        over.append([each.too_much for each in asked])
    if not rows:
        return None
    title = "Torque of parts, of what is allowed, full pedal"
    note = one_shaft(scenario, {rated.place for rated in scenario.parts or ()}, numbers.system)
    return {**table_object(Table(title, heads, tuple(rows))), "over": over, "note": note}


def _peaks(one: CurveNumbers, other: CurveNumbers, numbers: Numbers, heads: tuple[str, ...]) -> Table:
    """Peaks of the curves at full load."""
    torque = _row("peak torque", peak_torque(one.car), peak_torque(other.car), Dimension.TORQUE, numbers)
    power = _row("peak power", peak_power(one.car), peak_power(other.car), Dimension.POWER, numbers)
    return Table("Curves at full load", heads, (torque, power))


def _shifts(one: CurveNumbers, other: CurveNumbers, numbers: Numbers, heads: tuple[str, ...]) -> Table:
    """Engine speed at which each gear is left at full load without wheelspin."""
    count = int(one.car.gearbox.count) - 1
    rows = tuple(
        _row(f"{gear + 1} to {gear + 2}", float(one.car.gearbox.shift_speed[gear]),
             float(other.car.gearbox.shift_speed[gear]), Dimension.ROTATIONAL_SPEED, numbers)
        for gear in range(count)
    )  # fmt: skip
    return Table("Engine speeds of the shifts", heads, rows)


def table_object(table: Table) -> Object:
    """A table as JSON."""
    rows = [{"label": row.label, "unit": row.unit, "cells": list(row.cells)} for row in table.rows]
    return {"title": table.title, "heads": list(table.heads), "rows": rows}


def _style(style: LineStyle) -> Object:
    return {"colour": style.colour, "dash": [round(style.width * each, 2) for each in style.dash]}


class Answers:
    """Answers to states of one page; what does not change from state to state is remembered.

    Parameters
    ----------
    start : Start
        What the page begins with.
    """

    def __init__(self, start: Start) -> None:
        self.start = start
        self.numbers = Numbers(start.system)
        self._kept: OrderedDict[Hashable, Any] = OrderedDict()
        self._lock = Lock()

    def _remembered(self, key: Hashable, make: Callable[[], Found]) -> Found:
        with self._lock:
            if key in self._kept:
                self._kept.move_to_end(key)
                found: Found = self._kept[key]
                return found
        made = make()
        with self._lock:
            self._kept[key] = made
            while len(self._kept) > _KEPT:
                self._kept.popitem(last=False)
        return made

    # --- what the page begins with ---

    def begin(self) -> Object:
        """All that the page has to know before it asks."""
        start, names = self.start, self.start.scenario.curve_names
        points, of = start.points_of(start.curve)
        rpm, torque = start.units
        limit = round(float(rpm.of(start.scenario.engine.rev_limit.si)), 0)
        return {
            "car": clean(start.scenario.name),
            "name": start.name,
            "from": clean(start.curve.name),
            "points": points,
            "points_of_curve": of,
            "against": start.against,
            "curves": [
                {"name": name, "shown": clean(name), "style": _style(curve_style(k))} for k, name in enumerate(names)
            ],
            "style": _style(curve_style(len(names))),
            "units": {"speed": rpm.label, "torque": torque.label, "time": self.numbers.unit(Dimension.TIME),
                      "distance": self.numbers.unit(Dimension.LENGTH)},
            "rev_limit": limit,
            "sliders": [
                {name: getattr(each, name) for name in ("key", "label", "unit", "low", "high", "step", "value")}
                for each in start.sliders
            ],
            "choices": [{"kind": str(kind), "names": list(given)} for kind, given in start.choices.items()],
            "tests": list(start.tests),
            "shown_tests": list(start.shown_tests),
            "caps": self._caps(),
            "goal": target_label(goal(start.scenario)),
            "uncertain": bool(start.scenario.uncertain),
            "logged": len(start.logs),
            "speed_unit": display_unit(Dimension.SPEED, start.system).label,
            "stem": start.scenario.file.stem if start.scenario.file else "",
            "caution": caution(start.scenario),
        }  # fmt: skip

    def _speeds(self, scenario: Scenario) -> Array:
        first = min(curve.points[0][0].si for curve in scenario.curves)
        return np.linspace(first, scenario.engine.rev_limit.si, _LINE)

    def _caps(self) -> list[Object]:
        """Limits of the scenario, as lines over engine speed."""
        scenario = self.start.scenario
        if scenario.limits is None:
            return []
        speeds = self._speeds(scenario)
        caps = limits_of(scenario, {}).caps(speeds)
        return [{"name": name, "line": self.start.shown(speeds, cap)} for name, cap in caps.items()]

    # --- numbers ---

    def _setting(self, state: State) -> Scenario:
        return self._remembered(("setting", state.setting), lambda: self.start.setting(state))

    def _scenario(self, state: State) -> Scenario:
        return self.start.scenario_of(state, self._setting(state))

    def _tests(self, state: State) -> list[Target]:
        known, aimed = self.start.tests, goal(self.start.scenario)
        unknown = [name for name in state.tests if name not in known]
        if unknown:
            raise UsageError(f"no test is named {clean(unknown[0])!r}; choose one of {', '.join(known)}")
        return [aimed, *(known[name] for name in state.tests if known[name] != aimed)]

    def _pair(self, state: State, scenario: Scenario, tolerance: float | None) -> tuple[CurveNumbers, CurveNumbers]:
        """Numbers of the curve that is the reference, which are remembered, and of the shaped one."""
        tests = self._tests(state)
        first = self._remembered(
            ("numbers", state.setting, state.against, state.tests, tolerance),
            lambda: curve_numbers(scenario, state.against, tests, tolerance),
        )
        second = self._remembered(
            ("numbers", state.setting, state.points, state.tests, tolerance),
            lambda: curve_numbers(scenario, self.start.name, tests, tolerance),
        )
        return first, second

    def quick(self, state: State) -> Object:
        """Numbers from launches that are a little less exact, for a curve that is still being moved."""
        return self._answer(state, QUICK)

    def exact(self, state: State) -> Object:
        """The same numbers from launches as exact as usual."""
        return self._answer(state, None)

    def _answer(self, state: State, tolerance: float | None) -> Object:
        scenario = self._scenario(state)
        one, other = self._pair(state, scenario, tolerance)
        heads = (short(state.against, _LONGEST_HEAD), self.start.name, "difference")
        aimed = target_label(goal(scenario))
        parts = _parts(scenario, (one, other), self.numbers, heads)
        tables = [
            table_object(_times(one, other, aimed, self.numbers, heads)),
            table_object(_peaks(one, other, self.numbers, heads)),
            table_object(_spin(one, other, self.numbers, heads)),
            *([parts] if parts else []),
            table_object(_shifts(one, other, self.numbers, heads)),
        ]
        speeds = np.linspace(float(other.car.engine.torque.knot[0]), scenario.curves[-1].points[-1][0].si, _LINE)
        difference = other.times[aimed] - one.times[aimed]
        return {
            **self._beside_logs(state, (one, other)),
            "exact": tolerance is None,
            "caution": caution(scenario),
            "line": self.start.shown(speeds, values_at(other.car.engine.torque, speeds)),
            "limited": [
                {"gear": gear, "line": self.start.shown(speeds, full_load(other.car, gear, speeds))}
                for gear in limited_gears(other.car)
            ],
            "tables": tables,
            "difference": None if isnan(difference) else difference,
            "text": self.numbers.gap_words(difference, "slower", "quicker") if not isnan(difference) else "not reached",
            "along": self._along(one, other),
            "background": self._background(state),
        }

    def _beside_logs(self, state: State, pair: tuple[CurveNumbers, CurveNumbers]) -> Object:
        """The logs beside both launches; nothing where there are none."""
        start = self.start
        if not start.logs:
            return {}
        runs = {state.against: pair[0].trace, start.name: pair[1].trace}
        found = beside(start.logs, calculated(runs), ())
        speed = display_unit(Dimension.SPEED, start.system)

        def line(trace: Trace) -> list[list[float]]:
            kept = found.aligned(trace)
            places = np.unique(np.linspace(0, kept.time.size - 1, _OF_A_RUN).astype(int))
            return [[round(float(kept.time[k]), 3), round(float(speed.of(kept["speed"][k])), 2)] for k in places]

        return {
            "logged": {
                "text": " ".join(
                    said
                    for said in (
                        beside_words.sentence(found, self.numbers),
                        beside_words.zero(found, self.numbers),
                        beside_words.conditions(found),
                        beside_words.wheels(found),
                        FROM_FOOT,
                    )
                    if said
                ),
                "tables": [
                    table_object(table)
                    for table in (
                        beside_words.table(found, self.numbers),
                        beside_words.wheels_table(found, self.numbers),
                    )
                    if table
                ],
                "logs": [{"name": clean(Path(log.source).name), "line": line(log.trace)} for log in found.logs],
                "runs": [{"name": name, "line": line(trace)} for name, trace in runs.items()],
            }
        }

    def goal_times(self, state: State) -> tuple[float, float]:
        """Times to the goal of the curve that is set against and of the shaped one, full pedal [s]."""
        scenario = self._scenario(state)
        aimed = target_label(goal(scenario))
        one, other = self._pair(state, scenario, None)
        return one.times[aimed], other.times[aimed]

    def _along(self, one: CurveNumbers, other: CurveNumbers) -> list[list[float]]:
        found = gap_along(one.trace, other.trace)
        places = np.linspace(0, found.distance.size - 1, _ALONG).astype(int)
        unit = display_unit(Dimension.LENGTH, self.start.system)
        return [[round(float(unit.of(found.distance[k])), 1), round(float(found.gap[k]), 4)] for k in places]

    def _background(self, state: State) -> Object:
        """Curves of the scenario, and what the tyres can use in each gear with what is set."""

        def made() -> Object:
            found = usable(self._setting(state))
            curves = {name: self.start.shown(found.engine_speed, torque) for name, torque in found.curves.items()}
            gears = [
                {
                    "gear": each.gear,
                    "line": self.start.shown(found.engine_speed, each.usable),
                    "style": _style(gear_style(each.gear)),
                }
                for each in found.ceilings
            ]
            limited = [
                {"name": name, "gear": gear, "line": self.start.shown(found.engine_speed, torque)}
                for name, by_gear in found.by_gear.items()
                for gear, torque in by_gear.items()
            ]
            return {"key": json.dumps(state.setting), "curves": curves, "limited": limited, "ceilings": gears}

        return self._remembered(("background", state.setting), made)

    # --- why ---

    def compared(self, state: State) -> Comparison:
        """The shaped curve against the one that is chosen, as `compare` does it, without drawn cases."""
        scenario = self._scenario(state)
        return compare(scenario, (state.against, self.start.name), cases=0, units=self.start.system)

    def why(self, state: State) -> Object:
        """Verdict, and the spans of engine speed by whom they help."""
        found = self.compared(state)
        pair = found.pairs[0]
        wear = self._wear(found)
        return {
            "verdict": [*bad_runs(found), *sentences(pair.verdict, self.start.system)],
            "spans": self._spans(pair),
            "tables": [table_object(wear)] if wear.rows else [],
        }

    def _wear(self, found: Comparison) -> Table:
        """How fast each curve wears each part, against the milder of the two, full pedal."""
        rows = []
        for k, part in enumerate(found.loads.loads[0].parts):
            ratios = [each.ratio for each in found.loads.relative_wear(k)]
            if not any(map(isnan, ratios)):
                rows.append(Row(clean(part.name), "", tuple(self.numbers.times(ratio) for ratio in ratios)))
        heads = (short(found.pairs[0].first.name, _LONGEST_HEAD), self.start.name)
        return Table("Wear of parts, times that of the milder curve, full pedal", heads, tuple(rows))

    def _spans(self, pair: Pair) -> list[Object]:
        rpm = self.start.units[0]
        return [
            {
                "from": round(float(rpm.of(span.start)), 0),
                "to": round(float(rpm.of(span.end)), 0),
                "name": span.name.value,
                "words": span_words(span),
                "helps": None
                if abs(span.full.share) < WORTH_NAMING
                else "shaped"
                if span.full.share < 0.0
                else "other",
            }
            for span in (pair.why.spans if pair.why else ())
        ]
