"""The histories of a run under keys with units."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from simlaunch.quantities import reported
from simlaunch.simulation.trace import Trace


def channel_key(name: str) -> str:
    """Name of a channel with its unit; a name that is in no table stays as it is."""
    known = reported("channel").get(name)
    return known.key if known else name


def trace_columns(trace: Trace) -> Mapping[str, NDArray[np.float64]]:
    """Time and every channel, by key."""
    return {channel_key(name): values for name, values in {"time": trace.time, **trace.channels}.items()}
