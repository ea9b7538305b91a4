"""Words of the trade and what they mean: for the page, which explains those that it uses, and for the guide."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from simlaunch.quantities import quantity


@dataclass(frozen=True)
class Word:
    """One word of the glossary."""

    meaning: str
    exactly: str
    """What only a reader who calculates wants to know."""
    also: tuple[str, ...]
    """Further spellings."""


@cache
def words() -> Mapping[str, Word]:
    """Every word, as read from `glossary.toml`; the meaning of a reported quantity comes from the table of those."""
    entries = tomllib.loads(Path(__file__).with_name("glossary.toml").read_text(encoding="utf-8"))
    return {name: _word(entry) for name, entry in entries.items()}


def _word(entry: Mapping[str, object]) -> Word:
    also = entry.get("also", [])
    assert isinstance(also, list)
    return Word(_meaning(entry), str(entry.get("exactly", "")), tuple(map(str, also)))


def _meaning(entry: Mapping[str, object]) -> str:
    if "quantity" not in entry:
        return str(entry["meaning"])
    return quantity(str(entry["quantity"])).meaning
