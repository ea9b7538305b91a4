"""The state vector of a launch and the phase that decides which equations hold.

Everything continuous lives in the state vector; everything that jumps lives in the phase.
"""

from __future__ import annotations

import numpy as np

from simlaunch.record import Record

# Places in the state vector.
(
    SPEED,  # [m/s]
    WHEEL_FRONT,  # wheel speed of the front axle [rad/s]
    WHEEL_REAR,  # [rad/s]
    SLIP_FRONT,  # transient slip of the front tyres, bounded: over the faster of rim and car [-]
    SLIP_REAR,  # [-]
    TRANSFER,  # load moved from the front axle to the rear axle [N]
    TRANSFER_RATE,  # [N/s]
    ENGINE_SPEED,  # [rad/s]
    INPUT_SPEED,  # gearbox input shaft [rad/s]
    SHAFT_SPEED,  # half shafts at their inner end [rad/s]
    TWIST_FRONT,  # half-shaft twist; with an open centre or one driven axle the first place serves alone [rad]
    TWIST_REAR,  # [rad]
    BOOST,  # share of the lagged torque that is there, 0 to 1 [-]
    REQUEST,  # axle torque that the slip control asks for, behind its actuator [N m]
    DISTANCE,  # [m]
    APART_FRONT,  # half the difference of wheel speeds, left less right, of an axle whose wheels differ [rad/s]
    APART_REAR,  # [rad/s]
    SLIP_APART_FRONT,  # half the difference of their transient slips [-]
    SLIP_APART_REAR,  # [-]
    CROSS_LOAD,  # load that shaft torque moves from the right to the left wheel of a live rear axle [N]
    ENGINE_WORK,  # the energy integrals [J]
    DRAG_WORK,
    ROLLING_WORK,  # rolling resistance, and brakes while they let go
    GRADE_WORK,
    SLIP_WORK_FRONT,
    SLIP_WORK_REAR,
    COUPLING_WORK,
    GEARING_WORK,  # gears, and the clutches of a limited-slip axle
    TWIST_WORK,
    AXLE_CLUTCH_WORK,  # in the clutch that brings the second axle in
) = range(30)
STATES = 30
INTEGRALS = ENGINE_WORK
"""From this place on, states are integrals that no rate and no event depends on."""

# What the coupling does. While it slips, the phase holds the direction: +1 engine faster, -1 gearbox input faster.
OPEN, SLIPPING, STUCK = 0, 1, 2

# How the gearbox input is tied to the half shafts.
ENGAGED = 0  # by the current gear
HANDING_OVER = 1  # by the current gear, while the oncoming gear already carries a share
ONCOMING = 2  # by the oncoming gear, which still slips

# What the run is doing.
LAUNCHING, DRIVING, RAMPING_DOWN, IN_GAP, RAMPING_UP, IN_HAND_OVER, IN_INERTIA_PHASE = range(7)

PHASE = np.dtype(
    (
        np.record,
        np.dtype(
            [
                ("stage", "i8"),
                ("stage_start", "f8"),  # [s]
                ("gear", "i8"),  # index of the current gear; first gear is 0
                ("oncoming_gear", "i8"),
                ("coupling", "i8"),
                ("slip_direction", "i8"),
                ("engagement_start", "f8"),  # time at which the coupling began to engage [s]
                ("engagement_time", "f8"),  # time it takes to engage fully [s]
                ("path", "i8"),
                (
                    "closing_rate",
                    "f8",
                ),  # rate at which the oncoming gear brings the speeds together [rad/s^2]
                ("braked", "i8"),  # 1: the car is held by its brakes
                ("brake_off", "f8"),  # time at which the brakes began to let go [s]
                ("limiter_side", "i8"),  # 0 below the limiter's band, 1 within it, 2 above
                ("front_lifted", "i8"),
            ],
            align=True,
        ),
    )
)


def first_phase() -> Record:
    """The phase in which a launch begins: first gear engaged, coupling open.

    Returns
    -------
    Record
        Scalar record of type `PHASE`.

    Source: definition.
    """
    phase: Record = np.zeros(1, dtype=PHASE).view(np.recarray)[0]
    return phase
