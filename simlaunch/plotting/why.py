"""Where the gap between two curves comes from: torque and power, each span of engine speed marked by whom it helps."""

from __future__ import annotations

from collections.abc import Sequence
from math import isnan
from typing import Any, NamedTuple

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from simlaunch.comparing.attribution import Span
from simlaunch.comparing.compare import Pair
from simlaunch.launching.goals import WORTH_NAMING, target_label
from simlaunch.metrics.marks import Target
from simlaunch.physics.table import values_at
from simlaunch.plotting.labels import TIE, End, label_ends, spread
from simlaunch.plotting.look import (
    HATCHES,
    QUIET,
    LineStyle,
    Panels,
    Units,
    head_panel,
    in_our_look,
    is_narrow,
    key_or_labels,
    name_x,
    named,
    panel_size,
    plain,
    sheet,
    text_size,
)
from simlaunch.units.spelling import Dimension

Array = NDArray[np.float64]

_POINTS = 600
_ROWS = 2  # of seconds, in turn
_DROP = 0.13  # from one row to the next, as a share of the panel
_GAP = 0.06  # between neighbours in a row [in]
_PATCH = {"facecolor": "white", "edgecolor": "none", "pad": 0.4}  # so that no line runs through the seconds
_FONT: dict[str, Any] = {"fontsize": 9.0, "linespacing": 1.05}
_TOP = 1.42  # height of the torque panel over the highest torque: above the curves stand the seconds


@in_our_look
def why_figure(pair: Pair, styles: tuple[LineStyle, LineStyle], target: Target, units: Units) -> Figure:
    """Both curves, and what each span of engine speed adds to the gap between them.

    Parameters
    ----------
    pair : Pair
        The curves, with the spans in which they differ.
    styles : tuple of LineStyle
        Their lines.
    target : Target
        What the time is taken to.
    units : Units
        Units of display.

    Returns
    -------
    Figure
        Torque with the spans, and power below it.
    """
    names = (pair.first.name, pair.second.name)
    key, labels = key_or_labels(list(zip(names, styles, strict=True)))
    figure, rows = sheet(
        _title(pair, target), _lead(pair), Panels((2.6, 1.5), shared_x=True, labels=(labels, labels), key=key)
    )
    torque, power = rows[0][0], rows[1][0]
    spans = pair.why.spans if pair.why else ()
    speed = _speeds(pair)
    values = [np.asarray(values_at(runs.full.car.engine.torque, speed)) for runs in (pair.first, pair.second)]
    draw_torque(torque, pair, styles, units)
    shown = units.of(speed, Dimension.ROTATIONAL_SPEED)
    for name, line_style, each in zip(names, styles, values, strict=True):
        power.plot(shown, units.of(each * speed, Dimension.POWER), **line_style.drawing(), label=plain(name))
    most = max(float(units.of(each * speed, Dimension.POWER).max()) for each in values)
    power.set_ylim(0.0, 1.08 * most)
    for axes in (torque, power):
        axes.set_xlim(shown[0], shown[-1])
        for span in spans[1:]:
            place = float(units.of(np.array(span.start), Dimension.ROTATIONAL_SPEED))
            axes.axvline(place, color=QUIET, linewidth=0.8, zorder=0.8)
    name_x(torque, units.axis("engine speed", Dimension.ROTATIONAL_SPEED), shown=False)
    name_x(power, units.axis("engine speed", Dimension.ROTATIONAL_SPEED))
    head_panel(torque, units.axis("engine torque", Dimension.TORQUE))
    head_panel(power, units.axis("engine power", Dimension.POWER))
    for axes in (torque, power):
        label_ends(axes, [_end(line, name) for line, name in zip(axes.lines, names, strict=False) if name in labels])
    return figure


def _end(line: object, name: str) -> End:
    x, y = line.get_xdata(), line.get_ydata()  # type: ignore[attr-defined]
    return End(float(x[-1]), float(y[-1]), name, line.get_color())  # type: ignore[attr-defined]


def _speeds(pair: Pair) -> Array:
    """Engine speeds from where the curves begin to the rev limit [rad/s]."""
    engines = [runs.full.car.engine for runs in (pair.first, pair.second)]
    return np.linspace(min(float(each.torque.knot[0]) for each in engines), float(engines[0].rev_limit), _POINTS)


def draw_torque(axes: Axes, pair: Pair, styles: tuple[LineStyle, LineStyle], units: Units) -> None:
    """Torque of both curves; between them each span hatched as the curve that it helps, and above it the seconds."""
    speed = _speeds(pair)
    shown = units.of(speed, Dimension.ROTATIONAL_SPEED)
    one, other = (
        units.of(np.asarray(values_at(runs.full.car.engine.torque, speed)), Dimension.TORQUE)
        for runs in (pair.first, pair.second)
    )
    for values, line_style in zip((one, other), styles, strict=True):
        axes.plot(shown, values, **line_style.drawing())
    top = _TOP * float(max(one.max(), other.max()))
    axes.set_xlim(shown[0], shown[-1])
    axes.set_ylim(0.0, top)
    for span in pair.why.spans if pair.why else ():
        helped = int(span.full.share < 0.0)
        inside = (speed >= span.start) & (speed <= span.end)
        if abs(span.full.share) >= WORTH_NAMING:
            axes.fill_between(
                shown[inside], one[inside], other[inside], facecolor="none", edgecolor=styles[helped].colour,
                hatch=HATCHES[helped], linewidth=0.0, alpha=0.7,
            )  # fmt: skip
    _label_spans(axes, pair, styles, units, [np.array([shown, one]), np.array([shown, other])])


