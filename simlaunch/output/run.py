"""What is printed of one scenario: its check, one launch of it, and its curves against the usable torque."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from math import isnan
from typing import TypeVar

from simlaunch.analysis.simulate import Simulation, same_target, target_label
from simlaunch.analysis.usable import CurveSurplus, UsableTorque
from simlaunch.metrics.marks import Kind, MarkResult, Target
from simlaunch.metrics.parts import Part
from simlaunch.output.layout import Row, Table, clean, paragraph, short, tables_text
from simlaunch.output.words import CAUTION, NOT_REACHED, PEDAL_WORDS, Numbers
from simlaunch.physics.magic_formula import sliding_share
from simlaunch.record import Coupling, Record
from simlaunch.scenario.defaults import Default
from simlaunch.scenario.model import Scenario
from simlaunch.simulation.run import Outcome
from simlaunch.simulation.trace import Moment
from simlaunch.units.spelling import Dimension, System

Item = TypeVar("Item")

_SHOWN_SPEEDS = 8
_GEARS_ABREAST = 6


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


def header(scenario: Scenario, car: Record, system: System) -> str:
    """Name of the scenario, and its conditions in a line."""
    numbers = Numbers(system)
    road = scenario.road
    given = road.friction_factor and road.rolling_factor
    parts = [
        numbers.with_unit(car.body.mass, Dimension.MASS),
        "road as given" if given else clean(road.surface),
        f"friction factor {numbers.plain(car.road.friction_factor, Dimension.NUMBER)}",
        f"air {numbers.with_unit(car.air.density, Dimension.DENSITY)}",
    ]
    if road.grade.si:
        parts.append(f"grade {clean(road.grade.text)}")
    if scenario.air.head_wind.si:
        parts.append(f"head wind {clean(scenario.air.head_wind.text)}")
    return f"{paragraph(scenario.name)}\n{paragraph('; '.join(parts))}"


# --- one launch ---


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


def _value(label: str, value: float, kind: Dimension, numbers: Numbers) -> Row:
    return Row(label, numbers.unit(kind), (numbers.plain(value, kind),))


def _grip(simulation: Simulation, numbers: Numbers) -> Table:
    grip = simulation.measures.grip
    rows = (
        _value("time at the grip limit", grip.time_at_limit, Dimension.TIME, numbers),
        _value("wheelspin time", grip.wheelspin_time, Dimension.TIME, numbers),
        _value("slip distance", grip.slip_distance, Dimension.LENGTH, numbers),
        _value("  beyond peak slip", grip.slip_distance_past_peak, Dimension.LENGTH, numbers),
        _value("slip energy", grip.slip_energy, Dimension.ENERGY, numbers),
        _value("  beyond peak slip", grip.slip_energy_past_peak, Dimension.ENERGY, numbers),
        _value("front axle lifted", grip.lift_time, Dimension.TIME, numbers),
        _value("greatest slip", grip.greatest_slip, Dimension.SHARE, numbers),
    )
    return Table("Grip use", ("value",), rows)


_AUDIT = (
    ("engine work", "engine_work"),
    ("gain of stored energy", "kinetic"),
    ("air drag", "drag"),
    ("rolling resistance", "rolling"),
    ("grade", "grade"),
    ("tyre slip", "slip"),
    ("clutch or converter", "coupling"),
    ("gearing", "gearing"),
    ("twist damping", "twist"),
    ("residual", "residual"),
)


def _audit(simulation: Simulation, numbers: Numbers) -> Table:
    audit = simulation.measures.audit
    rows = [_value(label, getattr(audit, name), Dimension.ENERGY, numbers) for label, name in _AUDIT]
    rows.append(Row("residual over engine work", "", (f"{audit.residual_share:.1e}",)))
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


def _moments(moments: Sequence[Moment], numbers: Numbers) -> Table:
    rows = [Row(m.what, "", (numbers.plain(m.time, Dimension.TIME),)) for m in moments]
    return Table("Moments", (f"time [{numbers.unit(Dimension.TIME)}]",), tuple(rows))


def run_tables(simulation: Simulation, system: System) -> tuple[Table, ...]:
    """Every table of one launch, in the order of printing."""
    numbers = Numbers(system)
    return (
        marks_table(simulation.measures.marks, numbers),
        _grip(simulation, numbers),
        _surplus(simulation, numbers),
        _parts(simulation, numbers),
        _audit(simulation, numbers),
        _moments(simulation.run.trace.moments, numbers),
    )


def _alarm(simulation: Simulation) -> list[str]:
    if not simulation.measures.audit.bad:
        return []
    return ["BAD RUN: its energy does not add up; do not use these numbers."]


def run_text(simulation: Simulation, scenario: Scenario, system: System) -> str:
    """One launch as text of 80 columns."""
    what = f'Curve "{short(simulation.curve, 40)}", {PEDAL_WORDS[simulation.pedal]}'
    meaning = (
        "Rollout: timed, and a distance measured, from one foot on. Line: speed there. 66 ft: mean speed over "
        "the last 66 ft. Marks beyond the goal of the run are taken from the same launch carried on; all else is "
        "measured up to the goal. -: not reached, or not defined."
    )
    blocks = [
        f"{header(scenario, simulation.car, system)}\n{what}",
        paragraph(meaning),
        *map(paragraph, _alarm(simulation)),
        *tables_text(run_tables(simulation, system)),
        *map(paragraph, missed_text(simulation, Numbers(system))),
        paragraph(f"Caution: {CAUTION}"),
        paragraph(f"End: {simulation.run.outcome.value}."),
        *map(paragraph, _alarm(simulation)),
    ]
    return "\n\n".join(blocks)


# --- usable torque ---


def _surplus_row(surplus: CurveSurplus, numbers: Numbers) -> Row:
    speed = Dimension.ROTATIONAL_SPEED
    cells = (
        numbers.plain(surplus.first_speed, speed),
        numbers.plain(surplus.last_speed, speed),
        numbers.plain(surplus.share_of_area, Dimension.SHARE),
        numbers.plain(surplus.greatest, Dimension.TORQUE),
    )
    return Row(short(surplus.curve, 30), "", cells)


def _gear_table(usable: UsableTorque, gear: int, numbers: Numbers) -> Table:
    speed = numbers.unit(Dimension.ROTATIONAL_SPEED)
    heads = (
        f"from [{speed}]",
        f"to [{speed}]",
        f"area [{numbers.unit(Dimension.SHARE)}]",
        f"most [{numbers.unit(Dimension.TORQUE)}]",
    )
    rows = [_surplus_row(surplus, numbers) for surplus in usable.surplus if surplus.gear == gear]
    return Table(f"Gear {gear}: above the usable torque", heads, tuple(rows))


def _shown_speeds(usable: UsableTorque) -> list[int]:
    last = len(usable.engine_speed) - 1
    return sorted({round(i * last / (_SHOWN_SPEEDS - 1)) for i in range(_SHOWN_SPEEDS)})


def _ceiling_tables(usable: UsableTorque, numbers: Numbers) -> Iterator[Table]:
    """Gears side by side, as many as there is room for."""
    torque, speed = Dimension.TORQUE, Dimension.ROTATIONAL_SPEED
    for begin in range(0, len(usable.ceilings), _GEARS_ABREAST):
        gears = usable.ceilings[begin : begin + _GEARS_ABREAST]
        rows = [
            Row(
                f"{numbers.with_unit(float(usable.engine_speed[i]), speed)}",
                "",
                tuple(numbers.plain(float(gear.usable[i]), torque) for gear in gears),
            )
            for i in _shown_speeds(usable)
        ]
        heads = tuple(f"gear {gear.gear}" for gear in gears)
        yield Table(f"Usable torque [{numbers.unit(torque)}]", heads, tuple(rows))


def usable_tables(usable: UsableTorque, system: System) -> tuple[Table, ...]:
    """Every table of the usable torque, in the order of printing."""
    numbers = Numbers(system)
    gears = (_gear_table(usable, ceiling.gear, numbers) for ceiling in usable.ceilings)
    return (*gears, *_ceiling_tables(usable, numbers))


def usable_text(usable: UsableTorque, scenario: Scenario, car: Record, system: System) -> str:
    """Usable torque as text of 80 columns; gears in which no curve is above it share a line."""
    above = {surplus.gear for surplus in usable.surplus if not isnan(surplus.first_speed)}
    free = [str(ceiling.gear) for ceiling in usable.ceilings if ceiling.gear not in above]
    tables = usable_tables(usable, system)
    gears = len(usable.ceilings)
    told = tables_text([tables[gear - 1] for gear in sorted(above)])
    if free:
        told.append(paragraph(f"Below the usable torque at every engine speed in gear {', '.join(free)}."))
    meaning = (
        "Usable torque: the engine torque at which the driven tyres reach their peak force, with load "
        "transfer and rotating mass taken in. What a curve has above it can only spin the tyres."
    )
    if car.coupling.kind == Coupling.TORQUE_CONVERTER:
        meaning += (
            " It holds for a converter that has locked up or coupled; while the converter multiplies torque, as at "
            "the start in first gear, the tyres can use that much less of the engine's."
        )
    blocks = [header(scenario, car, system), paragraph(meaning), *told, *tables_text(tables[gears:])]
    return "\n\n".join(blocks)


# --- check ---


def _listed(entries: Iterable[tuple[str, str]]) -> Iterator[str]:
    for key, text in entries:
        yield paragraph(f"{key}: {text}", "    ")


def _derived(cars: Mapping[str, Record], numbers: Numbers) -> Iterator[tuple[str, str]]:
    """Numbers that a launch works out for itself, those of a curve under its name."""
    first = next(iter(cars.values()))
    yield "air density", numbers.with_unit(first.air.density, Dimension.DENSITY)
    yield "target slip of held slip", numbers.with_unit(first.pedal.target_slip, Dimension.SHARE)
    for end, tyre in (("front", first.front), ("rear", first.rear)):
        kept = sliding_share(float(tyre.shape_factor), float(tyre.curvature))
        yield f"grip of a sliding {end} tyre, share of its peak", numbers.with_unit(kept, Dimension.SHARE)
    for name, car in cars.items():
        speeds = car.gearbox.shift_speed[: int(car.gearbox.count) - 1]
        told = ", ".join(numbers.plain(float(speed), Dimension.ROTATIONAL_SPEED) for speed in speeds)
        unit = numbers.unit(Dimension.ROTATIONAL_SPEED)
        if told:
            yield f'shift speeds, curve "{short(name, 40)}"', f"{told} {unit}"
        launch = numbers.with_unit(car.launch.engine_speed, Dimension.ROTATIONAL_SPEED)
        yield f'engine speed at the start, curve "{short(name, 40)}"', launch


def check_tables(
    scenario: Scenario,
    defaults: Sequence[Default],
    warnings: Sequence[str],
    cars: Mapping[str, Record],
    system: System,
) -> tuple[Table, ...]:
    """What a check of a sound scenario found, as tables."""
    del scenario
    derived = _derived(cars, Numbers(system))
    return (
        Table("defaults", ("value", "origin"), tuple(Row(d.key, "", (d.value, d.origin)) for d in defaults)),
        Table("worked out", ("value",), tuple(Row(key, "", (text,)) for key, text in derived)),
        Table("warnings", ("text",), tuple(Row(str(n), "", (w,)) for n, w in enumerate(warnings, start=1))),
    )


def check_text(
    scenario: Scenario,
    defaults: Sequence[Default],
    warnings: Sequence[str],
    cars: Mapping[str, Record],
    system: System,
) -> str:
    """What a check of a sound scenario found, as text of 80 columns."""
    numbers = Numbers(system)
    blocks = [f"{header(scenario, next(iter(cars.values())), system)}\nThe scenario is sound."]
    if defaults:
        listed = _listed((d.key, f"{d.value} ({d.origin})") for d in defaults)
        blocks.append("\n".join(["Defaults in use, and where they come from", *listed]))
    blocks.append("\n".join(["Worked out for the launch", *_listed(_derived(cars, numbers))]))
    if warnings:
        blocks.append("\n".join(["Possible, but seldom meant", *(paragraph(w, "    ") for w in warnings)]))
    return "\n\n".join(blocks)
