"""Logs made of calculated runs, with known values, noise, gaps and sensors that lag. All of them are invented."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import pi
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from simlaunch.fitting.histories import last_until
from simlaunch.parameters.fill import lower
from simlaunch.record import Car, Pedal
from simlaunch.scenario.model import Scenario
from simlaunch.simulation.run import launch
from simlaunch.simulation.trace import Trace

Array = NDArray[np.float64]

WAIT = 2.0
"""How long the car stands in the log before it is let go [s]."""

FINE = 1e-3
"""Of the signal that sensors sample [s]; straight lines over 5 ms cut corners of the engine speed by more than a logger
rounds, which moved fitted values by up to three errors."""


@dataclass(frozen=True)
class Logger:
    """How a run is logged."""

    rate: float = 20.0
    noise: float = 0.05
    lag: float = 0.0
    delay: float = 0.0
    missing: float = 0.0
    engine_noise: float | None = None
    decimals: int = 4


def driven(
    scenario: Scenario, changes: Mapping[str, object], duration: float, *, scale: float = 1.0, curve: str | None = None
) -> Trace:
    """A calculated run with some values changed, and the torque multiplied."""
    car: Car = lower(scenario.replace(changes) if changes else scenario, curve or scenario.curve_names[0], Pedal.FULL)
    car.engine.torque.cubic *= scale
    last_until(car, duration)
    return launch(car, sample_gap=FINE).trace


def behind(values: Array, lag: float) -> Array:
    """A sensor of first order, followed in small steps: y' = (x - y) / lag."""
    shown, y = np.empty_like(values), values[0]
    share = 1.0 - np.exp(-FINE / lag)
    for k, x in enumerate(values):
        y += share * (x - y)
        shown[k] = y
    return shown


def columns(trace: Trace, logger: Logger, rng: np.random.Generator) -> dict[str, Array]:
    """What a logger writes down of a run."""
    end = float(trace.time[-1])
    fine = np.arange(-WAIT, end, FINE)
    speed = np.interp(fine, trace.time, trace["speed"])
    speed = behind(speed, logger.lag) if logger.lag else speed
    time = np.arange(rng.uniform(0.0, 1.0) / logger.rate, WAIT + end, 1.0 / logger.rate)
    shown = np.interp(time - WAIT - logger.delay, fine, speed) + logger.noise * rng.standard_normal(time.size)
    found = {"Time [s]": time, "Speed [m/s]": np.abs(shown)}
    if logger.engine_noise is not None:
        engine = np.interp(time - WAIT, trace.time, trace["engine_speed"]) * 30.0 / pi
        found["Engine Speed [rpm]"] = engine + logger.engine_noise * rng.standard_normal(time.size)
    kept = rng.random(time.size) >= logger.missing
    return {name: values[kept] for name, values in found.items()}


def write(path: Path, found: Mapping[str, Array], decimals: int = 4) -> Path:
    """A table of what was logged; nan leaves a blank cell."""
    rows = zip(*found.values(), strict=True)
    lines = [",".join("" if value != value else f"{value:.{decimals}f}" for value in row) for row in rows]
    path.write_text("\n".join([",".join(found), *lines, ""]), "utf-8")
    return path


def logged(path: Path, trace: Trace, logger: Logger, seed: int = 0) -> Path:
    """A file of a run as a logger wrote it."""
    return write(path, columns(trace, logger, np.random.default_rng(seed)), logger.decimals)
