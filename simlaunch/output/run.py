"""One launch: what is printed of it, and its JSON."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from math import isfinite, isnan, nan
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from simlaunch.analysis.parts import part_name
from simlaunch.analysis.simulate import Missed, Simulation
from simlaunch.launching.bog import SHARE, Bog
from simlaunch.launching.goals import WORTH_NAMING, same_target, target_label
from simlaunch.launching.launch_speed import BESIDE, FLAT, HELD, LaunchSpeed
from simlaunch.launching.out_of_reach import stalled
from simlaunch.metrics.marks import MarkResult, Roll, Target
from simlaunch.metrics.parts import Part
from simlaunch.output.as_json import Object, group_object, listed, mark_object, target_object
from simlaunch.output.conditions import conditions_object, header
from simlaunch.output.groups import of_car, rows, table
from simlaunch.output.layout import Table, paragraph, short, tables_text
from simlaunch.output.trace import trace_columns
from simlaunch.output.words import PEDAL_WORDS, Numbers, caution, named
from simlaunch.simulation.events import Event
from simlaunch.simulation.run import Outcome
from simlaunch.units.spelling import Dimension, System

Item = TypeVar("Item")

MEANING_OF_MARKS = (
    "Rollout: the clock and the distance begin one foot from the start. Line: speed at the mark. 66 ft: mean speed "
    "over the last 66 ft before it."
)

_OF_RUN = ("share_of_area", "time_above")
"""What a run says of surplus torque."""


def distinct(items: Iterable[Item], target: Callable[[Item], Target]) -> list[Item]:
    """Items whose target was not asked for earlier under another name."""
    kept: list[Item] = []
    for item in items:
        if not any(same_target(target(item), target(other)) for other in kept):
            kept.append(item)
    return kept


def driven_parts(*simulations: Simulation) -> list[Part]:
    """Parts that carry torque in any of the runs, from the engine to the wheels."""
    carrying = {peak.part for simulation in simulations for peak in simulation.measures.parts}
    return [part for part in Part if part in carrying]


def marks_table(marks: Sequence[MarkResult], numbers: Numbers) -> Table:
    """Times and speeds of marks, those asked for twice shown once; that at the end of a span is known."""
    results = (
        result if result.target.by_distance else replace(result, speed=nan)
        for result in distinct(marks, lambda result: result.target)
    )
    rolls = any(result.target.roll for result in marks)
    fields = ("time", "speed") if rolls else None
    return table("Marks", "mark", ((target_label(result.target), result) for result in results), numbers, fields)


def missed_text(simulation: Simulation, numbers: Numbers) -> list[str]:
    """Sentences that name the marks that a launch does not reach, and say why; none where it reaches all."""
    missed = simulation.missed
    if missed is None:
        return []
    beyond = missed.beyond_reach
    found = [f"Out of reach: {_labels(beyond)}; {_top_speed(simulation, numbers)}."] if beyond else []
    late = [target for target in missed.targets if target not in beyond]
    return [*found, *([f"Not reached: {_labels(late)}; {_why(missed, numbers)}."] if late else [])]


def _labels(targets: Iterable[Target]) -> str:
    return ", ".join(dict.fromkeys(map(target_label, targets)))


def _why(missed: Missed, numbers: Numbers) -> str:
    """Why marks are missed that more time might reach."""
    speed = numbers.with_unit(missed.speed, Dimension.SPEED)
    distance = numbers.with_unit(missed.distance, Dimension.LENGTH)
    then = f"{missed.time:.1f} s after the start, at {speed}"
    if missed.outcome is Outcome.STALLED:
        return f"the engine stalled {then}"
    if missed.outcome is Outcome.FINISHED:
        return f"the launch could not be followed beyond its goal, {then}"
    why = f"the time limit came first, {then} and {distance}"
    longer = missed.longer
    if longer is None or isnan(longer.time):
        return why
    return f"{why}; with a longer run.time_limit {target_label(longer.target)} takes {longer.time:.1f} s"


def _top_speed(simulation: Simulation, numbers: Numbers) -> str:
    """Top speed of a car that was given all the time there is; in the gear that it does not leave."""
    assert simulation.missed, "asked only where something is missed"
    assert simulation.missed.longer, "asked only where the car was given more time"
    roll = simulation.target.roll
    gear = f" in gear {roll.gear}" if roll and roll.gear and not roll.shifting else ""
    return f"the top speed of the car{gear} is {numbers.with_unit(simulation.missed.longer.top_speed, Dimension.SPEED)}"


def end_text(simulation: Simulation, numbers: Numbers) -> str:
    """How a launch ended, and what to write instead where its goal was missed; no advice that cannot help."""
    outcome, stop = simulation.run.outcome, simulation.car.run
    if outcome is Outcome.STALLED:
        return stalled(simulation.target)
    ended: str = outcome.value
    longer = simulation.missed.longer if simulation.missed else None
    if outcome is Outcome.FINISHED or longer is None or longer.outcome is Outcome.FINISHED:
        return ended
    if stop.stop_speed <= longer.top_speed and stop.stop_distance <= longer.distance:
        return ended
    if longer.outcome is not Outcome.TIME_LIMIT:
        return longer.why
    if stop.stop_speed <= longer.top_speed:
        return longer.how_far
    return f"{_top_speed(simulation, numbers)}, and no time limit changes that: choose a lower speed"


def _parts(simulation: Simulation, numbers: Numbers) -> Table:
    peaks = ((part_name(peak.part, simulation.scenario), peak) for peak in simulation.measures.parts)
    return table("Peak torque of parts", "part", peaks, numbers, ("steady", "torque", "time", "gear"))


def _surplus(simulation: Simulation, numbers: Numbers) -> Table:
    gears = ((f"gear {surplus.gear}", surplus) for surplus in simulation.measures.surplus)
    return table("Above the usable torque", "surplus", gears, numbers, _OF_RUN)


def _events(events: Sequence[Event], numbers: Numbers) -> Table:
    return table("Events", "event", ((event.kind.value, event) for event in events), numbers)


def _second_axle(simulation: Simulation, numbers: Numbers) -> Iterator[Table]:
    """What the clutch does that brings in the second axle, where there is one."""
    if simulation.measures.second_axle:
        found = rows("second_axle", [simulation.measures.second_axle], numbers)
        yield Table("Clutch of the second axle", ("value",), tuple(found))


def tables(simulation: Simulation, system: System) -> tuple[Table, ...]:
    """Every table of one launch, in the order of printing."""
    numbers, measures = Numbers(system), simulation.measures
    energy = of_car(rows("energy", [measures.audit], numbers), simulation.scenario)
    return (
        marks_table(measures.marks, numbers),
        Table("Grip use", ("value",), tuple(rows("grip", [measures.grip], numbers))),
        _surplus(simulation, numbers),
        _parts(simulation, numbers),
        *_second_axle(simulation, numbers),
        *_bog_tables(simulation, numbers),
        Table("Energy audit", ("value",), tuple(energy)),
        _events(simulation.run.trace.events, numbers),
    )


def _start(roll: Roll, numbers: Numbers) -> str:
    """How a roll begins."""
    speed, boost = numbers.with_unit(roll.speed, Dimension.SPEED), numbers.with_unit(roll.boost, Dimension.SHARE)
    gears = "gears are shifted" if roll.shifting else "no gear is left"
    return (
        f"Rolls at {speed} in gear {roll.gear}; at time zero the driver asks for all there is; boost {boost}; {gears}"
    )


def launch_speed_text(found: LaunchSpeed, numbers: Numbers) -> str:
    """The launch speed that was found, where it is flat, and what it gains on others."""
    turns, time = Dimension.ROTATIONAL_SPEED, Dimension.TIME
    label, speed = target_label(found.target), numbers.with_unit(found.speed, turns)
    if not isfinite(found.time):
        return f"Launch speed: none of those tried reaches {label}; {speed} is taken"
    flat = f"held to within {HELD:.0f} rpm, speeds from {numbers.plain(found.low, turns)} to "
    flat += f"{numbers.with_unit(found.high, turns)} are equal within {numbers.with_unit(FLAT, time)}"
    if found.low == found.high:
        flat = f"no other speed that was tried comes within {numbers.with_unit(FLAT, time)} if held to {HELD:.0f} rpm"
    costs = [
        f"{BESIDE:.0f} rpm {way} costs {numbers.with_unit(cost, time)}"
        if cost >= 0.0
        else f"{BESIDE:.0f} rpm {way} is {numbers.with_unit(-cost, time)} quicker, but not if held to {HELD:.0f} rpm"
        for way, cost in (("less", found.below), ("more", found.above))
        if isfinite(cost)
    ]
    why = f"the best for {label}"
    if found.converter:
        why += ", all that the torque converter lets: the converter decides it, and the driver cannot ask for more"
    return f"Launch speed {speed}: {why}; {'; '.join([flat, *costs])}"


def _bog_tables(simulation: Simulation, numbers: Numbers) -> Iterator[Table]:
    """How far the engine falls as the clutch takes hold, where there is one."""
    if simulation.bog:
        yield Table("Engine at the start", ("value",), tuple(rows("bog", [simulation.bog], numbers)))


def bog_text(bog: Bog | None, numbers: Numbers) -> str:
    """That a launch bogs, and whether that costs time; empty where it does not."""
    if bog is None or not bog.bogs:
        return ""
    turns = Dimension.ROTATIONAL_SPEED
    start, lowest = numbers.plain(bog.launch_speed, turns), numbers.with_unit(bog.lowest, turns)
    limit = numbers.with_unit(bog.limit, turns)
    of = "the boost threshold" if bog.below_threshold and bog.limit == bog.threshold else f"{100 * SHARE:.0f} % of that"
    what = f"the launch bogs: the engine falls from {start} to {lowest}, below {of} ({limit}), "
    what += f"for {numbers.rounded_span(bog.time)}"
    if bog.gain >= WORTH_NAMING:
        higher = numbers.with_unit(bog.higher_speed, turns)
        return f"{what}; launched at {higher} the car is {numbers.rounded_time(bog.gain)} quicker"
    return f"{what}; none of the higher launch speeds that were tried gains {numbers.least()}"


def _alarm(simulation: Simulation) -> list[str]:
    if not simulation.measures.audit.bad:
        return []
    return ["BAD RUN: its energy does not add up; do not use these numbers."]


def text(simulation: Simulation, system: System) -> str:
    """One launch as text of 80 columns."""
    what = f'Curve "{short(simulation.curve, 40)}", {PEDAL_WORDS[simulation.pedal]}'
    if simulation.target.roll:
        what += f"\n{paragraph(_start(simulation.target.roll, Numbers(system)))}"
    if simulation.launch_speed:
        what += f"\n{paragraph(launch_speed_text(simulation.launch_speed, Numbers(system)))}"
    meaning = (
        "Marks are timed from the start of the roll, spans of speed from their first speed. Line: speed at a distance."
        if simulation.target.roll
        else f"{MEANING_OF_MARKS} Marks beyond the goal come from the same launch, continued; everything else is "
        "measured up to the goal. -: not reached, or not defined."
    )
    fallen = bog_text(simulation.bog, Numbers(system))
    blocks = [
        f"{header(simulation.scenario, simulation.car, system)}\n{what}",
        paragraph(meaning),
        *map(paragraph, _alarm(simulation)),
        *tables_text(tables(simulation, system)),
        *map(paragraph, missed_text(simulation, Numbers(system))),
        *([paragraph(f"{fallen[0].upper()}{fallen[1:]}.")] if fallen else []),
        paragraph(f"Caution: {caution(simulation.scenario)}"),
        paragraph(f"End: {end_text(simulation, Numbers(system))}."),
        *map(paragraph, _alarm(simulation)),
    ]
    return "\n\n".join(blocks)


def summary(simulation: Simulation, system: System) -> str:
    """The curve, the pedal, and the time to the goal."""
    numbers, time = Numbers(system), simulation.time
    reached = numbers.with_unit(time, Dimension.TIME) if isfinite(time) else "not reached"
    what = target_label(simulation.target)
    return f"{named(simulation.curve)}, {PEDAL_WORDS[simulation.pedal]}: {what} {reached}."


# --- JSON and columns ---


def columns(simulation: Simulation) -> Mapping[str, NDArray[np.float64]]:
    """Histories of the run."""
    return trace_columns(simulation.run.trace)


def launch_object(simulation: Simulation, *, trace: bool = False) -> Object:
    """One launch within a result."""
    measures = simulation.measures
    return {
        "curve": simulation.curve,
        "target": target_object(simulation.target),
        "pedal": simulation.pedal.name.lower(),
        "outcome": simulation.run.outcome.name.lower(),
        "targets_reached": simulation.reached,
        "bog": group_object("bog", simulation.bog) if simulation.bog else None,
        "launch_speed": group_object("launch_speed", simulation.launch_speed) if simulation.launch_speed else None,
        **group_object("run", simulation),
        "marks": [mark_object(result) for result in measures.marks],
        "grip": group_object("grip", measures.grip),
        "energy": {**group_object("energy", measures.audit), "bad": measures.audit.bad},
        "parts": [{"part": peak.part.value, **group_object("part", peak)} for peak in measures.parts],
        "second_axle": group_object("second_axle", measures.second_axle) if measures.second_axle else None,
        "surplus": [{"gear": s.gear, **group_object("surplus", s, _OF_RUN)} for s in measures.surplus],
        "events": [{"kind": e.kind.value, **group_object("event", e)} for e in simulation.run.trace.events],
        **({"trace": {key: listed(values) for key, values in columns(simulation).items()}} if trace else {}),
    }


def document(simulation: Simulation, *, trace: bool = False) -> Object:
    """The JSON object; with the histories if they are wanted."""
    return {
        "format": "simlaunch-run-1",
        "scenario": simulation.scenario.name,
        "conditions": conditions_object(simulation.scenario, simulation.car),
        **launch_object(simulation, trace=trace),
    }
