"""Invented dyno sheets, made row by row."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from scipy.interpolate import PchipInterpolator

CURVE = PchipInterpolator(
    [1000, 1500, 2000, 2500, 3000, 3300, 3600, 4000, 4500, 5000, 5500, 6000, 6500, 7000],
    [170, 230, 310, 420, 520, 550, 560, 545, 510, 468, 425, 384, 346, 310],
)
"""Torque [N m] over engine speed [rpm]; stands for no real engine."""


def rise(rows: int = 300, *, noise: float = 0.003, scale: float = 1.0, seed: int = 0) -> list[str]:
    """Rows of a pull from 1200 to 6900 rpm, speed swinging by 8 rpm."""
    draw = np.random.default_rng(seed)
    speed = np.linspace(1200.0, 6900.0, rows) + (8.0 * draw.standard_normal(rows) if noise else 0.0)
    torque = scale * CURVE(np.clip(speed, 1000.0, 7000.0)) * (1.0 + noise * draw.standard_normal(rows))
    return [f"{n:.1f},{t:.2f}" for n, t in zip(speed, torque, strict=True)]


def fall(rows: int = 100, torque: float = 15.0) -> list[str]:
    """Rows of the engine coming down from 6880 rpm."""
    return [f"{n:.1f},{torque:.2f}" for n in np.linspace(6880.0, 1200.0, rows)]


def sheet(folder: Path, rows: Sequence[str], header: str = "rpm,Torque (Nm)", name: str = "sheet.csv") -> Path:
    """File of a header and rows."""
    path = folder / name
    path.write_text("\n".join([header, *rows]) + "\n", encoding="utf-8")
    return path
