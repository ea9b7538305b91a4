"""Launches per second on one core, side by side: our kernel, SciPy, SUNDIALS, and JAX with diffrax.

    python tests/benchmarks/speed.py
    python tests/benchmarks/speed.py --cars 100 --without jax

Every contender finds the quarter-mile time of the same randomly drawn cars, by the same physics, phases and events, on
one core. It is run at the tolerance, of a ladder, at which it is fastest while 95 % of its cars come within 1 ms, and
then within 0.1 ms, of our own method at a tolerance of 1e-10. Cars that do not finish are left out. There our kernel
and the contender take turns on the same cars; ratios are medians of the rounds. Time is processor time, so that other
work on the machine counts little. Nothing is judged, but a contender whose physics is not ours is left out. JAX is
needed by this script alone: pip install jax diffrax
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from statistics import median

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from benchmarks.speed_scipy import times_by_scipy
from cars import random_car
from simlaunch.physics import state as at
from simlaunch.record import Car
from simlaunch.simulation import kernel, prepare
from simlaunch.simulation.bench import make_bench
from simlaunch.simulation.run import complete

Array = NDArray[np.float64]
Times = Callable[[Sequence[Car], float], Array]
"""times(cars, tolerance): end time of every car [s]; not a number where there is none."""

BARS = (1e-3, 1e-4)  # [s]
SHARE = 95.0  # of the cars that must be within a bar [%]
TIGHT = 1e-10
LADDER = tuple(float(f"{step}e{power}") for power in range(-2, -9, -1) for step in (1, 0.5, 0.2))
CALM_LADDER = LADDER[LADDER.index(1e-3) :]
"""For libraries that lose their way among the events at looser tolerances."""
_SCREEN, _SCREEN_SHARE = 12, 75.0  # a tolerance that fails this share of the first few cars is not tried on all
_LONG_ENOUGH = 1.0  # a round lasts at least this long [s]
_ALIKE = 1e-9  # rates and events written twice agree to less than this, over their scale


class LeftOutError(Exception):
    """A contender cannot be measured here."""


@dataclass(frozen=True)
class Fleet:
    """Cars, and their end times as closely as can be."""

    cars: tuple[Car, ...]
    truth: Array

    def some(self, indices: Sequence[int]) -> Fleet:
        """Some of the cars."""
        return Fleet(tuple(self.cars[i] for i in indices), self.truth[list(indices)])

    def first(self, count: int) -> Fleet:
        """The first cars."""
        return self.some(range(min(count, len(self.cars))))


@dataclass(frozen=True)
class Contender:
    """One way to find end times, and the cars it is measured on."""

    name: str
    method: str
    form: str
    times: Times
    fleet: Fleet
    ladder: tuple[float, ...] = LADDER
    whole: bool = False
    """Whether a call costs about the same for few cars as for all."""

    @property
    def title(self) -> str:
        """Name, method and form in a few words."""
        return ", ".join(filter(None, (f"{self.name} {self.method}".strip(), self.form)))


@dataclass(frozen=True)
class Result:
    """What was measured of one contender at one tolerance."""

    contender: Contender
    bar: float
    tolerance: float
    error: float
    """Greatest error of the best 95 % [s]."""
    rate: float
    """Launches per second."""
    ratios: tuple[float, ...] = ()
    """Our launches per second over the contender's, in each round."""


def say(text: str) -> None:
    """Report progress."""
    sys.stderr.write(text + "\n")
    sys.stderr.flush()


def by_kernel(cars: Sequence[Car], tolerance: float) -> Array:
    """End times by our own method: launches alone, nothing recorded and nothing measured."""
    bench, ends = make_bench(tolerance, 1, 0.0), np.full(len(cars), np.nan)
    for i, car in enumerate(cars):
        phase = at.first_phase()
        prepare.begin(car, bench.work, phase)
        ending = kernel.run_compiled(car, phase, bench.accuracy, bench.work, bench.samples, bench.log)
        if ending.status == kernel.FINISHED:
            ends[i] = ending.time - phase.brake_off
    return ends


