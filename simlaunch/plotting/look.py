"""The look of every figure: lines, text, units on axes, and where things stand on the sheet."""

from __future__ import annotations

import warnings
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from functools import cache, lru_cache, wraps
from typing import Any, ParamSpec, TypeVar
from weakref import WeakKeyDictionary

import numpy as np
from matplotlib import font_manager, style
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import RendererAgg
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.text import Text
from matplotlib.ticker import FuncFormatter, LogLocator, NullLocator
from numpy.typing import NDArray

from simlaunch.output.layout import clean, short
from simlaunch.quantities import quantity
from simlaunch.units.quantity import display_unit
from simlaunch.units.spelling import Dimension, System, system_named

Array = NDArray[np.float64]
P = ParamSpec("P")
R = TypeVar("R")

FONT = "DejaVu Sans"
DPI = 160
"""Dots per inch of a PNG; text is measured at the same, so that labels stand where they were planned."""

INK = "#1b1b1b"
QUIET = "#5c5c5c"
SHADE = "#e4e2dd"
BAND = "#a39e93"

_LOOK: Mapping[str, Any] = {
    "font.family": [FONT],
    "font.size": 10.0,
    "axes.labelsize": 10.0,
    "xtick.labelsize": 9.5,
    "ytick.labelsize": 9.5,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.edgecolor": QUIET,
    "axes.labelcolor": INK,
    "axes.grid": True,
    "axes.axisbelow": True,
    "axes.unicode_minus": True,
    "grid.color": "#dddad4",
    "grid.linewidth": 0.6,
    "xtick.color": QUIET,
    "ytick.color": QUIET,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "text.color": INK,
    "text.usetex": False,
    "text.parse_math": False,
    "lines.dash_capstyle": "butt",
    "hatch.linewidth": 0.9,
    "svg.fonttype": "path",
    "svg.hashsalt": "simlaunch",
}

HATCHES = ("//", "\\\\", "||", "--", "xx", "++")
"""Patterns of areas, one for each curve in turn."""

_WIDTH = 6.6  # of a sheet that stands alone; all lengths of the layout are in inches
_MARGIN = 0.14
_LEFT = 0.62
_HEADING = 0.30  # above each panel
_TICKS = 0.24  # below a panel that shows its ticks
_AXIS_NAME = 0.24  # below the ticks, where the axis is named
_BETWEEN_COLUMNS = 0.55
_LABEL_COLUMNS = 20

LEADER = 0.16
"""Between a panel and its labels [in]."""

_COLOURS = ("#0d1b2a", "#d1492c", "#3450b4", "#ccb02c", "#5c1a6a", "#43a184")
_DASHES: tuple[tuple[float, ...], ...] = (
    (),
    (5.0, 1.6),
    (1.6, 1.2),
    (7.0, 1.5, 1.5, 1.5),
    (3.0, 1.0, 1.0, 1.0, 1.0, 1.0),
    (9.0, 3.0),
)
_MARKERS = ("", "s", "^", "D", "v", "P", "X", "<", ">", "*", "p", "h", "8", "d", "H", "1", "2", "3", "4", "+")


_ON_PAGE: Mapping[str, Any] = {"svg.fonttype": "none", "path.simplify_threshold": 0.4}
"""Settings of a figure that is part of a page: text stays text, so that the page's own fonts are used."""

_NARROW = 5.0

_page_width: ContextVar[float | None] = ContextVar("page_width", default=None)
_words: WeakKeyDictionary[Figure, tuple[str, str]] = WeakKeyDictionary()


@contextmanager
def look() -> Iterator[None]:
    """Settings under which figures are made and written; whatever the user's own settings are, they rest meanwhile."""
    on_page_ = _page_width.get() is not None
    with style.context(["default", {**_LOOK, **(_ON_PAGE if on_page_ else {})}]), warnings.catch_warnings():
        if on_page_:  # a browser has more characters than our font
            warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        yield


@contextmanager
def on_page(width: float) -> Iterator[None]:
    """Make figures for a page: of some width [in], and without title and lead, which the page sets itself."""
    token = _page_width.set(width)
    try:
        yield
    finally:
        _page_width.reset(token)


def is_narrow() -> bool:
    """Whether figures are now made for a page as wide as a telephone."""
    width = _page_width.get()
    return width is not None and width < _NARROW


