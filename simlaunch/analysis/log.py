"""A logged run, measured by the same definitions as a simulated one."""

from __future__ import annotations

import os
from dataclasses import dataclass, replace

from simlaunch.logged.wheels import WheelUse, wheel_uses
from simlaunch.metrics.grip import GripUse, grip_use
from simlaunch.metrics.marks import MarkResult, marks
from simlaunch.readers.log import LogAccount, LogOptions, read_channels
from simlaunch.readers.onset import Onset
from simlaunch.record import Axle
from simlaunch.results import Result
from simlaunch.scenario.model import Scenario
from simlaunch.simulation.trace import Trace

_WHEELS = ("wheel_speed_front", "wheel_speed_rear")


@dataclass(frozen=True, repr=False)
class LoggedRun(Result):
    """A log as a trace, how it was understood, and what it measures.

    Parameters
    ----------
    source : str
        The file.
    account : LogAccount
        The trace, what was understood, and what else is worth knowing.
    marks : tuple of MarkResult
        The standard marks; nan where one was not reached or needs a start from rest.
    grip : GripUse or None
        Use of grip by the axles whose wheel speed is there; None without wheel speeds or without radii.
    radii : tuple of float or None
        Effective rolling radius of the front and of the rear tyres [m].
    wheels : tuple of WheelUse
        Wheelspin of each axle and wheel whose speed is there; none without radii.
    corrected : str
        What was done to bring the run to the conditions of a scenario; empty for nothing.
    """

    study = "log"

    source: str
    account: LogAccount
    marks: tuple[MarkResult, ...]
    grip: GripUse | None
    radii: tuple[float, float] | None
    wheels: tuple[WheelUse, ...] = ()
    corrected: str = ""

    @property
    def trace(self) -> Trace:
        """The run from time zero on, SI units."""
        return self.account.trace

    @property
    def onset(self) -> Onset | None:
        """When the car moved off and had moved one foot, and how well that is known; None for a run that rolls."""
        return self.account.onset

    @property
    def understood(self) -> tuple[str, ...]:
        """How channels, units and the start were read."""
        return self.account.understood


def with_radii(options: LogOptions | None, scenario: Scenario) -> LogOptions:
    """Options with the radii of a scenario's tyres where none are given."""
    given = options or LogOptions()
    if given.radii is not None:
        return given
    front, rear = (scenario.tyres.of(axle).radius_si for axle in (Axle.FRONT, Axle.REAR))
    return replace(given, radii=(front, rear))


def read_log(path: str | os.PathLike[str], options: LogOptions | None = None) -> LoggedRun:
    """Read a log and measure it.

    Parameters
    ----------
    path : str or path-like
        Delimited text, ASAM MDF 4 or MATLAB version 5.
    options : LogOptions, optional
        What the file does not state; slip needs the radii.

    Returns
    -------
    LoggedRun
        Marks, and use of grip where wheel speeds and radii are known.

    Raises
    ------
    InputError
        The log cannot be used; the message names place, reason and remedy.
    """
    radii = options.radii if options else None
    account = read_channels(path, options)
    there = (_WHEELS[0] in account.trace, _WHEELS[1] in account.trace)
    if any(there) and radii is None:
        missing = "wheel speed is there, but no tyre radius; slip needs --radius-front or --radius-rear"
        account = replace(account, notes=(*account.notes, missing))
    grip = grip_use(account.trace, there, radii) if any(there) and radii else None
    wheels = wheel_uses(account.trace, radii) if any(there) and radii else ()
    return LoggedRun(str(path), account, marks(account.trace), grip, radii, wheels)
