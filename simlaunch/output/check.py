"""What a check of a scenario found: text, tables and JSON."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from math import isfinite, isinf, isnan

import numpy as np
from numpy.typing import NDArray

from simlaunch.analysis.check import Check
from simlaunch.errors import Fault
from simlaunch.launching.goals import target_label
from simlaunch.output.as_json import Object, group_object, listed
from simlaunch.output.conditions import conditions_object, header
from simlaunch.output.layout import Row, Table, block, short
from simlaunch.output.words import Numbers, named
from simlaunch.physics.magic_formula import sliding_share
from simlaunch.record import Car
from simlaunch.scenario.defaults import Default
from simlaunch.uncertainty.influence import Influence
from simlaunch.units.spelling import Dimension, System

_SHOWN = 10  # defaults that are listed unless all are asked for


def _moved(check: Check, default: Default) -> Influence:
    return check.influence.get(default.key, Influence())


def _seconds(value: float) -> str:
    """A change of a time; a change that launches cannot resolve is none."""
    if isinf(value):
        return "goal missed"
    return "" if isnan(value) else f"{value:.3f} s" if value else "nothing"


def _default_text(check: Check, default: Default) -> str:
    """A default with what it moves, and where it comes from."""
    moved, range_ = _moved(check, default), " to ".join(default.common)
    time, gap = _seconds(moved.time), _seconds(moved.gap)
    if time == "goal missed":
        effect = f" {range_} can keep the car from its goal"
    elif time:
        effect = f" {range_} moves the time by {time}" + (f", the gap by {gap}" if gap else "")
    else:
        effect = ""
    return f"{default.key}: {default.value} ({default.origin}){';' if effect else ''}{effect}"


def _listed(check: Check, *, full: bool) -> Iterator[str]:
    shown = check.defaults if full else check.defaults[:_SHOWN]
    yield from (_default_text(check, default) for default in shown)
    if rest := len(check.defaults) - len(shown):
        yield f"and {rest} more; --all lists them"


def _derived(check: Check, numbers: Numbers) -> Iterator[tuple[str, str]]:
    """Numbers that a launch works out for itself, those of a curve under its name."""
    first = next(iter(check.cars.values()))
    yield "air density", numbers.with_unit(first.air.density, Dimension.DENSITY)
    yield "target slip of held slip", numbers.with_unit(first.pedal.target_slip, Dimension.SHARE)
    for end, tyre in (("front", first.front), ("rear", first.rear)):
        kept = sliding_share(float(tyre.shape_factor), float(tyre.curvature))
        yield f"grip of a sliding {end} tyre, share of its peak", numbers.with_unit(kept, Dimension.SHARE)
    for name, car in check.cars.items():
        speeds = car.gearbox.shift_speed[: int(car.gearbox.count) - 1]
        joined = ", ".join(numbers.plain(float(speed), Dimension.ROTATIONAL_SPEED) for speed in speeds)
        unit = numbers.unit(Dimension.ROTATIONAL_SPEED)
        if joined:
            yield f'shift speeds, curve "{short(name, 40)}"', f"{joined} {unit}"
        launch = numbers.with_unit(car.launch.engine_speed, Dimension.ROTATIONAL_SPEED)
        yield f'engine speed at the start, curve "{short(name, 40)}"', launch
        yield from _in_air(check, name, numbers)


def _in_air(check: Check, name: str, numbers: Numbers) -> Iterator[tuple[str, str]]:
    """What the air of the scenario does to a curve that says how it follows it."""
    if (factor := check.torque_factors.get(name)) is not None:
        said = numbers.with_unit(factor, Dimension.SHARE)
        yield f'torque in this air, of that stated, curve "{short(name, 30)}"', said
    if (power := check.compressor_powers.get(name)) is not None:
        yield f'power that the compressor allows, curve "{short(name, 30)}"', numbers.with_unit(power, Dimension.POWER)


_HEADS = ("value", "origin", "from", "to", "moves the time", "moves the gap")


def _row(check: Check, default: Default) -> Row:
    low, high = default.common or ("", "")
    moved = _moved(check, default)
    return Row(default.key, "", (default.value, default.origin, low, high, _seconds(moved.time), _seconds(moved.gap)))


def tables(check: Check, system: System) -> tuple[Table, ...]:
    """What a check of a sound scenario found, as tables."""
    derived = _derived(check, Numbers(system))
    return (
        Table("defaults", _HEADS, tuple(_row(check, default) for default in check.defaults)),
        Table("worked out", ("value",), tuple(Row(key, "", (text,)) for key, text in derived)),
        Table("warnings", ("text",), tuple(Row(str(n), "", (w,)) for n, w in enumerate(check.warnings, start=1))),
    )


def text(check: Check, system: System) -> str:
    """What a check of a sound scenario found, as text of 80 columns, with the defaults that move the result most."""
    return _text(check, system, full=False)


def full_text(check: Check, system: System) -> str:
    """The same with every default in use."""
    return _text(check, system, full=True)


def _text(check: Check, system: System, *, full: bool) -> str:
    numbers = Numbers(system)
    derived = (f"{key}: {text}" for key, text in _derived(check, numbers))
    blocks = [
        f"{header(check.scenario, next(iter(check.cars.values())), system)}\nThe scenario is sound.",
        *block(
            f"Defaults in use, those that move the time to {target_label(check.target)} most first",
            _listed(check, full=full),
        ),
        *block("Worked out for the launch", derived),
        *block("Possible, but seldom meant", check.warnings),
    ]
    return "\n\n".join(blocks)


def _derived_object(name: str, car: Car) -> Object:
    return {
        "curve": name,
        "shift_speeds_rad_per_s": listed(car.gearbox.shift_speed[: int(car.gearbox.count) - 1]),
        **group_object("derived", car),
    }


def summary(check: Check, system: System) -> str:
    """That the scenario is sound, how many defaults it leans on, and what is odd about it."""
    del system
    count = len(check.defaults)
    leaning = f"leans on {count} default{'' if count == 1 else 's'}" if count else "leans on no default"
    return " ".join([f"{named(check.scenario.name)} is sound and {leaning}.", *(f"{w}." for w in check.warnings)])


def columns(check: Check) -> Mapping[str, NDArray[np.generic]]:
    """Every default in use: its key, its value as text, where it comes from, and what it moves."""
    texts = {
        name: np.array([getattr(default, name) for default in check.defaults], np.str_)
        for name in ("key", "value", "origin")
    }
    moved = [_moved(check, default) for default in check.defaults]
    return {
        **texts,
        "moves_time_s": np.array([each.time for each in moved]),
        "moves_gap_s": np.array([each.gap for each in moved]),
    }


def _default_object(check: Check, default: Default) -> Object:
    moved = _moved(check, default)
    return {
        "key": default.key,
        "value": default.value,
        "origin": default.origin,
        "common_range": list(default.common) or None,
        "moves_time_s": moved.time if isfinite(moved.time) else None,
        "moves_gap_s": moved.gap if isfinite(moved.gap) else None,
        "goal_reached": not isinf(moved.time),
    }


def document(check: Check) -> Object:
    """What a check of a sound scenario found."""
    return {
        "format": "simlaunch-check-1",
        "sound": True,
        "scenario": check.scenario.name,
        "faults": [],
        "conditions": conditions_object(check.scenario, next(iter(check.cars.values()))),
        "defaults": [_default_object(check, default) for default in check.defaults],
        "warnings": list(check.warnings),
        "derived": [_derived_object(name, car) for name, car in check.cars.items()],
    }


def faults_object(source: str, faults: Sequence[Fault]) -> Object:
    """What a check of an unsound scenario found."""
    return {
        "format": "simlaunch-check-1",
        "sound": False,
        "source": source,
        "faults": [{"place": f.place, "typed": f.typed, "why": f.why, "instead": f.instead} for f in faults],
    }