def words_of(figure: Figure) -> tuple[str, str]:
    """Title and lead of a sheet, whether they are drawn on it or left to a page."""
    return _words.get(figure, ("", ""))


def _width() -> float:
    """Width of a sheet [in]."""
    return _page_width.get() or _WIDTH


def in_our_look(make: Callable[P, R]) -> Callable[P, R]:
    """A function that makes a figure, run under our settings."""

    @wraps(make)
    def made(*args: P.args, **kwargs: P.kwargs) -> R:
        with look():
            return make(*args, **kwargs)

    return made


@dataclass(frozen=True)
class LineStyle:
    """What distinguishes one line from the others: colour, dashes, and markers where there are many lines."""

    colour: str
    dash: tuple[float, ...]
    width: float
    marker: str = ""
    hollow: bool = False

    def drawing(self) -> dict[str, Any]:
        """Keywords for `Axes.plot` and `Line2D`."""
        return {
            "color": self.colour,
            "linestyle": (0, self.dash) if self.dash else "-",
            "linewidth": self.width,
            "marker": self.marker or "None",
            "markerfacecolor": "white" if self.hollow else self.colour,
            "markersize": 5.5,
            "markeredgewidth": 1.2,
        }

    def with_rings(self) -> LineStyle:
        """The same line, thinner and with rings on it: held slip beside full pedal."""
        return LineStyle(self.colour, self.dash, 0.7 * self.width, "o", hollow=True)


def curve_style(index: int) -> LineStyle:
    """Style of a curve by its place in the scenario; no two of the first hundred look the same."""
    group, place = divmod(index, len(_COLOURS))
    return LineStyle(_COLOURS[place], _DASHES[place], 2.2, _MARKERS[group % len(_MARKERS)])


def gear_style(gear: int) -> LineStyle:
    """Style of a gear's ceiling: a thin line of dashes in groups of as many as the gear's number."""
    return LineStyle(QUIET, (*((3.0, 1.6) * gear)[:-1], 6.0), 1.3)


def markers_apart(style_: LineStyle) -> dict[str, Any]:
    """Keyword that spaces markers along a line, if it has any."""
    return {"markevery": 0.11} if style_.marker else {}


@cache
def _glyphs() -> frozenset[int]:
    return frozenset(font_manager.get_font(font_manager.findfont(FONT)).get_charmap())


def plain(text: str) -> str:
    """Text of a user on one line, safe to draw; characters that the font lacks show as the sign for that.

    On a page they stay, since the reader's fonts have them.
    """
    if _page_width.get() is not None:
        return clean(text)
    return "".join(c if ord(c) in _glyphs() else "\ufffd" for c in clean(text))


def named(name: str, most: int = 32) -> str:
    """A curve's name within a sentence, cut to so many columns."""
    return f"“{plain(short(name, most))}”"


def ordinal(number: int) -> str:
    """1st, 2nd, 3rd, 4th and so on, up to 20."""
    return f"{number}{ {1: 'st', 2: 'nd', 3: 'rd'}.get(number, 'th') }"


def units_of(system: str) -> Units:
    """Units of a system given by name.

    Raises
    ------
    UsageError
        No system of that name.
    """
    return Units(system_named(system))


@dataclass(frozen=True)
class Units:
    """Conversion of SI numbers for display, and the naming of axes."""

    system: System

    def of(self, values: Array, dimension: Dimension) -> Array:
        """Numbers in the unit of display."""
        return display_unit(dimension, self.system).of(values)

    def axis(self, quantity: str, dimension: Dimension) -> str:
        """Name of an axis: quantity and unit."""
        return f"{quantity} [{display_unit(dimension, self.system).label}]"

    def axis_of(self, channel: str) -> str:
        """Name of an axis that shows a channel of a trace."""
        found = quantity(f"channel.{channel}")
        return self.axis(found.label, found.dimension)

    def text(self, value: float, dimension: Dimension, digits: int = 0) -> str:
        """One number with its unit."""
        unit = display_unit(dimension, self.system)
        return f"{unit.of(value):.{digits}f} {unit.label}"