def drawn_fleet(seeds: int) -> Fleet:
    """The cars of the first seeds that finish."""
    cars = [random_car(np.random.default_rng(seed)) for seed in range(seeds)]
    for car in cars:
        complete(car)
    fleet = Fleet(tuple(cars), by_kernel(cars, TIGHT))
    return fleet.some(np.flatnonzero(np.isfinite(fleet.truth)).tolist())


def timed(times: Times, cars: Sequence[Car], tolerance: float) -> tuple[Array, float]:
    """End times, and launches per second by processor time over a round."""
    ends, launches, begun, taken = np.empty(0), 0, time.process_time(), 0.0
    while taken < _LONG_ENOUGH:
        ends, launches = times(cars, tolerance), launches + len(cars)
        taken = time.process_time() - begun
    return ends, launches / taken


def tried(contender: Contender, tolerance: float, bar: float, share: float = SHARE) -> Result:
    """Greatest error of the best share of all cars, infinite where too many give no time, and speed in one round."""
    ends, rate = timed(contender.times, contender.fleet.cars, tolerance)
    errors = np.abs(ends - contender.fleet.truth)
    error = float(np.percentile(np.where(np.isnan(errors), np.inf, errors), share, method="higher"))
    return Result(contender, bar, tolerance, error, rate)


def hopeless(contender: Contender, tolerance: float) -> bool:
    """Whether a tolerance fails too many of the first few cars to be tried on all."""
    few = replace(contender, fleet=contender.fleet.first(_SCREEN))
    return not contender.whole and tried(few, tolerance, max(BARS), _SCREEN_SHARE).error > max(BARS)


def runs(contender: Contender) -> list[Result]:
    """Runs down the ladder, to the second that holds the narrowest bar: the loosest is not always the fastest."""
    found: list[Result] = []
    for tolerance in contender.ladder:
        if sum(result.error <= min(BARS) for result in found) == 2:
            break
        if not hopeless(contender, tolerance):
            found.append(tried(contender, tolerance, max(BARS)))
            say("  " + row(found[-1]))
    return found


def measured(contender: Contender) -> list[Result]:
    """The contender at each bar that it holds, at the tolerance that is fastest there."""
    say(f"{contender.title}")
    warm_up = contender.fleet if contender.whole else contender.fleet.first(1)
    contender.times(warm_up.cars, contender.ladder[0])  # compiles
    found = runs(contender)
    held = [[replace(result, bar=bar) for result in found if result.error <= bar] for bar in BARS]
    return [max(alike, key=lambda result: result.rate) for alike in held if alike]


def best_of(contenders: Sequence[Contender]) -> list[Result]:
    """The fastest of several forms of a contender, at each bar."""
    results = [result for contender in contenders for result in measured(contender)]
    by_bar = [[result for result in results if result.bar == bar] for bar in BARS]
    return [max(alike, key=lambda result: result.rate) for alike in by_bar if alike]


def scipy_results(fleet: Fleet) -> list[Result]:
    """SciPy's LSODA: its Radau, BDF and RK45 make 0.4, 0.3 and 0.1 times as many launches at the bar of 1 ms."""
    return best_of([Contender("SciPy", "LSODA", "compiled rates", times_by_scipy("LSODA"), fleet, CALM_LADDER)])


def sundials_results(fleet: Fleet) -> list[Result]:
    """SUNDIALS' better method."""
    try:
        from benchmarks.speed_sundials import times_by_cvode
    except ImportError as missing:
        raise LeftOutError("SUNDIALS left out: pip install scikit-sundae") from missing
    return best_of([
        Contender("SUNDIALS CVODE", method, "compiled rates", times_by_cvode(method), fleet, CALM_LADDER)
        for method in ("BDF", "Adams")
    ])  # fmt: skip


