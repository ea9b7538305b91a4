"""One answer: the command, the function and the file give the same numbers, however they are asked for."""

from __future__ import annotations

import gc
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import matplotlib.pyplot as plt
import numpy as np
import pytest
from matplotlib.collections import QuadMesh

import simlaunch
from simlaunch.cli.main import answer
from simlaunch.errors import InputError, UsageError
from simlaunch.output.layout import paragraph
from simlaunch.scenario.model import Scenario
from simlaunch.sweeping.campaign import Progress
from simlaunch.sweeping.study import SweepResult
from sweep.conftest import COUPE

VARY = ("curve", "tyre", "body.mass: 1500 kg, 1700 kg")
WHERE = "body.mass < 1600 kg"
BREVITY = ("--set", 'run.until=["20 m"]', "--set", "run.time_limit=20 s")
Capture = pytest.CaptureFixture[str]


@pytest.fixture(scope="module")
def swept(brief: Scenario, tmp_path_factory: pytest.TempPathFactory) -> SweepResult:
    """Eight launches over 20 m, without the constraints of the scenario."""
    path = tmp_path_factory.mktemp("study") / "a.sqlite"
    return simlaunch.sweep(brief, path, vary=VARY, where=())


def _command(capsys: Capture, *arguments: str) -> Any:
    capsys.readouterr()
    assert answer(list(arguments)) == 0
    return json.loads(capsys.readouterr().out)


def _as_json(found: SweepResult) -> Any:
    return json.loads(json.dumps(found.to_dict(), allow_nan=False))


def test_command_and_function_give_the_same_json(brief: Scenario, tmp_path: Path, capsys: Capture) -> None:
    file = str(tmp_path / "a.sqlite")
    vary = [part for axis in VARY for part in ("--vary", axis)]
    printed = _command(capsys, "sweep", str(COUPE), "-o", file, "--quiet", "--json", "--where", WHERE, *vary, *BREVITY,
                       "--workers", "1")  # fmt: skip
    assert printed == _as_json(simlaunch.sweep(brief, vary=VARY, where=[WHERE], workers=2))
    assert [entry["values"]["body.mass [kg]"] for entry in printed["ranking"]] == [1500.0] * 4
    assert _command(capsys, "sweep", "show", file, "--json") == _as_json(simlaunch.open_sweep(file)) == printed
    assert _command(capsys, "sweep", "show", file, "--json", "--by", "wheelspin time", "--where", "tyre = track",
                    "--top", "2") == _as_json(
        simlaunch.open_sweep(file, "wheelspin time", ["tyre = track"], 2)
    )  # fmt: skip


def test_the_demonstration_sweep_is_the_same_by_function(brief: Scenario, tmp_path: Path, capsys: Capture) -> None:
    """Axes and constraints are those that the scenario states."""
    printed = _command(capsys, "sweep", str(COUPE), "-o", str(tmp_path / "a.sqlite"), "--quiet", "--json", *BREVITY)
    assert printed == _as_json(simlaunch.sweep(brief))
    assert (printed["launches"], len(printed["where"]), len(printed["ranking"])) == (24, 1, 10)


def test_text_is_what_the_command_prints(swept: SweepResult, capsys: Capture) -> None:
    capsys.readouterr()
    assert answer(["sweep", "show", str(swept.path), "--units", "us"]) == 0
    assert capsys.readouterr().out == swept.to_text("us") + "\n"
    assert swept.to_text().endswith(f"Verdict\n{paragraph(swept.summary())}")


def test_ranking_is_that_of_all_launches(swept: SweepResult) -> None:
    every, document = swept.to_dataframe(), swept.to_dict()
    best = every.sort_values("time 20 m [s]", kind="stable")
    assert [entry["launch"] for entry in document["ranking"]] == best["number"].tolist()
    assert [entry["measures"]["time 20 m [s]"] for entry in document["ranking"]] == best["time 20 m [s]"].tolist()
    by_tyre = next(entry for entry in document["groups"] if entry["axis"] == "tyre")["values"]
    expected = every.groupby("tyre", sort=False)["time 20 m [s]"].min()
    assert {entry["value"]: entry["best"] for entry in by_tyre} == expected.to_dict()
    assert document["by"] == "time 20 m [s]"


def test_frame_and_arrays_hold_the_same_numbers(swept: SweepResult) -> None:
    frame, arrays = swept.to_dataframe(), swept.to_xarray()
    assert frame.shape[0] == arrays["time 20 m"].size == 8
    for name, values in arrays.data_vars.items():
        unit = values.attrs.get("units", "")
        column = frame[f"{name} [{unit}]" if unit else str(name)]
        assert np.array_equal(column.to_numpy(float), values.to_numpy().ravel(), equal_nan=True)
    stacked = arrays["time 20 m"].stack(launch=list(arrays["time 20 m"].dims))
    assert stacked["body.mass"].values.tolist() == frame["body.mass [kg]"].tolist()
    assert stacked["curve"].values.tolist() == frame["curve"].tolist()


