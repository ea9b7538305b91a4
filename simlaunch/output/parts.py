"""What the parts take, as tables, as text, and as JSON."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from math import isnan

from simlaunch.analysis.parts import CurveLoad, DrivelineLoads, PartLoad, Wear
from simlaunch.metrics.parts import SETTLING, Part
from simlaunch.output.as_json import Object, group_object
from simlaunch.output.conditions import header
from simlaunch.output.groups import of_car
from simlaunch.output.groups import rows as group_rows
from simlaunch.output.layout import Row, Table, block, paragraph, short, tables_text
from simlaunch.output.run import end_text
from simlaunch.output.words import (
    NOT_REACHED,
    PEDAL_WORDS,
    Numbers,
    above_the_curve,
    allowed_share,
    caution,
    event_words,
    named,
)
from simlaunch.quantities import reported
from simlaunch.ratings.limits import PART_AT
from simlaunch.record import Axle
from simlaunch.scenario.decision import TOOTHED, Place
from simlaunch.scenario.model import Scenario, two_wheels
from simlaunch.scenario.powertrain import TorqueConverter
from simlaunch.units.spelling import Dimension, System

_COLUMNS = 30
_MEANING = (
    "Peak torque includes the shocks of launch and shifts, steady pull does not. Steady pull is held against the "
    "rating, peak torque against the torque of expected failure. Relative wear: wear by Miner's rule, over that with "
    "the mildest curve. Gears wear by their turns at torque; each gear counts by itself, the one that wears most is "
    "named, and all are taken as equally strong. Clutch and shafts wear by swings of torque, counted by rainflow (ASTM "
    "E1049). Wear by the launch: the share from swings that begin before the clutch has closed and "
    f"{SETTLING:g} s have passed. Shafts: both half shafts of an axle together. Gearbox output: behind the final drive."
)
_LIMITS = (
    "Caution: relative wear compares launches and ranks curves; it gives no life in kilometres. It depends much on the "
    "slope of the S-N line, which is an assumption where the scenario gives none, and on how far the launch runs in "
    "each gear. Swings are the few shocks of one launch. Heat is not counted."
)
_RATED = "The ratings are those of the scenario."
_RIGID = "Caution: the half shafts of this scenario are rigid, so the shocks of launch and shifts are missing."
_UNRATED = "No part of the scenario has a rating; add [[parts]] to hold the torque against one."
_IDLE = "No part that has a rating carries any torque."

_ALWAYS, _IF_RATED = ("peak_torque", "steady_pull"), ("steady_share_of_rating", "peak_share_of_failure")


def _heads(found: DrivelineLoads) -> tuple[str, ...]:
    return tuple(load.curve for load in found.loads)


def _when(part: PartLoad, numbers: Numbers) -> str:
    if part.peak is None:
        return NOT_REACHED
    gear = f", gear {part.peak.gear}" if part.peak.gear else ""
    return f"{numbers.plain(part.peak.time, Dimension.TIME)}{gear}"


def _part_table(found: DrivelineLoads, k: int, numbers: Numbers) -> Table:
    parts = [load.parts[k] for load in found.loads]
    rows = group_rows("load", parts, numbers, (*_ALWAYS, *(_IF_RATED if parts[0].rating else ())))
    rows.insert(1, Row("  when", numbers.unit(Dimension.TIME), tuple(_when(part, numbers) for part in parts)))
    if parts[0].rating:
        rows.append(Row("flag", "", tuple(part.level.value for part in parts)))
    by_piece = PART_AT[parts[0].place] is Part.GEARBOX_INPUT or len(parts[0].spectra) > 1
    wear = tuple(_worn(each, numbers, by_piece=by_piece) for each in found.relative_wear(k))
    rows.append(Row(f"relative wear, slope {parts[0].slope:g}", "", wear))
    if not all(isnan(part.launch_share) for part in parts):
        rows += group_rows("load", parts, numbers, ("launch_wear_share",))
    return Table(_part_title(parts[0], numbers), _heads(found), tuple(rows))


def _worn(wear: Wear, numbers: Numbers, *, by_piece: bool) -> str:
    return numbers.times(wear.ratio) + (f", {wear.piece}" if by_piece and wear.piece else "")


def _part_title(part: PartLoad, numbers: Numbers) -> str:
    if part.rating is None:
        return short(part.name, _COLUMNS)
    rating = numbers.with_unit(part.rating.rating.si, Dimension.TORQUE)
    return f"{short(part.name, _COLUMNS)}, rated {rating}"


def _engine_table(found: DrivelineLoads, numbers: Numbers) -> Table:
    known = not all(isnan(load.mean_pressure) for load in found.loads)
    names = [name for name in reported("curve_load") if known or name != "mean_effective_pressure"]
    rows = group_rows("curve_load", found.loads, numbers, names)
    second = [load.simulation.measures.second_axle for load in found.loads]
    if None not in second:
        rows += group_rows("second_axle", second, numbers, ("heat", "greatest_power"))
    return Table("Engine and coupling", _heads(found), tuple(of_car(rows, found.scenario)))


def tables(found: DrivelineLoads, system: System) -> tuple[Table, ...]:
    """Every table of loads: parts by how near they come to their ratings, then engine and coupling."""
    numbers = Numbers(system)
    return (*(_part_table(found, k, numbers) for k in found.ranked()), _engine_table(found, numbers))


# --- the verdict ---


def _worst(found: DrivelineLoads, numbers: Numbers) -> str:
    """What is loaded above its rating, or what comes nearest to it."""
    if found.broken:
        overloads = (_overload(curve, part, numbers) for curve, part in found.broken[:3])
        more = "" if len(found.broken) <= 3 else f"; {more_overloads(len(found.broken) - 3)}"
        return f"{'; '.join(overloads)}{more}."
    rated = [(load.curve, part) for load in found.loads for part in load.parts if part.rating and part.peak]
    if not rated:
        return _IDLE if any(part.rating for part in found.loads[0].parts) else _UNRATED
    curve, part = max(rated, key=lambda entry: entry[1].demand.share)
    share = allowed_share(part.demand, part.event, numbers)
    nearest = f"{named(curve)} comes nearest, loading {named(part.name)} {share}"
    return f"Every part stays within what it is allowed; {nearest}."


def more_overloads(count: int) -> str:
    """So many more loads, of any part with any curve, that are too much."""
    return "1 more load is too much" if count == 1 else f"{count} more loads are too much"


def _overload(curve: str, part: PartLoad, numbers: Numbers) -> str:
    return f"{named(curve)} loads {named(part.name)} {allowed_share(part.demand, part.event, numbers)} (too much)"


def _stated_wear(found: DrivelineLoads) -> tuple[int, tuple[float, ...]] | None:
    """The toothed part whose wear is stated, and that of each curve: nearest to its rating, or else what differs most.

    Swings of shafts are a few shocks of one launch, too few for a sentence.
    """
    every = {
        k: tuple(wear.ratio for wear in found.relative_wear(k))
        for k in found.ranked()
        if found.loads[0].parts[k].place in TOOTHED
    }
    known = {k: ratios for k, ratios in every.items() if len(ratios) > 1 and not any(map(isnan, ratios))}
    rated = [k for k in known if found.loads[0].parts[k].rating]
    if rated:
        return rated[0], known[rated[0]]
    return max(known.items(), key=lambda entry: max(entry[1]), default=None)


def _wear(found: DrivelineLoads, numbers: Numbers) -> str:
    if (stated := _stated_wear(found)) is None:
        return ""
    k, ratios = stated
    part, names, most = found.loads[0].parts[k], [load.curve for load in found.loads], max(ratios)
    worst, mildest = names[ratios.index(most)], names[ratios.index(min(ratios))]
    if float(times := numbers.times(most)) == 1.0:
        return f" Over a launch, counted by turns at torque, {named(part.name)} wears alike with every curve."
    life = f"the life of {named(part.name)}"
    faster = f"{named(worst)} uses up {life} {times} times as fast as {named(mildest)}"
    return f" Over a launch, counted by turns at torque, {faster}."


def summary(found: DrivelineLoads, system: System) -> str:
    """What the loads come to, in a sentence or two."""
    numbers = Numbers(system)
    said = f"{_worst(found, numbers)}{_same(found)}{_wear(found, numbers)}"
    return f"{said} {one_shaft_of(found, system)}".rstrip()


def rating_verdict(found: DrivelineLoads, system: System) -> str:
    """What the loads come to against ratings, without a word of wear."""
    return f"{_worst(found, Numbers(system))}{_same(found)} {one_shaft_of(found, system)}".rstrip()


_SHAFTS = {Axle.FRONT: (Place.FRONT_SHAFTS, "front"), Axle.REAR: (Place.REAR_SHAFTS, "rear")}


def one_shaft(scenario: Scenario, places: Collection[Place], system: System) -> str:
    """What one half shaft may carry of the torque that is stated for both; empty where both carry the same.

    T_high = (1 + S) / 2 T + P / 2, from the locking value S and the preload P of the differential between them.
    """
    numbers, said = Numbers(system), []
    for each in scenario.drive.differentials() if two_wheels(scenario) else ():
        place, name = _SHAFTS[each.axle]
        if place in places and (each.locked or each.slips):
            share = numbers.with_unit(0.5 * (1.0 + (each.locking.si if each.locking else 0.0)), Dimension.SHARE)
            preload = each.preload.si if each.preload and not each.locked else 0.0
            more = f" and {numbers.with_unit(0.5 * preload, Dimension.TORQUE)} more" if preload else ""
            said.append(f"one {name} half shaft alone may carry up to {share} of the torque stated for both{more}")
    if not said:
        return ""
    return f"Behind a differential that locks, {', and '.join(said)}; hold that against the rating of a single shaft."


def one_shaft_of(found: DrivelineLoads, system: System) -> str:
    """The same for shafts that carry something in the launches of some loads."""
    return one_shaft(found.scenario, {part.place for part in found.loads[0].parts if part.peak}, system)


def _same(found: DrivelineLoads) -> str:
    """Parts whose highest torque is no reason to choose a curve."""
    alike = [named(found.loads[0].parts[k].name) for k in found.ranked() if found.same_peak(k)]
    if not alike:
        return ""
    names = alike[0] if len(alike) == 1 else f"{', '.join(alike[:-1])} and {alike[-1]}"
    return f" The highest torque at {names} is the same with every curve, and so no reason to choose."


def _events(found: DrivelineLoads, numbers: Numbers) -> Iterator[str]:
    """What the highest torque of each part comes from."""
    for k in found.ranked():
        parts = [load.parts[k] for load in found.loads]
        words = [event_words(part.event, numbers) for part in parts]
        if not any(words):
            continue
        pairs = zip(found.loads, words, strict=True)
        each = "; ".join(f"{named(load.curve)}, {said}" for load, said in pairs)
        causes = words[0] if len(set(words)) == 1 else each
        same = " (the same torque with every curve)" if found.same_peak(k) else ""
        yield f"{short(parts[0].name, _COLUMNS)}: {causes}{same}"


def _origins(found: DrivelineLoads) -> Iterator[str]:
    for part in found.loads[0].parts:
        if part.rating:
            yield f"{short(part.name, _COLUMNS)}: {part.rating.origin}"


def text(found: DrivelineLoads, system: System) -> str:
    """Loads as text of 80 columns, the verdict last."""
    unreached = [
        paragraph(f"Curve {short(load.curve, 24)}: {end_text(load.simulation, Numbers(system))}.")
        for load in found.loads
        if not load.simulation.reached
    ]
    blocks = [
        header(found.scenario, found.loads[0].simulation.car, system),
        paragraph(f"Loads with {PEDAL_WORDS[found.pedal]}"),
        *unreached,
        paragraph(_MEANING),
        *tables_text(tables(found, system)),
        *block("Where the peaks come from", _events(found, Numbers(system))),
        *(
            [paragraph(above_the_curve(converter=isinstance(found.scenario.coupling, TorqueConverter)))]
            if any(load.pulls_above_curve for load in found.loads)
            else []
        ),
        *block("Where the ratings come from", _origins(found)),
        *([_RIGID] if found.rigid else []),
        paragraph(f"{_LIMITS} {_RATED}" if any(part.rating for part in found.loads[0].parts) else _LIMITS),
        paragraph(f"Caution: {caution(found.scenario)}"),
        f"Verdict\n{paragraph(summary(found, system))}",
    ]
    return "\n\n".join(blocks)


# --- JSON ---


def _part_object(found: DrivelineLoads, which: int, k: int) -> Object:
    part, wear = found.loads[which].parts[k], found.relative_wear(k)[which]
    return {
        **group_object("load", part),
        "part": part.name,
        "place": part.place.value,
        "origin": part.rating.origin if part.rating else None,
        "peak_event": part.event.when or None,
        "peak_cause": part.event.cause or None,
        "same_peak_with_every_curve": found.same_peak(k),
        "flag": part.level.value,
        **group_object("wear", wear),
        "wears_most": wear.piece or None,
    }


def _load_object(found: DrivelineLoads, which: int, load: CurveLoad) -> Object:
    second = load.simulation.measures.second_axle
    return {
        "curve": load.curve,
        "targets_reached": load.simulation.reached,
        "parts": [_part_object(found, which, k) for k in range(len(load.parts))],
        **group_object("curve_load", load),
        "second_axle": group_object("second_axle", second) if second else None,
    }


def document(found: DrivelineLoads) -> Object:
    """Loads as a document; relative wear is over that with the mildest curve."""
    return {
        "format": "simlaunch-parts-1",
        "scenario": found.scenario.name,
        "pedal": found.pedal.name.lower(),
        "shocks_left_out": found.rigid,
        "loads": [_load_object(found, which, load) for which, load in enumerate(found.loads)],
    }
