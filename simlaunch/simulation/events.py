"""The moments at which the equations change: one function for each, falling through zero where it happens."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from math import inf

import numpy as np
from numpy.typing import NDArray

from simlaunch.compiled import inline, part
from simlaunch.physics import balance, body, engine
from simlaunch.physics import state as at
from simlaunch.record import Coupling, Record

Array = NDArray[np.float64]


class EventKind(StrEnum):
    """What can happen in a run, in the order of the event functions; the value is its printed name."""

    TARGETS_PASSED = "targets passed"
    """Every wanted speed and distance."""
    SPEEDS_MEET = "coupling speeds meet"
    """A slipping coupling comes to rest."""
    BREAKS_AWAY = "coupling breaks away"
    """A stuck coupling is asked for more than it can carry."""
    SHIFT_BEGINS = "shift begins"
    """The car has reached the road speed at which this gear is left."""
    GEAR_CLOSES = "gear engaged"
    """The oncoming gear has brought input and output together."""
    LOCK_UP = "lock-up begins"
    """The lock-up clutch of a converter begins to engage."""
    BRAKE_OFF = "brakes let go"
    """Drive force outweighs the grade."""
    STALLS = "engine stalls"
    """The engine is pulled down too far to run."""
    LIMITER_UP = "rev limiter cuts in"
    """Into or beyond the limiter's band."""
    LIMITER_DOWN = "rev limiter lets go"
    """Back out of it."""
    FRONT_LIFT = "front axle lifts or lands"
    END = "end"
    """The end of the run, which no event function finds."""


_WITH_FUNCTION = tuple(EventKind)[:-1]
EVENTS = len(_WITH_FUNCTION)
(
    TARGETS_PASSED,
    SPEEDS_MEET,
    BREAKS_AWAY,
    SHIFT_BEGINS,
    GEAR_CLOSES,
    LOCK_UP,
    BRAKE_OFF,
    STALLS,
    LIMITER_UP,
    LIMITER_DOWN,
    FRONT_LIFT,
) = range(EVENTS)
CHANGE_BEGINS = frozenset((EventKind.SHIFT_BEGINS, EventKind.BREAKS_AWAY, EventKind.LOCK_UP))
"""Events that begin a change in coupling or gearbox."""


@dataclass(frozen=True)
class Event:
    """Something that happened at one time of a run."""

    time: float
    """[s]"""
    kind: EventKind


_CONVERTER = int(Coupling.TORQUE_CONVERTER)
_STALL_SHARE = 0.4  # share of idle speed below which an engine has stalled
_INACTIVE = 1.0
_LIMITER_REACH = 2e-3  # a limiter has been met, or left, this share of its band past the kink: beyond all rounding


@inline
def _balance_values(b: balance.Balance, t: float, car: Record, phase: Record, out: Array) -> None:
    """Those that take all forces."""
    if phase.coupling == at.STUCK:
        out[BREAKS_AWAY] = balance.friction_capacity(t, car, phase) - abs(b.friction)
    if phase.braked == 1:
        drive = b.axles.front / car.front.radius + b.axles.rear / car.rear.radius
        out[BRAKE_OFF] = b.ground.grade + b.ground.drag - drive


@inline
def _coupling_values(y: Array, car: Record, phase: Record, out: Array) -> None:
    slip = y[at.ENGINE_SPEED] - y[at.INPUT_SPEED]
    out[SPEEDS_MEET] = slip * phase.slip_direction if phase.coupling == at.SLIPPING else _INACTIVE
    out[BREAKS_AWAY] = _INACTIVE
    out[LOCK_UP] = _INACTIVE
    out[BRAKE_OFF] = _INACTIVE
    allowed = 0 < car.coupling.lock_gear <= phase.gear + 1 and phase.stage == at.DRIVING
    if car.coupling.kind == _CONVERTER and allowed and phase.coupling == at.OPEN:
        out[LOCK_UP] = car.coupling.lock_ratio - y[at.INPUT_SPEED] / max(y[at.ENGINE_SPEED], 1.0)


@inline
def _gear_values(y: Array, car: Record, phase: Record, out: Array) -> None:
    box = car.gearbox
    out[SHIFT_BEGINS] = _INACTIVE
    out[GEAR_CLOSES] = _INACTIVE
    held = phase.gear >= box.count - 1 or car.launch.hold_gear == 1
    if phase.stage == at.DRIVING and phase.path == at.ENGAGED and not held:
        out[SHIFT_BEGINS] = box.shift_road_speed[phase.gear] - y[at.SPEED]
    if phase.path == at.ONCOMING:
        apart = y[at.INPUT_SPEED] - box.ratio[phase.oncoming_gear] * y[at.SHAFT_SPEED]
        out[GEAR_CLOSES] = apart if phase.closing_rate > 0.0 else -apart


