"""Names in the figures stand clear of each other and on the sheet: demonstration cars, and cars invented to be hard."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from contextlib import AbstractContextManager, nullcontext
from dataclasses import replace
from functools import cache
from itertools import pairwise
from math import pi
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.figure import Figure
from matplotlib.text import Annotation

import simlaunch
from plotting.boxes import misplaced, texts
from plotting.compared import CARS, found, of_comparison
from searching import brief
from simlaunch.comparing.attribution import SpanName
from simlaunch.comparing.compare import Comparison, Pair
from simlaunch.metrics.parts import Part
from simlaunch.plotting.labels import Place, label_points
from simlaunch.plotting.look import Panels, curve_style, in_our_look, on_page, sheet, units_of
from simlaunch.plotting.parts import parts_figure
from simlaunch.plotting.plateau import plateau_figure
from simlaunch.plotting.run import unfolding_figure
from simlaunch.plotting.usable import usable_figure
from simlaunch.plotting.why import why_figure
from simlaunch.plotting.worth import worth_figure
from simlaunch.reporting.drawings import NARROW, WIDE
from simlaunch.searching.plateau_search import Plateau

SCENARIOS = Path(__file__).parents[2] / "scenarios"
WIDTHS = (None, WIDE, NARROW)
LONG = (
    "As delivered with the calibration of the year before last",
    "The customer's wish, stage two with larger injectors",
    "Held plateau as proposed, third revision",
    "plateau 4",
    "Onewordwithoutanyblankthatgoesonandonandon",
    "x",
)


def clean(figure: Figure) -> None:
    assert misplaced(figure) == ([], [])


def on(width: float | None) -> AbstractContextManager[None]:
    return nullcontext() if width is None else on_page(width)


@cache
def scenario(car: str) -> simlaunch.Scenario:
    return simlaunch.load(SCENARIOS / f"{car}.toml")


def alike(count: int, step: float) -> simlaunch.Scenario:
    """The coupe with several curves of long names, each a little higher than the one before."""
    points = [(speed.text, torque.si) for speed, torque in scenario("road-coupe").curve("plateau").points]
    curves = [
        {"name": name, "points": [[speed, f"{(1.0 + step * k) * torque:.3f} N m"] for speed, torque in points]}
        for k, name in enumerate(LONG[:count])
    ]
    return scenario("road-coupe").replace({"curves": curves})


def of_a_page(found: Comparison, system: str) -> tuple[Callable[[], Figure], ...]:
    """Makers of what a page shows of a comparison."""
    pair = found.pairs[0]
    return (
        lambda: why_figure(pair, (curve_style(0), curve_style(1)), found.goal, units_of(system)),
        lambda: usable_figure(found.usable, system),
        lambda: unfolding_figure(found, system),
    )


def test_a_collision_and_a_text_that_leaves_the_sheet_are_found() -> None:
    figure = Figure(figsize=(4.0, 3.0))
    axes = figure.add_axes((0.2, 0.2, 0.6, 0.6))
    axes.text(0.5, 0.5, "one name")
    axes.text(0.52, 0.52, "another")
    axes.annotate("tied", (0.0, 0.0), (0.9, 0.9), arrowprops={"arrowstyle": "-"})  # the line is no part of the name
    figure.text(0.98, 0.5, "beyond the edge")
    assert misplaced(figure) == ([("one name", "another")], ["beyond the edge"])
    assert {"one name", "tied", "0.0"} <= {text for text, _ in texts(figure)}


@pytest.mark.parametrize("system", ["metric", "us"])
@pytest.mark.parametrize("car", CARS)
def test_names_of_a_comparison_stand_clear(car: str, system: str) -> None:
    for figure in of_comparison(car, system).values():
        clean(figure)
    for make in of_a_page(found(car).comparison, system):
        with on_page(NARROW if system == "us" else WIDE):
            clean(make())


@cache
def parts_and_worth() -> tuple[simlaunch.DrivelineLoads, simlaunch.Worth]:
    return simlaunch.parts(scenario("road-coupe")), simlaunch.worth(scenario("road-coupe"), "peak", bands=8)


@pytest.mark.parametrize("system", ["metric", "us"])
@pytest.mark.parametrize("width", WIDTHS)
def test_names_of_parts_and_of_worth_stand_clear(system: str, width: float | None) -> None:
    loads, worth = parts_and_worth()
    with on(width):
        clean(parts_figure(loads, system))
        clean(worth_figure(worth.first, system))


@pytest.mark.parametrize(("count", "step"), [(3, 0.0005), (4, 0.2), (6, 0.004)])
def test_long_names_of_curves_that_nearly_coincide_stand_clear(count: int, step: float) -> None:
    found = simlaunch.compare(alike(count, step), cases=0)
    for figure in found.figures("us").values():
        clean(figure)
    for make in of_a_page(found, "metric"):
        with on_page(NARROW):
            clean(make())


SPANS: Mapping[str, tuple[tuple[float, ...], tuple[float, ...]]] = {
    "narrow in the middle": ((1000, 5000, 5200, 5400, 5600, 6900), (0.1, -0.2, 0.3, -0.15, 0.5)),
    "narrow at the left": ((1000, 1100, 1200, 1300, 1400, 6900), (0.1, -0.2, 0.3, -0.15, 0.5)),
    "narrow at the right": ((1000, 6500, 6600, 6700, 6800, 6900), (0.1, -0.2, 0.3, -0.15, 0.5)),
    "level or open": ((1000, 2000, 3000, 4000, 5000, 6900), (0.0, 0.001, 0.0, -0.15, 0.003)),
}


def with_spans(pair: Pair, edges: tuple[float, ...], shares: tuple[float, ...]) -> Pair:
    """The pair with other spans of engine speed [rpm] and their shares [s]."""
    why = pair.why
    assert why is not None
    spans = tuple(
        replace(
            why.spans[0],
            start=start * pi / 30.0,
            end=end * pi / 30.0,
            name=SpanName.PEAK,
            full=replace(why.spans[0].full, share=share, least=min(share, -0.02), most=max(share, 0.02)),
        )
        for (start, end), share in zip(pairwise(edges), shares, strict=True)
    )
    case = replace(pair.verdict.case, why=replace(why, spans=spans))
    return replace(pair, verdict=replace(pair.verdict, case=case))


@pytest.mark.parametrize("name", SPANS)
@pytest.mark.parametrize("width", WIDTHS)
def test_seconds_of_narrow_spans_stand_clear(name: str, width: float | None) -> None:
    compared = found("road-coupe").comparison
    pair = with_spans(compared.pairs[0], *SPANS[name])
    for system in ("metric", "us"):
        with on(width):
            figure = why_figure(pair, (curve_style(0), curve_style(1)), compared.goal, units_of(system))
        clean(figure)
        assert sum(text.startswith("0.") for text, _ in texts(figure)) >= sum(abs(s) >= 0.01 for s in SPANS[name][1])


@in_our_look
def named_points(points: list[tuple[float, float]]) -> Figure:
    figure, rows = sheet("points", "", Panels((1.7,)))
    axes = rows[0][0]
    axes.set_xlim(0.0, 1.0)
    axes.set_ylim(0.0, 1.0)
    axes.plot([0.0, 1.0], [0.9, 0.1], marker="o")
    label_points(axes, [Place(x, y, f"point number {k}") for k, (x, y) in enumerate(points)])
    return figure


@settings(max_examples=30)
@given(st.lists(st.tuples(st.floats(0.05, 0.95), st.floats(0.05, 0.95)), min_size=1, max_size=4))
def test_names_of_points_stand_clear_wherever_the_points_lie(points: list[tuple[float, float]]) -> None:
    clean(named_points(points))


def test_a_name_that_stands_far_off_is_tied_to_its_point() -> None:
    crowd = [(0.5, 0.5), (0.51, 0.5), (0.5, 0.52), (0.51, 0.52)]
    axes = named_points(crowd).axes[0]
    assert any(isinstance(text, Annotation) and text.arrow_patch is not None for text in axes.texts)
    roomy = named_points([(0.2, 0.3), (0.8, 0.7)]).axes[0]
    assert [text for text in roomy.texts if isinstance(text, Annotation) and text.arrow_patch is not None] == []


@cache
def found_plateau() -> Plateau:
    """A small search, of which the figure is drawn in hard arrangements."""
    capped = scenario("road-coupe").replace({"limits.power": "300 kW"})
    with brief():
        return simlaunch.plateau(capped, "peak", targets=["60 ft"]).first


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("turns", [2, 5, 9])
@pytest.mark.parametrize("system", ["metric", "us"])
def test_limits_and_points_of_a_plateau_stand_clear(turns: int, width: float | None, system: str) -> None:
    found = found_plateau()
    causes = ("envelope", "rise of the curve", "rating of half shafts, in shocks", "more gains no time")
    places = np.linspace(0, turns, found.speeds.size, endpoint=False).astype(int)
    crowded = replace(found, binding=tuple(causes[k % len(causes)] for k in places), wish=found.front[found.knee])
    assert np.isfinite(found.chosen.peaks[Part.GEARBOX_INPUT])
    for each in (found, crowded):
        with on(width):
            clean(plateau_figure(each, LONG[0], system))
