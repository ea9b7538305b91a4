"""A launch by the longitudinal equations of a textbook: a second simulator, which shares no equation with the first.

Shafts are rigid, axle loads are those of the acceleration at that instant, and a tyre gives its force without delay:

    F = mu(Fz) Fz sin(C atan(B k - E (B k - atan B k))),  Fz = Fz_static + F h / L,  k = (w r - v) / v
    J w' = e i T - (F + f Fz) r,  m_eff v' = F - f Fz_other - rho Cd A v^2 / 2

Source: T. D. Gillespie, Fundamentals of Vehicle Dynamics (1992), ch. 2, acceleration performance, with the effective
mass of what turns; tyre curve H. B. Pacejka, Tire and Vehicle Dynamics, ch. 4. Both from memory. How the driver
closes the clutch and shifts, and how boost lags, is common practice. For cars with one driven axle, a friction clutch
and shifts with a gap in the torque; of the car that is fitted only numbers are taken.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from math import atan, inf, sin

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp
from scipy.interpolate import PchipInterpolator

from simlaunch.record import Car, Table
from simlaunch.simulation.trace import Trace

Array = NDArray[np.float64]
Share = Callable[[float], float]

_GRAVITY = 9.81
_SLOWEST = 1.0  # a speed that slip is at least counted over, since at rest it has none [m/s]
_STEP = 1e-3  # of the trace [s]
_GOVERNED = 10.0  # rate at which a driver's foot brings the engine to the launch speed [1/s]
_NAMES = ("distance", "speed", "wheel_speed", "engine_speed", "boost")
_CLOSED = inf  # torque of a clutch that does not slip


def _full(time: float) -> float:
    return 1.0


def _table(table: Table, at: float) -> float:
    """Value of a table by straight lines."""
    count = int(table.count)
    return float(np.interp(at, table.knot[:count], table.cubic[:count, 0]))


@dataclass
class QuasiStatic:
    """A car as numbers, and what its driver does; `curve` is engine speed [rad/s] and torque [N m]."""

    car: Car
    curve: tuple[Array, Array]
    friction: float
    scale: float
    drag_area: float
    times: list[Array] = field(default_factory=list)
    states: list[Array] = field(default_factory=list)

    def __post_init__(self) -> None:
        car = self.car
        front = car.drive.front_share >= 1.0
        self.tyre, rolls = (car.front, car.rear) if front else (car.rear, car.front)
        self.full_load = PchipInterpolator(*self.curve)
        self.mass = float(car.body.mass + rolls.axle_inertia / rolls.radius**2)
        self.weight = float(car.body.mass * _GRAVITY)
        self.static = self.weight * float(car.body.front_share if front else 1.0 - car.body.front_share)
        self.transfer = (-1.0 if front else 1.0) * float(car.body.cg_height / car.body.wheelbase)
        self.gear, self.time, self.y = 0, 0.0, np.array([0.0, 0.0, 0.0, car.launch.engine_speed, car.launch.boost])

    # --- equations ---

    def tyre_force(self, speed: float, wheel: float) -> tuple[float, float]:
        """Force and load of the driven axle [N]; each depends on the other, so they are met by repetition."""
        tyre, force, load = self.tyre, 0.0, self.static
        slip = float(wheel * tyre.radius - speed) / max(speed, _SLOWEST)
        for _ in range(30):
            peak = self.friction * (tyre.friction + tyre.friction_load * (0.5 * load / tyre.nominal_load - 1.0))
            b = tyre.slip_stiffness * slip / (tyre.shape_factor * peak)
            shape = sin(tyre.shape_factor * atan(b - tyre.curvature * (b - atan(b))))
            last, force = force, float(peak * load * shape)
            load = self.static + self.transfer * force
            if abs(force - last) < 1e-9 * self.weight:
                break
        return force, load

    def engine_torque(self, speed: float, boost: float, demand: float) -> float:
        """Torque at a demand between a shut throttle and full load, up to the rev limiter [N m]."""
        engine = self.car.engine
        full = self.scale * float(self.full_load(np.clip(speed, self.curve[0][0], self.curve[0][-1])))
        full *= 1.0 - float(engine.lagged_share) * (1.0 - boost)
        full *= min(max(float((engine.rev_limit - speed) / engine.limiter_band), 0.0), 1.0)
        shut = -_table(engine.overrun, speed)
        return shut + demand * (full - shut)

    def rates(self, y: Array, engine: float, clutch: float, load_of_engine: float) -> list[float]:
        """Rates of distance, speed, wheel speed, engine speed and boost, from torques of engine and clutch [N m]."""
        car, tyre, (_, speed, wheel, turning, boost) = self.car, self.tyre, y
        force, load = self.tyre_force(speed, wheel)
        ratio, efficiency = float(car.gearbox.ratio[self.gear]), float(car.gearbox.efficiency[self.gear])
        rolling = float(tyre.rolling_resistance + tyre.rolling_resistance_square * speed**2) * min(wheel, 1.0)
        inertia = float(car.gearbox.input_inertia) + (float(car.engine.inertia) if clutch == _CLOSED else 0.0)
        turned = float(tyre.axle_inertia + car.drive.inertia) + efficiency * ratio**2 * inertia
        through = engine if clutch == _CLOSED else clutch
        spinning_up = (efficiency * ratio * through - (force + rolling * load) * float(tyre.radius)) / turned
        revving = ratio * spinning_up if clutch == _CLOSED else (engine - clutch) / float(car.engine.inertia)
        resisting = rolling * (self.weight - load) + 0.5 * float(car.air.density) * self.drag_area * speed**2
        lag = _table(car.engine.boost_time, turning) if load_of_engine > boost else float(car.engine.boost_decay)
        return [speed, (force - resisting) / self.mass, spinning_up, revving, (load_of_engine - boost) / lag]

    # --- what the driver does ---

    def _slipping(self, ramp: float, held: float, demand: Share) -> Callable[[float, Array], list[float]]:
        """A clutch that closes over a time; the driver may hold the engine at a speed meanwhile."""
        since, turns = self.time, self._turns()

        def rates(t: float, y: Array) -> list[float]:
            clutch = turns * float(self.car.coupling.capacity) * min((t - since) / ramp, 1.0)
            full, torque = (self.engine_torque(y[3], y[4], share) for share in (1.0, demand(t)))
            if held:
                torque = min(torque, max(clutch + float(self.car.engine.inertia) * _GOVERNED * (held - y[3]), 0.0))
            return self.rates(y, torque, clutch, float(np.clip(torque / max(full, 1.0), 0.0, 1.0)))

        return rates

    def _closed(self, demand: Share) -> Callable[[float, Array], list[float]]:
        def rates(t: float, y: Array) -> list[float]:
            speed = float(self.car.gearbox.ratio[self.gear]) * y[2]
            return self.rates(y, self.engine_torque(speed, y[4], demand(t)), _CLOSED, demand(t))

        return rates

    def _open(self, t: float, y: Array) -> list[float]:
        return self.rates(y, self.engine_torque(y[3], y[4], 0.0), 0.0, 0.0)

    def _turns(self) -> float:
        """Direction in which a clutch slips."""
        return 1.0 if self.y[3] >= self.car.gearbox.ratio[self.gear] * self.y[2] else -1.0

    def _speeds_meet(self) -> Callable[[float, Array], float]:
        turns, ratio = self._turns(), float(self.car.gearbox.ratio[self.gear])
        return lambda t, y: float(turns * (y[3] - ratio * y[2]))

    def _shifts(self, t: float, y: Array) -> float:
        last = self.gear == self.car.gearbox.count - 1
        return -1.0 if last else float(y[1] - self.car.gearbox.shift_road_speed[self.gear])

    def _go(
        self, rates: Callable[[float, Array], list[float]], until: float, stop: Callable[[float, Array], float] | None
    ) -> None:
        """Follow the equations up to a time, or to where something happens before."""
        if until <= self.time:
            return

        def event(t: float, y: Array) -> float:
            return 1.0 if stop is None else stop(t, y)

        event.terminal = True  # type: ignore[attr-defined]
        found = solve_ivp(
            rates, (self.time, until), self.y, "LSODA", rtol=1e-7, atol=1e-8, events=event, max_step=0.05,
            dense_output=True,
        )  # fmt: skip
        last = float(found.t[-1])
        grid = np.append(np.arange(self.time + _STEP, last, _STEP), last)
        self.times.append(grid)
        self.states.append(found.sol(grid))
        self.time, self.y = last, found.y[:, -1]

    def run(self, end: float) -> Trace:
        """The launch up to a time [s]."""
        launch = self.car.launch
        self.times, self.states = [np.array([0.0])], [self.y[:, None]]
        self._go(
            self._slipping(float(self.car.coupling.ramp), float(launch.engine_speed), _full), end, self._speeds_meet()
        )
        self._go(self._closed(_full), end, self._shifts)
        return self._through_the_gears(end)

    def roll(self, speed: float, gear: int, boost: float, end: float) -> Trace:
        """Full load from a steady speed [m/s] in a gear, the first is 1, with some boost, up to a time [s]."""
        self.gear = gear - 1
        wheel = speed / float(self.tyre.radius)
        self.y = np.array([0.0, speed, wheel, float(self.car.gearbox.ratio[self.gear]) * wheel, boost])
        self.times, self.states = [np.array([0.0])], [self.y[:, None]]
        self._go(self._closed(_full), end, self._shifts)
        return self._through_the_gears(end)

    def _through_the_gears(self, end: float) -> Trace:
        box = self.car.gearbox
        while self.time < end:
            self._shift(float(box.ramp_down), float(box.gap), float(box.ramp_up), end)
            self._go(self._closed(_full), end, self._shifts)
        states = np.concatenate(self.states, axis=1)
        return Trace(np.concatenate(self.times), dict(zip(_NAMES, states, strict=True)))

    def _shift(self, down: float, gap: float, up: float, end: float) -> None:
        begun = self.time
        self._go(self._closed(lambda t: max(1.0 - (t - begun) / down, 0.0)), min(begun + down, end), None)
        self._go(self._open, min(self.time + gap, end), None)
        self.gear += 1
        taken = self.time

        def back(t: float) -> float:
            return min((t - taken) / up, 1.0)

        self._go(self._slipping(up, 0.0, back), end, self._speeds_meet())
        self._go(self._closed(back), min(taken + up, end), None)
