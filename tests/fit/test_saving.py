"""The fitted scenario: comments stay, values and correlated spreads are written, and the odds take them."""

from __future__ import annotations

import shutil
import tomllib
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from fit.driven import Logger, driven, logged
from simlaunch.analysis.odds import odds
from simlaunch.errors import InputError
from simlaunch.fitting.fit import fit as fitted
from simlaunch.fitting.logs import LogRequest
from simlaunch.fitting.result import Fit
from simlaunch.fitting.saving import fitted_text
from simlaunch.launching.goals import goal
from simlaunch.record import Pedal
from simlaunch.scenario.reading import from_mapping, load
from simlaunch.uncertainty.draws import draws

SCENARIOS = Path(__file__).parents[2] / "scenarios"
TODAY = date(2020, 5, 17)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("fit") / "scenarios"
    shutil.copytree(SCENARIOS, made)
    return made


@pytest.fixture(scope="module")
def fit(folder: Path) -> Fit:
    scenario = load(folder / "road-coupe.toml")
    trace = driven(scenario, {"road.friction_factor": "0.95", "gearbox.shift.gap": "0.3 s"}, 8.0, scale=0.98)
    path = logged(folder / "day.csv", trace, Logger(20.0, 0.05))
    return fitted(scenario, [LogRequest(path)], ("friction", "mass", "curve scale", "shift time"), starts=1)


def test_values_spreads_and_correlations_come_back(folder: Path, fit: Fit) -> None:
    fit.save(folder / "fitted.toml", today=TODAY)
    new, text = load(folder / "fitted.toml"), (folder / "fitted.toml").read_text("utf-8")
    assert new.body.mass.si == pytest.approx(fit.value("mass").value, rel=1e-5)
    assert new.road.friction_factor
    assert new.road.friction_factor.si == pytest.approx(fit.value("friction").value, rel=1e-5)
    old = fit.scenario.curve("peak").points[3][1].si
    assert new.curve("peak").points[3][1].si == pytest.approx(fit.value("curve scale").value * old, rel=1e-4)
    assert new.uncertain is not None
    spreads = {entry.key: entry for entry in new.uncertain}
    assert spreads["body.mass"].kind == "normal"
    assert spreads["each curve by itself"].deviation == "0.7 %"
    assert "day.csv, 2020-05-17, residual" in spreads["road.friction_factor"].origin
    assert new.correlation is not None
    order = [new.correlation.keys.index(key) for key in ("road.friction_factor", "body.mass", "all curves together")]
    assert np.allclose(new.correlation.matrix[np.ix_(order, order)], fit.correlation[:3, :3], atol=1e-4)
    assert "# What `simlaunch parts` holds the torque" in text
    assert "# fitted; was 1600 kg" in text


def test_the_old_file_stays_and_nothing_is_overwritten(folder: Path, fit: Fit) -> None:
    old, new = folder / "road-coupe.toml", folder / "twice.toml"
    before = old.read_bytes()
    fit.save(new, today=TODAY)
    assert old.read_bytes() == before == (SCENARIOS / "road-coupe.toml").read_bytes()
    with pytest.raises(InputError, match="is there already"):
        fit.save(new)
    fit.save(new, force=True)
    with pytest.raises(InputError, match="is the scenario itself"):
        fit.save(folder / "." / old.name, force=True)
    assert not list(folder.glob(".*part"))


def test_a_write_that_breaks_off_leaves_the_earlier_file(
    folder: Path, fit: Fit, monkeypatch: pytest.MonkeyPatch
) -> None:
    new = folder / "whole.toml"
    fit.save(new, today=TODAY)
    before = new.read_bytes()

    def full(path: Path, content: bytes) -> int:
        path.write_text(content[:100].decode())
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", full)
    with pytest.raises(InputError, match="No space left on device"):
        fit.save(new, force=True)
    assert new.read_bytes() == before
    assert not list(folder.glob(".*part"))


def test_a_car_that_does_not_follow_its_logs_is_written_only_on_demand(folder: Path, fit: Fit) -> None:
    left = replace(fit.runs[0].misfits[0], share=0.1, runs_chance=0.0)
    bad = replace(fit, runs=(replace(fit.runs[0], misfits=(left,)),), warnings=("speed does not follow this car",))
    new = folder / "bad.toml"
    assert fit.follows
    with pytest.raises(InputError, match=r"does not follow its logs.*--save-anyway"):
        bad.save(new)
    assert not new.exists()
    bad.save(new, anyway=True, today=TODAY)
    assert "\n# Warning: speed does not follow this car.\n" in new.read_text("utf-8")
    told = load(new).uncertain
    assert told is not None
    assert any("not to be used: the car does not follow its logs" in entry.origin for entry in told)
    again = fitted_text(fit, new.read_text("utf-8"), TODAY)
    assert "# Warning" not in again
    assert again.count("# Fitted to") == 1


