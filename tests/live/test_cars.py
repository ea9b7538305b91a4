"""One curve on several cars, and logs beside the launches: numbers, what is refused, and the page in a browser."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from selenium.webdriver.common.by import By
from selenium.webdriver.support.ui import Select

import simlaunch
from live.pages import Page, copied, served
from live.test_in_a_browser import RULES, left_in_the_end, opened, settled, until
from readers.logs import write_csv
from simlaunch.cli.main import answer
from simlaunch.errors import InputError, UsageError
from simlaunch.logged.same_conditions import Days
from simlaunch.output.words import Numbers
from simlaunch.shaping.answers import Answers
from simlaunch.shaping.cars import on_every_car
from simlaunch.shaping.server import beginnings
from simlaunch.shaping.states import read_state
from simlaunch.units.spelling import Dimension, System

__all__ = ["left_in_the_end"]

CARS = ("road-coupe", "hill-roadster", "track-car")
HOSTILE = "<img src=x onerror=alert(1)>.csv"

pytestmark = pytest.mark.filterwarnings("ignore::ResourceWarning")  # sockets of the driver


def loaded(folder: Path, *names: str) -> dict[str, simlaunch.Scenario]:
    copied(folder)
    return {name: simlaunch.load(folder / f"{name}.toml") for name in names}


def logs(folder: Path) -> list[Path]:
    """Two logs; the name of one is markup."""
    sheets = folder / "sheets"
    shutil.copy(sheets / "invented-after-2.csv", sheets / HOSTILE)
    return [sheets / "invented-after-1.csv", sheets / HOSTILE]


@pytest.fixture(scope="module")
def several(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Page]:
    folder = tmp_path_factory.mktemp("cars")
    copied(folder)
    with served(folder / "road-coupe.toml", more=CARS[1:], logs=logs(folder)) as page:
        yield page


def test_every_car_has_the_times_of_its_own_comparison(tmp_path: Path) -> None:
    cars = loaded(tmp_path, *CARS)
    starts = beginnings(cars, None, None, "metric")
    answers = {name: Answers(start) for name, start in starts.items()}
    points = answers["road-coupe"].begin()["points"]
    found = on_every_car(answers, read_state({"points": points, "against": "plateau"}))
    for row, name in zip(found["table"]["rows"][:2], CARS[:2], strict=True):
        start = starts[name]
        state = read_state({"points": points, "against": start.against})
        gap = simlaunch.compare(start.scenario_of(state), (start.against, start.name), cases=0).pairs[0].full.at_goal
        assert row["label"] == f"{name}, 1/4 mile, against {start.against}"
        times = Numbers(System.METRIC).beside(gap.first.time, gap.second.time, Dimension.TIME)
        assert row["cells"] == list(times)
    assert found["table"]["rows"][2]["cells"] == ["-", "-", "-"]
    assert "is quicker on none of the 3 cars" in found["text"]
    assert 'track-car: engine.rev_limit: "8200 rpm" is above 7000 rpm' in found["text"]


def test_a_curve_that_wins_everywhere_is_said_to(tmp_path: Path) -> None:
    coupe = loaded(tmp_path, "road-coupe")["road-coupe"]
    cars = {"light": coupe.replace({"body.mass": "1500 kg"}), "heavy": coupe.replace({"body.mass": "1800 kg"})}
    answers = {name: Answers(start) for name, start in beginnings(cars, None, None, "metric").items()}
    strong = [[1000, 170], [2500, 430], [5500, 450], [7000, 430]]
    found = on_every_car(answers, read_state({"points": strong, "against": "plateau"}))
    assert found["text"] == "The shaped curve is quicker on both cars."


def test_what_the_server_says_of_cars_and_logs(several: Page) -> None:
    begun = several.begin()
    assert [each["name"] for each in begun["cars"]] == list(CARS)
    assert (begun["chosen_car"], begun["logged"]) == ("road-coupe", 2)
    status, other = several.ask("GET", f"/{several.secret}/begin?car=hill-roadster")[::2]
    assert status == 200
    assert json.loads(other)["car"].startswith("Hill roadster")
    assert json.loads(other)["logged"] == 0
    status, found = several.post("quick", several.state())
    assert status == 200
    assert [each["name"] for each in found["logged"]["logs"]] == ["invented-after-1.csv", HOSTILE]
    assert found["logged"]["tables"][0]["heads"][:2] == ["logged, mean", "scatter"]
    row = next(row for row in found["logged"]["tables"][0]["rows"] if row["label"] == "1/4 mile, 1 ft")
    assert float(row["cells"][0]) == pytest.approx(13.13, abs=0.05)
    assert "logged" not in several.post("quick", several.state(car="hill-roadster", against="full boost"))[1]


@pytest.mark.parametrize("car", ["nobody", "../road-coupe", 7, ["road-coupe"], "x" * 5000])
def test_a_car_that_is_not_there_is_refused(several: Page, car: Any) -> None:
    status, found = several.post("quick", several.state(car=car))
    assert (status, found) == (422, {"fault": "the page sent a car that is not there; reload it"})


def test_an_unknown_car_has_no_page(several: Page) -> None:
    assert several.ask("GET", f"/{several.secret}/begin?car=nobody")[0] == 422


def test_what_is_refused_before_a_page_opens(tmp_path: Path) -> None:
    cars = loaded(tmp_path, *CARS)
    with pytest.raises(UsageError, match="no scenario is given"):
        beginnings({}, None, None, "metric")
    with pytest.raises(InputError, match="nowhere"):
        beginnings(cars, None, None, "metric", [tmp_path / "nowhere.csv"])
    log = tmp_path / "sheets" / "invented-after-1.csv"
    with pytest.raises(UsageError, match="conditions of 2 logs are stated; there are 1"):
        beginnings(cars, None, None, "metric", [log], None, Days([{}, {"air.temperature": "4 degC"}]))
    assert beginnings(cars, "peak", None, "metric")["hill-roadster"].curve.name == "full boost"
    path = str(tmp_path / "road-coupe.toml")
    assert answer(["live", path, "--channel", "speed=V", "--no-browser"]) == 2
    assert answer(["live", path, "--log", str(tmp_path / "nowhere.csv"), "--no-browser"]) == 3
    assert answer(["live", path, "--for-log", "1: air.temperature=4 degC", "--no-browser"]) == 2
    assert answer(["live", path, "--log", str(log), "--for-log", "1: body.mass=1 kg", "--no-browser"]) == 2


def test_wheels_of_a_log_have_a_table(tmp_path: Path) -> None:
    """Wheels logged as road speeds roll on the tyres of the scenario."""
    cars = loaded(tmp_path, "road-coupe")
    time = np.arange(0.0, 10.0, 0.02)
    speed = 5.0 * np.maximum(time - 1.0, 0.0)
    columns = {"Time [s]": time, "Speed [m/s]": speed}
    columns |= {f"Wheel Speed {name} [m/s]": speed * (1.0 + slip) for name, slip in (("RL", 0.2), ("RR", 0.1))}
    log = write_csv(tmp_path / "wheels.csv", columns)
    page = Answers(beginnings(cars, None, None, "metric", [log])["road-coupe"])
    found = page.quick(read_state({"points": page.begin()["points"], "against": "plateau"}))["logged"]
    times, slips = found["tables"]
    assert times["title"] == "Times, logged and calculated"
    assert slips["title"].startswith("Slip distance up to")
    assert [row["label"] for row in slips["rows"]] == ["rear axle", "rear left", "rear right"]
    moved = float(speed.max()) ** 2 / 10.0  # of an even acceleration
    shown = [float(row["cells"][0]) for row in slips["rows"]]
    assert shown == pytest.approx([0.15 * moved, 0.2 * moved, 0.1 * moved], abs=0.1)
    assert "both its wheels slip alike" in found["text"]


def test_logs_of_another_day_are_brought_to_the_scenario(tmp_path: Path) -> None:
    """By the function of `compare_logs`, and the page says so."""
    cars = loaded(tmp_path, "road-coupe")
    log, day = tmp_path / "sheets" / "invented-after-1.csv", {"air.temperature": "4 degC", "air.head_wind": "5 m/s"}
    start = beginnings(cars, None, None, "metric", [log], None, Days([day]))["road-coupe"]
    found = simlaunch.compare_logs([log], correcting=simlaunch.Correcting(cars["road-coupe"]), changes=[day])
    own, same = ([mark.time for mark in each.marks] for each in (start.logs[0], found.logs[0]))
    assert own == pytest.approx(same, abs=1e-12, nan_ok=True)
    plain = beginnings(cars, None, None, "metric", [log])["road-coupe"]
    quarter = [next(m.time for m in each.logs[0].marks if m.target.label == "1/4 mile") for each in (start, plain)]
    assert quarter[0] < quarter[1] - 0.05  # without the wind it is quicker
    state = read_state({"points": Answers(start).begin()["points"], "against": "plateau"})
    assert "(invented-after-1.csv: torque not corrected)" in Answers(start).quick(state)["logged"]["text"]
    said = Answers(plain).quick(state)["logged"]["text"]
    assert "not corrected for the weather, the wind or the grade of their day" in said


# --- in a browser ---


def text(driver: Any, name: str) -> str:
    found: str = driver.find_element(By.ID, name).text
    return found


def fleet(driver: Any) -> None:
    until(driver, lambda d: "Each car" in text(d, "fleet-state"))


@pytest.mark.parametrize("width", [320, 1280])
def test_cars_and_logs_stand_on_the_page(driver: Any, axe: str, several: Page, width: int) -> None:
    opened(driver, several, width)
    fleet(driver)
    assert "is quicker on none of the 3 cars" in text(driver, "fleet-text")
    assert "with 1 ft rollout takes 13.1" in text(driver, "logged-text")
    assert len(driver.find_elements(By.CSS_SELECTOR, "#logged-drawing path.log")) == 2
    assert driver.find_elements(By.CSS_SELECTOR, "#logged img, #logged script") == []
    assert driver.execute_script("return document.documentElement.scrollWidth") <= width
    driver.execute_script(axe)
    run = "axe.run({runOnly: arguments[0]}).then((found) => arguments[1](found.violations))"
    found = driver.execute_async_script(run, RULES)
    assert [each["id"] for each in found] == []
    assert driver.get_log("browser") == []


def test_the_shaped_points_go_along_to_another_car(driver: Any, several: Page) -> None:
    opened(driver, several)
    field = driver.find_element(By.CSS_SELECTOR, "#points tr:nth-child(3) td:nth-child(2) input")
    driver.execute_script("document.getElementById('as-table').open = true")
    change = "arguments[0].value = 333; arguments[0].dispatchEvent(new Event('change'))"
    driver.execute_script(change, field)
    Select(driver.find_element(By.ID, "which-car")).select_by_value("hill-roadster")
    until(driver, lambda d: "Hill roadster" in text(d, "car"))
    settled(driver)
    assert driver.find_element(By.ID, "which-car").get_attribute("value") == "hill-roadster"
    fields = driver.find_elements(By.CSS_SELECTOR, "#points tr:nth-child(3) input")
    assert fields[1].get_attribute("value") == "333"
    assert not driver.find_element(By.ID, "logged").is_displayed()  # the logs are of the first car
    driver.find_element(By.ID, "undo").click()
    settled(driver)
    assert driver.find_elements(By.CSS_SELECTOR, "#points tr:nth-child(3) input")[1].get_attribute("value") != "333"


def test_the_page_shows_limits_by_gear(driver: Any, tmp_path: Path) -> None:
    """Dashed lines with the gear beside them, of the shaped curve and of the one that it is set against."""
    with served(copied(tmp_path, "hill-roadster.toml"), curve="boost by gear", against="full boost") as page:
        opened(driver, page)
        labels = [each.text for each in driver.find_elements(By.CSS_SELECTOR, "#drawing text")]
        assert labels.count("in gear 1") == 1
        assert labels.count("in gear 2") == 1
        lines = driver.find_elements(By.CSS_SELECTOR, "#drawing path.limited")
        assert len(lines) == 2
        assert all(line.get_attribute("stroke-dasharray") for line in lines)
        assert driver.find_element(By.ID, "which").is_displayed() is False
        Select(driver.find_element(By.CSS_SELECTOR, "#choices select")).select_by_value("boost by gear")
        settled(driver)
        assert len(driver.find_elements(By.CSS_SELECTOR, "#drawing path.limited")) == 4
        driver.get("about:blank")
