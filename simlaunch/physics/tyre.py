"""Longitudinal tyre force: Magic Formula, load dependence, transient slip, rolling resistance."""

from __future__ import annotations

from math import cos, exp, pi, sqrt
from typing import NamedTuple

from simlaunch.compiled import inline, part
from simlaunch.physics.magic_formula import Contact, bent_argument, peak_slip, tabulate_shape, tabulated_shape
from simlaunch.physics.table import ease
from simlaunch.record import Record

_NO_LOAD = 1e-9  # below this load [N] a tyre gives no force
_SHORTEST_RELAXATION = 0.005  # share of the relaxation length that is always left
_QUICKEST_RELAXATION = 1e-3  # no tyre relaxes within less time than this [s]
_HIGHEST_SLIP = 1.0  # stands in for the slip of peak force of a tyre whose force never stops rising
_HALVINGS = 60  # of an interval in which a slip lies
_PER_ROLLING_SPEED = 1.0 / 0.1  # rolling resistance and brakes act in full above about this speed; its inverse [s/m]


@inline
def relative_load(axle_load: float, tyre: Record) -> float:
    """Load of one tyre of an axle, as relative distance from its nominal load.

    Parameters
    ----------
    axle_load : float
        Load of both tyres [N].
    tyre : Record
        The tyre.

    Returns
    -------
    float
        (Fz - Fz0) / Fz0 [-].

    Source: Pacejka, Tire and Vehicle Dynamics, ch. 4 (from memory).
    """
    return float(axle_load * tyre.per_load - 1.0)


@inline
def peak_friction(load_change: float, tyre: Record, friction_factor: float) -> float:
    """Peak friction coefficient at a load, on a surface.

    mu = (p1 + p2 dfz) x surface factor, not below a tenth of p1

    Parameters
    ----------
    load_change : float
        Relative load [-].
    tyre : Record
        The tyre.
    friction_factor : float
        Friction of the surface over that of the surface the tyre was described on [-].

    Returns
    -------
    float
        Peak force over load [-].

    Source: Magic Formula load terms p_Dx1, p_Dx2, Pacejka ch. 4 (from memory); the floor is ours.
    """
    return max(tyre.friction + tyre.friction_load * load_change, 0.1 * tyre.friction) * friction_factor


@inline
def curvature_at(load_change: float, tyre: Record) -> float:
    """Curvature factor E at a load, at most 1.

    E = pE1 + pE2 dfz + pE3 dfz^2

    Parameters
    ----------
    load_change : float
        Relative load [-].
    tyre : Record
        The tyre.

    Returns
    -------
    float
        Curvature factor [-].

    Source: Magic Formula load terms p_Ex1 to p_Ex3, Pacejka ch. 4 (from memory).
    """
    e = tyre.curvature + load_change * (tyre.curvature_load + load_change * tyre.curvature_load_square)
    return min(e, 1.0)


@inline
def stiffness_factor_at(load_change: float, friction: float, tyre: Record) -> float:
    """Stiffness factor B at a load, from the slip stiffness.

    B = K / (C D), K / Fz = (pK1 + pK2 dfz) exp(pK3 dfz)

    Parameters
    ----------
    load_change : float
        Relative load [-].
    friction : float
        Peak friction coefficient at that load [-].
    tyre : Record
        The tyre.

    Returns
    -------
    float
        B [-].

    Source: Magic Formula load terms p_Kx1 to p_Kx3, Pacejka ch. 4 (from memory).
    """
    per_load = (tyre.slip_stiffness + tyre.stiffness_load * load_change) * exp(
        tyre.stiffness_load_exponent * load_change
    )
    return max(per_load, 0.1 * tyre.slip_stiffness) * tyre.per_shape / friction


class Grip(NamedTuple):
    """What the load makes of a tyre."""

    friction: float  # peak friction coefficient, surface included
    stiffness_factor: float  # B
    curvature: float  # E


@inline
def grip_at(axle_load: float, tyre: Record, friction_factor: float) -> Grip:
    """Factors of the Magic Formula at a load.

    Parameters
    ----------
    axle_load : float
        Load of both tyres [N].
    tyre : Record
        The tyre.
    friction_factor : float
        Surface factor [-].

    Returns
    -------
    Grip
        Peak friction, B and E [-].

    Source: see the functions above.
    """
    change = relative_load(axle_load, tyre)
    friction = peak_friction(change, tyre, friction_factor)
    return Grip(friction, stiffness_factor_at(change, friction, tyre), curvature_at(change, tyre))