def test_a_fit_whose_starts_do_not_agree_is_written_only_on_demand(folder: Path, fit: Fit) -> None:
    bad, new = replace(fit, agreed=False), folder / "apart.toml"
    assert fit.agreed
    with pytest.raises(InputError, match=r"the starts of the search do not agree.*--save-anyway"):
        bad.save(new)
    assert not new.exists()
    bad.save(new, anyway=True, today=TODAY)
    assert "not to be used: the starts of the search do not agree" in new.read_text("utf-8")
    assert "Do not use this fit: the starts of the search do not agree" in bad.to_text()


def test_a_comment_beside_a_value_stays_when_it_is_fitted_again(fit: Fit) -> None:
    text = (SCENARIOS / "road-coupe.toml").read_text("utf-8")
    text = text.replace('mass = "1600 kg"', 'mass = "1600 kg"  # weighed with half a tank')
    once = fitted_text(fit, text, TODAY)
    assert "# fitted; was 1600 kg; weighed with half a tank" in once
    mass = tomllib.loads(once)["body"]["mass"]
    assert f'mass = "{mass}" # fitted; was {mass}; weighed with half a tank\n' in fitted_text(fit, once, TODAY)


def test_a_place_from_which_tyres_are_not_found_is_refused(folder: Path, fit: Fit, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="would not be sound there"):
        fit.save(tmp_path / "far.toml")
    assert not (tmp_path / "far.toml").exists()
    with pytest.raises(InputError, match=r"does not end in \.toml"):
        fit.save(tmp_path / "far.txt")
    with pytest.raises(InputError, match="lies in no folder"):
        fit.save(tmp_path / "none" / "far.toml")


def test_the_odds_draw_what_was_fitted_with_its_correlation(folder: Path, fit: Fit) -> None:
    """Spearman's rank correlation of normal values is 6/pi asin(r/2). Source: Pearson (1907)."""
    fit.save(folder / "odds.toml", force=True)
    new = load(folder / "odds.toml")
    drawn = draws(new, ("peak", "plateau"), Pedal.FULL, goal(new))
    points = stats.qmc.Sobol(len(drawn.names), rng=np.random.default_rng(0)).random(4096)
    values = drawn.values(points)
    j, k = drawn.names.index("body.mass"), drawn.names.index("all curves together")
    rank = stats.spearmanr(values[:, j], values[:, k]).statistic
    assert new.correlation is not None
    pair = [new.correlation.keys.index(key) for key in ("body.mass", "all curves together")]
    expected = 6.0 / np.pi * np.arcsin(new.correlation.matrix[pair[0], pair[1]] / 2.0)
    assert rank == pytest.approx(expected, abs=0.02)
    assert values[:, j].std() == pytest.approx(fit.value("mass").error, rel=0.02)
    found = odds(new, "peak", "plateau", cases=64)
    assert found.effects == ()
    assert np.isfinite(found.times).all()


def test_correlated_spreads_do_not_widen_what_the_log_knows(folder: Path, fit: Fit) -> None:
    """Mass and curve scale are known together, not each: drawn as if independent, times scatter more."""
    fit.save(folder / "odds.toml", force=True)
    new = load(folder / "odds.toml")
    data = new.model_dump(exclude_unset=True)
    data.pop("correlation")
    alone = from_mapping(data, "independent")
    tied, loose = (odds(each, "peak", "plateau", cases=64, with_effects=False) for each in (new, alone))
    assert tied.times[:, 0].std() < 0.8 * loose.times[:, 0].std()


def test_a_scenario_without_any_spread_gets_the_tables(fit: Fit) -> None:
    text = (SCENARIOS / "road-coupe.toml").read_text("utf-8")
    bare = text[: text.index("# What is not known for sure")]
    data = fit.scenario.model_dump(exclude_unset=True)
    data.pop("uncertain")
    told = tomllib.loads(fitted_text(replace(fit, scenario=from_mapping(data, "bare")), bare, TODAY))
    assert {entry["key"] for entry in told["uncertain"]} == set(told["correlation"]["keys"])
    assert len(told["correlation"]["coefficients"]) == 4