@dataclass(frozen=True)
class Panels:
    """What stands below the title: rows of panels, in columns of the same width.

    Parameters
    ----------
    heights : sequence of float
        Height of each row [in].
    columns : int
        Panels side by side.
    shared_x : bool
        Whether all rows have the same horizontal axis, so that only the lowest names it.
    labels : sequence of sequences of str
        For each row, the labels that need room to the right of its panels.
    key : sequence of tuple of str and LineStyle
        Lines named above the panels.
    """

    heights: Sequence[float]
    columns: int = 1
    shared_x: bool = True
    labels: Sequence[Sequence[str]] = ()
    key: Sequence[tuple[str, LineStyle]] = ()


def text_size(figure: Figure, text: str, **font: Any) -> tuple[float, float]:
    """Width and height of a text [in]; characters that the font lacks count as wide ones."""
    known = "".join(c if ord(c) in _glyphs() or c == "\n" else "M" for c in text)
    return _size(known, figure.dpi, tuple(sorted(font.items())))


@lru_cache(maxsize=4096)  # lines are wrapped by trial, and a page shows the same words in pictures of two widths
def _size(text: str, dpi: float, font: tuple[tuple[str, Any], ...]) -> tuple[float, float]:
    trial = Text(0.0, 0.0, text, parse_math=False, **dict(font))
    figure, renderer = _measuring(dpi)
    trial.set_figure(figure)
    box = trial.get_window_extent(renderer)
    return box.width / dpi, box.height / dpi


@cache
def _measuring(dpi: float) -> tuple[Figure, RendererAgg]:
    """What a text is measured with; making it takes longer than measuring."""
    return Figure(dpi=dpi), RendererAgg(1, 1, dpi)  # type: ignore[no-untyped-call]


def _wrapped(figure: Figure, text: str, width: float, **font: Any) -> str:
    """Text on lines of at most this width; a word that is wider is broken."""
    lines = [""]
    for word in text.split(" "):
        longer = f"{lines[-1]} {word}".lstrip()
        if not lines[-1] or text_size(figure, longer, **font)[0] <= width:
            lines[-1] = longer
        else:
            lines.append(word)
        while (fits := _fitting(figure, lines[-1], width, **font)) < len(lines[-1]):
            lines[-1:] = [lines[-1][:fits], lines[-1][fits:]]
    return "\n".join(lines)


def _fitting(figure: Figure, line: str, width: float, **font: Any) -> int:
    """How many characters of a line have room in a width, at least one."""
    count = len(line)
    while count > 1 and text_size(figure, line[:count], **font)[0] > width:
        count -= 1
    return count


def label_text(name: str) -> str:
    """A label beside a panel: the whole name, on as many lines as it takes."""
    lines: list[str] = [""]
    for word in plain(name).split(" "):
        if lines[-1] and len(lines[-1]) + 1 + len(word) > _LABEL_COLUMNS:
            lines.append("")
        lines[-1] = f"{lines[-1]} {word}".lstrip()
    return "\n".join(line[i : i + _LABEL_COLUMNS] for line in lines for i in range(0, len(line) or 1, _LABEL_COLUMNS))


class _Head:
    """Title, lead and key at the top of a sheet, placed from the upper edge down."""

    def __init__(self, figure: Figure) -> None:
        self.figure = figure
        self.used = _MARGIN
        self._texts: list[tuple[Text, float]] = []
        self._samples: list[tuple[Line2D, float]] = []

    def write(self, text: str, gap: float, **font: Any) -> None:
        text = _wrapped(self.figure, text, _width() - 2 * _MARGIN, **font)
        self._put(text, _MARGIN, **font)
        self.used += text_size(self.figure, text, **font)[1] + gap

    def key(self, entries: Sequence[tuple[str, LineStyle]]) -> None:
        x, sample, row = _MARGIN, 0.42, 0.2
        self.used += 0.05 if entries else 0.0
        for name, line_style in entries:
            text = _wrapped(self.figure, plain(name), _width() - 2 * _MARGIN - sample - 0.1)
            wide, tall = text_size(self.figure, text)
            if x > _MARGIN and x + sample + 0.08 + wide > _width() - _MARGIN:
                x, self.used, row = _MARGIN, self.used + row, 0.2
            self._sample(x, sample, line_style)
            self._put(text, x + sample + 0.08)
            x, row = x + sample + wide + 0.33, max(row, tall + 0.06)
        self.used += row if entries else 0.0

    def _sample(self, x: float, length: float, line_style: LineStyle) -> None:
        ends = [x / _width(), (x + 0.5 * length) / _width(), (x + length) / _width()]
        line = Line2D(ends, [0.0] * 3, markevery=[1], **line_style.drawing())
        self.figure.add_artist(line)
        self._samples.append((line, self.used + 0.07))

    def _put(self, text: str, x: float, **font: Any) -> None:
        artist = self.figure.text(x / _width(), 0.0, text, va="top", parse_math=False, **font)
        self._texts.append((artist, self.used))

    def settle(self, height: float) -> None:
        """Place everything, now that the height of the sheet is known."""
        for text, down in self._texts:
            text.set_y(1.0 - down / height)
        for line, down in self._samples:
            line.set_ydata([1.0 - down / height] * 3)


