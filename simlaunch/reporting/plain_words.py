"""What a customer reads in place of the words of scenario files and commands: no keys, and the terms of the trade."""

from __future__ import annotations

import re
from functools import cache

from simlaunch.output.layout import Row, Table
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.surroundings import Section

_TERMS = (
    (re.compile(r"\bwith held slip\b"), "traction-limited"),
    (re.compile(r"\bheld slip\b"), "traction-limited"),
    (re.compile(r"\bHeld slip\b"), "Traction-limited"),
)
_TYRES = {"front": "front tyres", "rear": "rear tyres", "both": "tyres"}
_ABBREVIATED = {"cg": "centre of gravity"}
_UNOPENED = re.compile(r"(?:^|(?<=; ))[^;:]*\(from memory\)")
_USUAL = re.compile(r"\b[Cc]ommon practice\b")


def _sections(section: type[Section]) -> set[type[Section]]:
    return {section, *(each for below in section.__subclasses__() for each in _sections(below))}


@cache
def _keys() -> re.Pattern[str]:
    """Key paths of a scenario, and names of single keys that no other text has."""
    tables = "|".join(Scenario.model_fields)
    names = {name for section in _sections(Section) for name in section.model_fields if "_" in name}
    single = "|".join(sorted(names, key=len, reverse=True))
    return re.compile(rf"(?<![\w.])(?:(?:{tables})(?:\[\d+\])?(?:\.[a-z][a-z_]*(?:\[\d+\])?)+|(?:{single}))(?![\w(])")


def plain_key(path: str) -> str:
    """A key of a scenario in words.

    Examples
    --------
    >>> plain_key("tyres.rear.friction_load_slope")
    'rear tyres: friction load slope'
    >>> plain_key("parts[2].rating")
    'part 2: rating'
    >>> plain_key("gearbox.shift.gap")
    'gearbox: shift gap'
    """
    numbered = re.sub(r"s?\[(\d+)\]", r" \1", path)
    table, *keys = numbered.split(".")
    if table == "tyres" and keys and keys[0] in _TYRES:
        table, keys = _TYRES[keys[0]], keys[1:]
    words = [_ABBREVIATED.get(word, word) for key in keys for word in key.split("_")]
    return f"{table.replace('_', ' ')}{': ' if words else ''}{' '.join(words)}"


def plain_words(text: str) -> str:
    """Text of a result without keys, in the terms of the trade.

    Examples
    --------
    >>> plain_words("43 % comes from gearbox.shift.gap, with held slip as with full pedal")
    '43 % comes from gearbox: shift gap, traction-limited as with full pedal'
    """
    for term, word in _TERMS:
        text = term.sub(word, text)
    return _keys().sub(lambda found: plain_key(found[0]), text)


def plain_origin(text: str) -> str:
    """Where a value comes from: a source that was read is named, all else is a usual value.

    Examples
    --------
    >>> plain_origin("Gillespie, Olley (from memory): cars 1.2 to 2.0 Hz")
    'usual value: cars 1.2 to 2.0 Hz'
    >>> plain_origin("Taborek peak table by Wong (from memory); rolling: Carvill")
    'usual value; rolling: Carvill'
    >>> plain_origin("Common practice: hard manual shifts.")
    'Usual value: hard manual shifts.'
    >>> plain_origin("assumption: shafts, 5 to 8 smooth, 3 to 5 splined (from memory)")
    'assumption: shafts, 5 to 8 smooth, 3 to 5 splined'
    """
    text = _UNOPENED.sub("usual value", text).replace(" (from memory)", "")
    text = re.sub(r"^ours\b", "our choice", text)
    return _USUAL.sub(lambda each: "Usual value" if each[0][0] == "C" else "usual value", text)


def plain_table(table: Table) -> Table:
    """A table of results with all of its texts in plain words."""
    rows = (Row(plain_words(row.label), row.unit, tuple(map(plain_words, row.cells))) for row in table.rows)
    return Table(plain_words(table.title), tuple(map(plain_words, table.heads)), tuple(rows))
