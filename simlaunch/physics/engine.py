"""The engine: full-load torque with boost, closed throttle, limiter, and what a demand makes of them."""

from __future__ import annotations

from math import pi

from simlaunch.compiled import inline
from simlaunch.physics.table import ease, value_at
from simlaunch.record import Record

_NO_TORQUE = 1e-9  # a full load that gives less than this above a shut throttle counts as nothing [N m]


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
def limited_torque(torque: float, speed: float, gear: int, engine: Record) -> float:
    """Full-load torque that is left where the engine management limits it gear by gear.

    min(T, T_limit(gear), T_curve(gear, w))

    Parameters
    ----------
    torque : float
        Full-load torque with the boost that is there [N m].
    speed : float
        Engine speed [rad/s].
    gear : int
        Index of the gear that carries the torque [-].
    engine : Record
        The engine.

    Returns
    -------
    float
        Torque [N m].

    Source: common practice: torque limits by gear, as one value or over engine speed.
    """
    torque = min(torque, float(engine.gear_limit[gear]))
    if engine.gear_curve[gear].count > 0:
        torque = min(torque, value_at(engine.gear_curve[gear], speed))
    return torque


@inline
def limiter_start(engine: Record) -> float:
    """Engine speed at which the rev limiter begins to take torque.

    Parameters
    ----------
    engine : Record
        The engine.

    Returns
    -------
    float
        Speed [rad/s].

    Source: definition of the band.
    """
    return float(engine.rev_limit - engine.limiter_band)


@inline
def limiter_share(speed: float, engine: Record) -> float:
    """Share of the torque that the rev limiter lets through: all up to its band, none from the limit on.

    (w_limit - w) / band, so that an engine on its limiter settles within the band, at or below the limit

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
    return min(max((engine.rev_limit - speed) / engine.limiter_band, 0.0), 1.0)


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
def load_share(torque: float, open_torque: float, closed_torque: float) -> float:
    """Share of full load at which an engine runs: the demand that gives its torque.

    1 - (T_open - T) / (T_open - T_closed), from 0 to 1

    Parameters
    ----------
    torque : float
        Torque that it gives [N m].
    open_torque : float
        Torque at full load with the boost that is there [N m].
    closed_torque : float
        Torque with the throttle shut [N m].

    Returns
    -------
    float
        Share, 0 to 1 [-].

    Source: inverse of `demanded_torque`.
    """
    missing = (open_torque - torque) / max(open_torque - closed_torque, _NO_TORQUE)
    return min(max(1.0 - missing, 0.0), 1.0)


@inline
def boost_rate(boost: float, speed: float, load: float, engine: Record) -> float:
    """Rate of the lagged share, which follows the load.

    db/dt = (load - b) / tau, tau = tau(w) while it rises and tau_decay while it falls

    Parameters
    ----------
    boost : float
        Share of the lagged torque that is there [-].
    speed : float
        Engine speed [rad/s].
    load : float
        Share of full load at which the engine breathes, 0 to 1 [-].
    engine : Record
        The engine.

    Returns
    -------
    float
        Rate [1/s].

    Source: common practice: first-order turbocharger lag, driven by what the engine burns.
    """
    if load > boost:
        return (load - boost) / value_at(engine.boost_time, speed)
    return (load - boost) / engine.boost_decay


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
