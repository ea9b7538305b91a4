"""What is printed of a logged run: how it was understood, its marks, and use of grip."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import isfinite
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from simlaunch.analysis.log import LoggedRun
from simlaunch.logged.wheels import AXLES, WheelUse
from simlaunch.metrics.crossing import with_distance
from simlaunch.output.as_json import Object, group_object, listed, mark_object
from simlaunch.output.groups import cells, heads, rows
from simlaunch.output.layout import Row, Table, block, paragraph, tables_text
from simlaunch.output.run import MEANING_OF_MARKS, marks_table
from simlaunch.output.trace import trace_columns
from simlaunch.output.words import Numbers
from simlaunch.readers.delimited import shown
from simlaunch.units.spelling import Dimension, System

_KNOWN_FROM_A_LOG = ("slip_distance", "greatest_slip")
"""What wheel speeds alone say of the use of grip."""

_ALIKE = 0.002  # wheels that run equally far to this share of the way are alike [-]


def _grip(logged: LoggedRun, numbers: Numbers) -> list[Table]:
    if logged.grip is None:
        return []
    known = rows("grip", [logged.grip], numbers, _KNOWN_FROM_A_LOG)
    return [Table("Grip use, from wheel speed", ("value",), tuple(known))]


def _wheels(logged: LoggedRun, numbers: Numbers) -> list[Table]:
    if len(logged.wheels) < 2:
        return []  # one axle alone is the use of grip
    each = tuple(Row(wheel.name, "", cells("wheel_use", wheel, numbers)) for wheel in logged.wheels)
    return [Table("Wheelspin", heads("wheel_use", numbers), each)]


def side_by_side(wheels: Sequence[WheelUse], numbers: Numbers, way: float) -> list[str]:
    """How much farther one wheel of an axle ran than the other, over some way of the car [m]."""
    said = []
    for axle in AXLES:
        sides = {each.side: each for each in wheels if each.axle == axle and each.side}
        if not sides:
            continue
        more = sides["left"].slip_distance - sides["right"].slip_distance
        if not abs(more) > _ALIKE * way:
            said.append(f"{axle} axle: both wheels ran equally far, to {100.0 * _ALIKE:.1f} % of the way")
            continue
        far, near = ("left", "right") if more > 0.0 else ("right", "left")
        length = numbers.with_unit(abs(more), Dimension.LENGTH)
        said.append(
            f"{axle} axle: the tread of the {far} wheel ran {length} farther than that of the {near} one; on a "
            "straight road with like tyres that is its wheelspin alone"
        )
    return said


def tables(logged: LoggedRun, system: System) -> tuple[Table, ...]:
    """Every table of a logged run, in the order of printing."""
    numbers = Numbers(system)
    return (marks_table(logged.marks, numbers), *_grip(logged, numbers), *_wheels(logged, numbers))


def _sides(logged: LoggedRun, numbers: Numbers) -> list[str]:
    return side_by_side(logged.wheels, numbers, float(with_distance(logged.trace)["distance"][-1]))


def text(logged: LoggedRun, system: System) -> str:
    """A logged run as text of 80 columns."""
    understood = logged.account.understood
    if logged.radii is not None:
        front, rear = (f"{radius:.4g} m" for radius in logged.radii)
        understood = (*understood, f"effective rolling radius: front {front}, rear {rear}")
    blocks = [
        paragraph(f"Log {shown(Path(logged.source))}"),
        *block("Understood", understood),
        *block("Worth knowing", [*logged.account.notes, *_sides(logged, Numbers(system))]),
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
        "wheels": [{"wheel": each.name, **group_object("wheel_use", each)} for each in logged.wheels],
        **({"trace": {key: listed(values) for key, values in columns(logged).items()}} if trace else {}),
    }
