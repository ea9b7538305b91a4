"""Plateau, worth, fit and check: the command and the public function give one answer, which shows itself."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path

import matplotlib.pyplot as plt
import numpy as np
import pytest

import simlaunch
from searching import search_briefly
from simlaunch.cli.main import answer
from simlaunch.output.as_json import dumps
from simlaunch.results import Result

SCENARIOS = Path(__file__).parents[2] / "scenarios"
COUPE = SCENARIOS / "road-coupe.toml"
LOG = SCENARIOS / "sheets" / "invented-fit-log.csv"
Capture = pytest.CaptureFixture[str]


def _coupe() -> simlaunch.Scenario:
    return simlaunch.load(COUPE)


COMMANDS: dict[str, list[str]] = {
    "check": [],
    "worth": ["--curve", "plateau", "--for", "60 ft", "--bands", "6", "--each-gear", "--each-gear-set"],
    "plateau": ["--for", "60 ft=2", "--for", "330 ft", "--power", "220 kW", "--rise", "150 N m", "--gear-limits"],
    "fit": ["--log", str(LOG), "--value", "friction", "--value", "curve scale", "--starts", "1", "--lag", "0 s"],
}

CALLS: dict[str, Callable[[], Result]] = {
    "check": lambda: simlaunch.check(COUPE),
    "worth": lambda: simlaunch.worth(_coupe(), "plateau", "60 ft", bands=6, each_gear=True, each_gear_set=True),
    "plateau": lambda: simlaunch.plateau(
        _coupe(), targets={"60 ft": 2.0, "330 ft": 1.0}, power="220 kW", rise="150 N m", gear_limits=True
    ),
    "fit": lambda: simlaunch.fit(_coupe(), LOG, ("friction", "curve scale"), starts=1, lag=0.0),
}

TYPES = {
    "check": simlaunch.Check,
    "worth": simlaunch.Worth,
    "plateau": simlaunch.PlateauResult,
    "fit": simlaunch.Fit,
}


@pytest.fixture(scope="module", autouse=True)
def brief_searches() -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        search_briefly(patch)
        yield


@cache
def _result(study: str) -> Result:
    return CALLS[study]()


@pytest.mark.parametrize("study", sorted(CALLS))
def test_the_command_prints_what_the_function_returns(study: str, capsys: Capture) -> None:
    capsys.readouterr()
    assert answer([study, str(COUPE), *COMMANDS[study], "--json", "--quiet"]) == 0
    assert json.loads(capsys.readouterr().out) == json.loads(dumps(_result(study).to_dict()))


@pytest.mark.parametrize("study", sorted(CALLS))
def test_the_json_is_that_of_metric_units_whatever_the_text_has(study: str, capsys: Capture) -> None:
    capsys.readouterr()
    if study != "plateau":  # one search is enough: the document is made without knowing the units
        assert answer([study, str(COUPE), *COMMANDS[study], "--json", "--quiet", "--units", "us"]) == 0
        assert json.loads(capsys.readouterr().out) == json.loads(dumps(_result(study).to_dict()))
    assert _result(study).to_text("us") != _result(study).to_text("metric")


@pytest.mark.parametrize("study", sorted(CALLS))
def test_a_result_shows_itself(study: str) -> None:
    found = _result(study)
    assert type(found) is TYPES[study]
    assert found.study == study
    assert repr(found).startswith(f"<simlaunch {study}: ")
    assert len(repr(found)) < 200
    page = found._repr_html_()
    assert page.count("<table>") == page.count("</table>") > 0
    assert max(map(len, found.to_text().splitlines())) <= 80
    _, axes = plt.subplots()
    assert found.plot(ax=axes) is axes
    assert axes.lines
    assert axes.get_xlabel()
    plt.close("all")


def test_tables_hold_what_the_results_hold() -> None:
    worth, fit, check, plateau = (_result(study) for study in ("worth", "fit", "check", "plateau"))
    assert isinstance(worth, simlaunch.Worth)
    bands = worth.to_dataframe()
    assert list(bands["gear_set"].unique()) == [each.gear_set for each in worth.gear_sets]
    assert len(worth.gear_sets) == 3
    np.testing.assert_array_equal(bands["full_pedal_gain_s_per_N_m"][:6], worth.first.pedals[0].gain)
    assert isinstance(fit, simlaunch.Fit)
    values = fit.to_dataframe().set_index("name")
    assert values.loc["friction", "fitted_value"] == fit.value("friction").value
    assert values.loc["friction", "key"] == "road.friction_factor"
    assert isinstance(check, simlaunch.Check)
    assert list(check.to_dataframe()["key"]) == [default.key for default in check.defaults]
    assert isinstance(plateau, simlaunch.PlateauResult)
    front = plateau.to_dataframe()
    assert len(front) == len(plateau.first.front)
    assert (np.diff(front["gearbox_input_steady_torque_N_m"]) > 0.0).all()
    assert (np.diff(front["score_s"]) < 0.0).all()


def test_the_curve_of_a_plateau_is_written_once(tmp_path: Path) -> None:
    found = _result("plateau")
    assert isinstance(found, simlaunch.PlateauResult)
    file = tmp_path / "curve.csv"
    found.save_curve(file)
    _, *rows = (line for line in file.read_text("utf-8").splitlines() if not line.startswith("#"))
    speeds = np.loadtxt(rows, delimiter=",")[:, 0] * np.pi / 30.0
    np.testing.assert_allclose(speeds, found.first.speeds, atol=0.01)
    with pytest.raises(simlaunch.InputError, match="is there already"):
        found.save_curve(file)
    found.save_curve(file, force=True)


def test_a_fit_is_written_only_where_the_file_still_holds_what_was_fitted(tmp_path: Path) -> None:
    found = _result("fit")
    assert isinstance(found, simlaunch.Fit)
    lighter = found.scenario.replace({"body.mass": "1500 kg"})
    assert found.scenario.file == COUPE
    assert lighter.file is None
    with pytest.raises(simlaunch.UsageError, match="was changed after it was loaded"):
        replace(found, scenario=lighter).save(tmp_path / "new.toml")
    folder = tmp_path / "scenarios"
    shutil.copytree(SCENARIOS, folder)
    copy, new = folder / COUPE.name, folder / "new.toml"
    copied = replace(found, scenario=simlaunch.load(copy))
    assert copied.scenario == found.scenario
    copied.save(new)
    saved = simlaunch.load(new).road.friction_factor
    assert saved is not None
    assert saved.si == pytest.approx(found.value("friction").value, rel=1e-5)
    heavier = copy.read_text("utf-8").replace('mass = "1600 kg"', 'mass = "1700 kg"')
    copy.write_text(heavier, "utf-8")
    with pytest.raises(simlaunch.UsageError, match="does not hold the scenario that was fitted any more"):
        copied.save(new, force=True)


@pytest.mark.parametrize(
    ("call", "told"),
    [
        (lambda: simlaunch.plateau(_coupe(), power="250 N m"), 'power: "250 N m" is a torque, but a power is wanted'),
        (lambda: simlaunch.plateau(_coupe(), rise=150), "rise: 150 is a bare number"),  # type: ignore[arg-type]
        (lambda: simlaunch.plateau(_coupe(), targets={"60 ft": 0.0}), "a weight is a number above zero"),
        (lambda: simlaunch.plateau(_coupe(), targets=["1/4 mile", "402.336 m"]), "names a target twice"),
        (lambda: simlaunch.plateau(_coupe(), gear_limits=True, within_grip=True), "choose one of them"),
        (lambda: simlaunch.plateau(_coupe(), pedal="half"), 'pedal "half" is not known'),
        (lambda: simlaunch.worth(_coupe(), "none"), 'no curve is named "none"'),
        (lambda: simlaunch.fit(_coupe(), LOG, pedal="half"), 'pedal "half" is not known'),
        (lambda: simlaunch.LogRequest(LOG, kind="race"), 'kind of log "race" is not known'),
        (lambda: simlaunch.CurveOptions(wanted="none at all"), 'wanted "none at all" is not known'),  # type: ignore[arg-type]
        (lambda: simlaunch.check(SCENARIOS / "none.toml"), "does not exist"),
    ],
)
def test_what_makes_no_sense_is_refused_with_what_to_write(call: Callable[[], object], told: str) -> None:
    with pytest.raises(simlaunch.SimlaunchError) as refusal:
        call()
    assert told in str(refusal.value)
