"""The page as text: one file, its policy, its names escaped, its numbers in its tables, its words explained."""

from __future__ import annotations

import base64
import csv
import hashlib
import io
import json
import re
from itertools import pairwise
from pathlib import Path

import pytest

from output.rounding import stands_in
from report.pages import CAR, CASES, COUPE, FORMULA, MARKUP, NOTE, ORIGIN, PART, Elements, hostile, island, made, texts
from simlaunch.reporting.page import glossary_of, policy, script_data
from simlaunch.reporting.typeset import typeset

_NUMBER = re.compile(r"(?<![\w.,])\d+(?:\.\d+)?(?![\w.]*\d)")


@pytest.fixture(scope="session")
def hostile_text(hostile_page: Path) -> str:
    return hostile_page.read_text("utf-8")


# --- one file, and nothing else ---


def test_the_same_description_gives_the_same_bytes(hostile_page: Path, tmp_path: Path) -> None:
    again = tmp_path / "hostile.html"
    made(hostile(tmp_path), "-o", again, "--cases", str(CASES))
    assert again.read_bytes() == hostile_page.read_bytes()


def test_it_refers_to_nothing_outside_itself(coupe_text: str) -> None:
    elements = Elements(coupe_text)
    addresses = [
        str(value) for _, attributes in elements.found for key, value in attributes.items() if key in ("href", "src")
    ]
    assert addresses
    assert [each for each in addresses if not each.startswith(("#", "data:text/csv"))] == []
    assert {tag for tag, _ in elements.found} & {"img", "link", "iframe", "object", "embed", "form", "base"} == set()


def test_inner_references_lead_somewhere_and_names_are_unique(coupe_text: str) -> None:
    elements = Elements(coupe_text)
    names = [attributes["id"] for _, attributes in elements.found if "id" in attributes]
    assert len(names) == len(set(names))
    wanted = {str(each["href"])[1:] for each in elements.named("a") if str(each["href"]).startswith("#")}
    wanted |= set(re.findall(r"url\(#([^)]+)\)", coupe_text))
    wanted |= {str(each["href"])[1:] for each in elements.named("use")}
    assert wanted
    assert wanted <= set(names)


def test_the_policy_names_exactly_the_script_and_the_style_of_the_page(coupe_text: str) -> None:
    """Content Security Policy Level 3 (W3C), hash sources: base64 of the SHA-256 of the text of the element."""
    metas = [each for each in Elements(coupe_text).named("meta") if each.get("http-equiv")]
    told = str(metas[0]["content"])
    assert told.startswith("default-src 'none'; ")
    assert "unsafe" not in told
    for tag in ("script", "style"):
        content = re.findall(rf"<{tag}>(.*?)</{tag}>", coupe_text, re.DOTALL)
        assert len(content) == 1
        digest = base64.b64encode(hashlib.sha256(content[0].encode()).digest()).decode()
        assert f"{tag}-src 'sha256-{digest}'" in told
    assert policy("a", "b") != policy("a", "c")
    assert not [attributes for _, attributes in Elements(coupe_text).found if "style" in attributes]


