"""Logs made for the tests: a car that pulls away evenly, written in every format that is read."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

ACCELERATION, WAIT, RADIUS, SLIP = 5.0, 1.0, 0.32, 0.08


def times(rate: float = 100.0, until: float = 10.0) -> Array:
    """Times of samples [s]."""
    return np.arange(round(until * rate)) / rate


def speed(time: Array) -> Array:
    """Speed of a car that stands for a second, then pulls away evenly [m/s]."""
    return ACCELERATION * np.maximum(time - WAIT, 0.0)


def wheel_speed(time: Array) -> Array:
    """Speed of a wheel that slips evenly [rad/s]."""
    return speed(time) * (1.0 + SLIP) / RADIUS


def write_csv(path: Path, columns: Mapping[str, Array], delimiter: str = ",", missing: str = "") -> Path:
    """A table with full digits; nan leaves a blank cell."""
    rows = zip(*columns.values(), strict=True)
    lines = [delimiter.join(missing if value != value else repr(float(value)) for value in row) for row in rows]
    path.write_text("\n".join([delimiter.join(columns), *lines, ""]), "utf-8")
    return path


def sound_csv(path: Path) -> Path:
    """A log with everything in it that is looked for."""
    time = times()
    columns = {
        "Time [s]": time,
        "Vehicle Speed (km/h)": 3.6 * speed(time),
        "RPM": 1000.0 + 100.0 * time,
        "Gear": 1.0 + np.floor(time / 3.0),
        "Wheel Speed Front [rad/s]": speed(time) / RADIUS,
        "Wheel Speed Rear [rad/s]": wheel_speed(time),
        "Accel X [g]": np.where(time >= WAIT, ACCELERATION / 9.80665, 0.0),
        "Boost [kPa]": 100.0 + 5.0 * time,
    }
    return write_csv(path, columns)
