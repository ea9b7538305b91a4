"""The page in a real browser: shaped by mouse, finger, keyboard and table; quiet, within the screen, accessible."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from selenium.webdriver import ActionChains, Keys
from selenium.webdriver.common.by import By
from selenium.webdriver.support.ui import Select, WebDriverWait

from live.pages import LONGEST, Page, copied, served
from report.pages import MARKUP, hostile

PHONE, DESK = 360, 1280  # widths of screens [px]
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]

pytestmark = pytest.mark.filterwarnings("ignore::ResourceWarning")  # sockets of the driver


@pytest.fixture(autouse=True)
def left_in_the_end(driver: Any) -> Iterator[None]:
    """The page is closed after each test, so that its server may end."""
    yield
    driver.get("about:blank")


def until(driver: Any, ready: Any) -> Any:
    return WebDriverWait(driver, LONGEST, poll_frequency=0.1).until(ready)


def settled(driver: Any) -> None:
    """Wait until numbers are exact and the verdict belongs to them."""
    until(driver, lambda d: "Exact" in d.find_element(By.ID, "state").text)
    until(driver, lambda d: "hatched" in d.find_element(By.ID, "why-state").text)


def opened(driver: Any, page: Page, width: int = DESK) -> Any:
    """The browser with the page in it, answers exact, its logs empty before."""
    screen = {"width": width, "height": 900, "deviceScaleFactor": 1, "mobile": width < 500}
    driver.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})
    driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", screen)
    driver.get("about:blank")
    for kind in ("browser", "performance"):
        driver.get_log(kind)
    driver.get(page.address)
    settled(driver)
    return driver


def handles(driver: Any) -> list[Any]:
    found: list[Any] = driver.find_elements(By.CSS_SELECTOR, "#drawing [role=slider]")
    return found


def points(driver: Any) -> list[tuple[float, float]]:
    """Engine speed and torque of every point, as read out by a screen reader."""
    told = [each.get_attribute("aria-valuetext").split() for each in handles(driver)]
    return [(float(words[-2]), float(words[0])) for words in told]


def times(driver: Any) -> dict[str, list[str]]:
    rows = driver.find_elements(By.CSS_SELECTOR, "#tables table:first-child tbody tr")
    return {
        row.find_element(By.TAG_NAME, "th").text: [cell.text for cell in row.find_elements(By.TAG_NAME, "td")]
        for row in rows
    }


def curve(driver: Any) -> str:
    path: str = driver.find_element(By.CSS_SELECTOR, '#drawing path[stroke-width="2.6"]').get_attribute("d")
    return path


def middle(driver: Any, element: Any) -> None:
    driver.execute_script("arguments[0].scrollIntoView({block: 'center'})", element)


def shown_for(page: Page, at: list[tuple[float, float]]) -> list[str]:
    """What the server answers for points, asked apart from the page."""
    status, answer = page.post("exact", page.state(points=[list(each) for each in at]))
    assert status == 200
    found: list[str] = answer["tables"][0]["rows"][0]["cells"]
    return found


def test_it_says_nothing_on_the_console_and_asks_nobody_else(driver: Any, page: Page) -> None:
    opened(driver, page)
    assert driver.get_log("browser") == []
    asked = set()
    for entry in driver.get_log("performance"):
        message = json.loads(entry["message"])["message"]
        if message["method"] == "Network.requestWillBeSent":
            asked.add(message["params"]["request"]["url"])
    assert {each for each in asked if not each.startswith(page.address)} == set()
    assert len(asked) > 5


@pytest.mark.parametrize("width", [PHONE, DESK])
def test_hostile_names_are_text_and_stay_within_the_screen(driver: Any, tmp_path: Path, width: int) -> None:
    with served(hostile(tmp_path)) as other:
        opened(driver, other, width)
        count = "return [...document.querySelectorAll(arguments[0])].length"
        assert driver.execute_script(count, "img, iframe, object, s, i, [onload], [onerror]") == 0
        assert driver.execute_script(count, "script") == 1
        assert driver.get_log("browser") == []
        assert MARKUP in driver.find_element(By.ID, "key").text
        assert driver.execute_script("return document.documentElement.scrollWidth") <= width
        driver.get("about:blank")


def test_the_caution_stands_on_the_page(driver: Any, page: Page) -> None:
    opened(driver, page)
    told = driver.find_element(By.ID, "caution").text
    assert all(word in told for word in ("closed course", "ratings", "emissions", "road law", "qualified people"))


def test_what_one_half_shaft_may_carry_stands_below_the_parts(driver: Any, tmp_path: Path) -> None:
    """And the caution of a road whose sides differ at the foot of the page; neither makes a phone scroll sideways."""
    path = copied(tmp_path)
    text = path.read_text().replace(
        'surface = "dry asphalt"', 'surface = "dry asphalt"\nright_friction_factor = "0.6"', 1
    )
    path.write_text(text.replace('driven = "rear"', 'driven = "rear"\nlocking = "40 %"', 1))
    with served(path) as page:
        for width in (PHONE, DESK):
            opened(driver, page, width)
            note = driver.find_element(By.CSS_SELECTOR, "#tables tfoot .note")
            assert "one rear half shaft alone may carry up to 70.0 %" in note.text
            assert note.rect["width"] <= width
            assert driver.execute_script("return document.documentElement.scrollWidth") <= width
            assert "yaw and steering are not modelled" in driver.find_element(By.ID, "caution").text
        driver.get("about:blank")


def test_a_point_dragged_by_mouse_moves_the_curve_and_the_numbers(driver: Any, page: Page) -> None:
    opened(driver, page)
    before, line, told = points(driver), curve(driver), times(driver)
    moved = handles(driver)[5]
    middle(driver, moved)
    ActionChains(driver).move_to_element(moved).click_and_hold().move_by_offset(0, -20).move_by_offset(8, -15).perform()
    until(driver, lambda d: curve(d) != line)
    ActionChains(driver).release().perform()
    settled(driver)
    after = points(driver)
    assert after[5][1] > before[5][1] + 30
    assert after[5][0] > before[5][0]
    assert [*after[:5], *after[6:]] == [*before[:5], *before[6:]]
    assert times(driver) != told
    assert times(driver)["1/4 mile, full pedal [s]"] == shown_for(page, after)


def test_a_finger_moves_a_point_and_does_not_scroll(driver: Any, page: Page) -> None:
    opened(driver, page, PHONE)
    before = points(driver)
    moved = handles(driver)[4]
    middle(driver, moved)
    box = driver.execute_script(
        "const b = arguments[0].querySelector('.dot').getBoundingClientRect();"
        "return [b.x + b.width / 2, b.y + b.height / 2]",
        moved,
    )
    scrolled = driver.execute_script("return scrollY")

    def touch(kind: str, *at: dict[str, float]) -> None:
        driver.execute_cdp_cmd("Input.dispatchTouchEvent", {"type": kind, "touchPoints": list(at)})

    driver.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", {"enabled": True})
    touch("touchStart", {"x": box[0], "y": box[1]})
    for step in range(1, 6):
        touch("touchMove", {"x": box[0], "y": box[1] + 8 * step})
    touch("touchEnd")
    driver.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", {"enabled": False})
    settled(driver)
    assert points(driver)[4][1] < before[4][1] - 30
    assert driver.execute_script("return scrollY") == scrolled


def test_the_keyboard_moves_adds_and_removes_points(driver: Any, page: Page) -> None:
    opened(driver, page)
    before = points(driver)
    driver.execute_script("arguments[0].focus()", handles(driver)[3])

    def press(*keys: str) -> None:
        ActionChains(driver).send_keys(*keys).perform()

    press(Keys.ARROW_UP, Keys.ARROW_UP, Keys.ARROW_RIGHT)
    assert points(driver)[3] == (before[3][0] + 20, before[3][1] + 4)
    ActionChains(driver).key_down(Keys.SHIFT).send_keys(Keys.ARROW_DOWN).key_up(Keys.SHIFT).perform()
    assert points(driver)[3][1] == before[3][1] - 6
    press(Keys.TAB)
    assert driver.switch_to.active_element == handles(driver)[4]
    press(Keys.DELETE)
    assert len(points(driver)) == len(before) - 1
    press(Keys.INSERT)
    assert len(points(driver)) == len(before)
    settled(driver)
    assert times(driver)["1/4 mile, full pedal [s]"] == shown_for(page, points(driver))


def test_ends_move_up_and_down_only_and_stay(driver: Any, page: Page) -> None:
    opened(driver, page)
    before = points(driver)
    driver.execute_script("arguments[0].focus()", handles(driver)[0])
    ActionChains(driver).send_keys(Keys.ARROW_RIGHT, Keys.DELETE, Keys.ARROW_UP).perform()
    assert points(driver)[0] == (before[0][0], before[0][1] + 2)
    assert len(points(driver)) == len(before)
    assert not driver.find_element(By.ID, "remove").is_enabled()


def test_a_point_does_not_pass_its_neighbours(driver: Any, page: Page) -> None:
    opened(driver, page)
    driver.execute_script("arguments[0].focus()", handles(driver)[3])
    ActionChains(driver).key_down(Keys.SHIFT).send_keys(*[Keys.ARROW_RIGHT] * 12).key_up(Keys.SHIFT).perform()
    found = points(driver)
    assert found[3][0] == found[4][0] - 10


def test_the_table_takes_numbers_and_a_double_click_adds_a_point(driver: Any, page: Page) -> None:
    opened(driver, page)
    before = points(driver)
    driver.find_element(By.CSS_SELECTOR, "#as-table summary").click()
    fields = driver.find_elements(By.CSS_SELECTOR, "#points input")
    assert [float(each.get_property("value")) for each in fields] == [number for point in before for number in point]
    fields[7].send_keys(Keys.CONTROL + "a" + Keys.NULL, "505.5", Keys.TAB)
    assert points(driver)[3] == (before[3][0], 505.5)
    fields[7].send_keys(
        Keys.CONTROL + "a" + Keys.NULL, Keys.DELETE, Keys.TAB
    )  # nothing is no number: the old one stays
    assert float(fields[7].get_property("value")) == 505.5
    assert fields[0].get_property("readOnly")
    drawing = driver.find_element(By.ID, "drawing")
    middle(driver, drawing)
    ActionChains(driver).move_to_element_with_offset(drawing, 150, -60).double_click().perform()
    assert len(points(driver)) == len(before) + 1
    buttons = driver.find_elements(By.CSS_SELECTOR, "#points button")
    assert len(buttons) == len(before) + 1
    middle(driver, buttons[2])
    buttons[2].click()
    assert len(points(driver)) == len(before)
    settled(driver)


def test_undo_and_redo_go_back_and_forth(driver: Any, page: Page) -> None:
    opened(driver, page)
    undo, redo = driver.find_element(By.ID, "undo"), driver.find_element(By.ID, "redo")
    assert not undo.is_enabled()
    assert not redo.is_enabled()
    first, told = points(driver), times(driver)
    driver.execute_script("arguments[0].focus()", handles(driver)[3])
    ActionChains(driver).send_keys(Keys.PAGE_UP, Keys.PAGE_UP).perform()
    last = points(driver)
    undo.click()
    assert points(driver)[3][1] == first[3][1] + 20
    ActionChains(driver).key_down(Keys.CONTROL).send_keys("z").key_up(Keys.CONTROL).perform()
    assert points(driver) == first
    settled(driver)
    assert times(driver) == told
    ActionChains(driver).key_down(Keys.CONTROL).send_keys("y").key_up(Keys.CONTROL).perform()
    redo.click()
    assert points(driver) == last
    assert not redo.is_enabled()
    settled(driver)


def test_sliders_and_choices_change_the_answers(driver: Any, page: Page) -> None:
    opened(driver, page)
    first, gears = times(driver), driver.execute_script(CEILINGS)
    grip = driver.find_element(By.ID, "slider-grip")
    middle(driver, grip)
    grip.send_keys(Keys.PAGE_UP)
    assert grip.get_attribute("aria-valuetext") == "110 %"
    settled(driver)
    assert times(driver) != first
    assert driver.execute_script(CEILINGS) != gears
    grip.send_keys(Keys.PAGE_DOWN)
    settled(driver)
    assert times(driver) == first
    Select(driver.find_element(By.CSS_SELECTOR, '[data-kind="gear set"]')).select_by_visible_text("short")
    settled(driver)
    assert times(driver) != first
    Select(driver.find_element(By.ID, "choice-1")).select_by_visible_text("peak")
    settled(driver)
    heads = driver.find_elements(By.CSS_SELECTOR, "#tables table:first-child thead th")
    assert heads[0].text == "peak"


CEILINGS = (
    "return [...document.querySelectorAll('#drawing path[stroke-width=\"1.3\"]')].map((p) => p.getAttribute('d'))"
)


def test_spans_are_hatched_and_say_whom_they_help(driver: Any, page: Page) -> None:
    opened(driver, page)
    why = page.post("why", page.state(tests=page.begin()["shown_tests"]))[1]
    helped = [each for each in why["spans"] if each["helps"]]
    assert helped
    assert len(driver.find_elements(By.CSS_SELECTOR, '#drawing path[fill^="url(#helps"]')) == len(helped)
    labels = driver.execute_script("return [...document.querySelectorAll('#drawing text')].map((t) => t.textContent)")
    assert {f"{each['words']} for {'shaped' if each['helps'] == 'shaped' else 'plateau'}" for each in helped} <= set(
        labels
    )
    assert [each.text for each in driver.find_elements(By.CSS_SELECTOR, "#verdict p")] == why["verdict"]


def test_a_curve_is_saved_and_never_twice(driver: Any, page: Page) -> None:
    opened(driver, page)
    name = driver.find_element(By.ID, "name")
    name.clear()
    name.send_keys("by hand")
    save = driver.find_element(By.CSS_SELECTOR, '[data-study="save-curve"]')
    middle(driver, save)
    save.click()
    done = driver.find_element(By.ID, "done")
    until(driver, lambda _: done.text == "wrote by hand.csv")
    written = (page.folder / "by hand.csv").read_text("utf-8")
    assert written.startswith("engine speed [rpm],torque [N m]\n1000,170\n")
    until(driver, lambda _: save.is_enabled())
    save.click()
    until(driver, lambda _: "is there already" in done.text)
    assert (page.folder / "by hand.csv").read_text("utf-8") == written


def test_at_most_one_request_is_under_way_and_the_last_state_is_answered(driver: Any, page: Page) -> None:
    opened(driver, page)
    driver.execute_script(
        """
        const real = window.fetch;
        window.under = 0; window.most = 0; window.sent = [];
        window.fetch = async (path, request) => {
          if (path !== "quick") return real(path, request);
          window.under += 1; window.most = Math.max(window.most, window.under); window.sent.push(request.body);
          try { return await real(path, request); } finally { window.under -= 1; }
        };
        """
    )
    driver.execute_script("arguments[0].focus()", handles(driver)[4])
    ActionChains(driver).send_keys(*[Keys.ARROW_UP] * 30).perform()
    settled(driver)
    assert driver.execute_script("return window.most") == 1
    sent = driver.execute_script("return window.sent")
    assert 1 <= len(sent) <= 30
    assert json.loads(sent[-1])["points"][4][1] == points(driver)[4][1]
    assert times(driver)["1/4 mile, full pedal [s]"] == shown_for(page, points(driver))


@pytest.mark.parametrize("width", [PHONE, DESK])
def test_nothing_lies_outside_the_screen(driver: Any, page: Page, width: int) -> None:
    opened(driver, page, width)
    driver.execute_script("document.querySelectorAll('details').forEach((each) => { each.open = true; })")
    assert driver.execute_script("return document.documentElement.scrollWidth") <= width
    outside = """
        return [...document.querySelectorAll("body *")].filter((element) => {
            if (element.matches(".skip, option") || element.closest("defs, [clip-path]")) return false;
            const box = element.getBoundingClientRect();
            return box.width > 0 && (box.right > innerWidth + 0.5 || box.left < -0.5);
        }).map((element) => element.outerHTML.slice(0, 80))
    """
    assert driver.execute_script(outside) == []


@pytest.mark.parametrize("width", [PHONE, DESK])
def test_axe_finds_no_violation(driver: Any, axe: str, page: Page, width: int) -> None:
    opened(driver, page, width)
    driver.execute_script("document.querySelectorAll('details').forEach((each) => { each.open = true; })")
    driver.execute_script(axe)
    found = driver.execute_async_script("axe.run({runOnly: arguments[0]}).then(arguments[1])", RULES)
    assert len(found["passes"]) > 20
    assert [(each["id"], [node["html"][:120] for node in each["nodes"][:3]]) for each in found["violations"]] == []
