"""What bounds a phase, and what follows it, written once more in jax.numpy for many cars at once.

The names are those of `simlaunch.simulation.events` and `simlaunch.simulation.transitions`.
"""

from __future__ import annotations

from typing import Any

import jax.numpy as jnp

from benchmarks.jax_car import Motion
from benchmarks.jax_numbers import Values, pick
from simlaunch.physics import state as at
from simlaunch.record import Coupling, ShiftKind
from simlaunch.simulation import events as ev

_CONVERTER, _TORQUE_GAP = int(Coupling.TORQUE_CONVERTER), int(ShiftKind.TORQUE_GAP)
_AT_ONCE = (ev.TARGETS_PASSED, ev.BRAKE_OFF, ev.GEAR_CLOSES, ev.SHIFT_BEGINS, ev.LOCK_UP)


def _changed(phase: Any, where: Values, **fields: Values) -> Any:
    """The phase with some fields set for some cars."""
    return phase._replace(
        **{name: jnp.where(where, value, getattr(phase, name)) for name, value in fields.items()}
    )  # fmt: skip


def _stage_end(car: Any, phase: Any) -> Values:
    box, stage = car.gearbox, phase.stage
    lasts = jnp.full_like(phase.stage_start, jnp.inf)
    for number, duration in (
        (at.RAMPING_DOWN, box.ramp_down),
        (at.IN_GAP, box.gap),
        (at.RAMPING_UP, box.ramp_up),
        (at.IN_HAND_OVER, box.hand_over),
    ):
        lasts = jnp.where(stage == number, duration, lasts)
    return phase.stage_start + lasts


def stage_over(t: Values, car: Any, phase: Any) -> Values:
    """Whether the stage ends now by the clock."""
    return t >= _stage_end(car, phase)


def next_bound(t: Values, car: Any, phase: Any) -> Values:
    """Next moment known beforehand [s]."""
    bound = jnp.minimum(car.run.time_limit, _stage_end(car, phase))
    engaged = phase.engagement_start + phase.engagement_time
    released = phase.brake_off + car.launch.brake_release
    bound = jnp.where(engaged > t, jnp.minimum(bound, engaged), bound)
    return jnp.maximum(jnp.where(released > t, jnp.minimum(bound, released), bound), t)


def overdue_event(values: tuple[Values, ...]) -> Values:
    """An event whose condition already holds where a phase begins, or -1."""
    event = jnp.full_like(values[0], -1, dtype=jnp.int32)
    for index in reversed(_AT_ONCE):
        event = jnp.where(values[index] <= 0.0, index, event)
    event = jnp.where(values[ev.SPEEDS_MEET] < 0.0, ev.SPEEDS_MEET, event)
    return jnp.where(values[ev.BREAKS_AWAY] < 0.0, ev.BREAKS_AWAY, event)


def settle(slips: Values, needed: Values, phase: Any) -> Any:
    """Let a coupling slip in the direction of the torque that it was asked for."""
    return _changed(phase, slips, coupling=at.SLIPPING, slip_direction=jnp.where(needed > 0.0, 1, -1))


def _enter(where: Values, stage: int, t: Values, phase: Any) -> Any:
    return _changed(phase, where, stage=stage, stage_start=t)


def _engage(where: Values, t: Values, duration: Values, y: Motion, phase: Any) -> Any:
    direction = jnp.where(y.engine_speed >= y.input_speed, 1, -1)
    return _changed(
        phase, where, coupling=at.SLIPPING, slip_direction=direction, engagement_start=t, engagement_time=duration
    )


def _let_gear_slip(where: Values, duration: Values, y: Motion, car: Any, phase: Any) -> Any:
    apart = y.input_speed - pick(car.gearbox.ratio, phase.oncoming_gear) * y.shaft_speed
    return _changed(phase, where, path=at.ONCOMING, closing_rate=apart / duration)


def _open_gap(where: Values, t: Values, y: Motion, car: Any, phase: Any) -> Any:
    phase = _changed(_enter(where, at.IN_GAP, t, phase), where, coupling=at.OPEN)
    return _let_gear_slip(where, 0.5 * car.gearbox.gap, y, car, phase)


