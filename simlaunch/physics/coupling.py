"""Couplings between engine and gearbox: friction clutch and torque converter."""

from __future__ import annotations

from typing import NamedTuple

from simlaunch.compiled import inline
from simlaunch.physics.table import value_at
from simlaunch.scenario.numbers import Record


class Fluid(NamedTuple):
    """Torques of a torque converter [N m]."""

    pump: float
    turbine: float


@inline
def friction_capacity(elapsed: float, ramp: float, capacity: float) -> float:
    """Torque that friction can carry while it engages.

    Parameters
    ----------
    elapsed : float
        Time since engagement began [s].
    ramp : float
        Time to engage fully [s].
    capacity : float
        Torque when fully engaged [N m].

    Returns
    -------
    float
        Capacity [N m].

    Source: Coulomb friction, T = z mu N r_m, with the clamp load rising evenly; Shigley (from memory).
    """
    if elapsed >= ramp:
        return capacity
    return capacity * max(elapsed, 0.0) / ramp


@inline
def converter_torques(engine_speed: float, turbine_speed: float, coupling: Record) -> Fluid:
    """Pump and turbine torque of a torque converter.

    T_pump = C(sr) w_e^2, T_turbine = TR(sr) T_pump, sr = w_t / w_e

    Past the coupling point, where the turbine outruns the pump, the torque is carried back by the slope that the
    capacity has at equal speeds.

    Parameters
    ----------
    engine_speed : float
        Pump speed [rad/s].
    turbine_speed : float
        Turbine speed [rad/s].
    coupling : Record
        The converter: capacity and torque ratio over speed ratio.

    Returns
    -------
    Fluid
        Torque taken from the engine and torque given to the gearbox [N m].

    Source: SAE converter capacity factor K = N / sqrt(T), C = 1 / K^2 (from memory).
    """
    ratio = turbine_speed / max(engine_speed, 1.0)
    if ratio <= 1.0:
        pump = value_at(coupling.fluid_capacity, ratio) * engine_speed * engine_speed
        return Fluid(pump, pump * value_at(coupling.torque_ratio, ratio))
    knots = coupling.fluid_capacity.count
    width = coupling.fluid_capacity.knot[knots - 1] - coupling.fluid_capacity.knot[knots - 2]
    slope = coupling.fluid_capacity.cubic[knots - 2, 0] / width
    pump = slope * (1.0 - ratio) * engine_speed * engine_speed
    return Fluid(pump, pump)
