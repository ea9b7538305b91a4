"""How often 95 % intervals of `fit` hold the truth: four kinds of car, with and without engine speed, and with logs of
a car that is simpler than the fitted one (rigid half shafts, a body that hardly pitches).

    python tests/benchmarks/fit_coverage.py [LOGS] [CAR ...] [+VALUE ...]

Cars are named by their scenario; with "+rolling resistance" that value is fitted beside the usual ones.
A line for each log of which a value lies more than twice as far away as its interval reaches, then one for each cell:
how many of each value's intervals hold the truth, how many fits may not be used, and the worst of those that may.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).parents[1]))

from fit.driven import FINE, Logger, columns, write
from simlaunch.errors import InputError
from simlaunch.fitting.fit import fit as fitted
from simlaunch.fitting.histories import last_until
from simlaunch.fitting.logs import LogRequest
from simlaunch.parameters.fill import lower
from simlaunch.record import Pedal
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.reading import from_mapping, load
from simlaunch.simulation.run import launch
from simlaunch.simulation.trace import Trace

SCENARIOS = Path(__file__).parents[2] / "scenarios"
CARS = {
    "rear, manual": "road-coupe",
    "front, manual": "front-hatch",
    "all-drive, dual clutch": "all-drive-grip",
    "all-drive, converter": "all-drive-saloon",
}
NAMES = ["friction", "curve scale", "drag area"]
DURATION = 7.0
_PITCH = 10.0
_FAR = 2.0


def bare(name: str) -> Scenario:
    """A scenario of which nothing is known beforehand."""
    path = SCENARIOS / f"{name}.toml"
    data = load(path).model_dump(exclude_unset=True)
    data.pop("uncertain", None)
    return from_mapping(data, name)


def run(scenario: Scenario, friction: float, scale: float, area: float, *, rigid: bool) -> Trace:
    """A run with other values; rigid: of another, simpler car."""
    car = lower(scenario.replace({"body.drag_area": f"{area:.7g} m^2"}), scenario.curve_names[0], Pedal.FULL)
    car.road.friction_factor = friction
    car.engine.torque.cubic *= scale
    if rigid:
        car.drive.rigid, car.body.pitch_frequency = 1, _PITCH * car.body.pitch_frequency
    last_until(car, DURATION)
    return launch(car, sample_gap=FINE).trace


def held(
    scenario: Scenario, folder: Path, *, engine: bool, rigid: bool, logs: int
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """For each log and value, how far the truth lies from the fitted value in half widths; and which are not usable."""
    rng, away, bad = np.random.default_rng(7), [], []
    own = lower(scenario, scenario.curve_names[0], Pedal.FULL)
    for n in range(logs):
        drawn = np.array([own.road.friction_factor, 1.0, own.body.drag_area]) * rng.normal([0.95, 1.0, 1.0], 0.03)
        trace = run(scenario, *map(float, drawn), rigid=rigid)
        found = columns(trace, Logger(50.0, 0.05, engine_noise=0.0 if engine else None), np.random.default_rng(n))
        if engine:
            found["Engine Speed [rpm]"] = np.round(found["Engine Speed [rpm]"])
        try:
            fit = fitted(scenario, [LogRequest(write(folder / "log.csv", found))], NAMES, seed=n)
        except InputError as error:
            _say(f"    log {n}: refused, {' '.join(str(error).split())[:150]}")
            continue
        each = [fit.value(name) for name in NAMES]
        true = np.array([*drawn, *(one.parameter.own for one in each[drawn.size :])])
        halves = [max(0.5 * (one.high - one.low), 1e-12) for one in each]
        away.append(np.abs(np.array([one.value for one in each]) - true) / halves)
        bad.append(not fit.usable)
        if not max(away[-1]) <= _FAR:
            off = ", ".join(f"{one:.1f}" for one in away[-1])
            _say(f"    log {n}: {off} half widths away; {'not usable' if bad[-1] else ''}; {'; '.join(fit.warnings)}")
    return np.array(away).reshape(-1, len(NAMES)), np.array(bad, bool)


def _say(line: str) -> None:
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()


def main(logs: int, wanted: list[str]) -> None:
    """Print the table."""
    names = ", ".join(NAMES)
    _say(f"{'car':24}{'log of':16}{'engine':8}{'logs':>5}{'held':>14}{'not usable':>12}{'s':>6}   "
         f"usable ones held, and their worst in half widths: {names}")  # fmt: skip
    with TemporaryDirectory() as folder:
        for car, name in CARS.items():
            scenario = bare(name)
            for rigid in (False, True):
                for engine in (False, True):
                    if wanted and name not in wanted:
                        continue
                    begun = time.process_time()
                    away, bad = held(scenario, Path(folder), engine=engine, rigid=rigid, logs=logs)
                    kind, logged = "a simpler car" if rigid else "the same car", "yes" if engine else "no"
                    all_held = "+".join(map(str, (away <= 1.0).sum(axis=0)))
                    good = away[~bad]
                    used = "  ".join(
                        f"{share}/{len(good)} {worst:.2f}"
                        for share, worst in zip((good <= 1.0).sum(axis=0), good.max(axis=0, initial=0.0), strict=True)
                    )
                    _say(f"{car:24}{kind:16}{logged:8}{len(away):>5}{all_held:>14}{int(bad.sum()):>12}"
                         f"{time.process_time() - begun:>6.0f}   {used}")  # fmt: skip


if __name__ == "__main__":
    NAMES += [word[1:] for word in sys.argv[2:] if word.startswith("+")]
    main(int(sys.argv[1]) if sys.argv[1:] else 10, [word for word in sys.argv[2:] if not word.startswith("+")])
