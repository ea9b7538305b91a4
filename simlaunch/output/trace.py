"""The histories of a run under keys with units."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from simlaunch.simulation.trace import Trace

CHANNEL_UNITS = {
    "distance": "m",
    "speed": "m_per_s",
    "wheel_speed_front": "rad_per_s",
    "wheel_speed_rear": "rad_per_s",
    "load_transfer": "N",
    "engine_speed": "rad_per_s",
    "input_speed": "rad_per_s",
    "shaft_speed": "rad_per_s",
    "boost": "share",
    "acceleration": "m_per_s2",
    "load_front": "N",
    "load_rear": "N",
    "slip_front": "share",
    "slip_rear": "share",
    "force_front": "N",
    "force_rear": "N",
    "force_limit_front": "N",
    "force_limit_rear": "N",
    "peak_slip_front": "share",
    "peak_slip_rear": "share",
    "engine_torque": "N_m",
    "available_torque": "N_m",
    "coupling_torque": "N_m",
    "gearbox_input_torque": "N_m",
    "gearbox_output_torque": "N_m",
    "axle_torque_front": "N_m",
    "axle_torque_rear": "N_m",
    "drag": "N",
    "boost_pressure": "Pa",
    "stored_energy": "J",
}
"""Unit of each channel of a trace, as it stands in a key; work is in J, a gear has none."""


def channel_key(name: str) -> str:
    """Name of a channel with its unit."""
    unit = CHANNEL_UNITS.get(name, "J" if "work" in name else "")
    return f"{name}_{unit}" if unit not in ("", "share") else name


def trace_columns(trace: Trace) -> Mapping[str, NDArray[np.float64]]:
    """Time and every channel, by key."""
    return {"time_s": trace.time, **{channel_key(name): values for name, values in trace.channels.items()}}
