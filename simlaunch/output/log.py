"""What is printed of a logged run: how it was understood, its marks, and use of grip."""

from __future__ import annotations

from pathlib import Path

from simlaunch.analysis.log import LoggedRun
from simlaunch.output.layout import Row, Table, paragraph, tables_text
from simlaunch.output.run import marks_table
from simlaunch.output.words import Numbers
from simlaunch.readers.delimited import shown
from simlaunch.units.spelling import Dimension, System

_MEANING = (
    "Rollout: timed, and a distance measured, from one foot on. Line: speed there. 66 ft: mean speed over "
    "the last 66 ft. -: not reached, or not defined."
)


def _grip(logged: LoggedRun, numbers: Numbers) -> list[Table]:
    if logged.grip is None:
        return []
    values = {
        "slip distance": (logged.grip.slip_distance, Dimension.LENGTH),
        "greatest slip": (logged.grip.greatest_slip, Dimension.SHARE),
    }
    rows = [Row(label, numbers.unit(kind), (numbers.plain(value, kind),)) for label, (value, kind) in values.items()]
    return [Table("Grip use, from wheel speed", ("value",), tuple(rows))]


def log_tables(logged: LoggedRun, system: System) -> tuple[Table, ...]:
    """Every table of a logged run, in the order of printing."""
    numbers = Numbers(system)
    return (marks_table(logged.marks, numbers), *_grip(logged, numbers))


def _block(title: str, lines: tuple[str, ...]) -> list[str]:
    return ["\n".join([title, *(paragraph(line, "    ") for line in lines)])] if lines else []


def log_text(logged: LoggedRun, source: Path, system: System) -> str:
    """A logged run as text of 80 columns."""
    numbers = Numbers(system)
    understood = logged.account.understood
    if logged.radii is not None:
        front, rear = (f"{radius:.4g} m" for radius in logged.radii)
        understood = (*understood, f"effective rolling radius: front {front}, rear {rear}")
    blocks = [
        paragraph(f"Log {shown(source)}"),
        *_block("Understood", understood),
        *_block("Worth knowing", logged.account.notes),
        paragraph(_MEANING),
        *tables_text(log_tables(logged, numbers.system)),
    ]
    return "\n\n".join(blocks)
