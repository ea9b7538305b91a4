"""From dyno sheets to a full-load curve, and what follows from its peaks."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import ceil
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from simlaunch.curves.engine_figures import EngineFigures, engine_figures
from simlaunch.errors import UsageError
from simlaunch.readers.curve import CurveAccount, CurveOptions, read_sheets, write_curve
from simlaunch.record import MAX_CURVE_POINTS
from simlaunch.results import Result
from simlaunch.units.quantity import RPM

Array = NDArray[np.float64]

_FASTEST = 30_000.0 * RPM  # that a scenario takes [rad/s]
_SAME = 1e-6  # a smaller share of an engine speed is rounding


def _rpm(speed: float) -> str:
    return f"{speed / RPM:.0f} rpm"


@dataclass(frozen=True, repr=False)
class DynoCurve(Result):
    """A full-load curve from dyno sheets.

    Parameters
    ----------
    account : CurveAccount
        The curve, and everything that was understood and done on the way.
    engine : EngineFigures
        Peaks, mean effective pressure, air need.
    rev_limit : float or None
        Rev limit of the engine that the curve is for; None where nobody knows [rad/s].
    hold_to : float or None
        Engine speed up to which a saved curve holds the torque of its last point; None: it ends there [rad/s].
    """

    study = "curve"

    account: CurveAccount
    engine: EngineFigures
    rev_limit: float | None = None
    hold_to: float | None = None

    def __post_init__(self) -> None:
        """Refuse to hold a curve where it has points of its own, or more points than a file takes."""
        if self.hold_to is None:
            return
        if not self.ends_at < self.hold_to <= _FASTEST:
            bounds = f"above {_rpm(self.ends_at)}, where the curve ends, and up to {_rpm(_FASTEST)}"
            raise UsageError(f"a curve cannot be held to {_rpm(self.hold_to)}; write an engine speed {bounds}")
        if self.account.speed.size >= MAX_CURVE_POINTS:
            raise UsageError(f"the curve has {MAX_CURVE_POINTS} points, as many as a file takes; leave some out")

    @property
    def speed(self) -> Array:
        """Engine speeds of the points [rad/s]."""
        return self.account.speed

    @property
    def torque(self) -> Array:
        """Torque at the points [N m]."""
        return self.account.torque

    @property
    def ends_at(self) -> float:
        """Engine speed of the last point [rad/s]."""
        return float(self.account.speed[-1])

    @property
    def notes(self) -> tuple[str, ...]:
        """What is worth knowing about the sheets, and about the ends of the curve."""
        return (*self.account.notes, *self._at_an_end(), *self._beyond())

    def _at_an_end(self) -> Iterator[str]:
        """A peak at an end of the curve is that of the rows used, and need not be that of the engine."""
        first = float(self.account.speed[0])
        for name, peak in (("torque", self.engine.peak_torque), ("power", self.engine.peak_power)):
            if peak.speed in (first, self.ends_at):
                side = "below" if peak.speed == first else "above"
                end = _rpm(peak.speed)
                yield f"the peak {name} stands at the end of the curve: {side} {end} the engine may have more"

    def _beyond(self) -> Iterator[str]:
        """What a scenario makes of a curve that ends below the rev limit, and what a saved curve holds."""
        end, limit, held = self.ends_at, self.rev_limit, self.hold_to
        if held is not None:
            yield (
                f"the saved curve holds the {self.torque[-1]:.0f} N m of its last point from {_rpm(end)} to "
                f"{_rpm(held)}, where nothing was measured and the engine may have less"
            )
        if limit is not None and (end if held is None else held) < limit * (1.0 - _SAME):
            wanted = f'--hold-to "{ceil(limit / RPM - _SAME)} rpm" (hold_to in Python)'
            yield (
                f"the curve ends at {_rpm(end)}, and a scenario with a rev limit of {_rpm(limit)} takes no curve that "
                f"ends below it: measure up to there, lower engine.rev_limit, or save with {wanted}, which holds the "
                "torque of the last point up to there and says so in the file"
            )

    def save(self, path: str | os.PathLike[str], *, overwrite: bool = False) -> None:
        """Write the curve as a file that a scenario can name.

        Parameters
        ----------
        path : str or path-like
            Where to.
        overwrite : bool
            Whether a file that is there may be replaced.

        Raises
        ------
        InputError
            The file is there, or cannot be written.
        """
        write_curve(self.account, Path(path), overwrite=overwrite, hold_to=self.hold_to)


def read_curve(
    sheets: Sequence[str | os.PathLike[str]],
    options: CurveOptions | None = None,
    *,
    displacement: float | None = None,
    fuel_consumption: float | None = None,
    air_fuel_ratio: float | None = None,
    rev_limit: float | None = None,
    hold_to: float | None = None,
) -> DynoCurve:
    """Make one full-load curve of dyno sheets.

    Parameters
    ----------
    sheets : sequence of str or path-like
        Delimited text; several pulls in one file or in several.
    options : CurveOptions, optional
        What the sheets do not say, and what is wanted of the curve.
    displacement : float, optional
        Swept volume, for the mean effective pressure [m^3].
    fuel_consumption : float, optional
        Fuel burnt per work at the crank, for the air need [kg/J].
    air_fuel_ratio : float, optional
        Mass of air over mass of fuel [-].
    rev_limit : float, optional
        Rev limit of the engine, below which a curve of a scenario cannot end; the notes say where this one does
        [rad/s].
    hold_to : float, optional
        Engine speed up to which a saved curve holds the torque of its last point [rad/s].

    Returns
    -------
    DynoCurve
        The curve, the account of it, and what follows from its peaks.

    Raises
    ------
    InputError
        A sheet cannot be used; the message names place, reason and remedy.
    UsageError
        An option that plays no part, or options that contradict one another.
    """
    wanted = options or CurveOptions()
    account = read_sheets(sheets, wanted)
    _check_all_used(account, wanted)
    figures = engine_figures(account, displacement, fuel_consumption, air_fuel_ratio)
    return DynoCurve(account, figures, rev_limit, hold_to)


def _check_all_used(account: CurveAccount, options: CurveOptions) -> None:
    """Refuse what was given and played no part, since it was meant to."""
    if options.losses is not None and not account.conversion:
        raise UsageError(
            f"losses are given, but the figures stand at the {account.measured_at} already; leave the losses out, "
            "or say with --to where the curve shall be valid"
        )
    if options.weather is not None and account.taken_back is None:
        raise UsageError(
            "the weather is given, but no correction; say with --correction which one the figures carry (none: as "
            "measured), and with --to-correction which one is wanted"
        )
