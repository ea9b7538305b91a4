"""Make the invented logs of two set-ups and of a pull in gear; run it in the folder of the README.

Three runs with the curve "peak", three with "plateau", each with a little more or less grip and another launch speed,
logged at 10 Hz with noise. The pull is in fourth gear with "plateau", at 20 Hz.
"""

from pathlib import Path

import numpy as np

import simlaunch
from simlaunch.launching.ready import runnable
from simlaunch.launching.targets import target_named
from simlaunch.record import Pedal
from simlaunch.simulation.run import launch

HERE = Path(__file__).parent
WAIT = 1.0  # before the car moves [s]
HEAD = "# Invented log, made from a calculated run with noise. Stands for no real car."
NOISE = 0.04  # of the speed [m/s]


def write(name: str, trace: simlaunch.Trace, rate: float, seed: int, noise: float = NOISE) -> None:
    """Time, speed and engine speed as a logger writes them."""
    rng = np.random.default_rng(seed)
    time = np.arange(-WAIT, trace.time[-1], 1.0 / rate)
    speed = np.interp(time, trace.time, trace["speed"])
    shown = np.where(speed > 0.0, np.abs(speed + noise * rng.standard_normal(time.size)), 0.0)
    engine = np.interp(time, trace.time, trace["engine_speed"]) * 30.0 / np.pi + 15.0 * rng.standard_normal(time.size)
    lines = [f"{t + WAIT:.2f},{3.6 * v:.2f},{n:.0f}" for t, v, n in zip(time, shown, engine, strict=True)]
    (HERE / name).write_text("\n".join([HEAD, "Time [s],Speed [km/h],Engine Speed [rpm]", *lines, ""]), "utf-8")


def main() -> None:
    """Write every file."""
    coupe = simlaunch.load("scenarios/road-coupe.toml")
    rng = np.random.default_rng(4)
    for group, curve in (("before", "peak"), ("after", "plateau")):
        for n in range(1, 4):
            grip, turns = 1.0 + 0.01 * rng.standard_normal(), 3600.0 + 100.0 * rng.standard_normal()
            changes = {"road.friction_factor": f"{grip:.4f}", "launch.engine_speed": f"{turns:.0f} rpm"}
            run = simlaunch.simulate(coupe.replace(changes), curve).run
            write(f"invented-{group}-{n}.csv", run.trace, 10.0, seed=n)
    car = runnable(coupe, "plateau", Pedal.FULL, [target_named(coupe, "roll 70 km/h to 185 km/h in gear 4")])
    write("invented-pull-log.csv", launch(car).trace, 20.0, seed=7, noise=0.02)


if __name__ == "__main__":
    main()
