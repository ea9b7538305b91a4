"""How the rates of a launch change with its state: what an implicit step has to know.

Not every state moves by itself. In gear, the gearbox input turns with the half shafts; with the coupling stuck, the
engine turns with the gearbox input; distance and the energy integrals move nothing. What is left, the free states of
a phase, are shifted one at a time, and those that keep pace are shifted with them.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from simlaunch.compiled import inline, part
from simlaunch.integrator.differences import SHIFT
from simlaunch.integrator.linear import in_lanes
from simlaunch.physics import state as at
from simlaunch.physics.balance import Drive, add_apart, balance_on, drive_torques, motion_of, work_rates_of
from simlaunch.physics.body import (
    Ground,
    either_front_footing,
    either_rear_footing,
    front_footing,
    ground,
    ground_on,
    rear_footing,
    transfer_acceleration,
)
from simlaunch.record import Pedal, Record

Array = NDArray[np.float64]

_HELD_SLIP = int(Pedal.HELD_SLIP)
MOST_FREE = 18
"""No phase has more free states than this."""

_ROWS, _USUAL_ROWS = in_lanes(at.INTEGRALS), in_lanes(at.APART_FRONT)
"""States of a car whose wheels of an axle differ, and of others, which never reach what comes behind."""
_ON_THE_ROAD = (
    at.SPEED,
    at.WHEEL_FRONT,
    at.WHEEL_REAR,
    at.SLIP_FRONT,
    at.SLIP_REAR,
    at.TRANSFER,
)
"""The states on which the forces of the road depend; they come first among the free ones."""
_OFF_THE_ENGINE = (*_ON_THE_ROAD, at.TRANSFER_RATE)
"""The states that the engine does not feel, unless slip control minds the tyres; they come first as well."""


@inline
def _free(state: int, structure: Record) -> int:
    place = structure.free_count
    structure.free[place] = state
    structure.free_count = place + 1
    return place


@inline
def _follow(state: int, leader: int, share: float, structure: Record) -> None:
    place = structure.follower_count
    structure.follower[place] = state
    structure.leader[place] = leader
    structure.share[place] = share
    structure.follower_count = place + 1


@part
def fill_structure(car: Record, phase: Record, structure: Record) -> None:
    """Find out which states are free in a phase, and which keep pace with others.

    Parameters
    ----------
    car : Record
        The car.
    phase : Record
        The phase.
    structure : Record
        Filled.
    """
    structure.rows = _ROWS if car.drive.paired == 1 else _USUAL_ROWS
    structure.free_count = 0
    structure.follower_count = 0
    structure.counter_count = 1
    structure.counter[0] = at.DISTANCE
    for state in _OFF_THE_ENGINE:
        _free(state, structure)
    _free(at.BOOST, structure)
    leader, ratio = _free(at.SHAFT_SPEED, structure), 1.0
    if phase.path == at.ONCOMING:
        leader = _free(at.INPUT_SPEED, structure)
    else:
        ratio = car.gearbox.ratio[phase.gear]
        _follow(at.INPUT_SPEED, leader, ratio, structure)
    if phase.coupling == at.STUCK:
        _follow(at.ENGINE_SPEED, leader, ratio, structure)
    else:
        _free(at.ENGINE_SPEED, structure)
    if car.drive.rigid == 0:
        _free(at.TWIST_FRONT, structure)
        if car.drive.locked == 1:
            _free(at.TWIST_REAR, structure)
    if car.pedal.kind == _HELD_SLIP:
        _free(at.REQUEST, structure)
    if car.drive.paired == 1:
        _free_wheels(car, structure)


@inline
def _free_wheels(car: Record, structure: Record) -> None:
    """What the wheels of an axle differ by; on one shaft they turn alike."""
    if car.fixed.front_paired == 1:
        _free(at.SLIP_APART_FRONT, structure)
        if car.drive.locking[0] < 1.0:
            _free(at.APART_FRONT, structure)
    if car.fixed.rear_paired == 1:
        _free(at.SLIP_APART_REAR, structure)
        if car.drive.locking[1] < 1.0:
            _free(at.APART_REAR, structure)
        if car.drive.cross_lever > 0.0:
            _free(at.CROSS_LOAD, structure)


@inline
def _feels_the_clock(t: float, car: Record, phase: Record) -> bool:
    """Whether anything in this phase goes by time alone: a ramp of torque, a clutch brought in, brakes that let go."""
    ramping = phase.stage == at.RAMPING_DOWN or phase.stage == at.RAMPING_UP or phase.stage == at.IN_HAND_OVER
    engaging = phase.coupling == at.SLIPPING and t < phase.engagement_start + phase.engagement_time
    bringing_in = car.drive.clutched == 1 and t < phase.brake_off + car.drive.delay + car.drive.ramp
    return ramping or engaging or bringing_in or t < phase.brake_off + car.launch.brake_release


@inline
def _shift(y: Array, place: int, shift: float, structure: Record) -> None:
    """Move a free state, and all that keeps pace with it."""
    y[structure.free[place]] += shift
    for i in range(structure.follower_count):
        if structure.leader[i] == place:
            y[structure.follower[i]] += structure.share[i] * shift


@part
def _rates_on_wheels(
    road: Ground, drive: Drive, t: float, y: Array, car: Record, phase: Record, whole: int, out: Array
) -> None:
    """The same as below for a car with an axle whose wheels differ."""
    b = balance_on(road, drive, t, y, car, phase)
    motion_of(b, y, car, phase, out)
    if whole == 1:
        work_rates_of(b, y, car, out)
    add_apart(b, t, y, car, phase, whole == 1, out)


@part
def _rates_on(
    road: Ground, drive: Drive, t: float, y: Array, car: Record, phase: Record, whole: int, out: Array
) -> None:
    if car.drive.paired == 1:
        _rates_on_wheels(road, drive, t, y, car, phase, whole, out)
        return
    b = balance_on(road, drive, t, y, car, phase)
    motion_of(b, y, car, phase, out)
    if whole == 1:
        work_rates_of(b, y, car, out)


@part
def _drive_on(road: Ground, t: float, y: Array, car: Record, phase: Record) -> Drive:
    return drive_torques(t, y, car, phase, road)


@part
def _moved_wheels(state: int, road: Ground, t: float, y: Array, car: Record, phase: Record) -> Ground:
    """The same for a car with an axle whose wheels differ."""
    if state == at.WHEEL_FRONT or state == at.SLIP_FRONT or state == at.APART_FRONT or state == at.SLIP_APART_FRONT:
        return ground_on(either_front_footing(road.front.load, t, y, car, phase), road.rear, road.drag, car, phase)
    if state == at.WHEEL_REAR or state == at.SLIP_REAR or state >= at.APART_REAR:
        return ground_on(road.front, either_rear_footing(road.rear.load, t, y, car, phase), road.drag, car, phase)
    return ground(t, y, car, phase)


@part
def _moved_ground(state: int, road: Ground, t: float, y: Array, car: Record, phase: Record) -> Ground:
    """What the road does once a state has moved: wheels and slip of an axle leave the other axle as it was."""
    if car.drive.paired == 1:
        return _moved_wheels(state, road, t, y, car, phase)
    if state == at.WHEEL_FRONT or state == at.SLIP_FRONT:
        return ground_on(front_footing(road.front.load, t, y, car, phase), road.rear, road.drag, car, phase)
    if state == at.WHEEL_REAR or state == at.SLIP_REAR:
        return ground_on(road.front, rear_footing(road.rear.load, t, y, car, phase), road.drag, car, phase)
    return ground(t, y, car, phase)


@part
def linearise(
    t: float, y: Array, rates: Array, car: Record, phase: Record, scale: Array, structure: Record, linear: Record
) -> None:
    """Change of every rate with each free state and with time, by differences.

    A state that the road does not feel leaves tyres, loads and drag as they are, and one that the engine does not feel
    its torque, which spares the dearest parts.

    Parameters
    ----------
    t : float
        Time [s].
    y : ndarray, shape (STATES,)
        State, SI units; moved and put back.
    rates : ndarray, shape (STATES,)
        Its rates.
    car : Record
        The car.
    phase : Record
        The phase.
    scale : ndarray, shape (STATES,)
        Size of each state.
    structure : Record
        Filled with the free states of the phase.
    linear : Record
        Filled; its time slope serves as scratch space first.
    """
    fill_structure(car, phase, structure)
    road, out, count = ground(t, y, car, phase), linear.time_slope, at.STATES if linear.whole == 1 else structure.rows
    drive = _drive_on(road, t, y, car, phase)
    for j in range(structure.free_count):
        state = structure.free[j]
        if state == at.TRANSFER_RATE:  # the only state that moves nothing but its own kind, and that evenly
            linear.jacobian[j, :] = 0.0
            linear.jacobian[j, at.TRANSFER] = 1.0
            linear.jacobian[j, at.TRANSFER_RATE] = transfer_acceleration(0.0, 1.0, 0.0, car.body)
            continue
        kept = y[state]
        shift = SHIFT * (scale[state] + abs(kept))
        _shift(y, j, shift, structure)
        here, driven = road, drive
        feels_engine = j >= len(_OFF_THE_ENGINE)
        if j < len(_ON_THE_ROAD) or state >= at.APART_FRONT:
            here = _moved_ground(state, road, t, y, car, phase)
            feels_engine = car.pedal.kind == _HELD_SLIP
        if feels_engine:
            driven = _drive_on(here, t, y, car, phase)
        _rates_on(here, driven, t, y, car, phase, linear.whole, out)
        _shift(y, j, -shift, structure)
        y[state] = kept
        per_shift = 1.0 / shift
        for i in range(count):
            linear.jacobian[j, i] = (out[i] - rates[i]) * per_shift
    if not _feels_the_clock(t, car, phase):
        out[:] = 0.0
        return
    later = t + SHIFT
    road = ground(later, y, car, phase)
    _rates_on(road, _drive_on(road, later, y, car, phase), later, y, car, phase, linear.whole, out)
    for i in range(count):
        out[i] = (out[i] - rates[i]) / SHIFT