@inline
def contact_at(slip: float, axle_load: float, grip: Grip, tyre: Record) -> Contact:
    """Longitudinal force of both tyres of an axle whose grip is known, and how steeply it still rises with slip.

    Parameters
    ----------
    slip : float
        Longitudinal slip, ISO 8855 [-].
    axle_load : float
        Load of both tyres [N].
    grip : Grip
        Their grip at that load.
    tyre : Record
        The tyre.

    Returns
    -------
    Contact
        Force, positive when driving [N], and its slope over the slip stiffness [-].

    Source: Pacejka, Tire and Vehicle Dynamics, ch. 4 (from memory).
    """
    bent = bent_argument(grip.stiffness_factor * slip, grip.curvature)
    outer = tabulated_shape(bent.force, tyre)
    force = grip.friction * axle_load * outer.force if axle_load > _NO_LOAD else 0.0
    return Contact(force, outer.slope_share * bent.slope_share)


@inline
def axle_contact(slip: float, axle_load: float, tyre: Record, friction_factor: float) -> Contact:
    """Longitudinal force of both tyres of an axle, and how steeply it still rises with slip.

    Parameters
    ----------
    slip : float
        Longitudinal slip, ISO 8855 [-].
    axle_load : float
        Load of both tyres [N].
    tyre : Record
        The tyre.
    friction_factor : float
        Surface factor [-].

    Returns
    -------
    Contact
        Force, positive when driving [N], and its slope over the slip stiffness [-].

    Source: Pacejka, Tire and Vehicle Dynamics, ch. 4 (from memory).
    """
    return contact_at(slip, axle_load, grip_at(axle_load, tyre, friction_factor), tyre)


@inline
def axle_force_limit(axle_load: float, tyre: Record, friction_factor: float) -> float:
    """Largest longitudinal force of both tyres of an axle at their load.

    Parameters
    ----------
    axle_load : float
        Load of both tyres [N].
    tyre : Record
        The tyre.
    friction_factor : float
        Surface factor [-].

    Returns
    -------
    float
        Peak force [N].

    Source: D of the Magic Formula, Pacejka ch. 4 (from memory).
    """
    return peak_friction(relative_load(axle_load, tyre), tyre, friction_factor) * max(axle_load, 0.0)


@part
def axle_peak_slip(axle_load: float, tyre: Record, friction_factor: float) -> float:
    """Slip of peak force of an axle at its load.

    Parameters
    ----------
    axle_load : float
        Load of both tyres [N].
    tyre : Record
        The tyre.
    friction_factor : float
        Surface factor [-].

    Returns
    -------
    float
        Slip, ISO 8855 [-].

    Source: Pacejka, Tire and Vehicle Dynamics, ch. 4 (from memory).
    """
    grip = grip_at(axle_load, tyre, friction_factor)
    return peak_slip(grip.stiffness_factor, tyre.shape_factor, grip.curvature)


@inline
def end_of_grip(axle_load: float, tyre: Record, friction_factor: float) -> float:
    """Slip of peak force, or 1 where the force rises for longer: beyond it a wheel spins.

    Parameters
    ----------
    axle_load : float
        Load of both tyres [N].
    tyre : Record
        The tyre.
    friction_factor : float
        Surface factor [-].

    Returns
    -------
    float
        Slip, ISO 8855 [-].

    Source: see `axle_peak_slip`; the bound is ours.
    """
    return min(axle_peak_slip(axle_load, tyre, friction_factor), _HIGHEST_SLIP)


@part
def slip_for_force(force: float, axle_load: float, tyre: Record, friction_factor: float) -> float:
    """Slip at which an axle drives with a force, up to the end of its grip where it cannot.

    Parameters
    ----------
    force : float
        Force of both tyres, positive when driving [N].
    axle_load : float
        Load of both tyres [N].
    tyre : Record
        The tyre.
    friction_factor : float
        Surface factor [-].

    Returns
    -------
    float
        Slip, ISO 8855, not below 0 [-].

    Source: inverse of `axle_contact` up to its peak.
    """
    low, high = 0.0, end_of_grip(axle_load, tyre, friction_factor)
    grip = grip_at(axle_load, tyre, friction_factor)
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        if contact_at(middle, axle_load, grip, tyre).force < force:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


@inline
def standard_slip(bounded_slip: float) -> float:
    """Slip by ISO 8855 from the bounded slip that a launch carries as its state.

    k = s / (1 - s) for s > 0; k = s otherwise

    While driving, s is (w r - v) / (w r), which stays below 1 even for a wheel that spins on the spot; while braking
    it is (w r - v) / v, the standard's own.

    Parameters
    ----------
    bounded_slip : float
        Slip over the faster of rim and car [-].

    Returns
    -------
    float
        Slip, ISO 8855 [-].

    Source: ours, from the two usual definitions of slip, ISO 8855 and SAE J670.

    Examples
    --------
    >>> standard_slip(0.5)
    1.0
    """
    if bounded_slip <= 0.0:
        return bounded_slip
    return bounded_slip / max(1.0 - bounded_slip, 1e-9)


