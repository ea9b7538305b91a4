"""What is said of logs beside calculated runs: their times with what they scatter by, and the differences."""

from __future__ import annotations

from math import isfinite
from pathlib import Path

from simlaunch.analysis.log_beside import LogsBeside, MarkBeside, WheelBeside
from simlaunch.launching.goals import WORTH_NAMING
from simlaunch.metrics.marks import Target
from simlaunch.output.clock import FROM_FOOT, mark_name, row_label, time_zero
from simlaunch.output.layout import Row, Table, short
from simlaunch.output.words import Numbers
from simlaunch.units.spelling import Dimension

_LONGEST = 16  # name of a run in the head of a column
WHAT_IT_IS = (
    "A calculated time is that of the car as it is described; a log is that of one car, one road and one driver on one "
    "day. Where they differ, the description, the conditions or the driving differ; a log does not say which. "
    f"{FROM_FOOT}"
)


def table(found: LogsBeside, numbers: Numbers) -> Table:
    """Every mark: logged, its scatter where there are several logs, then each calculated run with its difference."""
    rows = tuple(_row(found, row_label(each.target), each, Dimension.TIME, numbers) for each in found.marks)
    return Table("Times, logged and calculated", _heads(found), rows)


def wheels_table(found: LogsBeside, numbers: Numbers) -> Table | None:
    """Slip distance of each axle and wheel, logged and calculated; None where the logs show none."""
    if not found.wheels:
        return None
    rows = tuple(_row(found, each.name, each, Dimension.LENGTH, numbers) for each in found.wheels)
    title = f"Slip distance up to {numbers.with_unit(found.wheels_until, Dimension.SPEED)}"
    return Table(title, _heads(found), rows)


def _row(found: LogsBeside, label: str, each: MarkBeside | WheelBeside, dimension: Dimension, numbers: Numbers) -> Row:
    cells = [numbers.plain(each.logged.mean, dimension)]
    cells += [numbers.plain(each.logged.scatter, dimension)] if len(found.logs) > 1 else []
    for value in each.calculated:
        cells += numbers.beside(each.logged.mean, value, dimension)[1:]
    return Row(label, numbers.unit(dimension), tuple(cells))


def _heads(found: LogsBeside) -> tuple[str, ...]:
    logged = ("logged, mean", "scatter") if len(found.logs) > 1 else ("logged",)
    runs = (head for run in found.runs for head in (short(run.name, _LONGEST), "less logged"))
    return (*logged, *runs)


def sentence(found: LogsBeside, numbers: Numbers, wanted: Target | None = None) -> str:
    """One mark in words: logged, and how far each calculated run is from that."""
    each = (found.mark(wanted) if wanted else None) or found.last
    if each is None:
        return "The logs reach no usual mark that a calculated run reaches."
    scatter = ""
    if len(found.logs) > 1:
        spread = f"{each.logged.scatter:.3f} s" if isfinite(each.logged.scatter) else "not known"
        scatter = f" (mean of {len(found.logs)} logs, standard deviation {spread})"
    runs = "; ".join(_run(run.name, each, k, numbers) for k, run in enumerate(found.runs))
    return f"{mark_name(each.target)} takes {each.logged.mean:.3f} s in the log{scatter}. Calculated: {runs}."


def _run(name: str, each: MarkBeside, place: int, numbers: Numbers) -> str:
    value, called = each.calculated[place], short(name, 32)
    if not isfinite(value):
        return f'not reached with "{called}"'
    gap = float(numbers.beside(each.logged.mean, value, Dimension.TIME)[2])
    said = f"{abs(gap):.3f} s {'slower' if gap > 0.0 else 'quicker'}" if abs(gap) >= WORTH_NAMING else "level with it"
    return f'{numbers.with_unit(value, Dimension.TIME)} with "{called}", {said}'


def conditions(found: LogsBeside) -> str:
    """What was done about the weather and the grade of the day of each log."""
    if not any(log.corrected for log in found.logs):
        return "The logs are not corrected for the weather, the wind or the grade of their day."
    each = (f"{short(Path(log.source).name, 30)}: {log.corrected}" for log in found.logs)
    return (
        "Drag, rolling resistance and grade of each log are brought from its day to the conditions of the scenario, as "
        f"its file states them ({'; '.join(each)}). Grip, load and the driver are not corrected."
    )


def wheels(found: LogsBeside) -> str:
    """What the slip distances are; empty where there are none."""
    if not found.wheels:
        return ""
    return (
        "Slip distance: how much farther the tread of an axle or a wheel ran than the car, by the radii of the tyres, "
        "up to a speed that every run reaches. Where the sides of an axle are alike in the calculated car, both its "
        "wheels slip alike. A bend lets the outer wheel run farther, and an axle that is not driven shows by how much "
        "the radius is off."
    )


def zero(found: LogsBeside, numbers: Numbers) -> str:
    """Where time zero is."""
    return time_zero(found.aligned_at, found.known_to, numbers)
