"""Numbers of the page against those of `compare`, and what it saves against what it shows."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.interpolate import PchipInterpolator

import simlaunch
from live.pages import copied
from searching import search_briefly
from simlaunch.comparing.compare import Comparison
from simlaunch.metrics.marks import mark
from simlaunch.output.compare import curves_table
from simlaunch.output.words import Numbers, sentences
from simlaunch.shaping.answers import Answers
from simlaunch.shaping.further import highest_plateau, odds_of_pair
from simlaunch.shaping.saving import save_curve, save_scenario
from simlaunch.shaping.server import beginning
from simlaunch.shaping.states import CLOSE_ENOUGH, Start, State, few_points, read_state
from simlaunch.units.spelling import Dimension, System


def started(folder: Path, name: str = "road-coupe.toml", units: str = "metric") -> Start:
    return beginning(simlaunch.load(copied(folder, name)), None, None, units)


def sent(start: Start, **more: Any) -> State:
    """The first state, with one point moved and some of it replaced."""
    begun = Answers(start).begin()
    points = [list(point) for point in begun["points"]]
    points[3][1] += 17.3
    return read_state({"points": points, "against": begun["against"], "tests": begun["shown_tests"], **more})


def cells(answer: dict[str, Any], title: str) -> dict[str, list[str]]:
    table = next(table for table in answer["tables"] if table["title"].startswith(title))
    return {row["label"]: row["cells"] for row in table["rows"]}


def expected_times(found: Comparison, numbers: Numbers, start: Start, state: State) -> dict[str, list[str]]:
    """The same cells from a comparison."""
    pair = found.pairs[0]

    def row(one: float, other: float) -> list[str]:
        return list(numbers.beside(one, other, Dimension.TIME))

    full, held = pair.full.at_goal, pair.held.at_goal
    times = {
        "1/4 mile, full pedal": row(full.first.time, full.second.time),
        "1/4 mile, held slip": row(held.first.time, held.second.time),
    }
    rolls = {test.target.label: test for test in pair.tests}
    for name in state.tests[1:]:
        if name in rolls:
            times[name] = row(rolls[name].first, rolls[name].second)
        else:
            gap = next(gap for gap in pair.full.marks if gap.first.target == start.tests[name])
            times[name] = row(gap.first.time, gap.second.time)
    return times


@pytest.mark.parametrize("name", ["road-coupe.toml", "all-drive-saloon.toml"])
@pytest.mark.parametrize("more", [{}, {"values": {"grip": 90, "mass": 1500}, "taken": {}}])
def test_exact_numbers_are_those_of_compare(tmp_path: Path, name: str, more: dict[str, Any]) -> None:
    start = started(tmp_path, name)
    state, numbers = sent(start, **more), Numbers(System.METRIC)
    answer = Answers(start).exact(state)
    found = simlaunch.compare(start.scenario_of(state), (state.against, start.name), cases=0)
    assert answer["exact"]
    assert cells(answer, "Times") == expected_times(found, numbers, start, state)
    peaks = curves_table(found.pairs[0], numbers).rows[:2]
    assert cells(answer, "Curves") == {row.label: list(row.cells) for row in peaks}
    spin = [runs.full.measures.grip.wheelspin_time for runs in found.runs]
    assert cells(answer, "Wheelspin")["wheelspin time, full pedal"][:2] == [
        numbers.plain(each, Dimension.TIME) for each in spin
    ]
    for k, part in enumerate(found.loads.loads[0].parts if start.scenario.parts else ()):
        if part.rating is not None:
            shares = [load.parts[k].demand.share for load in found.loads.loads]
            shown = [numbers.plain(each, Dimension.SHARE) for each in shares]
            assert cells(answer, "Torque of parts")[part.name][:2] == shown
    speeds = [runs.full.car.gearbox.shift_speed[0] for runs in found.runs]
    shown = [numbers.plain(float(each), Dimension.ROTATIONAL_SPEED) for each in speeds]
    assert cells(answer, "Engine speeds")["1 to 2"][:2] == shown


def test_the_gap_along_the_run_is_that_of_compare(tmp_path: Path) -> None:
    start = started(tmp_path)
    state = sent(start)
    line = np.array(Answers(start).exact(state)["along"])
    along = simlaunch.compare(start.scenario_of(state), (state.against, start.name), cases=0).pairs[0].full.along
    assert line[:, 1] == pytest.approx(np.interp(line[:, 0], along.distance, along.gap), abs=1e-3)


def test_quick_numbers_are_close_and_say_that_they_are_not_exact(tmp_path: Path) -> None:
    """A launch at 1e-4 is within some milliseconds of one at 1e-5: see `tests/benchmarks/accuracy.py`."""
    start = started(tmp_path)
    state, answers = sent(start), Answers(start)
    quick, exact = answers.quick(state), answers.exact(state)
    assert not quick["exact"]
    for label, shown in cells(exact, "Times").items():
        assert np.array(cells(quick, "Times")[label], float) == pytest.approx(np.array(shown, float), abs=0.02)


def test_verdict_and_spans_are_those_of_compare(tmp_path: Path) -> None:
    start = started(tmp_path)
    state = sent(start)
    found = simlaunch.compare(start.scenario_of(state), (state.against, start.name), cases=0)
    why = Answers(start).why(state)
    assert why["verdict"] == list(sentences(found.pairs[0].verdict, System.METRIC))
    spans = found.to_dict()["pairs"][0]["why"]["by_engine_speed"]
    assert [each["name"] for each in why["spans"]] == [each["name"] for each in spans]
    for shown, span in zip(why["spans"], spans, strict=True):
        assert shown["from"] == pytest.approx(span["from_rpm"], abs=0.5)
        helped = None if abs(span["share_s"]) < 0.01 else "shaped" if span["share_s"] < 0 else "other"
        assert shown["helps"] == helped


def test_the_line_is_the_monotone_cubic_through_the_points(tmp_path: Path) -> None:
    """SciPy's own cubic through the points that the page sent."""
    start = started(tmp_path)
    state = sent(start)
    line = np.array(Answers(start).quick(state)["line"])
    speeds, torques = np.array(state.points).T
    assert line[:, 1] == pytest.approx(PchipInterpolator(speeds, torques)(line[:, 0]), abs=0.2)


