"""What is reported of a run: one table of names, dimensions, labels and meanings.

Tables, JSON keys, the columns of a sweep and the glossary are made from this table, which stands in
`quantities.toml`. A group (`mark`, `grip`, `energy`, `part`, `surplus`) is what one result type holds; a name in it
is the field of that type. A new measure is one entry there and one field.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

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
        Field that holds it.
    dimension : Dimension
        Kind of quantity; values are in its SI unit.
    label : str
        Its name wherever it is printed; `{target}` and `{part}` are to be filled in.
    meaning : str
        Its definition, as the glossary prints it.
    """

    name: str
    dimension: Dimension
    label: str
    meaning: str

    @property
    def key(self) -> str:
        """Key in JSON: the name with the SI unit behind it."""
        return key(self.name, self.dimension)


def key(name: str, dimension: Dimension) -> str:
    """JSON key of a number: its name, then its SI unit.

    Examples
    --------
    >>> key("slip_energy", Dimension.ENERGY)
    'slip_energy_J'
    """
    unit = _IN_KEYS[dimension]
    return f"{name}_{unit}" if unit else name


@cache
def groups() -> Mapping[str, Mapping[str, Reported]]:
    """Every reported quantity by group and name, as read from `quantities.toml`."""
    tables = tomllib.loads(Path(__file__).with_suffix(".toml").read_text(encoding="utf-8"))
    return {
        group: {
            name: Reported(name, Dimension(entry["dimension"]), entry["label"], entry["meaning"])
            for name, entry in entries.items()
        }
        for group, entries in tables.items()
    }


def reported(group: str) -> Mapping[str, Reported]:
    """The quantities of one group, in the order in which they are printed."""
    return groups()[group]
