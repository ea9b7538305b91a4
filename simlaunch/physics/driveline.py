"""From the flywheel to the wheels: couplings, gears, a gear change under load, half shafts, the split of axles."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from simlaunch.compiled import inline, part
from simlaunch.physics import state as at
from simlaunch.physics.table import value_at
from simlaunch.record import Record

Array = NDArray[np.float64]

_PER_LETTING_GO = 1.0 / 0.5  # a clutch that slips by this speed holds half as much of an axle's motion; inverse [s/rad]


class Fluid(NamedTuple):
    """Torques of a torque converter [N m]."""

    pump: float
    turbine: float


class Load(NamedTuple):
    """What the inner end of the half shafts has to move, as one inertia and one resisting torque."""

    inertia: float  # [kg m^2]
    torque: float  # [N m]


class Gearing(NamedTuple):
    """What a gearbox does at one moment."""

    shaft_acceleration: float  # of the half shafts' inner end [rad/s^2]
    input_acceleration: float  # of the gearbox input [rad/s^2]
    input_torque: float  # taken in [N m]
    output_torque: float  # given to the half shafts' inner end, before its own inertia [N m]


class Axles(NamedTuple):
    """What the half shafts of both axles do."""

    front: float  # torque [N m]
    rear: float  # torque [N m]
    load: float  # torque that both together ask of the gearbox output [N m]
    twist_front: float  # rate of twist [rad/s]
    twist_rear: float  # rate of twist [rad/s]
    slip: float  # of the clutch that brings the second axle in, at its half shafts [rad/s]


class SecondAxle(NamedTuple):
    """What a clutch makes of the half shafts behind it."""

    torque: float  # [N m]
    twist_rate: float  # [rad/s]
    slip: float  # its input less its output, at the speed of the half shafts [rad/s]
    held: float  # 1 while it holds; falls with its slip, and with what it carries of the torque that would hold it [-]


@inline
def directed_efficiency(torque: float, efficiency: float) -> float:
    """Factor between torque in and torque out of a gear: losses always cost the side that drives.

    Parameters
    ----------
    torque : float
        Torque, positive when the engine drives [N m].
    efficiency : float
        Efficiency of the gear, 0 to 1 [-].

    Returns
    -------
    float
        Efficiency when driving, its inverse when driven [-].

    Source: balance of power through a mesh; common practice.
    """
    return efficiency if torque >= 0.0 else 1.0 / efficiency


@inline
def engaged(torque: float, inertia: float, ratio: float, efficiency: float, load: Load) -> Gearing:
    """A gearbox in gear: input and half shafts turn at a fixed ratio.

    (J_load + e i^2 J) a = e i T - T_load

    Parameters
    ----------
    torque : float
        Torque on the gearbox input [N m].
    inertia : float
        Inertia that turns with the gearbox input [kg m^2].
    ratio : float
        Input speed over half-shaft speed [-].
    efficiency : float
        Efficiency of the gear [-].
    load : Load
        What has to be moved.

    Returns
    -------
    Gearing
        Accelerations [rad/s^2] and torques [N m].

    Source: Newton's second law for two shafts with a lossy ratio between them.
    """
    coasting = -load.torque / load.inertia
    e = directed_efficiency(torque - inertia * ratio * coasting, efficiency)
    acceleration = (e * ratio * torque - load.torque) / (load.inertia + e * ratio * ratio * inertia)
    through = torque - inertia * ratio * acceleration
    return Gearing(acceleration, ratio * acceleration, through, e * ratio * through)


@inline
def held(torque: float, ratio: float, efficiency: float) -> Gearing:
    """A gearbox in gear on half shafts that brakes hold still.

    Parameters
    ----------
    torque : float
        Torque on the gearbox input [N m].
    ratio : float
        Input speed over half-shaft speed [-].
    efficiency : float
        Efficiency of the gear [-].

    Returns
    -------
    Gearing
        Accelerations, both zero [rad/s^2], and torques [N m].

    Source: statics.
    """
    return Gearing(0.0, 0.0, torque, directed_efficiency(torque, efficiency) * ratio * torque)


@inline
def handing_over(
    torque: float,
    inertia: float,
    share: float,
    ratio: float,
    efficiency: float,
    oncoming_ratio: float,
    oncoming_efficiency: float,
    load: Load,
) -> Gearing:
    """A gearbox that hands torque from the current gear, still engaged, to the oncoming one, which slips.

    Of the torque that passes the input the oncoming gear takes a share, at its own ratio; the input turns with the
    current gear. Both together act like the current gear with the efficiency
    (1 - s) e + s e_oncoming i_oncoming / i

    Parameters
    ----------
    torque : float
        Torque on the gearbox input [N m].
    inertia : float
        Inertia that turns with the gearbox input [kg m^2].
    share : float
        Share that the oncoming gear takes, 0 to 1 [-].
    ratio : float
        Ratio of the current gear [-].
    efficiency : float
        Efficiency of the current gear [-].
    oncoming_ratio : float
        Ratio of the oncoming gear [-].
    oncoming_efficiency : float
        Efficiency of the oncoming gear [-].
    load : Load
        What has to be moved.

    Returns
    -------
    Gearing
        Accelerations [rad/s^2] and torques [N m].

    Source: ours; balance of power with the slip of the oncoming gear as a loss.
    """
    combined = (1.0 - share) * efficiency + share * oncoming_efficiency * oncoming_ratio / ratio
    handed = engaged(torque, inertia, ratio, combined, load)
    if handed.input_torque >= 0.0:
        return handed
    return engaged(torque, inertia, ratio, efficiency, load)  # overrun has nothing to hand over


@inline
def driven_radius(front: Record, rear: Record, drive: Record) -> float:
    """Rolling radius of the driven wheels; where both axles are driven, of the first axle, or else of the rear one.

    Parameters
    ----------
    front : Record
        The front tyre.
    rear : Record
        The rear tyre.
    drive : Record
        The drive.

    Returns
    -------
    float
        Radius [m].

    Source: definition.
    """
    return float(front.radius if drive.front_share >= 1.0 else rear.radius)


@inline
def closing_torque(
    torque: float, inertia: float, ratio: float, efficiency: float, load: Load, closing_rate: float
) -> float:
    """Torque of a slipping oncoming gear that brings input and output together at a steady rate.

    With w_in' = (T - T_B) / J and a = (e i T_B - T_load) / J_load, w_in' - i a = -rate gives
    T_B (1 + e i^2 J / J_load) = T + J (i T_load / J_load + rate)

    Friction only ever works against the slip: where the speeds come together faster than that by themselves, the
    oncoming gear carries nothing.

    Parameters
    ----------
    torque : float
        Torque on the gearbox input [N m].
    inertia : float
        Inertia that turns with the gearbox input [kg m^2].
    ratio : float
        Ratio of the oncoming gear [-].
    efficiency : float
        Efficiency of the oncoming gear [-].
    load : Load
        What has to be moved.
    closing_rate : float
        Rate at which the speed difference falls [rad/s^2].

    Returns
    -------
    float
        Torque that the oncoming gear takes from the input [N m].

    Source: Newton's second law; common practice: the inertia phase of a shift is timed by its control.
    """
    wanted = torque + inertia * (ratio * load.torque / load.inertia + closing_rate)
    e = directed_efficiency(wanted, efficiency)
    closing = wanted / (1.0 + e * ratio * ratio * inertia / load.inertia)
    return max(closing, 0.0) if closing_rate > 0.0 else min(closing, 0.0)


@inline
def shaft_torque(twist: float, twist_rate: float, stiffness: float, damping: float) -> float:
    """Torque of half shafts that twist.

    T = k theta + c theta'

    Parameters
    ----------
    twist : float
        Twist [rad].
    twist_rate : float
        Rate of twist [rad/s].
    stiffness : float
        Both half shafts of the axle together [N m/rad].
    damping : float
        Both half shafts of the axle together [N m s/rad].

    Returns
    -------
    float
        Torque [N m].

    Source: Hooke's law with a linear damper; k = pi G d^4 / (32 l) for a plain shaft.
    """
    return stiffness * twist + damping * twist_rate


@inline
def combined_compliance(front_share: float, front: float, rear: float) -> float:
    """Stiffness, or damping, of both axles' half shafts seen through a centre that splits torque.

    1 / k = s^2 / k_front + (1 - s)^2 / k_rear

    Parameters
    ----------
    front_share : float
        Share of the torque sent to the front [-].
    front : float
        Front stiffness [N m/rad].
    rear : float
        Rear stiffness [N m/rad].

    Returns
    -------
    float
        Stiffness at the centre [N m/rad].

    Source: springs in series through a differential; virtual work.
    """
    if (front_share > 0.0 and front <= 0.0) or (front_share < 1.0 and rear <= 0.0):
        return 0.0  # shafts without damping
    return 1.0 / (front_share * front_share / front + (1.0 - front_share) * (1.0 - front_share) / rear)


@inline
def rigid_load(
    resistance_front: float, resistance_rear: float, inertia_front: float, inertia_rear: float, drive: Record
) -> Load:
    """Wheels on half shafts that do not twist, as one load.

    Open centre: 1 / J = s^2 / J_f + (1 - s)^2 / J_r; locked centre: J = J_f + J_r

    Parameters
    ----------
    resistance_front : float
        Torque that resists the front wheels: tyre force x radius and rolling moment [N m].
    resistance_rear : float
        The same at the rear [N m].
    inertia_front : float
        Both front wheels [kg m^2].
    inertia_rear : float
        Both rear wheels [kg m^2].
    drive : Record
        The drive.

    Returns
    -------
    Load
        Inertia [kg m^2] and torque [N m].

    Source: virtual work on a differential with a fixed torque split.
    """
    if drive.locked == 1:
        return Load(inertia_front + inertia_rear, resistance_front + resistance_rear)
    front, rear = drive.front_share, 1.0 - drive.front_share
    inertia = 1.0 / (front * front / inertia_front + rear * rear / inertia_rear)
    torque = inertia * (front * resistance_front / inertia_front + rear * resistance_rear / inertia_rear)
    return Load(inertia, torque)


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
def axle_clutch_capacity(time: float, drive: Record, phase: Record) -> float:
    """Torque, at the half shafts behind it, that the clutch of the second axle can carry now.

    Its clock begins when the car is let go; until then it carries what it does at that moment.

    Parameters
    ----------
    time : float
        Time [s].
    drive : Record
        The drive.
    phase : Record
        The phase.

    Returns
    -------
    float
        Capacity [N m].

    Source: see `friction_capacity`.
    """
    elapsed = 0.0 if phase.braked == 1 else time - phase.brake_off
    return friction_capacity(elapsed - drive.delay, drive.ramp, drive.capacity)


@part
def second_axle(time: float, y: Array, drive: Record, phase: Record) -> SecondAxle:
    """Half shafts that twist, behind a friction clutch without inertia of its own.

    T = k theta + c theta' with theta' = l w_first - w_wheels while that is no more than the clutch carries; else
    T = +-T_capacity, theta' = (T - k theta) / c, and the clutch slips by l w_first - w_wheels - theta'

    Torque and rate of twist have no jump where it begins or ends to slip, so that this is no event.

    Parameters
    ----------
    time : float
        Time [s].
    y : ndarray, shape (STATES,)
        State, SI units.
    drive : Record
        The drive, with damped half shafts.
    phase : Record
        The phase.

    Returns
    -------
    SecondAxle
        Torque [N m], rate of twist and slip [rad/s].

    Source: Coulomb friction in series with a spring and a damper (Maxwell slip element, from memory).
    """
    rear = drive.front_share >= 1.0
    wheels, twist = (y[at.WHEEL_REAR], y[at.TWIST_REAR]) if rear else (y[at.WHEEL_FRONT], y[at.TWIST_FRONT])
    stiffness, damping = drive.shaft_stiffness[1 if rear else 0], drive.shaft_damping[1 if rear else 0]
    capacity = axle_clutch_capacity(time, drive, phase)
    rate = drive.lead * y[at.SHAFT_SPEED] - wheels
    sticking = shaft_torque(twist, rate, stiffness, damping)
    if abs(sticking) <= capacity:
        return SecondAxle(sticking, rate, 0.0, 1.0)
    torque = capacity if sticking > 0.0 else -capacity
    twist_rate = (torque - stiffness * twist) / damping
    slip = rate - twist_rate
    return SecondAxle(torque, twist_rate, slip, torque / sticking / (1.0 + abs(slip) * _PER_LETTING_GO))


@part
def clutched_axles(time: float, y: Array, drive: Record, phase: Record) -> Axles:
    """Half shafts of a first axle that is driven directly, and of a second one that a clutch brings in.

    Parameters
    ----------
    time : float
        Time [s].
    y : ndarray, shape (STATES,)
        State, SI units.
    drive : Record
        The drive.
    phase : Record
        The phase.

    Returns
    -------
    Axles
        Torques [N m], rates of twist and slip of the clutch [rad/s].

    Source: see `shaft_torque` and `second_axle`; the first axle's shaft bears the second one's torque by its lead.
    """
    second = second_axle(time, y, drive, phase)
    if drive.front_share >= 1.0:
        rate = y[at.SHAFT_SPEED] - y[at.WHEEL_FRONT]
        first = shaft_torque(y[at.TWIST_FRONT], rate, drive.shaft_stiffness[0], drive.shaft_damping[0])
        load = first + drive.lead * second.torque
        return Axles(first, second.torque, load, rate, second.twist_rate, second.slip)
    rate = y[at.SHAFT_SPEED] - y[at.WHEEL_REAR]
    first = shaft_torque(y[at.TWIST_REAR], rate, drive.shaft_stiffness[1], drive.shaft_damping[1])
    load = first + drive.lead * second.torque
    return Axles(second.torque, first, load, second.twist_rate, rate, second.slip)


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
