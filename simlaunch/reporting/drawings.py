"""The figures of a report: each in two widths, with its finding, its alternative text and its numbers."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from simlaunch.analysis.log_beside import LogsBeside
from simlaunch.analysis.usable import UsableTorque
from simlaunch.launching.goals import target_label
from simlaunch.output import logs as logs_words
from simlaunch.output import odds as odds_words
from simlaunch.output import parts as parts_words
from simlaunch.output import worth as worth_words
from simlaunch.output.compare import curves_table, why_tables
from simlaunch.output.layout import Row, Table
from simlaunch.output.sweep import case_text, rounded_text, value_text
from simlaunch.output.sweep import tables as sweep_tables
from simlaunch.output.words import Numbers
from simlaunch.plotting.compare import driven_slip
from simlaunch.plotting.log_beside import beside_figure
from simlaunch.plotting.logs import logs_figure
from simlaunch.plotting.look import curve_style, units_of
from simlaunch.plotting.odds import odds_figure
from simlaunch.plotting.parts import parts_figure
from simlaunch.plotting.run import gap_over_time, shown_until, unfolding_figure
from simlaunch.plotting.save import drawn_for_page
from simlaunch.plotting.usable import plateau_choice_figure, usable_figure
from simlaunch.plotting.why import why_figure
from simlaunch.plotting.worth import worth_figure
from simlaunch.reporting import what_if
from simlaunch.reporting.gather import Material, Swept
from simlaunch.reporting.inline_svg import Inline, inline
from simlaunch.reporting.typeset import named
from simlaunch.sweeping.ranking import front, measure_named
from simlaunch.sweeping.store import Reader
from simlaunch.units.spelling import Dimension, System

Array = NDArray[np.float64]

WIDE, NARROW = 7.1, 3.42
"""Widths of figures: beside text of comfortable length, and on a telephone [in]."""

_EVERY = 0.5  # rows of the table of a run lie so far apart [s]
_SPEEDS = 5  # of the engine speeds of usable torque, one in so many is listed
_DECILES = np.arange(0.1, 1.0, 0.1)
_AGAINST = "steady pull gearbox input"


@dataclass(frozen=True)
class Picture:
    """A figure of the page.

    Parameters
    ----------
    name : str
        Stable name.
    finding : str
        The one sentence that it shows.
    lead : str
        How to read it; may be empty.
    wide, narrow : Inline
        For either width of page.
    tables : tuple of Table
        Its numbers.
    """

    name: str
    finding: str
    lead: str
    wide: Inline
    narrow: Inline
    tables: tuple[Table, ...]


def _picture(name: str, make: Callable[[], Any], kind: str, tables: tuple[Table, ...], finding: str = "") -> Picture:
    """A figure in both widths; the alternative text says what kind of picture it is, and its finding."""
    drawn = drawn_for_page(make, WIDE)
    sentence = finding or _sentence(drawn.title)
    label = f"{kind} {sentence} The numbers stand in the table below the picture."
    wide = inline(drawn, f"{name}-wide", label)
    narrow = inline(drawn_for_page(make, NARROW), f"{name}-narrow", label)
    return Picture(name, sentence, drawn.lead, wide, narrow, tables)


def _sentence(title: str) -> str:
    return title if title.endswith(".") else f"{title}."


def pictures(material: Material, system: System) -> dict[str, Picture]:
    """Every figure of a report.

    Parameters
    ----------
    material : Material
        All studies.
    system : System
        Units.

    Returns
    -------
    dict of str to Picture
        By name: ``torque``, ``run``, ``what-if``, and where there is something to draw ``why``, ``worth``, ``odds``,
        ``parts``, ``map``, ``winners`` and ``trade-off``.
    """
    return {picture.name: picture for picture in _each(material, system)}


def _each(material: Material, system: System) -> Iterator[Picture]:
    numbers, found = Numbers(system), material.comparison
    names = " and ".join(named(runs.name) for runs in found.runs)
    if material.pair.why and material.pair.why.spans:
        yield _picture(
            "why",
            lambda: why_figure(material.pair, (curve_style(0), curve_style(1)), found.goal, units_of(system)),
            f"Lines over engine speed: torque and power of {names}, with the seconds that each span adds to the gap.",
            (*why_tables(material.pair, numbers), curves_table(material.pair, numbers)),
        )
    yield _picture(
        "torque",
        lambda: usable_figure(material.usable, system),
        f"Lines over engine speed: the torque of {names}, and what the tyres can use in each gear.",
        (_torque_table(material.usable, numbers),),
    )
    yield _picture(
        "run",
        lambda: unfolding_figure(found, system),
        f"Three pictures over one time axis, for {names}: speed, gap and slip.",
        (_run_table(material, numbers),),
    )
    yield from _of_logs(material, system)
    yield _what_if(material, system)
    if material.worth:
        worth = material.worth
        kind = (
            f"The torque of {named(worth.first.curve)} over engine speed, and below it the time that more torque gains."
        )
        yield _picture("worth", lambda: worth_figure(worth.first, system), kind, worth_words.tables(worth, system))
    if material.odds:
        odds = material.odds
        kind = f"Bars: how the difference between {names} is spread over the cases."
        tables = (*odds_words.tables(odds, system), _deciles(odds.difference, numbers))
        yield _picture("odds", lambda: odds_figure(odds, system), kind, tables)
    if material.scenario.parts:
        kind = f"Bars: steady pull of every rated part over its rating, diamonds: its peaks, with {names}."
        yield _picture(
            "parts", lambda: parts_figure(material.loads, system), kind, parts_words.tables(material.loads, system)
        )
    yield from _of_sweep(material, system)


def _of_logs(material: Material, system: System) -> Iterator[Picture]:
    """What a change did to logged runs, and logged runs beside the launches."""
    measured, numbers = material.measured, Numbers(system)
    if measured is None:
        return
    if (change := measured.change) is not None:
        yield _picture(
            "change",
            lambda: logs_figure(change, system),
            "Lines over time: the speed of every logged run before and after the change, and below it the gap between "
            "them along speed, with its interval.",
            (logs_words.along_table(change, numbers),),
        )
    for name, found in (("beside", measured.before), ("beside-after", measured.after)):
        if found is not None:
            yield _picture(
                name,
                lambda found=found: beside_figure(found, system),  # type: ignore[misc]
                "Lines over time: the speed of the logged runs, and of the calculated ones with either curve.",
                (_beside_table(found, numbers),),
                ""
                if measured.after is None
                else f"Runs {'before' if name == 'beside' else 'after'} the change, logged and calculated.",
            )


def _beside_table(found: LogsBeside, numbers: Numbers) -> Table:
    """Speed over time of every run."""
    runs = [(f"log {n}", log.trace) for n, log in enumerate(found.logs, start=1)]
    runs += [(run.name, run.trace) for run in found.runs]
    traces = [(name, found.aligned(trace)) for name, trace in runs]
    rows = []
    for time in np.arange(0.0, max(float(trace.time[-1]) for _, trace in traces), 1.0):
        speeds = (np.interp(time, trace.time, trace["speed"], right=np.nan) for _, trace in traces)
        rows.append(Row(f"{time:.0f}", "s", tuple(numbers.plain(float(each), Dimension.SPEED) for each in speeds)))
    return Table(f"Speed over time [{numbers.unit(Dimension.SPEED)}]", tuple(name for name, _ in traces), tuple(rows))


def _what_if(material: Material, system: System) -> Picture:
    grid = material.what_if
    tables = tuple(what_if.grid_table(grid, which, system) for which in range(len(grid.measures)))
    kind = (
        "Lines over engine speed: both curves, the chosen plateau, and what the tyres can use in the lower gears. The "
        "sliders move the plateau and the grip."
    )
    return _picture(
        "what-if",
        lambda: plateau_choice_figure(
            grid.usable,
            grid.cut(float(grid.heights[grid.start])),
            grid.ceilings[what_if.AS_GIVEN],
            system,
        ),
        kind,
        tables,
        what_if.finding(grid, system),
    )


def _of_sweep(material: Material, system: System) -> Iterator[Picture]:
    swept = material.swept
    if swept is None or not swept.result.findings.best:
        return
    tables, numbers = sweep_tables(swept.result, system), Numbers(system)
    with Reader(swept.result.path) as reader:
        for name in swept.result.figures(system):
            kind = _KINDS[name]
            yield _picture(
                name,
                lambda name=name: swept.result.figures(system)[name],  # type: ignore[misc]
                kind,
                tables,
                _finding_of(name, reader, swept, numbers),
            )
            tables = ()  # the same numbers stand behind all of them


def _finding_of(name: str, reader: Reader, swept: Swept, numbers: Numbers) -> str:
    """The sentence that a picture of a sweep shows; empty where its own title says it."""
    if name == "map":
        return _best_case(swept, numbers)
    return _trade(reader, swept, numbers) if name == "trade-off" else ""


def _best_case(swept: Swept, numbers: Numbers) -> str:
    """The best launch of all, whose cell is the lightest."""
    findings = swept.result.findings
    best, by = findings.best[0], findings.order.by
    result = rounded_text(best.measures[by.name], by, numbers)
    return f"The best of all combinations is {case_text(findings.study, best.values)}, with {result}."


def _trade(reader: Reader, swept: Swept, numbers: Numbers) -> str:
    """What the least pull among launches that no other beats costs against the best result."""
    wanted = swept.result.findings.order
    by, against = wanted.by, measure_named(_AGAINST, reader.study)
    kept = front(reader, wanted, against)
    (_, least, then), (_, most, best) = min(kept, key=_of_pull), max(kept, key=_of_pull)
    pulls = [value_text(each, against, numbers) for each in (least, most)]
    if len(kept) == 1:
        return f"The best launch is also the one with the least pull at the gearbox input, {pulls[0]}."
    cost = rounded_text(abs(then - best), by, numbers)
    return f"Coming down from {pulls[1]} to {pulls[0]} of pull at the gearbox input costs {cost}."


def _of_pull(entry: tuple[int, float, float]) -> float:
    return entry[1]


_KINDS = {
    "winners": "A grid of cells, each with a triangle that points up or down by which curve wins there.",
    "map": "A map of cells, each with the best result of its combination.",
    "trade-off": "Dots: the result of every launch of the sweep against the pull at the gearbox input.",
}


# --- numbers behind the pictures ---


def _torque_table(usable: UsableTorque, numbers: Numbers) -> Table:
    torque, speed = Dimension.TORQUE, Dimension.ROTATIONAL_SPEED
    gears = [each for each in usable.ceilings if np.isfinite(each.usable).any()][:4]
    rows = []
    for k in range(0, usable.engine_speed.size, _SPEEDS):
        values = (*(curve[k] for curve in usable.curves.values()), *(each.usable[k] for each in gears))
        rows.append(
            Row(
                numbers.plain(float(usable.engine_speed[k]), speed),
                numbers.unit(speed),
                tuple(numbers.plain(float(value), torque) for value in values),
            )
        )
    heads = (*usable.curves, *(f"usable in gear {each.gear}" for each in gears))
    return Table(f"Torque over engine speed [{numbers.unit(torque)}]", heads, tuple(rows))


def _run_table(material: Material, numbers: Numbers) -> Table:
    pair = material.pair
    times = np.arange(0.0, shown_until(pair) + 1e-9, _EVERY)
    runs = (pair.first.full, pair.second.full)
    gap_time, gap = gap_over_time(pair)
    columns: list[tuple[str, Array, Dimension]] = [
        (f"{each.curve}, speed [{numbers.unit(Dimension.SPEED)}]", each.run.trace["speed"], Dimension.SPEED)
        for each in runs
    ]
    columns += [(f"{each.curve}, slip [%]", driven_slip(each), Dimension.SHARE) for each in runs]
    bases = [each.run.trace.time for each in runs] * 2
    rows = []
    for time in times:
        cells = [
            numbers.plain(float(np.interp(time, base, values)), kind)
            for base, (_, values, kind) in zip(bases, columns, strict=True)
        ]
        cells.append(numbers.signed(float(np.interp(time, gap_time, gap, left=0.0)), Dimension.TIME))
        rows.append(Row(f"{time:.1f}", "s", tuple(cells)))
    heads = (*(head for head, _, _ in columns), f"gap of {pair.second.name} [s]")
    return Table(f"The run to {target_label(material.comparison.goal)}, full pedal", heads, tuple(rows))


def _deciles(differences: Array, numbers: Numbers) -> Table:
    known = differences[~np.isnan(differences)]
    values = np.quantile(known, _DECILES, method="inverted_cdf") if known.size else np.full(_DECILES.size, np.nan)
    rows = [
        Row(f"{100.0 * share:.0f} % of the cases stay below", "s", (numbers.signed(float(value), Dimension.TIME),))
        for share, value in zip(_DECILES, values, strict=True)
    ]
    return Table("How the difference is spread", ("difference",), tuple(rows))
