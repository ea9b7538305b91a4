"""What is printed of a logged run: how it was understood, its marks, and use of grip."""

from __future__ import annotations

from collections.abc import Mapping
from math import isfinite
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from simlaunch.analysis.log import LoggedRun
from simlaunch.output.as_json import Object, group_object, listed, mark_object
from simlaunch.output.groups import rows
from simlaunch.output.layout import Table, block, paragraph, tables_text
from simlaunch.output.run import MEANING_OF_MARKS, marks_table
from simlaunch.output.trace import trace_columns
from simlaunch.output.words import Numbers
from simlaunch.readers.delimited import shown
from simlaunch.units.spelling import Dimension, System

_KNOWN_FROM_A_LOG = ("slip_distance", "greatest_slip")
"""What wheel speeds alone say of the use of grip."""


def _grip(logged: LoggedRun, numbers: Numbers) -> list[Table]:
    if logged.grip is None:
        return []
    known = rows("grip", [logged.grip], numbers, _KNOWN_FROM_A_LOG)
    return [Table("Grip use, from wheel speed", ("value",), tuple(known))]


def tables(logged: LoggedRun, system: System) -> tuple[Table, ...]:
    """Every table of a logged run, in the order of printing."""
    numbers = Numbers(system)
    return (marks_table(logged.marks, numbers), *_grip(logged, numbers))


def text(logged: LoggedRun, system: System) -> str:
    """A logged run as text of 80 columns."""
    understood = logged.account.understood
    if logged.radii is not None:
        front, rear = (f"{radius:.4g} m" for radius in logged.radii)
        understood = (*understood, f"effective rolling radius: front {front}, rear {rear}")
    blocks = [
        paragraph(f"Log {shown(Path(logged.source))}"),
        *block("Understood", understood),
        *block("Worth knowing", logged.account.notes),
        paragraph(f"{MEANING_OF_MARKS} -: not reached, or not defined."),
        *tables_text(tables(logged, system)),
    ]
    return "\n\n".join(blocks)


def summary(logged: LoggedRun, system: System) -> str:
    """Where the log comes from, and the last mark that it reached."""
    numbers = Numbers(system)
    reached = [result for result in logged.marks if isfinite(result.time)]
    if not reached:
        return f"{shown(Path(logged.source))}: no usual mark was reached."
    last = max(reached, key=lambda result: result.time)
    return f"{shown(Path(logged.source))}: {last.target.label} in {numbers.with_unit(last.time, Dimension.TIME)}."


def columns(logged: LoggedRun) -> Mapping[str, NDArray[np.float64]]:
    """Histories of the run."""
    return trace_columns(logged.trace)


def document(logged: LoggedRun, *, trace: bool = False) -> Object:
    """The JSON object; with the histories if they are wanted."""
    grip = None if logged.grip is None else group_object("grip", logged.grip, only=_KNOWN_FROM_A_LOG)
    return {
        "format": "simlaunch-log-1",
        "source": logged.source,
        "understood": list(logged.account.understood),
        "notes": list(logged.account.notes),
        **group_object("logged", logged),
        "start": None if logged.onset is None else group_object("onset", logged.onset),
        "marks": [mark_object(result) for result in logged.marks],
        "grip": grip,
        **({"trace": {key: listed(values) for key, values in columns(logged).items()}} if trace else {}),
    }
