"""What a plateau must keep to: caps of torque over engine speed, and ratings of parts."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from math import inf, isfinite

import numpy as np
from numpy.typing import NDArray
from pydantic import ValidationError

from simlaunch.cubics import monotone
from simlaunch.curves.engine_figures import USUAL_AIR_FUEL_RATIO, USUAL_CONSUMPTION
from simlaunch.errors import Fault, InputError, UsageError
from simlaunch.metrics.parts import Part
from simlaunch.parameters.fill import lower
from simlaunch.physics.engine import air_mass_flow, mean_effective_pressure
from simlaunch.ratings.demand import Demand, demand_of
from simlaunch.record import Pedal
from simlaunch.scenario.decision import CurveLimits, PartRating, Place
from simlaunch.scenario.model import Scenario
from simlaunch.units.quantity import RPM, Quantity, to_si
from simlaunch.units.spelling import Dimension

Array = NDArray[np.float64]

PER_1000_RPM = 1000.0 * RPM
"""Span of engine speed over which a rise of the curve is stated [rad/s]."""

MEAN_PRESSURE, POWER, AIR_FLOW, TORQUE = "brake mean effective pressure", "power", "air flow", "torque"
RISE, ENVELOPE = "rise of the curve", "envelope"

_FIELD = {MEAN_PRESSURE: "mean_pressure", POWER: "power", AIR_FLOW: "air_flow", TORQUE: "torque"}

SPARE = 0.002
"""Share of what parts are allowed that a proposal leaves free: written as a curve with rounded values and launched anew
it still keeps to its ratings. Rounding to 0.1 N m and the error of a step were measured to move torques by less than
half of that [-]."""

PART_AT = {
    Place.COUPLING: Part.COUPLING,
    Place.GEARBOX_INPUT: Part.GEARBOX_INPUT,
    Place.GEARBOX_OUTPUT: Part.GEARBOX_OUTPUT,
    Place.AXLE_CLUTCH: Part.AXLE_CLUTCH,
    Place.FRONT_SHAFTS: Part.FRONT_SHAFTS,
    Place.REAR_SHAFTS: Part.REAR_SHAFTS,
}
"""Where the torque of a rated part is measured."""


Points = tuple[tuple[float, ...], tuple[float, ...]]
"""Engine speeds [rad/s] and torques [N m]."""


@dataclass(frozen=True)
class Envelope:
    """What an engine can give at each engine speed: the highest of some curves.

    Parameters
    ----------
    curves : tuple of Points
        At least one, each held flat beyond its ends.
    given : bool
        Whether somebody stated it, so that it caps the whole curve; if not, it says how early torque can come up.
    factor : float
        By which it is multiplied [-].
    """

    curves: tuple[Points, ...]
    given: bool
    factor: float = 1.0

    def at(self, speeds: Array) -> Array:
        """Torque at some engine speeds [N m]."""
        lines = [monotone(x, y)(np.clip(speeds, x[0], x[-1])) for x, y in self.curves]
        return np.asarray(self.factor * np.max(lines, axis=0))


@dataclass(frozen=True)
class MeasuredLimit:
    """A limit over engine speed that somebody measured.

    Parameters
    ----------
    name : str
        What sets it.
    dimension : Dimension
        Torque, mean effective pressure or power.
    points : Points
        Engine speeds [rad/s] and the most that it allows [SI], held flat beyond the ends.
    factor : float
        By which it is multiplied [-].
    """

    name: str
    dimension: Dimension
    points: Points
    factor: float = 1.0

    def torque(self, speeds: Array, displacement: float | None) -> Array:
        """Torque that it allows at some engine speeds [N m]."""
        x, y = self.points
        most = self.factor * np.asarray(monotone(x, y)(np.clip(speeds, x[0], x[-1])))
        if self.dimension is Dimension.POWER:
            return most / np.maximum(speeds, 1.0)
        if self.dimension is Dimension.PRESSURE:
            assert displacement is not None, "a sound scenario gives the displacement"
            return most / mean_effective_pressure(1.0, displacement)
        return most


@dataclass(frozen=True)
class Limits:
    """Limits of a curve; infinite where there is none.

    Parameters
    ----------
    mean_pressure : float
        Brake mean effective pressure [Pa].
    displacement : float or None
        Swept volume, without which a mean pressure says nothing [m^3].
    power : float
        Power at the crank [W].
    air_flow : float
        Flow of air [kg/s].
    rise : float or None
        Steepest rise [N m s/rad]; None: as steep as the envelope where it is steepest.
    torque : float
        Torque [N m].
    parts : tuple of PartRating
        Steady torque keeps to the rating, shocks to the torque of expected failure.
    envelope : Envelope or None
        What the engine can give at each engine speed; None: the curve that is wished for, on the way up.
    measured : tuple of MeasuredLimit
        Limits over engine speed, each under a name of its own.
    """

    mean_pressure: float = inf
    displacement: float | None = None
    power: float = inf
    air_flow: float = inf
    rise: float | None = None
    torque: float = inf
    parts: tuple[PartRating, ...] = ()
    envelope: Envelope | None = None
    measured: tuple[MeasuredLimit, ...] = ()

    def caps(self, speeds: Array) -> dict[str, Array]:
        """Most torque that each limit leaves at some engine speeds.

        Parameters
        ----------
        speeds : ndarray, shape (n,)
            Engine speeds [rad/s].

        Returns
        -------
        dict of str to ndarray, shape (n,)
            Torque by the name of the limit [N m].

        Raises
        ------
        UsageError
            A mean pressure without a displacement.
        """
        found = {TORQUE: np.full(speeds.size, self.torque), POWER: self.power / speeds}
        found[AIR_FLOW] = self.air_flow / _air_per_power() / speeds
        if self.mean_pressure < inf:
            if self.displacement is None:
                raise UsageError("a limit of mean pressure needs engine.displacement; give it in the scenario")
            found[MEAN_PRESSURE] = np.full(
                speeds.size, self.mean_pressure / mean_effective_pressure(1.0, self.displacement)
            )
        if self.envelope is not None and self.envelope.given:
            found[ENVELOPE] = self.envelope.at(speeds)
        found |= {each.name: each.torque(speeds, self.displacement) for each in self.measured}
        return {name: cap for name, cap in found.items() if np.isfinite(cap).all()}

    def eased(self, factor: float, names: Collection[str] | None = None) -> Limits:
        """The same with some caps of the engine so many times as high; all but the rise if none is named."""
        if names is None:
            names = (*_FIELD, ENVELOPE, *(each.name for each in self.measured))
        caps = {_FIELD[name]: factor * getattr(self, _FIELD[name]) for name in names if name in _FIELD}
        measured = (replace(m, factor=factor * m.factor) if m.name in names else m for m in self.measured)
        eased: Limits = replace(self, **caps, measured=tuple(measured))
        if self.envelope is not None and ENVELOPE in names:
            eased = replace(eased, envelope=replace(self.envelope, factor=factor * self.envelope.factor))
        return replace(eased, rise=factor * self.rise) if self.rise is not None and RISE in names else eased

    def without(self, part: str) -> Limits:
        """The same without the rating of a part, named as by `closest`."""
        return replace(self, parts=tuple(each for each in self.parts if not part.startswith(f"{each.name}, ")))

    def _worst(self, peaks: Mapping[Part, float], steady: Mapping[Part, float]) -> dict[str, tuple[float, float]]:
        """What every rated part sees where it comes nearest to what a proposal allows it, and that [N m]."""
        found = {}
        for rated in self.parts:
            peak, pull = peaks[PART_AT[rated.place]], steady[PART_AT[rated.place]]
            asked = demand(rated, peak, pull)
            if asked.in_shocks:
                found[f"{rated.name}, in shocks"] = (peak, (1.0 - SPARE) * rated.failure_si)
            elif isfinite(asked.share):
                found[f"{rated.name}, steady"] = (pull, (1.0 - SPARE) * rated.rating.si)
        return found

    def broken(self, peaks: Mapping[Part, float], steady: Mapping[Part, float]) -> dict[str, tuple[float, float]]:
        """Parts that a launch asks too much of, or so nearly that a curve with rounded values might.

        Parameters
        ----------
        peaks, steady : mapping of Part to float
            Highest torque of each part, shocks included, and that in steady pull [N m].

        Returns
        -------
        dict of str to tuple of float
            Torque, and what a proposal allows, of each such part [N m].
        """
        return {name: each for name, each in self._worst(peaks, steady).items() if each[0] > each[1]}

    def closest(self, peaks: Mapping[Part, float], steady: Mapping[Part, float]) -> tuple[str, float]:
        """The rated part that comes nearest to what it is allowed.

        Parameters
        ----------
        peaks, steady : mapping of Part to float
            Highest torque of each part, shocks included, and that in steady pull [N m].

        Returns
        -------
        tuple of str and float
            Its name, with whether that is in steady pull or in shocks, and the share of what a proposal allows; no
            name and zero where no part is rated [-].
        """
        shares = {name: seen / allowed for name, (seen, allowed) in self._worst(peaks, steady).items()}
        return max(shares.items(), key=lambda item: item[1], default=("", 0.0))


def demand(rated: PartRating, peak: float, steady: float) -> Demand:
    """What a launch asks of a rated part, peak and steady pull in N m."""
    return demand_of(peak, steady, rated.rating.si, rated.failure_si)


def _air_per_power() -> float:
    """Air that the engine breathes for each watt [kg/J]."""
    burnt = to_si(USUAL_CONSUMPTION, Dimension.SPECIFIC_CONSUMPTION)
    return air_mass_flow(1.0, burnt, float(USUAL_AIR_FUEL_RATIO))


def stated(limits: CurveLimits) -> dict[str, float]:
    """Limits that are given, by the fields of `Limits`.

    Parameters
    ----------
    limits : CurveLimits
        As typed.

    Returns
    -------
    dict of str to float
        SI units; a rise is typed for 1000 rpm [N m s/rad].
    """
    given = {name: getattr(limits, name) for name in type(limits).model_fields}
    return {
        name: value.si / (PER_1000_RPM if name == "rise" else 1.0)
        for name, value in given.items()
        if isinstance(value, Quantity)
    }


def limits_given(values: Mapping[str, str | Quantity | None], called: Callable[[str], str] = str) -> dict[str, float]:
    """Limits as a caller gives them, held against the same bounds as in a scenario.

    Parameters
    ----------
    values : mapping of str to str, Quantity or None
        By the fields of `CurveLimits`; None for those that are not given.
    called : callable
        What a field is called where a message names it.

    Returns
    -------
    dict of str to float
        By the fields of `Limits`, SI units.

    Raises
    ------
    InputError
        Text that is no quantity of its kind, or a limit that is not possible.
    """
    typed = {name: value for name, value in values.items() if value is not None}
    try:
        return stated(CurveLimits.model_validate(typed))
    except ValidationError as error:
        first = error.errors()[0]
        fault: Fault = first["ctx"]["faults"][0]
        raise InputError(replace(fault, place=called(str(first["loc"][0])))) from None


def _points(points: Sequence[tuple[Quantity, Quantity]]) -> Points:
    return tuple(speed.si for speed, _ in points), tuple(torque.si for _, torque in points)


def _envelope(scenario: Scenario, named: str | None) -> Envelope:
    """The envelope that is given, by name or as points; or else the highest of all curves."""
    typed = named or (scenario.limits.envelope if scenario.limits else None)
    if typed is None:
        return Envelope(tuple(_curve_points(scenario, name) for name in scenario.curve_names), given=False)
    return Envelope((_curve_points(scenario, typed) if isinstance(typed, str) else _points(typed),), given=True)


def _curve_points(scenario: Scenario, name: str) -> Points:
    """Points of a curve, as the air of the scenario lets it be."""
    curve = scenario.curve(name)
    if curve.weather is None:
        return _points(curve.points)
    table = lower(scenario, name, Pedal.FULL).engine.torque
    count = int(table.count)
    return tuple(table.knot[:count].tolist()), tuple(table.cubic[:count, 0].tolist())


def limits_of(scenario: Scenario, given: Mapping[str, float], envelope: str | None = None) -> Limits:
    """Limits that a scenario states, with some replaced.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    given : mapping of str to float
        Fields of `Limits` that are given otherwise, SI units.
    envelope : str, optional
        Curve that is given as the envelope instead of what the scenario states.

    Returns
    -------
    Limits
        SI units.

    Raises
    ------
    UsageError
        No curve of that name.
    """
    own = stated(scenario.limits) if scenario.limits is not None else {}
    displacement = scenario.engine.displacement
    found = Limits(
        displacement=displacement.si if displacement else None,
        parts=tuple(scenario.parts or ()),
        envelope=_envelope(scenario, envelope),
        measured=tuple(
            MeasuredLimit(each.name, each.dimension, _points(each.points))
            for each in (scenario.limits.curves if scenario.limits else None) or ()
        ),
    )
    return replace(found, **{**own, **given})  # type: ignore[arg-type]
