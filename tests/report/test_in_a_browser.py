"""The page in a real browser: quiet, self-contained, within the screen, usable by hand and by keyboard, printable."""

from __future__ import annotations

import base64
import io
import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader
from selenium.webdriver import ActionChains, Keys
from selenium.webdriver.common.by import By

from report.pages import island

PHONE, DESK = 360, 1280  # widths of screens [px]
PAPERS = {"A4": (8.27, 11.69), "Letter": (8.5, 11.0)}  # [in], ISO 216 and ANSI Y14.1
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]

pytestmark = pytest.mark.filterwarnings("ignore::ResourceWarning")  # sockets of the driver


@pytest.fixture(params=["coupe", "hostile_page"])
def page(request: pytest.FixtureRequest) -> Path:
    path: Path = request.getfixturevalue(request.param)
    return path


def opened(driver: Any, path: Path, width: int = DESK, *, script: bool = True) -> Any:
    """The browser with a page in it, its logs empty before."""
    driver.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": not script})
    screen = {"width": width, "height": 900, "deviceScaleFactor": 1, "mobile": width < 500}
    driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", screen)
    driver.get("about:blank")
    for kind in ("browser", "performance"):
        driver.get_log(kind)
    driver.get(path.as_uri())
    return driver


def requests(driver: Any) -> Iterator[str]:
    """Address of everything that was asked for."""
    for entry in driver.get_log("performance"):
        message = json.loads(entry["message"])["message"]
        if message["method"] == "Network.requestWillBeSent":
            yield message["params"]["request"]["url"]


def test_it_says_nothing_on_the_console_and_asks_for_nothing_but_itself(driver: Any, page: Path) -> None:
    opened(driver, page)
    assert driver.get_log("browser") == []
    assert set(requests(driver)) == {page.as_uri()}


def test_the_policy_is_in_force(driver: Any, coupe: Path) -> None:
    opened(driver, coupe)
    refused = """
        const done = arguments[0], seen = [];
        document.addEventListener("securitypolicyviolation", (event) => seen.push(event.effectiveDirective));
        const image = new Image(), script = document.createElement("script"), style = document.createElement("style");
        script.textContent = "window.broken = true";
        style.textContent = "body { display: none }";
        document.body.append(image, script, style);
        image.src = "https://example.invalid/x.png";
        document.body.setAttribute("style", "color: red");
        setTimeout(() => done([seen, window.broken === true, getComputedStyle(document.body).display]), 200);
    """
    seen, ran, display = driver.execute_async_script(refused)
    assert {"img-src", "script-src-elem", "style-src-elem", "style-src-attr"} <= set(seen)
    assert not ran
    assert display == "block"


def test_hostile_names_are_text_and_nothing_else(driver: Any, hostile_page: Path) -> None:
    opened(driver, hostile_page)
    count = "return [...document.querySelectorAll(arguments[0])].length"
    assert driver.execute_script(count, "img, iframe, object, s, i, [onload], [onerror]") == 0
    assert driver.execute_script(count, "script") == 2
    assert "<img src=x onerror=alert(1)>" in driver.find_element(By.TAG_NAME, "body").text


@pytest.mark.parametrize("width", [PHONE, DESK])
def test_nothing_lies_outside_the_screen(driver: Any, page: Path, width: int) -> None:
    opened(driver, page, width)
    assert driver.execute_script("return document.documentElement.scrollWidth") <= width
    outside = """
        return [...document.querySelectorAll("body *")].filter((element) => {
            if (element.closest(".scroll, svg, .skip") && !element.matches(".scroll, svg")) return false;
            const box = element.getBoundingClientRect();
            return box.width > 0 && (box.right > innerWidth + 0.5 || box.left < -0.5) && !element.matches(".skip");
        }).map((element) => element.outerHTML.slice(0, 80))
    """
    assert driver.execute_script(outside) == []


@pytest.mark.parametrize("width", [PHONE, DESK])
def test_text_of_figures_can_be_read(driver: Any, coupe: Path, width: int) -> None:
    """12 px is the least that is usual for print on screens (common practice)."""
    opened(driver, coupe, width)
    sizes = """
        return [...document.querySelectorAll("figure svg text")].map((text) => {
            const drawing = text.ownerSVGElement, box = drawing.getBoundingClientRect();
            const scale = box.width / drawing.viewBox.baseVal.width;
            return box.width === 0 ? null : parseFloat(getComputedStyle(text).fontSize) * scale;
        }).filter((size) => size !== null)
    """
    shown = driver.execute_script(sizes)
    assert len(shown) > 100
    assert min(shown) >= 11.0
    named = [size for size in shown if size >= 12.0]
    assert len(named) > 0.8 * len(shown)


@pytest.mark.parametrize(("name", "width"), [("coupe", PHONE), ("hostile_page", DESK)])
def test_axe_finds_no_violation(driver: Any, axe: str, name: str, width: int, request: pytest.FixtureRequest) -> None:
    opened(driver, request.getfixturevalue(name), width)
    driver.execute_script("document.querySelectorAll('details').forEach((each) => { each.open = true; })")
    driver.execute_script(axe)
    found = driver.execute_async_script("axe.run({runOnly: arguments[0]}).then(arguments[1])", RULES)
    assert len(found["passes"]) > 20
    assert [(each["id"], [node["html"][:120] for node in each["nodes"][:3]]) for each in found["violations"]] == []


# --- the what-if ---


def cells(driver: Any) -> dict[str, str]:
    """Every number of the what-if, by row and column."""
    return {each.get_attribute("data-cell"): each.text for each in driver.find_elements(By.CSS_SELECTOR, "[data-cell]")}