@inline
def slip_damping(tyre: Record) -> float:
    """Damping that gives a wheel on its tyre, a spring at standstill, the stated damping ratio.

    d = 2 zeta sqrt(m / (K sigma)), m = J / r^2, K the slip stiffness of both tyres at their nominal load

    Parameters
    ----------
    tyre : Record
        The tyre.

    Returns
    -------
    float
        Slip over the speed of the tread [s/m].

    Source: damping ratio of a mass on a spring.
    """
    stiffness = 2.0 * tyre.slip_stiffness * tyre.nominal_load
    mass = tyre.axle_inertia / (tyre.radius * tyre.radius)
    return 2.0 * tyre.low_speed_damping * sqrt(mass / (stiffness * tyre.relaxation_length))


@part
def settle_tyre(tyre: Record) -> None:
    """Fill in what follows from the other numbers of a tyre.

    Parameters
    ----------
    tyre : Record
        The tyre, changed in place.

    Source: see `tabulate_shape` and `slip_damping`.
    """
    tabulate_shape(tyre)
    tyre.slip_damping = slip_damping(tyre)
    tyre.per_load = 0.5 / tyre.nominal_load
    tyre.per_inertia = 1.0 / tyre.axle_inertia


@inline
def damped_slip(transient: float, speed: float, rim_speed: float, tyre: Record) -> float:
    """Slip that the tread sees: the transient slip, with damping added near standstill.

    k = standard(s + d (w r - v) (1 + cos(pi V / V_low)) / 2), V = max(v, w r) below V_low

    d is that of `slip_damping`.

    Parameters
    ----------
    transient : float
        Transient slip s [-].
    speed : float
        Speed of the car [m/s].
    rim_speed : float
        Wheel speed x radius [m/s].
    tyre : Record
        The tyre, settled.

    Returns
    -------
    float
        Slip, ISO 8855 [-].

    Source: form after Pacejka, Tire and Vehicle Dynamics, sec. 8.6 (from memory); the speed in the weight is ours.
    """
    rolling = max(abs(speed), abs(rim_speed))
    if rolling >= tyre.low_speed:
        return standard_slip(transient)
    weight = 0.5 * (1.0 + cos(pi * rolling / tyre.low_speed))
    return standard_slip(transient + tyre.slip_damping * weight * (rim_speed - speed))


@inline
def transient_slip_rate(
    transient: float, speed: float, rim_speed: float, slip: float, slope_share: float, tyre: Record
) -> float:
    """Rate of the transient slip: carcass and tread as two springs in series.

    sigma ds/dt = (w r - v) - max(|v|, |w r|) s, sigma = sigma_0 (dF/dk) / K (1 + k)^2, with 1 + k only for k > 0

    The carcass deflects with the force, u = F / c with c = K / sigma_0, so that du/dt = (dF/dk) / c dk/dt; the last
    factor turns dk into ds. The relaxation length therefore vanishes at the peak of the force, and a tyre that spins
    keeps no more wind-up than its friction holds. The faster of car and rim carries fresh tread into the contact:
    with |v| alone the slip of a wheel that spins while the car hardly moves grows without bound; here s stays below 1.

    Parameters
    ----------
    transient : float
        Transient slip s [-].
    speed : float
        Speed of the car [m/s].
    rim_speed : float
        Wheel speed x radius [m/s].
    slip : float
        Slip that the tread sees, ISO 8855 [-].
    slope_share : float
        Slope of force over slip, as a share of the slip stiffness [-].
    tyre : Record
        The tyre.

    Returns
    -------
    float
        Rate [1/s].

    Source: Pacejka, Tire and Vehicle Dynamics, ch. 7 and 8 (from memory), for the series springs and |v|; the larger
    of the two speeds and the floor of a millisecond are ours.
    """
    rolling = max(abs(speed), abs(rim_speed))
    to_bounded = (1.0 + slip) * (1.0 + slip) if slip > 0.0 else 1.0
    length = tyre.relaxation_length * max(slope_share * to_bounded, _SHORTEST_RELAXATION)
    length = max(length, rolling * _QUICKEST_RELAXATION)
    return (rim_speed - speed - rolling * transient) / length


@inline
def resisting_moment(
    axle_load: float, rim_speed: float, speed: float, tyre: Record, rolling_factor: float, brake: float
) -> float:
    """Moment of rolling resistance and of a brake on the wheels of an axle, against their rotation.

    M = r Fz f x surface factor + brake, f = f0 + f2 v^2; eased through zero speed over about 0.1 m/s

    Parameters
    ----------
    axle_load : float
        Load of both tyres [N].
    rim_speed : float
        Wheel speed x radius [m/s].
    speed : float
        Speed of the car [m/s].
    tyre : Record
        The tyre.
    rolling_factor : float
        Surface factor [-].
    brake : float
        Torque that the brakes of the axle can hold [N m].

    Returns
    -------
    float
        Moment [N m].

    Source: J. Y. Wong, Theory of Ground Vehicles, ch. 1, f = f0 + f2 v^2 (from memory); the easing is ours.
    """
    coefficient = (tyre.rolling_resistance + tyre.rolling_resistance_square * speed * speed) * rolling_factor
    return (coefficient * axle_load * tyre.radius + brake) * ease(rim_speed * _PER_ROLLING_SPEED)
