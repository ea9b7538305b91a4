"""Figures of several scenarios: the gap at the goal of each, as a bar."""

from __future__ import annotations

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from simlaunch.comparing.project import Project
from simlaunch.plotting.look import INK, Panels, curve_style, head_panel, in_our_look, plain, sheet


@in_our_look
def project_figure(found: Project) -> Figure:
    """The gap of every pair of curves at the goal of its scenario."""
    rows = sum(len(each.pairs) for each in found.comparisons.values())
    labels = [[f"{name}" for name in found.comparisons]]
    figure, panels = sheet(
        f"{len(found.comparisons)} scenarios: gap at the goal of each",
        "Right of zero the second curve is slower, left of it quicker than the first.",
        Panels((0.4 + 0.34 * rows,), labels=labels),
    )
    _draw(panels[0][0], found)
    return figure


def figures(found: Project, system: str) -> dict[str, Figure]:
    """The gap of every scenario."""
    return {"gaps": project_figure(found)} if any(each.pairs for each in found.comparisons.values()) else {}


def draw(axes: Axes, found: Project, system: str) -> None:
    """The same on axes of the caller."""
    _draw(axes, found)


def _draw(axes: Axes, found: Project) -> None:
    pairs = [(name, pair) for name, each in found.comparisons.items() for pair in each.pairs]
    gaps = [pair.full.at_goal.gap for _, pair in pairs]
    axes.barh(range(len(pairs)), gaps, color=curve_style(1).colour, height=0.6)
    axes.axvline(0.0, color=INK, linewidth=0.8)
    axes.set_yticks([])
    axes.invert_yaxis()
    for place, (name, _) in enumerate(pairs):
        axes.annotate(plain(name), (1.01, place), xycoords=("axes fraction", "data"), va="center", fontsize=9.5)
    head_panel(axes, "second curve less first [s]")
