"""One launch: what is printed of it, and its JSON."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from math import isfinite
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from simlaunch.analysis.simulate import Simulation, goal, same_target, target_label
from simlaunch.metrics.marks import Kind, MarkResult, Target
from simlaunch.metrics.parts import Part
from simlaunch.output.as_json import Object, group_object, listed, mark_object, number
from simlaunch.output.conditions import conditions_object, header
from simlaunch.output.layout import Row, Table, paragraph, short, tables_text
from simlaunch.output.trace import trace_columns
from simlaunch.output.words import CAUTION, NOT_REACHED, PEDAL_WORDS, Numbers, named
from simlaunch.quantities import reported
from simlaunch.simulation.events import Event
from simlaunch.simulation.run import Outcome
from simlaunch.units.spelling import Dimension, System

Item = TypeVar("Item")


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


def _mark_row(result: MarkResult, numbers: Numbers) -> Row:
    time, speed = Dimension.TIME, Dimension.SPEED
    cells = (
        numbers.plain(result.time, time),
        numbers.plain(result.time_after_rollout, time),
        numbers.plain(result.speed if result.target.kind is Kind.DISTANCE else float("nan"), speed),
        numbers.plain(result.trap_speed, speed),
    )
    return Row(target_label(result.target), "", cells)


def marks_table(marks: Sequence[MarkResult], numbers: Numbers) -> Table:
    """Times and speeds of marks, those asked for twice shown once."""
    time, speed = numbers.unit(Dimension.TIME), numbers.unit(Dimension.SPEED)
    heads = (f"time [{time}]", f"rollout [{time}]", f"line [{speed}]", f"66 ft [{speed}]")
    results = distinct(marks, lambda result: result.target)
    return Table("Marks", heads, tuple(_mark_row(result, numbers) for result in results))


def group_rows(group: str, source: object, numbers: Numbers, only: Sequence[str] | None = None) -> list[Row]:
    """A row for every reported quantity of a group, or for those that are named."""
    found = reported(group)
    return [
        Row(q.label, numbers.unit(q.dimension), (numbers.plain(getattr(source, q.name), q.dimension),))
        for q in map(found.__getitem__, only or found)
    ]


def missed_text(simulation: Simulation, numbers: Numbers) -> list[str]:
    """A sentence that names the marks that a launch does not reach, and says why; none where it reaches all."""
    missed = simulation.missed
    if missed is None:
        return []
    named = ", ".join(dict.fromkeys(map(target_label, missed.targets)))
    speed = numbers.with_unit(missed.speed, Dimension.SPEED)
    distance = numbers.with_unit(missed.distance, Dimension.LENGTH)
    then = f"{missed.time:.1f} s after the start, at {speed}"
    why = {
        Outcome.STALLED: f"the engine stalled {then}",
        Outcome.TIME_LIMIT: f"the time limit came first, {then} and {distance}",
        Outcome.FINISHED: f"the launch could not be followed beyond its goal, {then}",
    }[missed.outcome]
    if missed.outcome is Outcome.TIME_LIMIT and missed.at_top_speed:
        why += ", where the car gains no more speed"
    return [f"Not reached: {named}; {why}."]


def _grip(simulation: Simulation, numbers: Numbers) -> Table:
    return Table("Grip use", ("value",), tuple(group_rows("grip", simulation.measures.grip, numbers)))


def _audit(simulation: Simulation, numbers: Numbers) -> Table:
    audit, share = simulation.measures.audit, "residual_share"
    energies = [name for name in reported("energy") if name != share]
    rows = group_rows("energy", audit, numbers, energies)
    rows.append(Row(reported("energy")[share].label, "", (f"{audit.residual_share:.1e}",)))
    return Table("Energy audit", ("value",), tuple(rows))


def _parts(simulation: Simulation, numbers: Numbers) -> Table:
    torque = numbers.unit(Dimension.TORQUE)
    heads = (f"steady pull [{torque}]", f"peak [{torque}]", f"time [{numbers.unit(Dimension.TIME)}]", "gear")
    rows = [
        Row(
            peak.part.value,
            "",
            (
                numbers.plain(peak.steady, Dimension.TORQUE),
                numbers.plain(peak.torque, Dimension.TORQUE),
                numbers.plain(peak.time, Dimension.TIME),
                NOT_REACHED if peak.gear is None else str(peak.gear),
            ),
        )
        for peak in simulation.measures.parts
    ]
    return Table("Peak torque of parts", heads, tuple(rows))


def _surplus(simulation: Simulation, numbers: Numbers) -> Table:
    heads = (f"share of area [{numbers.unit(Dimension.SHARE)}]", f"time above [{numbers.unit(Dimension.TIME)}]")
    rows = [
        Row(
            f"gear {surplus.gear}",
            "",
            (
                numbers.plain(surplus.share_of_area, Dimension.SHARE),
                numbers.plain(surplus.time_above, Dimension.TIME),
            ),
        )
        for surplus in simulation.measures.surplus
    ]
    return Table("Surplus torque", heads, tuple(rows))


def _events(events: Sequence[Event], numbers: Numbers) -> Table:
    rows = [Row(event.kind.value, "", (numbers.plain(event.time, Dimension.TIME),)) for event in events]
    return Table("Events", (f"time [{numbers.unit(Dimension.TIME)}]",), tuple(rows))


def tables(simulation: Simulation, system: System) -> tuple[Table, ...]:
    """Every table of one launch, in the order of printing."""
    numbers = Numbers(system)
    return (
        marks_table(simulation.measures.marks, numbers),
        _grip(simulation, numbers),
        _surplus(simulation, numbers),
        _parts(simulation, numbers),
        _audit(simulation, numbers),
        _events(simulation.run.trace.events, numbers),
    )


def _alarm(simulation: Simulation) -> list[str]:
    if not simulation.measures.audit.bad:
        return []
    return ["BAD RUN: its energy does not add up; do not use these numbers."]


def text(simulation: Simulation, system: System) -> str:
    """One launch as text of 80 columns."""
    what = f'Curve "{short(simulation.curve, 40)}", {PEDAL_WORDS[simulation.pedal]}'
    meaning = (
        "Rollout: timed, and a distance measured, from one foot on. Line: speed there. 66 ft: mean speed over "
        "the last 66 ft. Marks beyond the goal of the run are taken from the same launch carried on; all else is "
        "measured up to the goal. -: not reached, or not defined."
    )
    blocks = [
        f"{header(simulation.scenario, simulation.car, system)}\n{what}",
        paragraph(meaning),
        *map(paragraph, _alarm(simulation)),
        *tables_text(tables(simulation, system)),
        *map(paragraph, missed_text(simulation, Numbers(system))),
        paragraph(f"Caution: {CAUTION}"),
        paragraph(f"End: {simulation.run.outcome.value}."),
        *map(paragraph, _alarm(simulation)),
    ]
    return "\n\n".join(blocks)


def summary(simulation: Simulation, system: System) -> str:
    """The curve, the pedal, and the time to the goal."""
    numbers, aim = Numbers(system), goal(simulation.scenario)
    time = next(result.time for result in simulation.measures.marks if same_target(result.target, aim))
    reached = numbers.with_unit(time, Dimension.TIME) if isfinite(time) else "not reached"
    return f"{named(simulation.curve)}, {PEDAL_WORDS[simulation.pedal]}: {target_label(aim)} {reached}."


# --- JSON and columns ---


def columns(simulation: Simulation) -> Mapping[str, NDArray[np.float64]]:
    """Histories of the run."""
    return trace_columns(simulation.run.trace)


def launch_object(simulation: Simulation, *, trace: bool = False) -> Object:
    """One launch within a result."""
    measures = simulation.measures
    return {
        "curve": simulation.curve,
        "pedal": simulation.pedal.name.lower(),
        "outcome": simulation.run.outcome.name.lower(),
        "targets_reached": simulation.reached,
        "steps": simulation.run.steps,
        "steps_rejected": simulation.run.rejected,
        "marks": [mark_object(result) for result in measures.marks],
        "grip": group_object("grip", measures.grip),
        "energy": {**group_object("energy", measures.audit), "bad": measures.audit.bad},
        "parts": [
            {"part": p.part.value, **group_object("part", p), "time_s": number(p.time), "gear": p.gear}
            for p in measures.parts
        ],
        "surplus": [{"gear": s.gear, **group_object("surplus", s)} for s in measures.surplus],
        "events": [{"time_s": number(e.time), "kind": e.kind.value} for e in simulation.run.trace.events],
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
