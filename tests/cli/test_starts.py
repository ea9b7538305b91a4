"""Rolling starts and tests asked for with `--for`: command and function give one answer, and a wrong one is refused."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import simlaunch
from fit.driven import Logger, columns, write
from simlaunch.cli.main import answer
from simlaunch.fitting.histories import last_until
from simlaunch.launching.road_tests import road_test_gaps
from simlaunch.launching.targets import road_tests, target_named
from simlaunch.metrics.marks import Kind
from simlaunch.output.as_json import dumps
from simlaunch.parameters.fill import lower
from simlaunch.record import Pedal
from simlaunch.simulation.run import launch
from simlaunch.sweeping.chunk import SWEEP_TOLERANCE
from simlaunch.units.spelling import System

Capture = pytest.CaptureFixture[str]
COUPE = Path(__file__).parents[2] / "scenarios" / "road-coupe.toml"
ROLL = "roll 60 km/h to 100 km/h"
TARGETS = [ROLL, "0-200 km/h", "roll 80 km/h to 120 km/h in gear 5", "roll 70 km/h over 100 m"]


def _printed(capsys: Capture, *arguments: str) -> Any:
    assert answer([*arguments, "--json", "--quiet"]) == 0
    return json.loads(capsys.readouterr().out)


@pytest.mark.parametrize(
    "target", [ROLL, "0-200 km/h", "roll 80 km/h to 120 km/h in gear 5", "roll 70 km/h over 100 m"]
)
def test_a_run_for_a_target_is_that_of_the_function(target: str, capsys: Capture) -> None:
    scenario = simlaunch.load(COUPE)
    found = simlaunch.simulate(scenario, "plateau", target=target)
    printed = _printed(capsys, "run", str(COUPE), "--curve", "plateau", "--for", target)
    assert printed == json.loads(dumps(found.to_dict()))
    own = next(mark for mark in printed["marks"] if mark["label"] == found.target.label)
    assert own["time_s"] == pytest.approx(found.time)
    assert "full pedal: " in found.summary()


def test_a_run_from_a_roll_is_the_one_that_a_comparison_times() -> None:
    """Each curve in the gear that suits it; the trace begins at the speed of the roll, in that gear."""
    scenario = simlaunch.load(COUPE)
    first, second = scenario.curve_names[:2]
    [gap] = road_test_gaps(scenario, first, second, [target_named(scenario, ROLL)])
    for curve, time, gear in ((first, gap.first, gap.gears[0]), (second, gap.second, gap.gears[1])):
        found = simlaunch.simulate(scenario, curve, target=ROLL)
        assert found.time == pytest.approx(time, abs=1e-6)
        assert found.target.roll is not None
        assert found.target.roll.gear == gear == found.run.trace["gear"][0]
        assert found.run.trace["speed"][0] == pytest.approx(60.0 / 3.6)
        assert all(mark.target.roll or mark.target.kind is Kind.SPAN for mark in found.measures.marks)


def test_a_named_test_may_be_run_and_swept(tmp_path: Path) -> None:
    entry = {"name": "out of the bend", "from": "70 km/h", "to": "100 m", "gear": "3"}
    scenario = simlaunch.load(COUPE).replace({"tests": [entry], "run.until": ["60 m"]})
    single = simlaunch.simulate(scenario, "plateau", target="out of the bend", tolerance=SWEEP_TOLERANCE)
    swept = simlaunch.sweep(scenario, tmp_path / "s.sqlite", vary=["curve"], where=[], target="out of the bend")
    times = {each.values["curve"]: each.measures["time out of the bend"] for each in swept.findings.best}
    assert times["plateau"] == single.time


def test_a_sweep_ranks_by_what_is_asked_for_first(tmp_path: Path, capsys: Capture) -> None:
    """Each time against a run by itself, to the last bit; the winners are those of the roll."""
    scenario = simlaunch.load(COUPE).replace({"run.until": ["60 m"]})
    vary = ["curve", "gearbox.final_drive: 3.2, 3.6"]
    options = [part for axis in vary for part in ("--vary", axis)]
    short = ("--set", 'run.until=["60 m"]')
    wanted = ("--for", ROLL, "--for", "0-100 km/h")
    printed = _printed(capsys, "sweep", str(COUPE), "-o", str(tmp_path / "a.sqlite"), *options, *short, *wanted)
    found = simlaunch.sweep(scenario, tmp_path / "b.sqlite", vary=vary, target=[ROLL, "0-100 km/h"])
    assert printed == json.loads(dumps(found.to_dict()))
    assert printed["by"] == f"time {ROLL} [s]"
    by = found.findings.order.by.name
    ranked = [each.measures[by] for each in found.findings.best]
    assert ranked == sorted(ranked)
    for each in found.findings.best:
        car = scenario.replace({"gearbox.final_drive": f"{each.values['gearbox.final_drive']}"})
        curve = str(each.values["curve"])
        assert each.measures[by] == simlaunch.simulate(car, curve, target=ROLL, tolerance=SWEEP_TOLERANCE).time
        alone = simlaunch.simulate(car, curve, target="0-100 km/h", tolerance=SWEEP_TOLERANCE).time
        assert each.measures["time 0-100 km/h"] == pytest.approx(alone, abs=1e-6)  # beyond the goal of 60 m
    won = found.winners
    assert won is not None
    frame = found.to_dataframe()
    assert by in " ".join(map(str, frame.columns))
    assert np.isfinite(won.gap).all()
    again = simlaunch.open_sweep(tmp_path / "b.sqlite", by="time 60 m")
    assert again.findings.order.by.name == "time 60 m"


def test_a_file_of_other_tests_is_not_carried_on(tmp_path: Path) -> None:
    scenario, path = simlaunch.load(COUPE).replace({"run.until": ["60 m"]}), tmp_path / "s.sqlite"
    simlaunch.sweep(scenario, path, vary=["curve"], target=ROLL)
    with pytest.raises(simlaunch.InputError, match=r"measures|timed beside the goal"):
        simlaunch.sweep(scenario, path, vary=["curve"])


@pytest.mark.parametrize("command", ["run", "sweep"])
@pytest.mark.parametrize(
    ("target", "told"),
    [
        ("roll 60 mph to 130 mph in gear 9", "the gearbox has 6 gears"),
        ("roll 250 km/h to 280 km/h in gear 1", "where its rev limiter begins"),
        ("roll 60 mph", "no target is named"),
        ("roll 130 mph to 60 mph", "is not above the speed"),
    ],
)
def test_what_cannot_be_driven_is_refused(
    command: str, target: str, told: str, tmp_path: Path, capsys: Capture
) -> None:
    more = ("-o", str(tmp_path / "s.sqlite"), "--vary", "curve") if command == "sweep" else ()
    assert answer([command, str(COUPE), *more, "--for", target, "--quiet"]) == 2
    assert told in capsys.readouterr().err


def test_us_units_offer_tests_in_miles_an_hour(capsys: Capture) -> None:
    scenario = simlaunch.load(COUPE)
    labels = [test.label for test in road_tests(scenario, System.US)]
    assert labels[:2] == ["roll 60 mph to 130 mph", "roll 40 mph to 100 mph"]
    assert all(label.startswith("roll 50 mph to 70 mph in gear ") for label in labels[2:])
    assert not any("km/h" in label for label in labels)
    assert answer(["compare", str(COUPE), "--units", "us", "--cases", "0", "--quiet"]) == 0
    out = capsys.readouterr().out
    assert "roll 50 mph to 70 mph" in out
    assert "km/h to" not in out
    for label in labels:
        assert target_named(scenario, label).label == label


def test_a_fit_of_a_pull_is_that_of_the_function(tmp_path: Path, capsys: Capture) -> None:
    car = lower(simlaunch.load(COUPE), "peak", Pedal.FULL)
    car.launch.roll_speed, car.launch.roll_gear, car.launch.roll_boost = 25.0, 4, 0.05
    last_until(car, 9.0)
    log = write(tmp_path / "pull.csv", columns(launch(car).trace, Logger(20.0, 0.05), np.random.default_rng(1)))
    values = ("--value", "curve scale")
    printed = _printed(capsys, "fit", str(COUPE), "--roll", str(log), *values, "--starts", "1")
    found = simlaunch.fit(simlaunch.load(COUPE), simlaunch.LogRequest(log, "roll"), ["curve scale"], starts=1)
    assert printed == json.loads(dumps(found.to_dict()))
    assert int(found.runs[0].run.car.launch.roll_gear) == 4
