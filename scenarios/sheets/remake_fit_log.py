"""Makes `invented-fit-log.csv`: a calculated run of the coupe on other values, logged with noise and a lagging sensor.

Run it from the top of the repository, where the physics has changed: python scenarios/sheets/remake_fit_log.py
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
from scipy.signal import lfilter

from simlaunch.parameters.fill import lower
from simlaunch.record import Pedal
from simlaunch.scenario.reading import load
from simlaunch.simulation.run import launch

SHEETS = Path(__file__).parent
TRUTH = {"road.friction_factor": "0.95", "gearbox.shift.gap": "0.30 s"}
CURVE_SCALE = 0.97
WAITS, LASTS, GAP = 1.93, 14.6, 0.1  # the car stands, then runs; time between samples [s]
NOISE, LAG = 0.20, 0.2  # [km/h], [s]
FINE = 1e-3  # [s]


def main() -> None:
    """Write the log."""
    car = lower(load(SHEETS.parent / "road-coupe.toml").replace(TRUTH), "peak", Pedal.FULL)
    car.engine.torque.cubic *= CURVE_SCALE
    car.run.stop_distance, car.run.stop_speed, car.run.time_limit = 1e9, 0.0, LASTS
    trace = launch(car).trace
    time = np.arange(0.0, WAITS + LASTS, FINE)
    speed = 3.6 * np.interp(time - WAITS, trace.time, trace["speed"], left=0.0)
    share = 1.0 - np.exp(-FINE / LAG)
    shown = lfilter([share], [1.0, share - 1.0], speed)
    sampled = np.arange(0.03, WAITS + LASTS, GAP)
    noisy = np.interp(sampled, time, shown) + np.random.default_rng(7).normal(0.0, NOISE, sampled.size)
    rows = (f"{t:.2f},{v:.2f}" for t, v in zip(sampled, np.maximum(noisy, 0.0), strict=True))
    head = (
        "# Invented log, made from a calculated run with noise and a sensor that lags. Stands for no real car.",
        "Time [s],Vehicle Speed [km/h]",
    )
    (SHEETS / "invented-fit-log.csv").write_text("\n".join([*head, *rows]) + "\n", "utf-8")


if __name__ == "__main__":
    main()
