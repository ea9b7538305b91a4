"""The highest plateau that pays, as tables, as sentences, as files and as JSON."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import groupby
from math import ceil, isfinite, isnan

import numpy as np
from numpy.typing import NDArray

from simlaunch.analysis.parts import part_name
from simlaunch.analysis.plateau import PLATEAU, PlateauResult, WantedFinalDrive
from simlaunch.launching.goals import WORTH_NAMING, target_label
from simlaunch.metrics.parts import Part
from simlaunch.output.as_json import Object, group_object, listed
from simlaunch.output.groups import cell, cells, heads, row, table, unit_of, with_unit
from simlaunch.output.groups import columns as group_columns
from simlaunch.output.groups import rows as group_rows
from simlaunch.output.layout import Row, Table, clean, paragraph, short, tables_text
from simlaunch.output.parts import one_shaft
from simlaunch.output.words import PEDAL_WORDS, Numbers, caution, named
from simlaunch.physics.engine import mean_effective_pressure
from simlaunch.quantities import quantity
from simlaunch.ratings.limits import ENVELOPE, PART_AT, RISE
from simlaunch.record import MAX_GEAR_POINTS
from simlaunch.searching.plateau_search import Plateau
from simlaunch.searching.plateau_search_space import HELD_TIME, LIFTED, NO_GAIN, SAME_TIME, Point, RatingLimit
from simlaunch.units.quantity import RPM
from simlaunch.units.spelling import Dimension, System

PEAK = 100.0 * RPM
"""A curve that holds its highest torque over fewer engine speeds has a peak, not a plateau: engine speeds of the search
are as far apart [rad/s]."""


def _curve_table(found: Plateau, curve: str, numbers: Numbers) -> Table:
    """Corners of the curve: where what binds it changes, and its ends."""
    rows = []
    for name, group in groupby(range(found.speeds.size), key=lambda k: found.binding[k]):
        within = list(group)
        first, last = within[0], within[-1]
        span = [numbers.plain(found.speeds[k], Dimension.ROTATIONAL_SPEED) for k in (first, last)]
        torque = [numbers.plain(found.torque[k], Dimension.TORQUE) for k in (first, last)]
        wished = [numbers.plain(found.wish_torque[k], Dimension.TORQUE) for k in (first, last)]
        rows.append(Row(" to ".join(span), "rpm", (name, " to ".join(torque), " to ".join(wished))))
    unit = numbers.unit(Dimension.TORQUE)
    heads = ("limited by", with_unit("plateau", unit), with_unit(short(curve, 12), unit))
    return Table("Limits", heads, tuple(rows))


def _set_against(result: PlateauResult, found: Plateau, numbers: Numbers) -> Table:
    """The plateau beside the curve that is wished for."""
    points, torques = (found.chosen, found.wish), (found.torque, found.wish_torque)
    rows = [
        row(target_label(target), [point.times[k] for point in points], Dimension.TIME, numbers)
        for k, target in enumerate(result.aim.targets)
    ]
    rows += group_rows("plateau", points, numbers, ("wheelspin_time",))
    heights = [float(torque.max()) for torque in torques]
    rows.append(row("highest engine torque", heights, Dimension.TORQUE, numbers))
    rows.append(row("highest power", [(torque * found.speeds).max() for torque in torques], Dimension.POWER, numbers))
    if (volume := result.scenario.engine.displacement) is not None:
        pressures = [mean_effective_pressure(height, volume.si) for height in heights]
        rows.append(row("brake mean effective pressure", pressures, Dimension.PRESSURE, numbers))
    rows += [
        row(
            f"highest at {part_name(part, result.scenario)}",
            [point.peaks[part] for point in points],
            Dimension.TORQUE,
            numbers,
        )
        for part in Part
        if not all(isnan(point.peaks[part]) for point in points)
    ]
    return Table("Plateau against the wish", ("plateau", short(result.wish, 24)), tuple(rows))


_OF_DRIVE = ("present_ratio", "score", "wanted_ratio", "wanted_score")
_OF_FRONT = ("start", "end", "score", "gearbox_input_steady_torque")
_OF_POINT = ("height", "start", "end", "score", "times", "wheelspin_time", "peak_torque", "steady_torque")


def _front_table(found: Plateau, numbers: Numbers) -> Table:
    height = quantity("plateau.height")
    rows = tuple(
        Row(
            cell(height, point, numbers),
            unit_of(height, numbers),
            (*cells("plateau", point, numbers, _OF_FRONT), _mark(found, place, point)),
        )
        for place, point in enumerate(found.front)
    )
    return Table("Plateau of", (*heads("plateau", numbers, _OF_FRONT), ""), rows)


def _mark(found: Plateau, place: int, point: Point) -> str:
    if point.shape == found.unlimited.shape:
        return "pays"
    return "knee" if place == found.knee else ""


def _limit_table(found: Plateau, numbers: Numbers) -> tuple[Table, ...]:
    if not any(map(isfinite, found.gear_limits)):
        return ()
    cells = [(numbers.plain(x, Dimension.TORQUE) if isfinite(x) else "none",) for x in found.gear_limits]
    rows = tuple(Row(f"gear {k}", numbers.unit(Dimension.TORQUE), cell) for k, cell in enumerate(cells, start=1))
    title = "Ceiling by gear, within grip" if found.within_grip else "Torque limit by gear"
    return (Table(title, ("limit",), rows),)


def _final_drives(result: PlateauResult, numbers: Numbers) -> tuple[Table, ...]:
    drives = [(short(each.curve, 24), each) for each in result.wanted]
    shown = ("present_ratio", "score", "wanted_ratio", "gain")
    return (table("Final drive", "final_drive", drives, numbers, shown),) if drives else ()


def _ratios(final_drives: Sequence[float]) -> str:
    """Final drives, those of neighbouring gears that share one once."""
    return "/".join(f"{drive:.2f}" for drive, _ in groupby(final_drives))


def _gear_sets(result: PlateauResult, numbers: Numbers) -> tuple[Table, ...]:
    if len(result.by_gear_set) < 2:
        return ()
    shown = ("height", "score")
    rows = tuple(
        Row(
            name,
            "",
            (
                _ratios(result.final_drives[name]),
                *cells("plateau", each.chosen, numbers, shown),
                *cells("plateau", each.wish, numbers, ("score",)),
            ),
        )
        for name, each in result.by_gear_set.items()
    )
    wish = with_unit("wish", numbers.unit(Dimension.TIME))
    return (Table("Gear set", ("final drive", *heads("plateau", numbers, shown), wish), rows),)


def tables(result: PlateauResult, system: System) -> tuple[Table, ...]:
    """All tables; those of curve and front are for the gear set of the car as described."""
    numbers, found = Numbers(system), result.first
    return (
        _curve_table(found, result.wish, numbers),
        _set_against(result, found, numbers),
        *_limit_table(found, numbers),
        _front_table(found, numbers),
        *_final_drives(result, numbers),
        *_gear_sets(result, numbers),
    )


def _against_wish(result: PlateauResult, found: Plateau, numbers: Numbers) -> str:
    gap = found.chosen.score - found.wish.score
    if not isfinite(gap):
        gap_text = f"while {named(result.wish)} does not get there"
    elif abs(gap) < SAME_TIME:
        gap_text = f"as quick as {named(result.wish)}"
    else:
        gap_text = f"{abs(gap):.3f} s {'quicker' if gap < 0.0 else 'slower'} than {named(result.wish)}"
    held, score = _held(found.chosen, numbers), f"{found.chosen.score:.3f} s, {gap_text}"
    if not is_peak(found.chosen):
        return f"the highest plateau that pays is {held}: {score}"
    shape = found.chosen.shape
    power = numbers.with_unit(shape.height * shape.end, Dimension.POWER)
    falls = f"from which on torque falls at the power of that point, {power}"
    return f"what pays is no plateau but {held}, {falls}: {score}"


def cheaper(found: Plateau) -> Point | None:
    """The knee of the front, or else the next curve that takes a twentieth less torque at the gearbox input."""
    most, knee = found.unlimited.strain, found.front[found.knee]
    if knee.strain < 0.99 * most:
        return knee
    below = [point for point in found.front if point.strain <= 0.95 * most]
    return below[-1] if below else None


def _without_limits(found: Plateau) -> str:
    """Said of a curve that was launched without the torque limits that were sought for gears."""
    if not found.limits_sought:
        return ""
    stated = any(map(isfinite, found.own_limits)) or found.gear_curves
    return f", both without {'the torque limits by gear that were sought' if stated else 'torque limits by gear'}"


def _trade(found: Plateau, numbers: Numbers) -> str:
    """What a lower plateau spares the gearbox, and costs."""
    less = cheaper(found)
    if less is None:
        return ""
    share = 1.0 - less.strain / found.unlimited.strain
    cost = less.score - found.unlimited.score
    slower = "as quick" if cost < SAME_TIME else f"{cost:.3f} s slower"
    return (
        f"{_held(less, numbers)} takes {100.0 * share:.0f} % less torque at the gearbox input than "
        f"{_held(found.unlimited, numbers)}, and is {slower}{_without_limits(found)}"
    )


def _held(point: Point, numbers: Numbers) -> str:
    """A plateau by its height and its ends, or a peak by its place."""
    height, shape = numbers.with_unit(point.shape.height, Dimension.TORQUE), point.shape
    start, end = (numbers.plain(x, Dimension.ROTATIONAL_SPEED) for x in (shape.start, shape.end))
    if is_peak(point):
        return f"a peak of {height} at {start} rpm"
    return f"a plateau of {height} from {start} to {end} rpm"


def is_peak(point: Point) -> bool:
    """Whether a curve holds its highest torque over so few engine speeds that it has no plateau."""
    return point.shape.end - point.shape.start < PEAK


def _binds(found: Plateau) -> str:
    """What a higher limit would gain, by the launches that were made to find out."""
    lead = f"{100.0 * (LIFTED - 1.0):.0f} % more"
    higher = []
    for name, saving in sorted(found.gains.items(), key=lambda item: -item[1]):
        least = f"at least {saving:.3f} s quicker"
        if isinstance(name, RatingLimit):
            higher.append(f"without the {name}, the quickest plateau is {least}")
        else:
            higher.append(f"{lead} {_limit_words(name, found)} makes the quickest plateau {least}")
    return f"with all other limits as they are, {', and '.join(higher)}" if higher else ""


def _limit_words(name: str, found: Plateau) -> str:
    if name in found.measured and name != ENVELOPE:
        return f"torque within {named(name)}"
    return {RISE: "rise in 1000 rpm"}.get(name, name)


def _begins(found: Plateau, numbers: Numbers) -> str:
    """Why the plateau begins no earlier."""
    earlier, paying = found.earlier, found.unlimited
    if earlier is None:
        return ""
    since = f"{_held(earlier, numbers)}, which begins as early as rise and envelope allow,"
    if not isfinite(earlier.score):
        return f"{since} does not reach every target"
    if earlier.broken:
        return f"{since} asks too much of {next(iter(earlier.broken))}"
    cost = earlier.score - paying.score
    slower = "as quick as" if cost < SAME_TIME else f"{cost:.3f} s slower than"
    return f"{since} is {slower} {_held(paying, numbers)}{_without_limits(found)}"


def _wants(each: WantedFinalDrive) -> str:
    """Whether another final drive would suit a curve better."""
    gain, curve = each.gain, "the plateau" if each.curve == PLATEAU else named(each.curve)
    if not isfinite(each.best_score):
        return f"{curve} does not get there with any final drive that was tried"
    first = " in first gear" if each.per_gear else ""
    if gain < WORTH_NAMING:
        return f"{curve} suits the final drive of {each.present:.2f}{first}"
    ratio = f"{each.ratio:.2f} {each.farther}".strip()
    ratio += f"{first}, those of the other gears changed by the same factor," if first else ""
    if not isfinite(each.score):
        return f"{curve} gets there with a final drive of {ratio}, but not with {each.present:.2f}"
    return f"{curve} wants a final drive of {ratio} in place of {each.present:.2f}, {gain:.3f} s quicker"


def verdict(result: PlateauResult, system: System) -> tuple[str, ...]:
    """What was found, in plain sentences."""
    numbers, found = Numbers(system), result.first
    findings = [_against_wish(result, found, numbers), _begins(found, numbers), _binds(found), _trade(found, numbers)]
    if len(result.by_gear_set) > 1:
        best = result.best
        gain = found.chosen.score - result.by_gear_set[best].chosen.score
        wants = f"this engine wants gear set {named(best)}, final drive {_ratios(result.final_drives[best])}"
        kept = "the gear set as described is the quickest with a plateau of its own"
        findings.append(f"{wants}: {gain:.3f} s quicker, with a plateau of its own" if gain > SAME_TIME else kept)
    findings.append("; ".join(map(_wants, result.wanted)))
    if not found.capped:
        power = numbers.with_unit(float((found.torque * found.speeds).max()), Dimension.POWER)
        findings.append(
            f"no limit of the engine is given, and the engine would have to make {power}; state a limit of power or "
            "another under [limits]"
        )
    return tuple(f"{text[:1].upper()}{text[1:]}." for text in findings if text)


def summary(result: PlateauResult, system: System) -> str:
    """What was found, in plain sentences."""
    return " ".join(verdict(result, system))


def columns(result: PlateauResult) -> Mapping[str, NDArray[np.float64]]:
    """The front of the car as described: curves than which no other is as quick with as little torque."""
    names = ("height", "start", "end", "score", "wheelspin_time", "gearbox_input_steady_torque")
    return group_columns("plateau", result.first.front, names)


def shaft_note(result: PlateauResult, system: System) -> str:
    """What one half shaft may carry of the torque that the table states for both; empty where both carry the same."""
    peaks = result.first.chosen.peaks
    return one_shaft(result.scenario, {place for place, part in PART_AT.items() if not isnan(peaks[part])}, system)


def text(result: PlateauResult, system: System) -> str:
    """Everything, with the verdict last."""
    goal = ", ".join(target_label(target) for target in result.aim.targets)
    about = f"Highest plateau that pays for {goal}, {PEDAL_WORDS[result.pedal]}; wished for: curve {named(result.wish)}"
    note = (
        "The highest torque at a part includes shocks. The table of plateaus sets time against steady pull at the "
        "gearbox input: each of them is the quickest of its height, and none is beaten in both. The one that pays has "
        f"the lowest height within {1e3 * SAME_TIME:.0f} ms of the quickest, held as long as costs no more than "
        f"{1e3 * HELD_TIME:.0f} ms. A limit of the engine is named where {100.0 * (LIFTED - 1.0):.0f} % more of it "
        f'saves time, "{RISE}" and "{ENVELOPE}" where they hold torque down on the way up, "{NO_GAIN}" where more '
        "saved no launch any time."
    )
    return "\n\n".join(
        [
            f"{short(result.scenario.name, 78)}\n{paragraph(about)}",
            *tables_text(tables(result, system)),
            paragraph(note),
            *map(paragraph, filter(None, [shaft_note(result, system)])),
            paragraph(f"Caution: {caution(result.scenario)}"),
            "\n".join(["Verdict", *map(paragraph, verdict(result, system))]),
        ]
    )


def curve_csv(result: PlateauResult) -> str:
    """The curve as a file that a scenario can name, with its limits by gear; the note says where it comes from."""
    found = result.first
    goal = ", ".join(target_label(target) for target in result.aim.targets)
    wish, scenario = clean(result.wish), clean(result.scenario.name)
    note = f"found by simlaunch plateau for {goal} in place of {wish}, scenario {scenario}"
    lines = [f"# note: {note[:190]}"]
    limits = dict(enumerate(found.gear_limits, start=1))
    by_gear = {gear: np.minimum(curve, limits[gear]) for gear, curve in found.gear_curves.items()}
    lines += [f"# limit in gear {k}: {x:.1f} N m" for k, x in limits.items() if isfinite(x) and k not in by_gear]
    lines.append(",".join(["engine speed [rpm]", "torque [N m]", *(f"gear {gear} [N m]" for gear in by_gear)]))
    every, last = ceil(found.speeds.size / (MAX_GEAR_POINTS - 1)), found.speeds.size - 1
    for k, (speed, torque) in enumerate(zip(found.speeds, found.torque, strict=True)):
        shown = k % every == 0 or k == last  # a column of a gear takes so many points at most
        cells = (f"{curve[k]:.2f}" if shown else "" for curve in by_gear.values())
        lines.append(",".join([f"{speed / RPM:.1f}", f"{torque:.2f}", *cells]))
    return "\n".join(lines) + "\n"


def limits_csv(result: PlateauResult) -> str:
    """Torque limit of every gear; empty where there is none."""
    rows = (f"{k},{x:.1f}" if isfinite(x) else f"{k}," for k, x in enumerate(result.first.gear_limits, start=1))
    return "\n".join(["gear,torque limit [N m]", *rows]) + "\n"


def files(result: PlateauResult) -> Mapping[str, str]:
    """The curve and the limits of the gears, as files that a scenario can name."""
    return {"curve.csv": curve_csv(result), "gears.csv": limits_csv(result)}


def _point_object(point: Point | None) -> Object | None:
    return None if point is None else group_object("plateau", point, _OF_POINT)


def _plateau_object(found: Plateau) -> Object:
    return {
        **group_object("search", found),
        "limited_by": list(found.binding),
        "chosen": _point_object(found.chosen),
        "quickest": _point_object(found.quickest),
        "wish": _point_object(found.wish),
        "front": [_point_object(point) for point in found.front],
        "knee": found.knee,
        "is_plateau": not is_peak(found.chosen),
        "gear_limits_within_grip": found.within_grip,
        "engine_limits_given": found.capped,
        "begun_earlier": _point_object(found.earlier),
    }


def document(result: PlateauResult) -> Object:
    """Results as JSON, SI units; the verdict in metric ones."""
    return {
        "format": "simlaunch-plateau-1",
        "scenario": result.scenario.name,
        "wish": result.wish,
        "pedal": PEDAL_WORDS[result.pedal],
        "targets": [target_label(target) for target in result.aim.targets],
        "weights": listed(result.aim.weights),
        "final_drives": [
            {"curve": each.curve, **group_object("final_drive", each, _OF_DRIVE)} for each in result.wanted
        ],
        "gear_sets": {name: _plateau_object(found) for name, found in result.by_gear_set.items()},
        "verdict": list(verdict(result, System.METRIC)),
    }
