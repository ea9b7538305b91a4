"""Maps and trade-offs hold what the file holds, whatever names there are."""

from __future__ import annotations

import itertools
from pathlib import Path

import numpy as np
import pytest
from matplotlib.collections import QuadMesh
from matplotlib.figure import Figure

from simlaunch.errors import UsageError
from simlaunch.plotting.save import as_bytes
from simlaunch.plotting.sweep import rounded, sweep_figures
from simlaunch.scenario.model import Scenario
from simlaunch.sweeping.chunk import ChunkResult, maker, prepared, study_of
from simlaunch.sweeping.plan import Draw, Sample
from simlaunch.sweeping.ranking import field, front, measure_named, order, parting
from simlaunch.sweeping.store import Reader, Store
from sweep.conftest import filled, planned

LOAD = "steady pull gearbox input"
FLAT = [["1000 rpm", "300 N m"], ["7000 rpm", "300 N m"]]


def _reader(path: Path, scenario: Scenario, *vary: str, sample: Sample | None = None) -> Reader:
    spec = planned(scenario, *vary, sample=sample)
    shape = (spec.plan.size, len(prepared(spec).columns))
    filled(path, spec, np.random.default_rng(2).normal(11.0, 1.0, shape))
    return Reader(path)


def _drawn(figure: Figure) -> list[np.ndarray]:
    meshes = [mesh for axes in figure.axes for mesh in axes.collections if isinstance(mesh, QuadMesh)]
    return [np.ma.filled(np.ma.asarray(mesh.get_array()).astype(float), np.nan) for mesh in meshes]


@pytest.fixture
def reader(tmp_path: Path, brief: Scenario) -> Reader:
    return _reader(tmp_path / "a.sqlite", brief, "curve", "gear set", "tyre", "body.mass: 1500 kg to 1800 kg in 4")


def test_a_map_of_two_axes_holds_the_best_of_every_cell(reader: Reader) -> None:
    wanted = order(reader.study, None, [])
    figure = sweep_figures(reader, wanted, ["gear set", "body.mass"], LOAD, "metric")["map"]
    across = [parting(reader.study, reader.study.plan.axes[j]) for j in (1, 3)]
    (cells,) = _drawn(figure)
    assert np.array_equal(cells, field(reader, wanted, across).T)
    texts = [text.get_text() for text in figure.axes[0].texts]
    assert texts == [f"{value:.3f}" for value in cells.ravel()]
    assert [tick.get_text() for tick in figure.axes[0].get_xticklabels()] == ["as described", "short", "long"]


def test_a_third_axis_gives_a_panel_for_each_value(reader: Reader) -> None:
    wanted = order(reader.study, None, [])
    figure = sweep_figures(reader, wanted, ["gear set", "body.mass", "tyre"], LOAD, "us")["map"]
    assert len(_drawn(figure)) == len(figure.axes) == 2
    assert "tyre track" in figure.axes[1].get_ylabel()


def test_without_a_choice_the_axes_that_matter_are_drawn(reader: Reader) -> None:
    figures = sweep_figures(reader, order(reader.study, None, []), None, LOAD, "metric")
    assert set(figures) == {"map", "trade-off"}
    assert len(_drawn(figures["map"])) in (2, 3, 4)


def test_a_trade_off_shows_the_front(reader: Reader) -> None:
    wanted = order(reader.study, None, [])
    axes = sweep_figures(reader, wanted, None, LOAD, "metric")["trade-off"].axes[0]
    expected = np.array([entry[1:] for entry in front(reader, wanted, measure_named(LOAD, reader.study))])
    assert np.allclose(axes.lines[-1].get_xydata(), expected, rtol=1e-12)
    assert axes.get_xlabel() == "steady pull gearbox input [N m]"


def test_a_sample_is_drawn_in_ranges(tmp_path: Path, brief: Scenario) -> None:
    sample = Sample(Draw.SOBOL, 64, 1)
    file = _reader(tmp_path / "b.sqlite", brief, "body.mass: 1500 kg to 1800 kg", "final drive: 3 to 4", sample=sample)
    figures = sweep_figures(file, order(file.study, None, []), None, LOAD, "metric")
    assert _drawn(figures["map"])[0].shape == (6, 6)


def test_names_of_any_kind_are_drawn_as_they_are(tmp_path: Path, brief: Scenario) -> None:
    names = (
        "$x^2$ \\frac{1}",
        "<b>bold</b>",
        "=1+1",
        "a long name that would never fit beside a panel",
    )
    odd = brief.replace({"curves": [{"name": name, "points": FLAT} for name in names]})
    file = _reader(tmp_path / "c.sqlite", odd, "curve", "tyre")
    for kind in ("png", "svg"):
        for figure in sweep_figures(file, order(file.study, None, []), ["tyre", "curve"], LOAD, "metric").values():
            assert len(as_bytes(figure, kind)) > 1000
    ticks = [tick.get_text() for tick in figure.axes[0].get_yticklabels()] if figure.axes else []
    assert ticks


