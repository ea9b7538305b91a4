"""From dyno sheets to a full-load curve, and what follows from its peaks."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from simlaunch.curves.engine_figures import EngineFigures, engine_figures
from simlaunch.errors import UsageError
from simlaunch.readers.curve import CurveAccount, CurveOptions, read_sheets, write_curve
from simlaunch.results import Result

Array = NDArray[np.float64]


@dataclass(frozen=True, repr=False)
class DynoCurve(Result):
    """A full-load curve from dyno sheets.

    Parameters
    ----------
    account : CurveAccount
        The curve, and everything that was understood and done on the way.
    engine : EngineFigures
        Peaks, mean effective pressure, air need.
    """

    study = "curve"

    account: CurveAccount
    engine: EngineFigures

    @property
    def speed(self) -> Array:
        """Engine speeds of the points [rad/s]."""
        return self.account.speed

    @property
    def torque(self) -> Array:
        """Torque at the points [N m]."""
        return self.account.torque

    @property
    def notes(self) -> tuple[str, ...]:
        """What is worth knowing about the sheets."""
        return self.account.notes

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
        write_curve(self.account, Path(path), overwrite=overwrite)


def read_curve(
    sheets: Sequence[str | os.PathLike[str]],
    options: CurveOptions | None = None,
    *,
    displacement: float | None = None,
    fuel_consumption: float | None = None,
    air_fuel_ratio: float | None = None,
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
    return DynoCurve(account, engine_figures(account, displacement, fuel_consumption, air_fuel_ratio))


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
