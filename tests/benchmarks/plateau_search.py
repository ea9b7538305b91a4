"""Whether a dense grid of shapes beats the search of `plateau`, on ten cars of every drive and gearbox.

    python tests/benchmarks/plateau_search.py
    python tests/benchmarks/plateau_search.py --heights 60 --places 9 --cars "rear, clutch"

Each line: seconds and launches of the search, its quickest shape, the quickest of the grid, by how much the grid is
quicker (below zero: the search is), and by how much the proposal is slower than the quicker of the two. The grid is
refined around its best shapes, so that it is no coarser where it matters. Cars are invented; figures are printed,
nothing is judged.
"""

from __future__ import annotations

import argparse
import sys
import time
from math import pi
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from benchmarks.counting import Counter
from cars import Changes, all_drive_saloon, converter, coupe, front_hatch, full_load
from simlaunch.launching import launches
from simlaunch.launching.launches import Aim
from simlaunch.metrics.marks import Kind, Target
from simlaunch.ratings.limits import Limits
from simlaunch.record import Car, ShiftKind
from simlaunch.searching.plateau_search import highest_plateau
from simlaunch.searching.plateau_search_space import Point, SearchSpace

_CLUTCH: Changes = {}
_DUAL: Changes = {"gearbox.shift_kind": int(ShiftKind.TORQUE_HAND_OVER)}
_CONVERTER = {**converter(1.15), "coupling.capacity": 700.0, "coupling.lock_gear": 2, "coupling.lock_ratio": 0.88,
              "gearbox.shift_kind": int(ShiftKind.TORQUE_DIP), "gearbox.dip": 0.4,
              "launch.engine_speed": 2300.0 * pi / 30.0}  # fmt: skip
_DRIVES: dict[str, Changes] = {
    "rear": {},
    "front": {"drive.front_share": 1.0, "body.front_share": 0.60},
    "all": {"drive.front_share": 0.4},
}
_BOXES = {"clutch": _CLUTCH, "dual clutch": _DUAL, "converter": _CONVERTER}
_GRIPPY = {"road.friction_factor": 1.4}
_GRIP: tuple[tuple[float, float], ...] = (
    (1000, 190), (1700, 380), (2300, 500), (3000, 550), (4500, 550), (5300, 500), (6200, 420), (7100, 340),
)  # fmt: skip
_RISE = 200.0 / (1000.0 * pi / 30.0)
_QUARTER = Aim((Target("1/4 mile", Kind.DISTANCE, 0.0, 402.336),), (1.0,))


def cars() -> dict[str, Car]:
    """Every drive with every gearbox, and an all-drive car with a dual clutch on a gripping surface."""
    found = {f"{drive}, {box}": coupe({**_DRIVES[drive], **_BOXES[box]}) for drive in _DRIVES for box in _BOXES}
    found["front, dual clutch"], found["all, converter"] = front_hatch(), all_drive_saloon()
    strip = {**_DRIVES["all"], **_DUAL, **_GRIPPY, **full_load(_GRIP), "body.mass": 1800.0}
    return {**found, "all, dual clutch, strip": coupe(strip)}


def _grid(space: SearchSpace, heights: int, places: int) -> Point:
    """The quickest of a dense grid of heights, starts and ends, refined around its six best shapes."""
    across = np.linspace(0.0, 1.0, places)
    tall = np.linspace(0.3, 1.0, heights)
    near = space.launched([space.shape(h * space.top, a, b) for h in tall for a in across for b in across])
    steps = np.linspace(-1.0, 1.0, 5)
    for width in (1.0, 0.3):
        best = sorted((point for point in near if point.sound), key=lambda point: point.score)[:6]
        shapes = []
        for point in best:
            late, long = space.place(point.shape)
            for up in steps * width * 0.7 / heights:
                height = min(point.shape.height + up * space.top, space.top)
                shapes += [
                    space.shape(height, *np.clip((late + a, long + b), 0.0, 1.0))
                    for a in steps * width / places
                    for b in steps * width / places
                ]
        near = [*best, *space.launched(shapes)]
    return min((point for point in near if point.sound), key=lambda point: point.score)


def main() -> None:
    """Search and lay the grid for every car, and print a line for each."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--heights", type=int, default=40)
    options.add_argument("--places", type=int, default=7)
    options.add_argument("--power", type=float, default=275.0, help="cap of power [kW]")
    options.add_argument("--cars", nargs="*", help="names; all if left out")
    given, counter = options.parse_args(), Counter(launches)
    sys.stdout.write(f"{'':<26}{'s':>6}{'launches':>9}{'N m':>7}{'s':>9}{'N m':>7}{'grid, s':>9}{'beats, ms':>10}"
                     f"{'proposal, ms':>13}\n")  # fmt: skip
    for name, car in cars().items():
        if given.cars and name not in given.cars:
            continue
        space = SearchSpace(car, Limits(power=1e3 * given.power, rise=_RISE), _QUARTER)
        counter.launches, begun = 0, time.process_time()
        answer = highest_plateau(space)
        spent, count = time.process_time() - begun, counter.launches
        laid, best = _grid(space, given.heights, given.places), answer.quickest
        beats, slower = best.score - laid.score, answer.chosen.score - min(laid.score, best.score)
        sys.stdout.write(
            f"{name:<26}{spent:>6.1f}{count:>9}{best.shape.height:>7.0f}{best.score:>9.4f}{laid.shape.height:>7.0f}"
            f"{laid.score:>9.4f}{1e3 * beats:>10.2f}{1e3 * slower:>13.2f}\n"
        )
        sys.stdout.flush()


if __name__ == "__main__":
    main()
