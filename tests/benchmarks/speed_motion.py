"""The motion of a launch as a general library for differential equations sees it: rates, events, hand-over.

Only the fifteen states that act on the motion are handed out; the energy integrals follow from them and would slow a
general library down for nothing. The compiled form takes the places in memory of the car and its phase rather than the
records themselves, and numba calls it, not the way by which our own kernels are reached: a call from Python then costs
well under a microsecond.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

import numpy as np
from numba import from_dtype, njit
from numba.extending import intrinsic
from numpy.typing import NDArray

from simlaunch.compiled import _compiler
from simlaunch.physics import balance
from simlaunch.physics import state as at
from simlaunch.record import CAR, Car
from simlaunch.simulation import events as ev
from simlaunch.simulation import prepare
from simlaunch.simulation.bench import scales
from simlaunch.simulation.kernel import launch_work, overdue_event
from simlaunch.simulation.transitions import end_stage, happen

Array = NDArray[np.float64]
Step = tuple[float, Array, int]
"""Time and state where an advance ended, and the event that ended it, or -1 at the bound."""
Advance = Callable[[float, float, Array], Step]
"""advance(t, bound, y): integrates to the first event or to the bound."""

STATES = at.DISTANCE + 1
CLOCK = -1  # in place of an event: the bound has been reached
GOING, FINISHED, STOPPED = range(3)
LONGEST_STEP = 0.05  # [s]; with 0.25, as our kernel has it, CVODE is no quicker at the same error
_STORM = 500  # more changes of phase than this in one launch mean that no phase can hold
_DIFFERENCE = 1.5e-8  # relative step of a difference quotient: the root of the rounding error


def _record_at(kind: np.dtype[Any]) -> Any:
    """An intrinsic that reads a place in memory as a record."""
    record = from_dtype(kind)

    @intrinsic
    def record_at(context: Any, place: Any) -> Any:
        def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
            return builder.inttoptr(arguments[0], context.get_value_type(signature.return_type))

        return record(place), generate

    return record_at


_compiler()  # from here on numba knows every part
_called_from_python = njit(nogil=True, error_model="numpy")
_car_at, _phase_at = _record_at(CAR), _record_at(at.PHASE)


@_called_from_python
def motion_rates(t: float, y: Array, car_place: int, phase_place: int, out: Array) -> None:
    """Compiled rates of the fifteen states."""
    full = np.empty(at.STATES)
    balance.rates(t, y, _car_at(car_place), _phase_at(phase_place), full)
    out[:] = full[:STATES]


@_called_from_python
def motion_jacobian(t: float, y: Array, car_place: int, phase_place: int, scale: Array, out: Array) -> None:
    """Compiled derivative of the rates by the states, from forward differences."""
    car, phase = _car_at(car_place), _phase_at(phase_place)
    here, there, moved = np.empty(at.STATES), np.empty(at.STATES), y.copy()
    balance.rates(t, y, car, phase, here)
    for j in range(STATES):
        moved[j] += _DIFFERENCE * max(abs(y[j]), scale[j])
        balance.rates(t, moved, car, phase, there)
        for i in range(STATES):
            out[i, j] = (there[i] - here[i]) / (moved[j] - y[j])
        moved[j] = y[j]


@_called_from_python
def motion_events(t: float, y: Array, car_place: int, phase_place: int, out: Array) -> None:
    """Compiled event functions."""
    ev.event_values(t, y, _car_at(car_place), _phase_at(phase_place), out)


@_called_from_python
def motion_hand_over(t: float, y: Array, car_place: int, phase_place: int, event: int) -> tuple[int, float]:
    """Compiled hand-over: the loop of `simulation.kernel.make_run`, without its advance."""
    car, phase, values = _car_at(car_place), _phase_at(phase_place), np.empty(ev.EVENTS)
    for _ in range(_STORM):
        if event == ev.TARGETS_PASSED:
            return FINISHED, t
        if event == ev.STALLS:
            return STOPPED, t
        if event >= 0:
            happen(event, t, y, car, phase)
        elif t >= ev.stage_end(car, phase):
            end_stage(t, y, car, phase)
        event = overdue_event(t, y, car, phase, values)
        if event < 0:
            if t >= car.run.time_limit:
                return STOPPED, t
            return GOING, max(ev.next_bound(t, car, phase), t)
    return STOPPED, t


class Motion:
    """One car on its way: its rates, events and hand-over, compiled and called from Python, at a place that stays."""

    def __init__(self) -> None:
        self._cars, self._phases = np.zeros(1, CAR).view(np.recarray), np.zeros(1, at.PHASE).view(np.recarray)
        self.places = self._cars.ctypes.data, self._phases.ctypes.data
        self.car, self.phase, self._work = self._cars[0], self._phases[0], launch_work()

    def begin(self, car: Car) -> Array:
        """Take a car to the start; the state there."""
        if car.drive.paired == 1:
            raise NotImplementedError("only states of whole axles are handed out; leave out cars whose wheels differ")
        self._cars[0], self._phases[0] = car, at.first_phase()
        work = launch_work()
        prepare.begin(self.car, work, self.phase)
        return np.array(work.state[:STATES])

    def rates(self, t: float, y: Array, out: Array) -> None:
        """Rate of every state."""
        motion_rates(t, y, *self.places, out)

    def events(self, t: float, y: Array, out: Array) -> None:
        """Value of every event function; an event happens where one falls through zero."""
        motion_events(t, y, *self.places, out)

    def hand_over(self, t: float, y: Array, event: int) -> tuple[int, float]:
        """Pass to the phase that follows an event: whether the launch goes on, and the next bound [s]."""
        return motion_hand_over(t, y, *self.places, event)

    def let_go(self) -> float:
        """Time at which brakes let go, from which a launch is timed [s]."""
        return float(self.phase.brake_off)


def motion_scales() -> Array:
    """Size of each of the fifteen states below which its error is absolute, SI units."""
    return scales()[:STATES]


def end_time(car: Car, motion: Motion, advance: Advance) -> float:
    """Time from the brakes letting go to the last target [s]; not a number where the launch did not get there."""
    t, y = 0.0, motion.begin(car)
    status, bound = motion.hand_over(t, y, CLOCK)
    for _ in range(_STORM):
        if status != GOING:
            break
        event = CLOCK
        if bound > t:
            t, y, event = advance(t, bound, y)
        status, bound = motion.hand_over(t, y, event)
    return t - motion.let_go() if status == FINISHED else np.nan


def end_times(cars: Iterable[Car], motion: Motion, advance: Advance) -> Array:
    """The end time of every car [s]; not a number where the library gave up."""
    times = []
    with np.errstate(all="ignore"):
        for car in cars:
            try:
                times.append(end_time(car, motion, advance))
            except ArithmeticError:
                times.append(np.nan)
    return np.array(times)
