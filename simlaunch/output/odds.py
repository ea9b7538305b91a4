"""Odds between two curves as tables, as text, and as JSON."""

from __future__ import annotations

from collections.abc import Mapping
from math import isnan

import numpy as np
from numpy.typing import NDArray

from simlaunch.analysis.odds import QUANTILES, Chance, Odds
from simlaunch.comparing.verdict import MOSTLY, SURE
from simlaunch.launching.goals import target_label
from simlaunch.launching.ready import runnable
from simlaunch.output.as_json import Object, group_object, listed
from simlaunch.output.conditions import header
from simlaunch.output.groups import cell, cells, plain_heads, row, unit_of
from simlaunch.output.layout import Row, Table, clean, paragraph, short, tables_text
from simlaunch.output.words import CASES_HEADS, PEDAL_WORDS, Numbers, Tally, caution, named
from simlaunch.quantities import quantity
from simlaunch.units.spelling import Dimension, System

QUANTILE_HEADS = ("5 % below", "half below", "95 % below")
"""Columns of a table of quantiles: the share of the cases that stay below a value."""
_LABEL_COLUMNS = 36
_MOSTLY_OPEN = 0.5  # share of the spread that is left open, from which no value is called the one that decides [-]
_MEANING = (
    "Every case draws all uncertain values once and launches both curves with them. A difference is the second curve "
    "less the first: below zero the second is quicker. The interval contains the true share in 19 of 20 studies. A "
    "launch that misses the target counts as slower than any that reaches it."
)


def tally(found: Odds, chance: Chance) -> Tally:
    """How many of the cases a chance stands for."""
    return Tally(found.cases, chance.share, chance.low, chance.high)


def _level_count(found: Odds) -> int:
    return round(found.level * found.cases)


def _chances(found: Odds, numbers: Numbers) -> Table:
    first, second = (short(name, 24) for name in (found.first, found.second))
    by_more = f"  by {numbers.least()} or more"
    counted = (
        (f"{first} quicker", found.first_quicker),
        (by_more, found.first_by_more),
        (f"{second} quicker", found.second_quicker),
        (by_more, found.second_by_more),
    )
    rows = [Row(label, "", tally(found, chance).cells) for label, chance in counted]
    rows.append(Row(f"level {numbers.within()}", "", (str(_level_count(found)), "", "")))
    return Table(f"Of {found.cases} cases", CASES_HEADS, tuple(rows))


def _times(found: Odds, numbers: Numbers) -> Table:
    rows = [
        row(short(name, 36), found.time_quantiles(which), Dimension.TIME, numbers)
        for which, name in enumerate((found.first, found.second))
    ]
    gaps = row("difference", found.difference_quantiles(), Dimension.TIME, numbers, sign=True)
    return Table(f"Time for {target_label(found.target)}", QUANTILE_HEADS, (*rows, gaps))


def _missed(found: Odds) -> Table:
    rows = [
        Row(short(name, 36), "", (str(found.missed[which]),)) for which, name in enumerate((found.first, found.second))
    ]
    lost = (Row("of these, could not be followed", "", (str(found.lost),)),) if found.lost else ()
    return Table("Target missed", ("cases",), (*rows, *lost))


def _effects(found: Odds, numbers: Numbers) -> Table:
    left_open = quantity("odds.left_open_share")
    unit = unit_of(left_open, numbers)
    rows = [Row(short(each.name, _LABEL_COLUMNS), unit, cells("effect", each, numbers)) for each in found.effects]
    rows.append(Row(left_open.label, unit, (cell(left_open, found, numbers), "")))
    return Table("What decides the difference", plain_heads("effect"), tuple(rows))


def tables(found: Odds, system: System) -> tuple[Table, ...]:
    """Every table of odds, in the order of printing."""
    numbers = Numbers(system)
    every = [_chances(found, numbers), _times(found, numbers)]
    if any(found.missed):
        every.append(_missed(found))
    return (*every, _effects(found, numbers)) if found.effects else tuple(every)


def summary(found: Odds, system: System) -> str:
    """What the odds come to, in a sentence or two."""
    if not found.reached:
        where = f"reaches {target_label(found.target)} with {named(found.first)} or with {named(found.second)}"
        return f"None of {found.cases} cases {where}, so nothing can be said about which is quicker."
    numbers = Numbers(system)
    ahead, behind, sure = found.first, found.second, found.first_quicker
    if found.second_quicker.share > sure.share:
        ahead, behind, sure = found.second, found.first, found.second_quicker
    ahead_by = f"{named(ahead)} is quicker than {named(behind)} {tally(found, sure).words('cases')}"
    weighed = _weighed(sure, found.level)
    return f"{weighed}: {ahead_by}{_level(found, sure, numbers)}.{_decider(found)}"


