"""How long the commands that decide take, and how much longer the same launches would take by the reference method.

    python tests/benchmarks/decisions.py
    python tests/benchmarks/decisions.py --pairs 20000 --scenario scenarios/front-hatch.toml

Wall-clock and processor time of `worth` with 30 bands, the search of `plateau`, `odds`, and what odds and ratings add
to `compare`. The reference method is SciPy's, one launch after the other; it is timed over a few launches, and what all
of them would take is worked out from that. Figures are printed, nothing is judged.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from benchmarks.counting import Counter
from simlaunch.analysis import odds
from simlaunch.analysis.simulate import simulate
from simlaunch.analysis.worth import worth
from simlaunch.comparing.compare import compare
from simlaunch.launching import launches
from simlaunch.launching.launches import Aim
from simlaunch.launching.targets import target_named
from simlaunch.parameters.fill import lower
from simlaunch.ratings.limits import limits_of
from simlaunch.record import Pedal
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.reading import load
from simlaunch.searching import plateau_search_space as plateau_room
from simlaunch.searching.plateau_search import highest_plateau
from simlaunch.simulation.run import Method

COUPE = Path(__file__).parents[2] / "scenarios" / "road-coupe.toml"
_REFERENCE_LAUNCHES = 3
_POWER = 250e3  # cap under which a plateau is sought [W]


def _reference_seconds(scenario: Scenario) -> float:
    begun = time.process_time()
    for _ in range(_REFERENCE_LAUNCHES):
        simulate(scenario, method=Method.REFERENCE)
    return (time.process_time() - begun) / _REFERENCE_LAUNCHES


def _sought(scenario: Scenario) -> None:
    car, aims = lower(scenario, scenario.curve_names[0], Pedal.FULL), Aim((target_named(scenario, None),), (1.0,))
    highest_plateau(plateau_room.SearchSpace(car, limits_of(scenario, {"power": _POWER}), aims))


def _say(line: str) -> None:
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()


def main() -> None:
    """Time every command and print a line for each."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--scenario", type=Path, default=COUPE)
    options.add_argument("--pairs", type=int, default=20_000)
    given = options.parse_args()
    scenario, counter = load(given.scenario), Counter(launches, odds)
    pair = scenario.curve_names[:2]
    reference = _reference_seconds(scenario)
    jobs: dict[str, Callable[[], object]] = {
        "worth, 30 bands, 2 pedals": lambda: worth(scenario, bands=30),
        "plateau, front of 25": lambda: _sought(scenario),
        "compare, nothing drawn": lambda: compare(scenario, cases=0),
    }
    if scenario.uncertain:
        jobs["compare, 256 cases drawn"] = lambda: compare(scenario)
        jobs[f"odds, {given.pairs} pairs"] = lambda: odds.odds(scenario, *pair, cases=given.pairs)
    worth(scenario, bands=4)  # compiles, and loads what is loaded once
    _say(f"{'':<30}{'launches':>9}{'wall, s':>9}{'CPU, s':>9}{'reference, s':>14}{'ratio':>7}")
    for name, job in jobs.items():
        counter.launches, begun = 0, (time.perf_counter(), time.process_time())
        job()
        wall, cpu = time.perf_counter() - begun[0], time.process_time() - begun[1]
        line = f"{name:<30}{counter.launches or '':>9}{wall:>9.2f}{cpu:>9.2f}"
        slow = counter.launches * reference
        _say(f"{line}{slow:>14.0f}{slow / wall:>7.0f}" if slow else line)


if __name__ == "__main__":
    main()