def test_marks_beyond_the_goal_are_not_measured(swept: SweepResult) -> None:
    frame = swept.to_dataframe()
    assert frame["time 60 ft [s]"].notna().all()  # 18.288 m
    assert frame["time 1/4 mile [s]"].isna().all()


def test_constraints_hold_for_frame_and_export(swept: SweepResult, tmp_path: Path) -> None:
    found = simlaunch.open_sweep(swept.path, where=[WHERE])
    assert found.to_dataframe()["body.mass [kg]"].tolist() == [1500.0] * 4
    for ending in ("csv", "xlsx", "parquet", "nc", "jsonl"):
        assert found.export(tmp_path / f"a.{ending}").stat().st_size > 500
    assert len((tmp_path / "a.jsonl").read_text("utf-8").splitlines()) == 5
    with pytest.raises(InputError, match="is there already"):
        found.export(tmp_path / "a.csv")
    found.export(tmp_path / "a.csv", force=True)
    with pytest.raises(UsageError, match="has no known ending"):
        found.export(tmp_path / "a.txt")


def test_an_export_never_replaces_the_sweep_itself(swept: SweepResult, tmp_path: Path) -> None:
    own = tmp_path / "a.csv"
    own.write_bytes(swept.path.read_bytes())
    with pytest.raises(UsageError, match="belongs to the sweep itself"):
        replace(swept, path=own).export(own, force=True)


def test_a_temporary_file_goes_with_its_result(brief: Scenario) -> None:
    found = simlaunch.sweep(brief, vary=["tyre"], where=())
    path = found.path
    assert len(found.to_dataframe()) == 2
    del found
    gc.collect()
    assert not path.exists()
    assert not path.parent.exists()


def test_progress_states_time_left_and_best(brief: Scenario, tmp_path: Path) -> None:
    seen: list[Progress] = []
    found = simlaunch.sweep(brief, tmp_path / "a.sqlite", vary=["curve", "tyre"], watch=seen.append, workers=1)
    assert [far.done for far in seen] == sorted(far.done for far in seen)
    assert (seen[0].done, seen[0].best) == (0, None)
    assert seen[-1].left == 0.0
    assert seen[-1].best == found.findings.best[0].measures["time 20 m"]
    assert seen[-1].by is not None
    assert seen[-1].by.name == "time 20 m"


def test_a_sweep_that_is_stopped_is_carried_on(brief: Scenario, tmp_path: Path) -> None:
    seen: list[Progress] = []
    path = tmp_path / "a.sqlite"
    half = simlaunch.sweep(
        brief, path, vary=VARY, where=(), workers=1, watch=seen.append, stopped=lambda: seen[-1].done > 0
    )
    assert 0 < half.findings.finished < 8
    assert half.summary().startswith("So far, best is ")
    whole = simlaunch.sweep(brief, path, vary=VARY, where=())
    assert whole.findings.finished == 8


def test_a_result_shows_itself(swept: SweepResult) -> None:
    assert repr(swept).startswith("<simlaunch sweep: Best is curve ")
    assert "<table>" in swept._repr_html_()
    assert swept.verify() == simlaunch.open_sweep(swept.path).verify()
    assert swept.scenario.name == "Road coupe, rear drive"


def test_the_main_panel_is_the_map_or_the_trade_off(swept: SweepResult, brief: Scenario) -> None:
    axes = swept.plot()
    (cells,) = [mesh for mesh in axes.collections if isinstance(mesh, QuadMesh)]
    best = cells.get_array()
    assert best is not None
    assert float(best.min()) == swept.to_dataframe()["time 20 m [s]"].min()
    assert set(swept.figures()) == {"map", "trade-off", "winners"}
    line = simlaunch.sweep(brief, vary=["tyre"], where=()).plot(units="us")
    assert line.get_xlabel() == "steady pull gearbox input [lb-ft]"
    plt.close("all")


@pytest.mark.parametrize(
    ("given", "why"),
    [
        ({"vary": ()}, "nothing is varied: give vary"),
        ({"vary": ["nonsense"]}, "vary: nothing called"),
        ({"draw": "dice", "sample": 2}, 'draw "dice" is not known'),
        ({"sample": 2, "seed": -1}, "is negative"),
        ({"sample": 0}, "0 cases are not from 1"),
        ({"workers": 0}, "0 workers cannot launch anything"),
        ({"top": 0}, "a ranking of 0 launches is empty"),
        ({"workers": 1, "cluster": "localhost:9"}, "workers counts threads of this machine"),
        ({"trust_network": True}, "name the cluster, or leave it out"),
        ({"by": "nonsense"}, "no measure is called"),
    ],
)
def test_what_makes_no_sense_is_refused(brief: Scenario, given: dict[str, Any], why: str) -> None:
    bare = brief.model_copy(update={"sweep": None})
    with pytest.raises(UsageError, match=why):
        simlaunch.sweep(bare, **{"vary": ["tyre"], **given})
