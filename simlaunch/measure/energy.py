"""Where the engine's work went, and whether the sum comes out."""

from __future__ import annotations

from dataclasses import dataclass

from simlaunch.launch.trace import Trace

LARGEST_RESIDUAL = 1e-4
"""Share of the engine work beyond which the energy of a run does not close [-]."""

_TAKEN_BY = {
    "drag": ("drag_work",),
    "rolling": ("rolling_work",),
    "grade": ("grade_work",),
    "slip": ("slip_work_front", "slip_work_rear"),
    "coupling": ("coupling_work",),
    "gearing": ("gearing_work",),
    "twist": ("twist_work",),
}
"""The energy integrals behind each part of the audit."""


@dataclass(frozen=True)
class Audit:
    """Energy audit of a run, from its first sample to its last."""

    engine_work: float
    """Work of the engine on its crankshaft [J]."""
    kinetic: float
    """Gain of stored energy: car, wheels, engine and gearbox in motion, and twisted half shafts [J]."""
    drag: float
    """Work against the air [J]."""
    rolling: float
    """Work against rolling resistance, and in brakes that are still being let go [J]."""
    grade: float
    """Work against the grade [J]."""
    slip: float
    """Work lost in the contact of all tyres [J]."""
    coupling: float
    """Work lost in the clutch or the converter [J]."""
    gearing: float
    """Work lost in gearbox and final drive [J]."""
    twist: float
    """Work lost in the damping of the half shafts [J]."""

    @property
    def residual(self) -> float:
        """Engine work that none of the parts accounts for [J]."""
        parts = (self.drag, self.rolling, self.grade, self.slip, self.coupling, self.gearing, self.twist)
        return self.engine_work - self.kinetic - sum(parts)

    @property
    def residual_share(self) -> float:
        """Size of the residual over the engine work; nan where the engine did no work [-]."""
        return abs(self.residual) / self.engine_work if self.engine_work > 0.0 else float("nan")

    @property
    def bad(self) -> bool:
        """Whether more than 1e-4 of the engine work is unaccounted for, or the share is not a number."""
        return not self.residual_share <= LARGEST_RESIDUAL


def _gain(trace: Trace, channel: str) -> float:
    values = trace[channel]
    return float(values[-1] - values[0])


def audit(trace: Trace) -> Audit:
    """Energy audit of a run.

    Parameters
    ----------
    trace : Trace
        Simulated: it needs the energy integrals, which no log has.

    Returns
    -------
    Audit
        Energies [J].

    Raises
    ------
    UsageError
        The trace lacks an energy integral.
    """
    taken = {part: sum(_gain(trace, name) for name in names) for part, names in _TAKEN_BY.items()}
    return Audit(_gain(trace, "engine_work"), _gain(trace, "stored_energy"), **taken)
