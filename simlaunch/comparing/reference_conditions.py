"""Curves of one scenario whose figures carry different weather corrections, and how much that changes them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

from simlaunch.errors import InputError
from simlaunch.parameters.weather import Weather, gap, scenario_weather
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.powertrain import Correction


@dataclass(frozen=True)
class CorrectionGap:
    """Two curves that carry different weather corrections.

    Parameters
    ----------
    higher, lower : str
        Names of the curves; the same run reads higher under the correction of the first.
    higher_correction, lower_correction : Correction
        What each of them carries.
    gap : float
        How much higher the same run reads, in the air of the scenario [-].
    weather : Weather
        That air.
    """

    higher: str
    lower: str
    higher_correction: Correction
    lower_correction: Correction
    gap: float
    weather: Weather

    def __str__(self) -> str:
        return (
            f'curve "{self.higher}" carries correction {self.higher_correction}, '
            f'curve "{self.lower}" {self.lower_correction}: the same run reads {100.0 * self.gap:.1f} % higher '
            f"under {self.higher_correction} than under {self.lower_correction} in the air of the scenario "
            f"({self.weather})"
        )


def correction_gaps(scenario: Scenario, curves: Sequence[str]) -> tuple[CorrectionGap, ...]:
    """Pairs of curves that state different corrections; curves that state none are left alone.

    Parameters
    ----------
    scenario : Scenario
        Whose curves and air are taken.
    curves : sequence of str
        Names of the curves that are compared.

    Returns
    -------
    tuple of CorrectionGap
        Empty where all that state a correction state the same.

    Raises
    ------
    InputError
        The scenario's air is nothing that a correction is made for.
    """
    return tuple(_gaps(scenario, curves))


def _gaps(scenario: Scenario, curves: Sequence[str]) -> Iterator[CorrectionGap]:
    stated = [(name, carried) for name in curves if (carried := scenario.curve(name).correction) is not None]
    for one, other in combinations(stated, 2):
        if one[1] is other[1]:
            continue
        weather = scenario_weather(scenario.air)
        low, high = (one, other) if gap(one[1], other[1], weather) > 0.0 else (other, one)
        yield CorrectionGap(high[0], low[0], high[1], low[1], gap(low[1], high[1], weather), weather)


def unstated(scenario: Scenario, curves: Sequence[str]) -> str:
    """What has to be said where one curve states its correction and another does not.

    Parameters
    ----------
    scenario : Scenario
        Whose curves are taken.
    curves : sequence of str
        Names of the curves that are compared.

    Returns
    -------
    str
        A sentence; empty where all state one, or none does.
    """
    carried = {name: scenario.curve(name).correction for name in curves}
    silent = [name for name, correction in carried.items() if correction is None]
    stating = [name for name, correction in carried.items() if correction is not None]
    if not silent or not stating:
        return ""
    return (
        f'curve "{stating[0]}" states correction {carried[stating[0]]}, curve "{silent[0]}" states none; '
        "whether their corrections agree is not known"
    )


def refuse_unlike(gaps: Sequence[CorrectionGap], unknown: str = "") -> None:
    """Refuse to compare curves of different corrections.

    Parameters
    ----------
    gaps : sequence of CorrectionGap
        As found.
    unknown : str
        What `unstated` found.

    Raises
    ------
    InputError
        There is one; both curves are named.
    """
    if unknown and not gaps:
        raise InputError(f"{unknown}; state it in the scenario or the curve file, or allow it with --mixed-corrections")
    if gaps:
        raise InputError(
            f"{gaps[0]}; bring both to one correction with `simlaunch curve`, or allow it with --mixed-corrections"
        )
