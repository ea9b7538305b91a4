"""Curves against the torque that the tyres can use: what is printed, and the JSON."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import isnan

import numpy as np
from numpy.typing import NDArray

from simlaunch.analysis.usable import CurveSurplus, UsableTorque
from simlaunch.output.as_json import Object, group_object, listed
from simlaunch.output.conditions import conditions_object, header
from simlaunch.output.groups import table
from simlaunch.output.layout import Row, Table, paragraph, short, tables_text
from simlaunch.output.words import Numbers, named
from simlaunch.quantities import key, quantity
from simlaunch.record import Coupling
from simlaunch.units.spelling import Dimension, System

_SHOWN_SPEEDS = 8
_GEARS_ABREAST = 6


_ABOVE = ("first_speed", "last_speed", "share_of_area", "greatest_torque")


def _gear_table(usable: UsableTorque, gear: int, numbers: Numbers) -> Table:
    curves = ((short(surplus.curve, 30), surplus) for surplus in usable.surplus if surplus.gear == gear)
    return table(f"Gear {gear}: above the usable torque", "surplus", curves, numbers, _ABOVE)


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


def tables(usable: UsableTorque, system: System) -> tuple[Table, ...]:
    """Every table of the usable torque, in the order of printing."""
    numbers = Numbers(system)
    gears = (_gear_table(usable, ceiling.gear, numbers) for ceiling in usable.ceilings)
    return (*gears, *_ceiling_tables(usable, numbers))


def text(usable: UsableTorque, system: System) -> str:
    """Usable torque as text of 80 columns; gears in which no curve is above it share a line."""
    above = {surplus.gear for surplus in usable.surplus if not isnan(surplus.first_speed)}
    free = [str(ceiling.gear) for ceiling in usable.ceilings if ceiling.gear not in above]
    every, car = tables(usable, system), usable.car
    gears = len(usable.ceilings)
    above_it = tables_text([every[gear - 1] for gear in sorted(above)])
    if free:
        above_it.append(paragraph(f"Below the usable torque at every engine speed in gear {', '.join(free)}."))
    meaning = (
        "Usable torque: the engine torque at which the driven tyres reach their peak force, with load "
        "transfer and rotating mass included. Torque above it can only spin the tyres."
    )
    if car.coupling.kind == Coupling.TORQUE_CONVERTER:
        meaning += (
            " It holds for a converter that has locked up or coupled. While the converter multiplies torque, as at "
            "the start in first gear, the usable engine torque is lower by that factor."
        )
    blocks = [header(usable.scenario, car, system), paragraph(meaning), *above_it, *tables_text(every[gears:])]
    return "\n\n".join(blocks)


def summary(usable: UsableTorque, system: System) -> str:
    """How much of each curve lies above what the tyres can use, in the gear that holds least."""
    numbers = Numbers(system)
    worst: dict[str, CurveSurplus] = {}
    for each in usable.surplus:
        if each.curve not in worst or each.share_of_area > worst[each.curve].share_of_area:
            worst[each.curve] = each
    phrases = [
        f"{named(name)} has {numbers.with_unit(each.share_of_area, Dimension.SHARE)} of its area above the usable "
        f"torque of gear {each.gear}"
        if each.share_of_area > 0.0
        else f"{named(name)} stays below the usable torque in every gear"
        for name, each in worst.items()
    ]
    return f"{'; '.join(phrases)}."


_ENGINE_SPEED = quantity("channel.engine_speed")


def columns(usable: UsableTorque) -> Mapping[str, NDArray[np.float64]]:
    """Engine speed, every curve, what it gives in gears that limit it, and the usable torque of every gear."""
    curves = {key(name, Dimension.TORQUE): values for name, values in usable.curves.items()}
    limited = {
        key(f"{name}_gear_{gear}", Dimension.TORQUE): values
        for name, by_gear in usable.by_gear.items()
        for gear, values in by_gear.items()
    }
    gears = {key(f"usable_gear_{ceiling.gear}", Dimension.TORQUE): ceiling.usable for ceiling in usable.ceilings}
    return {_ENGINE_SPEED.key: usable.engine_speed, **curves, **limited, **gears}


def _curve_object(usable: UsableTorque, name: str) -> Object:
    """A curve, and what it gives in the gears that limit it."""
    torque = key("torque", Dimension.TORQUE)
    by_gear = [{"gear": gear, torque: listed(values)} for gear, values in usable.by_gear[name].items()]
    found: Object = {"curve": name, torque: listed(usable.curves[name])}
    return {**found, "by_gear": by_gear} if by_gear else found


def document(usable: UsableTorque) -> Object:
    """The JSON object."""
    return {
        "format": "simlaunch-usable-1",
        "scenario": usable.scenario.name,
        "conditions": conditions_object(usable.scenario, usable.car),
        _ENGINE_SPEED.key: listed(usable.engine_speed),
        "curves": [_curve_object(usable, name) for name in usable.curves],
        "gears": [{"gear": ceiling.gear, **group_object("usable", ceiling)} for ceiling in usable.ceilings],
        "surplus": [
            {"curve": each.curve, "gear": each.gear, **group_object("surplus", each, _ABOVE)} for each in usable.surplus
        ],
    }
