"""Fields of records are reached by name in plain Python as in compiled code.

An attribute that every numpy record has (`shape`, `size`, `real`, ...) hides a field of the same name in
plain Python, while compiled code reads the field: the two would disagree without a word.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest

from simlaunch.physics.state import PHASE
from simlaunch.record import CAR


def _fields(record: np.dtype[np.void]) -> Iterator[str]:
    """Names of all fields, those of inner records included."""
    for name in record.names or ():
        yield name
        yield from _fields(record[name].base)


def _hidden(record: np.dtype[np.void]) -> list[str]:
    return sorted({name for name in _fields(record) if hasattr(np.record, name)})


@pytest.mark.parametrize("record", [CAR, PHASE], ids=["car", "phase"])
def test_no_field_is_hidden(record: np.dtype[np.void]) -> None:
    assert _hidden(record) == []


def test_a_hidden_field_is_found() -> None:
    inner = np.dtype([("shape", "f8"), ("mass", "f8")])
    assert _hidden(np.dtype([("tyre", inner, (2,)), ("size", "f8")])) == ["shape", "size"]
    sample = np.zeros(1, dtype=np.dtype((np.record, inner))).view(np.recarray)[0]
    assert sample.shape == ()
    assert sample["shape"] == 0.0
