"""What can be fitted: values of a scenario, how far they may go, and what is known of them beforehand."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from math import isfinite

import numpy as np
from numpy.typing import NDArray

from simlaunch.errors import InputError, UsageError
from simlaunch.parameters.fill import Cars, field, scale_torque, vary
from simlaunch.physics.engine import limiter_start
from simlaunch.record import CAR, Car
from simlaunch.scenario.decision import ALL_CURVES, CURVE_FACTOR, EACH_CURVE, within_of
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.powertrain import FrictionClutch, TorqueGap
from simlaunch.scenario.schema import quantity_at
from simlaunch.uncertainty.draws import distribution, own_value, with_usual
from simlaunch.units.field import Within
from simlaunch.units.gate import quoted
from simlaunch.units.quantity import as_typed, to_si
from simlaunch.units.spelling import Dimension

Array = NDArray[np.float64]

WIDE = 3.0
"""Without a stated spread, a value is taken to lie within so many usual ones, as a standard deviation."""

FARTHEST = 6.0
"""A value is sought no farther from the scenario's own than so many usual spreads."""

_UNUSUAL = 0.1  # usual spread of a key that is named and not known, as a share of its value
_NARROWER = (1.0, 0.5, 0.25, 0.12, 0.05)  # shares of the way to a bound that are tried where it is refused


@dataclass(frozen=True)
class Known:
    """A value that is fitted often: its key, or the field of the record that a factor multiplies, and usual spread."""

    key: str
    usual: float
    """How far it usually is from what a scenario says, as a share of it (common practice)."""
    factor: str = ""


FRICTION, SCALE, SHIFT_SPEED, EFFICIENCY = "friction", "curve scale", "shift speed", "efficiency"

_KNOWN = {
    FRICTION: Known("road.friction_factor", 0.10),
    SCALE: Known(ALL_CURVES, 0.05, "engine.torque.cubic"),
    "engagement": Known("coupling.engagement_time", 0.40),
    "shift time": Known("gearbox.shift.gap", 0.40),
    "drag area": Known("body.drag_area", 0.15),
    "launch speed": Known("launch.engine_speed", 0.15),
    "rolling resistance": Known("road.rolling_factor", 0.30),
    SHIFT_SPEED: Known("", 0.05, "gearbox.shift_speed"),
    EFFICIENCY: Known("gearbox.efficiency", 0.03, "gearbox.efficiency"),
    "mass": Known("body.mass", 0.05),
}
_BY_THEMSELVES = ("friction", SCALE, "engagement", "shift time", "drag area", "launch speed", "rolling resistance")
_COASTING = ("drag area", "rolling resistance")


@dataclass(frozen=True)
class Parameter:
    """One value that is fitted; all numbers in SI units, of a factor as pure numbers.

    Parameters
    ----------
    name : str
        What it is called.
    key : str
        Key path in the scenario; empty for a factor that no key holds.
    factor : str
        Field of the record that it multiplies; empty for a value of its own.
    dimension : Dimension
        Kind of quantity.
    own : float
        Value in the scenario.
    usual : float
        How far it usually is from there.
    middle, spread : float
        What is known beforehand: mean and standard deviation.
    low, high : float
        Bounds.
    origin : str
        Where its spread comes from; empty where the scenario does not say.
    sets : str
        Field of the record that it is put into, of a value that belongs to the start of one log and to no scenario.
    """

    name: str
    key: str
    factor: str
    dimension: Dimension
    own: float
    usual: float
    middle: float
    spread: float
    low: float
    high: float
    origin: str = ""
    sets: str = ""

    @property
    def stated(self) -> bool:
        """Whether the scenario says how far it may be off."""
        return bool(self.origin)


def known_for(scenario: Scenario) -> dict[str, Known]:
    """Values that are fitted often and that a scenario has, by name.

    Parameters
    ----------
    scenario : Scenario
        The scenario.

    Returns
    -------
    dict of str to Known
        In the order in which they matter.
    """
    found = dict(_KNOWN)
    if not isinstance(scenario.coupling, FrictionClutch):
        del found["engagement"]
    if not isinstance(scenario.gearbox.shift, TorqueGap):
        found["shift time"] = Known("gearbox.shift.inertia_phase", found["shift time"].usual)
    if len(scenario.gearbox.ratios) == 1:
        del found["shift time"], found[SHIFT_SPEED]
    return found


