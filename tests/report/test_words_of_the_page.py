"""What a customer reads: no keys, no words of commands, and a source that was read or "usual value" by each default."""

from __future__ import annotations

import base64
import re
import tomllib
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from report.pages import Elements, made, texts
from simlaunch.cli.main import answer
from simlaunch.reporting.plain_words import plain_key, plain_words
from simlaunch.scenario.defaults import defaults
from simlaunch.scenario.reading import load

SCENARIOS = Path(__file__).parents[2] / "scenarios"
NOT_FOR_A_CUSTOMER = (
    "from memory",
    "common practice",
    "held slip",
    "drawn case",
    "clutch or converter",
    "footing",
    "[[",
)


def flat(table: dict[str, Any], before: str = "") -> Iterator[str]:
    """Paths of the values of a scenario file."""
    for key, value in table.items():
        if isinstance(value, dict):
            yield from flat(value, f"{before}{key}.")
        elif before and value is not None:
            yield before + key


@cache
def key_paths() -> tuple[str, ...]:
    """Every key that a demonstration scenario gives or leaves to a default."""
    files = [SCENARIOS / f"{name}.toml" for name in ("road-coupe", "all-drive-saloon", "all-drive-grip", "track-car")]
    given = (path for file in files for path in flat(tomllib.loads(file.read_text("utf-8"))))
    assumed = (default.key for file in files for default in defaults(load(file)))
    return tuple(dict.fromkeys(path for path in (*given, *assumed) if "." in path and not path.endswith(".note")))


@pytest.fixture(scope="module")
def saloon_text(tmp_path_factory: pytest.TempPathFactory) -> str:
    """Page of a car with a torque converter, in US units."""
    page = tmp_path_factory.mktemp("saloon") / "saloon.html"
    made(SCENARIOS / "all-drive-saloon.toml", "-o", page, "--cases", "0", "--units", "us")
    return page.read_text("utf-8")


@pytest.fixture(scope="module")
def dual_text(tmp_path_factory: pytest.TempPathFactory) -> str:
    """Page of a car with a dual clutch, one of whose goals is out of reach."""
    page = tmp_path_factory.mktemp("dual") / "dual.html"
    call = ["report", str(SCENARIOS / "all-drive-grip.toml"), "-o", str(page), "--cases", "0", "--quiet"]
    assert answer([*call, "--set", "run.time_limit=11.8 s"]) == 4
    return page.read_text("utf-8")


@pytest.fixture(params=["coupe_text", "saloon_text", "dual_text"])
def page_text(request: pytest.FixtureRequest) -> str:
    text: str = request.getfixturevalue(request.param)
    return text


def private(seen: str) -> list[str]:
    """Keys and private words in a text that a customer reads."""
    keys = [key for key in key_paths() if re.search(rf"(?<![\w.]){re.escape(key)}(?![\w])", seen)]
    joined = re.findall(r"\b[a-z]+(?:_[a-z]+)+\b", seen)
    words = [word for word in NOT_FOR_A_CUSTOMER if re.search(rf"(?<!\w){re.escape(word)}", seen, re.IGNORECASE)]
    return [*keys, *joined, *words]


def spoken(page: str) -> str:
    """Texts of a page and of its alternative texts, without what the author of the scenario wrote."""
    author = re.sub(r'<p class="note">.*?</p>|<h3>Where the ratings come from</h3>.*?</dl>', " ", page, flags=re.DOTALL)
    author = re.sub(r"<caption>What varies from case to case</caption>.*?</table>", " ", author, flags=re.DOTALL)
    labels = [str(value) for _, each in Elements(page).found for name, value in each.items() if name == "aria-label"]
    return " ".join([texts(author), *labels])


def test_no_key_and_no_private_word_stands_on_a_page(page_text: str) -> None:
    assert private(spoken(page_text)) == []


def test_no_key_and_no_private_word_stands_in_the_saved_numbers(page_text: str) -> None:
    link = next(each for each in Elements(page_text).named("a") if "download" in each)
    assert private(base64.b64decode(str(link["href"]).partition("base64,")[2]).decode()) == []


def test_a_key_or_a_private_word_would_be_found() -> None:
    assert private("the value body.mass, held slip, and rolling_factor_of_radius") == [
        "body.mass",
        "rolling_factor_of_radius",
        "held slip",
    ]


def test_the_coupling_is_called_what_the_car_has(coupe_text: str, saloon_text: str, dual_text: str) -> None:
    for text, name in ((coupe_text, "clutch"), (saloon_text, "torque converter"), (dual_text, "dual clutch")):
        assert f"heat in {name} " in texts(text)
        assert f"its {name}, its shifts" in texts(text)


def test_what_was_not_given_is_a_usual_value_or_has_a_source_that_was_read(coupe_text: str) -> None:
    seen = texts(coupe_text)
    assert "usual value: cars 1.2 to 2.0 Hz" in seen
    assert "ISO 2533 at the altitude" in seen
    assert "front tyres: relaxation length" in seen
    assert "Distance over which slip settles." in seen


@pytest.mark.parametrize("key", ["body.mass", "tyres.front.friction", "gearbox.shift.gap", "parts[1].rating"])
def test_every_key_has_words(key: str) -> None:
    assert plain_words(f"see {key}.") == f"see {plain_key(key)}."
    assert private(plain_key(key)) == []


def test_the_words_of_every_key_differ() -> None:
    words = [plain_key(key) for key in key_paths()]
    assert len(set(words)) == len(words)
    assert [word for word in words if "_" in word or "." in word] == []


def test_names_of_users_stay_as_they_are() -> None:
    for name in ("my_curve", "v1.2", "x^2", "stage.two", "a held line"):
        assert plain_words(name) == name
    assert load(SCENARIOS / "road-coupe.toml").name == plain_words("Road coupe, rear drive")
