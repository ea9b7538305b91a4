"""Odds in a picture: how the difference between two curves is spread over the cases."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from simlaunch.analysis.odds import Odds
from simlaunch.launching.goals import target_label
from simlaunch.output.odds import tally
from simlaunch.plotting.look import (
    HATCHES,
    INK,
    Array,
    Panels,
    Units,
    curve_style,
    head_panel,
    in_our_look,
    is_narrow,
    name_x,
    named,
    sheet,
    units_of,
)
from simlaunch.units.spelling import Dimension

_FEWEST_BINS, _MOST_BINS = 12, 48
_EDGE = 0.001  # least width of the picture on either side of level [s]


@in_our_look
def odds_figure(odds: Odds, system: str) -> Figure:
    """Cases by their difference; those in which either curve is quicker are hatched in its own way.

    Parameters
    ----------
    odds : Odds
        Two curves under uncertain values.
    system : str
        ``"metric"`` or ``"us"``.

    Returns
    -------
    Figure
        One panel.

    Raises
    ------
    UsageError
        No system of units of that name.
    """
    units = units_of(system)
    key = tuple(
        (f"{name} quicker in {tally(odds, chance).count}", curve_style(index))
        for index, (name, chance) in enumerate(((odds.first, odds.first_quicker), (odds.second, odds.second_quicker)))
    )
    figure, rows = sheet(_title(odds), _lead(odds), Panels((2.8,), key=key))
    axes = rows[0][0]
    gaps = odds.difference[np.isfinite(odds.difference)]
    _draw(axes, gaps, units)
    what = "difference" if is_narrow() else f"time of {named(odds.second)} less time of {named(odds.first)}"
    name_x(axes, units.axis(what, Dimension.TIME))
    head_panel(axes, "share of the cases [%]")
    return figure


def figures(odds: Odds, system: str) -> dict[str, Figure]:
    """How the difference is spread."""
    return {"difference": odds_figure(odds, system)}


def draw(axes: Axes, odds: Odds, system: str) -> None:
    """How the difference is spread, on axes of the caller."""
    units = units_of(system)
    _draw(axes, odds.difference[np.isfinite(odds.difference)], units)
    axes.set_xlabel(units.axis(f"time of {named(odds.second)} less time of {named(odds.first)}", Dimension.TIME))
    axes.set_ylabel("share of the cases [%]")


def _bins(gaps: Array) -> Array:
    """Edges of the bars; level is one of them, so that no bar counts for both curves."""
    low, high = min(float(gaps.min(initial=0.0)), -_EDGE), max(float(gaps.max(initial=0.0)), _EDGE)
    count = int(np.clip(2.0 * np.cbrt(gaps.size), _FEWEST_BINS, _MOST_BINS))
    spread = float(np.ptp(gaps)) if gaps.size else 0.0
    width = max(spread, _EDGE) / count
    first, last = int(np.floor(low / width)), int(np.ceil(high / width))
    return width * np.arange(first, last + 1, dtype=np.float64)


def _draw(axes: Axes, gaps: Array, units: Units) -> None:
    edges = _bins(gaps)
    counts, _ = np.histogram(gaps, edges)
    shares = 100.0 * counts / max(gaps.size, 1)
    middles = 0.5 * (edges[:-1] + edges[1:])
    for index, side in enumerate((middles > 0.0, middles < 0.0)):
        axes.bar(
            units.of(middles[side], Dimension.TIME),
            shares[side],
            width=float(np.diff(edges)[0]),
            facecolor="none",
            edgecolor=curve_style(index).colour,
            hatch=HATCHES[index],
            linewidth=0.8,
        )
    axes.axvline(0.0, color=INK, linewidth=1.2)
    if gaps.size:
        axes.axvline(float(np.median(gaps)), color=INK, linewidth=1.2, linestyle=(0, (5.0, 2.0)))
    axes.set_ylim(0.0, max(1.0, 1.1 * float(shares.max(initial=0.0))))


def _title(odds: Odds) -> str:
    ahead, behind, chance = odds.first, odds.second, odds.first_quicker
    if odds.second_quicker.share > chance.share:
        ahead, behind, chance = odds.second, odds.first, odds.second_quicker
    how_often = tally(odds, chance).words("cases")
    return f"{named(ahead)} is quicker over {target_label(odds.target)} than {named(behind)} {how_often}"


def _lead(odds: Odds) -> str:
    missed = sum(odds.missed)
    left_out = f" {missed} launches missed the target and are not drawn." if missed else ""
    return f"Full line: level. Dashed line: half of the cases lie on either side.{left_out}"
