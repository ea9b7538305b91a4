"""Figures as parts of a page: text stays text, styles become attributes, names are the page's own, bytes are stable."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest

from simlaunch.analysis.usable import UsableTorque, usable
from simlaunch.plotting.look import is_narrow, on_page
from simlaunch.plotting.save import PageDrawing, drawn_for_page
from simlaunch.plotting.usable import plateau_choice_figure, usable_figure
from simlaunch.reporting.inline_svg import inline
from simlaunch.scenario.reading import load

COUPE = Path(__file__).parents[2] / "scenarios" / "road-coupe.toml"
_LENGTHS = re.compile(r"-?\d+\.(\d+)")


@pytest.fixture(scope="module")
def found() -> UsableTorque:
    return usable(load(COUPE))


@pytest.fixture(scope="module")
def drawing(found: UsableTorque) -> PageDrawing:
    return drawn_for_page(lambda: usable_figure(found, "metric"), 7.1)


def test_styles_are_attributes_and_numbers_are_short(drawing: PageDrawing) -> None:
    markup = inline(drawing, "torque", "What the tyres can use").markup
    root = ElementTree.fromstring(markup)
    assert root.tag == "svg"
    for element in root.iter():
        assert {"style", "class"} & set(element.attrib) == set()
        assert element.tag not in ("style", "metadata", "script", "image", "foreignObject")
    digits = [len(match[1]) for match in _LENGTHS.finditer(" ".join(element.get("d", "") for element in root.iter()))]
    assert len(digits) > 100
    assert max(digits) <= 2
    colours = {element.get("stroke") for element in root.iter()}
    assert {"#0d1b2a", "#d1492c"} <= colours


def test_text_stays_text_and_the_title_is_left_to_the_page(drawing: PageDrawing) -> None:
    root = ElementTree.fromstring(inline(drawing, "torque", "label").markup)
    shown = ["".join(element.itertext()) for element in root.iter("text")]
    assert {"peak", "plateau", "1st gear", "engine torque [N m]"} <= set(shown)
    assert not any("Hatched area" in text for text in shown)
    assert drawing.title.startswith("Hatched area")
    assert root.get("aria-label") == "label"
    assert root.get("role") == "img"


def test_names_are_those_of_the_figure_and_all_of_them_are_used(drawing: PageDrawing) -> None:
    markup = inline(drawing, "torque-wide", "label").markup
    names = set(re.findall(r' id="([^"]+)"', markup))
    used = set(re.findall(r"url\(#([^)]+)\)", markup)) | set(re.findall(r' href="#([^"]+)"', markup))
    assert names
    assert names == used
    assert all(name.startswith("torque-wide-") for name in names)


def test_the_same_figure_gives_the_same_text(found: UsableTorque, drawing: PageDrawing) -> None:
    again = drawn_for_page(lambda: usable_figure(found, "metric"), 7.1)
    assert inline(again, "a", "b") == inline(drawing, "a", "b")


def test_a_narrow_page_gets_a_layout_of_its_own(found: UsableTorque) -> None:
    narrow = inline(drawn_for_page(lambda: usable_figure(found, "metric"), 3.42), "a", "b")
    assert narrow.width == pytest.approx(3.42 * 96.0, abs=0.5)
    shown = ["".join(element.itertext()) for element in ElementTree.fromstring(narrow.markup).iter("text")]
    assert "1st" in shown
    with on_page(3.42):
        assert is_narrow()
    assert not is_narrow()


def test_a_line_that_moves_is_found_by_its_name_and_stands_where_the_axes_say(found: UsableTorque) -> None:
    """The first point of the cut line is the torque at the lowest engine speed."""
    cut = np.minimum(found.curves["peak"], 400.0)
    drawn = drawn_for_page(lambda: plateau_choice_figure(found, cut, found.ceilings[:2], "metric"), 7.1)
    root = ElementTree.fromstring(inline(drawn, "a", "b").markup)
    lines = {element.get("data-line"): element for element in root.iter() if element.get("data-line")}
    assert set(lines) == {"cut", "ceiling-1", "ceiling-2"}
    path = next(lines["cut"].iter("path")).get("d", "")
    x, y = (float(number) for number in path.split()[1:3])
    area = drawn.areas[0]
    assert x == pytest.approx(area.left, abs=0.02)
    share = (area.bottom - y) / (area.bottom - area.top)
    assert area.y[0] + share * (area.y[1] - area.y[0]) == pytest.approx(float(cut[0]), abs=0.1)


def test_names_in_a_figure_cannot_become_markup(found: UsableTorque) -> None:
    strange = "</svg><script>alert(1)</script> 漢字"
    renamed = replace(found, curves={strange: found.curves["peak"]})
    markup = inline(drawn_for_page(lambda: usable_figure(renamed, "metric"), 7.1), "a", strange).markup
    assert "<script" not in markup
    root = ElementTree.fromstring(markup)
    assert root.get("aria-label") == strange
    assert "漢字" in "".join(root.itertext())
