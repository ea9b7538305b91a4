"""How text of results is set on a page: true quotation marks and signs, numbers and units kept together."""

from __future__ import annotations

import re

from simlaunch.output.layout import clean, short
from simlaunch.reporting.plain_words import plain_words

_OPENING = re.compile(r'(?<![^\s(\[{=/“])"(?=\S)')  # at the begin of a word: a name may hold quotation marks of its own
_TOGETHER = re.compile(r"(?<=\d) (?=[^\W\d]|%|°)|(?<=\bN) (?=m\b)")
_MINUS = re.compile(r"(?<![\w.])-(?=\d)")
_POWER = {"^2": "²", "^3": "³", "^0.5": "^½"}


def typeset(text: str) -> str:
    """Text of a result as it stands on a page."""
    curly = _OPENING.sub("“", plain_words(clean(text))).replace('"', "”")
    return _MINUS.sub("\N{MINUS SIGN}", _TOGETHER.sub("\N{NO-BREAK SPACE}", curly))


def unit_text(text: str) -> str:
    """Quantity whose unit may hold powers."""
    for typed, shown in _POWER.items():
        text = text.replace(typed, shown)
    return text


def named(name: str, most: int = 32) -> str:
    """Name within a sentence of a page, cut to so many columns."""
    return f"“{short(name, most)}”"
