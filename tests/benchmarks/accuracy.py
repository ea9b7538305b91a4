"""How close launches of randomly drawn cars come to the truth, and how fast they run.

    python tests/benchmarks/accuracy.py --cars 500 --reference 20

The truth is our own method at a tolerance of 1e-10 and, for a sample of the cars, SciPy's DOP853 at 1e-10. Launches
near the edge of grip are reported apart: there a small change of the grip may decide whether a wheel lets go, so that
the time itself is ill conditioned, whatever the method. Speeds are by processor time, so that other work on the machine
counts little.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from cars import RPM, change, coupe, gears, random_car
from simlaunch.errors import SimlaunchError
from simlaunch.record import Car
from simlaunch.simulation.bench import SAMPLE_GAP
from simlaunch.simulation.run import Method, Outcome, launch
from simlaunch.simulation.trace import Trace

Array = NDArray[np.float64]
Build = Callable[[int], Car]
TIGHT = 1e-10
SPARSE = 0.05  # samples of a run of which only the end is read [s]
WORKS = (
    "drag_work", "rolling_work", "grade_work", "slip_work_front", "slip_work_rear", "coupling_work",
    "gearing_work", "twist_work",
)  # fmt: skip


def residual_share(trace: Trace) -> float:
    """Greatest residual of the energy audit at any moment of a run, over the engine's whole work [-]."""
    gained = trace["stored_energy"] - trace["stored_energy"][0]
    residual = trace["engine_work"] - gained - sum(trace[name] for name in WORKS)
    return float(np.max(np.abs(residual)) / abs(trace["engine_work"][-1]))


@dataclass(frozen=True)
class Case:
    """One car, launched as users launch it, and as closely as can be."""

    seed: int
    time: float
    """Quarter-mile time at the default tolerance [s]."""
    error: float
    """Its difference from the time at a tolerance of 1e-10 [s]."""
    residual: float
    """Of the energy audit, as a share of the engine's work [-]."""
    steps: int


@dataclass(frozen=True)
class Batch:
    """The cases that came to an end, and what became of the others."""

    cases: tuple[Case, ...]
    unfinished: tuple[int, ...]
    """Seeds of cars that stalled or ran out of time."""
    failed: tuple[tuple[int, str], ...]
    """Seeds of cars that could not be followed, with the reason."""

    def errors(self) -> Array:
        """Size of the error of each case [s]."""
        return np.abs([case.error for case in self.cases])

    def residuals(self) -> Array:
        """Residual share of each case [-]."""
        return np.array([case.residual for case in self.cases])


def drawn(seed: int) -> Car:
    """The car of a seed."""
    return random_car(np.random.default_rng(seed))


def edge_torque(car: Car) -> float:
    """Engine torque at which a rear-driven car without load transfer spins its wheels in first gear [N m].

    The tyres take mu m g (1 - front share) r; wheels, gearbox and engine take what spins them up alongside.
    """
    radius, ratio = car.rear.radius, car.gearbox.ratio[0]
    acceleration = car.rear.friction * 9.80665 * (1.0 - car.body.front_share)
    turning = car.rear.axle_inertia + car.drive.inertia
    at_wheels = car.body.mass * acceleration * radius + turning * acceleration / radius
    at_input = (car.engine.inertia + car.gearbox.input_inertia) * ratio * acceleration / radius
    return float(at_wheels / (ratio * car.gearbox.efficiency[0]) + at_input)


def edge_of_grip(seed: int, grip: float = 1.0) -> Car:
    """A rear-driven car whose peak torque in first gear is within 1 % of what its tyres can take.

    The friction does not depend on load and no load is transferred, so that the edge can be worked out by hand.
    """
    rng = np.random.default_rng(seed)
    car = coupe({
        "body.mass": rng.uniform(1000.0, 2000.0), "body.front_share": rng.uniform(0.42, 0.6), "body.cg_height": 0.0,
        "rear.friction": rng.uniform(0.9, 1.4), "rear.friction_load": 0.0, "engine.lagged_share": 0.0,
        "coupling.ramp": rng.uniform(0.3, 0.8), "drive.rigid": int(rng.integers(2)),
        **gears(*np.geomspace(rng.uniform(11.0, 15.0), 2.8, 6)),
    })  # fmt: skip
    peak = edge_torque(car) * rng.uniform(0.99, 1.01)
    curve = (np.array([1000.0, 1500.0, 6000.0, 7000.0]) * RPM, peak * np.array([0.9, 1.0, 1.0, 0.9]))
    return change(car, {"engine.torque": curve, "coupling.capacity": 1.6 * peak, "road.friction_factor": grip})


