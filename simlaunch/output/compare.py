"""Curves against each other: what is printed, and the JSON."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import zip_longest
from math import isnan, nan
from typing import NamedTuple, TypeVar

from simlaunch.analysis.odds import Odds
from simlaunch.analysis.parts import part_name
from simlaunch.analysis.simulate import Simulation
from simlaunch.comparing.attribution import Attribution, LimitsByGear, Span
from simlaunch.comparing.compare import Comparison, CurveRuns, MarkGap, Pair, PedalGap
from simlaunch.comparing.driving import Driving, Tried
from simlaunch.comparing.reference_conditions import CorrectionGap
from simlaunch.comparing.verdict import RatedPart, Verdict
from simlaunch.launching.goals import WORTH_NAMING, same_target, target_label
from simlaunch.launching.road_tests import RoadTestGap
from simlaunch.metrics.marks import Kind, MarkResult, Target, mark
from simlaunch.metrics.parts import Part
from simlaunch.output.as_json import Object, group_object, listed, number, target_object
from simlaunch.output.conditions import conditions_object, header
from simlaunch.output.layout import Row, Table, paragraph, short, tables_text
from simlaunch.output.odds import QUANTILE_HEADS, tally
from simlaunch.output.parts import one_shaft_of
from simlaunch.output.run import (
    bog_text,
    distinct,
    driven_parts,
    end_text,
    launch_object,
    launch_speed_text,
    missed_text,
)
from simlaunch.output.words import (
    CASES_HEADS,
    NOT_REACHED,
    PEDAL_WORDS,
    Numbers,
    above_the_curve,
    caution,
    gears_words,
    named,
    sentences,
)
from simlaunch.quantities import quantity, reported
from simlaunch.record import Pedal
from simlaunch.scenario.powertrain import BEST, TorqueConverter
from simlaunch.units.spelling import Dimension, System

Cell = TypeVar("Cell")


def _heads(pair: Pair) -> tuple[str, ...]:
    return (pair.first.name, pair.second.name, "difference")


def _row(label: str, first: float, second: float, kind: Dimension, numbers: Numbers) -> Row:
    return Row(label, numbers.unit(kind), numbers.beside(first, second, kind))


# --- marks ---


def _mark_rows(gap: MarkGap, goal: Target, numbers: Numbers) -> Iterator[Row]:
    first, second = gap.first, gap.second
    is_goal = same_target(first.target, goal)
    label = target_label(first.target) + (" (goal)" if is_goal else "")
    yield _row(label, first.time, second.time, Dimension.TIME, numbers)
    if first.target.kind is not Kind.SPAN and first.target.start == 0.0:
        rollout = (first.time_after_rollout, second.time_after_rollout)
        yield _row("  with 1 ft rollout", *rollout, Dimension.TIME, numbers)


def _marks(pair: Pair, gap: PedalGap, goal: Target, numbers: Numbers) -> Table:
    rows = [row for mark in distinct(gap.marks, _target) for row in _mark_rows(mark, goal, numbers)]
    return Table(f"Times, {PEDAL_WORDS[gap.pedal]}", _heads(pair), tuple(rows))


def _target(gap: MarkGap) -> Target:
    return gap.first.target


def _line_speeds(pair: Pair, gap: PedalGap, numbers: Numbers) -> Table:
    rows = [
        row
        for mark in distinct(gap.marks, _target)
        if mark.first.target.kind is Kind.DISTANCE
        for row in _speed_rows(mark.first, mark.second, numbers)
    ]
    return Table(f"Speeds at the line, {PEDAL_WORDS[gap.pedal]}", _heads(pair), tuple(rows))


def _speed_rows(first: MarkResult, second: MarkResult, numbers: Numbers) -> Iterator[Row]:
    yield _row(target_label(first.target), first.speed, second.speed, Dimension.SPEED, numbers)
    trap = _row("  mean of last 66 ft", first.trap_speed, second.trap_speed, Dimension.SPEED, numbers)
    if set(trap.cells) != {NOT_REACHED}:
        yield trap


# --- spin, surplus, parts ---


def _grip(pair: Pair, pedal: Pedal, goal: Target, numbers: Numbers) -> Table:
    one, other = pair.first.of(pedal), pair.second.of(pedal)
    first, second = one.measures.grip, other.measures.grip
    rows = [
        _row(q.label, getattr(first, name), getattr(second, name), q.dimension, numbers)
        for name, q in reported("grip").items()
    ]
    if pedal is Pedal.FULL:
        lost = (pair.first.lost_to_spin(goal), pair.second.lost_to_spin(goal))
        label = f"time lost to spin by {target_label(goal)}"
        rows.insert(2, _row(label, *lost, Dimension.TIME, numbers))
    return Table(f"Spin, {PEDAL_WORDS[pedal]}", _heads(pair), tuple(rows))


def _surplus(pair: Pair, numbers: Numbers) -> Table:
    """Gears in which neither curve is above the ceiling stand in one line."""
    rows: list[Row] = []
    free = False
    for one, other in zip(pair.first.full.measures.surplus, pair.second.full.measures.surplus, strict=True):
        if not (one.share_of_area or other.share_of_area or one.time_above or other.time_above):
            free = True
            continue
        shares = (one.share_of_area, other.share_of_area)
        rows.append(_row(f"gear {one.gear}, area above", *shares, Dimension.SHARE, numbers))
        rows.append(_row(f"gear {one.gear}, time above", one.time_above, other.time_above, Dimension.TIME, numbers))
    if free:
        rows.append(
            _row(
                "other gears, area above" if rows else "every gear, area above",
                0.0,
                0.0,
                Dimension.SHARE,
                numbers,
            )
        )
    return Table("Above the usable torque, full pedal", _heads(pair), tuple(rows))


def _peak(simulation: Simulation, part: Part) -> float:
    return next((p.torque for p in simulation.measures.parts if p.part is part), float("nan"))


def _parts(pair: Pair, pedal: Pedal, numbers: Numbers) -> Table:
    one, other = pair.first.of(pedal), pair.second.of(pedal)
    rows = [
        _row(part_name(part, one.scenario), _peak(one, part), _peak(other, part), Dimension.TORQUE, numbers)
        for part in driven_parts(one, other)
    ]
    return Table(f"Peak torque, {PEDAL_WORDS[pedal]}", _heads(pair), tuple(rows))


def curves_table(pair: Pair, numbers: Numbers) -> Table:
    """Peaks of the curves as they are given, at full load."""
    case = pair.verdict.case
    torques = _by_order(pair, case.higher_peak, case.lower_peak)
    powers = _by_order(pair, case.higher_power, case.lower_power)
    rows = (
        _row("peak torque", *torques, Dimension.TORQUE, numbers),
        _row("peak power", *powers, Dimension.POWER, numbers),
    )
    return Table("Curves at full load", _heads(pair), (*rows, *_use_of_peak(pair, numbers)))


def _use_of_peak(pair: Pair, numbers: Numbers) -> Iterator[Row]:
    """How long the engine with the higher peak runs in the span of that peak, full pedal."""
    used = pair.verdict.case.peak_use
    for label, time in zip(("engine within the peak", "  of it with spinning tyres"), used or (), strict=False):
        cells = _by_order(pair, numbers.plain(time, Dimension.TIME), NOT_REACHED)
        yield Row(label, numbers.unit(Dimension.TIME), (*cells, NOT_REACHED))


def _steady(simulation: Simulation, part: Part) -> float:
    return next((p.steady for p in simulation.measures.parts if p.part is part), float("nan"))


def _pull(pair: Pair, numbers: Numbers) -> Table:
    one, other = pair.first.full, pair.second.full
    rows = [
        _row(part_name(part, one.scenario), _steady(one, part), _steady(other, part), Dimension.TORQUE, numbers)
        for part in driven_parts(one, other)
    ]
    return Table("Steady pull, full pedal", _heads(pair), tuple(rows))


def _second_axle(pair: Pair, numbers: Numbers) -> Iterator[Table]:
    """The clutch that brings in the second axle, where there is one."""
    one, other = pair.first.full.measures.second_axle, pair.second.full.measures.second_axle
    if one is None or other is None:
        return
    rows = [
        _row(q.label, getattr(one, name), getattr(other, name), q.dimension, numbers)
        for name, q in reported("second_axle").items()
    ]
    yield Table("Clutch of the second axle, full pedal", _heads(pair), tuple(rows))


# --- the gap ---


def sections_table(pair: Pair, numbers: Numbers) -> Table:
    """Where along the run the gap opens, with either pedal."""
    time, length = Dimension.TIME, Dimension.LENGTH
    longest = max(pair.full.sections, pair.held.sections, key=len)
    growths = zip_longest(pair.full.sections, pair.held.sections)
    rows = []
    for where, (full, held) in zip(longest, growths, strict=True):
        cells = tuple(numbers.signed(s.growth, time) if s else NOT_REACHED for s in (full, held))
        start, end = (numbers.with_unit(place, length) for place in (where.start, where.end))
        rows.append(Row(f"{start} to {end}", numbers.unit(time), cells))
    return Table("Where the gap opens", tuple(PEDAL_WORDS.values()), tuple(rows))


_WHY_HEADS = ("full pedal", "least", "most", "held slip")


def why_tables(pair: Pair, numbers: Numbers) -> Iterator[Table]:
    """What each span of engine speed adds to the gap; least and most are those with full pedal."""
    if pair.why is None or not (pair.why.spans or pair.why.limits):
        return
    rows = []
    for span in pair.why.spans:
        ends = " to ".join(numbers.plain(each, Dimension.ROTATIONAL_SPEED) for each in (span.start, span.end))
        unit = numbers.unit(Dimension.ROTATIONAL_SPEED)
        rows.append(_share_row(f"{span.name.value}, {ends} {unit}", span, numbers))
    players: list[Span | LimitsByGear] = [*pair.why.spans]
    if pair.why.limits:
        rows.append(_share_row(f"torque limits, {gears_words(pair.why.limits.gears)}", pair.why.limits, numbers))
        players.append(pair.why.limits)
    gaps = (sum(each.full.share for each in players), nan, nan, sum(each.held.share for each in players))
    cells = tuple(numbers.signed(each, Dimension.TIME) for each in gaps)
    yield Table(
        "Where the gap comes from", _WHY_HEADS, (*rows, Row("all spans together", numbers.unit(Dimension.TIME), cells))
    )


def _share_row(label: str, of: Span | LimitsByGear, numbers: Numbers) -> Row:
    shown = (of.full.share, of.full.least, of.full.most, of.held.share)
    return Row(label, numbers.unit(Dimension.TIME), tuple(numbers.signed(each, Dimension.TIME) for each in shown))


def _causes(pair: Pair, comparison: Comparison, numbers: Numbers) -> Iterator[Table]:
    """What each launch loses to what, full pedal, and what is left without all of it."""
    one, other = (comparison.budget(runs.name) for runs in (pair.first, pair.second))
    if one is None or other is None:
        return
    rows = [_row("the launch without these losses", one.ideal, other.ideal, Dimension.TIME, numbers)]
    shares = ((cause, one.shares[cause].share, other.shares[cause].share) for cause in one.shares)
    rows.extend(_row(cause.value, first, second, Dimension.TIME, numbers) for cause, first, second in shares)
    rows.append(_row("the launch as it is", one.time, other.time, Dimension.TIME, numbers))
    yield Table("What takes the time, full pedal", _heads(pair), tuple(rows))


def _tried(pair: Pair, numbers: Numbers) -> Iterator[Table]:
    """Times with other launch speeds and with later shifts, full pedal."""
    found = pair.driving
    if found and found.launch:
        unit = numbers.unit(Dimension.ROTATIONAL_SPEED)
        labels = [f"{numbers.plain(each, Dimension.ROTATIONAL_SPEED)} {unit}" for each in found.launch.values]
        asked, given = pair.first.full.scenario.launch.engine_speed, found.launch.as_given
        if asked == BEST:
            labels[given] = "the best of each"
        elif found.launch.values[given] < asked.si * (1.0 - 1e-9):
            labels[given] = "as far as the converter allows"
        yield _tried_table("Launch speed, full pedal", labels, found.launch, pair, numbers)
    if found and found.shifts:
        labels = [
            "at the greatest wheel force" if share == 0.0 else f"{100.0 * share:.0f} % of the way to the rev limiter"
            for share in found.shifts.values
        ]
        yield _tried_table("Shifts, full pedal", labels, found.shifts, pair, numbers)


def _tried_table(title: str, labels: list[str], tried: Tried, pair: Pair, numbers: Numbers) -> Table:
    rows = [
        _row(f"{label}{' (as given)' if k == tried.as_given else ''}", one, other, Dimension.TIME, numbers)
        for k, (label, one, other) in enumerate(zip(labels, tried.first, tried.second, strict=True))
    ]
    if tried.best is not None:
        best = (tried.first[tried.best[0]], tried.second[tried.best[1]])
        rows.append(_row("each curve at its best of these", *best, Dimension.TIME, numbers))
    return Table(title, _heads(pair), tuple(rows))


def _mixture(pair: Pair, numbers: Numbers) -> Iterator[str]:
    """A curve put together from both that is quicker than either."""
    best = pair.why.best if pair.why else None
    if best is None:
        return
    unit = numbers.unit(Dimension.ROTATIONAL_SPEED)
    edges = [numbers.plain(start, Dimension.ROTATIONAL_SPEED) for start, _, _ in best.parts[1:]]
    *lower, last = (named(name) for _, _, name in best.parts)
    below = ", ".join(f"{name} up to {edge} {unit}" for name, edge in zip(lower, edges, strict=True))
    limits = f", with the torque limits of {named(best.limits)}" if best.limits else ""
    time = numbers.rounded_time(best.time)
    yield f"Quicker than either curve is a mixture, {below} and {last} above{limits}: {time}."


def grip_table(pair: Pair, goal: Target, numbers: Numbers) -> Table:
    """The gap at the goal with less and with more grip."""
    percent = numbers.plain(pair.verdict.grip_doubt, Dimension.SHARE).removesuffix(".0")
    gaps = (pair.full, pair.held)
    lines = (
        (f"{percent} % less grip", [gap.grip.less for gap in gaps]),
        ("grip as given", [gap.at_goal.gap for gap in gaps]),
        (f"{percent} % more grip", [gap.grip.more for gap in gaps]),
    )
    rows = [
        Row(label, numbers.unit(Dimension.TIME), tuple(numbers.signed(v, Dimension.TIME) for v in values))
        for label, values in lines
    ]
    return Table(f"Gap at {target_label(goal)}", tuple(PEDAL_WORDS.values()), tuple(rows))


# --- how sure, and parts against ratings ---


def _by_order(pair: Pair, higher: Cell, lower: Cell) -> tuple[Cell, Cell]:
    """What belongs to the higher and to the lower peak, as the first and the second curve have it."""
    return (higher, lower) if pair.first.name == pair.verdict.case.higher else (lower, higher)


def _odds(pair: Pair, numbers: Numbers) -> Iterator[Table]:
    drawn = pair.odds
    if drawn is None:
        return
    ahead = ((drawn.first, drawn.first_quicker), (drawn.second, drawn.second_quicker))
    shown = [Row(f"{name} quicker", "", tally(drawn, quicker).cells) for name, quicker in ahead]
    shown.append(Row(f"level {numbers.within()}", "", (str(round(drawn.level * drawn.cases)), "", "")))
    yield Table(f"Of {drawn.cases} cases", CASES_HEADS, tuple(shown))
    cells = tuple(numbers.signed(gap, Dimension.TIME) for gap in drawn.difference_quantiles())
    row = Row("difference, full pedal", numbers.unit(Dimension.TIME), cells)
    yield Table("Difference over all cases", QUANTILE_HEADS, (row,))


def _rated(pair: Pair, numbers: Numbers) -> Iterator[Table]:
    rated = pair.verdict.case.rated
    rows: list[Row] = []
    for part in rated:
        one, other = _by_order(pair, part.higher.demand, part.lower.demand)
        rows.append(
            _row(f"{part.higher.name}, steady pull of rating", one.steady, other.steady, Dimension.SHARE, numbers)
        )
        rows.append(_row("  peak of torque of failure", one.shock, other.shock, Dimension.SHARE, numbers))
        words = ("TOO MUCH" if each.too_much else "within" for each in (one, other))
        rows.append(Row("  flag", "", (*words, "")))
    if rows:
        yield Table("Parts and ratings, full pedal", _heads(pair), tuple(rows))


def time_tables(pair: Pair, goal: Target, numbers: Numbers) -> tuple[Table, ...]:
    """Times and speeds at every mark, with either pedal."""
    return tuple(
        make
        for gap in (pair.full, pair.held)
        for make in (_marks(pair, gap, goal, numbers), _line_speeds(pair, gap, numbers))
    )


def pair_tables(pair: Pair, comparison: Comparison, system: System) -> tuple[Table, ...]:
    """Every table of one pair, in the order of printing."""
    numbers, goal = Numbers(system), comparison.goal
    return (
        *time_tables(pair, goal, numbers),
        *([Table("Other starts, full pedal", _heads(pair), tests)] if (tests := _tests(pair, numbers)) else []),
        _grip(pair, Pedal.FULL, goal, numbers),
        _grip(pair, Pedal.HELD_SLIP, goal, numbers),
        _surplus(pair, numbers),
        curves_table(pair, numbers),
        _pull(pair, numbers),
        _parts(pair, Pedal.FULL, numbers),
        _parts(pair, Pedal.HELD_SLIP, numbers),
        *_second_axle(pair, numbers),
        sections_table(pair, numbers),
        *why_tables(pair, numbers),
        *_causes(pair, comparison, numbers),
        *_tried(pair, numbers),
        grip_table(pair, goal, numbers),
        *_odds(pair, numbers),
        *_rated(pair, numbers),
    )


def tables(comparison: Comparison, system: System) -> tuple[Table, ...]:
    """Every table of every pair, the pair named in the titles where there are several; those have a ranking too."""
    several = len(comparison.pairs) > 1
    overall = (ranking, matrix) if several else ()
    return tuple(make(comparison, Numbers(system)) for make in overall) + tuple(
        Table(f"{pair.first.name} / {pair.second.name}: {table.title}", table.heads, table.rows) if several else table
        for pair in comparison.pairs
        for table in pair_tables(pair, comparison, system)
    )


# --- the whole ---


def bad_runs(comparison: Comparison) -> list[str]:
    """A sentence for each run whose energy does not add up."""
    return [
        f"BAD RUN: the energy of curve {short(runs.name, 24)}, {PEDAL_WORDS[pedal]}, does not add up; "
        "do not use its numbers."
        for runs in comparison.runs
        for pedal in Pedal
        if runs.of(pedal).measures.audit.bad
    ]


def _unreached(comparison: Comparison, numbers: Numbers) -> list[str]:
    return [
        f"Curve {short(runs.name, 24)}, {PEDAL_WORDS[pedal]}: {end_text(runs.of(pedal), numbers)}."
        for runs in comparison.runs
        for pedal in Pedal
        if not runs.of(pedal).reached
    ]


def _missed(comparison: Comparison, numbers: Numbers) -> list[str]:
    return [
        f"Curve {short(runs.name, 24)}, {PEDAL_WORDS[pedal]}: {line[0].lower()}{line[1:]}"
        for runs in comparison.runs
        for pedal in Pedal
        for line in missed_text(runs.of(pedal), numbers)
    ]


_MEANING = (
    "A difference is the second column less the first, as printed: a time below zero means that the second curve is "
    "quicker. With "
    "1 ft rollout: the clock and the distance begin one foot from the start. Held slip: slip control trims the torque "
    "to a target slip. Time lost to spin: full pedal less held slip. At the grip limit the tyres give all they can; "
    "wheelspin is slip beyond that, which wastes torque. Peak torque includes the shocks of launch and shifts, steady "
    "pull does not. Marks beyond the goal come from the same launch, continued; everything else is measured up to the "
    "goal. -: not reached."
)
_MEANING_OF_SPANS = (
    "Where the gap comes from: the engine speeds are cut into spans where the curves cross, and beside the peak where "
    "they do not cross. Every mixture that takes one curve in some spans and the other in the rest is launched. A span "
    "has the mean change of time when the second curve replaces the first in it; least and most are the extremes over "
    "all mixtures of the other spans."
)
_SHIFTS_FOLLOW = "Shift speeds are worked out anew for each mixture."
_SHORT_MEANING = "A difference is the second column less the first: below zero the second curve is quicker."
_MORE = "--all prints every table."
SPRINT = {System.METRIC: "0-100 km/h", System.US: "0-60 mph"}
"""The sprint that is stated beside the goal."""


def _pair_head(pair: Pair) -> str:
    return paragraph(f"{short(pair.first.name, 36)} against {short(pair.second.name, 36)}")


def _verdict_text(pair: Pair, system: System, several: bool) -> str:
    title = "Verdict"
    if several:
        title += f", {short(pair.first.name, 30)} against {short(pair.second.name, 30)}"
    return "\n".join([title, *(paragraph(sentence) for sentence in sentences(pair.verdict, system))])


def _above_the_curve(comparison: Comparison) -> Iterator[str]:
    cases = [pair.verdict.case for pair in comparison.pairs]
    pulls = ((case.input_torques, (case.higher_peak, case.lower_peak)) for case in cases)
    if any(pull > peak for torques, peaks in pulls for pull, peak in zip(torques, peaks, strict=True)):
        yield paragraph(above_the_curve(converter=isinstance(comparison.scenario.coupling, TorqueConverter)))


def _opening(comparison: Comparison, system: System) -> tuple[str, ...]:
    """Scenario and conditions, and what is wrong with single runs."""
    return (
        header(comparison.scenario, comparison.runs[0].full.car, system),
        *(paragraph(f"Different reference conditions: {gap}.") for gap in comparison.correction_gaps),
        *(paragraph(line) for line in (*bad_runs(comparison), *_unreached(comparison, Numbers(system)))),
    )


def _closing(comparison: Comparison, system: System) -> tuple[str, ...]:
    """What ratings of shafts leave open, the caution, then the verdicts."""
    several = len(comparison.pairs) > 1
    shaft = one_shaft_of(comparison.loads, system) if comparison.scenario.parts else ""
    return (
        *([paragraph(shaft)] if shaft else []),
        paragraph(f"Caution: {caution(comparison.scenario)}"),
        *(_verdict_text(pair, system, several) for pair in comparison.pairs),
    )


def _full_pair(pair: Pair, comparison: Comparison, system: System) -> Iterator[str]:
    yield _pair_head(pair)
    yield from tables_text(pair_tables(pair, comparison, system))
    if pair.why and pair.why.spans:
        follow = f" {_SHIFTS_FOLLOW}" if pair.why.shifts_follow else ""
        yield paragraph(f"{_MEANING_OF_SPANS}{follow}")
    yield from map(paragraph, _mixture(pair, Numbers(system)))


def full_text(comparison: Comparison, system: System) -> str:
    """A comparison with every table, as text of 80 columns, the verdict last."""
    blocks = [
        *_opening(comparison, system),
        paragraph(_MEANING),
        *(block for pair in comparison.pairs for block in _full_pair(pair, comparison, system)),
        *_starts(comparison, Numbers(system)),
        *_above_the_curve(comparison),
        *(paragraph(line) for line in _missed(comparison, Numbers(system))),
        *_closing(comparison, system),
    ]
    return "\n\n".join(blocks)


# --- what fits a screen ---


def _main_times(pair: Pair, goal: Target, numbers: Numbers) -> Table:
    """The goal with both pedals, a sprint, and the tests from other starts."""
    goals = [(PEDAL_WORDS[gap.pedal], gap.at_goal) for gap in (pair.full, pair.held)]
    rows = [
        _row(f"{target_label(goal)}, {words}", gap.first.time, gap.second.time, Dimension.TIME, numbers)
        for words, gap in goals
    ]
    for gap in distinct(pair.full.marks, _target):
        label = target_label(gap.first.target)
        if label == SPRINT[numbers.system] and not same_target(gap.first.target, goal) and not isnan(gap.gap):
            rows.append(_row(label, gap.first.time, gap.second.time, Dimension.TIME, numbers))
    return Table("Times", _heads(pair), (*rows, *_tests(pair, numbers)))


def _tests(pair: Pair, numbers: Numbers) -> tuple[Row, ...]:
    """A line for each test from another start, full pedal."""
    return tuple(_row(_started(test), test.first, test.second, Dimension.TIME, numbers) for test in pair.tests)


def _started(test: RoadTestGap) -> str:
    """A test with the gears that it was begun in, where the test itself names none."""
    roll = test.target.roll
    if roll is None or roll.gear:
        return test.target.label
    one, other = test.gears
    return f"{test.target.label}, gear {one}" if one == other else f"{test.target.label}, gears {one}, {other}"


def _cost(pair: Pair, numbers: Numbers) -> Table:
    """Peaks, spin and load with full pedal: what stands beside the times."""
    one, other = pair.first.full, pair.second.full
    grip, spin = (one.measures.grip, other.measures.grip), reported("grip")["wheelspin_time"]
    part = Part.GEARBOX_INPUT
    rows = [
        *curves_table(pair, numbers).rows[:2],
        _row(spin.label, grip[0].wheelspin_time, grip[1].wheelspin_time, spin.dimension, numbers),
        _row(f"steady pull, {part.value}", _steady(one, part), _steady(other, part), Dimension.TORQUE, numbers),
    ]
    worst = pair.verdict.case.worst
    if worst is not None:
        shares = _by_order(pair, worst.higher.demand.share, worst.lower.demand.share)
        rows.append(_row(f"{worst.higher.name}, of what is allowed", *shares, Dimension.SHARE, numbers))
    return Table("Curves, spin and load, full pedal", _heads(pair), tuple(rows))


def _screen_of_pair(pair: Pair, comparison: Comparison, system: System) -> Iterator[str]:
    numbers = Numbers(system)
    shown = (_main_times(pair, comparison.goal, numbers), *why_tables(pair, numbers), _cost(pair, numbers))
    yield from tables_text(shown)
    yield from map(paragraph, _mixture(pair, numbers))


def _goal_times(comparison: Comparison, pedal: Pedal) -> dict[str, float]:
    """Time of every curve to the goal; nan where it was not reached [s]."""
    return {runs.name: mark(runs.of(pedal).run.trace, comparison.goal).time for runs in comparison.runs}


def ranking(comparison: Comparison, numbers: Numbers) -> Table:
    """Every curve, the quickest first: its time, how far it is behind, and its peaks."""
    peaks: dict[str, tuple[float, float]] = {}
    for pair in comparison.pairs:
        case = pair.verdict.case
        peaks |= {case.higher: (case.higher_peak, case.higher_power), case.lower: (case.lower_peak, case.lower_power)}
    times, held = (_goal_times(comparison, pedal) for pedal in (Pedal.FULL, Pedal.HELD_SLIP))
    ordered = sorted(times, key=lambda name: (isnan(times[name]), times[name]))
    best = times[ordered[0]]
    rows = tuple(
        Row(
            name,
            "",
            (
                numbers.plain(times[name], Dimension.TIME),
                numbers.signed(times[name] - best, Dimension.TIME),
                numbers.plain(held[name], Dimension.TIME),
                numbers.plain(peaks[name][0], Dimension.TORQUE),
                numbers.plain(peaks[name][1], Dimension.POWER),
            ),
        )
        for name in ordered
    )
    units = [numbers.unit(each) for each in (Dimension.TIME, Dimension.TORQUE, Dimension.POWER)]
    heads = ("full pedal", "behind", "held slip", f"peak [{units[1]}]", f"power [{units[2]}]")
    return Table(f"{target_label(comparison.goal)}, times in {units[0]}", heads, rows)


def _ahead(comparison: Comparison, numbers: Numbers) -> str:
    """The quickest curve, and how far it is ahead of the next."""
    times = _goal_times(comparison, Pedal.FULL)
    known = sorted((time, name) for name, time in times.items() if not isnan(time))
    if len(known) < 2:
        return "Fewer than two curves reach the goal."
    (best, first), (time, second) = known[:2]
    gap = time - best
    if gap < WORTH_NAMING:
        return f"{named(first)} is the quickest, level with {named(second)} {numbers.within()}."
    return f"{named(first)} is the quickest, {numbers.rounded_time(gap)} ahead of {named(second)}."


def matrix(comparison: Comparison, numbers: Numbers) -> Table:
    """How far the curve of each row is behind the curve of each column, full pedal."""
    times = _goal_times(comparison, Pedal.FULL)
    rows = tuple(
        Row(
            name,
            numbers.unit(Dimension.TIME),
            tuple(numbers.signed(one - other, Dimension.TIME) for other in times.values()),
        )
        for name, one in times.items()
    )
    return Table("Row behind column, full pedal", tuple(times), rows)


def _starts(comparison: Comparison, numbers: Numbers) -> list[str]:
    """The launch speed of each curve where it was sought, and launches that bog and lose time by it; full pedal."""
    lines = [
        f"{named(runs.name)}, full pedal. {launch_speed_text(runs.full.launch_speed, numbers)}."
        for runs in comparison.runs
        if runs.full.launch_speed
    ]
    lines += [
        f"{named(runs.name)}, full pedal: {bog_text(runs.full.bog, numbers)}."
        for runs in comparison.runs
        if runs.full.bog and runs.full.bog.gain >= WORTH_NAMING
    ]
    return [paragraph(each, "    ") for each in lines]


def _starts_in_short(comparison: Comparison, numbers: Numbers) -> Iterator[str]:
    """The same in a sentence each; the full text says more."""
    turns = Dimension.ROTATIONAL_SPEED
    sought = [(runs.name, runs.full.launch_speed) for runs in comparison.runs if runs.full.launch_speed]
    if sought:
        each = (
            f"{named(name)} {numbers.with_unit(found.speed, turns)} ({numbers.plain(found.low, turns)} to "
            f"{numbers.plain(found.high, turns)} are equal)"
            for name, found in sought
        )
        held = " as far as the converter allows" if any(found.converter for _, found in sought) else ""
        yield f"Launch speed, the best of each{held}: {', '.join(each)}."
    bogs = [(runs.name, runs.full.bog) for runs in comparison.runs if runs.full.bog]
    costly = [
        f"{named(name)} falls from {numbers.plain(bog.launch_speed, turns)} to {numbers.with_unit(bog.lowest, turns)}, "
        f"and gains {numbers.rounded_time(bog.gain)} from {numbers.with_unit(bog.higher_speed, turns)}"
        for name, bog in bogs
        if bog.gain >= WORTH_NAMING
    ]
    if costly:
        yield f"Bog: {'; '.join(costly)}."


def text(comparison: Comparison, system: System) -> str:
    """What a comparison comes to on one screen of 80 columns, the verdict last."""
    numbers, several = Numbers(system), len(comparison.pairs) > 1
    if several:
        shown = tables_text([ranking(comparison, numbers), matrix(comparison, numbers)])
    else:
        shown = list(_screen_of_pair(comparison.pairs[0], comparison, system))
    blocks = [
        *_opening(comparison, system),
        *shown,
        *map(paragraph, _starts_in_short(comparison, numbers)),
        *_above_the_curve(comparison),
        *([paragraph(_ahead(comparison, numbers))] if several else []),
        paragraph(f"{'' if several else f'{_SHORT_MEANING} '}{_MORE}"),
        *_closing(comparison, system),
    ]
    return "\n\n".join(blocks)


def summary(comparison: Comparison, system: System) -> str:
    """The verdict of every pair."""
    several = len(comparison.pairs) > 1
    return " ".join(
        " ".join([*([f"{named(pair.second.name)} against {named(pair.first.name)}:"] if several else []), *verdict])
        for pair in comparison.pairs
        for verdict in [sentences(pair.verdict, system)]
    )


# --- JSON ---


def _gap_object(gap: MarkGap) -> Object:
    return {**target_object(gap.first.target), **group_object("mark_gap", gap)}


def _pedal_object(gap: PedalGap) -> Object:
    grip = {"with_less_grip": gap.grip.less, "with_more_grip": gap.grip.more}
    return {
        "at_goal": _gap_object(gap.at_goal),
        "marks": [_gap_object(mark) for mark in gap.marks],
        "along": group_object("gap_trace", gap.along),
        "sections": [group_object("gap_section", section) for section in gap.sections],
        **{name: {quantity("mark_gap.gap").key: number(value)} for name, value in grip.items()},
    }


def _odds_object(drawn: Odds | None) -> Object | None:
    """Odds as the higher peak sees them, which is their second curve."""
    if drawn is None:
        return None
    return {
        "cases": drawn.cases,
        "quicker_share": group_object("chance", drawn.second_quicker),
        "slower_share": group_object("chance", drawn.first_quicker),
        "level_share": number(drawn.level),
        "gap_5_50_95_s": listed(drawn.difference_quantiles()),
    }


def _rated_object(part: RatedPart) -> Object:
    higher, lower = part.higher, part.lower
    return {
        "part": higher.name,
        **group_object("rated_part", part),
        "higher_too_much": higher.broken,
        "lower_too_much": lower.broken,
        "no_reason_to_choose": part.alike,
        "higher_peak_event": higher.event.when or None,
        "higher_peak_cause": higher.event.cause or None,
    }


def _verdict_object(verdict: Verdict) -> Object:
    case = verdict.case
    return {
        "finding": verdict.finding.name.lower(),
        "peak_itself": case.peak_effect.name.lower(),
        "sentences": list(sentences(verdict, System.METRIC)),
        **group_object("verdict", verdict),
        "sureness": _odds_object(case.odds),
        "rated_parts": [_rated_object(part) for part in case.rated],
        "higher": case.higher,
        "lower": case.lower,
        **group_object("case", case),
    }


def _causes_object(pair: Pair, comparison: Comparison) -> Object:
    one, other = (comparison.budget(runs.name) for runs in (pair.first, pair.second))
    if one is None or other is None:
        return {"by_cause": None, "ideal": None}
    losses = {cause: _Loss(one.shares[cause].share, other.shares[cause].share) for cause in one.shares}
    return {
        "by_cause": [{"name": cause.value, **group_object("loss", loss)} for cause, loss in losses.items()],
        "ideal": group_object("loss", _Loss(one.ideal, other.ideal)),
    }


class _Loss(NamedTuple):
    """Time that both curves lose to a cause [s]."""

    first: float
    second: float

    @property
    def share(self) -> float:
        return self.second - self.first


def _driving_object(found: Driving | None) -> Object | None:
    if found is None:
        return None
    tried = {"launch": found.launch, "shifts": found.shifts}
    return {
        name: each and {**group_object(f"tried_{name}", each), **group_object("tried", each)}
        for name, each in tried.items()
    }


def _spans_object(why: Attribution | None) -> Object:
    if why is None:
        return {"by_engine_speed": None, "shift_speeds": None, "quicker_mixture": None}
    best = why.best and {
        **group_object("mixture", why.best),
        **({"gear_limits": why.best.limits} if why.best.limits else {}),
        "parts": [{**group_object("mixture_part", part), "curve": part[-1]} for part in why.best.parts],
    }
    limits = why.limits and {"gears": list(why.limits.gears), **group_object("span_share", why.limits)}
    return {
        "by_engine_speed": [
            {
                "name": span.name.value,
                "higher": why.second if span.second_above else why.first,
                **group_object("span", span),
                **group_object("span_share", span),
            }
            for span in why.spans
        ],
        **({"gear_limits": limits} if limits else {}),
        "shift_speeds": "follow the curve" if why.shifts_follow else "as typed",
        "quicker_mixture": best,
    }


def _pair_object(pair: Pair, comparison: Comparison) -> Object:
    return {
        "first": pair.first.name,
        "second": pair.second.name,
        "full": _pedal_object(pair.full),
        "held_slip": _pedal_object(pair.held),
        "why": {**_spans_object(pair.why), **_causes_object(pair, comparison)},
        "driving": _driving_object(pair.driving),
        "tests": [
            {
                **target_object(test.target),
                **group_object("road_test", test),
                "first_gear": test.gears[0] or None,
                "second_gear": test.gears[1] or None,
            }
            for test in pair.tests
        ],
        "verdict": _verdict_object(pair.verdict),
    }


def _runs_object(runs: CurveRuns, goal: Target, trace: bool) -> Object:
    return {
        "curve": runs.name,
        "full": launch_object(runs.full, trace=trace),
        "held_slip": launch_object(runs.held, trace=trace),
        "lost_to_spin_s": number(runs.lost_to_spin(goal)),
    }


def _correction_gap_object(gap: CorrectionGap) -> Object:
    return {
        "higher": gap.higher,
        "higher_correction": gap.higher_correction.value,
        "lower": gap.lower,
        "lower_correction": gap.lower_correction.value,
        **group_object("reference_gap", gap),
    }


def document(comparison: Comparison, *, trace: bool = False) -> Object:
    """The JSON object; sentences of the verdicts carry metric units, whatever is printed."""
    return {
        "format": "simlaunch-compare-1",
        "scenario": comparison.scenario.name,
        "conditions": conditions_object(comparison.scenario, comparison.runs[0].full.car),
        "goal": target_object(comparison.goal),
        "targets_reached": comparison.reached,
        "correction_gaps": [_correction_gap_object(gap) for gap in comparison.correction_gaps],
        "runs": [_runs_object(runs, comparison.goal, trace) for runs in comparison.runs],
        "pairs": [_pair_object(pair, comparison) for pair in comparison.pairs],
    }
