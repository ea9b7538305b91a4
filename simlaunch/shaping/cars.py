"""One shaped curve on several cars: whether it wins on all of them."""

from __future__ import annotations

from collections.abc import Mapping
from math import isnan, nan
from typing import Any

from simlaunch.errors import SimlaunchError
from simlaunch.launching.goals import WORTH_NAMING, goal, target_label
from simlaunch.output.layout import Row, Table, clean, short
from simlaunch.output.words import Numbers
from simlaunch.shaping.answers import Answers, table_object
from simlaunch.shaping.states import State
from simlaunch.units.spelling import Dimension

Object = dict[str, Any]

_LONGEST = 22  # of a name in a cell


def on_every_car(cars: Mapping[str, Answers], state: State) -> Object:
    """Times of the shaped curve on every car as it is described, against the curve that each is set against at first.

    Parameters
    ----------
    cars : mapping of str to Answers
        The cars, by the names of their files.
    state : State
        Its points are launched; what else was changed belongs to one car, and is left out.

    Returns
    -------
    dict
        A table, and a sentence.
    """
    rows, gaps, whys = [], {}, {}
    for name, answers in cars.items():
        start, numbers = answers.start, answers.numbers
        aimed = target_label(goal(start.scenario))
        label = f"{clean(name)}, {aimed}, against {short(start.against, _LONGEST)}"
        try:
            one, other = answers.goal_times(State(state.points, start.against, (), (), ()))
        except SimlaunchError as error:
            whys[name] = _why(error)
            one = other = nan
        gaps[name] = other - one
        rows.append(Row(label, numbers.unit(Dimension.TIME), numbers.beside(one, other, Dimension.TIME)))
    shaped = next(iter(cars.values())).start.name
    table = Table("Every car as described, full pedal", ("its own curve", shaped, "difference"), tuple(rows))
    return {"table": table_object(table), "text": _sentence(gaps, whys, next(iter(cars.values())).numbers)}


def _why(error: SimlaunchError) -> str:
    """The first fault of an error."""
    lines = [line.strip() for line in str(error).splitlines() if line.strip()]
    return clean(lines[min(1, len(lines) - 1)])


def _sentence(gaps: Mapping[str, float], whys: Mapping[str, str], numbers: Numbers) -> str:
    """On how many cars the curve is quicker, and on which it is not."""
    known = {name: gap for name, gap in gaps.items() if not isnan(gap)}
    wins = [name for name, gap in known.items() if gap <= -WORTH_NAMING]
    if len(wins) == len(gaps):
        return f"The shaped curve is quicker on {'both' if len(gaps) == 2 else f'all {len(gaps)}'} cars."
    said = []
    for name, gap in gaps.items():
        if name in wins:
            continue
        words = whys.get(name, "not reached") if isnan(gap) else numbers.gap_words(gap, "slower", "quicker")
        said.append(f"{clean(name)}: {words}")
    how_many = f"{len(wins)} of {len(gaps)} cars" if wins else f"none of the {len(gaps)} cars"
    return f"The shaped curve is quicker on {how_many}; {'; '.join(said).rstrip('.')}."