def usual_names(scenario: Scenario, *, launched: bool) -> tuple[str, ...]:
    """Names of what is worth a try when nobody says what is to be fitted, those with a stated spread first.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    launched : bool
        Whether there is a launch among the logs, not only coast-downs.

    Returns
    -------
    tuple of str
        Names or keys.
    """
    known = known_for(scenario)
    by_key = {each.key: name for name, each in known.items()}
    stated = [by_key.get(entry.key, entry.key) for entry in scenario.uncertain or () if entry.key != EACH_CURVE]
    if not launched:
        stated = [name for name in stated if name in _COASTING]
    usual = [name for name in (_BY_THEMSELVES if launched else _COASTING) if name in known]
    return tuple(dict.fromkeys([*stated, *usual]))


def parameter(scenario: Scenario, name: str, car: Car) -> Parameter:
    """A value that is fitted, by its name or key.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    name : str
        Such as "friction" or "tyres.rear.friction".
    car : Car
        Its car, complete.

    Returns
    -------
    Parameter
        With its bounds and what is known beforehand.

    Raises
    ------
    UsageError
        No such value.
    InputError
        A value without a size, or that cannot be varied.
    """
    known = known_for(scenario)
    by_key = {each.key: called for called, each in known.items() if each.key}
    called = by_key.get(name, name)
    each = known.get(called, Known(name, _UNUSUAL))
    within = CURVE_FACTOR if each.factor else within_of(each.key, quantity_at)
    if within is None:
        raise _unknown(name, [*known, *by_key])
    entry = next((entry for entry in scenario.uncertain or () if entry.key == each.key), None)
    own = 1.0 if each.factor else _own(scenario, each.key, called)
    usual = each.usual * abs(own)
    middle, spread, origin = own, WIDE * usual, ""
    ends = (own - FARTHEST * usual, own + FARTHEST * usual)
    if entry is not None:
        of_key = within_of(entry.key, quantity_at)
        assert of_key is not None, "checked with the scenario"
        known_beforehand = distribution(scenario, entry, of_key)
        size = _own(scenario, entry.key, called) if each.factor and entry.key != ALL_CURVES else 1.0
        middle, spread = known_beforehand.mean / size, known_beforehand.std / size
        origin, reach = entry.origin, FARTHEST * spread
        ends = (min(ends[0], middle - reach), max(ends[1], middle + reach))
    if not spread > 0.0:
        raise InputError(
            f"{quoted(called)} is zero in the scenario, so nothing says how far it may be off; give it a spread "
            "under [[uncertain]], or a value"
        )
    low, high = _possible(scenario, each, within, own, ends, car)
    scale = min(usual, spread) if usual > 0.0 else spread
    return Parameter(called, each.key, each.factor, within.dimension, own, scale, middle, spread, low, high, origin)


def _unknown(name: str, choices: Sequence[str]) -> UsageError:
    near = get_close_matches(name, choices, n=1)
    meant = f"; did you mean {quoted(near[0])}?" if near else ""
    listed = ", ".join(choice for choice in choices if "." not in choice and choice != ALL_CURVES)
    return UsageError(
        f"nothing that can be fitted is named {quoted(name)}{meant}; names are {listed}, "
        'or write the key of a number, such as "tyres.rear.friction"'
    )


def _own(scenario: Scenario, key: str, name: str) -> float:
    value = own_value(scenario, key)
    if not isfinite(value):
        raise InputError(f"{quoted(name)} cannot be fitted: the scenario has no single value for {key}; give it one")
    return value


