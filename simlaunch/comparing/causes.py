"""What a launch loses to what: a budget of time by cause, for one curve.

A launch takes longer than an ideal one for several reasons. Each of them can be taken away from the car: tyres that
hold all torque, a second axle that its clutch holds from the start (where a clutch brings one in), slip that is held
where it is best, shifts without a gap, boost that follows at once, a driveline without losses, no drag and no rolling
resistance, wheels and driveline without inertia. The ideal launch has none of them. Causes act together (a car short of
grip loses less to a lag of boost), so that taking away one alone, or all but one, gives different answers; the budget
holds their Shapley values over every set of causes, which add up to the real time less the ideal one. Shift speeds and
target slip stay those of the real car. A share below zero is no fault: tyres that spin may keep the engine where it
pulls, so that more grip alone makes the launch slower.

Two things are no causes here. Without its inertia, or against a clutch that is let in at once, an engine stalls at the
launch, so that neither can be taken away by itself. Held slip and unlimited grip are steps of one thing: where grip
holds all torque, nothing spins.

The sets between the real and the ideal launch are launched with a wider tolerance: of the demonstration cars no share
is off by more than 0.1 ms for it. The real and the ideal launch keep their own, so that the shares add up.

Source of the shares: see `shapley`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from simlaunch.comparing.shapley import Share, moved_to, shapley
from simlaunch.launching.launch_speed import settle
from simlaunch.launching.launches import times_of
from simlaunch.metrics.marks import Target
from simlaunch.parameters.fill import lower
from simlaunch.record import Car, Pedal
from simlaunch.scenario.model import Scenario
from simlaunch.simulation.run import complete

Array = NDArray[np.float64]

_TOLERANCE = 1e-4  # of the sets between [-]
_NO_TIME = 1e-3  # of a shift that is taken away: far below what is reported, and phases keep their order [s]
_HOLDS_ALL = 10.0  # times the grip, at which no car of this world spins its wheels [-]
_CARRIES_ALL = 1e6  # torque that no half shaft of this world is given [N m]
_NO_INERTIA = 0.02  # share that is left, so that wheels stay within reach of the integrator's steps [-]


class Cause(Enum):
    """Something that a launch loses time to."""

    GRIP = "grip that does not hold all torque"
    SECOND_AXLE = "second axle that its clutch does not hold"
    WHEELSPIN = "slip beyond the best"
    SHIFTS = "shifts"
    BOOST = "boost that lags"
    LOSSES = "losses of the driveline"
    RESISTANCE = "drag and rolling resistance"
    INERTIA = "inertia of wheels and driveline"


def _hold_all(car: Car) -> None:
    car.road.friction_factor *= _HOLDS_ALL


def _hold_second_axle(car: Car) -> None:
    drive = car.drive
    if drive.clutched:
        drive.capacity, drive.delay, drive.ramp = _CARRIES_ALL, 0.0, 0.0


def _shift_at_once(car: Car) -> None:
    box = car.gearbox
    for phase in ("ramp_down", "gap", "ramp_up", "hand_over", "inertia_phase"):
        box[phase] = min(float(box[phase]), _NO_TIME)
    box.dip = 0.0


def _no_lag(car: Car) -> None:
    car.engine.lagged_share = 0.0


def _no_losses(car: Car) -> None:
    car.gearbox.efficiency[:] = 1.0


def _no_resistance(car: Car) -> None:
    car.body.drag_area = 0.0
    car.road.rolling_factor = 0.0


def _no_inertia(car: Car) -> None:
    for part in (car.front, car.rear):
        part.axle_inertia *= _NO_INERTIA
    car.drive.inertia *= _NO_INERTIA
    car.gearbox.input_inertia *= _NO_INERTIA


_TAKEN_AWAY: dict[Cause, Callable[[Car], None]] = {
    Cause.GRIP: _hold_all,
    Cause.SECOND_AXLE: _hold_second_axle,
    Cause.SHIFTS: _shift_at_once,
    Cause.BOOST: _no_lag,
    Cause.LOSSES: _no_losses,
    Cause.RESISTANCE: _no_resistance,
    Cause.INERTIA: _no_inertia,
}


@dataclass(frozen=True)
class Budget:
    """Time of a launch with full pedal, and what it is made of.

    Parameters
    ----------
    curve : str
        Name of the curve.
    target : Target
        What the time is taken to.
    ideal : float
        Time of the launch without any of the causes [s].
    shares : dict of Cause to Share
        What each cause adds; ideal time and shares together are the time of the launch [s].
    """

    curve: str
    target: Target
    ideal: float
    shares: dict[Cause, Share]

    @property
    def time(self) -> float:
        """Time of the launch with all causes [s]."""
        return self.ideal + sum(share.share for share in self.shares.values())


def without(full: Car, held: Car, present: Sequence[Cause]) -> Car:
    """A car of which some causes are left.

    Parameters
    ----------
    full, held : Car
        The car with full pedal and with held slip, both complete.
    present : sequence of Cause
        The causes that stay.

    Returns
    -------
    Car
        A copy.
    """
    spins = Cause.WHEELSPIN in present or Cause.GRIP not in present
    car = (full if spins else held).copy()
    for cause, take in _TAKEN_AWAY.items():
        if cause not in present:
            take(car)
    return car


def causes_of(scenario: Scenario) -> tuple[Cause, ...]:
    """What a launch of this car may lose time to.

    Parameters
    ----------
    scenario : Scenario
        The scenario.

    Returns
    -------
    tuple of Cause
        In the order of the table.
    """
    clutched = scenario.drive.second_axle is not None
    return tuple(cause for cause in Cause if clutched or cause is not Cause.SECOND_AXLE)


def _sets(causes: Sequence[Cause]) -> list[tuple[Cause, ...]]:
    """Every set of causes, in the order of the bits of its index."""
    return [tuple(c for i, c in enumerate(causes) if index >> i & 1) for index in range(1 << len(causes))]


def budget(
    scenario: Scenario, curves: Sequence[str], target: Target, *, tolerance: float | None = None
) -> tuple[Budget | None, ...]:
    """What launches with full pedal lose to what.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    curves : sequence of str
        Names of its curves.
    target : Target
        What the time is taken to.
    tolerance : float, optional
        Relative error allowed per step [-].

    Returns
    -------
    tuple of Budget or None
        One for each curve; None where some launch misses the target.

    Raises
    ------
    UsageError
        No curve of that name, or a tolerance out of range.
    """
    causes = causes_of(scenario)
    sets = _sets(causes)
    launched: dict[bytes, int] = {}  # sets that come to the same car are launched once
    cars: list[Car] = []
    place = np.empty((len(curves), len(sets)), np.int64)
    for row, curve in enumerate(curves):
        full, held = (lower(scenario, curve, pedal) for pedal in Pedal)
        settle((full, held), target)  # and all launches keep the speed of the car as it is
        for car in (full, held):
            complete(car)
        for column, present in enumerate(sets):
            car = without(full, held, present)
            key = car.tobytes()
            if key not in launched:
                launched[key] = len(cars)
                cars.append(car)
            place[row, column] = launched[key]
    times = times_of(cars, target, tolerance or _TOLERANCE)[place]
    ends = times_of([cars[each] for each in place[:, [0, -1]].flat], target, tolerance).reshape(-1, 2)
    return tuple(
        _budget(curve, target, causes, moved_to(row, *map(float, end)))
        for curve, row, end in zip(curves, times, ends, strict=True)
    )


def _budget(curve: str, target: Target, causes: Sequence[Cause], times: Array) -> Budget | None:
    if not np.isfinite(times).all():
        return None
    return Budget(curve, target, float(times[0]), dict(zip(causes, shapley(times), strict=True)))
