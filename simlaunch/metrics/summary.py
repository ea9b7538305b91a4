"""Everything that is measured on one run."""

from __future__ import annotations

from dataclasses import dataclass

from simlaunch.metrics.ceiling import Surplus, driven_axles, surplus
from simlaunch.metrics.energy import Audit, audit
from simlaunch.metrics.grip import GripUse, grip_use
from simlaunch.metrics.marks import MarkResult, Target, marks
from simlaunch.metrics.parts import PartPeak, part_peaks
from simlaunch.metrics.second_axle import SecondAxle, second_axle
from simlaunch.record import Record
from simlaunch.simulation.run import Run


@dataclass(frozen=True)
class Measures:
    """The numbers of one run."""

    marks: tuple[MarkResult, ...]
    """Times to speeds, between speeds and over distances."""
    grip: GripUse
    """Use of grip."""
    audit: Audit
    """Where the engine's work went."""
    parts: tuple[PartPeak, ...]
    """Highest torque of each part."""
    surplus: tuple[Surplus, ...]
    """Torque beyond what the tyres can use, gear by gear."""
    second_axle: SecondAxle | None
    """The clutch that brings in the second axle, where there is one."""


def measure(run: Run, car: Record, extra: tuple[Target, ...] = ()) -> Measures:
    """Measure one run.

    Parameters
    ----------
    run : Run
        The run.
    car : Record
        The car that made it.
    extra : tuple of Target
        Targets beyond the standard ones.

    Returns
    -------
    Measures
        The numbers.
    """
    trace = run.trace
    return Measures(
        marks(trace, extra),
        grip_use(trace, driven_axles(car), (float(car.front.radius), float(car.rear.radius))),
        audit(trace),
        part_peaks(trace),
        surplus(car, trace),
        second_axle(trace, car),
    )