def jax_results(fleet: Fleet, batch: int) -> list[Result]:
    """JAX with diffrax, on a batch drawn with replacement."""
    try:
        from benchmarks.jax_agreement import disagreement
        from benchmarks.jax_launch import LADDER, times_by_diffrax
    except ImportError as missing:
        raise LeftOutError("JAX left out: pip install jax diffrax") from missing
    apart = disagreement(fleet.cars)
    say(f"right-hand side in JAX against ours, at random states: {apart:.1e}")
    if not apart <= _ALIKE:
        raise LeftOutError(f"JAX left out: its rates or events differ from ours by {apart:.1e}, not {_ALIKE:g} at most")
    drawn = fleet.some(np.random.default_rng(0).integers(len(fleet.cars), size=batch).tolist())
    return best_of([Contender("JAX diffrax", "Tsit5", "all at once", times_by_diffrax, drawn, LADDER, whole=True)])


def beside(own: Result, other: Result, rounds: int) -> Result:
    """The contender timed again, in turns with our kernel on the same cars."""
    cars, ours, theirs = other.contender.fleet.cars, [], []
    for _ in range(rounds):
        ours.append(timed(own.contender.times, cars, own.tolerance)[1])
        theirs.append(timed(other.contender.times, cars, other.tolerance)[1])
    ratios = tuple(mine / its for mine, its in zip(ours, theirs, strict=True))
    return replace(other, rate=median(theirs), ratios=ratios)


def row(result: Result) -> str:
    """A line of the report."""
    ratios = result.ratios
    spread = f"{median(ratios):10.1f}   {min(ratios):.1f} to {max(ratios):.1f}" if ratios else ""
    return (
        f"{result.contender.title:44}{1e3 * result.bar:8g}{result.tolerance:12.0e}{1e3 * result.error:12.4f}"
        f"{len(result.contender.fleet.cars):8d}{result.rate:12.2f}{spread}"
    )


HEAD = (
    f"{'contender':44}{'bar [ms]':>8}{'tolerance':>12}{'95 % [ms]':>12}{'cars':>8}{'launches/s':>12}{'kernel':>10}\n"
    "kernel: our launches per second over the contender's, on the contender's own cars, and the spread of the rounds"
)


def stay_on_one_core() -> None:
    """Start this script again on one core, every library told to use one thread."""
    one_thread = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")
    one_thread["XLA_FLAGS"] = "--xla_cpu_multi_thread_eigen=false intra_op_parallelism_threads=1"
    if all(os.environ.get(name) == value for name, value in one_thread.items()):
        return
    os.sched_setaffinity(0, {max(os.sched_getaffinity(0))})
    os.execve(sys.executable, [sys.executable, *sys.argv], {**os.environ, **one_thread})


def main() -> None:
    """Print the report."""
    parser = argparse.ArgumentParser(description="Launches per second against general libraries, on one core.")
    parser.add_argument("--cars", type=int, default=400, help="number of cars to draw")
    parser.add_argument("--slow", type=int, default=60, help="number of cars for slow contenders")
    parser.add_argument("--batch", type=int, default=1024, help="number of cars in a batch of JAX")
    parser.add_argument("--rounds", type=int, default=3, help="number of times that our kernel and another take turns")
    parser.add_argument("--without", nargs="*", default=[], choices=("scipy", "sundials", "jax"), help="leave out")
    options = parser.parse_args()
    stay_on_one_core()
    fleet = drawn_fleet(options.cars)
    say(f"{len(fleet.cars)} of {options.cars} cars finish")
    few = fleet.first(options.slow)
    own = best_of([Contender("our kernel", "", "", by_kernel, fleet)])
    results: dict[str, Callable[[], list[Result]]] = {
        "scipy": lambda: scipy_results(few),
        "sundials": lambda: sundials_results(fleet),
        "jax": lambda: jax_results(fleet, options.batch),
    }
    sys.stdout.write("\n".join([HEAD, *map(row, own)]) + "\n")
    by_bar = {result.bar: result for result in own}
    for name, measure in results.items():
        if name in options.without:
            continue
        try:
            lines = [row(beside(by_bar[result.bar], result, options.rounds)) for result in measure()]
        except LeftOutError as reason:
            lines = [str(reason)]
        sys.stdout.write("\n".join(lines) + "\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main()
