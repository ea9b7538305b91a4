"""What the parts of the driveline take: torque against ratings, and how fast their life is used up.

Curves are ranked against each other and ratings that are passed are flagged; how long a part lasts is not said, since
one launch says nothing about the rest of its life.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import Enum
from functools import cached_property
from math import isclose, isnan, nan

import numpy as np
from numpy.typing import NDArray

from simlaunch.analysis.simulate import Simulation, simulate
from simlaunch.choices import chosen
from simlaunch.errors import UsageError
from simlaunch.metrics.full_load import most_torque
from simlaunch.metrics.parts import CHANNEL, Part, PartPeak
from simlaunch.physics.engine import mean_effective_pressure
from simlaunch.ratings.damage import Cycles, Line, cycles, turns
from simlaunch.ratings.demand import NO_EVENT, SAME_PEAK, Demand, PeakEvent
from simlaunch.ratings.limits import PART_AT, demand
from simlaunch.ratings.peak_events import PeakEvents, windows
from simlaunch.record import Car, Pedal
from simlaunch.results import Result
from simlaunch.scenario.decision import PartRating, Place, usual_slope
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.powertrain import coupling_name
from simlaunch.simulation.trace import Trace

Array = NDArray[np.float64]

_PEAK_GRID = 2000


class Level(Enum):
    """How the torque of a part stands to its rating, in words: steady pull above it, shocks above expected failure."""

    WITHIN = "within rating"
    OVER_RATING = "OVER RATING"
    OVER_FAILURE = "OVER EXPECTED FAILURE"
    UNRATED = "no rating"
    UNLOADED = "carries nothing"


@dataclass(frozen=True)
class PartLoad:
    """What one part takes with one curve.

    Parameters
    ----------
    name : str
        Name of the part.
    place : Place
        Where its torque is taken.
    rating : PartRating, optional
        Its rating; None for a part without one.
    peak : PartPeak, optional
        Highest torque, shocks of launch and shifts in it; None where it carries nothing.
    spectra : mapping of str to Cycles
        What uses up the life of each piece of it, by the name of the piece: turns of a gear at torque, or swings of
        the torque of a shaft from rest to rest, under an empty name [N m].
    event : PeakEvent
        What its highest torque comes from.
    of_launch : Cycles, optional
        The swings that begin in the launch itself; None for teeth [N m].
    """

    name: str
    place: Place
    rating: PartRating | None
    peak: PartPeak | None
    spectra: Mapping[str, Cycles]
    event: PeakEvent = NO_EVENT
    of_launch: Cycles | None = None

    @property
    def slope(self) -> float:
        """Slope of the S-N line [-]."""
        return self.rating.slope_si if self.rating else usual_slope(self.place)

    @property
    def torque(self) -> float:
        """Size of the highest torque; nan where the part carries none [N m]."""
        return abs(self.peak.torque) if self.peak else nan

    @property
    def demand(self) -> Demand:
        """What it is asked for against what it is allowed; nan without a rating."""
        if self.rating is None or self.peak is None:
            return Demand(nan, nan)
        return demand(self.rating, self.peak.torque, self.peak.steady)

    def damages(self, unit: float) -> dict[str, float]:
        """Damage of each piece, in that of one turn or swing at a torque of `unit` N m [-]."""
        line = Line(unit, 1.0, self.slope)
        return {piece: spectrum.damage(line) for piece, spectrum in self.spectra.items()}

    @property
    def launch_share(self) -> float:
        """Share of its wear by the swings that begin in the launch itself; nan for teeth, or without wear [-]."""
        line = Line(max(self.torque, 1.0), 1.0, self.slope)
        total = sum(spectrum.damage(line) for spectrum in self.spectra.values())
        return self.of_launch.damage(line) / total if self.of_launch is not None and total > 0.0 else nan

    @property
    def level(self) -> Level:
        """How its torque stands to the rating."""
        if self.peak is None:
            return Level.UNLOADED
        if self.rating is None:
            return Level.UNRATED
        if self.demand.shock > 1.0:
            return Level.OVER_FAILURE
        return Level.OVER_RATING if self.demand.too_much else Level.WITHIN

    @property
    def broken(self) -> bool:
        """Whether the part is asked too much."""
        return self.demand.too_much


@dataclass(frozen=True)
class Wear:
    """How fast a curve uses up the life of the piece of a part that wears most with it.

    Parameters
    ----------
    piece : str
        The piece, such as "gear 4"; empty for a part of one piece.
    ratio : float
        Its damage over that with the mildest curve; nan where the part carries nothing [-].
    """

    piece: str
    ratio: float


@dataclass(frozen=True)
class CurveLoad:
    """What the parts take with one curve.

    Parameters
    ----------
    simulation : Simulation
        The launch.
    parts : tuple of PartLoad
        In the order of the scenario, or from the engine to the wheels.
    peak_torque : float
        Highest torque of the curve up to the rev limit, in the gear that allows most [N m].
    mean_pressure : float
        Brake mean effective pressure there; nan without a displacement [Pa].
    """

    simulation: Simulation
    parts: tuple[PartLoad, ...]
    peak_torque: float
    mean_pressure: float

    @property
    def curve(self) -> str:
        """Name of the curve."""
        return self.simulation.curve

    @property
    def pulls_above_curve(self) -> bool:
        """Whether clutch or gearbox input carry more in steady pull than the curve gives."""
        engine_side = (Place.COUPLING, Place.GEARBOX_INPUT)
        pulls = (part.peak.steady for part in self.parts if part.peak and part.place in engine_side)
        return any(pull > self.peak_torque for pull in pulls)

    @property
    def coupling_heat(self) -> float:
        """Work that becomes heat in clutch or converter over the launch [J]."""
        return self.simulation.measures.audit.coupling


@dataclass(frozen=True, repr=False)
class DrivelineLoads(Result):
    """What the parts of the driveline take with each of some curves.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    pedal : Pedal
        Full load throughout, or held slip.
    loads : tuple of CurveLoad
        One for each curve.
    """

    study = "parts"

    scenario: Scenario
    pedal: Pedal
    loads: tuple[CurveLoad, ...]

    @property
    def rigid(self) -> bool:
        """Whether half shafts do not twist, so that shocks are left out."""
        return self.scenario.drive.half_shafts == "rigid"

    def of(self, curve: str) -> CurveLoad:
        """What the parts take with one of the curves."""
        return next(load for load in self.loads if load.curve == curve)

    @cached_property
    def broken(self) -> tuple[tuple[str, PartLoad], ...]:
        """Curve and part of every load that is too much, the worst first."""
        found = [(load.curve, part) for load in self.loads for part in load.parts if part.broken]
        return tuple(sorted(found, key=lambda entry: -entry[1].demand.share))

    def relative_wear(self, part: int) -> tuple[Wear, ...]:
        """How fast each curve uses up the life of a part, over the mildest: the piece that wears most decides.

        Pieces of one part are taken as equally strong at the torque that is measured there.
        """
        parts = [load.parts[part] for load in self.loads]
        spectra = [spectrum for each in parts for spectrum in each.spectra.values()]
        unit = max((float(spectrum.ranges.max(initial=0.0)) for spectrum in spectra), default=0.0)
        if not unit > 0.0:
            return tuple(Wear("", nan) for _ in parts)
        worst = [max(each.damages(unit).items(), key=lambda item: item[1], default=("", 0.0)) for each in parts]
        least = min(damage for _, damage in worst)
        return tuple(Wear(piece, damage / least if least > 0.0 else nan) for piece, damage in worst)

    def same_peak(self, part: int) -> bool:
        """Whether the highest torque of a part is the same with every curve, of which there are several."""
        torques = [load.parts[part].torque for load in self.loads]
        return len(torques) > 1 and all(isclose(torque, torques[0], rel_tol=SAME_PEAK) for torque in torques)

    def ranked(self) -> tuple[int, ...]:
        """Parts by how near to their rating any curve brings them, the nearest first; parts without one last."""
        shares = [max(load.parts[k].demand.share for load in self.loads) for k in range(len(self.loads[0].parts))]
        return tuple(
            sorted(range(len(shares)), key=lambda k: (isnan(shares[k]), 0.0 if isnan(shares[k]) else -shares[k]))
        )


def torque_history(trace: Trace, part: Part) -> Array:
    """Torque of a part over a launch, from rest to rest.

    Parameters
    ----------
    trace : Trace
        The launch.
    part : Part
        The part.

    Returns
    -------
    ndarray, shape (n,)
        Torque, zero at both ends [N m].
    """
    return np.concatenate([[0.0], trace.channels.get(CHANNEL[part], np.zeros(0)), [0.0]])


def spectra_of(trace: Trace, part: Part, final_drives: Sequence[float] = ()) -> dict[str, Cycles]:
    """What uses up the life of each piece of a part over a launch.

    Parameters
    ----------
    trace : Trace
        The launch.
    part : Part
        The part.
    final_drives : sequence of float
        Final drive of each gear; gears with the same one share it, and one that differs is another piece [-].

    Returns
    -------
    dict of str to Cycles
        Gears by turns of the input shaft at torque, the final drive by turns of the shaft that it drives with, which
        stand in one ratio to those of its pinion; clutch and shafts by swings of torque.
    """
    if part is Part.GEARBOX_OUTPUT:
        return _of_final_drives(trace, final_drives)
    if part is not Part.GEARBOX_INPUT:
        return {"": cycles(torque_history(trace, part))}
    torque, gears = trace[CHANNEL[part]], np.rint(trace["gear"])
    found = {}
    for gear in np.unique(gears):
        pulled = turns(trace.time, np.where(gears == gear, torque, 0.0), trace["input_speed"])
        found[f"gear {int(gear)}"] = pulled
    return found


def _of_final_drives(trace: Trace, final_drives: Sequence[float]) -> dict[str, Cycles]:
    torque, speed = trace[CHANNEL[Part.GEARBOX_OUTPUT]], trace["shaft_speed"]
    if len(set(final_drives)) < 2:
        return {"final drive": turns(trace.time, torque, speed)}
    drives = np.array(final_drives)[np.rint(trace["gear"]).astype(int) - 1]
    found = {}
    for drive in dict.fromkeys(final_drives):
        if (drives == drive).any():
            named = f"final drive {drive:.4g}"
            found[named] = turns(trace.time, np.where(drives == drive, torque, 0.0), speed)
    return found


def _of_launch(trace: Trace, spectra: Mapping[str, Cycles]) -> Cycles | None:
    """The swings that begin before the launch itself is over: its clutch has closed, and has rung out."""
    swings = next(iter(spectra.values()))
    if swings.begins is None:
        return None
    over = np.searchsorted(trace.time, windows(trace)[0].end, side="right")
    launched = swings.begins <= over  # a history has one value before the first sample
    return Cycles(swings.ranges[launched], swings.counts[launched], swings.begins[launched])


def _part_load(
    simulation: Simulation, name: str, place: Place, rating: PartRating | None, events: PeakEvents
) -> PartLoad:
    part = PART_AT[place]
    peak = next((each for each in simulation.measures.parts if each.part is part), None)
    trace = simulation.run.trace
    final_drives = [drive.si for drive in simulation.scenario.gearbox.final_drives]
    spectra = spectra_of(trace, part, final_drives)
    event = events.of(peak) if peak else NO_EVENT
    return PartLoad(name, place, rating, peak, spectra, event, _of_launch(trace, spectra))


def part_name(part: Part, scenario: Scenario) -> str:
    """What a part is called in this car."""
    if part is Part.COUPLING:
        return coupling_name(scenario.coupling, scenario.gearbox.shift)
    return part.value


def _curve_load(scenario: Scenario, simulation: Simulation) -> CurveLoad:
    events = PeakEvents(scenario, simulation.car, simulation.run.trace)
    rated = [_part_load(simulation, rating.name, rating.place, rating, events) for rating in scenario.parts or ()]
    covered = {part.place for part in rated}
    carrying = {peak.part for peak in simulation.measures.parts}
    others = [place for place, part in PART_AT.items() if place not in covered and part in carrying]
    unrated = [_part_load(simulation, part_name(PART_AT[place], scenario), place, None, events) for place in others]
    peak = peak_torque(simulation.car)
    displacement = scenario.engine.displacement
    pressure = mean_effective_pressure(peak, displacement.si) if displacement else nan
    return CurveLoad(simulation, (*rated, *unrated), peak, pressure)


def peak_torque(car: Car) -> float:
    """Highest full-load torque up to the rev limit, in the gear that allows most [N m]."""
    engine = car.engine
    speeds = np.linspace(float(engine.torque.knot[0]), float(engine.rev_limit), _PEAK_GRID)
    return float(most_torque(car, speeds).max())


def loads_of(scenario: Scenario, simulations: Sequence[Simulation]) -> DrivelineLoads:
    """What the parts took in launches that were made already.

    Parameters
    ----------
    scenario : Scenario
        With ratings, if any are known.
    simulations : sequence of Simulation
        At least one, all with the same pedal.

    Returns
    -------
    DrivelineLoads
        Loads of every part; parts without a rating follow those with one.
    """
    loads = tuple(_curve_load(scenario, simulation) for simulation in simulations)
    return DrivelineLoads(scenario, simulations[0].pedal, loads)


def parts(
    scenario: Scenario,
    curves: Sequence[str] | None = None,
    *,
    pedal: Pedal | str = Pedal.FULL,
    tolerance: float | None = None,
) -> DrivelineLoads:
    """Launch curves, and hold what the parts take against their ratings and against each other.

    Parameters
    ----------
    scenario : Scenario
        With ratings, if any are known.
    curves : sequence of str, optional
        Names of its curves; all of them if left out.
    pedal : Pedal or str
        Full load throughout, or held slip: a member, or its words.
    tolerance : float, optional
        Relative error allowed per step [-].

    Returns
    -------
    DrivelineLoads
        Loads of every part with each curve.

    Raises
    ------
    UsageError
        No curve or pedal of that name, or a curve named twice.
    SimlaunchError
        The equations could not be followed.
    """
    driven = chosen(Pedal, pedal, "pedal")
    names = tuple(scenario.curve_names if curves is None else curves)
    if len(set(names)) < len(names):
        raise UsageError("a curve is named twice; name each curve once")
    return loads_of(scenario, [simulate(scenario, name, driven, tolerance=tolerance) for name in names])
