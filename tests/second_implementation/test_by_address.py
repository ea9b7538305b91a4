"""Entries that are called through their addresses do what they do when called by name."""

from __future__ import annotations

from pathlib import Path

import pytest

from small_package import Small, result, stand_in, start

THROUGH = """
from simlaunch.compiled import by_address, entry
from simlaunch.simulation.whole import answer
@entry
def thrice(each, x):
    return each(x) + each(x) + each(x)
"""
HANDED = """
from simlaunch.compiled import by_address
from simlaunch.simulation.through import thrice
from simlaunch.simulation.whole import answer
reached = by_address(answer, 0.0, 0.0)
value = thrice(reached, 3.0)
assert reached(3.0) == 7.0
print(value, {hits})
"""


@pytest.mark.parametrize(
    ("setting", "hits"),
    [({}, "sum(answer.stats.cache_hits.values()) + sum(thrice.stats.cache_hits.values())"),
     ({"NUMBA_DISABLE_JIT": "1"}, "0")],
)  # fmt: skip
def test_an_entry_is_called_through_its_address(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, setting: dict[str, str], hits: str
) -> None:
    """Compiled, read from disk and as plain Python: three times 2 x 3 + 1."""
    small = Small(stand_in(tmp_path / "code"), tmp_path / "kept")
    (small.root / "simlaunch" / "simulation" / "through.py").write_text(THROUGH)
    for name, value in setting.items():
        monkeypatch.setenv(name, value)
    assert result(start(small, HANDED.format(hits=hits))) == (21.0, 0)
    assert result(start(small, HANDED.format(hits=hits))) == (21.0, 0 if setting else 2)
