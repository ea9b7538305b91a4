"""What the first page says: the question, the answer in a line, three numbers, and what it means for the parts."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import isnan

from simlaunch.analysis.parts import Level, PartLoad
from simlaunch.comparing.compare import MarkGap, input_pull
from simlaunch.comparing.verdict import Case, Finding, PeakEffect, Verdict
from simlaunch.launching.goals import WORTH_NAMING, same_target, target_label
from simlaunch.output.layout import Row, Table
from simlaunch.output.parts import rating_verdict
from simlaunch.output.words import PEDAL_WORDS, Numbers, above_the_curve, sentences
from simlaunch.record import Pedal
from simlaunch.reporting.gather import Material
from simlaunch.reporting.typeset import named
from simlaunch.scenario.powertrain import TorqueConverter
from simlaunch.units.spelling import Dimension, System

_ANSWERS = {
    Finding.HELPS: "{higher} is the bigger number, and its curve is quicker",
    Finding.HELPS_BUT_OVERLOADS: "{higher} is the bigger number and quicker, but it overloads a part",
    Finding.HURTS: "{higher} is the bigger number, but its curve is slower",
    Finding.NO_DIFFERENCE: "{higher} is the bigger number, but it makes no difference worth naming",
    Finding.DEPENDS_ON_LAUNCH: "{higher} is the bigger number; whether it is quicker depends on the launch",
    Finding.DEPENDS_ON_SHIFTS: "{higher} is the bigger number; whether it is quicker depends on the shift speeds",
    Finding.DEPENDS_ON_GRIP: "{higher} is the bigger number; whether it is quicker depends on the grip",
    Finding.NOT_SURE: "{higher} is the bigger number; whether it is quicker is not sure",
    Finding.OUT_OF_REACH: "No verdict: the goal was not reached",
}
_BY_THE_PEAK = {
    (Finding.HELPS, PeakEffect.GAINS): "{higher} is the bigger number, and its peak makes it quicker",
    (Finding.HELPS, PeakEffect.LOSES): "{higher} is the bigger number and quicker, though its peak costs time",
    (Finding.HURTS, PeakEffect.GAINS): "{higher} is the bigger number and its peak gains time, but its curve is slower",
    (Finding.HURTS, PeakEffect.LOSES): "{higher} is the bigger number, and its peak makes it slower",
}
"""Answers where it is known what the peak itself does."""

_SHARED_OVERLOAD = "{higher} is the bigger number and quicker, but either curve overloads a part"


_MOST_PARTS = 3  # that have room on the first page; all of them stand in the part about the driveline
_OFTEN_ASKED = ("60 ft", "0-60 mph", "0-100 km/h", "1/8 mile", "1/4 mile", "100-200 km/h")


@dataclass(frozen=True)
class Value:
    """One number of a card: whose it is, the number with its unit, and whether it is the better one."""

    curve: str
    text: str
    better: bool


@dataclass(frozen=True)
class Card:
    """One of the three numbers: what it is, its value with either curve, and their difference in words."""

    label: str
    values: tuple[Value, Value]
    words: str


@dataclass(frozen=True)
class Story:
    """Texts of the first page.

    Parameters
    ----------
    question : str
        What is asked.
    setting : str
        Which curves, which car and which goal.
    answer : str
        The verdict in a line.
    verdict : tuple of str
        The verdict in sentences.
    cards : tuple of Card
        Three numbers side by side.
    parts : str
        What it means for the parts.
    """

    question: str
    setting: str
    answer: str
    verdict: tuple[str, ...]
    cards: tuple[Card, ...]
    parts: str


def story(material: Material, system: System) -> Story:
    """Texts of the first page.

    Parameters
    ----------
    material : Material
        All studies.
    system : System
        Units.

    Returns
    -------
    Story
        Every number in it stands in a table of the page too.
    """
    numbers, case = Numbers(system), material.pair.verdict.case
    same = float(numbers.plain(case.higher_peak - case.lower_peak, Dimension.TORQUE)) == 0.0
    answer = answer_in_a_line(material.pair.verdict)
    if same:
        answer = answer.replace(" is the bigger number", " has as high a peak")
    return Story(
        f"Which curve: {named(material.pair.first.name)} or {named(material.pair.second.name)}?",
        _setting(material, numbers),
        f"{answer}.",
        sentences(material.pair.verdict, system),
        tuple(_cards(material, numbers)),
        _parts(material, system),
    )


def answer_in_a_line(verdict: Verdict) -> str:
    """The verdict in a line without its full stop; what both curves do is not laid to one of them."""
    shared = verdict.finding is Finding.HELPS_BUT_OVERLOADS and verdict.case.overload_is_shared
    known = _BY_THE_PEAK.get((verdict.finding, verdict.case.peak_effect), _ANSWERS[verdict.finding])
    answer = _SHARED_OVERLOAD if shared else known
    return answer.format(higher=named(verdict.case.higher))


def _setting(material: Material, numbers: Numbers) -> str:
    case = material.pair.verdict.case
    peaks = {case.higher: case.higher_peak, case.lower: case.lower_peak}
    one, other = _names(material)
    peak = [numbers.with_unit(peaks[name], Dimension.TORQUE) for name in (one, other)]
    goal = target_label(material.comparison.goal)
    return (
        f"{named(one)} reaches {peak[0]} at its peak, {named(other)} {peak[1]}. Both went through the same calculated "
        "standing start: same car, same road, same air. "
        f"What counts is the time for {goal}."
    )


def _cards(material: Material, numbers: Numbers) -> Iterator[Card]:
    pair, goal = material.pair, target_label(material.comparison.goal)
    times = (pair.full.at_goal.first.time, pair.full.at_goal.second.time)
    yield _timed(f"Time for {goal}", times, material, numbers, "quicker")
    spins = (pair.first.full.measures.grip.wheelspin_time, pair.second.full.measures.grip.wheelspin_time)
    yield _timed("Time with spinning tyres", spins, material, numbers, "less")
    yield _load(material, numbers)


def _timed(label: str, values: tuple[float, float], material: Material, numbers: Numbers, less: str) -> Card:
    """Two times; one that is ahead by less than is worth naming is not called the better one."""
    names = _names(material)
    gap = values[1] - values[0]
    level, best = not abs(gap) >= WORTH_NAMING, int(values[1] < values[0])
    texts = numbers.rounded_times(*values)
    shown = [
        Value(name, text, (k == best and not level) or _alone(values, k))
        for k, (name, text) in enumerate(zip(names, texts, strict=True))
    ]
    words = f"{numbers.rounded_time(abs(gap))} {less} with {named(names[best])}"
    if any(map(isnan, values)):
        words = "not reached"
    elif level:
        words = "no difference" if gap == 0.0 else f"no difference worth naming ({numbers.within()})"
    return Card(label, (shown[0], shown[1]), words)


def _alone(values: tuple[float, float], which: int) -> bool:
    """Whether one curve gets there and the other does not."""
    return not isnan(values[which]) and isnan(values[1 - which])


def _card(
    label: str, values: tuple[float, float], dimension: Dimension, material: Material, numbers: Numbers, less: str
) -> Card:
    names = (material.pair.first.name, material.pair.second.name)
    texts = [numbers.plain(value, dimension) for value in values]
    best = min(range(2), key=lambda k: (isnan(values[k]), values[k]))
    known = not any(map(isnan, values))
    shown = tuple(
        Value(name, numbers.with_unit(value, dimension), texts[0] != texts[1] and k == best and not isnan(value))
        for k, (name, value) in enumerate(zip(names, values, strict=True))
    )
    if not known:
        words = "not reached"
    elif texts[0] == texts[1]:
        words = "no difference"
    else:
        digits = len(texts[0].partition(".")[2])  # the difference of what is printed, which a reader can check
        gap = f"{abs(float(texts[1]) - float(texts[0])):.{digits}f} {numbers.unit(dimension)}"
        points = gap.replace(" %", " percentage points")  # of two shares the difference is no share of either
        words = f"{points} {less} with {named(names[best])}"
    return Card(label, (shown[0], shown[1]), words)


def _load(material: Material, numbers: Numbers) -> Card:
    """Load of the part that comes nearest to its rating, or else the pull at the gearbox input."""
    every = ([load.parts[k] for load in material.loads.loads] for k in material.loads.ranked())
    loaded = (parts for parts in every if not any(isnan(part.demand.share) for part in parts))
    if parts := next(loaded, None):
        shares = (parts[0].demand.share, parts[1].demand.share)
        label = f"Load of {named(parts[0].name)}, of what it is allowed"
        return _card(label, shares, Dimension.SHARE, material, numbers, "less")
    pulls = (input_pull(material.pair.first.full), input_pull(material.pair.second.full))
    return _card("Pull at the gearbox input", pulls, Dimension.TORQUE, material, numbers, "less")


def _parts(material: Material, system: System) -> str:
    if material.scenario.parts:
        return rating_verdict(material.loads, system)
    case, numbers = material.pair.verdict.case, Numbers(system)
    pull = [numbers.with_unit(torque, Dimension.TORQUE) for torque in case.input_torques]
    return (
        "No ratings of parts are known, so nothing is said about limits, only about which curve asks for more: "
        f"in steady pull the gearbox input carries {pull[0]} with {named(case.higher)} and {pull[1]} with "
        f"{named(case.lower)}.{_above(material)}"
    )


def _above(material: Material) -> str:
    if not any(load.pulls_above_curve for load in material.loads.loads):
        return ""
    return " " + above_the_curve(converter=isinstance(material.scenario.coupling, TorqueConverter))


def parts_table(material: Material, system: System) -> Table:
    """Highest torque of every part with either curve, shocks included, and what it is rated for."""
    numbers, rows = Numbers(system), []
    for k in material.loads.ranked():
        parts = [load.parts[k] for load in material.loads.loads]
        if parts[0].rating:
            rating = numbers.with_unit(parts[0].rating.rating.si, Dimension.TORQUE)
            rows.append(Row(parts[0].name, "", (rating, *(_loaded(part, numbers) for part in parts))))
        elif not material.scenario.parts:
            torques = (numbers.with_unit(part.torque, Dimension.TORQUE) for part in parts)
            rows.append(Row(parts[0].name, "", tuple(torques)))
    heads = ("rating", *_names(material)) if material.scenario.parts else _names(material)
    return Table("Highest torque in the launch, shocks included", heads, tuple(rows[:_MOST_PARTS]))


def main_times(material: Material, system: System) -> Table:
    """The times that are asked for most, with both curves and both pedals."""
    numbers, wanted = Numbers(system), material.comparison.goal
    gaps = (material.pair.full, material.pair.held)
    rows, shown = [], {target_label(wanted)}
    for k, gap in enumerate(material.pair.full.marks):
        target = gap.first.target
        if (label := target_label(target)) in _OFTEN_ASKED and label not in shown and not same_target(target, wanted):
            shown.add(label)  # a mark of the scenario may be one of the usual times
            rows.append(_times(target_label(target), [each.marks[k] for each in gaps], numbers))
    rows.append(_times(f"{target_label(wanted)}, which counts here", [each.at_goal for each in gaps], numbers))
    heads = tuple(f"{name}, {PEDAL_WORDS[pedal]}" for pedal in Pedal for name in _names(material))
    return Table("The main times", heads, tuple(rows))


def _times(label: str, gaps: list[MarkGap], numbers: Numbers) -> Row:
    values = (mark.time for gap in gaps for mark in (gap.first, gap.second))
    return Row(label, numbers.unit(Dimension.TIME), tuple(numbers.plain(value, Dimension.TIME) for value in values))


def _loaded(part: PartLoad, numbers: Numbers) -> str:
    """Highest torque of a part, and the share of what it is allowed that it comes to in pull or shocks."""
    if part.level is Level.UNLOADED:
        return Level.UNLOADED.value
    torque = numbers.with_unit(part.torque, Dimension.TORQUE)
    share = numbers.with_unit(part.demand.share, Dimension.SHARE)
    return f"{torque}; {share} of what is allowed{': too much' if part.broken else ''}"


def _names(material: Material) -> tuple[str, str]:
    return material.pair.first.name, material.pair.second.name


def both_units(material: Material) -> Table:
    """The main results in metric and in US customary units."""
    pair, goal = material.pair, target_label(material.comparison.goal)
    case: Case = pair.verdict.case
    peaks = {case.higher: case.higher_peak, case.lower: case.lower_peak}
    at_goal = (pair.full.at_goal.first, pair.full.at_goal.second)
    runs = (pair.first, pair.second)
    lines = (
        ("peak torque of the curve", Dimension.TORQUE, [peaks[each.name] for each in runs]),
        (f"time for {goal}, full pedal", Dimension.TIME, [mark.time for mark in at_goal]),
        (f"speed at {goal}, full pedal", Dimension.SPEED, [mark.speed for mark in at_goal]),
        ("steady pull at the gearbox input", Dimension.TORQUE, [input_pull(each.full) for each in runs]),
        ("slip distance", Dimension.LENGTH, [each.full.measures.grip.slip_distance for each in runs]),
        ("energy lost in tyre slip", Dimension.ENERGY, [each.full.measures.grip.slip_energy for each in runs]),
        ("mass of the car", Dimension.MASS, [float(each.full.car.body.mass) for each in runs]),
    )
    rows = [
        Row(label, "", tuple(Numbers(way).with_unit(value, kind) for way in System for value in values))
        for label, kind, values in lines
        if not all(map(isnan, values))
    ]
    heads = tuple(
        f"{name}, {way.value if way is System.METRIC else 'US'}" for way in System for name in _names(material)
    )
    return Table("The main results in both systems of units", heads, tuple(rows))
