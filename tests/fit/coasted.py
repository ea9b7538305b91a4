"""Coast-downs by the closed form of F = F0 + F2 v^2, which knows nothing of the program."""

from __future__ import annotations

from math import atan, sqrt
from pathlib import Path

import numpy as np

from fit.driven import write


def coasted(
    path: Path,
    *,
    mass: float,
    constant: float,
    square: float,
    start: float = 36.0,
    end: float = 4.0,
    rate: float = 10.0,
    noise: float = 0.03,
    seed: int = 0,
) -> Path:
    """Speed of a car of effective mass that coasts: v = sqrt(F0/F2) tan(atan(v0 sqrt(F2/F0)) - t sqrt(F0 F2)/m)."""
    time = np.arange(0.0, 600.0, 1.0 / rate)
    if constant > 0.0:
        root = sqrt(square / constant)
        angle = atan(start * root) - sqrt(constant * square) / mass * time
        speed = np.where(angle > 0.0, np.tan(np.clip(angle, 0.0, 1.57)) / root, 0.0)
    else:
        speed = start / (1.0 + start * square / mass * time)
    kept = speed > end
    shown = speed + noise * np.random.default_rng(seed).standard_normal(time.size)
    return write(path, {"Time [s]": time[kept], "Speed [m/s]": shown[kept]})