def measure(build: Build, seeds: Iterable[int]) -> Batch:
    """Launch the car of each seed at the default tolerance and at the tight one."""
    cases, unfinished, failed = [], [], []
    for seed in seeds:
        try:
            run = launch(build(seed), sample_gap=SPARSE)
            tight = launch(build(seed), tolerance=TIGHT, sample_gap=SPARSE)
        except SimlaunchError as reason:
            failed.append((seed, str(reason)))
            continue
        if run.outcome is not Outcome.FINISHED or tight.outcome is not Outcome.FINISHED:
            unfinished.append(seed)
            continue
        end = float(run.trace.time[-1])
        error = end - float(tight.trace.time[-1])
        cases.append(Case(seed, end, error, residual_share(run.trace), run.steps))
    return Batch(tuple(cases), tuple(unfinished), tuple(failed))


def against_scipy(build: Build, cases: Iterable[Case]) -> tuple[Array, float, float]:
    """Differences from SciPy's quarter-mile times [s], and the mean time of one launch by each path [s]."""
    differences, ours, theirs = [], [], []
    for case in cases:
        start = time.process_time()
        launch(build(case.seed))
        middle = time.process_time()
        reference = launch(build(case.seed), method=Method.REFERENCE)
        theirs.append(time.process_time() - middle)
        ours.append(middle - start)
        differences.append(case.time - float(reference.trace.time[-1]))
    return np.abs(differences), float(np.mean(ours)), float(np.mean(theirs))


def grip_sensitivity(cases: Iterable[Case], change_of_grip: float = 1e-6) -> Array:
    """Change of the true time when the grip changes by one part in a million [s]."""
    changes = []
    for case in cases:
        times = [
            launch(edge_of_grip(case.seed, grip), tolerance=TIGHT, sample_gap=SPARSE).trace.time[-1]
            for grip in (1.0, 1.0 + change_of_grip)
        ]
        changes.append(abs(times[1] - times[0]))
    return np.array(changes)


def launches_per_second(build: Build, cases: Iterable[Case], gap: float) -> float:
    """Launches that one core makes in a second, samples of the trace included."""
    cars = [build(case.seed) for case in cases]
    start = time.process_time()
    for car in cars:
        launch(car, sample_gap=gap)
    return len(cars) / (time.process_time() - start)


def _spread(values: Array, unit: float) -> str:
    median, p95, p99 = np.percentile(values, [50.0, 95.0, 99.0]) / unit
    return f"median {median:.5f}, 95 % {p95:.5f}, 99 % {p99:.5f}, worst {values.max() / unit:.5f}"


def _report(name: str, batch: Batch) -> list[str]:
    steps = np.array([case.steps for case in batch.cases])
    share = np.mean(batch.errors() <= 1e-4)
    return [
        f"{name}: {len(batch.cases)} launches measured, {len(batch.unfinished)} stalled or out of time, "
        f"{len(batch.failed)} not followed",
        f"  error of the quarter-mile time against tolerance {TIGHT:g} [ms]: {_spread(batch.errors(), 1e-3)}",
        f"  within 0.1 ms: {100.0 * share:.1f} %",
        f"  energy residual over engine work [-]: worst {batch.residuals().max():.2e}",
        f"  steps: median {np.median(steps):.0f}, most {steps.max()}",
        *(f"  seed {seed}: {reason}" for seed, reason in batch.failed),
    ]


def main() -> None:
    """Print the report."""
    parser = argparse.ArgumentParser(description="Accuracy and speed of launches of randomly drawn cars.")
    parser.add_argument("--cars", type=int, default=500, help="number of cars to draw")
    parser.add_argument("--edge", type=int, default=100, help="number of cars near the edge of grip")
    parser.add_argument("--reference", type=int, default=0, help="number of cars to hold against SciPy")
    options = parser.parse_args()
    batch = measure(drawn, range(options.cars))
    lines = _report("cars at random", batch)
    for gap in (SAMPLE_GAP, SPARSE):
        rate = launches_per_second(drawn, batch.cases, gap)
        lines.append(f"  {rate:.0f} launches/s on one core, with a sample every {1e3 * gap:g} ms")
    if options.edge:
        edge = measure(edge_of_grip, range(options.edge))
        lines += _report("cars within 1 % of the edge of grip", edge)
        moved = grip_sensitivity(edge.cases)
        lines.append(f"  change of the true time for a change of grip of 1e-6 [ms]: {_spread(moved, 1e-3)}")
    if options.reference:
        sample = batch.cases[:: max(len(batch.cases) // options.reference, 1)][: options.reference]
        differences, ours, theirs = against_scipy(drawn, sample)
        lines.append(f"SciPy, {len(differences)} launches: difference [ms]: {_spread(differences, 1e-3)}")
        lines.append(f"  {1e3 * ours:.1f} ms a launch against {1e3 * theirs:.0f} ms: {theirs / ours:.0f} times")
    sys.stdout.write("\n".join(lines) + "\n")


if __name__ == "__main__":
    main()
