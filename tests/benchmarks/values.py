"""Values of a scenario, side by side: one replaced against a whole reading, and cars in columns against one by one.

    python tests/benchmarks/values.py

Run by hand; ratios are printed, nothing is judged. Time is processor time, the least of several rounds. Every number
that replaces one is new. A whole reading meets texts that it has read before, as in every program that reads often.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from itertools import count
from pathlib import Path

import numpy as np
import typer

from simlaunch.parameters.fill import lower
from simlaunch.record import CAR
from simlaunch.scenario.reading import from_mapping, load
from simlaunch.sweeping.axes import axes
from simlaunch.sweeping.casting import Caster
from simlaunch.sweeping.plan import Draw, Plan, Sample

COUPE = load(Path(__file__).parents[2] / "scenarios" / "road-coupe.toml")
KEYS = {
    "body.mass": "1600 kg",
    "tyres.rear.friction": "1.1",
    "gearbox.shift.gap": "0.3 s",
    "engine.rev_limit": "6800 rpm",
}
VARIED = (
    "curve", "gear set", "tyre", "pedal", "body.mass: 1400 kg to 1700 kg", "final drive: 3 to 4",
    "road.grade: -3 % to 3 %", "launch.engine_speed: 2500 rpm to 4500 rpm",
    "tyres.rear.slip_stiffness: 18 to 26", "air.altitude: 0 m to 1500 m",
)  # fmt: skip
ROUNDS, ONE_BY_ONE, IN_COLUMNS = 5, 200, 4096


def least(work: Callable[[], object], times: int) -> float:
    """Processor time of one piece of work, of which a round does several [s]."""
    taken = []
    for _ in range(ROUNDS):
        begin = time.process_time()
        work()
        taken.append((time.process_time() - begin) / times)
    return min(taken)


def main() -> None:
    """Print how long a value takes both ways, and how many cars a second are made both ways."""
    data, numbers = COUPE.model_dump(exclude_unset=True), count(1)
    whole = least(lambda: [from_mapping(data, "whole") for _ in range(10)], 10)
    for key, text in KEYS.items():
        number, _, unit = text.partition(" ")
        own = float(number)

        def replace(key: str = key, own: float = own, unit: str = unit) -> None:
            for _ in range(100):
                COUPE.replace({key: f"{own - 1e-7 * next(numbers):.12g} {unit}".strip()})

        one = least(replace, 100)
        typer.echo(f"{key}: {1e3 * one:.3f} ms; a whole reading {1e3 * whole:.2f} ms, {whole / one:.0f} times as long")
    plan = Plan(axes(VARIED, COUPE), Sample(Draw.SOBOL, IN_COLUMNS, 2))
    caster = Caster(COUPE, plan)
    cases = plan.cases(0, ONE_BY_ONE)

    def one_by_one() -> None:
        np.array([lower(*caster.scenario_of(plan.texts(cases, row))) for row in range(ONE_BY_ONE)], CAR)

    def in_columns() -> None:
        fresh = Caster(COUPE, plan)
        for first in range(0, IN_COLUMNS, 512):
            fresh.cast(plan.cases(first, first + 512))

    alone, together = least(one_by_one, ONE_BY_ONE), least(in_columns, IN_COLUMNS)
    typer.echo(
        f"cars: {1 / together:.0f} a second in columns, {1 / alone:.0f} one by one, {alone / together:.0f} times"
    )


if __name__ == "__main__":
    typer.run(main)