def _possible(
    scenario: Scenario, each: Known, within: Within, own: float, ends: tuple[float, float], car: Car
) -> tuple[float, float]:
    """The same bounds, drawn in where the scenario would not allow them."""
    if each.factor:
        highest = _highest_factor(each.factor, car)
        return max(ends[0], 0.5), min(ends[1], highest)
    low, high = (to_si(text, within.dimension) for text in (within.low, within.high))
    bounds = (max(ends[0], low), min(ends[1], high))
    found = tuple(_allowed(scenario, each.key, within.dimension, own, bound) for bound in bounds)
    return found[0], found[1]


def _highest_factor(field: str, car: Car) -> float:
    """Factor at which shift speeds come to where the rev limiter begins, or efficiency to one."""
    count = int(car.gearbox.count)
    if field == "gearbox.shift_speed":
        return float(limiter_start(car.engine) / car.gearbox.shift_speed[: count - 1].max())
    return float(1.0 / car.gearbox.efficiency[:count].max()) if field == "gearbox.efficiency" else 1.5


def _allowed(scenario: Scenario, key: str, dimension: Dimension, own: float, bound: float) -> float:
    """The bound, or as far towards it as the scenario allows."""
    for share in _NARROWER:
        value = own + share * (bound - own)
        try:
            scenario.replace({key: as_typed(value, dimension)})
        except InputError:
            continue
        return value
    return own


def of_start(speed: float, may_have_boost: bool, place: int) -> tuple[Parameter, ...]:
    """What is unknown of the start of a roll: its speed, and the boost that was there, where there may have been any.

    Parameters
    ----------
    speed : float
        Speed as the log shows it [m/s].
    may_have_boost : bool
        Whether the log begins in the pull of a car whose boost lags. A light foot before a pull builds hardly any
        (common practice), and the moment of the start takes in what little there is.
    place : int
        Place of the log; keeps the values of one log apart from those of another [-].

    Returns
    -------
    tuple of Parameter
        Each with what is known of it beforehand.
    """
    apart = 1.0 + 1e-12 * place
    own, half = speed * apart, 0.5 * apart
    low, high = 0.8 * own, 1.2 * own
    found = [Parameter("start speed", "", "", Dimension.SPEED, own, 0.2, own, 1.0, low, high, "", "launch.roll_speed")]
    if may_have_boost:
        share, field_of_boost = Dimension.SHARE, "launch.roll_boost"
        found.append(Parameter("start boost", "", "", share, half, 0.1, half, 0.5, 0.0, 1.0, "", field_of_boost))
    return tuple(found)


# --- what values do to a car ---


def fitted_from(parameters: Sequence[Parameter], scenario: Scenario) -> Scenario:
    """The scenario of a log, with a value at every key that is fitted.

    Parameters
    ----------
    parameters : sequence of Parameter
        The values; factors among them are no keys of a scenario.
    scenario : Scenario
        The scenario of the log.

    Returns
    -------
    Scenario
        What `cars_with` takes.

    Raises
    ------
    InputError
        The scenario cannot have values within the bounds.
    """
    return with_usual(scenario, {each.key: (each.low, each.own, each.high) for each in parameters if not each.factor})


def cars_with(
    base: Car, scenario: Scenario, values: Sequence[Mapping[Parameter, float]], curve: str | None = None
) -> Cars:
    """Cars, each with its own values.

    Parameters
    ----------
    base : Car
        The car that they are made of.
    scenario : Scenario
        What the car is made of, with a value at every key that is fitted.
    values : sequence of mapping of Parameter to float
        SI units; factors as pure numbers.
    curve : str, optional
        Full-load curve of the cars, whose torque may follow the air.

    Returns
    -------
    ndarray of CAR, shape (n,)
        The cars.
    """
    cars = np.zeros(len(values), CAR)
    cars[:] = base
    for row, given in enumerate(values):
        car = cars[row : row + 1]
        columns = {each.key: np.array([value]) for each, value in given.items() if each.key and not each.factor}
        if columns:
            vary(car, scenario, columns, curve=curve)
        for each, value in given.items():
            if each.key == ALL_CURVES:
                scale_torque(car, np.array([value]))
            elif each.factor:
                field(car, each.factor)[...] *= value
            if each.sets:
                field(car, each.sets)[...] = value
    return cars
