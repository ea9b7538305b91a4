"""Why a launch cannot be followed: values far from the usual ones are put back one by one, and launched with."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from math import inf, log

from pydantic.fields import FieldInfo

from simlaunch.errors import InputError, RunNotFollowed
from simlaunch.launching.ready import runnable
from simlaunch.record import Pedal
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.schema import quantity_at
from simlaunch.scenario.surroundings import Section
from simlaunch.simulation.bench import CAPACITIES
from simlaunch.simulation.run import launch
from simlaunch.units.gate import quoted
from simlaunch.units.quantity import Quantity, to_si

_MOST = 20  # keys that are put back by themselves
_BEYOND, _SHARE = 0.5, 1.2  # a trial goes so much farther than where the launch ended [s] [-]
_APART = {"run", "sweep"}  # sections that say nothing of the car


@dataclass(frozen=True)
class _Far:
    """A stated value, and the usual one: the default of its key, or the example that its key gives."""

    key: str
    typed: str
    usual: str
    distance: float


def remedy(scenario: Scenario, curve: str, pedal: Pedal, failure: RunNotFollowed) -> str:
    """What to write instead, from launches in which what is stated was put back to what is usual.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    curve : str
        Full-load curve.
    pedal : Pedal
        Full load throughout, or held slip.
    failure : RunNotFollowed
        How the launch ended.

    Returns
    -------
    str
        A clause that names the key farthest from usual that decides it alone, else a section that does, else says that
        neither does.
    """
    far = sorted(_far(scenario, ""), key=lambda each: -each.distance)

    def followed(changes: Mapping[str, str], *, whole: bool = False) -> bool:
        return _followed(scenario, changes, curve, pedal, inf if whole else _SHARE * failure.time + _BEYOND)

    for each in far[:_MOST]:
        put_back = {each.key: each.usual}
        if followed(put_back) and followed(put_back, whole=True):
            return f"it is followed to its end with {each.key} = {quoted(each.usual)} in place of {quoted(each.typed)}"
    for section in dict.fromkeys(each.key.rpartition(".")[0] for each in far):
        several = {each.key: each.usual for each in far if each.key.rpartition(".")[0] == section}
        if len(several) > 1 and followed(several):
            for key in tuple(several):
                fewer = {other: usual for other, usual in several.items() if other != key}
                several = fewer if fewer and followed(fewer) else several
            if followed(several, whole=True):
                named = ", ".join(f"{key.rpartition('.')[2]} = {quoted(usual)}" for key, usual in several.items())
                return f"it is followed to its end with these values under {section}: {named}"
    if not far:
        return "all stated numbers are the usual ones; change the shape of the curves or tables"
    named = ", ".join(each.key for each in far[:3])
    return f"no value put back to the usual one helps by itself; bring several nearer to it, beginning with {named}"


def _far(section: Section, prefix: str) -> Iterator[_Far]:
    """Every stated number of a section, and of those within it, that is not the usual one."""
    for name, field in type(section).model_fields.items():
        value, key = getattr(section, name), prefix + name
        if isinstance(value, Section) and key not in _APART:
            yield from _far(value, f"{key}.")
        elif isinstance(value, Quantity) and name in section.model_fields_set:
            usual = _usual(key, field, value)
            if usual and usual.si != value.si:
                yield _Far(key, value.text, usual.text, _distance(value.si, usual.si, _span(key, value)))


def _usual(key: str, field: FieldInfo, value: Quantity) -> Quantity | None:
    """The default of a key, or its example, where that is of the same kind."""
    within, examples = quantity_at(key), field.examples or [None]
    text = field.default if isinstance(field.default, str | Quantity) else examples[0]
    if within is None or text is None:
        return None
    usual = within.parse(text)
    return usual if usual.dimension is value.dimension else None


def _span(key: str, value: Quantity) -> float:
    """Width of the range that a key accepts, SI units."""
    within = quantity_at(key)
    low, high = next((low, high) for kind, low, high in (within.ranges if within else ()) if kind is value.dimension)
    return to_si(high, value.dimension) - to_si(low, value.dimension)


def _distance(value: float, usual: float, span: float) -> float:
    """How far a value is from the usual one: by how many times, or by which share of its range."""
    if value * usual > 0.0:
        return abs(log(value / usual))
    return abs(value - usual) / span


def _followed(scenario: Scenario, changes: Mapping[str, str], curve: str, pedal: Pedal, until: float) -> bool:
    """Whether a launch with some values changed comes to an end, or as far as a time, without trouble."""
    try:
        car = runnable(scenario.replace(changes), curve, pedal)
        car.run.time_limit = min(float(car.run.time_limit), until)
        launch(car, room=CAPACITIES[0] if until < inf else CAPACITIES[-1])
    except InputError:
        return False
    return True
