"""What is printed of several scenarios: the verdict of each, and a table of all."""

from __future__ import annotations

from collections.abc import Iterator

from simlaunch.comparing.compare import Comparison, Pair
from simlaunch.comparing.project import Project
from simlaunch.launching.goals import target_label
from simlaunch.output import compare as of_compare
from simlaunch.output.as_json import Object
from simlaunch.output.layout import Row, Table, paragraph, short, tables_text
from simlaunch.output.words import Numbers, sentences
from simlaunch.units.spelling import Dimension, System

_NO_PAIR = "One curve only: nothing is compared."


def _pairs(found: Project) -> Iterator[tuple[str, Comparison, Pair]]:
    for name, comparison in found.comparisons.items():
        yield from ((name, comparison, pair) for pair in comparison.pairs)


def tables(found: Project, system: System) -> tuple[Table, ...]:
    """Times of every pair of curves at the goal of its scenario."""
    numbers = Numbers(system)
    rows = (
        Row(
            f"{short(name, 20)}, {target_label(comparison.goal)}",
            "",
            (
                short(f"{pair.first.name} {first}", 22),
                short(f"{pair.second.name} {second}", 22),
                difference,
            ),
        )
        for name, comparison, pair in _pairs(found)
        for gap in (pair.full.at_goal,)
        for first, second, difference in (numbers.beside(gap.first.time, gap.second.time, Dimension.TIME),)
    )
    unit = numbers.unit(Dimension.TIME)
    return (Table(f"All scenarios, full pedal [{unit}]", ("first", "second", "gap"), tuple(rows)),)


def _verdict(comparison: Comparison, system: System) -> str:
    lines = [sentences(pair.verdict, system)[0] for pair in comparison.pairs]
    return " ".join([*of_compare.bad_runs(comparison), *lines]) or _NO_PAIR


def text(found: Project, system: System) -> str:
    """Who wins in each scenario, then a table of all, as text of 80 columns."""
    lines = [paragraph(f"{name}: {_verdict(each, system)}", "    ") for name, each in found.comparisons.items()]
    note = "Gap: second curve less first. Times of unlike cars, goals or roads are not one ranking."
    return "\n\n".join([*lines, *tables_text(tables(found, system)), paragraph(note)])


def full_text(found: Project, system: System) -> str:
    """Every table of every scenario, then the table of all."""
    lines = [f"{name}\n\n{of_compare.full_text(each, system)}" for name, each in found.comparisons.items()]
    return "\n\n\n".join([*lines, text(found, system)])


def summary(found: Project, system: System) -> str:
    """Who wins in each scenario."""
    return " ".join(f"{name}: {_verdict(each, system)}" for name, each in found.comparisons.items())


def document(found: Project, *, trace: bool = False) -> Object:
    """The JSON object: a list of what `compare` prints of each scenario, under its name."""
    return {
        "format": "simlaunch-project-1",
        "scenarios": [{"name": name, **each.to_dict(trace=trace)} for name, each in found.comparisons.items()],
    }
