"""Maps and trade-offs hold what the file holds, whatever names there are."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from matplotlib.collections import QuadMesh
from matplotlib.figure import Figure

from simlaunch.drawing.save import as_bytes
from simlaunch.errors import UsageError
from simlaunch.figures.sweep import sweep_figures
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.reading import changed
from simlaunch.sweep.chunk import prepared
from simlaunch.sweep.plan import Draw, Sample
from simlaunch.sweep.ranking import field, front, measure_named, order, parting
from simlaunch.sweep.store import Reader
from sweep.conftest import filled, planned

LOAD = "steady torque gearbox input"
FLAT = [["1000 rpm", "300 N m"], ["7000 rpm", "300 N m"]]


def _reader(path: Path, scenario: Scenario, *vary: str, sample: Sample | None = None) -> Reader:
    spec = planned(scenario, *vary, sample=sample)
    shape = (spec.plan.size, len(prepared(spec).columns))
    filled(path, spec, np.random.default_rng(2).normal(11.0, 1.0, shape))
    return Reader(path)


def _drawn(figure: Figure) -> list[np.ndarray]:
    meshes = [mesh for axes in figure.axes for mesh in axes.collections if isinstance(mesh, QuadMesh)]
    return [np.ma.filled(mesh.get_array().astype(float), np.nan) for mesh in meshes]


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
    assert axes.get_xlabel() == "steady pull of gearbox input [N m]"


def test_a_sample_is_drawn_in_stretches(tmp_path: Path, brief: Scenario) -> None:
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
    odd = changed(brief, {"curves": [{"name": name, "points": FLAT} for name in names]})
    file = _reader(tmp_path / "c.sqlite", odd, "curve", "tyre")
    for kind in ("png", "svg"):
        for figure in sweep_figures(file, order(file.study, None, []), ["tyre", "curve"], LOAD, "metric").values():
            assert len(as_bytes(figure, kind)) > 1000
    ticks = [tick.get_text() for tick in figure.axes[0].get_yticklabels()] if figure.axes else []
    assert ticks


@pytest.mark.parametrize(
    ("across", "told"),
    [
        (["tyre", "nonsense"], "no axis is called"),
        (["tyre", "tyre"], "two or three different axes"),
        (["curve", "gear set", "tyre", "body.mass"], "two or three different axes"),
    ],
)
def test_what_cannot_be_drawn_is_told(reader: Reader, across: list[str], told: str) -> None:
    with pytest.raises(UsageError, match=told):
        sweep_figures(reader, order(reader.study, None, []), across, LOAD, "metric")


def test_nothing_to_draw_is_told(reader: Reader) -> None:
    with pytest.raises(UsageError, match="nothing to draw"):
        sweep_figures(reader, order(reader.study, None, ["wheelspin time < -100 s"]), None, LOAD, "metric")