@pytest.mark.parametrize("curve", ["peak", "plateau"])
def test_thinning_out_keeps_the_curve(tmp_path: Path, curve: str) -> None:
    points = started(tmp_path).scenario.curve(curve).points
    speed, torque = (np.array([pair[k].si for pair in points]) for k in range(2))
    kept = few_points(speed, torque)
    assert len(kept) < len(speed)
    assert {0, len(speed) - 1} <= set(kept)
    off = PchipInterpolator(speed[kept], torque[kept])(speed) - torque
    assert np.abs(off).max() <= CLOSE_ENOUGH * torque.max()


@pytest.mark.parametrize("name", ["road-coupe.toml", "all-drive-saloon.toml"])
def test_every_slider_reaches_the_car(tmp_path: Path, name: str) -> None:
    start = started(tmp_path, name)
    assert {slider.key for slider in start.sliders} == {"grip", "mass", "shift", "launch", "lag", "air"}
    plain = start.setting(sent(start))
    for slider in start.sliders:
        changed = start.setting(sent(start, values={slider.key: slider.low + 0.3 * (slider.high - slider.low)}))
        assert changed != plain, slider.key
        unmoved = start.scenario.replace(slider.changes(start.scenario, slider.value))
        one, other = (simlaunch.simulate(each) for each in (start.scenario, unmoved))
        goal = next(each.target for each in one.measures.marks if each.target.label == "1/4 mile")
        assert mark(other.run.trace, goal).time == pytest.approx(mark(one.run.trace, goal).time, abs=1e-4), slider.key


def test_grip_is_a_share_of_the_surface_that_is_taken(tmp_path: Path) -> None:
    start = started(tmp_path)
    changed = start.setting(sent(start, values={"grip": 90}, taken={"surface": "cold and dusty"}))
    assert changed.road.friction_factor is not None
    assert changed.road.friction_factor.si == pytest.approx(0.9 * 0.85)


def test_us_units_describe_the_same_launch(tmp_path: Path) -> None:
    metric, us = started(tmp_path), started(tmp_path, units="us")
    one, other = (
        Answers(start).exact(
            read_state({"points": Answers(start).begin()["points"], "against": "plateau", "tests": []})
        )
        for start in (metric, us)
    )
    times = [cells(each, "Times")["1/4 mile, full pedal"] for each in (one, other)]
    assert np.array(times[0], float) == pytest.approx(np.array(times[1], float), abs=2e-3)  # points are rounded


# --- what is saved ---


def test_a_saved_scenario_gives_the_numbers_that_the_page_showed(tmp_path: Path) -> None:
    start = started(tmp_path)
    taken = {"gear set": "short", "surface": "cold and dusty", "tyre": "track"}
    state = sent(start, values={"grip": 105, "mass": 1650, "lag": 80}, taken=taken)
    path = save_scenario(start, state, "mine")
    assert path == tmp_path / "mine.toml"
    text = path.read_text("utf-8")
    assert "# What is not known for sure, for `simlaunch odds`." in text  # comments stay
    assert tomllib.loads(text)["curves"][-1]["name"] == "shaped"
    saved = simlaunch.load(path)
    assert saved.curve_names == ("peak", "plateau", "shaped")
    found = simlaunch.compare(saved, ("plateau", "shaped"), cases=0)
    expected = expected_times(found, Numbers(System.METRIC), start, state)
    assert cells(Answers(start).exact(state), "Times") == expected


