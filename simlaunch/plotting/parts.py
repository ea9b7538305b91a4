"""What the parts take, in a picture: steady pull and peak over the rating, part by part and curve by curve."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.container import BarContainer
from matplotlib.figure import Figure

from simlaunch.analysis.parts import DrivelineLoads, Level, PartLoad
from simlaunch.errors import UsageError
from simlaunch.output.layout import short
from simlaunch.output.parts import more_overloads
from simlaunch.plotting.look import (
    HATCHES,
    INK,
    QUIET,
    Panels,
    Units,
    curve_style,
    head_panel,
    in_our_look,
    is_narrow,
    label_text,
    name_x,
    named,
    plain,
    sheet,
    units_of,
)
from simlaunch.scenario.decision import PartRating
from simlaunch.units.spelling import Dimension

_BAR = 0.22  # height of a bar on the sheet [in]
_NAME_ABOVE = 0.5  # room for the name of a part above its bars, and between the parts [in]
_FLAG = {Level.OVER_RATING: ", over rating", Level.OVER_FAILURE: ", over expected failure"}


@in_our_look
def parts_figure(found: DrivelineLoads, system: str) -> Figure:
    """Steady pull and peak of every rated part over its rating, a bar for each curve; a flag in words where it is over.

    Parameters
    ----------
    found : DrivelineLoads
        What the parts take.
    system : str
        ``"metric"`` or ``"us"``.

    Returns
    -------
    Figure
        One panel.

    Raises
    ------
    UsageError
        No system of units of that name, or no part with a rating.
    """
    units = units_of(system)
    order = _rated(found)
    labels = [found.loads[0].parts[k].name for k in order]
    key = tuple((load.curve, curve_style(index)) for index, load in enumerate(found.loads))
    space = _BAR * len(found.loads) + (_NAME_ABOVE if is_narrow() else 0.25)
    height = max(1.2, space * len(order))
    beside = () if is_narrow() else (labels,)
    figure, rows = sheet(_title(found), _LEAD, Panels((height,), labels=beside, key=key))
    axes = rows[0][0]
    _draw(axes, found, order, units)
    _name_parts(axes, labels)
    axes.tick_params(axis="y", length=0.0)
    axes.grid(visible=False, axis="y")
    name_x(axes, "torque over rating [%]")
    head_panel(axes, "part")
    return figure


def figures(found: DrivelineLoads, system: str) -> dict[str, Figure]:
    """Loads of the rated parts; nothing where no part has a rating."""
    return {"ratings": parts_figure(found, system)} if found.scenario.parts else {}


def draw(axes: Axes, found: DrivelineLoads, system: str) -> None:
    """Loads of the rated parts, on axes of the caller; the key names the curves."""
    order = _rated(found)
    _draw(axes, found, order, units_of(system))
    axes.set_yticks(range(len(order)), [label_text(found.loads[0].parts[k].name) for k in order])
    axes.set_xlabel("torque over rating [%]")
    bars = [_bar(axes, 0.0, 0.0, 0.0, index) for index in range(len(found.loads))]
    axes.legend(bars, [plain(load.curve) for load in found.loads])


def _rated(found: DrivelineLoads) -> list[int]:
    """Rated parts, the nearest to its rating first."""
    order = [k for k in found.ranked() if found.loads[0].parts[k].rating]
    if not order:
        raise UsageError("no part of the scenario has a rating; there is nothing to draw")
    return order


def _name_parts(axes: Axes, labels: list[str]) -> None:
    """Names of the parts beside the bars, or above them where there is no room beside them."""
    if not is_narrow():
        axes.set_yticks(range(len(labels)), [label_text(label) for label in labels])
        axes.yaxis.tick_right()
        return
    axes.set_yticks([])
    for row, label in enumerate(labels):
        axes.text(2.0, row - 0.42, plain(short(label, 36)), va="bottom", fontsize=9.5, fontweight="bold", color=INK)


_LEAD = "Bars: steady pull, kept to the full line. Diamonds: peaks, kept to the ticks (expected failure)."


def _rating(part: PartLoad) -> PartRating:
    assert part.rating is not None, "only rated parts are drawn"
    return part.rating


def _text(part: PartLoad, share: float, units: Units) -> str:
    rating = units.text(_rating(part).rating.si, Dimension.TORQUE)
    return f"{share:.1f} % of {rating} steady{_FLAG.get(part.level, '')}"


def _draw(axes: Axes, found: DrivelineLoads, order: list[int], units: Units) -> None:
    count = len(found.loads)
    thickness = 0.8 / count
    longest = 100.0
    for row, k in enumerate(order):
        for index, load in enumerate(found.loads):
            part, place = load.parts[k], row + thickness * (index - 0.5 * (count - 1))
            share = 100.0 * float(np.nan_to_num(part.demand.steady))
            peak = 100.0 * float(np.nan_to_num(part.torque)) / _rating(part).rating.si
            longest = max(longest, share, peak)
            axes.plot([peak], [place], marker="D", markersize=4.5, color=curve_style(index).colour)
            _bar(axes, place, share, thickness, index)
            axes.text(2.0, place, _text(part, share, units), va="center", fontsize=8.5, color=INK, bbox=_PATCH)
        failure = 100.0 * (1.0 + _rating(found.loads[0].parts[k]).reserve.si)
        axes.plot([failure] * 2, [row - 0.42, row + 0.42], color=QUIET, linewidth=2.0)
        longest = max(longest, failure)
    axes.axvline(100.0, color=INK, linewidth=1.4)
    axes.set_xlim(0.0, 1.05 * longest)
    axes.set_ylim(len(order) - 0.5, -0.75 if is_narrow() else -0.5)


_PATCH = {"facecolor": "white", "edgecolor": "none", "pad": 1.0}


def _bar(axes: Axes, place: float, share: float, thickness: float, index: int) -> BarContainer:
    return axes.barh(
        place,
        share,
        height=0.9 * thickness,
        facecolor="none",
        edgecolor=curve_style(index).colour,
        hatch=HATCHES[index % len(HATCHES)],
        linewidth=1.0,
    )


def _title(found: DrivelineLoads) -> str:
    if not found.broken:
        return "Every part stays within what it is allowed"
    curve, part = found.broken[0]
    allowed = "torque of expected failure, in shocks" if part.demand.in_shocks else "rating, in steady pull"
    share = f"{100.0 * part.demand.share:.0f} % of its {allowed}"
    more = f"; {more_overloads(len(found.broken) - 1)}" if len(found.broken) > 1 else ""
    return f"{named(curve)} loads {named(part.name)} with {share}{more}"
