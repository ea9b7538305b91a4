"""Held slip beside full pedal on random cars of every kind: how often it is the slower one, and by how much.

Run by hand: ``python tests/benchmarks/pedals.py [cars [first seed]]``.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import typer

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from cars import random_car
from simlaunch.record import Coupling, Pedal, ShiftKind
from simlaunch.simulation.run import Outcome, Run, launch

LATER = (0.5e-3, 5e-3, 10e-3)
"""Times by which held slip may come later [s]."""


def run(seed: int, pedal: Pedal) -> Run:
    """A launch of one random car over a quarter mile."""
    car = random_car(np.random.default_rng(seed))
    car.pedal.kind = int(pedal)
    return launch(car)


def kind(seed: int) -> str:
    """Coupling, shift and drive of a random car, for the table."""
    car = random_car(np.random.default_rng(seed))
    share = float(car.drive.front_share)
    drive = "locked" if car.drive.locked == 1 else {1.0: "front", 0.0: "rear"}.get(share, "open centre")
    coupling, shift = Coupling(int(car.coupling.kind)), ShiftKind(int(car.gearbox.shift_kind))
    return f"{coupling.name.lower()}, {shift.name.lower()}, {drive}"


def main(cars: int, first: int) -> None:
    """Print the cars on which held slip is the slower one, and the counts."""
    later: dict[int, float] = {}
    steps = dict.fromkeys(Pedal, 0)
    unfinished = dict.fromkeys(Pedal, 0)
    for seed in range(first, first + cars):
        runs = {pedal: run(seed, pedal) for pedal in (Pedal.FULL, Pedal.HELD_SLIP)}
        for pedal, one in runs.items():
            steps[pedal] += one.steps + one.rejected
            unfinished[pedal] += one.outcome is not Outcome.FINISHED
        if all(one.outcome is Outcome.FINISHED for one in runs.values()):
            later[seed] = float(runs[Pedal.HELD_SLIP].trace.time[-1] - runs[Pedal.FULL].trace.time[-1])
    for seed, seconds in sorted(later.items(), key=lambda each: -each[1]):
        if seconds > LATER[0]:
            typer.echo(f"{seed:4d}  {1e3 * seconds:+8.1f} ms  {kind(seed)}")
    for bar in LATER:
        typer.echo(f"later by more than {1e3 * bar:g} ms: {sum(each > bar for each in later.values())} of {len(later)}")
    typer.echo(f"mean of held slip less full pedal: {1e3 * float(np.mean(list(later.values()))):.0f} ms")
    for pedal in (Pedal.FULL, Pedal.HELD_SLIP):
        typer.echo(
            f"{pedal.name.lower()}: {steps[pedal] / cars:.0f} steps a launch, {unfinished[pedal]} did not finish"
        )


if __name__ == "__main__":
    given = [int(each) for each in sys.argv[1:3]]
    main(*given, *(200, 0)[len(given) :])
