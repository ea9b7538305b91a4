"""The look: lines that can be distinguished, labels that do not collide, text that is drawn as it stands."""

from __future__ import annotations

from itertools import combinations

import matplotlib as mpl
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.optimize import isotonic_regression

from simlaunch.errors import UsageError
from simlaunch.plotting.labels import rising, spread
from simlaunch.plotting.look import curve_style, gear_style, label_text, look, ordinal, plain, units_of
from simlaunch.units.spelling import Dimension

Array = NDArray[np.float64]

MAIN_LINES = 6

# IEC 61966-2-1 (sRGB to CIE XYZ, white D65), from memory.
XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
WHITE = XYZ @ np.ones(3)

# Machado, Oliveira and Fernandes, "A Physiologically-based Model for Simulation of Color Vision Deficiency", 2009,
# severity 1, on linear RGB; from memory.
SIGHT = {
    "all cones": np.eye(3),
    "no red cones": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "no green cones": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "no blue cones": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]
    ),
}


def linear(colour: str) -> Array:
    rgb = np.array([int(colour[i : i + 2], 16) / 255.0 for i in (1, 3, 5)])
    return np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)


def lab(rgb: Array) -> Array:
    """CIE 1976 lightness, green to red, blue to yellow."""
    x = XYZ @ np.clip(rgb, 0.0, 1.0) / WHITE
    f = np.where(x > 216 / 24389, np.cbrt(x), (24389 / 27 * x + 16) / 116)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def colours() -> list[str]:
    return [curve_style(index).colour for index in range(MAIN_LINES)]


def test_the_main_colours_differ_in_grey_print() -> None:
    lightness = [lab(linear(colour))[0] for colour in colours()]
    assert min(abs(a - b) for a, b in combinations(lightness, 2)) > 9.0


@pytest.mark.parametrize("sight", SIGHT)
def test_the_main_colours_differ_for_every_kind_of_sight(sight: str) -> None:
    seen = [lab(SIGHT[sight] @ linear(colour)) for colour in colours()]
    closest = min(float(np.linalg.norm(a - b)) for a, b in combinations(seen, 2))
    assert closest > 20.0, closest  # a difference of about 2 is just seen side by side (common practice)


def test_every_colour_stands_out_from_white() -> None:
    for colour in colours():
        assert 1.05 / (XYZ[1] @ linear(colour) + 0.05) > 2.0, colour


def test_no_two_lines_look_the_same() -> None:
    styles = [curve_style(index) for index in range(100)]
    styles += [style.with_rings() for style in styles[:MAIN_LINES]]
    styles += [gear_style(gear) for gear in range(1, 13)]
    assert len(set(styles)) == len(styles)


def test_the_main_lines_and_the_gears_differ_without_colour() -> None:
    styles = [curve_style(index) for index in range(MAIN_LINES)]
    styles += [style.with_rings() for style in styles]
    styles += [gear_style(gear) for gear in range(1, 13)]
    assert len({(style.dash, style.marker, style.hollow) for style in styles}) == len(styles)


def test_a_gear_has_as_many_dashes_in_a_group_as_its_number() -> None:
    for gear in range(1, 13):
        dash = gear_style(gear).dash
        assert len(dash) == 2 * gear
        assert max(dash) == dash[-1]


def test_ordinals() -> None:
    assert [ordinal(n) for n in (1, 2, 3, 4, 8, 11, 12)] == ["1st", "2nd", "3rd", "4th", "8th", "11th", "12th"]


def test_an_unknown_system_of_units_is_refused_with_the_choices() -> None:
    with pytest.raises(UsageError, match="no system of units is named 'imperial'; choose one of metric, us"):
        units_of("imperial")


def test_units_name_and_convert() -> None:
    units = units_of("us")
    assert units.axis("speed", Dimension.SPEED) == "speed [mph]"
    assert units.text(600.0 * 1.3558179483314004, Dimension.TORQUE) == "600 lb-ft"
    assert units.of(np.array([26.8224]), Dimension.SPEED) == pytest.approx([60.0])


@pytest.mark.parametrize("text", ["$x^2$", "<b>", "&amp;", "_hidden", r"\frac{1}{2}", "50 % €"])
def test_text_that_a_font_has_stays_as_typed(text: str) -> None:
    assert plain(text) == text


@pytest.mark.parametrize("text", ["\x1b[31mred", "\u202eback", "a\nb", "a\tb", "zero\u200bwidth", "\ud800"])
def test_characters_that_give_orders_are_not_drawn(text: str) -> None:
    assert plain(text).isprintable()
    assert set(plain(text)).isdisjoint("\x1b\u202e\n\t\u200b\ud800")


def test_a_character_that_the_font_lacks_shows_as_missing() -> None:
    assert plain("漢 car") == "\ufffd car"


@given(st.text(max_size=80))
def test_a_label_holds_the_whole_name_on_short_lines(name: str) -> None:
    lines = label_text(name).split("\n")
    assert all(len(line) <= 20 for line in lines)
    assert "".join(lines).replace(" ", "") == plain(name).replace(" ", "")


places = st.lists(st.tuples(st.floats(-50.0, 50.0), st.floats(0.1, 3.0)), min_size=1, max_size=12)


@given(places)
def test_labels_stand_clear_of_each_other_and_inside(wanted: list[tuple[float, float]]) -> None:
    wanted.sort()
    sizes = np.array([size for _, size in wanted])
    high = float(sizes.sum()) + 5.0
    found = spread([place for place, _ in wanted], sizes.tolist(), 0.0, high)
    assert np.all(np.diff(found) >= 0.5 * (sizes[1:] + sizes[:-1]) - 1e-9)
    assert found[0] >= 0.5 * sizes[0] - 1e-9
    assert found[-1] <= high - 0.5 * sizes[-1] + 1e-9


def test_numbers_are_made_to_rise_as_by_scipy() -> None:
    rng = np.random.default_rng(4)
    for count in (1, 2, 5, 30):
        for wanted in rng.normal(size=(50, count)):
            assert rising(wanted) == pytest.approx(isotonic_regression(wanted).x, rel=1e-12, abs=1e-12)


def test_labels_with_room_stay_where_they_are_wanted() -> None:
    assert spread([1.0, 4.0, 8.0], [1.0, 1.0, 1.0], 0.0, 10.0) == pytest.approx([1.0, 4.0, 8.0])


def test_labels_wanted_at_one_place_stand_around_it() -> None:
    assert spread([5.0, 5.0], [1.0, 1.0], 0.0, 10.0) == pytest.approx([4.5, 5.5])


def test_the_users_own_settings_come_back() -> None:
    with mpl.rc_context({"font.size": 31.0, "text.usetex": True}):
        with look():
            assert mpl.rcParams["font.size"] == 10.0
            assert mpl.rcParams["text.usetex"] is False
        assert mpl.rcParams["font.size"] == 31.0
        assert mpl.rcParams["text.usetex"] is True
