"""Uncertain values: their distributions, and the cars that come of drawing them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import isnan, log, sqrt
from typing import Any

import numpy as np
from numpy.typing import NDArray

from simlaunch.errors import InputError, UsageError
from simlaunch.launching.launch_speed import settle
from simlaunch.launching.ready import aim
from simlaunch.metrics.marks import Target
from simlaunch.parameters.fill import lower, scale_torque, vary
from simlaunch.physics.engine import limiter_start
from simlaunch.record import CAR, Car, Pedal
from simlaunch.scenario.decision import ALL_CURVES, ALL_GEARS, CURVE_FACTOR, EACH_CURVE, Spread, Uncertain, within_of
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.powertrain import BEST
from simlaunch.scenario.replacing import with_sections
from simlaunch.scenario.schema import quantity_at
from simlaunch.uncertainty.distributions import (
    Distribution,
    lognormal,
    normal,
    normal_quantiles,
    normal_share,
    triangular,
    uniform,
)
from simlaunch.units.field import Within
from simlaunch.units.gate import quoted
from simlaunch.units.quantity import Quantity, as_typed, to_si
from simlaunch.units.spelling import Dimension

Array = NDArray[np.float64]
Cars = NDArray[np.void]

FARTHEST = 1e-4
"""Share of the cases beyond which a value is not drawn: so that no single case is out of this world [-]."""

_TRIED = (FARTHEST, 0.5, 1.0 - FARTHEST)
_QUANTILE = 0.05  # of cases beyond either bound of a lognormal distribution
_LAUNCH = "launch.engine_speed"
_CURVE_KEYS = frozenset({ALL_CURVES, EACH_CURVE})


@dataclass(frozen=True)
class Draws:
    """Everything that is needed to make two cars from a point of the unit cube.

    Parameters
    ----------
    names : tuple of str
        What each coordinate stands for.
    distributions : tuple
        How each is spread, SI units.
    curves : tuple of str
        Names of the first and of the second curve.
    cars : tuple of Car
        The car with each of them, as described.
    scenario : Scenario
        What the cars are made of, with a value at each of the keys.
    keys : mapping of int to str
        Coordinates that are values of a key.
    factors : tuple of tuple of int
        For each car, coordinates that multiply its torque.
    root : ndarray, shape (d, d), or None
        Makes correlated standard normal values of independent ones; None where nothing is correlated [-].
    launch_offsets : tuple of float
        By how much each car is launched above the drawn launch speed: where each has its best one, what is drawn is how
        far the driver is from it [rad/s].
    """

    names: tuple[str, ...]
    distributions: tuple[Distribution, ...]
    curves: tuple[str, str]
    cars: tuple[Car, ...]
    scenario: Scenario
    keys: Mapping[int, str]
    factors: tuple[tuple[int, ...], ...]
    root: Array | None = None
    launch_offsets: tuple[float, float] = (0.0, 0.0)

    def values(self, points: Array) -> Array:
        """Uncertain values at points of the unit cube.

        Parameters
        ----------
        points : ndarray, shape (n, d)
            Between 0 and 1 [-].

        Returns
        -------
        ndarray, shape (n, d)
            In SI units.
        """
        inside = np.clip(points, FARTHEST, 1.0 - FARTHEST)
        if self.root is not None:
            together = np.vectorize(normal_share)(normal_quantiles(inside) @ self.root.T)
            inside = np.clip(together, FARTHEST, 1.0 - FARTHEST)
        return np.column_stack([each.ppf(inside[:, j]) for j, each in enumerate(self.distributions)])

    def made(self, values: Array, which: int) -> Cars:
        """Cars with one of the curves, one for each row of values.

        Parameters
        ----------
        values : ndarray, shape (n, d)
            Uncertain values in SI units.
        which : int
            0 for the first curve, 1 for the second.

        Returns
        -------
        ndarray of CAR, shape (n,)
            The cars.
        """
        cars: Cars = np.zeros(len(values), CAR)
        cars[:] = self.cars[which]
        if self.keys:
            columns = {key: values[:, j] for j, key in self.keys.items()}
            vary(cars, self.scenario, columns, curve=self.curves[which])
        if offset := self.launch_offsets[which]:
            car, speeds = self.cars[which], cars["launch"]["engine_speed"]
            speeds[:] = np.clip(speeds + offset, car.engine.idle, limiter_start(car.engine))
        for j in self.factors[which]:
            scale_torque(cars, values[:, j])
        return cars


# --- distributions ---


def _normal(spread: Spread, within: Within) -> Distribution:
    """Normal, cut where a value would not be possible."""
    low, high = (to_si(text, within.dimension) for text in (within.low, within.high))
    return normal(spread.middle, spread.deviation, low, high)


def _uniform(spread: Spread, within: Within) -> Distribution:
    return uniform(spread.low, spread.high)


def _triangular(spread: Spread, within: Within) -> Distribution:
    return triangular(spread.low, spread.middle, spread.high)


def _lognormal(spread: Spread, within: Within) -> Distribution:
    ends = 2.0 * float(normal_quantiles(1.0 - _QUANTILE))
    return lognormal(sqrt(spread.low * spread.high), log(spread.high / spread.low) / ends)


_KINDS = {"normal": _normal, "uniform": _uniform, "triangular": _triangular, "lognormal": _lognormal}


def own_value(scenario: Scenario, key: str) -> float:
    """Value that a scenario has at a key, given or worked out; nan where it has none [SI]."""
    *tables, name = key.split(".")
    section: Any = scenario
    for table in tables:
        section = getattr(section, table, None)
    value = getattr(section, name, None)
    if isinstance(value, tuple) and key in ALL_GEARS and len({each.si for each in value}) == 1:
        value = value[0]
    if isinstance(value, Quantity):
        return value.si
    within = quantity_at(key)
    worked_out = section.derived().get(name) if section is not None and not isinstance(value, tuple) else None
    return to_si(worked_out.text, within.dimension) if worked_out and within else float("nan")


def distribution(scenario: Scenario, entry: Uncertain, within: Within) -> Distribution:
    """How an uncertain value is spread, SI units."""
    own = 1.0 if entry.key in _CURVE_KEYS else own_value(scenario, entry.key)
    spread = entry.spread(within, own)
    if entry.kind in ("normal", "triangular") and isnan(spread.middle):
        raise InputError(f'uncertain {quoted(entry.key)}: the scenario has no such value; add middle = "..."')
    if spread.middle < spread.low or spread.middle > spread.high:
        raise InputError(
            f"uncertain {quoted(entry.key)}: the scenario's own value is not from {entry.low} to {entry.high}; "
            "move the range, or give a middle"
        )
    return _KINDS[entry.kind](spread, within)


# --- what a value does to a car ---


def with_usual(scenario: Scenario, values: Mapping[str, tuple[float, float, float]]) -> Scenario:
    """The scenario with usual values at some keys, each of which may vary as far as is said, the others as they are.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    values : mapping of str to tuple of float
        For each key its least, some usual and its greatest value, SI units.

    Returns
    -------
    Scenario
        Not checked for rules between the usual values.

    Raises
    ------
    InputError
        The scenario cannot have one of the values, or not all usual ones together.
    """
    usual: dict[str, object] = {}
    for key, tried in values.items():
        within = within_of(key, quantity_at)
        assert within is not None, "a sound scenario names keys that hold one number"
        texts = [as_typed(value, within.dimension) for value in tried]
        usual[key] = texts[1]
        try:
            for text in texts:
                scenario.replace({key: text})
        except InputError as error:
            raise InputError(f"uncertain {quoted(key)} is spread too far: {error}") from None
    return with_sections(scenario, usual) or scenario.replace(usual)


def _root(scenario: Scenario, names: Sequence[str]) -> Array | None:
    """Lower root of the correlations between all coordinates; those that are not correlated stand alone."""
    if scenario.correlation is None:
        return None
    whole, places = np.eye(len(names)), [names.index(key) for key in scenario.correlation.keys]
    whole[np.ix_(places, places)] = scenario.correlation.matrix
    return np.asarray(np.linalg.cholesky(whole))


def _with_launch_speed(scenario: Scenario, cars: Sequence[Car], which: int) -> tuple[Scenario, tuple[float, float]]:
    """The scenario with the best launch speed of one of two cars if its spread is drawn; and how far each is off."""
    entry = next((each for each in scenario.uncertain or () if each.key == _LAUNCH), None)
    open_ended = entry is not None and entry.middle is None and entry.kind in ("normal", "triangular")
    if scenario.launch.engine_speed != BEST or not open_ended:
        return scenario, (0.0, 0.0)
    one, other = (float(car.launch.engine_speed) for car in cars)
    middle = (one, other)[which]
    stated = scenario.replace({_LAUNCH: as_typed(middle, Dimension.ROTATIONAL_SPEED)})
    return stated, (one - middle, other - middle)


def draws(scenario: Scenario, curves: tuple[str, str], pedal: Pedal, target: Target) -> Draws:
    """Make ready to draw the uncertain values of a scenario.

    Parameters
    ----------
    scenario : Scenario
        With uncertain values.
    curves : tuple of str
        The two curves.
    pedal : Pedal
        Full load throughout, or held slip.
    target : Target
        Where a launch ends.

    Returns
    -------
    Draws
        Distributions, and what they do to the two cars.

    Raises
    ------
    UsageError
        Nothing is uncertain.
    InputError
        A value that cannot be drawn; the message says why.
    """
    if not scenario.uncertain:
        raise UsageError("the scenario has no [[uncertain]] values; add at least one, such as the grip")
    names: list[str] = []
    spreads: list[Distribution] = []
    in_order = sorted(curves, key=scenario.curve_names.index)  # the same draws, whichever curve is named first
    keys: dict[int, str] = {}
    factors: tuple[list[int], ...] = ([], [])
    cars = tuple(lower(scenario, curve, pedal) for curve in curves)
    settle(cars, target)  # a driver chooses the launch speed for the car as described
    scenario, offsets = _with_launch_speed(scenario, cars, curves.index(in_order[0]))
    for entry in scenario.uncertain or ():
        within = within_of(entry.key, quantity_at)
        assert within is not None, "a sound scenario names keys that hold one number"
        spread, place = distribution(scenario, entry, within), len(names)
        if within is CURVE_FACTOR:
            for which in (0, 1):
                factors[which].append(place + in_order.index(curves[which]) * (entry.key == EACH_CURVE))
            own = tuple(f'torque of "{curve}"' for curve in in_order)
            names += own if entry.key == EACH_CURVE else (ALL_CURVES,)
        else:
            names.append(entry.key)
            keys[place] = entry.key
        spreads += [spread] * (len(names) - place)
    tried: dict[str, tuple[float, float, float]] = {}
    for j, key in keys.items():
        least, usual, greatest = map(float, spreads[j].ppf(_TRIED))
        tried[key] = (least, usual, greatest)
    for car in cars:
        aim(car, (target,))
    shared = (tuple(factors[0]), tuple(factors[1]))
    root = _root(scenario, names)
    known = with_usual(scenario, tried)
    return Draws(tuple(names), tuple(spreads), curves, cars, known, keys, shared, root, offsets)
