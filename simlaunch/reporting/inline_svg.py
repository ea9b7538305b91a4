"""Figures as parts of a page: SVG elements with stable names, no style attributes and no needless digits.

The page forbids styles outside its own style sheet; attributes of SVG itself do the same.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import chain
from xml.etree import ElementTree as XML

from simlaunch.plotting.save import PageDrawing, PlotArea
from simlaunch.reporting.plain_words import plain_words

_SVG = "http://www.w3.org/2000/svg"
_LINK = "{http://www.w3.org/1999/xlink}href"
_NUMBER = re.compile(r"-?\d+\.\d+(?:e-?\d+)?")
_FONT = re.compile(r"(?:(?P<weight>bold|\d{3}) )?(?P<size>[\d.]+)px")
_REFERENCE = re.compile(r"url\(#([^)]+)\)")
_NUMERIC = ("d", "points", "transform", "x", "y", "width", "height", "viewBox", "stroke-dasharray")
_DROPPED = ("font-family", "font-style", "font-variant", "font-stretch")
_LIVE = ("cut", "ceiling-")
"""Beginnings of the names of lines that the page's script moves."""


@dataclass(frozen=True)
class Inline:
    """One figure as text for a page, with what the page's script has to know of it."""

    markup: str
    """The SVG element."""
    width: float
    """Width at which text has the size that was planned [CSS px]."""


def inline(drawing: PageDrawing, name: str, label: str) -> Inline:
    """A figure as an SVG element of a page.

    Parameters
    ----------
    drawing : PageDrawing
        As drawn for a page.
    name : str
        Beginning of the names of what the figure refers to within itself; no other figure of the page has it.
    label : str
        Alternative text.

    Returns
    -------
    Inline
        The same text for the same figure.
    """
    root = XML.fromstring(drawing.svg)  # our own drawing, not a stranger's file
    for element in root.iter():
        element.tag = element.tag.removeprefix(f"{{{_SVG}}}")
    _drop(root, ("metadata", "style"))
    for element in root.iter():
        _style_to_attributes(element)
        _shorten(element)
    _rename(root, name)
    _flatten(root)
    width = float(root.get("viewBox", "0 0 0 0").split()[2])
    shown = {"viewBox": root.get("viewBox", ""), "role": "img", "aria-label": label}
    root.attrib.clear()
    root.attrib.update({**shown, "stroke-linejoin": "round", "stroke-linecap": "butt", **_map(root, drawing.areas)})
    return Inline(XML.tostring(root, encoding="unicode"), width / 72.0 * 96.0)


def _drop(root: XML.Element, tags: tuple[str, ...]) -> None:
    for parent in root.iter():
        for child in [child for child in parent if child.tag in tags]:
            parent.remove(child)
        for child in [child for child in parent if child.tag == "defs" and not len(child)]:
            parent.remove(child)


def _declarations(style: str) -> Iterator[tuple[str, str]]:
    for declaration in filter(str.strip, style.split(";")):
        key, _, value = declaration.partition(":")
        key, value = key.strip(), value.strip()
        if key == "font":
            match = _FONT.match(value)
            if match:
                yield "font-size", match["size"]
                yield from ((("font-weight", match["weight"]),) if match["weight"] else ())
        elif key not in _DROPPED:
            yield key, value.removesuffix("px") if key == "font-size" else value


def _style_to_attributes(element: XML.Element) -> None:
    style = element.attrib.pop("style", "")
    element.attrib.update(dict(_declarations(style)))


def _short_number(match: re.Match[str]) -> str:
    text = f"{float(match[0]):.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _shorten(element: XML.Element) -> None:
    for key in _NUMERIC:
        if key in element.attrib:
            element.set(key, " ".join(_NUMBER.sub(_short_number, element.attrib[key]).split()))
    if element.text is not None:
        element.text = plain_words(element.text) if element.text.strip() else None
    if element.tail is not None and not element.tail.strip():
        element.tail = None


def _referred(root: XML.Element) -> Iterator[str]:
    for element in root.iter():
        for key, value in element.attrib.items():
            if key == _LINK:
                yield value.removeprefix("#")
            yield from _REFERENCE.findall(value)


def _rename(root: XML.Element, name: str) -> None:
    """Give what is referred to a name of this figure, in order, and drop every other name."""
    names: Mapping[str, str] = {old: f"{name}-{n}" for n, old in enumerate(dict.fromkeys(_referred(root)), start=1)}
    for element in root.iter():
        old = element.attrib.pop("id", "")
        if old in names:
            element.set("id", names[old])
        elif old.startswith(_LIVE):
            element.set("data-line", old)
        if _LINK in element.attrib:
            element.set("href", f"#{names[element.attrib.pop(_LINK).removeprefix('#')]}")
        for key, value in element.attrib.items():
            if "url(#" in value:
                element.set(key, _REFERENCE.sub(lambda match: f"url(#{names[match[1]]})", value))


def _flatten(root: XML.Element) -> None:
    """Take groups that say nothing out of the way, the innermost first."""
    for parent in reversed(list(root.iter())):
        kept = ([*child] if child.tag == "g" and not child.attrib else [child] for child in parent)
        parent[:] = list(chain.from_iterable(kept))


def _map(root: XML.Element, areas: tuple[PlotArea, ...]) -> dict[str, str]:
    """For a figure with lines that move: where its panel stands, and which numbers its edges stand for."""
    if not areas or not any("data-line" in element.attrib for element in root.iter()):
        return {}
    area = areas[0]
    edges = [area.left, area.right, area.top, area.bottom, *area.x, *area.y]
    return {"data-area": json.dumps([round(edge, 4) for edge in edges])}
