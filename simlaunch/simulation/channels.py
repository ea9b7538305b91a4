"""What a launch shows at each sample, beyond its state: forces, torques, use of grip."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from simlaunch.compiled import entry, part
from simlaunch.physics import body, sides, tyre
from simlaunch.physics import state as at
from simlaunch.physics.balance import Balance, balance, front_apart, rear_apart, stored_energy
from simlaunch.record import Record

Array = NDArray[np.float64]

STATE_CHANNELS: dict[str, int] = {
    "distance": at.DISTANCE,
    "speed": at.SPEED,
    "wheel_speed_front": at.WHEEL_FRONT,
    "wheel_speed_rear": at.WHEEL_REAR,
    "load_transfer": at.TRANSFER,
    "engine_speed": at.ENGINE_SPEED,
    "input_speed": at.INPUT_SPEED,
    "shaft_speed": at.SHAFT_SPEED,
    "boost": at.BOOST,
    "engine_work": at.ENGINE_WORK,
    "drag_work": at.DRAG_WORK,
    "rolling_work": at.ROLLING_WORK,
    "grade_work": at.GRADE_WORK,
    "slip_work_front": at.SLIP_WORK_FRONT,
    "slip_work_rear": at.SLIP_WORK_REAR,
    "coupling_work": at.COUPLING_WORK,
    "gearing_work": at.GEARING_WORK,
    "twist_work": at.TWIST_WORK,
    "axle_clutch_work": at.AXLE_CLUTCH_WORK,
}

DERIVED_CHANNELS = (
    "acceleration",
    "load_front",
    "load_rear",
    "slip_front",
    "slip_rear",
    "force_front",
    "force_rear",
    "force_limit_front",
    "force_limit_rear",
    "peak_slip_front",
    "peak_slip_rear",
    "engine_torque",
    "available_torque",
    "coupling_torque",
    "gearbox_input_torque",
    "gearbox_output_torque",
    "axle_torque_front",
    "axle_torque_rear",
    "drag",
    "gear",
    "stored_energy",
    "axle_clutch_torque",
    "axle_clutch_slip",
    "slip_power_front",
    "slip_power_rear",
)

WHEEL_CHANNELS = ("wheel_speed", "slip", "force", "load")
"""What each of two wheels of an axle shows where they differ, as `slip_rear_left`."""
SIDES = ("left", "right")


@part
def _note_most(axle: int, load: float, y: Array, car: Record, out: Array) -> None:
    """The most that an axle can pass on at its load, and the slip of its faster wheel at which it does."""
    end, paired = (car.front, car.fixed.front_paired) if axle == 0 else (car.rear, car.fixed.rear_paired)
    if paired == 1:
        most = sides.summit(sides.axle_sides(axle, load, y[at.CROSS_LOAD] if axle == 1 else 0.0, car), end)
        out[7 + axle], out[9 + axle] = most.force, most.slip
        return
    out[7 + axle] = tyre.axle_force_limit(load, end, car.road.friction_factor)
    out[9 + axle] = tyre.axle_peak_slip(load, end, car.road.friction_factor)


@part
def _note_slip_power(b: Balance, time: float, y: Array, car: Record, phase: Record, out: Array) -> None:
    """Heat between tyres and road, of both wheels of an axle together."""
    out[23] = b.ground.front.force * (y[at.WHEEL_FRONT] * car.front.radius - y[at.SPEED])
    out[24] = b.ground.rear.force * (y[at.WHEEL_REAR] * car.rear.radius - y[at.SPEED])
    if car.fixed.front_paired == 1:
        apart = front_apart(b.ground.front.load, b.axles.front, time, y, car, phase)
        out[23] += 2.0 * apart.force * y[at.APART_FRONT] * car.front.radius
    if car.fixed.rear_paired == 1:
        apart = rear_apart(b.ground.rear.load, b.axles.rear, time, y, car, phase)
        out[24] += 2.0 * apart.force * y[at.APART_REAR] * car.rear.radius


@entry
def derive(
    times: Array,
    states: Array,
    segments: NDArray[np.int64],
    phases: NDArray[np.void],
    car: Record,
    work: Record,
    out: Array,
    grip_of: tuple[bool, bool],
) -> None:
    """Work out the derived channels of every sample.

    Parameters
    ----------
    times : ndarray, shape (n,)
        Time of the samples [s].
    states : ndarray, shape (n, STATES)
        State at the samples, SI units.
    segments : ndarray, shape (n,)
        Index of each sample's phase.
    phases : ndarray, shape (m,)
        The phases.
    car : Record
        The car.
    work : Record
        Scratch space of a launch.
    out : ndarray, shape (n, channels)
        Filled in the order of `DERIVED_CHANNELS`, SI units.
    grip_of : tuple of bool
        Whether the force and the slip at which grip ends, which take more than all the rest, are wanted
        too, front and rear, and with either the heat of slip. Where they are not, their places are left as they are.
    """
    for i in range(times.size):
        y, phase = work.inner, phases[segments[i]]
        for k in range(y.size):  # as a slice it would have the compiler build the text of an error: seconds
            y[k] = states[i, k]
        b = balance(times[i], y, car, phase)
        road = b.ground
        out[i, 0] = road.acceleration
        out[i, 1] = road.front.load
        out[i, 2] = road.rear.load
        out[i, 3] = road.front.slip
        out[i, 4] = road.rear.slip
        out[i, 5] = road.front.force
        out[i, 6] = road.rear.force
        if grip_of[0]:
            _note_most(0, road.front.load, y, car, out[i])
        if grip_of[1]:
            _note_most(1, road.rear.load, y, car, out[i])
        if grip_of[0] or grip_of[1]:
            _note_slip_power(b, times[i], y, car, phase, out[i])
        out[i, 11] = b.drive.engine_torque
        out[i, 12] = b.drive.available_torque
        out[i, 13] = b.friction + b.drive.pump
        out[i, 14] = b.gearing.input_torque
        out[i, 15] = b.gearing.output_torque
        out[i, 16] = b.axles.front
        out[i, 17] = b.axles.rear
        out[i, 18] = road.drag
        out[i, 19] = phase.gear + 1
        out[i, 20] = stored_energy(y, car)
        out[i, 21] = 0.0
        out[i, 22] = 0.0
        if car.drive.clutched == 1:
            out[i, 21] = (b.axles.rear if car.drive.front_share >= 1.0 else b.axles.front) / car.drive.clutch_ratio
            out[i, 22] = b.axles.slip * car.drive.clutch_ratio


@entry
def derive_wheels(
    times: Array,
    states: Array,
    segments: NDArray[np.int64],
    phases: NDArray[np.void],
    axle: int,
    car: Record,
    work: Record,
    out: Array,
) -> None:
    """Work out the channels of each wheel of an axle whose wheels differ.

    Parameters
    ----------
    times : ndarray, shape (n,)
        Time of the samples [s].
    states : ndarray, shape (n, STATES)
        State at the samples, SI units.
    segments : ndarray, shape (n,)
        Index of each sample's phase.
    phases : ndarray, shape (m,)
        The phases.
    axle : int
        0 front, 1 rear [-].
    car : Record
        The car.
    work : Record
        Scratch space of a launch.
    out : ndarray, shape (n, 8)
        Filled in the order of `WHEEL_CHANNELS`, left and right of each, SI units.
    """
    for i in range(times.size):
        y, phase = work.inner, phases[segments[i]]
        for k in range(y.size):
            y[k] = states[i, k]
        road = body.ground(times[i], y, car, phase)
        if axle == 0:
            turn, apart, wheels = (
                y[at.WHEEL_FRONT],
                y[at.APART_FRONT],
                body.front_wheels(road.front.load, times[i], y, car, phase),
            )
        else:
            turn, apart, wheels = (
                y[at.WHEEL_REAR],
                y[at.APART_REAR],
                body.rear_wheels(road.rear.load, times[i], y, car, phase),
            )
        out[i, 0], out[i, 1] = turn + apart, turn - apart
        out[i, 2], out[i, 3] = wheels.left.slip, wheels.right.slip
        out[i, 4], out[i, 5] = 0.5 * wheels.left.force, 0.5 * wheels.right.force
        out[i, 6], out[i, 7] = 0.5 * wheels.left.load, 0.5 * wheels.right.load