def _weighed(sure: Chance, level: float) -> str:
    if level >= MOSTLY:
        return "No difference worth naming"
    return "The answer is sure enough" if sure.low >= SURE else "Which curve is quicker is not sure"


def _level(found: Odds, sure: Chance, numbers: Numbers) -> str:
    """How many cases are level; where none is, and all have the same sign, every one of them differs by enough."""
    if level := _level_count(found):
        return f"; {level} {'is' if level == 1 else 'are'} level {numbers.within()}"
    everywhere = tally(found, sure).count == found.cases and not any(found.missed)
    return f", by {numbers.least()} or more each time" if everywhere else ""


def _decider(found: Odds) -> str:
    """What the spread comes from most, by the shares as they are printed."""
    if not found.effects or found.left_open > _MOSTLY_OPEN:
        return ""
    share = f"{100.0 * found.effects[0].in_all:.0f} %"
    open_share = f"; {100.0 * found.left_open:.0f} % is left open" if found.left_open > found.effects[0].in_all else ""
    known = "largest known share" if open_share else "largest share"
    most = [clean(each.name) for each in found.effects if f"{100.0 * each.in_all:.0f} %" == share]
    if len(most) > 1:
        joined = f"{', '.join(most[:-1])} and {most[-1]}"
        return f" The {known}s of the spread, {share} each, come from {joined}{open_share}."
    return f" The {known} of the spread, {share}, comes from {most[0]}{open_share}."


def text(found: Odds, system: System) -> str:
    """Odds as text of 80 columns, the verdict last."""
    head = f"{short(found.first, 30)} against {short(found.second, 30)}, {PEDAL_WORDS[found.pedal]}"
    car = runnable(found.scenario, found.first, found.pedal)
    blocks = [
        header(found.scenario, car, system),
        paragraph(head),
        paragraph(_MEANING),
        *tables_text(tables(found, system)),
        *_about_effects(found),
        *([paragraph(_CORRELATED)] if found.scenario.correlation else []),
        paragraph(f"Caution: {caution(found.scenario)}"),
        f"Verdict\n{paragraph(summary(found, system))}",
    ]
    return "\n\n".join(blocks)


_EFFECTS = (
    "In all: share of the spread of the difference that involves this value, alone or together with others. Alone: "
    "share that the value explains by itself. Both come from a polynomial of second degree fitted to the cases; left "
    "open: the share that the polynomial does not explain in cases that it was not fitted to."
)
_NO_EFFECTS = (
    "What decides the difference is not stated: a curve missed the target in some case, values are drawn together, or "
    "nothing varies."
)


def _about_effects(found: Odds) -> tuple[str, ...]:
    """What the shares mean, or why there are none; nothing where none were asked for."""
    if isnan(found.left_open):
        return ()
    return (paragraph(_EFFECTS if found.effects else _NO_EFFECTS),)


_CORRELATED = (
    "The table of what decides is left out: some uncertain values depend on one another, so no share of the spread "
    "belongs to a single one of them."
)


def columns(found: Odds) -> Mapping[str, NDArray[np.float64]]:
    """Times of both curves in every case."""
    return {"first_time_s": found.times[:, 0], "second_time_s": found.times[:, 1], "difference_s": found.difference}


def document(found: Odds) -> Object:
    """The JSON object; quantiles stand for the shares in `quantile_shares`."""
    return {
        "format": "simlaunch-odds-1",
        "scenario": found.scenario.name,
        "pedal": found.pedal.name.lower(),
        "target": found.target.label,
        "first": found.first,
        "second": found.second,
        **group_object("odds", found),
        "missed_rows": {"first_rows": found.missed[0], "second_rows": found.missed[1], "lost_rows": found.lost},
        "first_quicker": group_object("chance", found.first_quicker),
        "second_quicker": group_object("chance", found.second_quicker),
        "first_quicker_by_more": group_object("chance", found.first_by_more),
        "second_quicker_by_more": group_object("chance", found.second_by_more),
        "quantile_shares": listed(QUANTILES),
        "first_times_s": listed(found.time_quantiles(0)),
        "second_times_s": listed(found.time_quantiles(1)),
        "differences_s": listed(found.difference_quantiles()),
        "effects": [{"name": each.name, **group_object("effect", each)} for each in found.effects],
    }