def _inertia_phase(where: Values, t: Values, y: Motion, car: Any, phase: Any) -> Any:
    return _let_gear_slip(where, car.gearbox.inertia_phase, y, car, _enter(where, at.IN_INERTIA_PHASE, t, phase))


def _begin_shift(where: Values, t: Values, y: Motion, car: Any, phase: Any) -> Any:
    box = car.gearbox
    phase = _changed(phase, where, oncoming_gear=phase.gear + 1)
    by_gap = box.shift_kind == _TORQUE_GAP
    phase = _enter(where & by_gap & (box.ramp_down > 0.0), at.RAMPING_DOWN, t, phase)
    phase = _open_gap(where & by_gap & (box.ramp_down <= 0.0), t, y, car, phase)
    hands_over = where & ~by_gap & (box.hand_over > 0.0)
    phase = _changed(_enter(hands_over, at.IN_HAND_OVER, t, phase), hands_over, path=at.HANDING_OVER)
    return _inertia_phase(where & ~by_gap & (box.hand_over <= 0.0), t, y, car, phase)


def _end_stage(where: Values, t: Values, y: Motion, car: Any, phase: Any) -> Any:
    stage, box = phase.stage, car.gearbox
    leaves_gap = where & (stage == at.IN_GAP)
    phase = _open_gap(where & (stage == at.RAMPING_DOWN), t, y, car, phase)
    phase = _engage(leaves_gap & (car.coupling.kind != _CONVERTER), t, box.ramp_up, y, phase)
    phase = _enter(leaves_gap & (box.ramp_up > 0.0), at.RAMPING_UP, t, phase)
    phase = _enter(leaves_gap & (box.ramp_up <= 0.0), at.DRIVING, t, phase)
    phase = _enter(where & (stage == at.RAMPING_UP), at.DRIVING, t, phase)
    return _inertia_phase(where & (stage == at.IN_HAND_OVER), t, y, car, phase)


def _close_gear(where: Values, t: Values, y: Motion, car: Any, phase: Any) -> tuple[Motion, Any]:
    phase = _changed(phase, where, path=at.ENGAGED, gear=phase.oncoming_gear)
    input_speed = jnp.where(where, pick(car.gearbox.ratio, phase.gear) * y.shaft_speed, y.input_speed)
    engine_speed = jnp.where(where & (phase.coupling == at.STUCK), input_speed, y.engine_speed)
    phase = _enter(where & (phase.stage == at.IN_INERTIA_PHASE), at.DRIVING, t, phase)
    return y._replace(input_speed=input_speed, engine_speed=engine_speed), phase


def _meet(where: Values, t: Values, y: Motion, phase: Any) -> tuple[Motion, Any]:
    phase = _changed(phase, where, coupling=at.STUCK)
    phase = _enter(where & (phase.stage == at.LAUNCHING), at.DRIVING, t, phase)
    return y._replace(engine_speed=jnp.where(where, y.input_speed, y.engine_speed)), phase


def happen(
    event: Values, clock: Values, t: Values, y: Motion, car: Any, phase: Any, friction: Values
) -> tuple[Motion, Any, Values]:
    """Carry out an event, or the end of a stage: state, phase, and whether it is still to be seen if a coupling sticks.

    A coupling whose speeds have met is taken to stick; the next evaluation says whether friction carries that.
    """
    before, meets = phase, event == ev.SPEEDS_MEET
    phase = settle(event == ev.BREAKS_AWAY, friction, phase)
    phase = _begin_shift(event == ev.SHIFT_BEGINS, t, y, car, phase)
    phase = _engage(event == ev.LOCK_UP, t, car.coupling.ramp, y, phase)
    phase = _changed(phase, event == ev.BRAKE_OFF, braked=0, brake_off=t)
    phase = _changed(phase, event == ev.LIMITER_UP, limiter_side=before.limiter_side + 1)
    phase = _changed(phase, event == ev.LIMITER_DOWN, limiter_side=before.limiter_side - 1)
    phase = _changed(phase, event == ev.FRONT_LIFT, front_lifted=1 - before.front_lifted)
    phase = _end_stage(clock, t, y, car, phase)
    y, phase = _meet(meets, t, y, phase)
    y, phase = _close_gear(event == ev.GEAR_CLOSES, t, y, car, phase)
    return y, phase, meets
