"""What is asked of the engine: full load, the schedule of a shift, and the slip control."""

from __future__ import annotations

from simlaunch.compiled import inline
from simlaunch.physics import state
from simlaunch.scenario.numbers import Record


@inline
def demand(time: float, phase: Record, gearbox: Record) -> float:
    """Share of full load that the run asks for: all of it, except while a gear is changed.

    Parameters
    ----------
    time : float
        Time [s].
    phase : Record
        The phase.
    gearbox : Record
        The gearbox with its shift times.

    Returns
    -------
    float
        Demand, 0 to 1 [-].

    Source: common practice: torque is ramped out and in around a gap, or dipped during the inertia phase.
    """
    elapsed = time - phase.stage_start
    if phase.stage == state.RAMPING_DOWN:
        return max(1.0 - elapsed / gearbox.ramp_down, 0.0)
    if phase.stage == state.IN_GAP:
        return 0.0
    if phase.stage == state.RAMPING_UP:
        return min(elapsed / gearbox.ramp_up, 1.0)
    if phase.stage == state.IN_INERTIA_PHASE:
        return 1.0 - float(gearbox.dip)
    return 1.0


@inline
def throttle_open(phase: Record, gearbox: Record) -> bool:
    """Whether the engine goes on breathing at full load, so that boost is kept.

    Parameters
    ----------
    phase : Record
        The phase.
    gearbox : Record
        The gearbox with its shift habits.

    Returns
    -------
    bool
        False only while a torque gap is made with the throttle.

    Source: common practice.
    """
    shut = phase.stage == state.RAMPING_DOWN or phase.stage == state.IN_GAP
    return gearbox.throttle_open == 1 or not shut


@inline
def brake_share(time: float, phase: Record, release: float) -> float:
    """Share of their torque that brakes still hold while they let go.

    Parameters
    ----------
    time : float
        Time [s].
    phase : Record
        The phase.
    release : float
        Time to let go fully [s].

    Returns
    -------
    float
        Share, 1 to 0 [-].

    Source: common practice: a brake pedal is let up, not dropped.
    """
    elapsed = time - phase.brake_off
    return 0.0 if elapsed >= release else 1.0 - max(elapsed, 0.0) / release


@inline
def standstill_margin(speed: float) -> float:
    """Share of the grip that slip control asks for close to standstill, where slip cannot yet be measured.

    Parameters
    ----------
    speed : float
        Speed of the car [m/s].

    Returns
    -------
    float
        Share: 0.9 at rest, 1 from 3 m/s on [-].

    Source: common practice: below 2 to 3 m/s a launch is led by torque with a margin, above by slip.
    """
    return 1.0 - 0.1 * max(1.0 - speed / 3.0, 0.0)


@inline
def request_command(
    grip_torque: float, inertia: float, wheel_speed: float, target_wheel_speed: float, delay: float
) -> float:
    """Axle torque that is asked of the actuator: what the tyres take at the target slip, corrected by wheel speed.

    T = T_grip + J (w_target - w) / (4 tau)

    With the actuator's lag tau behind it this feedback is critically damped on a wheel of inertia J.

    Parameters
    ----------
    grip_torque : float
        Axle torque that the tyres pass on at the target slip [N m].
    inertia : float
        All that turns with the axle, at axle speed [kg m^2].
    wheel_speed : float
        Wheel speed [rad/s].
    target_wheel_speed : float
        Wheel speed at the target slip [rad/s].
    delay : float
        Time constant of the actuator [s].

    Returns
    -------
    float
        Axle torque [N m].

    Source: ours; gain from the critical damping of tau s^2 + s + k = 0.
    """
    return grip_torque + inertia * (target_wheel_speed - wheel_speed) / (4.0 * delay)


@inline
def request_rate(request: float, command: float, delay: float) -> float:
    """Rate of the torque request behind its actuator, a first-order lag.

    Parameters
    ----------
    request : float
        Request that has come through [N m].
    command : float
        Request that was sent [N m].
    delay : float
        Time constant of the actuator [s].

    Returns
    -------
    float
        Rate [N m/s].

    Source: common practice: 10 to 30 ms by ignition, 60 to 150 ms by throttle.
    """
    return (command - request) / delay