@inline
def _break_points(y: Array, car: Record, phase: Record, out: Array) -> None:
    """Kinks that change no equation, but that no step may straddle.

    A phase may begin on the kink itself, on either side of it as rounding has it, as where the launch speed is that at
    which the limiter begins; the reach makes sure that it still finds the limiter ahead.
    """
    over = y[at.ENGINE_SPEED] - engine.limiter_start(car.engine)
    band = car.engine.limiter_band
    reach = _LIMITER_REACH * band
    out[LIMITER_UP] = _INACTIVE
    out[LIMITER_DOWN] = _INACTIVE
    if phase.limiter_side < 2:
        out[LIMITER_UP] = phase.limiter_side * band + reach - over
    if phase.limiter_side > 0:
        out[LIMITER_DOWN] = over + reach - (phase.limiter_side - 1) * band
    air_speed = y[at.SPEED] + car.air.head_wind
    front = car.fixed.weight_front - car.fixed.lift_front * air_speed * abs(air_speed) - y[at.TRANSFER]
    out[FRONT_LIFT] = -front if phase.front_lifted == 1 else front


@part
def _state_values(y: Array, car: Record, phase: Record, out: Array) -> None:
    """Those that take the state alone."""
    out[TARGETS_PASSED] = max(car.run.stop_distance - y[at.DISTANCE], car.run.stop_speed - y[at.SPEED])
    out[STALLS] = y[at.ENGINE_SPEED] - _STALL_SHARE * car.engine.idle
    _coupling_values(y, car, phase, out)
    _gear_values(y, car, phase, out)
    _break_points(y, car, phase, out)


@part
def event_values(t: float, y: Array, car: Record, phase: Record, out: Array) -> None:
    """Value of every event function; one that cannot happen now stays at 1."""
    _state_values(y, car, phase, out)
    if phase.coupling == at.STUCK or phase.braked == 1:
        _balance_values(balance.balance(t, y, car, phase), t, car, phase, out)


@part
def _of_wheels(t: float, y: Array, car: Record, phase: Record, slopes: Array, values: Array) -> None:
    """The same as below for a car with an axle whose wheels differ."""
    b = balance.balance(t, y, car, phase)
    balance.rates_of(b, y, car, phase, slopes)
    balance.add_apart(b, t, y, car, phase, True, slopes)
    _state_values(y, car, phase, values)
    _balance_values(b, t, car, phase, values)


@part
def rates_and_values(t: float, y: Array, car: Record, phase: Record, slopes: Array, values: Array) -> None:
    """Rate of every state and value of every event function, from one balance of forces."""
    if car.drive.paired == 1:
        _of_wheels(t, y, car, phase, slopes, values)
        return
    road = body.ground(t, y, car, phase)
    drive = balance.drive_torques(t, y, car, phase, road)
    b = balance.balance_on(road, drive, t, y, car, phase)
    balance.rates_of(b, y, car, phase, slopes)
    _state_values(y, car, phase, values)
    _balance_values(b, t, car, phase, values)


@inline
def stage_end(car: Record, phase: Record) -> float:
    """Time at which the present stage ends by the clock [s]."""
    box = car.gearbox
    if phase.stage == at.RAMPING_DOWN:
        return float(phase.stage_start + box.ramp_down)
    if phase.stage == at.IN_GAP:
        return float(phase.stage_start + box.gap)
    if phase.stage == at.RAMPING_UP:
        return float(phase.stage_start + box.ramp_up)
    if phase.stage == at.IN_HAND_OVER:
        return float(phase.stage_start + box.hand_over)
    return inf


@part
def next_bound(t: float, car: Record, phase: Record) -> float:
    """Next moment known beforehand: end of a stage, of an engagement, of the brakes' release, of the run [s].

    The second axle's clutch counts as well: when it begins to be brought in, and when it is.
    """
    bound = min(car.run.time_limit, stage_end(car, phase))
    engaged = phase.engagement_start + phase.engagement_time
    released = phase.brake_off + car.launch.brake_release
    if engaged > t:
        bound = min(bound, engaged)
    if released > t:
        bound = min(bound, released)
    if car.drive.clutched == 1:
        begun = phase.brake_off + car.drive.delay
        brought_in = begun + car.drive.ramp
        if brought_in > t:
            bound = min(bound, begun if begun > t else brought_in)
    return bound
