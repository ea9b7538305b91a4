"""The highest plateau that pays, within the limits of engine and driveline, for one gear set or several."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

from simlaunch.choices import chosen
from simlaunch.errors import UsageError
from simlaunch.launching.launches import Aim
from simlaunch.launching.progress import before
from simlaunch.launching.targets import target_named
from simlaunch.parameters.fill import lower
from simlaunch.ratings.limits import limits_given, limits_of
from simlaunch.record import Car, Pedal
from simlaunch.results import Result
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.replacing import with_gear_sets
from simlaunch.searching.plateau_search import DRIVES, LAUNCHES, Plateau, final_drive, highest_plateau
from simlaunch.searching.plateau_search_space import SearchSpace, Shape
from simlaunch.units.gate import quoted
from simlaunch.units.quantity import Quantity
from simlaunch.writing import write

PLATEAU = "plateau"
"""What the curve that was found is called beside the one that was wished for."""

_HEAVIEST = 1e6
Limit = str | Quantity | None
Watch = Callable[[str], None]


@dataclass(frozen=True)
class WantedFinalDrive:
    """The final drive that suits a curve best, with the gears as they are.

    Parameters
    ----------
    curve : str
        Name of the curve; `PLATEAU` for the one that was found.
    present : float
        Ratio of the car as described, in first gear [-].
    score : float
        Score with it [s].
    ratio : float
        Ratio that suits the curve best, in first gear; those of other gears change by the same factor [-].
    best_score : float
        Score with that [s].
    farther : str
        ``"or more"`` or ``"or less"`` where the ratio is the last that was tried.
    per_gear : bool
        Whether gears have final drives of their own.
    """

    curve: str
    present: float
    score: float
    ratio: float
    best_score: float
    farther: str = ""
    per_gear: bool = False

    @property
    def gain(self) -> float:
        """What the ratio that suits it best saves [s]."""
        return self.score - self.best_score


@dataclass(frozen=True, repr=False)
class PlateauResult(Result):
    """Plateaus of one scenario by gear set, and what they were sought for.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    wish : str
        Name of the curve that was wished for.
    pedal : Pedal
        Full load throughout, or held slip.
    aim : Aim
        What the curve is to be quick for.
    by_gear_set : mapping of str to Plateau
        The car as described first; the other gear sets of the scenario where they were asked for.
    final_drives : mapping of str to tuple of float
        Final drives of each gear set: one for all gears, or one for each gear [-].
    wanted : tuple of WantedFinalDrive
        The final drives that suit the plateau and the wish.
    """

    study = "plateau"

    scenario: Scenario
    wish: str
    pedal: Pedal
    aim: Aim
    by_gear_set: Mapping[str, Plateau]
    final_drives: Mapping[str, tuple[float, ...]]
    wanted: tuple[WantedFinalDrive, ...] = ()

    @property
    def first(self) -> Plateau:
        """Plateau of the car as described."""
        return next(iter(self.by_gear_set.values()))

    @property
    def best(self) -> str:
        """Gear set whose plateau is the quickest."""
        return min(self.by_gear_set, key=lambda name: self.by_gear_set[name].chosen.score)

    def save_curve(self, path: str | os.PathLike[str], *, force: bool = False) -> None:
        """Write the curve of the car as described to a file that a scenario can name.

        Parameters
        ----------
        path : str or path-like
            Where to write.
        force : bool
            Whether a file that is there may be replaced.

        Raises
        ------
        InputError
            The file is there, or cannot be written.
        """
        write("curve", Path(path), self._words.curve_csv(self), force=force)


def plateau(
    scenario: Scenario,
    wish: str | None = None,
    *,
    targets: str | Sequence[str] | Mapping[str, float] | None = None,
    pedal: Pedal | str = Pedal.FULL,
    mean_pressure: Limit = None,
    power: Limit = None,
    air_flow: Limit = None,
    torque: Limit = None,
    rise: Limit = None,
    envelope: str | None = None,
    use_parts: bool = True,
    gear_limits: bool = False,
    within_grip: bool = False,
    each_gear_set: bool = False,
    watch: Watch | None = None,
) -> PlateauResult:
    """Seek the highest torque plateau that still gains time within the limits of engine and driveline.

    Limits that are left out are those that the scenario states under `limits`, if it does. They are given as there:
    text with a unit, such as ``"250 kW"``.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    wish : str, optional
        Name of the curve that was wished for; the first one if left out.
    targets : str, sequence of str, or mapping of str to float, optional
        What the curve is to be quick for, such as ``"1/4 mile"``; a mapping gives each its weight. The scenario's goal
        if left out.
    pedal : Pedal or str
        Full load throughout, or held slip.
    mean_pressure : str or Quantity, optional
        Highest brake mean effective pressure; needs the displacement.
    power : str or Quantity, optional
        Highest power.
    air_flow : str or Quantity, optional
        Highest flow of air.
    torque : str or Quantity, optional
        Highest torque.
    rise : str or Quantity, optional
        Torque by which the curve may rise in 1000 rpm; where nothing states it, as steep as the envelope where that is
        steepest.
    envelope : str, optional
        Name of the curve that is all the engine can give at each engine speed; caps the whole plateau. Where nothing
        states it, the highest of all curves caps the way up.
    use_parts : bool
        Whether the ratings of parts are kept to.
    gear_limits : bool
        Whether torque limits are sought for the gears that spin the tyres.
    within_grip : bool
        Whether the torque in each gear keeps to what the tyres can use there.
    each_gear_set : bool
        Whether a plateau is sought for every gear set of the scenario.
    watch : callable, optional
        Takes a line that says how far the search is.

    Returns
    -------
    PlateauResult
        The curve that pays and the front around it for every gear set, and the final drives that suit.

    Raises
    ------
    UsageError
        No such curve or target, a weight out of range, or a choice that contradicts another.
    InputError
        A limit that is no quantity of its kind, or impossible.
    TargetNotReached
        No plateau keeps to the limits; the message says which limit stands in the way, and by how much.
    """
    if gear_limits and within_grip:
        raise UsageError("torque limits by gear are either sought or set to what the tyres can use; choose one of them")
    driven = chosen(Pedal, pedal, "pedal")
    name = scenario.curve(wish or scenario.curve_names[0]).name
    given = limits_given(
        {"mean_pressure": mean_pressure, "power": power, "air_flow": air_flow, "torque": torque, "rise": rise}
    )
    aim = _aim(scenario, targets)

    def space(geared: Scenario) -> SearchSpace:
        limits = limits_of(geared, given, envelope)
        limits = limits if use_parts else replace(limits, parts=())
        return SearchSpace(lower(geared, name, driven), limits, aim, within_grip=within_grip)

    gear_sets = with_gear_sets(scenario, every=each_gear_set)
    found: dict[str, Plateau] = {}
    for gear_set, geared in gear_sets.items():
        passed = partial(_pass_on, watch, gear_set if each_gear_set else "")
        with before((len(gear_sets) - 1 - len(found)) * LAUNCHES):
            found[gear_set] = highest_plateau(space(geared), by_gear=gear_limits, watch=passed)
    drives = {gear_set: _drives(geared) for gear_set, geared in gear_sets.items()}
    wanted = _wanted(scenario, (name, driven), space(scenario), next(iter(found.values())))
    return PlateauResult(scenario, name, driven, aim, found, drives, wanted)


def _pass_on(watch: Watch | None, gear_set: str, line: str) -> None:
    if watch is not None:
        watch(f"{gear_set}, {line}" if gear_set else line)


def _aim(scenario: Scenario, wanted: str | Sequence[str] | Mapping[str, float] | None) -> Aim:
    """Targets by name with their weights."""
    if not wanted:
        return Aim((target_named(scenario, None),), (1.0,))
    names = [wanted] if isinstance(wanted, str) else list(wanted)
    weights = [wanted[name] if isinstance(wanted, Mapping) else 1.0 for name in names]
    for name, weight in zip(names, weights, strict=True):
        if not 0.0 < weight < _HEAVIEST:
            raise UsageError(f"target {quoted(name)} has no weight: a weight is a number above zero, below a million")
    targets = [target_named(scenario, name) for name in names]
    places = [(target.kind, target.start, target.end) for target in targets]
    for k, (name, place) in enumerate(zip(names, places, strict=True)):
        if place in places[:k]:
            raise UsageError(f"{quoted(name)} names a target twice; give it once, with its weight")
    return Aim(tuple(targets), tuple(weights))


def _drives(scenario: Scenario) -> tuple[float, ...]:
    """Final drive of all gears, or of each gear [-]."""
    drives = tuple(drive.si for drive in scenario.gearbox.final_drives)
    return drives if len(set(drives)) > 1 else drives[:1]


def _wanted(
    scenario: Scenario, curve: tuple[str, Pedal], space: SearchSpace, found: Plateau
) -> tuple[WantedFinalDrive, ...]:
    """The final drives that suit the plateau and the wish, the gears staying as they are."""
    drives = _drives(scenario)
    present, per_gear = drives[0], len(drives) > 1

    def lowered(ratio: float) -> Car:
        texts = [f"{ratio * drive:.6g}" for drive in drives]
        return lower(scenario.replace({"gearbox.final_drive": texts if per_gear else texts[0]}), *curve)

    def wanted(named: str, score: float, shape: Shape | None) -> WantedFinalDrive:
        ratio, best = final_drive(space, shape, lowered)
        farther = "or more" if ratio >= DRIVES[-1] else "or less" if ratio <= DRIVES[0] else ""
        return WantedFinalDrive(named, present, score, present * ratio, best, farther, per_gear)

    return (
        wanted(PLATEAU, found.unlimited.score, found.unlimited.shape),
        wanted(curve[0], found.wish.score, None),
    )