def test_a_saved_curve_is_read_back_as_the_same(tmp_path: Path) -> None:
    start = started(tmp_path)
    state = sent(start)
    path = save_curve(start, state, "mine.csv")
    assert path == tmp_path / "mine.csv"
    text = (tmp_path / "road-coupe.toml").read_text("utf-8") + '\n[[curves]]\nname = "mine"\nfile = "mine.csv"\n'
    (tmp_path / "with.toml").write_text(text, "utf-8")
    points = simlaunch.load(tmp_path / "with.toml").curve("mine").points
    shaped = start.scenario_of(state).curve("shaped").points
    for k in range(2):
        assert [pair[k].si for pair in points] == pytest.approx([pair[k].si for pair in shaped])


def test_a_scenario_that_was_changed_meanwhile_is_not_built_upon(tmp_path: Path) -> None:
    start = started(tmp_path)
    file = tmp_path / "road-coupe.toml"
    file.write_text(file.read_text("utf-8").replace("1600 kg", "1610 kg"), "utf-8")
    with pytest.raises(simlaunch.UsageError, match="was changed since"):
        save_scenario(start, sent(start), "mine")
    assert not (tmp_path / "mine.toml").exists()


@pytest.mark.slow
def test_a_plateau_and_odds_are_those_of_the_studies(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Over 60 ft, which take a quarter of the time of a quarter mile, with nothing else to the studies."""
    search_briefly(monkeypatch)
    file = copied(tmp_path)
    text, goals = file.read_text("utf-8"), 'until = ["402.336 m", "200 km/h"]'
    assert goals in text
    file.write_text(text.replace(goals, 'until = ["60 ft"]'), "utf-8")
    start = beginning(simlaunch.load(file), None, None, "metric")
    state = sent(start)
    found = highest_plateau(start, state)
    alone = simlaunch.plateau(start.scenario_of(state), start.name)
    assert found["text"] == alone.summary()
    assert max(torque for _, torque in found["points"]) == pytest.approx(float(np.max(alone.first.torque)), abs=0.06)
    taken = read_state({"points": found["points"], "against": "plateau", "tests": []})
    assert Answers(start).quick(taken)["tables"]
    assert odds_of_pair(start, state)["text"] == simlaunch.odds(start.scenario_of(state), "plateau", "shaped").summary()


# --- other scenarios ---


@pytest.mark.parametrize("name", ["all-drive-grip.toml", "all-drive-saloon.toml", "front-hatch.toml", "track-car.toml"])
def test_every_kind_of_car_has_answers(tmp_path: Path, name: str) -> None:
    start = started(tmp_path, name)
    state = sent(start, values={slider.key: slider.value for slider in start.sliders})
    answer = Answers(start).quick(state)
    times = cells(answer, "Times")
    assert all(float(text) > 0.0 for shown in times.values() for text in shown[:2])
    assert len(answer["background"]["ceilings"]) == len(start.scenario.gearbox.ratios)


def test_one_curve_alone_is_set_against_itself(tmp_path: Path) -> None:
    file = copied(tmp_path)
    scenario = simlaunch.load(file)
    alone = scenario.replace({"curves": [scenario.curve("peak")]}).loaded_from(file)
    start = beginning(alone, None, None, "metric")
    begun = Answers(start).begin()
    assert begun["against"] == "peak"
    answer = Answers(start).exact(read_state({"points": begun["points"], "against": "peak", "tests": []}))
    assert answer["difference"] == pytest.approx(0.0, abs=0.005)  # points that were left out changed that little


def test_a_name_that_is_taken_is_not_given_again(tmp_path: Path) -> None:
    scenario = started(tmp_path).scenario
    two = scenario.replace(
        {"curves": [scenario.curve("peak"), {"name": "shaped", "points": scenario.curve("plateau").points}]}
    )
    assert beginning(two, None, None, "metric").name == "shaped 2"


def test_caps_of_the_limits_are_drawn(tmp_path: Path) -> None:
    """A cap of power is a torque of power over engine speed."""
    scenario = started(tmp_path).scenario.replace({"limits": {"power": "250 kW", "torque": "500 N m"}})
    caps = {
        each["name"]: np.array(each["line"])
        for each in Answers(beginning(scenario, None, None, "metric")).begin()["caps"]
    }
    assert set(caps) == {"power", "torque"}
    assert caps["torque"][:, 1] == pytest.approx(500.0)
    power = caps["power"][:, 1] * caps["power"][:, 0] * np.pi / 30.0
    assert power == pytest.approx(250e3, rel=2e-3)  # both numbers are rounded


def test_a_goal_that_is_not_reached_is_no_number(tmp_path: Path) -> None:
    start = started(tmp_path)
    begun = Answers(start).begin()
    weak = [[speed, 1.0] for speed, _ in begun["points"]]
    answer = Answers(start).quick(read_state({"points": weak, "against": "plateau", "tests": []}))
    assert answer["difference"] is None
    assert answer["text"] == "not reached"
    assert cells(answer, "Times")["1/4 mile, full pedal"][1:] == ["-", "-"]
