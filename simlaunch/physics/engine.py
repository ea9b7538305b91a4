"""The engine: full-load torque with boost, closed throttle, limiter, and what a demand makes of them."""

from __future__ import annotations

from math import pi

from simlaunch.compiled import inline
from simlaunch.physics.table import ease, value_at
from simlaunch.record import Record


@inline
def boosted_torque(speed: float, boost: float, engine: Record) -> float:
    """Full-load torque at a speed with the boost that is there.

    T = T_curve(w) (1 - lagged share (1 - b))

    Parameters
    ----------
    speed : float
        Engine speed [rad/s].
    boost : float
        Share of the lagged torque that is there, 0 to 1 [-].
    engine : Record
        The engine.

    Returns
    -------
    float
        Torque [N m].

    Source: common practice: a share at once, the rest behind the turbocharger's first-order lag.
    """
    return value_at(engine.torque, speed) * (1.0 - engine.lagged_share * (1.0 - boost))


@inline
def limited_torque(torque: float, gear: int, engine: Record) -> float:
    """Full-load torque that is left where the engine management limits it gear by gear.

    min(T, T_limit(gear))

    Parameters
    ----------
    torque : float
        Full-load torque with the boost that is there [N m].
    gear : int
        Index of the gear that carries the torque [-].
    engine : Record
        The engine.

    Returns
    -------
    float
        Torque [N m].

    Source: common practice: torque limits by gear.
    """
    return min(torque, float(engine.gear_limit[gear]))


@inline
def limiter_share(speed: float, engine: Record) -> float:
    """Share of the torque that the rev limiter lets through: all at the limit, none at the end of its band.

    Parameters
    ----------
    speed : float
        Engine speed [rad/s].
    engine : Record
        The engine.

    Returns
    -------
    float
        Share, 0 to 1 [-].

    Source: common practice: a soft limiter.
    """
    return min(max(1.0 - (speed - engine.rev_limit) / engine.limiter_band, 0.0), 1.0)


@inline
def closed_throttle_torque(speed: float, engine: Record) -> float:
    """Torque with the throttle shut: overrun drag, fading into the idle governor.

    T = -T_overrun(w) tanh((w - w_idle) / (0.1 w_idle))

    Parameters
    ----------
    speed : float
        Engine speed [rad/s].
    engine : Record
        The engine.

    Returns
    -------
    float
        Torque, negative above idle [N m].

    Source: common practice; the passage through idle is ours.
    """
    return -value_at(engine.overrun, speed) * ease((speed - engine.idle) / (0.1 * engine.idle))


@inline
def demanded_torque(open_torque: float, closed_torque: float, demand: float) -> float:
    """Torque at a demand between closed throttle (0) and full load (1).

    Parameters
    ----------
    open_torque : float
        Torque at full load [N m].
    closed_torque : float
        Torque with the throttle shut [N m].
    demand : float
        Demand, 0 to 1 [-].

    Returns
    -------
    float
        Torque [N m].

    Source: common practice: torque-based engine management.
    """
    return closed_torque + demand * (open_torque - closed_torque)


@inline
def boost_rate(boost: float, speed: float, throttle_open: bool, engine: Record) -> float:
    """Rate of the lagged share.

    db/dt = (1 - b) / tau(w) with the throttle open; -b / tau_decay with it shut

    Parameters
    ----------
    boost : float
        Share of the lagged torque that is there [-].
    speed : float
        Engine speed [rad/s].
    throttle_open : bool
        Whether the engine breathes at full load.
    engine : Record
        The engine.

    Returns
    -------
    float
        Rate [1/s].

    Source: common practice: first-order turbocharger lag.
    """
    if throttle_open:
        return (1.0 - boost) / value_at(engine.boost_time, speed)
    return -boost / engine.boost_decay


@inline
def mean_effective_pressure(torque: float, displacement: float) -> float:
    """Brake mean effective pressure of a four-stroke engine.

    p = 4 pi T / V

    Parameters
    ----------
    torque : float
        Torque at the crank [N m].
    displacement : float
        Swept volume of all cylinders [m^3].

    Returns
    -------
    float
        Pressure [Pa].

    Source: definition: work of one cycle, which is two turns, over swept volume.

    Examples
    --------
    >>> round(mean_effective_pressure(200.0, 2.0e-3))
    1256637
    """
    return 4.0 * pi * torque / displacement


@inline
def air_mass_flow(power: float, specific_consumption: float, air_fuel_ratio: float) -> float:
    """Air that an engine has to breathe for a power.

    m' = P b a

    Parameters
    ----------
    power : float
        Power at the crank [W].
    specific_consumption : float
        Fuel burnt per work at the crank [kg/J].
    air_fuel_ratio : float
        Mass of air over mass of fuel [-].

    Returns
    -------
    float
        Mass flow [kg/s].

    Source: definitions of brake specific fuel consumption and air-fuel ratio.

    Examples
    --------
    300 kW at 300 g/(kW h), with 12 parts of air to one of fuel by mass:

    >>> round(air_mass_flow(300e3, 0.300 / 3.6e6, 12.0), 9)
    0.3
    """
    return power * specific_consumption * air_fuel_ratio
