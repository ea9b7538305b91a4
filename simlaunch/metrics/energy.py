"""Where the engine's work went, and whether the sum comes out."""

from __future__ import annotations

from dataclasses import astuple, dataclass
from math import nan
from typing import NamedTuple

from simlaunch.compiled import inline
from simlaunch.simulation.trace import Trace

LARGEST_RESIDUAL = 1e-4
"""Share of the engine work beyond which the energy of a run does not close [-]."""


class Integrals(NamedTuple):
    """Energy integrals at one moment of a run [J]; the names are those of their channels."""

    engine_work: float
    stored_energy: float
    drag_work: float
    rolling_work: float
    grade_work: float
    slip_work_front: float
    slip_work_rear: float
    coupling_work: float
    gearing_work: float
    twist_work: float
    axle_clutch_work: float


class Energies(NamedTuple):
    """The parts of an audit [J]; see `Audit` for what they mean."""

    engine_work: float
    kinetic: float
    drag: float
    rolling: float
    grade: float
    slip: float
    coupling: float
    gearing: float
    twist: float
    axle_clutch: float


@inline
def energies(first: Integrals, last: Integrals) -> Energies:
    """Where the engine's work went between two moments.

    Parameters
    ----------
    first : Integrals
        At the first moment [J].
    last : Integrals
        At the last moment [J].

    Returns
    -------
    Energies
        Parts of the audit [J].
    """
    slip_front, slip_rear = last.slip_work_front - first.slip_work_front, last.slip_work_rear - first.slip_work_rear
    return Energies(
        last.engine_work - first.engine_work,
        last.stored_energy - first.stored_energy,
        last.drag_work - first.drag_work,
        last.rolling_work - first.rolling_work,
        last.grade_work - first.grade_work,
        slip_front + slip_rear,
        last.coupling_work - first.coupling_work,
        last.gearing_work - first.gearing_work,
        last.twist_work - first.twist_work,
        last.axle_clutch_work - first.axle_clutch_work,
    )


@inline
def residual_of(parts: Energies) -> float:
    """Engine work that none of the parts of an audit accounts for.

    Parameters
    ----------
    parts : Energies
        Parts of the audit [J].

    Returns
    -------
    float
        Energy [J].
    """
    outside = parts.drag + parts.rolling + parts.grade
    inside = parts.slip + parts.coupling + parts.gearing + parts.twist + parts.axle_clutch
    return parts.engine_work - parts.kinetic - (outside + inside)


@inline
def share_of_work(residual: float, parts: Energies) -> float:
    """Size of a residual over the engine work, or over a part of the audit that is larger still.

    A car that rolls downhill, or an engine that stalls at once, moves more energy than the engine's work.

    Parameters
    ----------
    residual : float
        Energy that is not accounted for [J].
    parts : Energies
        Parts of the audit [J].

    Returns
    -------
    float
        Share; zero where nothing moved, nan where an energy is not a number [-].
    """
    moved = 0.0
    for part_of_it in parts:
        moved = max(moved, abs(part_of_it))
    if residual == 0.0:
        return 0.0
    return abs(residual) / moved if moved > 0.0 else nan


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
    axle_clutch: float
    """Work lost in the clutch that brings the second axle in; zero without one [J]."""

    @property
    def residual(self) -> float:
        """Engine work that none of the parts accounts for [J]."""
        return residual_of(Energies(*astuple(self)))

    @property
    def residual_share(self) -> float:
        """Size of the residual over the engine work, or over a part that is larger still [-]."""
        return share_of_work(self.residual, Energies(*astuple(self)))

    @property
    def bad(self) -> bool:
        """Whether `residual_share` exceeds 1e-4, or is not a number."""
        return not self.residual_share <= LARGEST_RESIDUAL


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
    first, last = (Integrals(*(float(trace[name][end]) for name in Integrals._fields)) for end in (0, -1))
    return Audit(*energies(first, last))