@pytest.mark.parametrize(
    ("values", "texts"),
    [
        ((1500.0, 1533.3333, 1566.6667, 1600.0), ["1500", "1533", "1567", "1600"]),
        ((3.2, 3.306, 3.412), ["3.20", "3.31", "3.41"]),
        ((0.85, 1.0), ["0.85", "1.00"]),
        ((1e-7, 3e-7), ["1e-07", "3e-07"]),
        ((1712.5,), ["1712"]),
    ],
)
def test_numbers_along_an_axis_are_rounded_to_their_steps(values: tuple[float, ...], texts: list[str]) -> None:
    """Rounding halves to even, as Python does."""
    assert rounded(values) == texts


def _overlaps(figure: Figure) -> int:
    """How many labels along the panels touch the one before."""
    figure.draw_without_rendering()
    count = 0
    for axes in figure.axes:
        boxes = [label.get_window_extent() for label in axes.get_xticklabels() if label.get_text()]
        count += sum(one.x1 >= other.x0 for one, other in itertools.pairwise(boxes))
    return count


@pytest.mark.parametrize(
    "vary",
    [
        "body.mass: 1400 kg to 1700 kg in 12",
        "body.mass: 1400 kg to 1700 kg in 300",
        "launch.engine_speed: 2500 rpm to 4500 rpm in 11",
        "tyres.rear.wheel_inertia: 1.03 kg m^2 to 1.7 kg m^2 in 9",
    ],
)
def test_numbers_along_an_axis_stand_apart_and_name_their_unit_once(tmp_path: Path, brief: Scenario, vary: str) -> None:
    file = _reader(tmp_path / "d.sqlite", brief, vary, "final drive: 3 to 4 in 7")
    name = file.study.plan.axes[0].name
    figure = sweep_figures(file, order(file.study, None, []), [name, "final drive"], LOAD, "metric")["map"]
    axes = figure.axes[0]
    texts = [label.get_text() for label in axes.get_xticklabels()]
    assert _overlaps(figure) == 0
    assert 4 <= len(texts) <= 12
    assert max(map(len, texts)) <= 5
    assert axes.get_xlabel() == f"{name} [{file.study.plan.axes[0].unit}]"
    assert [label.get_text() for label in axes.get_yticklabels()] == [
        "3.00",
        "3.17",
        "3.33",
        "3.50",
        "3.67",
        "3.83",
        "4.00",
    ]


def test_names_too_long_to_stand_along_a_panel_are_numbered(tmp_path: Path, brief: Scenario) -> None:
    names = [f"a curve whose name is long and differs only here: {k}, and goes on" for k in range(8)]
    odd = brief.replace({"curves": [{"name": name, "points": FLAT} for name in names]})
    file = _reader(tmp_path / "e.sqlite", odd, "curve", "tyre")
    figure = sweep_figures(file, order(file.study, None, []), ["curve", "tyre"], LOAD, "metric")["map"]
    assert [label.get_text() for label in figure.axes[0].get_xticklabels()] == [str(n) for n in range(1, 9)]
    lead = " ".join(" ".join(text.get_text() for text in figure.texts).split())
    assert all(f"{n}: {name}" in lead for n, name in enumerate(names, start=1))
    assert _overlaps(figure) == 0


def test_a_cell_without_a_number_says_why(tmp_path: Path, brief: Scenario) -> None:
    """Of three gear sets: all launches of the first failed, those of the second break the constraint, the third has
    none yet; each with one tyre only."""
    spec = planned(brief, "gear set", "tyre", "pedal")
    path, columns = tmp_path / "g.sqlite", prepared(spec).columns
    values = np.full((12, len(columns)), 11.0)
    load = [column.name for column in columns].index(LOAD)
    values[4:6, load] = 900.0
    with Store(path, study_of(spec), lambda: 2) as store:
        for number, (first, last) in list(store.missing().items())[:5]:
            ending = np.full(2, 2 if number == 0 else 0)
            reasons = dict.fromkeys(range(2), "stalled") if number == 0 else {}
            made = ChunkResult(first, values[first:last], ending, reasons, maker())
            store.write(number, spec.plan.cases(first, last), made)
    with Reader(path) as reader:
        wanted = order(reader.study, None, [f"{LOAD} < 500 N m"])
        figure = sweep_figures(reader, wanted, ["gear set", "tyre"], LOAD, "metric")["map"]
    lead = " ".join(" ".join(text.get_text() for text in figure.texts).split())
    assert "A blank cell has no finished launch. A cross: all launches there failed. A ring: no launch there" in lead
    marks = {line.get_marker(): np.asarray(line.get_xydata()).tolist() for line in figure.axes[0].lines}
    assert marks == {"x": [[0.5, 0.5]], "o": [[1.5, 0.5]]}
    (cells,) = _drawn(figure)
    assert np.isnan(cells).tolist() == [[True, True, False], [False, False, True]]


@pytest.mark.parametrize(
    ("across", "told"),
    [
        (["tyre", "nonsense"], "no axis is called"),
        (["tyre", "tyre"], "two or three different axes"),
        (["curve", "gear set", "tyre", "body.mass"], "two or three different axes"),
    ],
)
def test_what_cannot_be_drawn_is_reported(reader: Reader, across: list[str], told: str) -> None:
    with pytest.raises(UsageError, match=told):
        sweep_figures(reader, order(reader.study, None, []), across, LOAD, "metric")


def test_nothing_to_draw_is_reported(reader: Reader) -> None:
    with pytest.raises(UsageError, match="nothing to draw"):
        sweep_figures(reader, order(reader.study, None, ["wheelspin time < -100 s"]), None, LOAD, "metric")