def span_words(span: Span) -> str:
    """What a span adds to the gap with full pedal, in as few words as fit above it."""
    if abs(span.full.share) >= WORTH_NAMING:
        return f"{abs(span.full.share):.2f} s"
    either = span.full.least <= -WORTH_NAMING and span.full.most >= WORTH_NAMING
    return "depends on the rest" if either else "level"


def _label_spans(
    axes: Axes, pair: Pair, styles: tuple[LineStyle, LineStyle], units: Units, lines: Sequence[Array]
) -> None:
    """The seconds of every span above it, on two heights in turn; tied to the span where they stand beside it."""
    figure, (left, right), top = axes.figure, axes.get_xlim(), axes.get_ylim()[1]
    assert isinstance(figure, Figure)
    width = panel_size(axes)[0]
    labels = [label for span in (pair.why.spans if pair.why else ()) if (label := _span_label(axes, span, pair, units))]
    for row in range(_ROWS):
        inside = labels[row::_ROWS]
        if not inside:
            continue
        sizes = [text_size(figure, label.text, **_FONT)[0] + _GAP for label in inside]
        wanted = [width * (label.middle - left) / (right - left) for label in inside]
        places = spread(wanted, sizes, 0.0, width)
        for label, place in zip(inside, places, strict=True):
            x = left + place / width * (right - left)
            beside = not label.ends[0] <= x <= label.ends[1]
            height = max(float(np.interp(label.middle, *line)) for line in lines)
            axes.annotate(
                label.text,
                (label.middle, min(1.02 * height, 0.7 * top)),
                (x, top * (0.985 - _DROP * row)),
                ha="center",
                va="top",
                color=QUIET if label.helped is None else styles[label.helped].colour,
                parse_math=False,
                arrowprops=TIE if beside else None,
                annotation_clip=False,
                bbox=_PATCH,
                **_FONT,
            )


class _SpanLabel(NamedTuple):
    """What stands above a span."""

    text: str
    ends: tuple[float, float]
    helped: int | None

    @property
    def middle(self) -> float:
        return 0.5 * sum(self.ends)


def _span_label(axes: Axes, span: Span, pair: Pair, units: Units) -> _SpanLabel | None:
    """The seconds of a span and whom they help; nothing where that is no difference and there is no room to say so."""
    first, last = units.of(np.array([span.start, span.end]), Dimension.ROTATIONAL_SPEED)
    ends, text = (float(first), float(last)), span_words(span).replace("on the", "on\nthe")
    if abs(span.full.share) < WORTH_NAMING:
        return _SpanLabel(text, ends, None) if _fits(axes, text, ends) else None
    helped = int(span.full.share < 0.0)
    if not is_narrow():
        text += f"\n{_short(axes, plain((pair.first.name, pair.second.name)[helped]))}"
    return _SpanLabel(text, ends, helped)


def _fits(axes: Axes, text: str, ends: tuple[float, float]) -> bool:
    """Whether a text is no wider than its span."""
    figure, (left, right) = axes.figure, axes.get_xlim()
    assert isinstance(figure, Figure)
    room = (ends[1] - ends[0]) / (right - left) * panel_size(axes)[0]
    return text_size(figure, text, **_FONT)[0] <= room


def _short(axes: Axes, name: str) -> str:
    """A name of at most so many columns that neighbours stay clear."""
    figure = axes.figure
    assert isinstance(figure, Figure)
    cut = name
    while len(cut) > 1 and text_size(figure, f"for {cut}", **_FONT)[0] > 1.05:
        cut = cut[:-1]
    return f"for {cut if cut == name else f'{cut}…'}"


def _title(pair: Pair, target: Target) -> str:
    gap = pair.full.at_goal.gap
    goal = plain(target_label(target))
    if isnan(gap) or pair.why is None or not pair.why.spans:
        return f"{goal}: torque and power of {named(pair.first.name)} and {named(pair.second.name)}"
    most = max(pair.why.spans, key=lambda span: abs(span.full.share))
    if (limits := pair.why.limits) and abs(limits.full.share) > max(abs(most.full.share), WORTH_NAMING):
        helped = named(pair.second.name if limits.full.share < 0.0 else pair.first.name)
        return f"{goal}: torque limits by gear decide most, {abs(limits.full.share):.2f} s for {helped}"
    if abs(most.full.share) < WORTH_NAMING:
        return f"{goal}: no span of engine speed makes a difference worth naming"
    helped = named(pair.second.name if most.full.share < 0.0 else pair.first.name)
    return f"{goal}: {most.name.value} decides most, {abs(most.full.share):.2f} s for {helped}"


def _lead(pair: Pair) -> str:
    if pair.why is None or not pair.why.spans:
        return ""
    return "Seconds above each span of engine speed: what it adds to the gap, and for which curve."