def sheet(title: str, lead: str, panels: Panels) -> tuple[Figure, list[list[Axes]]]:
    """A figure with its title, a line of explanation below it, and empty panels, row by row.

    On a page, title and lead are left to the page, which finds them by `words_of`. Rows grow where the labels beside
    them need more height.
    """
    figure = Figure(figsize=(_width(), 4.0), dpi=DPI, facecolor="white")
    head = _Head(figure)
    _words[figure] = (title, lead)
    alone = _page_width.get() is None
    if alone:
        head.write(title, 0.07, fontsize=12.0, fontweight="bold", linespacing=1.15)
    if lead and alone:
        head.write(lead, 0.02, color=QUIET, linespacing=1.15)
    head.key(panels.key)
    sizes = [[text_size(figure, label_text(label)) for label in row] for row in panels.labels]
    gutter = LEADER + max((wide for row in sizes for wide, _ in row), default=0.0)
    needs = [sum(tall + 0.05 for _, tall in row) for row in sizes] or [0.0] * len(panels.heights)
    heights = [max(pair) for pair in zip(panels.heights, needs, strict=True)]
    between = 0.02 if panels.shared_x else _TICKS + _AXIS_NAME
    total = head.used + sum(heights) + len(heights) * (_HEADING + between)
    total += (_TICKS + _AXIS_NAME - between) + _MARGIN
    figure.set_size_inches(_width(), total)
    head.settle(total)
    room = _width() - _LEFT - _MARGIN - gutter * bool(sizes) - (panels.columns - 1) * _BETWEEN_COLUMNS
    width, rows, top = room / panels.columns, [], head.used
    for height in heights:
        bottom = total - top - _HEADING - height
        lefts = [_LEFT + i * (width + _BETWEEN_COLUMNS) for i in range(panels.columns)]
        boxes = [(x / _width(), bottom / total, width / _width(), height / total) for x in lefts]
        rows.append([figure.add_axes(box) for box in boxes])
        top += _HEADING + height + between
    return figure, rows


def key_or_labels(lines: Sequence[tuple[str, LineStyle]]) -> tuple[Sequence[tuple[str, LineStyle]], list[str]]:
    """Where lines are named: beside their ends, or in a key above the panels where there is no room beside them."""
    return (lines, []) if is_narrow() else ((), [name for name, _ in lines])


def head_panel(axes: Axes, text: str) -> None:
    """Name the vertical axis above its upper end, where it can be read without turning the page."""
    axes.set_ylabel(text, rotation=0.0, ha="left", va="bottom", parse_math=False)
    left = -(_LEFT - _MARGIN) / panel_size(axes)[0]
    axes.yaxis.set_label_coords(left, 1.0 + 0.07 / panel_size(axes)[1])


def name_x(axes: Axes, text: str, *, shown: bool = True) -> None:
    """Name the horizontal axis at its right end, or leave it to the panel below."""
    if shown:
        axes.set_xlabel(text, ha="right", x=1.0, labelpad=2.0, parse_math=False)
    else:
        axes.tick_params(axis="x", labelbottom=False, length=0.0)


def log_slip(axes: Axes, low: float, high: float) -> None:
    """A slip axis by powers of ten; what is not above zero is left out."""
    axes.set_yscale("log", nonpositive="mask")
    axes.set_ylim(low, high)
    axes.yaxis.set_major_locator(LogLocator(numticks=8))
    axes.yaxis.set_minor_locator(NullLocator())
    axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))


def panel_size(axes: Axes) -> tuple[float, float]:
    """Width and height of a panel [in]."""
    figure = axes.figure
    assert isinstance(figure, Figure)
    box, (wide, tall) = axes.get_position(), figure.get_size_inches()
    return float(box.width * wide), float(box.height * tall)