def test_headings_are_in_order_and_the_language_is_set(coupe_text: str) -> None:
    found = Elements(coupe_text).found
    assert dict(found)["html"]["lang"] == "en-GB"
    levels = [int(tag[1]) for tag, _ in found if re.fullmatch(r"h[1-6]", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(later <= before + 1 for before, later in pairwise(levels))


# --- strangers' text ---


def test_hostile_names_become_text(hostile_text: str) -> None:
    seen = texts(hostile_text)
    for name in (CAR, NOTE, PART, ORIGIN):
        assert name in seen or typeset(name).replace("\N{NO-BREAK SPACE}", " ") in seen
        assert name not in hostile_text
    assert MARKUP in seen
    assert "{{ 7*7 }}" in seen
    assert "漢字" in seen


def test_names_in_the_data_cannot_end_the_script(hostile_text: str) -> None:
    raw = re.findall(r'<script type="application/json"[^>]*>(.*?)</script>', hostile_text, re.DOTALL)
    assert len(raw) == 1
    assert not set(raw[0]) & set("<>&\u2028\u2029")
    assert raw[0].isascii()
    assert island(hostile_text)["names"] == [MARKUP, FORMULA]


def test_script_data_keeps_what_it_is_given() -> None:
    strange = {"a": "</script>\u2028\u2029&<!--", "b": [1.5, None]}
    text = script_data(strange)
    assert json.loads(text) == strange
    assert not set(text) & set("<>&\u2028\u2029")


def test_names_are_no_formulas_in_the_saved_numbers(hostile_text: str) -> None:
    """A cell that begins with one of these is run by spreadsheets (OWASP, CSV injection)."""
    link = next(each for each in Elements(hostile_text).named("a") if "download" in each)
    content = base64.b64decode(str(link["href"]).partition("base64,")[2]).decode()
    rows = list(csv.reader(io.StringIO(content)))
    assert rows[0] == ["table", "row", "unit", "column", "value"]
    assert len(rows) > 500
    named = [cell for row in rows for cell in row if "calc" in cell]
    assert named
    labels = [cell for row in rows[1:] for cell in row[:4]]
    assert [cell for cell in labels if cell.startswith(("=", "+", "-", "@", "\t"))] == []


# --- what it says ---


def test_every_number_of_the_first_page_stands_in_a_table(coupe_text: str) -> None:
    first = coupe_text[coupe_text.index("<main>") : coupe_text.index("<nav")]
    sentences = re.findall(r'<p class="verdict">(.*?)</p>|<li class="card">(.*?)</li>', first, re.DOTALL)
    link = next(each for each in Elements(coupe_text).named("a") if "download" in each)
    content = base64.b64decode(str(link["href"]).partition("base64,")[2]).decode()
    values = {cell for row in csv.reader(io.StringIO(content)) for cell in row}
    known = {match.lstrip("+-") for value in values for match in re.findall(r"[+-]?\d+(?:\.\d+)?", value)}
    numbers = [number for pair in sentences for number in _NUMBER.findall(texts(" ".join(pair)))]
    told_by_name = {"1", "4", "0.01"}  # of "1/4 mile", and what is worth naming
    assert len(numbers) > 15
    assert [each for each in numbers if each not in told_by_name and not stands_in(each, known)] == []


def test_every_section_that_is_listed_is_there(coupe_text: str) -> None:
    seen = texts(coupe_text)
    for title in (
        "How the run unfolds",
        "Where torque pays",
        "What if the plateau were higher or lower?",
        "How sure is it?",
        "What the driveline takes",
        "Other gear sets, tyres and roads",
        "What went in",
        "What was assumed",
        "How it was calculated, and how exactly",
        "Cautions",
        "Words used on this page",
    ):
        assert seen.count(title) >= 2  # in the list, and as a heading


def test_every_figure_has_a_finding_an_alternative_text_and_its_numbers(coupe_text: str) -> None:
    figures = re.findall(r"<figure.*?</figure>", coupe_text, re.DOTALL)
    assert len(figures) == 10
    for figure in figures:
        finding = re.search(r"<figcaption><strong>(.+?)</strong>", figure, re.DOTALL)
        assert finding
        assert finding[1].rstrip().endswith((".", "”."))
        labels = [each["aria-label"] for each in Elements(figure).named("svg")]
        assert len(labels) == 2
        assert labels[0] == labels[1]
        assert len(str(labels[0])) > 60
    without = [figure for figure in figures if "<details>" not in figure]
    names = [re.findall(r'id="figure-(\S+?)"', figure)[0] for figure in without]
    assert names == ["winners", "trade-off"]  # the numbers of a sweep stand with its first picture


def test_inputs_stand_as_typed_and_in_both_systems(coupe_text: str) -> None:
    seen = texts(coupe_text)
    for text in (
        "1600 kg",
        "3527.4 lb",
        "2.71 m",
        "8.8911 ft",
        "6900 rpm",
        "722.566 rad/s",
        "20 degC",
        "293.15 K",
        "68 °F",
    ):
        assert text in seen
    assert "Common practice: hard manual shifts." in seen
    assert "ISO 2533 at the altitude" in seen


def test_us_units_change_the_sentences_and_keep_both_in_the_table(tmp_path: Path) -> None:
    page = tmp_path / "us.html"
    made(hostile(tmp_path), "-o", page, "--cases", "0", "--units", "us")
    seen = texts(page.read_text("utf-8"))
    assert "lb-ft more peak torque" in seen
    assert re.search(r"\d+ N m \d+ N m \d+ lb-ft \d+ lb-ft", seen)
    assert "only grip was varied" in seen
    assert island(page.read_text("utf-8"))["torque_unit"] == "lb-ft"


def test_the_glossary_explains_what_is_used_and_nothing_else() -> None:
    found = dict(glossary_of("<p>The slip of the tyres at the rev limit.</p><script>plateau</script>"))
    assert {"slip", "rev limit"} <= set(found)
    assert "plateau" not in found
    assert all(meaning.endswith(".") for meaning in found.values())


@pytest.mark.parametrize(
    "word",
    ["torque", "slip", "wheelspin", "full pedal", "traction-limited", "steady pull", "rating", "wear", "plateau",
     "grip", "usable torque", "gap", "case", "interval", "worth of torque", "rollout", "gear set", "final drive"],
)  # fmt: skip
def test_the_words_that_a_customer_will_not_know_are_explained(coupe_text: str, word: str) -> None:
    assert f"<dt>{word}</dt>" in coupe_text


def test_different_corrections_are_stated_before_any_number(tmp_path: Path) -> None:
    page, scenario = tmp_path / "page.html", hostile(tmp_path)
    text = scenario.read_text("utf-8").replace("[[parts]]", 'correction = "SAE J1349"\n[[parts]]', 1)
    scenario.write_text(text, "utf-8")
    made(scenario, "-o", page, "--cases", "0", "--mixed-corrections")
    seen = texts(page.read_text("utf-8"))
    assert 0 < seen.index("Weather correction not known") < seen.index("Time with spinning tyres")


def test_a_part_that_carries_nothing_is_said_to_and_stands_on_no_card(tmp_path: Path) -> None:
    page = tmp_path / "idle.html"
    idle = '{name="idle shafts",place="front shafts",rating="1000 N m",origin="invented"}'
    short = ["--cases", "0", "--set", 'run.until=["30 m"]', "--set", f"parts=[{idle}]"]
    made(COUPE, "-o", page, *short)
    text = page.read_text("utf-8")
    first = texts(text[text.index("<main>") : text.index("<nav")])
    assert "idle shafts 1000 N m carries nothing carries nothing" in first
    assert "Pull at the gearbox input" in first
    assert "- N m" not in first


def test_a_single_entry_that_draws_each_curve_decides_by_two_values(tmp_path: Path) -> None:
    page = tmp_path / "curves.html"
    each = '{key="each curve by itself",kind="normal",deviation="2 %",origin="invented"}'
    made(COUPE, "-o", page, "--cases", "64", "--set", 'run.until=["30 m"]', "--set", f"uncertain=[{each}]")
    seen = texts(page.read_text("utf-8"))
    assert "What decides the difference" in seen


def test_a_demo_says_that_it_is_invented(coupe_text: str) -> None:
    assert "Invented demonstration data" in texts(coupe_text)
    assert str(COUPE) not in coupe_text


def test_a_name_with_quotation_marks_leaves_those_behind_it_the_right_way_round() -> None:
    """An opening mark stands at the begin of a word, a closing one at its end (rules of English typesetting)."""
    said = 'in "roll 60 mph" "the "wish" of May" is quicker than "as given"; write mass="1 kg" ("t").'
    assert typeset(said).replace("\N{NO-BREAK SPACE}", " ") == (
        "in “roll 60 mph” “the “wish” of May” is quicker than “as given”; write mass=“1 kg” (“t”)."
    )
