"""What a sweep leaves out is found later by the same launches: the same numbers to the last bit."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

import simlaunch
from simlaunch.cli.main import answer
from simlaunch.errors import InputError
from simlaunch.metrics.many import ENERGY, GRIP, MARKS, PARTS
from simlaunch.scenario.model import Scenario
from simlaunch.sweeping import completion
from simlaunch.sweeping.chunk import BESIDE_MARKS
from simlaunch.sweeping.completion import complete
from simlaunch.sweeping.store import Reader
from simlaunch.sweeping.study import SweepResult
from sweep.conftest import COUPE

VARY = ("curve", "tyre", "body.mass: 1500 kg, 1700 kg")
SPIN, PULL = "wheelspin time", "peak torque gearbox input"


def swept(scenario: Scenario, path: Path, **options: object) -> SweepResult:
    return simlaunch.sweep(scenario, path, vary=VARY, where=options.pop("where", ()), **options)  # type: ignore[arg-type]


def held(path: Path) -> set[frozenset[str]]:
    with Reader(path) as reader:
        return set(reader.held().values())


def rows(path: Path) -> list[tuple[object, ...]]:
    with Reader(path) as reader:
        return reader.rows("SELECT * FROM launch ORDER BY number")


@pytest.fixture(scope="module")
def whole(brief: Scenario, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Everything measured at once."""
    path = tmp_path_factory.mktemp("whole") / "a.sqlite"
    swept(brief, path, measure_all=True, workers=1)
    return path


def test_a_ranking_by_time_leaves_all_but_marks_blank(brief: Scenario, tmp_path: Path, whole: Path) -> None:
    found = swept(brief, tmp_path / "a.sqlite")
    assert held(found.path) == {frozenset()}
    measures = found.findings.study.measures
    assert {each.group for each in measures} == {MARKS, *BESIDE_MARKS}
    blank = 3 + len(found.findings.study.plan.axes)
    for row, full in zip(rows(found.path), rows(whole), strict=True):
        assert row[:blank] == full[:blank]
        for measure, cell, other in zip(measures, row[blank:], full[blank:], strict=True):
            assert cell == (other if measure.group == MARKS else None), measure.name


def test_what_is_asked_for_later_is_the_same_to_the_last_bit(brief: Scenario, tmp_path: Path, whole: Path) -> None:
    path = tmp_path / "a.sqlite"
    swept(brief, path)
    assert simlaunch.open_sweep(path, SPIN).to_dict() == simlaunch.open_sweep(whole, SPIN).to_dict()
    assert held(path) == {frozenset({GRIP})}
    simlaunch.open_sweep(path, where=[f"{PULL} < 600 N m"])
    assert held(path) == {frozenset({GRIP, PARTS})}
    complete(path)
    assert rows(path) == rows(whole)
    with Reader(path) as some, Reader(whole) as other:
        assert some.digest() == other.digest()
        assert some.is_sound()


@pytest.mark.parametrize("asked", ["dataframe", "xarray", "csv", "figures"])
def test_whatever_needs_every_column_finds_it(brief: Scenario, tmp_path: Path, whole: Path, asked: str) -> None:
    found = swept(brief, tmp_path / "a.sqlite")
    if asked == "dataframe":
        every, other = found.to_dataframe(), simlaunch.open_sweep(whole).to_dataframe()
        assert every.to_csv() == other.to_csv()
        assert not every["engine work [J]"].isna().any()
    elif asked == "xarray":
        assert np.isfinite(found.to_xarray()[SPIN].to_numpy()).all()
    elif asked == "csv":
        written = [
            simlaunch.open_sweep(path).export(tmp_path / f"{path.parent.name}.csv") for path in (found.path, whole)
        ]
        assert written[0].read_bytes() == written[1].read_bytes()
    else:
        assert "trade-off" in found.figures()
        assert held(found.path) == {frozenset({PARTS})}


def test_the_best_are_shown_whole(brief: Scenario, tmp_path: Path, whole: Path) -> None:
    found = swept(brief, tmp_path / "a.sqlite")
    assert repr(found.findings.best) == repr(simlaunch.open_sweep(whole).findings.best)  # a nan is no equal of itself
    assert held(found.path) == {frozenset()}


def test_the_same_file_goes_on_with_more(brief: Scenario, tmp_path: Path, whole: Path) -> None:
    path = tmp_path / "a.sqlite"
    swept(brief, path)
    swept(brief, path, by=SPIN)
    assert held(path) == {frozenset({GRIP})}
    swept(brief, path)
    assert held(path) == {frozenset({GRIP})}
    swept(brief, path, measure_all=True)
    assert rows(path) == rows(whole)


def test_constraints_are_measured_at_once(brief: Scenario, tmp_path: Path) -> None:
    found = swept(brief, tmp_path / "a.sqlite", where=[f"{PULL} < 600 N m", "body.mass < 1600 kg", "engine work > 1 J"])
    assert held(found.path) == {frozenset({PARTS, ENERGY})}


def test_other_code_does_not_add_to_a_file(
    brief: Scenario, tmp_path: Path, whole: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    found = swept(brief, tmp_path / "a.sqlite")
    monkeypatch.setattr(completion, "kernels", lambda: "other")
    with pytest.raises(InputError, match="holds no use of grip, and was made by other numeric code"):
        simlaunch.open_sweep(found.path, SPIN)
    by_time = simlaunch.open_sweep(found.path)
    assert np.isnan(by_time.findings.best[0].measures[SPIN])
    assert by_time.to_dict()["ranking"][0]["measures"]["wheelspin time [s]"] is None
    assert simlaunch.open_sweep(whole, SPIN).findings.met == len(found.to_dict()["ranking"])


def test_the_command_says_what_is_launched_again(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file, brevity = str(tmp_path / "a.sqlite"), ("--set", 'run.until=["20 m"]', "--set", "run.time_limit=20 s")
    assert answer(["sweep", str(COUPE), "-o", file, "--quiet", "--vary", "curve", *brevity]) == 0
    capsys.readouterr()
    assert answer(["sweep", "show", file, "--jsonl", "-"]) == 0
    said = capsys.readouterr()
    assert "launching 2 cases again for measures that the sweep left out" in said.err
    assert all(json.loads(line)["wheelspin time [s]"] is not None for line in said.out.splitlines()[1:])
    assert answer(["sweep", "show", file, "--jsonl", "-"]) == 0
    assert "again" not in capsys.readouterr().err
