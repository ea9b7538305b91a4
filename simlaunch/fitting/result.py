"""What a fit found: values with their errors, logs beside the car, times, and what speaks against it."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from simlaunch.errors import UsageError
from simlaunch.fitting.histories import RoadLoad
from simlaunch.fitting.identifiability import Identifiability
from simlaunch.fitting.parameters import Parameter
from simlaunch.fitting.problem import Problem, Run, Timing
from simlaunch.fitting.residuals import Misfit
from simlaunch.fitting.saving import save
from simlaunch.fitting.solving import Solution
from simlaunch.metrics.marks import Target
from simlaunch.record import Pedal
from simlaunch.results import Result
from simlaunch.scenario.model import Scenario

Array = NDArray[np.float64]

OFF = 0.02
"""Engine or wheel speed that is off by more than this share all along has another ratio, radius or unit [-]."""

UNLIKELY = 2.5
"""A value farther than so many usual spreads from what was known beforehand is doubtful."""

CLEARLY_BETTER = 3.0
"""A car that fits better by this in the logarithm of the likelihood, odds of 20 to 1, is worth a warning."""

_FEWEST_STEADY = 10


@dataclass(frozen=True)
class Fitted:
    """One value that was fitted; SI units, of a factor pure numbers.

    Parameters
    ----------
    parameter : Parameter
        What it is.
    log : int or None
        The log that it belongs to, by its place among those given; None where it is shared.
    value : float
        The fitted one.
    error : float
        Standard error; 0 at a bound.
    low, high : float
        Interval that is meant to hold the true value in 95 % of cases; nan at a bound.
    from_logs : float
        Share of what is known of it that comes from the logs, not from before [-].
    at_bound : bool
        Whether it stopped at a bound.
    profiled : tuple of float or None
        Interval from the profile of the likelihood, where one was made.
    """

    parameter: Parameter
    log: int | None
    value: float
    error: float
    low: float
    high: float
    from_logs: float
    at_bound: bool
    profiled: tuple[float, float] | None = None


@dataclass(frozen=True)
class FittedRun:
    """One log beside the car that was fitted to it.

    Parameters
    ----------
    run : Run
        The log.
    timing : Timing
        When the car was let go, and how late its speed is logged.
    misfits : tuple of Misfit
        What is left over, channel by channel.
    shown : mapping of str to ndarray
        What each channel should have shown at its samples, SI units.
    times : tuple of MarkTime
        Times to marks.
    road_load : RoadLoad or None
        For a coast-down.
    """

    run: Run
    timing: Timing
    misfits: tuple[Misfit, ...]
    shown: dict[str, Array]
    times: tuple[MarkTime, ...]
    road_load: RoadLoad | None


@dataclass(frozen=True)
class MarkTime:
    """Time to one mark, from the moment the car is let go; nan where it was not reached [s].

    Parameters
    ----------
    target : Target
        The mark.
    logged : float
        As the log has it.
    before : float
        As the scenario had it.
    fitted : float
        As the fitted scenario has it.
    low, high : float
        Where 95 % of the cases lie that agree with the logs.
    """

    target: Target
    logged: float
    before: float
    fitted: float
    low: float
    high: float


@dataclass(frozen=True, repr=False)
class Fit(Result):
    """A scenario fitted to logs.

    Parameters
    ----------
    scenario : Scenario
        As it was.
    pedal : Pedal
        Full load throughout, or held slip.
    fitted : tuple of Fitted
        Values.
    correlation : ndarray, shape (n, n)
        Of their errors, in the same order; 0 for one at a bound [-].
    runs : tuple of FittedRun
        The logs.
    left_out : FittedRun or None
        A log that was predicted, not fitted.
    identifiability : Identifiability
        How well the logs distinguish the values.
    warnings : tuple of str
        What speaks against the fit.
    notes : tuple of str
        What else is worth knowing.
    launches : int
        How many were run.
    agreed : bool
        Whether another start of the search ended in the same place, if there was one.
    """

    study = "fit"

    scenario: Scenario
    pedal: Pedal
    fitted: tuple[Fitted, ...]
    correlation: Array
    runs: tuple[FittedRun, ...]
    left_out: FittedRun | None
    identifiability: Identifiability
    warnings: tuple[str, ...]
    notes: tuple[str, ...]
    launches: int
    agreed: bool = True

    @property
    def follows(self) -> bool:
        """Whether the car follows every log well enough for the fit to be used."""
        return not any(left.wrong for run in self.runs for left in run.misfits)

    @property
    def usable(self) -> bool:
        """Whether the fit may be used: the car follows its logs, and the starts of the search agree."""
        return self.follows and self.agreed

    def save(
        self,
        path: str | os.PathLike[str],
        *,
        force: bool = False,
        anyway: bool = False,
        today: date | None = None,
    ) -> None:
        """Write the fitted scenario to a file: that of the scenario, comments kept, with the fitted values.

        Parameters
        ----------
        path : str or path-like
            Where to write; curves and tyres that the scenario names have to be found from there as well.
        force : bool
            Whether a file that is there may be replaced.
        anyway : bool
            Whether a fit that is not to be used is written too; the file then says so.
        today : datetime.date, optional
            Day of the fit; today if left out.

        Raises
        ------
        UsageError
            The scenario does not come from a file, or its file says something else by now.
        InputError
            The car does not follow its logs, or the starts of the search do not agree; or the file is there, cannot be
            written, or could not be read back.
        """
        save(self, Path(path), force=force, anyway=anyway, today=today)

    def value(self, name: str, log: int | None = None) -> Fitted:
        """A fitted value by its name.

        Raises
        ------
        UsageError
            Nothing of that name was fitted.
        """
        for each in self.fitted:
            if each.parameter.name == name and each.log in (None, log):
                return each
        raise UsageError(f"{name} was not fitted; fitted were {', '.join(each.parameter.name for each in self.fitted)}")


def column_names(problem: Problem) -> list[str]:
    """What the values of a problem are called, those of one log with its number."""
    return [
        column.name if column.run is None else f"{column.name} of log {problem.runs[column.run].place + 1}"
        for column in problem.columns
        if column.parameter
    ]


# --- what speaks against a fit ---


def warnings_of(
    problem: Problem, solution: Solution, runs: Sequence[FittedRun], fitted: Sequence[Fitted]
) -> tuple[str, ...]:
    """What speaks against a fit, a sentence each."""
    of_car = [each for each in fitted if not each.parameter.sets]  # of the start of a roll nothing is known beforehand
    logs = [f"{_label(runs, i)}{line}" for i, each in enumerate(runs) for line in each.run.log.warnings]
    return (
        *logs,
        *_misfit_warnings(runs),
        *_bound_warnings(of_car),
        *_unlikely_warnings(of_car),
        *_simpler_warnings(solution),
        *_rival_warnings(problem, solution),
        *_alone_warnings(solution),
    )


def _label(runs: Sequence[FittedRun], i: int) -> str:
    return f"log {runs[i].run.place + 1}: " if len(runs) > 1 else ""


_WORDS = {
    "speed": "speed",
    "engine_speed": "engine speed",
    "wheel_speed_front": "speed of the front wheels",
    "wheel_speed_rear": "speed of the rear wheels",
}


def _misfit_warnings(runs: Sequence[FittedRun]) -> Iterator[str]:
    for i, each in enumerate(runs):
        for left in each.misfits:
            name, off = f"{_label(runs, i)}{_WORDS[left.channel]}", _steadily_off(each, left.channel)
            if abs(off) > OFF:
                yield (
                    f"{name} is {abs(off):.1%} {'above' if off > 0.0 else 'below'} what gear ratios, final drive and "
                    "tyre radius give, in the middle of the run: look for a wrong ratio, radius, tyre or unit"
                )
            elif not left.noisy_only:
                follows = (
                    "does not follow this car" if left.wrong else "does not follow this car as closely as it could"
                )
                yield (
                    f"{name} {follows}: {left.share:.1%} of its largest value is left over beyond noise, rms "
                    f"{left.rms / left.noise:.1f} times the noise, most of it {left.worst_time:.1f} s after the start; "
                    "a wrong gear ratio or unit, a driver who lifts, or another car look like this"
                )


def _steadily_off(followed: FittedRun, channel: str) -> float:
    """Median of measured over calculated less one, for channels that the gears tie to the speed [-]."""
    if channel == "speed":
        return 0.0
    log = next(each for each in followed.run.log.channels if each.name == channel)
    shown, length = followed.shown[channel], followed.run.log.end - followed.timing.start
    middle = (log.time - followed.timing.start > 0.25 * length) & (shown > 0.0)
    speed = np.interp(log.time, followed.run.log.speed.time, followed.shown["speed"] - followed.run.log.speed.values)
    close = middle & (np.abs(speed) < 0.02 * float(followed.run.log.speed.values.max()))
    if close.sum() < _FEWEST_STEADY:
        return 0.0
    return float(np.median(log.values[close] / shown[close])) - 1.0


def _bound_warnings(fitted: Sequence[Fitted]) -> Iterator[str]:
    for each in fitted:
        if each.at_bound:
            yield (
                f"{each.parameter.name} stopped at a bound: the logs would have it go further; check the car, the log, "
                "and what else is held fixed"
            )


def _unlikely_warnings(fitted: Sequence[Fitted]) -> Iterator[str]:
    far = {each.parameter.name: off for each in fitted if (off := _usual_spreads_off(each)) > UNLIKELY}
    if far:
        names, offs = " and ".join(far), " and ".join(f"{off:.1f}" for off in far.values())
        yield (
            f"{names}: {offs} usual spreads from what was known before; a grade, wind, another car or a wrong unit "
            "look like this, and the speed alone cannot distinguish them"
        )


def _usual_spreads_off(each: Fitted) -> float:
    """How far a value is from what was known before, less its own error, in usual or stated spreads [-]."""
    known = each.parameter
    size = known.spread if known.stated else known.usual
    return max(abs(each.value - known.middle) - each.error, 0.0) / size


def _alone_warnings(solution: Solution) -> Iterator[str]:
    if not solution.agreed:
        yield (
            f"{solution.starts} starts of the search ended in as many places, so the best of them may be no solution; "
            "name fewer values, state what is known, give a further log, or raise --starts"
        )


def _simpler_warnings(solution: Solution) -> Iterator[str]:
    if solution.simpler_better > CLEARLY_BETTER:
        yield (
            "with half shafts that do not twist and axle loads that settle at once, the car follows the logs better "
            "than as it is described, with other values, which the intervals take in: check "
            "drive.half_shaft_stiffness, body.pitch_frequency and body.pitch_damping_ratio"
        )


def _rival_warnings(problem: Problem, solution: Solution) -> Iterator[str]:
    if solution.others:
        apart = np.abs(np.array(solution.others) - solution.x)[:, [c.parameter is not None for c in problem.columns]]
        name = column_names(problem)[int(np.argmax(apart.max(axis=0)))]
        yield f"another start ended elsewhere and fits as well; {name} differs most: give it, or a further log"
