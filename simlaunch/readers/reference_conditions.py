"""Where along the driveline figures hold; the air that they hold in is a matter of `parameters.weather`.

Torque taken at hub or wheel is the engine-speed torque of the trade: power there over engine speed. Tyre losses on a
roller are in no formula here; whoever has measured them states a percentage.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from simlaunch.errors import UsageError
from simlaunch.record import Axle
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.powertrain import MeasuredAt

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Losses:
    """What stands between the crank and the place of measurement.

    Parameters
    ----------
    efficiency : float
        Share of the power that arrives [-].
    inertia_before : float
        Inertia that turns with the engine [kg m^2].
    inertia_after : float
        Inertia beyond the gears, seen from the engine: over the overall ratio squared [kg m^2].
    acceleration : float
        Rate of engine speed during the sweep [rad/s^2].
    why : str
        Where these numbers come from, in words.
    """

    efficiency: float
    inertia_before: float
    inertia_after: float
    acceleration: float
    why: str


def stated_losses(share: float) -> Losses:
    """Losses as a stated share of the power at the crank.

    Parameters
    ----------
    share : float
        From 0 to 0.5 [-].

    Returns
    -------
    Losses
        Without inertia: a share measured in a sweep holds that as well.

    Raises
    ------
    UsageError
        A share outside that range.
    """
    if not 0.0 <= share <= 0.5:
        raise UsageError(f"losses of {100 * share:g} % of the crank power are not from 0 % to 50 %")
    return Losses(1.0 - share, 0.0, 0.0, 0.0, f"stated losses of {100 * share:g} % of the power at the crank")


def driveline_losses(scenario: Scenario, place: MeasuredAt, gear: int, acceleration: float) -> Losses:
    """Losses of a scenario's own driveline in one gear.

    Parameters
    ----------
    scenario : Scenario
        Whose gearbox, drive, engine and tyres are taken.
    place : MeasuredAt
        Wheels turn with the shafts on a roller, not on a hub dyno.
    gear : int
        Gear of the sweep, from 1.
    acceleration : float
        Rate of engine speed during the sweep; 0 for points held steady [rad/s^2].

    Returns
    -------
    Losses
        Efficiency of the gear, and the inertia on both sides of it.

    Raises
    ------
    UsageError
        There is no such gear, or the figures stand at the crank already.
    """
    if place is MeasuredAt.CRANK:
        raise UsageError("figures at the crank have no driveline losses; name hub or wheel")
    box = scenario.gearbox
    if not 1 <= gear <= len(box.ratios):
        raise UsageError(f"there is no gear {gear}; the gearbox has 1 to {len(box.ratios)}")
    ratio = box.overall(gear)
    efficiency = box.efficiency[gear - 1 if len(box.efficiency) > 1 else 0].si
    beyond = scenario.drive.inertia.si + (_driven_wheels(scenario) if place is MeasuredAt.WHEEL else 0.0)
    before = scenario.engine.inertia.si + box.input_inertia.si
    why = (
        f"driveline of {scenario.name} in gear {gear} (overall ratio {ratio:.4g}, efficiency {efficiency:.1%}) at "
        f"{acceleration * 30.0 / np.pi:.4g} rpm/s; inertia {before:.4g} kg m^2 with the engine, "
        f"{beyond:.4g} kg m^2 beyond the gears; tyre losses on a roller not included"
    )
    return Losses(efficiency, before, beyond / ratio**2, acceleration, why)


def _driven_wheels(scenario: Scenario) -> float:
    """Inertia of the wheels that the engine drives [kg m^2]."""
    driven = {"front": (Axle.FRONT,), "rear": (Axle.REAR,), "all": (Axle.FRONT, Axle.REAR)}[scenario.drive.driven]
    return sum(2.0 * scenario.tyres.of(axle).wheel_inertia.si for axle in driven)


def to_crank(torque: Array, losses: Losses) -> Array:
    """Torque at the crank, as held steady, from the torque taken during a sweep further down.

    T = (T_taken + J_after a) / efficiency + J_before a

    Parameters
    ----------
    torque : ndarray
        Engine-speed torque where it was taken [N m].
    losses : Losses
        What stands between.

    Returns
    -------
    ndarray
        Torque [N m].

    Source: Newton's second law; power through gears with a constant efficiency.
    """
    taken = torque + losses.inertia_after * losses.acceleration
    return taken / losses.efficiency + losses.inertia_before * losses.acceleration


def from_crank(torque: Array, losses: Losses) -> Array:
    """Torque that a sweep would show further down, from the torque at the crank.

    Parameters
    ----------
    torque : ndarray
        Torque at the crank [N m].
    losses : Losses
        What stands between.

    Returns
    -------
    ndarray
        Engine-speed torque [N m].

    Source: `to_crank`, solved for the torque taken.
    """
    arriving = (torque - losses.inertia_before * losses.acceleration) * losses.efficiency
    return arriving - losses.inertia_after * losses.acceleration
