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
from simlaunch.physics.balance import (
    Drive,
    add_apart,
    balance_on,
    drive_from,
    motion_of,
    supply_of,
    uptake_of,
    work_rates_of,
)
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
from simlaunch.simulation.events import Seen

Array = NDArray[np.float64]

_HELD_SLIP = int(Pedal.HELD_SLIP)
_TIME = -1  # in place of a state
MOST_FREE = 18
"""No phase has more free states than this."""

_ROWS, _USUAL_ROWS = in_lanes(at.INTEGRALS), in_lanes(at.APART_FRONT)
"""States of a car whose wheels of an axle differ, and of others, which never reach what comes behind."""
_ALWAYS_FREE = (at.WHEEL_REAR, at.WHEEL_FRONT, at.TRANSFER_RATE, at.TRANSFER, at.SPEED, at.SLIP_REAR, at.SLIP_FRONT)
"""The first of the free states, which are eliminated from the last to the first: a state on which few others act
comes late, which spares a fifth of that work."""


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
    for state in _ALWAYS_FREE:
        _free(state, structure)
    leader, ratio = _free(at.SHAFT_SPEED, structure), 1.0
    if car.pedal.kind == _HELD_SLIP:
        _free(at.REQUEST, structure)
    if phase.path == at.ONCOMING:
        leader = _free(at.INPUT_SPEED, structure)
    else:
        ratio = car.gearbox.ratio[phase.gear]
        _follow(at.INPUT_SPEED, leader, ratio, structure)
    if car.drive.rigid == 0:
        _free(at.TWIST_FRONT, structure)
    if phase.coupling == at.STUCK:
        _follow(at.ENGINE_SPEED, leader, ratio, structure)
    else:
        _free(at.ENGINE_SPEED, structure)
    _free(at.BOOST, structure)
    if car.drive.rigid == 0 and car.drive.locked == 1:
        _free(at.TWIST_REAR, structure)
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
    return ramping or engaging or _clutch_comes_in(t, car, phase) or _brakes_let_go(t, car, phase)


@inline
def _clutch_comes_in(t: float, car: Record, phase: Record) -> bool:
    return bool(car.drive.clutched == 1 and t < phase.brake_off + car.drive.delay + car.drive.ramp)


@inline
def _brakes_let_go(t: float, car: Record, phase: Record) -> bool:
    return bool(t < phase.brake_off + car.launch.brake_release)


@inline
def _moves_the_road(state: int) -> bool:
    """Whether the forces of the road depend on a state."""
    rolls = state == at.SPEED or state == at.WHEEL_FRONT or state == at.WHEEL_REAR
    apart = at.APART_FRONT <= state < at.INTEGRALS
    return rolls or state == at.SLIP_FRONT or state == at.SLIP_REAR or state == at.TRANSFER or apart


@inline
def _moves_the_command(state: int, car: Record) -> bool:
    """Whether slip control minds a state; the twist of half shafts only where it decides whether a clutch slips."""
    twist = state == at.TWIST_FRONT or state == at.TWIST_REAR
    return car.pedal.kind == _HELD_SLIP and (not twist or car.drive.clutched == 1)


@inline
def _turns_the_engine(state: int) -> bool:
    """Whether a state, or what keeps pace with it, has a say in what the engine and its coupling could do."""
    moved = state == at.BOOST or state == at.SHAFT_SPEED or state == at.INPUT_SPEED or state == at.ENGINE_SPEED
    return moved or state == _TIME


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
    """Rates of a car with an axle whose wheels differ."""
    b = balance_on(road, drive, t, y, car, phase)
    motion_of(b, y, car, phase, out)
    if whole == 1:
        work_rates_of(b, y, car, out)
    add_apart(b, t, y, car, phase, whole == 1, out)


@part
def _moved_wheels(state: int, road: Ground, t: float, y: Array, car: Record, phase: Record) -> Ground:
    """The same for a car with an axle whose wheels differ."""
    if state == at.WHEEL_FRONT or state == at.SLIP_FRONT or state == at.APART_FRONT or state == at.SLIP_APART_FRONT:
        return ground_on(either_front_footing(road.front.load, t, y, car, phase), road.rear, road.drag, car, phase)
    if state == at.WHEEL_REAR or state == at.SLIP_REAR or state >= at.APART_REAR:
        return ground_on(road.front, either_rear_footing(road.rear.load, t, y, car, phase), road.drag, car, phase)
    return ground(t, y, car, phase)


@inline
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
def linearise(  # noqa: C901 (a branch for each thing that a state may move)
    t: float, y: Array, rates: Array, seen: Seen, car: Record, phase: Record, scale: Array, structure: Record,
    linear: Record,
) -> None:  # fmt: skip
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
    seen : Seen
        What was found on the way to them.
    car : Record
        The car.
    phase : Record
        The phase.
    scale : ndarray, shape (STATES,)
        Size of each state.
    structure : Record
        The free states of the phase.
    linear : Record
        Filled.
    """
    count, held_slip = at.STATES if linear.whole == 1 else structure.rows, car.pedal.kind == _HELD_SLIP
    columns, clock = structure.free_count, _feels_the_clock(t, car, phase)
    if not clock:
        linear.time_slope[:] = 0.0
    for j in range(columns + 1 if clock else columns):  # time comes last
        state, kept, shift, now, out = _TIME, 0.0, SHIFT, t, linear.jacobian[j]
        if j == columns:
            now = t + shift
        else:
            state = structure.free[j]
            if state == at.TRANSFER_RATE:  # the only state that moves nothing but its own kind, and that evenly
                out[:] = 0.0
                out[at.TRANSFER] = 1.0
                out[at.TRANSFER_RATE] = transfer_acceleration(0.0, 1.0, 0.0, car.body)
                continue
            kept = y[state]
            shift = SHIFT * (scale[state] + abs(kept))
            _shift(y, j, shift, structure)
        on_the_road = _moves_the_road(state) or (state == _TIME and _brakes_let_go(t, car, phase))
        turns_engine = _turns_the_engine(state)
        road, drive, supply, taken = seen.road, seen.drive, seen.supply, seen.taken
        if on_the_road:
            road = _moved_ground(state, road, now, y, car, phase)
        if turns_engine:
            supply = supply_of(now, y, car, phase)
        if held_slip and (on_the_road or state == _TIME):
            taken = uptake_of(now, y, car, phase, road)
        if turns_engine or _moves_the_command(state, car):
            drive = drive_from(supply, taken, now, y, car, phase, road)
        if car.drive.paired == 1:
            _rates_on_wheels(road, drive, now, y, car, phase, linear.whole, out)
        else:
            b = balance_on(road, drive, now, y, car, phase)
            motion_of(b, y, car, phase, out)
            if linear.whole == 1:
                work_rates_of(b, y, car, out)
        per_shift = 1.0 / shift
        for i in range(count):
            out[i] = (out[i] - rates[i]) * per_shift
        if state == _TIME:
            for i in range(out.size):  # without a slice, which would ask for memory
                linear.time_slope[i] = out[i]
        else:
            _shift(y, j, -shift, structure)
            y[state] = kept
