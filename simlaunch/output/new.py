"""A scenario made from a data sheet: text, tables and JSON."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np
from numpy.typing import NDArray

from simlaunch.analysis.new import NewScenario, replaced_first
from simlaunch.curves.full_load import FullLoad, Peak
from simlaunch.output.as_json import Object, listed
from simlaunch.output.layout import Row, Table, block
from simlaunch.output.words import Numbers, named
from simlaunch.units.spelling import Dimension, System


def _curves(new: NewScenario) -> Iterator[tuple[str, FullLoad]]:
    yield from zip(new.scenario.curve_names, (new.sheet.curve, new.plateau.curve), strict=True)


def _at(peak: Peak, dimension: Dimension, numbers: Numbers) -> str:
    """A peak with the engine speeds at which it is held."""
    low, high = (numbers.plain(speed, Dimension.ROTATIONAL_SPEED) for speed in (peak.low, peak.high))
    speeds = low if low == high else f"{low} to {high}"
    return f"{numbers.with_unit(peak.value, dimension)} at {speeds} {numbers.unit(Dimension.ROTATIONAL_SPEED)}"


def tables(new: NewScenario, system: System) -> tuple[Table, ...]:
    """Peaks of the curves, and every usual value."""
    numbers = Numbers(system)
    peaks = (
        Row(
            name,
            "",
            (
                _at(curve.peak_torque, Dimension.TORQUE, numbers),
                _at(curve.peak_power, Dimension.POWER, numbers),
            ),
        )
        for name, curve in _curves(new)
    )
    usual = (Row(each.key, "", (each.value, each.low, each.high, each.why, each.origin)) for each in new.usual)
    return (
        Table("curves", ("peak torque", "peak power"), tuple(peaks)),
        Table("usual values", ("value", "from", "to", "why", "origin"), tuple(usual)),
    )


def text(new: NewScenario, system: System) -> str:
    """What stands in the file, in short."""
    numbers = Numbers(system)
    peaks = (
        f"{named(name)}: {_at(curve.peak_torque, Dimension.TORQUE, numbers)}, "
        f"{_at(curve.peak_power, Dimension.POWER, numbers)}"
        for name, curve in _curves(new)
    )
    ranked = replaced_first(new.usual, new.sheet.driven)
    usual = (f"{each.label}: {each.value}, commonly {each.span}" for each in ranked)
    blocks = [
        summary(new, system),
        *block("Curves", peaks),
        *block("Usual values to replace first, the most important first", usual),
    ]
    return "\n\n".join(blocks)


def summary(new: NewScenario, system: System) -> str:
    """That the scenario is sound, and on how many usual values it leans."""
    del system
    return f"{named(new.scenario.name)} is a sound scenario; it leans on {len(new.usual)} usual values."


def columns(new: NewScenario) -> Mapping[str, NDArray[np.str_]]:
    """Every usual value: key, value, common range, reason, origin."""
    names = ("key", "value", "low", "high", "why", "where", "origin")
    return {name: np.array([getattr(each, name) for each in new.usual], np.str_) for name in names}


def _curve_object(name: str, curve: FullLoad) -> Object:
    torque, power = curve.peak_torque, curve.peak_power
    return {
        "curve": name,
        "engine_speed_rad_per_s": listed(curve.speed),
        "torque_N_m": listed(curve.torque),
        "peak_torque_N_m": torque.value,
        "peak_power_W": power.value,
    }


def document(new: NewScenario) -> Object:
    """The text of the file, its curves, and every usual value."""
    return {
        "format": "simlaunch-new-1",
        "scenario": new.scenario.name,
        "text": new.text,
        "curves": [_curve_object(name, curve) for name, curve in _curves(new)],
        "plateau": {"height_N_m": new.plateau.height, "keeps_power": new.plateau.keeps_power},
        "usual_values": [
            {
                "key": each.key,
                "value": each.value,
                "low": each.low or None,
                "high": each.high or None,
                "why": each.why,
                "where": each.where,
                "origin": each.origin,
            }
            for each in new.usual
        ],
    }
