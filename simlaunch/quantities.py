"""What is reported: one table of names, dimensions, labels and meanings.

Tables, JSON keys, the columns of a sweep, axes of figures and the glossary are made from this table, which stands in
`quantities.toml`. A group is what one result type holds; a name in it is the field of that type, or an entry says which
attribute it is. A new measure is one entry there and one field.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from simlaunch.units.quantity import unit_spelled
from simlaunch.units.spelling import Dimension

_IN_KEYS = {
    Dimension.TIME: "s",
    Dimension.LENGTH: "m",
    Dimension.SPEED: "m_per_s",
    Dimension.ROTATIONAL_SPEED: "rad_per_s",
    Dimension.ACCELERATION: "m_per_s2",
    Dimension.TORQUE: "N_m",
    Dimension.FORCE: "N",
    Dimension.POWER: "W",
    Dimension.ENERGY: "J",
    Dimension.MASS: "kg",
    Dimension.PRESSURE: "Pa",
    Dimension.DENSITY: "kg_per_m3",
    Dimension.VOLUME: "m3",
    Dimension.MASS_FLOW: "kg_per_s",
    Dimension.SPECIFIC_CONSUMPTION: "kg_per_J",
    Dimension.ANGLE: "rad",
    Dimension.SHARE: "",
    Dimension.NUMBER: "",
}
"""SI unit of a dimension as it stands at the end of a JSON key; a pure number has none."""


@dataclass(frozen=True)
class Reported:
    """One reported quantity.

    Parameters
    ----------
    name : str
        What it is called in JSON.
    dimension : Dimension
        Kind of quantity; a number where each has a unit of its own, which stands beside it.
    label : str
        Its name wherever it is printed; `{target}` and `{part}` are to be filled in.
    meaning : str
        Its definition, as the glossary prints it.
    path : str
        Attribute of a result that holds it, in its SI unit.
    head : str
        Its name above a column.
    format : str
        How it is written where its dimension does not say so.
    sign : bool
        Whether it carries its sign in tables.
    per : Dimension or None
        Kind of quantity that it is divided by.
    own_unit : bool
        Whether each number has a unit of its own.
    shown_in : str
        Unit in which JSON has it in place of the SI unit.
    """

    name: str
    dimension: Dimension
    label: str
    meaning: str
    path: str
    head: str
    format: str = ""
    sign: bool = False
    per: Dimension | None = None
    own_unit: bool = False
    shown_in: str = ""

    @property
    def key(self) -> str:
        """Key in JSON: the name with the SI unit behind it, or the unit in which it is shown."""
        if self.own_unit or self.shown_in:
            return f"{self.name}_{self.shown_in or 'value'}"
        return key(self.name, self.dimension) + (f"_per_{_IN_KEYS[self.per]}" if self.per else "")

    def of(self, source: object) -> Any:
        """What a result holds of it; None where that part of the result is missing; a number is a place in a tuple."""
        found: Any = source
        for name in self.path.split("."):
            if found is not None:
                found = found[int(name)] if name.isdecimal() else getattr(found, name)
        return found

    def of_json(self, source: object) -> Any:
        """The same in the unit that JSON has it in."""
        found = self.of(source)
        if not self.shown_in or found is None:
            return found
        unit = unit_spelled(self.shown_in, self.dimension)
        return [unit.of(each) for each in found] if isinstance(found, Sequence) else unit.of(found)


def key(name: str, dimension: Dimension) -> str:
    """JSON key of a number: its name, then its SI unit.

    Examples
    --------
    >>> key("slip_energy", Dimension.ENERGY)
    'slip_energy_J'
    """
    unit = _IN_KEYS[dimension]
    return f"{name}_{unit}" if unit else name


_ABOUT = "about"


@cache
def _tables() -> Mapping[str, Mapping[str, Any]]:
    return tomllib.loads(Path(__file__).with_suffix(".toml").read_text(encoding="utf-8"))


def _quantity(name: str, entry: Mapping[str, Any]) -> Reported:
    stated = {"path": name, "head": entry["label"], **entry}
    dimension, per = stated.pop("dimension"), stated.pop("per", None)
    own = dimension == "any"
    return Reported(
        name=name,
        dimension=Dimension.NUMBER if own else Dimension(dimension),
        per=per and Dimension(per),
        own_unit=own,
        **stated,
    )


@cache
def groups() -> Mapping[str, Mapping[str, Reported]]:
    """Every reported quantity by group and name, as read from `quantities.toml`."""
    return {
        group: {name: _quantity(name, entry) for name, entry in entries.items() if name != _ABOUT}
        for group, entries in _tables().items()
    }


def about(group: str) -> str:
    """Where a group is reported, in a sentence."""
    return str(_tables()[group][_ABOUT])


def reported(group: str, only: Sequence[str] | None = None) -> Mapping[str, Reported]:
    """The quantities of one group, in the order in which they are printed; all of them, or those that are named."""
    found = groups()[group]
    return found if only is None else {name: found[name] for name in only}


def quantity(place: str) -> Reported:
    """One quantity by its group and name, such as "channel.engine_speed"."""
    group, _, name = place.partition(".")
    return groups()[group][name]
