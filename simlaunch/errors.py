"""The exceptions of simlaunch.

    SimlaunchError               exit 1  anything we raise on purpose
    ├── UsageError               exit 2  the call itself makes no sense
    ├── InputError               exit 3  a file or a value that cannot be used
    │   ├── ScenarioError        exit 3  all faults of one scenario, listed together
    │   └── RunNotFollowed       exit 3  values with which the equations of a launch cannot be followed
    └── TargetNotReached         exit 4  the car cannot do what was asked

Each carries the exit code that the command line ends with.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import nan


class SimlaunchError(Exception):
    """Base of every exception that simlaunch raises on purpose."""

    exit_code = 1


class UsageError(SimlaunchError):
    """The call contradicts itself or names something that does not exist."""

    exit_code = 2


class InputError(SimlaunchError):
    """A file or a value that cannot be used; the message says what to write instead."""

    exit_code = 3


def plain(text: str) -> str:
    r"""Text on one line, with every character that could give a terminal an order written as an escape.

    Examples
    --------
    >>> plain("red\x1b[31m")
    'red\\x1b[31m'
    """
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode("ascii") for c in text)


@dataclass(frozen=True)
class Fault:
    """One thing wrong with an input: where, what was typed, why, and what to write instead."""

    place: str
    typed: str
    why: str
    instead: str

    def __str__(self) -> str:
        typed = f" {self.typed}" if self.typed else ""
        return plain(f"{self.place}:{typed} {self.why}; {self.instead}")


class ScenarioError(InputError):
    """Every fault found in one scenario, so that a single reading mends them all.

    Parameters
    ----------
    source : str
        The file, or a name for text that came from elsewhere.
    faults : tuple of Fault
        At least one.
    """

    def __init__(self, source: str, faults: tuple[Fault, ...]) -> None:
        self.source = source
        self.faults = faults
        head = f"{plain(source)}: {len(faults)} fault{'s' if len(faults) != 1 else ''}"
        super().__init__("\n".join([head, *(f"  {fault}" for fault in faults)]))


class TargetNotReached(SimlaunchError):
    """The car did not reach a wanted speed or distance; the message says how far it came."""

    exit_code = 4


class RunNotFollowed(InputError):
    """Sound values with which the equations of a launch cannot be followed; the message says from when on, and why.

    Parameters
    ----------
    what : str
        From when on, and why.
    time : float
        From when on [s].
    remedy : str
        What to write instead.
    """

    def __init__(
        self,
        what: str,
        time: float = nan,
        remedy: str = "look for a value in the scenario that is far from the usual one",
    ) -> None:
        self.what, self.time = what, time
        super().__init__(f"{what}; {remedy}")
