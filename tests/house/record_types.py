"""Types of the fields of a car's record, for the type checker, from the tables that make the record.

`python tests/house/record_types.py` writes the file anew, after a change of `record.py`.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from simlaunch import record
from simlaunch.record import CAR

KEPT = Path(__file__).parents[2] / "simlaunch" / "fields.pyi"

_HEAD = '''"""Fields of a car, as a type checker sees them; `python tests/house/record_types.py` writes this file."""
# mypy: disable-error-code="assignment, misc"

from collections.abc import MutableSequence

import numpy as np
from numpy.typing import NDArray

class _Fields(np.record):
    """A record whose fields are all known: numpy promises a type checker that every name is a field."""

    __getattribute__: None
    __setattr__: None
'''

Type = np.dtype[Any]


def _name(kind: Type) -> str:
    """Name of the class of a record: that of its table; tables that differ in length alone share the last one's."""
    tables = {name: value for name, value in vars(record).items() if isinstance(value, np.dtype)}
    return max(name for name, value in tables.items() if value.names == kind.names).capitalize()


def _fields(kind: Type) -> list[tuple[str, str]]:
    """Every field of a record with its type, as written in a stub."""
    return [(name, _typed(kind[name])) for name in kind.names or ()]


def _typed(kind: Type) -> str:
    if kind.base.names:
        return f"MutableSequence[{_name(kind.base)}]" if kind.shape else _name(kind)
    plain = {"f": "float", "i": "int"}
    return f"NDArray[np.{kind.base.name}]" if kind.shape else plain[kind.kind]


def _classes(kind: Type) -> Iterator[tuple[str, list[tuple[str, str]]]]:
    """The classes that a record needs, inner ones first."""
    for name in kind.names or ():
        yield from _classes(kind[name].base)
    if kind.names:
        yield _name(kind), _fields(kind)


def stub() -> str:
    """Text of the file."""
    classes = dict(_classes(CAR))
    bodies = ("".join(f"    {name}: {kind}\n" for name, kind in fields) for fields in classes.values())
    return _HEAD + "".join(f"\nclass {name}(_Fields):\n{body}" for name, body in zip(classes, bodies, strict=True))


if __name__ == "__main__":
    KEPT.write_text(stub(), "utf-8")
