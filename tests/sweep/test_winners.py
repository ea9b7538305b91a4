"""Who wins where: gaps in every cell against launches by themselves, counts against the gaps, and words that follow."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from simlaunch.analysis.simulate import simulate
from simlaunch.launching.goals import WORTH_NAMING, goal
from simlaunch.metrics.marks import mark
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.reading import load
from simlaunch.sweeping.axes import Role, axes
from simlaunch.sweeping.study import SweepResult, sweep

SCENARIOS = Path(__file__).parents[2] / "scenarios"
GRIPS = (0.7, 0.9, 1.1)
MASSES = (900, 1100)


@cache
def track() -> Scenario:
    return load(SCENARIOS / "track-car.toml")


@cache
def swept() -> SweepResult:
    grips = ", ".join(map(str, GRIPS))
    masses = ", ".join(f"{mass} kg" for mass in MASSES)
    return sweep(track(), vary=["curve", f"road.friction_factor: {grips}", f"body.mass: {masses}"], tolerance=1e-5)


def test_every_gap_is_that_of_two_launches() -> None:
    won = swept().winners
    assert won is not None
    assert (won.first, won.second) == ("peak", "plateau")
    assert won.gap.shape == (3, 2)
    for (i, j), gap in np.ndenumerate(won.gap):
        car = track().replace({"road.friction_factor": str(GRIPS[i]), "body.mass": f"{MASSES[j]} kg"})
        one, other = (mark(simulate(car, name).run.trace, goal(car)).time for name in (won.first, won.second))
        assert gap == pytest.approx(other - one, abs=2e-4)


def test_counts_follow_the_gaps() -> None:
    won = swept().winners
    assert won is not None
    first, second = int((won.gap > WORTH_NAMING).sum()), int((won.gap < -WORTH_NAMING).sum())
    assert (won.whole.first, won.whole.second, won.whole.cells) == (first, second, 6)
    assert (won.whole.least, won.whole.greatest) == (won.gap.min(), won.gap.max())
    for k, axis in enumerate(won.axes):
        for v, tally in enumerate(won.by_axis[axis.name]):
            part = np.take(won.gap, v, axis=k)
            assert (tally.first, tally.second) == (int((part > WORTH_NAMING).sum()), int((part < -WORTH_NAMING).sum()))


def test_what_changes_the_winner_is_named() -> None:
    """On this car little grip turns the winner at every mass: the answer depends on a condition."""
    won = swept().winners
    assert won is not None
    assert won.whole.first
    assert won.whole.second
    grip = won.turns["road.friction_factor"]
    assert (grip.turned, grip.lines) == (2, 2)
    told = swept().summary()
    assert f'Of 6 cells "peak" wins {won.whole.first} and "plateau" {won.whole.second}' in told
    assert "road.friction_factor, a condition that nobody chooses: in 2 of 2 rows of cells along it." in told


def test_conditions_are_no_choice() -> None:
    known = {axis.name: axis for axis in swept().findings.study.plan.axes}
    assert known["road.friction_factor"].role is Role.CONDITION
    assert known["body.mass"].role is Role.VALUE
    assert known["curve"].role is Role.CHOICE
    told = swept().summary()
    assert "which nobody chooses): time 1/4 mile" in told
    assert "Of all choices" not in told  # the curve is the only one
    best = swept().by_condition
    sets = [(each.values["road.friction_factor"], each.values["body.mass"]) for each in best]
    assert sets == [(grip, float(mass)) for grip in GRIPS for mass in MASSES]
    for each in best:
        times = []
        for name in ("peak", "plateau"):
            grip, mass = each.values["road.friction_factor"], each.values["body.mass"]
            car = track().replace({"road.friction_factor": f"{grip}", "body.mass": f"{mass} kg"})
            times.append(mark(simulate(car, name).run.trace, goal(car)).time)
        assert each.measures["time 1/4 mile"] == pytest.approx(min(times), abs=2e-4)


@pytest.mark.parametrize(
    ("text", "role"),
    [
        ("gearbox.final_drive: 3, 3.5", Role.CHOICE),
        ("launch.engine_speed: best, 3000 rpm", Role.CHOICE),
        ("pedal", Role.CHOICE),
        ("drive.locking_preload: 50 N m, 80 N m", Role.CHOICE),
        ("drive.second_axle.capacity: 400 N m, 500 N m", Role.CHOICE),
        ("gearbox.shift.gap: 0.2 s, 0.3 s", Role.CHOICE),
        ("drive.locking_speed: 2 rpm, 5 rpm", Role.VALUE),
        ("air.temperature: 5 degC, 25 degC", Role.CONDITION),
        ("road.grade: 0 %, 1 %", Role.CONDITION),
        ("surface: dry asphalt, wet asphalt", Role.CONDITION),
        ("body.drag_area: 0.6 m^2, 0.7 m^2", Role.VALUE),
        ("gearbox.input_inertia: 0.004 kg m^2, 0.006 kg m^2", Role.VALUE),
    ],
)
def test_what_is_varied_is_decided_by_what_it_is(text: str, role: Role) -> None:
    [axis] = axes([text], track())
    assert axis.role is role


def test_the_document_holds_every_cell() -> None:
    document = swept().to_dict()["who_wins"]
    won = swept().winners
    assert won is not None
    assert [cell["gap [s]"] for cell in document["cells"]] == pytest.approx(won.gap.ravel().tolist())
    assert document["cells"][0]["values"] == {"road.friction_factor": 0.7, "body.mass": 900.0}


def test_the_picture_shows_the_winner_by_shape() -> None:
    figure = swept().figures()["winners"]
    won = swept().winners
    assert won is not None
    marks = [line.get_marker() for axes in figure.axes for line in axes.lines if len(line.get_xdata()) == 1]
    assert (marks.count("^"), marks.count("v")) == (won.whole.first, won.whole.second)


def test_one_curve_or_a_sample_has_no_winners() -> None:
    assert sweep(track(), vary=["body.mass: 900 kg, 1000 kg"]).winners is None
    drawn = sweep(track(), vary=["curve", "body.mass: 900 kg to 1000 kg"], sample=4)
    assert (drawn.winners, drawn.by_condition) == (None, ())


@cache
def of_many_choices() -> SweepResult:
    """Five choices, with names longer than a line and keys longer than a column, under two conditions."""
    long = "as it was delivered to the customer in the spring, before any of it was changed"
    curves = [{"name": long, "points": [["1000 rpm", "200 N m"], ["9000 rpm", "210 N m"]]},
              {"name": "more", "points": [["1000 rpm", "240 N m"], ["9000 rpm", "230 N m"]]}]  # fmt: skip
    brief = track().replace({"run": {"until": ["20 m"], "time_limit": "20 s"}, "curves": curves})
    return sweep(brief, vary=[
        "curve", "gearbox.final_drive: 3.4, 3.9", "launch.engine_speed: 3500 rpm, 4000 rpm",
        "coupling.engagement_time: 0.5 s, 0.6 s", "pedal", "surface: dry asphalt, wet asphalt",
        "air.temperature: 5 degC, 30 degC",
    ])  # fmt: skip


def test_the_best_choice_under_conditions_is_printed_with_nothing_cut() -> None:
    """Every key and every name stands whole in 80 columns; what is longer than a line has a number and a key to it."""
    found = of_many_choices()
    text = found.to_text()
    assert max(map(len, text.splitlines())) <= 80
    table = text.split("Best choices: ")[1].split("Cells won")[0]
    assert "..." not in table
    named = " ".join(table.split())
    assert named.startswith(
        "curve / gearbox.final_drive / launch.engine_speed / coupling.engagement_time / pedal. Best choice by "
        "surface / air.temperature time 20 m [s] "
    )
    assert len(found.by_condition) == 4
    for each in found.by_condition:
        met = f"{each.values['surface']} / {float(each.values['air.temperature']) - 273.15:.0f} degC"
        assert f"\n{met} " in table
    assert named.count("curve 1 /") + named.count("curve 2 /") == 4
    assert 'curve 1: "as it was delivered' in named or 'curve 2: "more"' in named


def test_a_table_that_fits_keeps_its_columns() -> None:
    text = swept().to_text()
    head = next(line for line in text.splitlines() if line.startswith("Best choice by"))
    assert "..." not in head
    assert "Best choices: " not in text
