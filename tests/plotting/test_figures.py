"""The figures themselves, made from every demonstration scenario in both systems of units."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from dataclasses import replace
from io import BytesIO
from itertools import combinations
from math import nan
from pathlib import Path
from xml.etree import ElementTree

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.image import imread
from matplotlib.text import Annotation, Text
from matplotlib.transforms import Bbox

from plotting.compared import CARS, Found, figures, found, of_comparison
from simlaunch.analysis.usable import CurveSurplus, GearCeiling, UsableTorque, usable
from simlaunch.comparing.compare import Comparison, compare
from simlaunch.errors import UsageError
from simlaunch.plotting.look import DPI
from simlaunch.plotting.run import run_figure
from simlaunch.plotting.save import as_bytes, drawn
from simlaunch.plotting.usable import usable_figure
from simlaunch.scenario.reading import load
from simlaunch.simulation.events import EventKind
from simlaunch.simulation.run import Outcome

ROOT = Path(__file__).resolve().parents[2]
SYSTEMS = ("metric", "us")
HOSTILE = ("$x^2$", "<b>&amp;</b>", "_hidden", "\x1b[31m\u202ered", "漢字 $\\frac", "W" * 80)


def texts(figure: Figure) -> list[str]:
    return [text.get_text() for text in figure.findobj(Text)]


def written(figure: Figure) -> Iterator[Text]:
    """Every text but the numbers on the axes."""
    yield from figure.texts
    for axes in figure.axes:
        yield from (axes.xaxis.label, axes.yaxis.label, *axes.texts)


def extents(figure: Figure) -> list[tuple[str, Bbox]]:
    """Every text with the box that it takes, leaders left out."""
    figure.draw_without_rendering()  # everything finds its place
    shown = [text for text in written(figure) if text.get_text().strip()]
    return [(text.get_text(), Text.get_window_extent(text)) for text in shown]


def inside(box: Bbox, figure: Figure) -> bool:
    sheet = figure.bbox
    return bool(sheet.x0 <= box.x0 < box.x1 <= sheet.x1 and sheet.y0 <= box.y0 < box.y1 <= sheet.y1)


every_figure = pytest.mark.parametrize("key", ["gap", "slip", "torque", "usable", "run", "held"])
every_scenario = pytest.mark.parametrize("stem", CARS)
every_system = pytest.mark.parametrize("system", SYSTEMS)


@every_scenario
@every_system
def test_a_comparison_has_its_figures(stem: str, system: str) -> None:
    compared = found(stem).comparison
    why = ["why"] if len(compared.pairs) == 1 else [f"why-{k}" for k in range(1, len(compared.pairs) + 1)]
    assert list(of_comparison(stem, system)) == ["gap", "slip", *why, "torque"]


@every_scenario
@every_system
@every_figure
def test_no_text_covers_another_or_leaves_the_sheet(stem: str, system: str, key: str) -> None:
    figure = figures(stem, system)[key]
    boxes = extents(figure)
    assert len(boxes) > 3
    for (one, a), (other, b) in combinations(boxes, 2):
        assert not a.overlaps(b), (one, other)
    for name, box in boxes:
        assert inside(box, figure), name


@every_scenario
@every_system
@every_figure
def test_every_axis_that_is_named_has_a_unit(stem: str, system: str, key: str) -> None:
    for axes in figures(stem, system)[key].axes:
        assert "[" in axes.get_ylabel()
        assert not axes.get_xlabel() or "[" in axes.get_xlabel()


def test_units_follow_the_system() -> None:
    shown = {
        system: " ".join(text for figure in figures("road-coupe", system).values() for text in texts(figure))
        for system in SYSTEMS
    }
    for metric, us in (("[km/h]", "[mph]"), ("[N m]", "[lb-ft]"), ("distance [m]", "distance [ft]")):
        assert metric in shown["metric"]
        assert metric not in shown["us"]
        assert us in shown["us"]
        assert us not in shown["metric"]


def test_lines_are_drawn_in_the_units_of_the_axis() -> None:
    trace = found("road-coupe").comparison.runs[0].full.run.trace
    for system, factor in (("metric", 3.6), ("us", 3600.0 / 1609.344)):  # a mile is 1609.344 m (NIST SP 811)
        line = figures("road-coupe", system)["gap"].axes[0].lines[0]
        assert np.max(line.get_ydata()) == pytest.approx(float(trace["speed"].max()) * factor, rel=1e-9)


@every_scenario
@every_figure
def test_lines_that_share_a_panel_differ_without_colour(stem: str, key: str) -> None:
    for axes in figures(stem, "metric")[key].axes:
        lines = [line for line in axes.lines if line.get_linestyle() != "None" and np.size(line.get_xdata()) > 2]
        looks = [(line._unscaled_dash_pattern, line.get_marker()) for line in lines]  # type: ignore[attr-defined]
        assert len(set(map(str, looks))) == len(looks)


@every_scenario
def test_every_curve_and_every_near_gear_is_named_at_its_line(stem: str) -> None:
    axes = figures(stem, "metric")["usable"].axes[0]
    named = {text.get_text().replace("\n", " ") for text in axes.texts}
    assert set(found(stem).usable.curves) <= named
    assert "1st gear" in named


def test_the_central_picture_says_what_stands_above_the_tyres() -> None:
    title = figures("road-coupe", "metric")["torque"].texts[0].get_text().replace("\n", " ")
    shares = {each.curve: each.share_of_area for each in found("road-coupe").usable.surplus if each.gear == 1}
    assert title == (
        "Hatched area, more than the tyres can use in 1st gear: "
        f"{100 * shares['peak']:.0f} % of “peak”, {100 * shares['plateau']:.0f} % of “plateau”"
    )
    calm = figures("all-drive-grip", "metric")["torque"].texts[0].get_text().replace("\n", " ")
    assert calm == "With the coupling closed, every curve stays below what the tyres can use in every gear"


def test_hatching_covers_a_curve_exactly_where_it_is_above_the_lowest_ceiling() -> None:
    have = made_usable()
    axes = usable_figure(have, "metric").axes[0]
    hatched = np.asarray(axes.collections[0].get_paths()[0].vertices)
    above = have.engine_speed[have.curves["a"] > 300.0] * 30.0 / np.pi
    assert hatched[:, 1].min() == pytest.approx(300.0)
    assert hatched[:, 1].max() == pytest.approx(have.curves["a"].max())
    assert hatched[:, 0].min() <= above[0]
    assert hatched[:, 0].max() >= above[-1]
    assert axes.collections[0].get_hatch()


def test_far_ceilings_are_left_out_and_named() -> None:
    figure = usable_figure(made_usable(), "metric")
    assert {text.get_text() for text in figure.axes[0].texts} == {"a", "1st gear"}
    lead = figure.texts[1].get_text().replace("\n", " ")
    assert "The ceilings of 2nd and 3rd gear lie above this picture, at 2000 N m and more." in lead


def test_a_ceiling_that_is_not_known_everywhere_is_drawn_where_it_is() -> None:
    have = made_usable()
    partly = np.where(np.arange(50) < 25, np.nan, 300.0)
    first = replace(have.ceilings[0], usable=partly)
    figure = usable_figure(replace(have, ceilings=(first, *have.ceilings[1:])), "metric")
    assert as_bytes(figure, "svg")
    assert "1st gear" in texts(figure)


def test_only_the_compared_curves_are_drawn() -> None:
    scenario = load(ROOT / "scenarios" / "front-hatch.toml")
    compared = compare(scenario, ["as delivered", "more top"])
    torque = compared.figures("metric")["torque"]
    assert "more top" in texts(torque)
    assert "more peak" not in " ".join(texts(torque))


def test_the_gap_figure_states_the_gaps() -> None:
    pair = found("road-coupe").comparison.pairs[0]
    title = figures("road-coupe", "metric")["gap"].texts[0].get_text().replace("\n", " ")
    words = [
        f"{abs(gap):.2f} s {'slower' if gap > 0.0 else 'quicker'}"
        for gap in (pair.full.at_goal.gap, pair.held.at_goal.gap)
    ]
    assert title == (f"1/4 mile: “plateau” is {words[0]} than “peak” with full pedal, {words[1]} with held slip")


def with_gap(comparison: Comparison, gap: float) -> Comparison:
    pair = comparison.pairs[0]
    full = replace(pair.full, at_goal=replace(pair.full.at_goal, gap=gap))
    return replace(comparison, pairs=(replace(pair, full=full),))


@pytest.mark.parametrize(
    ("gap", "words"),
    [
        (nan, "not to be compared with full pedal (the goal was not reached)"),
        (0.004, "as quick as “peak” with full pedal"),
        (-0.25, "0.25 s quicker than “peak” with full pedal"),
        (0.25, "0.25 s slower than “peak” with full pedal"),
    ],
)
def test_every_kind_of_gap_has_its_words(gap: float, words: str) -> None:
    have = found("road-coupe")
    made = with_gap(have.comparison, gap).figures("metric")["gap"]
    assert words in made.texts[0].get_text().replace("\n", " ")


def test_a_run_marks_its_shifts_in_every_panel() -> None:
    simulation = found("road-coupe").comparison.runs[0].full
    happened = [event.kind for event in simulation.run.trace.events]
    shifts = happened.count(EventKind.SHIFT_BEGINS)
    assert shifts == happened.count(EventKind.GEAR_CLOSES) > 2
    figure = figures("road-coupe", "metric")["run"]
    assert len(figure.axes) == 5
    assert all(len(axes.patches) >= shifts for axes in figure.axes)
    gears = [text.get_text() for text in figure.axes[1].texts]
    assert gears == [str(gear + 1) for gear in range(shifts + 1)]


def test_only_driven_axles_are_drawn() -> None:
    assert "front axle" not in texts(figures("road-coupe", "metric")["run"])
    assert "rear axle" not in texts(figures("front-hatch", "metric")["run"])
    assert {"front axle", "rear axle"} <= set(texts(figures("all-drive-saloon", "metric")["run"]))


def test_a_run_that_did_not_finish_says_so() -> None:
    simulation = found("road-coupe").comparison.runs[0].full
    stopped = replace(simulation, run=replace(simulation.run, outcome=Outcome.TIME_LIMIT))
    lead = run_figure(stopped, "metric").texts[1].get_text().replace("\n", " ")
    assert "Not finished: the time limit came first" in lead


def test_an_unknown_system_is_refused() -> None:
    have = found("road-coupe")
    with pytest.raises(UsageError, match="choose one of metric, us"):
        have.comparison.figures("imperial")
    with pytest.raises(UsageError, match="choose one of metric, us"):
        usable_figure(have.usable, "")
    with pytest.raises(UsageError, match="choose one of metric, us"):
        run_figure(have.comparison.runs[0].full, "Metric")


# --- hostile names -------------------------------------------------------------------------------------------------


def renamed(have: Found, names: tuple[str, ...]) -> Found:
    """The same results under other names; curves are repeated until there is one for each name."""
    runs = tuple(
        replace(have.comparison.runs[i % len(have.comparison.runs)], name=name) for i, name in enumerate(names)
    )
    pairs = tuple(replace(have.comparison.pairs[0], first=runs[0], second=other) for other in runs[1:])
    torque = list(have.usable.curves.values())
    curves = {name: torque[i % len(torque)] for i, name in enumerate(names)}
    old = list(have.usable.curves)
    surplus = tuple(
        replace(each, curve=name)
        for i, name in enumerate(names)
        for each in have.usable.surplus
        if each.curve == old[i % len(old)]
    )
    usable_torque = replace(have.usable, curves=curves, surplus=surplus)
    return Found(replace(have.comparison, runs=runs, pairs=pairs, usable=usable_torque), usable_torque)


@pytest.mark.parametrize("names", [HOSTILE, (HOSTILE[0], HOSTILE[1]), (HOSTILE[2], HOSTILE[5])])
def test_hostile_names_are_drawn_as_they_stand(names: tuple[str, ...]) -> None:
    have = renamed(found("road-coupe"), names)
    for key, figure in have.comparison.figures("metric").items():
        everything = "".join(texts(figure)).replace("\n", "")
        for name in names:
            of_another_pair = key.startswith("why-") and name not in (names[0], names[int(key[4:])])
            if name.isprintable() and name.isascii() and not of_another_pair:
                assert name in everything, (key, name)
        assert not any(text.get_parse_math() for text in written(figure))
        assert all(inside(box, figure) for _, box in extents(figure))
        assert set("\x1b\u202e").isdisjoint(everything)
        ElementTree.fromstring(as_bytes(figure, "svg"))
        assert as_bytes(figure, "png").startswith(b"\x89PNG")


def test_a_hostile_name_in_the_title_of_a_run_is_drawn_as_it_stands() -> None:
    simulation = replace(found("road-coupe").comparison.runs[0].full, curve="$x^2$ <b>")
    figure = run_figure(simulation, "metric")
    assert "“$x^2$ <b>”" in figure.texts[0].get_text()
    ElementTree.fromstring(as_bytes(figure, "svg"))


def test_many_curves_with_long_names_keep_their_labels_apart() -> None:
    have = renamed(found("road-coupe"), tuple(f"calibration number {i} with a longer name" for i in range(12)))
    for figure in have.comparison.figures("us").values():
        figure.draw_without_rendering()
        for axes in figure.axes:
            boxes = [Text.get_window_extent(text) for text in axes.texts if isinstance(text, Annotation)]
            assert not any(a.overlaps(b) for a, b in combinations(boxes, 2))


# --- files ---------------------------------------------------------------------------------------------------------


def made_usable() -> UsableTorque:
    """Curves and ceilings made up of straight lines."""
    speed = np.linspace(100.0, 700.0, 50)
    torque = np.interp(speed, [100.0, 300.0, 700.0], [200.0, 400.0, 250.0])
    ceilings = tuple(GearCeiling(gear, np.full(50, level), speed / 10.0 * gear) for gear, level in
                     ((1, 300.0), (2, 2000.0), (3, 3000.0)))  # fmt: skip
    surplus = (CurveSurplus("a", 1, 0.2, 100.0, 200.0, 600.0),)
    own = usable(load(ROOT / "scenarios" / "road-coupe.toml"))
    return replace(own, engine_speed=speed, curves={"a": torque}, ceilings=ceilings, surplus=surplus)


def test_the_same_figure_gives_the_same_bytes() -> None:
    have = found("road-coupe")
    made = [have.comparison.figures("metric") for _ in range(2)]
    for kind in ("svg", "png"):
        one, other = ({key: as_bytes(figure, kind) for key, figure in each.items()} for each in made)
        assert one == other


def test_another_process_gives_the_same_bytes() -> None:
    code = (
        "import sys; sys.path.insert(0, sys.argv[1]); from plotting.test_figures import made_usable, usable_figure;"
        "from simlaunch.plotting.save import as_bytes;"
        "sys.stdout.buffer.write(as_bytes(usable_figure(made_usable(), 'metric'), 'svg'))"
    )
    run = subprocess.run([sys.executable, "-c", code, str(ROOT / "tests")], capture_output=True, check=True, cwd=ROOT)
    assert run.stdout == as_bytes(usable_figure(made_usable(), "metric"), "svg")


def test_the_users_settings_change_nothing() -> None:
    usual = as_bytes(usable_figure(made_usable(), "metric"), "svg")
    with mpl.rc_context(
        {"font.size": 30.0, "axes.facecolor": "black", "svg.hashsalt": "other", "savefig.bbox": "tight"}
    ):
        assert as_bytes(usable_figure(made_usable(), "metric"), "svg") == usual


def test_files_bear_no_date() -> None:
    content = as_bytes(usable_figure(made_usable(), "metric"), "svg")
    assert b"<dc:date>" not in content
    assert b"Matplotlib" not in as_bytes(usable_figure(made_usable(), "metric"), "png")


def test_figures_are_written_in_both_formats() -> None:
    figure = usable_figure(made_usable(), "metric")
    files = drawn({"torque": figure, "again": figure}, "car")
    assert list(files) == [
        "car-torque.png",
        "car-torque.svg",
        "car-again.png",
        "car-again.svg",
    ]
    height, width, _ = imread(BytesIO(files["car-torque.png"])).shape
    assert (width, height) == tuple(int(side * DPI) for side in figure.get_size_inches())
    ElementTree.fromstring(files["car-torque.svg"])


@pytest.mark.parametrize("stem", ["../up", "a/b", "..", "", "a b\n"])
def test_no_stem_leads_out_of_the_folder(stem: str) -> None:
    for name in drawn({"torque": usable_figure(made_usable(), "metric")}, stem):
        assert Path(name).name == name
        assert name.isprintable()
