"""Curves against each other as text: marks with both pedals, spin, parts, where the gap opens, and the verdict."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import zip_longest
from typing import TypeVar

from simlaunch.analysis.compare import Comparison, MarkGap, Pair, PedalGap
from simlaunch.analysis.simulate import Simulation, same_target, target_label
from simlaunch.metrics.marks import Kind, MarkResult, Target
from simlaunch.metrics.parts import Part
from simlaunch.output.conditions import header
from simlaunch.output.layout import Row, Table, paragraph, short, tables_text
from simlaunch.output.run import distinct, driven_parts, missed_text
from simlaunch.output.words import (
    CASES_HEADS,
    CAUTION,
    NOT_REACHED,
    PEDAL_WORDS,
    Numbers,
    Tally,
    above_the_curve,
    sentences,
)
from simlaunch.quantities import reported
from simlaunch.record import Pedal
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.powertrain import TorqueConverter
from simlaunch.units.spelling import Dimension, System

Cell = TypeVar("Cell")


def _heads(pair: Pair) -> tuple[str, ...]:
    return (pair.first.name, pair.second.name, "difference")


def _row(label: str, first: float, second: float, kind: Dimension, numbers: Numbers) -> Row:
    cells = (numbers.plain(first, kind), numbers.plain(second, kind), numbers.signed(second - first, kind))
    return Row(label, numbers.unit(kind), cells)


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
        rows.append(_row(f"gear {one.gear}, share of area", *shares, Dimension.SHARE, numbers))
        rows.append(_row(f"gear {one.gear}, time above", one.time_above, other.time_above, Dimension.TIME, numbers))
    if free:
        rows.append(
            _row(
                "other gears, share of area" if rows else "every gear, share of area",
                0.0,
                0.0,
                Dimension.SHARE,
                numbers,
            )
        )
    return Table("Surplus torque, full pedal", _heads(pair), tuple(rows))


def _peak(simulation: Simulation, part: Part) -> float:
    return next((p.torque for p in simulation.measures.parts if p.part is part), float("nan"))


def _parts(pair: Pair, pedal: Pedal, numbers: Numbers) -> Table:
    one, other = pair.first.of(pedal), pair.second.of(pedal)
    rows = [
        _row(part.value, _peak(one, part), _peak(other, part), Dimension.TORQUE, numbers)
        for part in driven_parts(one, other)
    ]
    if pedal is Pedal.FULL:
        case = pair.verdict.case
        peaks = {case.higher: case.higher_peak, case.lower: case.lower_peak}
        both = (peaks[pair.first.name], peaks[pair.second.name])
        rows.insert(0, _row("curve, at full load", *both, Dimension.TORQUE, numbers))
    return Table(f"Peak torque, {PEDAL_WORDS[pedal]}", _heads(pair), tuple(rows))


def _steady(simulation: Simulation, part: Part) -> float:
    return next((p.steady for p in simulation.measures.parts if p.part is part), float("nan"))


def _pull(pair: Pair, numbers: Numbers) -> Table:
    one, other = pair.first.full, pair.second.full
    rows = [
        _row(part.value, _steady(one, part), _steady(other, part), Dimension.TORQUE, numbers)
        for part in driven_parts(one, other)
    ]
    return Table("Steady pull, full pedal", _heads(pair), tuple(rows))


# --- the gap ---


def _sections(pair: Pair, numbers: Numbers) -> Table:
    time, length = Dimension.TIME, Dimension.LENGTH
    longest = max(pair.full.sections, pair.held.sections, key=len)
    growths = zip_longest(pair.full.sections, pair.held.sections)
    rows = []
    for where, (full, held) in zip(longest, growths, strict=True):
        cells = tuple(numbers.signed(s.growth, time) if s else NOT_REACHED for s in (full, held))
        start, end = (numbers.with_unit(place, length) for place in (where.start, where.end))
        rows.append(Row(f"{start} to {end}", numbers.unit(time), cells))
    return Table("Where the gap opens", tuple(PEDAL_WORDS.values()), tuple(rows))


def _grip_check(pair: Pair, goal: Target, numbers: Numbers) -> Table:
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


def _sureness(pair: Pair, numbers: Numbers) -> Iterator[Table]:
    sure = pair.verdict.case.sureness
    if sure is None:
        return
    ahead = zip((pair.first.name, pair.second.name), _by_order(pair, sure.quicker, sure.slower), strict=True)
    shown = [Row(f"{name} quicker", "", Tally(sure.cases, *shares).cells) for name, shares in ahead]
    shown.append(Row(f"level {numbers.within()}", "", (str(round(sure.level * sure.cases)), "", "")))
    yield Table(f"How sure, of {sure.cases} drawn cases", CASES_HEADS, tuple(shown))
    low, middle, high = sure.gaps
    gaps = _by_order(pair, (-high, -middle, -low), (low, middle, high))[0]
    cells = tuple(numbers.signed(gap, Dimension.TIME) for gap in gaps)
    row = Row("difference, full pedal", numbers.unit(Dimension.TIME), cells)
    yield Table("Drawn cases that stay below", ("5 %", "half", "95 %"), (row,))


def _rated(pair: Pair, numbers: Numbers) -> Iterator[Table]:
    rated = pair.verdict.case.rated
    rows: list[Row] = []
    for part in rated:
        one, other = _by_order(pair, *part.demands)
        rows.append(_row(f"{part.part}, steady of rating", one.steady, other.steady, Dimension.SHARE, numbers))
        rows.append(_row("  peak of expected failure", one.shock, other.shock, Dimension.SHARE, numbers))
        words = ("TOO MUCH" if each.too_much else "within" for each in (one, other))
        rows.append(Row("  flag", "", (*words, "")))
    if rows:
        yield Table("Parts and ratings, full pedal", _heads(pair), tuple(rows))


def pair_tables(pair: Pair, goal: Target, system: System) -> tuple[Table, ...]:
    """Every table of one pair, in the order of printing."""
    numbers = Numbers(system)
    return (
        _marks(pair, pair.full, goal, numbers),
        _line_speeds(pair, pair.full, numbers),
        _marks(pair, pair.held, goal, numbers),
        _line_speeds(pair, pair.held, numbers),
        _grip(pair, Pedal.FULL, goal, numbers),
        _grip(pair, Pedal.HELD_SLIP, goal, numbers),
        _surplus(pair, numbers),
        _pull(pair, numbers),
        _parts(pair, Pedal.FULL, numbers),
        _parts(pair, Pedal.HELD_SLIP, numbers),
        _sections(pair, numbers),
        _grip_check(pair, goal, numbers),
        *_sureness(pair, numbers),
        *_rated(pair, numbers),
    )


def comparison_tables(comparison: Comparison, system: System) -> tuple[Table, ...]:
    """Every table of every pair, the pair named in the titles where there are several."""
    several = len(comparison.pairs) > 1
    return tuple(
        Table(f"{pair.first.name} / {pair.second.name}: {table.title}", table.heads, table.rows) if several else table
        for pair in comparison.pairs
        for table in pair_tables(pair, comparison.goal, system)
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


def _unreached(comparison: Comparison) -> list[str]:
    return [
        f"Curve {short(runs.name, 24)}, {PEDAL_WORDS[pedal]}: {runs.of(pedal).run.outcome.value}."
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
    "Differences are second column less first: with a time below zero the second curve is quicker. With 1 ft "
    "rollout: timed, and a distance measured, from one foot on. Held slip: torque trimmed to a target slip. "
    "Time lost to spin: full pedal less held slip. At the grip limit: grip used in full, which is good; "
    "wheelspin: slip beyond it, which is wasted. Peak torque holds the shocks of launch and shifts, steady pull does "
    "not. Marks beyond the goal of the run are taken from the same launch carried on; all else is measured up to the "
    "goal. -: not reached."
)


def _pair_head(pair: Pair) -> str:
    return paragraph(f"{short(pair.first.name, 36)} against {short(pair.second.name, 36)}")


def _pair_text(pair: Pair, goal: Target, system: System) -> list[str]:
    return [_pair_head(pair), *tables_text(pair_tables(pair, goal, system))]


def _verdict_text(pair: Pair, system: System, several: bool) -> str:
    title = "Verdict"
    if several:
        title += f", {short(pair.first.name, 30)} against {short(pair.second.name, 30)}"
    return "\n".join([title, *(paragraph(sentence) for sentence in sentences(pair.verdict, system))])


def _above_the_curve(comparison: Comparison, scenario: Scenario) -> Iterator[str]:
    cases = [pair.verdict.case for pair in comparison.pairs]
    pulls = ((case.input_torques, (case.higher_peak, case.lower_peak)) for case in cases)
    if any(pull > peak for torques, peaks in pulls for pull, peak in zip(torques, peaks, strict=True)):
        yield paragraph(above_the_curve(converter=isinstance(scenario.coupling, TorqueConverter)))


def comparison_text(comparison: Comparison, scenario: Scenario, system: System) -> str:
    """A comparison as text of 80 columns, the verdict last."""
    car = comparison.runs[0].full.car
    several = len(comparison.pairs) > 1
    blocks = [
        header(scenario, car, system),
        *(paragraph(f"Unlike footing: {gap}.") for gap in comparison.footings),
        *(paragraph(line) for line in (*bad_runs(comparison), *_unreached(comparison))),
        paragraph(_MEANING),
        *(block for pair in comparison.pairs for block in _pair_text(pair, comparison.goal, system)),
        *_above_the_curve(comparison, scenario),
        *(paragraph(line) for line in _missed(comparison, Numbers(system))),
        paragraph(f"Caution: {CAUTION}"),
        *(_verdict_text(pair, system, several) for pair in comparison.pairs),
    ]
    return "\n\n".join(blocks)
