"""Pages that the tests look at: a demonstration car, and a car whose every name wants to break out of the page."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

from readers.catalogue import SOUND
from simlaunch.cli.main import answer

SCENARIOS = Path(__file__).parents[2] / "scenarios"
COUPE = SCENARIOS / "road-coupe.toml"
CASES = 64
"""Drawn cases: few, since it is the page that is tested here."""

MARKUP = "</script><img src=x onerror=alert(1)> {{ 7*7 }} & <!--"
FORMULA = "=cmd|' /C calc'!A0 漢字漢字漢字漢字漢字漢字 \"quoted\" 'x' ]]> $x^2$"
CAR = '"><svg onload=alert(2)> 東京'
NOTE = "<script>alert(3)</script>"
PART = "<i>gear</i>=1"
ORIGIN = "</td><s>struck"


def hostile(folder: Path) -> Path:
    """A scenario whose names, notes and origins hold markup, script, templates and formulas."""
    text = SOUND.replace('name = "sample"', f"name = {json.dumps(CAR)}")
    text = text.replace('name = "flat"', f"name = {json.dumps(MARKUP)}")
    text = text.replace("[launch]", '[run]\nuntil = ["25 m"]\n[launch]')
    text += f"""
[[curves]]
name = {json.dumps(FORMULA)}
points = [["1000 rpm", "200 N m"], ["3000 rpm", "420 N m"], ["7000 rpm", "250 N m"]]
note = {json.dumps(NOTE)}
[[parts]]
name = {json.dumps(PART)}
place = "gearbox input"
rating = "400 N m"
origin = {json.dumps(ORIGIN)}
[[uncertain]]
key = "body.mass"
kind = "uniform"
low = "1450 kg"
high = "1550 kg"
origin = {json.dumps(ORIGIN)}
"""
    path = folder / "hostile.toml"
    path.write_text(text, "utf-8")
    return path


def made(*arguments: str | Path) -> None:
    """Write a page by the command line."""
    assert answer(["report", *map(str, arguments), "--quiet"]) == 0


def texts(page: str) -> str:
    """What a reader sees of a page, on one line."""
    bare = re.sub(r"<(style|script)\b.*?</\1>", " ", page, flags=re.DOTALL)
    seen = _Text()
    seen.feed(bare)
    return " ".join(" ".join(seen.pieces).split()).replace("\N{NO-BREAK SPACE}", " ")


def island(page: str) -> Any:
    """Data of the what-if, as the script reads them."""
    match = re.search(r'<script type="application/json" id="what-if-data">(.*?)</script>', page, re.DOTALL)
    assert match
    return json.loads(match[1])


class _Text(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.pieces: list[str] = []

    def handle_data(self, data: str) -> None:
        self.pieces.append(data)


class Elements(HTMLParser):
    """Every element of a page with its attributes."""

    def __init__(self, page: str) -> None:
        super().__init__(convert_charrefs=True)
        self.found: list[tuple[str, dict[str, str | None]]] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, dict(attrs)))

    def named(self, tag: str) -> Iterator[dict[str, str | None]]:
        """Attributes of every element of one name."""
        return (attributes for name, attributes in self.found if name == tag)