def place(driver: Any, name: str) -> int:
    return int(driver.find_element(By.ID, name).get_property("value"))


def expected(data: Any, height: int, grip: int) -> dict[str, str]:
    """What was computed for a height and a grip."""
    found = {}
    for row, measure in enumerate(data["measures"]):
        values = (measure["cut"][height][grip], *(curve[grip] for curve in measure["curves"]))
        for column, value in enumerate(values):
            found[f"{row} {column}"] = "-" if value is None else f"{value:.{measure['digits']}f}"
    return found


def test_the_keyboard_moves_the_sliders_to_computed_numbers(driver: Any, coupe: Path) -> None:
    opened(driver, coupe)
    data = island(coupe.read_text("utf-8"))
    slider, other = driver.find_element(By.ID, "height"), driver.find_element(By.ID, "grip")
    before = driver.find_element(By.CSS_SELECTOR, '.wide [data-line="cut"] path').get_attribute("d")
    slider.send_keys(Keys.HOME)
    assert place(driver, "height") == 0
    assert cells(driver) == expected(data, 0, 4)
    assert driver.find_element(By.CSS_SELECTOR, '.wide [data-line="cut"] path').get_attribute("d") != before
    slider.send_keys(*[Keys.ARROW_RIGHT] * 8)
    other.send_keys(*[Keys.ARROW_LEFT] * 4)
    assert cells(driver) == expected(data, 2, 3)
    state = driver.find_element(By.ID, "state")
    assert "Computed" in state.text
    assert slider.get_attribute("aria-valuetext") == f"{data['heights'][2]:g} N m"
    assert other.get_attribute("aria-valuetext") == f"{data['grips'][3]:g} %"
    slider.send_keys(Keys.ARROW_RIGHT)
    assert "Interpolated" in state.text
    assert "Computed" not in state.text


def test_between_computed_points_it_interpolates(driver: Any, coupe: Path) -> None:
    opened(driver, coupe)
    data = island(coupe.read_text("utf-8"))
    driver.find_element(By.ID, "height").send_keys(Keys.HOME, *[Keys.ARROW_RIGHT] * 2)
    times = data["measures"][0]["cut"]
    assert float(cells(driver)["0 0"]) == pytest.approx(0.5 * (times[0][4] + times[1][4]), abs=0.0006)


def test_the_mouse_moves_a_slider_to_computed_numbers(driver: Any, coupe: Path) -> None:
    opened(driver, coupe)
    data = island(coupe.read_text("utf-8"))
    slider = driver.find_element(By.ID, "height")
    driver.execute_script("arguments[0].scrollIntoView({block: 'center'})", slider)
    start = place(driver, "height")
    far = slider.size["width"] // 2 + 30
    ActionChains(driver).move_to_element(slider).click_and_hold().move_by_offset(far, 0).release().perform()
    last = len(data["heights"]) - 1
    assert place(driver, "height") == last * data["steps"] != start
    assert cells(driver) == expected(data, last, 4)


def test_the_line_of_the_picture_is_cut_at_the_stated_height(driver: Any, coupe: Path) -> None:
    """Read back from the drawing by its own axis: the highest point of the line is the height."""
    opened(driver, coupe)
    data = island(coupe.read_text("utf-8"))
    driver.find_element(By.ID, "height").send_keys(Keys.HOME)
    drawing = driver.find_element(By.CSS_SELECTOR, "#figure-what-if .wide svg")
    _, _, top, bottom, _, _, y0, y1 = json.loads(drawing.get_attribute("data-area"))
    path = drawing.find_element(By.CSS_SELECTOR, '[data-line="cut"] path').get_attribute("d")
    highest = min(float(pair.split()[1]) for pair in re.findall(r"[\d.-]+ [\d.-]+", path))
    height = y0 + (bottom - highest) / (bottom - top) * (y1 - y0)
    assert height == pytest.approx(data["heights"][0], abs=0.1 / (bottom - top) * (y1 - y0))


def test_without_script_the_whole_story_stands_there(driver: Any, coupe: Path) -> None:
    opened(driver, coupe, script=False)
    body = driver.find_element(By.TAG_NAME, "body").text
    assert "The sliders of this section need script" in body
    assert not driver.find_element(By.ID, "height").is_displayed()
    data = island(coupe.read_text("utf-8"))
    start, _ = (each // data["steps"] for each in data["start"])
    assert cells(driver) == expected(data, start, 4)
    driver.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})


# --- paper ---


@pytest.mark.parametrize("paper", PAPERS)
def test_the_first_printed_page_stands_alone(driver: Any, coupe: Path, paper: str) -> None:
    opened(driver, coupe)
    width, height = PAPERS[paper]
    asked = {"paperWidth": width, "paperHeight": height, "printBackground": True, "preferCSSPageSize": True}
    printed = base64.b64decode(driver.execute_cdp_cmd("Page.printToPDF", asked)["data"])
    pages = [" ".join(each.extract_text().split()) for each in PdfReader(io.BytesIO(printed)).pages]
    assert 10 <= len(pages) <= 16
    wanted = (
        "Which curve",
        "its curve is slower",
        "Time with spinning tyres",
        "means for the parts",
        "half shafts",
    )
    assert [told for told in wanted if told not in pages[0]] == []
    assert "How the run unfolds" in pages[1]
    assert "How the run unfolds" not in pages[0]
    assert all(f"{n} / {len(pages)}" in text for n, text in enumerate(pages, start=1))
