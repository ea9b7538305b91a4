"""What changes at each event: the hand-over from one phase to the next."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from simlaunch.compiled import part
from simlaunch.physics import balance
from simlaunch.physics import state as at
from simlaunch.record import Coupling, Record, ShiftKind
from simlaunch.simulation import events as ev

Array = NDArray[np.float64]

_CONVERTER = int(Coupling.TORQUE_CONVERTER)
_TORQUE_GAP = int(ShiftKind.TORQUE_GAP)


@part
def _enter(stage: int, t: float, phase: Record) -> None:
    phase.stage = stage
    phase.stage_start = t


@part
def _begin_to_engage(t: float, duration: float, y: Array, phase: Record) -> None:
    phase.coupling = at.SLIPPING
    phase.slip_direction = 1 if y[at.ENGINE_SPEED] >= y[at.INPUT_SPEED] else -1
    phase.engagement_start = t
    phase.engagement_time = duration


@part
def _let_gear_slip(duration: float, y: Array, car: Record, phase: Record) -> None:
    """Hand the shafts to the oncoming gear, which brings them together within `duration` [s]."""
    phase.path = at.ONCOMING
    apart = y[at.INPUT_SPEED] - car.gearbox.ratio[phase.oncoming_gear] * y[at.SHAFT_SPEED]
    phase.closing_rate = apart / duration


@part
def _open_gap(t: float, y: Array, car: Record, phase: Record) -> None:
    _enter(at.IN_GAP, t, phase)
    phase.coupling = at.OPEN
    _let_gear_slip(0.5 * car.gearbox.gap, y, car, phase)  # the synchroniser has the first half of the gap


@part
def _begin_inertia_phase(t: float, y: Array, car: Record, phase: Record) -> None:
    _enter(at.IN_INERTIA_PHASE, t, phase)
    _let_gear_slip(car.gearbox.inertia_phase, y, car, phase)


@part
def begin_shift(t: float, y: Array, car: Record, phase: Record) -> None:
    """Leave the current gear for the next, in the manner of this gearbox.

    Parameters
    ----------
    t : float
        Time [s].
    y : ndarray, shape (STATES,)
        State, SI units.
    car : Record
        The car.
    phase : Record
        The phase, changed in place.
    """
    phase.oncoming_gear = phase.gear + 1
    box = car.gearbox
    if box.shift_kind == _TORQUE_GAP:
        if box.ramp_down > 0.0:
            _enter(at.RAMPING_DOWN, t, phase)
        else:
            _open_gap(t, y, car, phase)
    elif box.hand_over > 0.0:
        _enter(at.IN_HAND_OVER, t, phase)
        phase.path = at.HANDING_OVER
    else:
        _begin_inertia_phase(t, y, car, phase)


@part
def end_stage(t: float, y: Array, car: Record, phase: Record) -> None:
    """Pass to the stage that follows by the clock.

    Parameters
    ----------
    t : float
        Time [s].
    y : ndarray, shape (STATES,)
        State, SI units.
    car : Record
        The car.
    phase : Record
        The phase, changed in place.
    """
    if phase.stage == at.RAMPING_DOWN:
        _open_gap(t, y, car, phase)
    elif phase.stage == at.IN_GAP:
        if car.coupling.kind != _CONVERTER:  # a converter's lock-up has its own conditions
            _begin_to_engage(t, car.gearbox.ramp_up, y, phase)
        _enter(at.RAMPING_UP if car.gearbox.ramp_up > 0.0 else at.DRIVING, t, phase)
    elif phase.stage == at.RAMPING_UP:
        _enter(at.DRIVING, t, phase)
    elif phase.stage == at.IN_HAND_OVER:
        _begin_inertia_phase(t, y, car, phase)


@part
def _close_gear(t: float, y: Array, car: Record, phase: Record) -> None:
    phase.path = at.ENGAGED
    phase.gear = phase.oncoming_gear
    y[at.INPUT_SPEED] = car.gearbox.ratio[phase.gear] * y[at.SHAFT_SPEED]
    if phase.coupling == at.STUCK:
        y[at.ENGINE_SPEED] = y[at.INPUT_SPEED]
    if phase.stage == at.IN_INERTIA_PHASE:
        _enter(at.DRIVING, t, phase)


@part
def _settle_coupling(t: float, y: Array, car: Record, phase: Record) -> None:
    """Speeds have met: stick if friction can carry what sticking takes, else slip the other way."""
    y[at.ENGINE_SPEED] = y[at.INPUT_SPEED]
    phase.coupling = at.STUCK
    if phase.stage == at.LAUNCHING:
        _enter(at.DRIVING, t, phase)
    needed = balance.balance(t, y, car, phase).friction
    if abs(needed) > balance.friction_capacity(t, car, phase):
        phase.coupling = at.SLIPPING
        phase.slip_direction = 1 if needed > 0.0 else -1


@part
def _break_away(t: float, y: Array, car: Record, phase: Record) -> None:
    needed = balance.balance(t, y, car, phase).friction
    phase.coupling = at.SLIPPING
    phase.slip_direction = 1 if needed > 0.0 else -1


@part
def happen(event: int, t: float, y: Array, car: Record, phase: Record) -> None:
    """Carry out an event.

    Parameters
    ----------
    event : int
        Which; see the names in `events`.
    t : float
        Time [s].
    y : ndarray, shape (STATES,)
        State, SI units; speeds that have met are made exactly equal.
    car : Record
        The car.
    phase : Record
        The phase, changed in place.
    """
    if event == ev.SPEEDS_MEET:
        _settle_coupling(t, y, car, phase)
    elif event == ev.BREAKS_AWAY:
        _break_away(t, y, car, phase)
    elif event == ev.SHIFT_BEGINS:
        begin_shift(t, y, car, phase)
    elif event == ev.GEAR_CLOSES:
        _close_gear(t, y, car, phase)
    elif event == ev.LOCK_UP:
        _begin_to_engage(t, car.coupling.ramp, y, phase)
    elif event == ev.BRAKE_OFF:
        phase.braked = 0
        phase.brake_off = t
    elif event == ev.LIMITER_UP:
        phase.limiter_side += 1
    elif event == ev.LIMITER_DOWN:
        phase.limiter_side -= 1
    elif event == ev.FRONT_LIFT:
        phase.front_lifted = 1 - phase.front_lifted
