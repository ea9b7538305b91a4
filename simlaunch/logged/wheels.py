"""Wheelspin by axle and by wheel, of logged and calculated runs alike.

Of each axle, and of each of its wheels where both are there: how much farther the tread ran than the car, and the
greatest slip, by the definitions of `metrics.grip`, as if it alone were driven.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from simlaunch.metrics.grip import grip_use
from simlaunch.simulation.channels import SIDES
from simlaunch.simulation.trace import Trace

AXLES = ("front", "rear")


@dataclass(frozen=True)
class WheelUse:
    """What the wheels of an axle did, or one of them.

    Parameters
    ----------
    axle : str
        ``"front"`` or ``"rear"``.
    side : str
        ``"left"`` or ``"right"``; empty for the axle, which is the mean of its wheels.
    slip_distance : float
        How much farther the tread ran than the car [m].
    greatest_slip : float
        Greatest slip, while the car is faster than 2 m/s; nan for a slower car [-].
    """

    axle: str
    side: str
    slip_distance: float
    greatest_slip: float

    @property
    def name(self) -> str:
        """What it is called."""
        return f"{self.axle} {self.side or 'axle'}"


def wheel_uses(trace: Trace, radii: tuple[float, float]) -> tuple[WheelUse, ...]:
    """Wheelspin of every axle and wheel that a run has a speed of.

    Parameters
    ----------
    trace : Trace
        Speed, and speeds of wheels.
    radii : tuple of float
        Effective rolling radius of the front and of the rear tyres [m].

    Returns
    -------
    tuple of WheelUse
        Each axle, then its left and its right wheel.
    """
    return tuple(_uses(trace, radii))


def _uses(trace: Trace, radii: tuple[float, float]) -> Iterator[WheelUse]:
    for axle in AXLES:
        name = f"wheel_speed_{axle}"
        sides = SIDES if all(f"{name}_{side}" in trace for side in SIDES) else ()
        for side in ("", *sides):
            channel = f"{name}_{side}" if side else name
            if channel in trace:
                alone = Trace(trace.time, {"speed": trace["speed"], name: trace[channel]})
                use = grip_use(alone, (axle == "front", axle == "rear"), radii)
                yield WheelUse(axle, side, use.slip_distance, use.greatest_slip)
